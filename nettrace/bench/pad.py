"""One pad, by name or by place: what it is, what is next to it, what its net leads to."""

from __future__ import annotations

from dataclasses import dataclass, replace

from nettrace.bench.area import far_pins, no_places
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Board, Pad, Part, Pin, Side
from nettrace.model.find import find_pins

__all__ = ["NearPad", "PadReport", "look_at_pad", "look_at_point"]

#: A pad as large as a shield tab reaches no farther than this, mm.
_MOST_REACH_MM = 2.0
#: A pad without a size reaches this far: half the pitch of a common 0.8 mm grid, mm.
_LEAST_REACH_MM = 0.4
#: Neighbours named; more is a map's work.
_NEIGHBOURS = 4


@dataclass(frozen=True, slots=True)
class NearPad:
    """A pad, its pin (None for copper without a number), and how far its middle is, mm."""

    pad: Pad
    pin: Pin | None
    distance: float


@dataclass(frozen=True, slots=True)
class PadReport:
    """A pad and its surroundings.

    `pad` is None where the sources give the pin no place; `at_point` is true where a place was
    asked for, and `distance` is from there (0 for a pad asked for by name), mm. `others` are the
    pads within the pad's own reach, `neighbours` the next few of other pins; both by distance.
    `ends` are the pins at the other side of the part, where it passes anything; `far` tells what
    the net leads to.
    """

    part: Part
    pin: Pin | None
    pad: Pad | None
    distance: float
    others: tuple[NearPad, ...]
    neighbours: tuple[NearPad, ...]
    ends: tuple[Pin, ...]
    far: tuple[Pin, ...]
    at_point: bool = False

    @property
    def net(self) -> str | None:
        """The net the copper is on."""
        return self.pin.net if self.pin is not None else self.pad.net if self.pad else None


def look_at_point(circuit: Circuit, x: float, y: float, side: Side | None = None) -> PadReport:
    """Return the pad whose middle is nearest to a point (mm, y up).

    Raises:
        NothingMatches: no pad on that side, or no places in these sources.
    """
    board = circuit.board
    nearest = next(circuit.pad_grid.near(x, y, side), None)
    if nearest is None:
        raise no_places(side)
    gap, pad = nearest
    part = board.part_by_key[pad.part]
    report = _report(circuit, part, _pin_of(board, pad), pad, gap, (x, y))
    return replace(report, at_point=True)


def look_at_pad(circuit: Circuit, words: str) -> tuple[PadReport, ...]:
    """Return the pads that `REFDES.PIN` means; see `find_pins` for what may stand there.

    Raises:
        NothingMatches: no such part or pin.
        WrongUsage: a part is named, and no pin.
    """
    board = circuit.board
    found = []
    for pin in find_pins(board, words):
        pad = pin.pads[0] if pin.pads else None
        at = (pad.x, pad.y) if pad is not None else None
        found.append(_report(circuit, board.part_by_key[pin.part], pin, pad, 0.0, at))
    return tuple(found)


def _report(
    circuit: Circuit,
    part: Part,
    pin: Pin | None,
    pad: Pad | None,
    gap: float,
    at: tuple[float, float] | None,
) -> PadReport:
    others: list[NearPad] = []
    neighbours: list[NearPad] = []
    if pad is not None and at is not None:
        reach = min(_MOST_REACH_MM, max(_LEAST_REACH_MM, pad.width or 0.0, pad.height or 0.0))
        reach = max(reach, gap)
        own = {id(piece) for piece in pin.pads} if pin is not None else {id(pad)}
        for far, other in circuit.pad_grid.near(*at, pad.side):
            if id(other) in own:
                continue
            if far > reach and len(neighbours) >= _NEIGHBOURS:
                break
            near = NearPad(other, _pin_of(circuit.board, other), far)
            if far <= reach:
                others.append(near)
            if len(neighbours) < _NEIGHBOURS:
                neighbours.append(near)
    net = pin.net if pin is not None else pad.net if pad is not None else None
    return PadReport(
        part=part,
        pin=pin,
        pad=pad,
        distance=gap,
        others=tuple(others),
        neighbours=tuple(neighbours),
        ends=_ends(circuit, part, pin),
        far=far_pins(circuit, net, part.key) if net is not None else (),
    )


def _ends(circuit: Circuit, part: Part, pin: Pin | None) -> tuple[Pin, ...]:
    """Return the pins across the part: the other of two, else those a link leads to."""
    if pin is None:
        return ()
    if len(part.pins) == 2:
        return tuple(other for other in part.pins if other is not pin)
    if pin.net is None:
        return ()
    numbers = {
        link.to_pin
        for link in circuit.links.get(pin.net, ())
        if link.part == part.key and link.from_pin == pin.number
    }
    return tuple(other for other in part.pins if other.number in numbers)


def _pin_of(board: Board, pad: Pad) -> Pin | None:
    for pin in board.part_by_key[pad.part].pins:
        if any(own is pad for own in pin.pads):
            return pin
    return None
