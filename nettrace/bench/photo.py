"""Where the board lies in a photo: a map from its millimetres to pixels, fitted to known pads.

Three pads give an affine map (a microscope looks straight down), four or more a projective one
where the affine map does not do (a camera held at an angle). Both are fitted by least squares.
What is left over between the pads as pointed at and as mapped is kept; a pad that does not agree
with all others is named and left out, two pads that were exchanged are told.

Pixels count from the upper left corner of the photo as it is seen upright: right, then down. This
module loads numpy: import it where a photo is at hand.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy import float64
from numpy.typing import NDArray

from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Side
from nettrace.model.find import find_parts, find_pins, split_pin

Matrix = NDArray[float64]
Rows = tuple[tuple[float, float, float], ...]

#: 19 of 20 points of a round normal spread lie within so many times its width (Rayleigh).
WITHIN_TIMES: Final = 2.45
EXAMPLE: Final = "--fix 'U7.1=312,418 R3.2=590,402 J1.4=455,120'"
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
class Residual:
    """How far the map puts a known pad from where it was pointed at; `used` by the fit or not."""

    name: str
    right_px: float
    down_px: float
    off_mm: float
    used: bool

    @property
    def off_px(self) -> float:
        """The distance in the photo, px."""
        return math.hypot(self.right_px, self.down_px)


@dataclass(frozen=True, slots=True)
class PhotoMap:
    """A fitted map.

    Attributes:
        kind: affine or projective.
        rows: the 3 x 3 matrix, from (x mm, y mm, 1) to (right px, down px, 1) times a factor.
        known: the pads it was fitted to, as given.
        residuals: one for each of them, in that order.
        spread_px: what is left over, px: root of the squares' sum over the figures that were not
            needed for the fit; None where all were needed.
        px_per_mm: scale in the middle of the known pads.
        side: the side of the board that is seen; None where the known pads are plated holes.
        mirrored: whether the photo shows that side as in a mirror.
        degrees: how far the board is turned counter-clockwise against the drawing of that side.
        bad: pads that do not agree with the others, and that the fit leaves out.
        agrees: whether the used pads agree as well as one can point.
        cautions: what to mind, in words.
        other_rows: the map of the other kind for the same pads; () where they do not settle it,
            or speak against it.
        left_out_rows: the maps of this kind without each used pad in turn.
    """

    kind: MapKind
    rows: Rows
    known: tuple[KnownPad, ...]
    residuals: tuple[Residual, ...]
    spread_px: float | None
    px_per_mm: float
    side: Side | None
    mirrored: bool
    degrees: float
    bad: tuple[str, ...]
    agrees: bool
    cautions: tuple[str, ...]
    other_rows: Rows
    left_out_rows: tuple[Rows, ...]

    def to_px(self, x_mm: float, y_mm: float) -> tuple[float, float] | None:
        """Return where a place of the board is in the photo; None beyond its horizon."""
        return _at(self.rows, x_mm, y_mm)

    def doubt_mm(self, x_mm: float, y_mm: float) -> float:
        """Return how far the mark at a place may be off, mm (19 times of 20).

        The error that pointing gives a map fitted to these pads, which grows away from them, or
        the mark's own unsteadiness where that is more; and how far another kind of map that the
        pads do not speak against puts the place from this one.

        Method: the unsteadiness is the jackknife error, the root of (n - 1) / n times the sum of
        squares when known pads are left out one by one (Efron, The Jackknife, the Bootstrap and
        Other Resampling Plans, 1982, from memory).
        """
        here = _at(self.rows, x_mm, y_mm)

        def gap(rows: Rows) -> float | None:
            at = _at(rows, x_mm, y_mm) if rows else None
            return math.dist(here, at) if here is not None and at is not None else None

        places, _ = _arrays([pad for pad in self.known if pad.name not in self.bad])
        away = np.array([x_mm, y_mm]) - places.mean(axis=0)
        around = places - places.mean(axis=0)
        reach = float(away @ np.linalg.solve(around.T @ around, away))
        pointing = max(POINTING_PX / 2, POINTING_MM / 2 * self.px_per_mm, self.spread_px or 0.0)
        gaps = [moved**2 for rows in self.left_out_rows if (moved := gap(rows)) is not None]
        unsteady = math.sqrt((len(gaps) - 1) / len(gaps) * sum(gaps)) if len(gaps) > 1 else 0.0
        error = max(pointing * math.sqrt(1 / len(places) + reach), unsteady / math.sqrt(2))
        return (WITHIN_TIMES * error + (gap(self.other_rows) or 0.0)) / self.px_per_mm


def parse_known_pads(board: Board, words: Sequence[str]) -> tuple[KnownPad, ...]:
    """Return the known pads of words such as `U7.1=312,418`; a word may hold several.

    A pad is `REFDES.PIN`, or the refdes alone of a part with one pad (test point, fiducial).

    Raises:
        WrongUsage: a word cannot be read, or its pad stands at several places.
        NothingMatches: no such pad, or it has no place in the sources.
    """
    found: list[KnownPad] = []
    for word in (piece for text in words for piece in text.replace(";", " ").split()):
        name, _, point = word.rpartition("=")
        try:
            right, down = (float(figure) for figure in point.split(","))
        except ValueError:
            right = down = math.nan
        if not name or not math.isfinite(right) or not math.isfinite(down):
            raise WrongUsage(
                f"the known pad {word!r}",
                expected="PAD=RIGHT,DOWN in pixels",
                hint=f"Write it like {EXAMPLE}.",
            )
        if split_pin(board, name) is None:
            copper = [(part.refdes, pad) for part in find_parts(board, name) for pad in part.pads]
        else:
            copper = [
                (f"{board.part_by_key[pin.part].refdes}.{pin.number}", pad)
                for pin in find_pins(board, name)
                for pad in pin.pads
            ]
        places = {
            (pad.x, pad.y): KnownPad(shown, pad.x, pad.y, right, down, pad.side)
            for shown, pad in copper
        }
        if not places:
            raise NothingMatches(
                f"{name} has no pad with a place in these sources",
                hint="Add the board file with --with, or take another pad.",
            )
        if len(places) > 1:
            hint = "Take a pad that stands at one only."
            raise WrongUsage(f"{name} stands at {len(places)} places", hint=hint)
        found += places.values()
    return tuple(found)


def fit_photo(known: Sequence[KnownPad]) -> PhotoMap:
    """Fit the map of a photo to three or more known pads, whose names differ.

    Returns:
        The affine map, or the projective one where that does not fit and four pads are known.
        Where one pad does not agree and the others do, it is named in `bad` and not used. Where
        no such pad can be told, `agrees` is False.

    Raises:
        WrongUsage: fewer than three pads, a pad twice, or all (nearly) on one line.
    """
    pads = tuple(known)
    if len(pads) < 3:
        raise WrongUsage(
            f"{len(pads)} known pad{'' if len(pads) == 1 else 's'} in the photo",
            expected="3 or more",
            hint=f"Point at pads far apart: {EXAMPLE}.",
        )
    names = [pad.name for pad in pads]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise WrongUsage(f"{twice} is given twice", hint="Each known pad once.")
    if {pad.side for pad in pads} >= {Side.TOP, Side.BOTTOM}:
        raise WrongUsage("known pads on both sides of the board", hint="A photo shows one side.")
    if any(map(_lie_on_one_line, _arrays(pads))):
        raise WrongUsage(
            "the known pads lie on one line", hint="Take one well off it, or the map is open."
        )
    fit, caution = _best_fit(pads)
    slope = _slope(fit.matrix, fit.used)
    px_per_mm = fit.px_per_mm
    residuals = tuple(
        Residual(pad.name, right, down, math.hypot(right, down) / px_per_mm, pad in fit.used)
        for pad, (right, down) in zip(pads, _errors(fit.matrix, pads).tolist(), strict=True)
    )
    side = next((pad.side for pad in pads if pad.side is not Side.BOTH), None)
    # y runs up on the board and down in the photo: seen from the top, the sense of turning changes
    mirrored = bool(np.linalg.det(slope) > 0) is (side is not Side.BOTTOM)
    along, down = slope[:, 0].tolist()
    turned = math.degrees(
        math.atan2(-down, along) if side is not Side.BOTTOM else math.atan2(down, -along)
    )
    other = None
    # a projective map that agrees was taken since the pads speak against the affine one
    if fit.kind is MapKind.AFFINE or not fit.good:
        other = _fit(fit.used, next(each for each in MapKind if each is not fit.kind))
    return PhotoMap(
        kind=fit.kind,
        rows=fit.rows,
        known=pads,
        residuals=residuals,
        spread_px=fit.spread_px,
        px_per_mm=px_per_mm,
        side=side,
        mirrored=mirrored,
        degrees=turned,
        bad=tuple(item.name for item in residuals if not item.used),
        agrees=fit.good or fit.spread_px is None,
        cautions=(*caution, *_cautions(fit, residuals, mirrored=mirrored)),
        other_rows=other.rows if other is not None else (),
        left_out_rows=tuple(each.rows for each in _left_out_fits(fit.used, fit.kind)),
    )


def _cautions(fit: _MapFit, residuals: Sequence[Residual], *, mirrored: bool) -> Iterator[str]:
    for item in residuals:
        if not item.used:
            yield (
                f"{item.name} is {item.off_px:.0f} px ({item.off_mm:.2f} mm) from where the "
                "others put it: it is left out; point at it again"
            )
    if fit.spread_px is None:
        yield f"{len(fit.used)} known pads leave nothing to check the map by: add one or two"
    elif not fit.good:
        worst = max(residuals, key=lambda item: item.off_px)
        yield (
            f"the known pads do not agree ({fit.spread_px:.0f} px left over, most at "
            f"{worst.name}), and no one of them alone explains it: do not trust the marks; point "
            "again, at six pads or more"
        )
    if mirrored:
        yield "the photo is mirrored (or known pads are exchanged): look at pin 1 before you solder"


# -- which map ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _MapFit:
    """A map with the pads it was fitted to; `spread_px` None where all figures were needed."""

    kind: MapKind
    matrix: Matrix
    used: tuple[KnownPad, ...]
    spread_px: float | None
    px_per_mm: float
    squares: float  # of what is left over, summed, px²

    @property
    def good(self) -> bool:
        """Whether the pads agree as well as a person can point."""
        tolerance = max(POINTING_PX, POINTING_MM * self.px_per_mm)
        return self.spread_px is not None and self.spread_px <= tolerance

    @property
    def rows(self) -> Rows:
        """The matrix as plain figures."""
        return tuple((a, b, c) for a, b, c in self.matrix.tolist())


def _best_fit(pads: tuple[KnownPad, ...]) -> tuple[_MapFit, tuple[str, ...]]:
    """Return the plainest map that explains the pads, and what to mind about it, in words."""
    tried = [fit for kind in MapKind if (fit := _fit(pads, kind)) is not None]
    plainest, richest = tried[0], tried[-1]
    if plainest.good and not (len(tried) > 1 and _tilted(plainest, richest)):
        return plainest, ()
    # the one pad whose loss makes all others agree
    agreeing = ([fit for fit in _left_out_fits(pads, kind) if fit.good] for kind in MapKind)
    alone = next((fits[0] for fits in agreeing if len(fits) == 1), None)
    # a camera at an angle and a slip at a corner look alike at first; the noise tells them apart
    if richest.good and (
        alone is None
        or (richest.spread_px or 0.0) <= PLAINLY_TIMES * (alone.spread_px or 0.0) + 1e-6
    ):
        return richest, ()
    if alone is not None:
        return alone, ()
    for pair in filter(None, (_exchanged(pads, kind) for kind in MapKind)):
        return plainest, (
            f"{pair[0]} and {pair[1]} seem to be exchanged: with their places the other way "
            "round all pads agree",
        )
    # all figures were needed: nothing speaks against the richer map, and nothing for it
    if len(tried) > 1 and richest.spread_px is None:
        return richest, ("either the camera was held at an angle, or one known pad is off",)
    return richest, ()


def _tilted(affine: _MapFit, projective: _MapFit) -> bool:
    """Return whether the projective map explains more than two further figures would by chance.

    Method: the F test of nested fits. Two figures more leave 2n - 8; for two in the numerator its
    chance has a closed form, (squares of the richer fit / of the plainer)^(n - 4).
    """
    over = len(affine.used) - 4
    if over < 1 or not projective.good or affine.squares < SQUARES_OF_NOTHING:
        return False
    return (projective.squares / affine.squares) ** over < BY_CHANCE


def _left_out_fits(pads: tuple[KnownPad, ...], kind: MapKind) -> list[_MapFit]:
    """Return the maps without each pad in turn; none where all pads are needed for one."""
    fits = (_fit(pads[:index] + pads[index + 1 :], kind) for index in range(len(pads)))
    return [fit for fit in fits if fit is not None]


def _exchanged(pads: tuple[KnownPad, ...], kind: MapKind) -> tuple[str, str] | None:
    """Return the one pair of pads that agree with all when their places are exchanged."""
    found = []
    pairs = itertools.combinations(pads, 2) if len(pads) <= MOST_FOR_EXCHANGE else ()
    for one, other in pairs:
        turned = {
            one: replace(one, right_px=other.right_px, down_px=other.down_px),
            other: replace(other, right_px=one.right_px, down_px=one.down_px),
        }
        fit = _fit([turned.get(pad, pad) for pad in pads], kind)
        if fit is not None and fit.good:
            found.append((one.name, other.name))
    return found[0] if len(found) == 1 else None


# -- the fit --------------------------------------------------------------------------------------


def _fit(pads: Sequence[KnownPad], kind: MapKind) -> _MapFit | None:
    """Return the fit, None where the pads do not settle such a map."""
    free = 6 if kind is MapKind.AFFINE else 8
    over = 2 * len(pads) - free
    places, points = _arrays(pads)
    if over < 0 or _lie_on_one_line(places):
        return None
    matrix = _fitted(places, points, free)
    if matrix is None:
        return None
    squares = float((_errors(matrix, pads) ** 2).sum())
    spread = math.sqrt(squares / over) if over else None
    px_per_mm = math.sqrt(abs(np.linalg.det(_slope(matrix, pads))))
    return _MapFit(kind, matrix, tuple(pads), spread, px_per_mm, squares)


def _fitted(places: Matrix, points: Matrix, free: int) -> Matrix | None:
    """Return the least-squares map, None where it is not settled or turns over.

    Method: Gauss-Newton on the distances in the photo, in normalised places. Its first step, from
    nothing, is the direct linear transformation (Hartley and Zisserman, Multiple View Geometry,
    2nd ed., algorithm 4.2, from memory); for an affine map (`free` is 6, not 8) it is the last.
    """
    from_mm, from_px = _normaliser(places), _normaliser(points)
    start, goal = _mapped(from_mm, places), _mapped(from_px, points)
    found, at, weight, left = np.zeros(9), goal, np.ones((len(goal), 1)), goal
    found[8] = 1.0
    for _ in range(13):
        slopes = np.zeros((len(goal), 2, 8))
        slopes[:, 0, 0:2] = slopes[:, 1, 3:5] = start / weight
        slopes[:, 0, 2:3] = slopes[:, 1, 5:6] = 1 / weight
        slopes[:, :, 6:8] = -at[:, :, None] * (start / weight)[:, None, :]
        step, _, rank, _ = np.linalg.lstsq(
            slopes.reshape(-1, 8)[:, :free], left.reshape(-1), rcond=1e-6
        )
        if rank < free:
            return None
        found[:free] += step
        if np.abs(step).max() < 1e-12:
            break
        weight = start @ found[6:8, None] + 1
        at = _mapped(found.reshape(3, 3), start)
        left = goal - at
    whole: Matrix = np.linalg.inv(from_px) @ found.reshape(3, 3) @ from_mm
    weights = places @ whole[2, :2] + whole[2, 2]
    if weights.min() * weights.max() <= 0:
        return None  # the horizon runs between the pads: no photo shows that
    return whole / float(weights.mean())


def _normaliser(points: Matrix) -> Matrix:
    """Return the map that moves the points' middle to 0 and their mean distance to root two."""
    middle = points.mean(axis=0)
    by = math.sqrt(2) / np.linalg.norm(points - middle, axis=1).mean()
    return np.array([[by, 0.0, -by * middle[0]], [0.0, by, -by * middle[1]], [0.0, 0.0, 1.0]])


