"""Whether a net is a rail by itself: its name, and what stands on it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_evidence import SupplyEvidence
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.rail_survey import ENOUGH, Candidate, Survey
from nettrace.model.board import Pin

__all__ = ["judge_net", "judge_nets"]

#: Capacitors without a value count as decoupling only in this number.
FEWEST_UNKNOWN: Final = 3
#: A word for a reference in a net's name.
_REFERENCE: Final = re.compile(r"(?:^|[/_-])V?REF(?![A-Z])", re.IGNORECASE)
#: Total decoupling that a supply pin without a name has at least, F (common practice, no source).
LEAST_TOTAL: Final = 0.9e-6


def judge_nets(survey: Survey) -> None:
    """Add to `survey.found` every net that is a rail by itself, by note, or by the source."""
    for net in survey.board.nets:
        if net.name in survey.grounds or not net.pins:
            continue
        candidate = judge_net(survey, net.name, net.aliases)
        if net.name in survey.noted:
            candidate.add(1.0, "user's note")
        elif net.volts is not None:
            candidate.add(0.98, f"the source states {net.volts:g} V")
        if candidate.score >= ENOUGH:
            survey.found[net.name] = candidate


def judge_net(survey: Survey, name: str, aliases: tuple[str, ...]) -> Candidate:
    """Return what speaks for the net being a rail, apart from links; score 0 for nothing."""
    evidence = survey.evidence
    candidate = Candidate()
    decoupling = evidence.decoupling.get(name, ())
    power = evidence.power_pins.get(name, ())
    active = evidence.active_pins.get(name, ())
    if name in evidence.switching_nodes:
        return candidate
    supported = bool(decoupling or power)
    for text in (name, *aliases):
        reading = read_rail_name(text)
        if reading.kind == "rail":
            candidate.add(reading.score, f"name {text}")
        elif reading.kind == "supply":
            if _is_lone_reference(survey, name, reading.word):
                continue
            score = reading.score if supported or reading.score >= ENOUGH else reading.score / 2
            if _is_switching(survey, name):
                continue
            candidate.add(score, f"name {text}")
        elif reading.kind == "level" and supported and not _pulled(survey, name):
            candidate.add(0.5, f"name {text}")
        elif reading.kind == "level" and decoupling and _REFERENCE.search(text):
            # VREF_1V8 with its capacitor: what hangs on it by resistors, it feeds
            candidate.add(0.6, f"name {text}")
        else:
            continue
        break
    for pin in evidence.connector_pins.get(name, ()):
        if survey.kinds[pin.part].kind is Kind.BATTERY:
            candidate.add(0.8, f"battery {pin.part}")
            break
    for converter in evidence.converter_of.get(name, ()):
        candidate.add(0.8, f"output of {converter.chip} through {converter.inductor}")
    if power and not _several_loads(power) and all(_is_reference(pin) for pin in power):
        # a chip's own reference with its capacitor supplies nothing
        return candidate
    if power and (decoupling or _several_loads(power)):
        words = ", ".join(dict.fromkeys(f"{p.part}.{p.name or p.number}" for p in power[:3]))
        candidate.add(0.7, f"supply pins {words}")
    elif power and not candidate.score and _outputs_supply(evidence, name) and decoupling:
        candidate.add(0.6, "a supply output with a capacitor")
    _judge_decoupling(survey, name, candidate, active)
    return candidate


def _is_reference(pin: Pin) -> bool:
    return re.match(r"^V?REF|^V?CM\b|^VCOM|REF[PN]?$", pin.name or "", re.IGNORECASE) is not None


def _several_loads(pins: Iterable[Pin]) -> bool:
    return len({pin.part for pin in pins}) >= 2


def _outputs_supply(evidence: SupplyEvidence, name: str) -> bool:
    return bool(evidence.output_pins.get(name))


def _is_lone_reference(survey: Survey, name: str, word: str) -> bool:
    """Return whether a VREF net is one chip's pin with its capacitor: no supply of others."""
    if "REF" not in word:
        return False
    chips = {pin.part for pin in survey.evidence.active_pins.get(name, ())}
    return len(chips) < 2 and len(survey.evidence.resistors.get(name, ())) < 2


def _is_switching(survey: Survey, name: str) -> bool:
    """Return whether the net is a chip's pin and an inductor, nothing else: no supply itself."""
    pins = survey.board.net_by_name[name].pins
    what = [survey.kinds[pin.part].kind for pin in pins]
    return len(pins) == 2 and Kind.INDUCTOR in what and not survey.evidence.decoupling.get(name)


def _pulled(survey: Survey, name: str) -> bool:
    return bool(survey.evidence.resistors.get(name))


def _judge_decoupling(
    survey: Survey, name: str, candidate: Candidate, active: Iterable[Pin]
) -> None:
    """Several capacitors to the main ground, and a pin that they serve."""
    decoupling = survey.evidence.decoupling.get(name, ())
    if len(decoupling) < 2:
        return
    main = survey.main_ground
    at_main = [c for c in decoupling if c[2] == main]
    valued = [c for c in at_main if c[1] is not None]
    served = bool(list(active)) or bool(survey.evidence.connector_pins.get(name))
    total = sum(c[1] or 0.0 for c in at_main)
    # without values, a capacitor at each chip of a control line looks like decoupling
    chips = len({pin.part for pin in active})
    many = len(at_main) >= max(FEWEST_UNKNOWN, chips)
    enough = len(valued) >= 2 and total >= LEAST_TOTAL
    if served and (enough or (many and not _all_small(survey, name))):
        candidate.add(0.6 if len(at_main) < 3 else 0.75, f"{len(at_main)} capacitors to {main}")


def _all_small(survey: Survey, name: str) -> bool:
    """Return whether the capacitors' values are known, and too small for a supply."""
    known = [c[1] for c in survey.evidence.decoupling.get(name, ()) if c[1] is not None]
    return len(known) >= 2 and sum(known) < LEAST_TOTAL / 10
