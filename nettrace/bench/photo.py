"""Where the board lies in a photo: a map from its millimetres to pixels, fitted to known pads.

Three pads give an affine map (a microscope looks straight down), four or more a projective one
where the affine map does not do (a camera held at an angle). Both are fitted by least squares.
What is left over between the pads as pointed at and as mapped is kept; a pad that does not agree
with all others is named and left out, two pads that were exchanged are told.

Pixels count from the upper left corner of the photo as it is seen upright: right, then down.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.bench.photo_fit import (
    POINTING_MM,
    POINTING_PX,
    Fit,
    KnownPad,
    MapKind,
    best_fit,
    error_px,
    left_out_fits,
    lie_on_one_line,
    other_fit,
    scale,
    slope,
)
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Side
from nettrace.model.find import find_parts, find_pins, split_pin

__all__ = ["KnownPad", "MapKind", "PhotoMap", "Residual", "fit_photo", "parse_known_pads"]

Rows = tuple[tuple[float, float, float], ...]

#: 19 of 20 points of a round normal spread lie within so many times its width (Rayleigh).
WITHIN_TIMES: Final = 2.45
EXAMPLE: Final = "--fix 'U7.1=312,418 R3.2=590,402 J1.4=455,120'"


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
    bad: tuple[str, ...] = ()
    agrees: bool = True
    cautions: tuple[str, ...] = ()
    other_rows: Rows = ()
    left_out_rows: tuple[Rows, ...] = ()

    def to_px(self, x_mm: float, y_mm: float) -> tuple[float, float] | None:
        """Return where a place of the board is in the photo; None beyond its horizon."""
        return _at(self.rows, x_mm, y_mm)

    def _unsteadiness_px(self, x_mm: float, y_mm: float) -> float:
        """Return how the mark moves when known pads are left out one by one: its jackknife error.

        Method: Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982 (from memory):
        the root of (n - 1) / n times the sum of squares.
        """
        here = self.to_px(x_mm, y_mm)
        moved = [_at(rows, x_mm, y_mm) for rows in self.left_out_rows]
        gaps = [math.dist(here, at) ** 2 for at in moved if at is not None and here is not None]
        return math.sqrt((len(gaps) - 1) / len(gaps) * sum(gaps)) if len(gaps) > 1 else 0.0

    def doubt_mm(self, x_mm: float, y_mm: float) -> float:
        """Return how far the mark at a place may be off, mm (19 times of 20).

        The error that pointing gives a map fitted to these pads, which grows away from them, or
        the mark's own unsteadiness where that is more; and how far another kind of map that the
        pads do not speak against puts the place from this one.
        """
        used = [pad for pad in self.known if pad.name not in self.bad]
        count = len(used)
        x0, y0 = sum(pad.x_mm for pad in used) / count, sum(pad.y_mm for pad in used) / count
        xx = sum((pad.x_mm - x0) ** 2 for pad in used)
        yy = sum((pad.y_mm - y0) ** 2 for pad in used)
        xy = sum((pad.x_mm - x0) * (pad.y_mm - y0) for pad in used)
        dx, dy = x_mm - x0, y_mm - y0
        reach = (dx * dx * yy - 2 * dx * dy * xy + dy * dy * xx) / (xx * yy - xy * xy)
        pointing = max(POINTING_PX / 2, POINTING_MM / 2 * self.px_per_mm, self.spread_px or 0.0)
        error = max(
            pointing * math.sqrt(1 / count + reach),
            self._unsteadiness_px(x_mm, y_mm) / math.sqrt(2),
        )
        doubt = WITHIN_TIMES * error
        here, there = _at(self.rows, x_mm, y_mm), _at(self.other_rows, x_mm, y_mm)
        if here is not None and there is not None:
            doubt += math.dist(here, there)
        return doubt / self.px_per_mm


def _at(rows: Sequence[Sequence[float]], x: float, y: float) -> tuple[float, float] | None:
    if not rows:
        return None
    right, down, weight = (row[0] * x + row[1] * y + row[2] for row in rows)
    return (right / weight, down / weight) if weight > 1e-9 else None


# -- words --------------------------------------------------------------------------------------


def parse_known_pads(board: Board, words: Sequence[str]) -> tuple[KnownPad, ...]:
    """Return the known pads of words such as `U7.1=312,418`; a word may hold several.

    A pad is `REFDES.PIN`, or the refdes alone of a part with one pad (test point, fiducial).

    Raises:
        WrongUsage: a word cannot be read, or its pad stands at several places.
        NothingMatches: no such pad, or it has no place in the sources.
    """
    found: list[KnownPad] = []
    for word in (piece for text in words for piece in text.replace(";", " ").split()):
        name, equals, point = word.rpartition("=")
        figures = point.split(",")
        try:
            right, down = (float(figure) for figure in figures)
        except ValueError:
            right = down = math.nan
        if not equals or not name or not math.isfinite(right) or not math.isfinite(down):
            raise WrongUsage(
                f"the known pad {word!r}",
                expected="PAD=RIGHT,DOWN in pixels",
                hint=f"Write it like {EXAMPLE}.",
            )
        shown, x, y, side = _place_of(board, name)
        found.append(KnownPad(shown, x, y, right, down, side))
    return tuple(found)


def _place_of(board: Board, name: str) -> tuple[str, float, float, Side]:
    if split_pin(board, name) is None:
        parts = find_parts(board, name)
        copper = [(part.refdes, pad) for part in parts for pad in part.pads]
    else:
        pins = {(pin.part, pin.number): pin for pin in find_pins(board, name)}
        copper = [
            (f"{board.part_by_key[pin.part].refdes}.{pin.number}", pad)
            for pin in pins.values()
            for pad in pin.pads
        ]
    places = {(pad.x, pad.y): (shown, pad.x, pad.y, pad.side) for shown, pad in copper}
    if not places:
        raise NothingMatches(
            f"{name} has no pad with a place in these sources",
            hint="Add the board file with --with, or take another pad.",
        )
    if len(places) > 1:
        raise WrongUsage(
            f"{name} stands at {len(places)} places", hint="Take a pad that stands at one only."
        )
    return next(iter(places.values()))


# -- the map ------------------------------------------------------------------------------------


def fit_photo(known: Sequence[KnownPad], kind: MapKind | None = None) -> PhotoMap:
    """Fit the map of a photo to three or more known pads.

    Args:
        known: the pads; names differ.
        kind: the map to fit; None takes the affine one, and the projective one where the affine
            does not fit and four pads or more are known.

    Returns:
        The map. Where one pad does not agree and the others do, it is named in `bad` and not
        used. Where no such pad can be told, `agrees` is False.

    Raises:
        WrongUsage: fewer than three pads, a pad twice, or all (nearly) on one line.
    """
    pads = tuple(known)
    least = 4 if kind is MapKind.PROJECTIVE else 3
    if len(pads) < least:
        raise WrongUsage(
            f"{len(pads)} known pad{'' if len(pads) == 1 else 's'} in the photo",
            expected=f"{least} or more",
            hint=f"Point at pads far apart: {EXAMPLE}.",
        )
    names = [pad.name for pad in pads]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise WrongUsage(f"{twice} is given twice", hint="Each known pad once.")
    if {pad.side for pad in pads} >= {Side.TOP, Side.BOTTOM}:
        raise WrongUsage("known pads on both sides of the board", hint="A photo shows one side.")
    if lie_on_one_line([(pad.x_mm, pad.y_mm) for pad in pads]) or lie_on_one_line(
        [(pad.right_px, pad.down_px) for pad in pads]
    ):
        raise WrongUsage(
            "the known pads lie on one line", hint="Take one well off it, or the map is open."
        )
    fit, cautions = best_fit(pads, kind)
    return _result(pads, fit, cautions)


def _result(pads: tuple[KnownPad, ...], fit: Fit, cautions: list[str]) -> PhotoMap:
    px_per_mm = scale(fit.matrix, fit.used)
    residuals = tuple(
        Residual(pad.name, right, down, math.hypot(right, down) / px_per_mm, pad in fit.used)
        for pad, (right, down) in ((pad, error_px(fit.matrix, pad)) for pad in pads)
    )
    bad = tuple(item.name for item in residuals if not item.used)
    side = next((pad.side for pad in pads if pad.side is not Side.BOTH), None)
    a, b, c, d = slope(fit.matrix, fit.used)
    # y runs up on the board and down in the photo: seen from the top, the sense of turning changes
    mirrored = (a * d - b * c > 0) is (side is not Side.BOTTOM)
    turned = math.degrees(math.atan2(-b, a) if side is not Side.BOTTOM else math.atan2(b, -a))
    agrees = fit.good or fit.spread_px is None
    said = [*cautions, *_cautions(pads, fit, bad, residuals, mirrored=mirrored)]
    return PhotoMap(
        kind=fit.kind,
        rows=_rows(fit),
        known=pads,
        residuals=residuals,
        spread_px=fit.spread_px,
        px_per_mm=px_per_mm,
        side=side,
        mirrored=mirrored,
        degrees=turned,
        bad=bad,
        agrees=agrees,
        cautions=tuple(said),
        other_rows=_other_rows(fit),
        left_out_rows=tuple(_rows(each) for each in left_out_fits(fit)),
    )


def _other_rows(fit: Fit) -> Rows:
    if fit.kind is MapKind.PROJECTIVE and fit.good:
        return ()  # it was taken since the pads speak against the affine one
    other = other_fit(fit)
    return _rows(other) if other is not None else ()


def _rows(fit: Fit) -> Rows:
    return tuple((float(row[0]), float(row[1]), float(row[2])) for row in fit.matrix)


def _cautions(
    pads: Sequence[KnownPad],
    fit: Fit,
    bad: Sequence[str],
    residuals: Sequence[Residual],
    *,
    mirrored: bool,
) -> Iterator[str]:
    off = {item.name: item for item in residuals}
    for name in bad:
        yield (
            f"{name} is {off[name].off_px:.0f} px ({off[name].off_mm:.2f} mm) from where the "
            "others put it: it is left out; point at it again"
        )
    if fit.spread_px is None:
        yield f"{len(pads) - len(bad)} known pads leave nothing to check the map by: add one or two"
    elif not fit.good:
        worst = max(residuals, key=lambda item: item.off_px)
        yield (
            f"the known pads do not agree ({fit.spread_px:.0f} px left over, most at "
            f"{worst.name}), and no one of them alone explains it: do not trust the marks; point "
            "again, at six pads or more"
        )
    if mirrored:
        yield "the photo is mirrored (or known pads are exchanged): look at pin 1 before you solder"