def _lie_on_one_line(points: Matrix) -> bool:
    """Return whether the points lie (nearly) on one line, or in one place."""
    sizes = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(sizes[0] == 0 or len(sizes) < 2 or sizes[1] < FLATTEST * sizes[0])


def _arrays(pads: Sequence[KnownPad]) -> tuple[Matrix, Matrix]:
    """Return the pads' places on the board, mm, and in the photo, px, one pad in a row."""
    places = np.array([[pad.x_mm, pad.y_mm] for pad in pads])
    return places, np.array([[pad.right_px, pad.down_px] for pad in pads])


def _mapped(matrix: Matrix, places: Matrix) -> Matrix:
    """Return where a map puts places, one in a row."""
    found = np.column_stack([places, np.ones(len(places))]) @ matrix.T
    result: Matrix = found[:, :2] / found[:, 2:]
    return result


def _at(rows: Rows, x: float, y: float) -> tuple[float, float] | None:
    """Return where a map puts a place, px; None beyond its horizon."""
    right, down, weight = (row[0] * x + row[1] * y + row[2] for row in rows)
    return (right / weight, down / weight) if weight > 1e-9 else None


def _errors(matrix: Matrix, pads: Sequence[KnownPad]) -> Matrix:
    """Return how far right and down of the pointed places the map puts pads, px."""
    places, points = _arrays(pads)
    return _mapped(matrix, places) - points


def _slope(matrix: Matrix, pads: Sequence[KnownPad]) -> Matrix:
    """Return how the photo moves for 1 mm of x and of y in the middle of the pads: 2 x 2, px."""
    middle, step = _arrays(pads)[0].mean(axis=0), 1e-3
    here, right, up = _mapped(matrix, middle + np.array([[0, 0], [step, 0], [0, step]]))
    return np.column_stack([right - here, up - here]) / step
