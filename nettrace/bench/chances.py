"""What a meter shows, as chances: from the bounds of a reading to how likely each figure is.

Readings are sorted into bins (a fiftieth of a decade) and one more for overload. A reading through
known parts is a narrow peak, widened by tolerance, meter and leads; what unknown paths in chips
can add in parallel is spread over decades. The figures stand in `chances.toml`. This module loads
numpy: import it in the function that weighs chances.
"""

from __future__ import annotations

import math
from functools import cache, lru_cache
from typing import Final

import numpy as np

from nettrace.bench.job import MeterMode
from nettrace.bench.prediction import Outlook
from nettrace.electrical.meter import (
    BEEPER_RANGE_OHMS,
    DIODE_OPEN_VOLTS,
    DIODE_SCHOTTKY_VOLTS,
    DIODE_SILICON_VOLTS,
    LEAD_OHMS,
    OVERLOAD_OHMS,
)
from nettrace.electrical.power_off import CLASS_2_DROP
from nettrace.knowledge import table

Vector = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

#: Bins of a decade, and the decades covered, for ohms and farads.
PER_DECADE: Final = 50
OHMS_DECADES: Final = (-1, 8)
FARADS_DECADES: Final = (-12, -1)
#: How likely which figure is.
_FIGURES: Final = table("chances")
_SLIPS, _PATH, _SIGMAS = _FIGURES["slips"], _FIGURES["paths"], _FIGURES["sigmas"]
_DIODE_EDGES: Final = (
    DIODE_SCHOTTKY_VOLTS[0], DIODE_SILICON_VOLTS[0], DIODE_SILICON_VOLTS[1], DIODE_OPEN_VOLTS,
)  # fmt: skip
VOLTS_STEP: Final = 0.02
VOLTS_BINS: Final = 1601  # -1 V to 31 V


#: Unknown paths are tried in steps of a fifth of a decade, Ω.
_PATHS: Final[Vector] = 10 ** np.arange(0.0, 8.01, 0.2)


class Look:
    """What one pair of places shows: the chance of each bin, their logarithms, entropy in bits.

    The chances sum to 1; the last is overload. Like expectations are one record.
    """

    def __init__(self, bins: Vector) -> None:
        logs = np.log(bins)
        self.bins = bins
        self.logs: tuple[float, ...] = tuple(logs.tolist())
        self.bits = float(-(bins @ logs)) / math.log(2)

    def overlap(self, other: Look) -> float:
        """Return how much of the chances two looks share, 0 to 1."""
        return 1.0 if other is self else float(np.minimum(self.bins, other.bins).sum())


def chances(outlook: Outlook, quantity: MeterMode) -> Look:
    """Return what a place with this outlook shows of a quantity."""
    o = outlook
    figures = (o.ohms, o.at_most, o.at_least, o.farads)
    ohms, at_most, at_least, farads = (
        value if value == 0 or math.isinf(value) else float(f"{value:.4g}") for value in figures
    )
    match quantity:
        case MeterMode.OHMS:
            return _ohms(ohms, at_most, at_least, o.exact, o.supply)
        case MeterMode.BEEP:
            return _beep(ohms, at_most, at_least, o.exact, o.supply)
        case MeterMode.DIODE:
            return _diode(ohms, o.exact, o.supply, o.diode)
        case MeterMode.FARADS:
            return _farads(farads, o.class_2, ohms, o.exact)
        case _:
            return _volts(o.volts, o.sure_volts)


def bin_of(value: float | None, quantity: MeterMode) -> int:
    """Return the number of the bin that a reading falls in; None is overload."""
    match quantity:
        case MeterMode.OHMS:
            return _log_bin(value, OHMS_DECADES)
        case MeterMode.FARADS:
            return _log_bin(value, FARADS_DECADES)
        case MeterMode.BEEP:
            return 1 if value else 0
        case MeterMode.DIODE:
            volts = math.inf if value is None else value
            return sum(volts >= edge for edge in _DIODE_EDGES)
        case _:
            if value is None:
                return VOLTS_BINS
            return min(VOLTS_BINS - 1, max(0, round((value + 1.0) / VOLTS_STEP)))


def _count(decades: tuple[int, int]) -> int:
    return (decades[1] - decades[0]) * PER_DECADE


def _log_bin(value: float | None, decades: tuple[int, int]) -> int:
    if value is None or math.isinf(value):
        return _count(decades)
    if value <= 10.0 ** decades[0]:
        return 0
    return min(_count(decades) - 1, int((math.log10(value) - decades[0]) * PER_DECADE))


def _peaks(middles: Vector, sigmas: Vector, weights: Vector, decades: tuple[int, int]) -> Vector:
    """Return the bins of a sum of peaks in log10; what lies outside falls in the end bins."""
    edges = np.linspace(decades[0], decades[1], _count(decades) + 1)[1:-1]
    # the normal distribution's cumulated chance (logistic form, within 0.0002)
    z = np.clip((edges[None, :] - middles[:, None]) / sigmas[:, None], -8.0, 8.0)
    below = 1 / (1 + np.exp(-(1.5976 * z + 0.07056 * z**3)))
    whole = np.concatenate([np.zeros((len(middles), 1)), below, np.ones((len(middles), 1))], axis=1)
    return np.asarray(weights @ np.diff(whole, axis=1), dtype=np.float64)


def _with_slips(bins: Vector) -> Look:
    mixed = bins / float(bins.sum()) * (1 - _SLIPS["open"] - _SLIPS["any"]) + _SLIPS["any"] / len(
        bins
    )
    mixed[-1] += _SLIPS["open"]
    return Look(mixed)


