"""The least-squares maps from the board to a photo, and which of them explains the known pads.

An affine map needs three pads, a projective one four; what goes beyond that checks the map. A pad
that does not agree with all others is left out; two pads that were exchanged are told.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from nettrace.model.board import Side
from nettrace.model.geometry import distance

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    Matrix = NDArray[float64]

__all__ = [
    "Fit",
    "KnownPad",
    "MapKind",
    "best_fit",
    "error_px",
    "left_out_fits",
    "lie_on_one_line",
    "other_fit",
    "scale",
    "slope",
]

#: How well a person points at the middle of a pad: the larger of the two (common practice, no
#: source).
POINTING_PX: Final = 3.0
POINTING_MM: Final = 0.1
#: Known pads whose lesser spread is below this part of the greater lie on one line.
FLATTEST: Final = 0.03
#: A map that keeps all pads may leave over so many times what one without a pad leaves over.
PLAINLY_TIMES: Final = 2.0
#: A camera at an angle is taken for real where chance would look like it this seldom.
BY_CHANCE: Final = 0.01
#: Below this an affine map fits to a hundredth of a pixel: nothing is left to explain, px².
SQUARES_OF_NOTHING: Final = 1e-4
#: Pairs are tried for an exchange up to so many pads.
MOST_FOR_EXCHANGE: Final = 12


class MapKind(StrEnum):
    """How the photo is taken to lie."""

    AFFINE = "affine"  # shifted, turned, scaled, sheared, mirrored
    PROJECTIVE = "projective"  # seen at an angle as well


@dataclass(frozen=True, slots=True)
class KnownPad:
    """A pad that was pointed at in the photo: its place on the board and in the photo."""

    name: str
    x_mm: float
    y_mm: float
    right_px: float
    down_px: float
    side: Side = Side.BOTH


@dataclass(frozen=True, slots=True)
class Fit:
    """A map with the pads it was fitted to; `spread_px` None where all figures were needed."""

    kind: MapKind
    matrix: Matrix
    used: tuple[KnownPad, ...]
    spread_px: float | None
    tolerance_px: float
    squares: float  # of what is left over, summed, px²

    @property
    def good(self) -> bool:
        """Whether the pads agree as well as a person can point."""
        return self.spread_px is not None and self.spread_px <= self.tolerance_px


def best_fit(pads: tuple[KnownPad, ...], kind: MapKind | None) -> tuple[Fit, list[str]]:
    """Return the plainest map that explains the pads, and what to mind about it, in words."""
    kinds = [kind] if kind is not None else [MapKind.AFFINE, MapKind.PROJECTIVE]
    tried = [fit for each in kinds if (fit := _fit(pads, each)) is not None]
    if tried[0].good and not (len(tried) > 1 and _tilted(tried[0], tried[1])):
        return tried[0], []
    alone = next((fit for each in kinds if (fit := _without_one(pads, each)) is not None), None)
    richer = tried[-1] if tried[-1].good else None
    if richer is not None and (alone is None or _plainly(richer, alone)):
        return richer, []
    if alone is not None:
        return alone, []
    for each in kinds:
        pair = _exchanged(pads, each)
        if pair is not None:
            return tried[0], [
                f"{pair[0]} and {pair[1]} seem to be exchanged: with their places the other way "
                "round all pads agree"
            ]
    # all figures were needed: nothing speaks against the richer map, and nothing for it
    said = []
    if len(tried) > 1 and tried[-1].spread_px is None:
        said.append("either the camera was held at an angle, or one known pad is off")
    return tried[-1], said


def _fit(pads: Sequence[KnownPad], kind: MapKind) -> Fit | None:
    """Return the fit, None where the pads do not settle such a map."""
    free = 6 if kind is MapKind.AFFINE else 8
    if 2 * len(pads) < free or lie_on_one_line([(pad.x_mm, pad.y_mm) for pad in pads]):
        return None
    matrix = _affine(pads)
    if kind is MapKind.PROJECTIVE:
        found = _projective(pads)
        if found is None:
            return None
        matrix = found
    errors = [error_px(matrix, pad) for pad in pads]
    over = 2 * len(pads) - free
    squares = sum(right**2 + down**2 for right, down in errors)
    spread = math.sqrt(squares / over) if over else None
    tolerance = max(POINTING_PX, POINTING_MM * scale(matrix, pads))
    return Fit(kind, matrix, tuple(pads), spread, tolerance, squares)


def _tilted(affine: Fit, projective: Fit) -> bool:
    """Return whether the projective map explains more than two further figures would by chance.

    Method: the F test of nested fits. Two figures more leave 2n - 8; for two in the numerator its
    chance has a closed form, (squares of the richer fit / of the plainer)^(n - 4).
    """
    over = len(affine.used) - 4
    if over < 1 or not projective.good or affine.squares < SQUARES_OF_NOTHING:
        return False
    return bool((projective.squares / affine.squares) ** over < BY_CHANCE)


def other_fit(fit: Fit) -> Fit | None:
    """Return the map of the other kind for the same pads, None where they do not settle it."""
    other = MapKind.AFFINE if fit.kind is MapKind.PROJECTIVE else MapKind.PROJECTIVE
    return _fit(fit.used, other)


def left_out_fits(fit: Fit) -> tuple[Fit, ...]:
    """Return the maps without each pad in turn; () where all pads are needed for one."""
    pads = fit.used
    fits = [_fit(pads[:index] + pads[index + 1 :], fit.kind) for index in range(len(pads))]
    return tuple(each for each in fits if each is not None)


def _plainly(all_pads: Fit, alone: Fit) -> bool:
    """Return whether a map for all pads explains them about as well as one that leaves one out.

    A camera at an angle and a slip at a corner look alike at first; the noise tells them apart.
    """
    if all_pads.spread_px is None or alone.spread_px is None:
        return False
    return all_pads.spread_px <= PLAINLY_TIMES * alone.spread_px + 1e-6


def _without_one(pads: tuple[KnownPad, ...], kind: MapKind) -> Fit | None:
    """Return the fit without the one pad whose loss makes all others agree, if there is one."""
    fits = [
        fit
        for index in range(len(pads))
        if (fit := _fit(pads[:index] + pads[index + 1 :], kind)) is not None and fit.good
    ]
    return fits[0] if len(fits) == 1 else None


def _exchanged(pads: tuple[KnownPad, ...], kind: MapKind) -> tuple[str, str] | None:
    """Return the one pair of pads that agree with all when their places are exchanged."""
    if len(pads) > MOST_FOR_EXCHANGE:
        return None
    found = []
    for one, other in itertools.combinations(range(len(pads)), 2):
        turned = list(pads)
        first, second = pads[one], pads[other]
        turned[one] = replace(first, right_px=second.right_px, down_px=second.down_px)
        turned[other] = replace(second, right_px=first.right_px, down_px=first.down_px)
        fit = _fit(turned, kind)
        if fit is not None and fit.good:
            found.append((first.name, second.name))
    return found[0] if len(found) == 1 else None


def _affine(pads: Sequence[KnownPad]) -> Matrix:
    import numpy as np

    x0 = sum(pad.x_mm for pad in pads) / len(pads)
    y0 = sum(pad.y_mm for pad in pads) / len(pads)
    places = np.array([[pad.x_mm - x0, pad.y_mm - y0, 1.0] for pad in pads])
    points = np.array([[pad.right_px, pad.down_px] for pad in pads])
    found = np.linalg.lstsq(places, points, rcond=None)[0].T
    shift = np.array([[1.0, 0.0, -x0], [0.0, 1.0, -y0], [0.0, 0.0, 1.0]])
    result: Matrix = np.vstack([found, [0.0, 0.0, 1.0]]) @ shift
    return result


def _projective(pads: Sequence[KnownPad]) -> Matrix | None:
    """Return the least-squares projective map, None where it is not settled or turns over.

    Method: the direct linear transformation on normalised places (Hartley and Zisserman, Multiple
    View Geometry, 2nd ed., algorithm 4.2, from memory), then Gauss-Newton on the distances in the
    photo.
    """
    import numpy as np

    from_mm = _normaliser([(pad.x_mm, pad.y_mm) for pad in pads])
    from_px = _normaliser([(pad.right_px, pad.down_px) for pad in pads])
    places = np.array([[pad.x_mm, pad.y_mm, 1.0] for pad in pads]) @ from_mm.T
    points = np.array([[pad.right_px, pad.down_px, 1.0] for pad in pads]) @ from_px.T
    lines = []
    for place, point in zip(places, points, strict=True):
        lines.append([*place, 0, 0, 0, *(-point[0] * place)])
        lines.append([0, 0, 0, *place, *(-point[1] * place)])
    _, sizes, turned = np.linalg.svd(np.array(lines))
    if sizes[7] < 1e-6 * sizes[0]:
        return None
    found = turned[-1].reshape(3, 3)
    if abs(found[2, 2]) < 1e-9:
        return None
    found = _refined(found / found[2, 2], places, points)
    whole: Matrix = np.linalg.inv(from_px) @ found @ from_mm
    weights = np.array([[pad.x_mm, pad.y_mm, 1.0] for pad in pads]) @ whole[2]
    if weights.min() * weights.max() <= 0:
        return None  # the horizon runs between the pads: no photo shows that
    return whole / float(weights.mean())


def _refined(found: Matrix, places: Matrix, points: Matrix) -> Matrix:
    import numpy as np

    figures = found.reshape(9)[:8].copy()
    for _ in range(12):
        matrix = np.append(figures, 1.0).reshape(3, 3)
        mapped = places @ matrix.T
        weight = mapped[:, 2:]
        at = mapped[:, :2] / weight
        slopes = np.zeros((2 * len(places), 8))
        slopes[0::2, 0:3] = slopes[1::2, 3:6] = places / weight
        slopes[0::2, 6:8] = -at[:, :1] * places[:, :2] / weight
        slopes[1::2, 6:8] = -at[:, 1:] * places[:, :2] / weight
        left = (points[:, :2] - at).reshape(-1)
        step = np.linalg.lstsq(slopes, left, rcond=None)[0]
        figures += step
        if np.abs(step).max() < 1e-12:
            break
    result: Matrix = np.append(figures, 1.0).reshape(3, 3)
    return result


def _normaliser(points: Sequence[tuple[float, float]]) -> Matrix:
    """Return the map that moves the points' middle to 0 and their mean distance to root two."""
    import numpy as np

    x0 = sum(x for x, _ in points) / len(points)
    y0 = sum(y for _, y in points) / len(points)
    mean = sum(distance(x0, y0, x, y) for x, y in points) / len(points)
    by = math.sqrt(2) / mean
    return np.array([[by, 0.0, -by * x0], [0.0, by, -by * y0], [0.0, 0.0, 1.0]])


def lie_on_one_line(points: Sequence[tuple[float, float]]) -> bool:
    """Return whether the points lie (nearly) on one line, or in one place."""
    import numpy as np

    sizes = np.linalg.svd(np.array(points) - np.mean(points, axis=0), compute_uv=False)
    return bool(sizes[0] == 0 or len(sizes) < 2 or sizes[1] < FLATTEST * sizes[0])


def _mapped(matrix: Matrix, x: float, y: float) -> tuple[float, float]:
    right, down, weight = (float(row[0] * x + row[1] * y + row[2]) for row in matrix)
    return right / weight, down / weight


def error_px(matrix: Matrix, pad: KnownPad) -> tuple[float, float]:
    """Return how far right and down of the pointed place the map puts a pad, px."""
    right, down = _mapped(matrix, pad.x_mm, pad.y_mm)
    return right - pad.right_px, down - pad.down_px


def slope(matrix: Matrix, pads: Sequence[KnownPad]) -> tuple[float, float, float, float]:
    """Return how the photo moves for 1 mm of x, and for 1 mm of y, in the middle of the pads."""
    x0 = sum(pad.x_mm for pad in pads) / len(pads)
    y0 = sum(pad.y_mm for pad in pads) / len(pads)
    step = 1e-3
    here = _mapped(matrix, x0, y0)
    along = _mapped(matrix, x0 + step, y0)
    up = _mapped(matrix, x0, y0 + step)
    return (
        (along[0] - here[0]) / step, (along[1] - here[1]) / step,
        (up[0] - here[0]) / step, (up[1] - here[1]) / step,
    )  # fmt: skip


def scale(matrix: Matrix, pads: Sequence[KnownPad]) -> float:
    """Return pixels for a millimetre in the middle of the pads."""
    a, b, c, d = slope(matrix, pads)
    return math.sqrt(abs(a * d - b * c))