@cache
def _path_weights(supply: bool) -> tuple[Vector, float]:
    middle, spread, none = _PATH["supply" if supply else "signal"]
    logs = np.log10(_PATHS)
    shape = np.exp(-(((logs - middle) / spread) ** 2) / 2)
    any_path = np.where(_PATH["low_ohms"] > _PATHS, _PATH["low_share"], 1.0)
    weights = shape / shape.sum() * (1 - _PATH["any"]) + any_path / any_path.sum() * _PATH["any"]
    return np.asarray(weights * (1 - none), dtype=np.float64), none


@lru_cache(maxsize=4096)
def _ohms(ohms: float, at_most: float, at_least: float, exact: bool, supply: bool) -> Look:
    bins = np.zeros(_count(OHMS_DECADES) + 1)
    if exact:
        seen, weights = np.array([ohms]), np.array([1.0])
    else:
        through, none = _path_weights(supply)
        paths, weights = np.append(_PATHS, math.inf), np.append(through, none)
        if ohms == 0:
            seen = np.zeros_like(paths)
        else:  # the known resistance beside each path
            seen = paths if math.isinf(ohms) else 1 / (1 / ohms + 1 / paths)
        seen = np.maximum(seen, at_least)
    shown = np.isfinite(seen) & (seen <= OVERLOAD_OHMS)
    bins[-1] = weights[~shown].sum()
    if shown.any():
        real = seen[shown]
        spread = (at_most - ohms) / _SIGMAS["limits"] if math.isfinite(at_most) else 0.0
        middle = real + sum(LEAD_OHMS) / 2
        known = real / ohms if 0 < ohms < math.inf else np.zeros_like(real)
        # half a step of the paths' grid
        step = 0.0 if exact else 0.1 * math.log(10) * real * (1 - np.clip(known, 0.0, 1.0))
        sigma = np.sqrt(
            (_SIGMAS["meter"] * middle) ** 2
            + _SIGMAS["lead_ohms"] ** 2
            + np.minimum(spread, 0.5 * middle + spread * (ohms == 0)) ** 2
            + step**2
        )
        widths = np.minimum(sigma / middle / math.log(10), 0.5)
        bins[:-1] = _peaks(np.log10(middle), widths, weights[shown], OHMS_DECADES)
    return _with_slips(bins)


@lru_cache(maxsize=4096)
def _beep(ohms: float, at_most: float, at_least: float, exact: bool, supply: bool) -> Look:
    low, high = (math.log10(ohms) for ohms in BEEPER_RANGE_OHMS)
    middles = OHMS_DECADES[0] + (np.arange(_count(OHMS_DECADES)) + 0.5) / PER_DECADE
    beeps = np.append(np.clip((high - middles) / (high - low), 0.0, 1.0), 0.0)
    sounds = float(_ohms(ohms, at_most, at_least, exact, supply).bins @ beeps)
    sounds = min(1 - _SLIPS["open"], max(_SLIPS["any"], sounds))
    return Look(np.array([1 - sounds, sounds]))


@lru_cache(maxsize=1024)
def _diode(ohms: float, exact: bool, supply: bool, diode: bool) -> Look:
    source = _FIGURES["diode"]["across_diode" if diode else "across_chips"]
    if exact and not diode:
        source = (0.0, 0.0, 0.0, 0.0, 1.0)
    drop = ohms * _FIGURES["diode"]["amperes"]
    limit = bin_of(None if math.isinf(drop) else drop, MeterMode.DIODE)
    bins = np.zeros(len(source))
    for place, chance in enumerate(source):
        bins[min(place, limit)] += chance
    if supply:  # a load on a supply pulls the reading down
        bins[:-1] += bins[-1] * 0.2
        bins[-1] *= 0.2
    return _with_slips(bins)


@lru_cache(maxsize=1024)
def _farads(farads: float, class_2: bool, ohms: float, exact: bool) -> Look:
    count = _count(FARADS_DECADES)
    bins = np.zeros(count + 1)
    blind, clear = _FIGURES["farads"]["blind_ohms"]
    if ohms <= blind:
        bins[-1], spoiled = 0.9, 0.1
    else:
        spoiled = 0.05 if ohms >= clear and exact else 0.1 if ohms >= clear else 0.4
        bins[-1] = spoiled / 2
    sound = 1 - float(bins[-1]) - spoiled / 2
    bins[:-1] += spoiled / 2 / count
    total = farads + _FIGURES["farads"]["stray"]
    drop = CLASS_2_DROP if class_2 else 0.0
    middles = np.log10(np.array([total, total * (1 - drop / 2), total * (1 - drop)]))
    sigma = 0.5 if farads == 0 else 0.045 if class_2 else 0.03
    bins[:-1] += sound * _peaks(
        middles, np.full(3, sigma), np.array([0.4, 0.35, 0.25]), FARADS_DECADES
    )
    return _with_slips(bins)


@lru_cache(maxsize=512)
def _volts(volts: tuple[float, float, float] | None, sure: bool) -> Look:
    bins = np.full(VOLTS_BINS + 1, 1.0)
    bins[-1] = 0.1
    scale = np.arange(VOLTS_BINS) * VOLTS_STEP - 1.0
    bins[:-1] *= np.exp(-np.abs(scale) / 3.0)  # low voltages are commoner
    bins /= bins.sum()
    if volts is None:
        return _with_slips(bins)
    nominal, low, high = volts
    sigma = max((high - low) / 2 / _SIGMAS["limits"], 0.01 * abs(nominal), VOLTS_STEP)
    peak = np.exp(-(((scale - nominal) / sigma) ** 2) / 2)
    share = 0.92 if sure else 0.3
    bins *= 1 - share
    bins[:-1] += share * peak / peak.sum()
    return _with_slips(bins)
