"""Writer of IPC-D-356A, the bare-board test file: pads and vias in place, and their nets.

The format carries places, sides, holes and sizes of pads, nets, references of six columns and pin
numbers of four. What does not fit is cut and said in a comment; a cut reference that would meet
another is numbered, so that no two parts become one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from nettrace.errors import WrongUsage
from nettrace.model.board import Board, Pad, Side, Via
from nettrace.version import __version__

NET_COLUMNS = 14
REFDES_COLUMNS = 6
PIN_COLUMNS = 4
LINE_COLUMNS = 80
#: Largest counts that six and four columns hold.
MOST_PLACE = 999_999
MOST_SIZE = 9_999
NOT_CONNECTED = "N/C"
VIA = "VIA"


class _Unit(NamedTuple):
    parameter: str
    counts_per_mm: float


#: The finer one where the board fits it, else the one with more reach.
_METRIC = _Unit("CUST 1", 1000.0)
_INCH = _Unit("CUST 0", 10_000 / 25.4)


def write(board: Board) -> str:
    """Return the board as IPC-D-356A text (CUST 1, 0.001 mm; CUST 0 where that is too small).

    Records are in the order of nets, then parts; unconnected pads come last. Lines end in LF and
    are not padded.

    Raises:
        WrongUsage: the board has no pad with a place, or one beyond what six columns hold.
    """
    if not board.has_places():
        raise WrongUsage(
            "no places: this board's sources give no pads",
            hint="IPC-D-356 is a list of places. Add a board file with --with.",
        )
    return "\n".join(_Writer(board).lines()) + "\n"


class _Writer:
    def __init__(self, board: Board) -> None:
        self.board = board
        self.unit = _unit_for(board)
        self.bottom = f"A{max(2, min(99, len(board.layers))):02d}"
        self.comments: list[str] = []
        self.net_names = self._short_nets()
        references = dict.fromkeys(part.refdes for part in board.parts)
        self.refdes_names = self._shorten(references, REFDES_COLUMNS, "reference", {VIA})
        self.clipped = 0

    def lines(self) -> Iterator[str]:
        records = list(self._records())
        outline = list(self._outline())
        if self.clipped:
            self.comments.append(f"{self.clipped} sizes are larger than this format can say")
        homeless = sum(1 for net in self.board.nets for pin in net.pins if not pin.pads)
        if homeless:
            self.comments.append(f"{homeless} pins have no place and are left out")
        yield f"C  IPC-D-356A, written by nettrace {__version__}"
        yield from (f"C  {comment}"[:LINE_COLUMNS].rstrip() for comment in self.comments)
        yield f"P  JOB {_plain(self.board.name)}"[:LINE_COLUMNS].rstrip()
        yield "P  CODE 00"
        yield f"P  UNITS {self.unit.parameter}"
        yield "P  VER IPC-D-356A"
        yield "P  IMAGE PRIMARY"
        for name, short in self.net_names.items():
            if short.startswith("NNAME") and short != name:
                yield f"P  {short:<10} {_plain(name)}"
        yield from records
        yield from outline
        yield "999"

    # names

    def _short_nets(self) -> dict[str, str]:
        """Return net name -> what stands in the net columns: itself, or an alias."""
        names = dict.fromkeys(net.name for net in self.board.nets)
        names.update((via.net, None) for via in self.board.vias if via.net)
        names.update((pad.net, None) for pad in self.board.pads() if pad.net)
        short: dict[str, str] = {}
        written: set[str] = set()
        for name in names:
            special = name == NOT_CONNECTED or name.startswith("NNAME")
            if _fits(name, NET_COLUMNS) and not special:
                short[name] = name
                continue
            short[name] = f"NNAME{len(written) + 1}"
            plain = _plain(name)
            if plain != name or plain in written:
                self.comments.append(f"net {_plain(repr(name))} has letters this format lacks")
            written.add(plain)
        return short

    def _shorten(
        self, names: Iterable[str], columns: int, what: str, taken: set[str]
    ) -> dict[str, str]:
        """Return name -> a name of at most that many columns, no two alike."""
        kept = [name for name in names if _fits(name, columns) and name not in taken]
        short = {name: name for name in kept}
        used = {*kept, *taken}
        for name in (name for name in names if name not in short):
            base = _plain(name).strip()
            candidate, count = base[:columns].strip() or "-", 1
            while candidate in used:
                count += 1
                candidate = base[: columns - len(str(count))] + str(count)
            used.add(candidate)
            short[name] = candidate
            self.comments.append(f"{what} {_plain(name)} is written {candidate}")
        return short

    # records

    def _records(self) -> Iterator[str]:
        rows: list[tuple[int, str]] = []
        rank = {net.name: number for number, net in enumerate(self.board.nets)}
        last = len(rank)
        for part in self.board.parts:
            numbers = dict.fromkeys(pad.number for pad in part.pads)
            pins = self._shorten(numbers, PIN_COLUMNS, f"pin of {part.refdes}:", set())
            for pad in part.pads:
                text = self._pad(self.refdes_names[part.refdes], pad, pins[pad.number])
                rows.append((rank.get(pad.net or "", last + (not pad.net)), text))
        for via in self.board.vias:
            size = f"X{self._size(via.diameter)}Y0000" if via.diameter else " " * 10
            hole = f"D{self._size(via.drill)}P"
            text = self._record("317", via, VIA, "", f"M{hole}A00", f"{size}R000")
            rows.append((rank.get(via.net or "", last + (not via.net)), text))
        rows.sort(key=lambda row: row[0])
        return (text for _, text in rows)

    def _pad(self, refdes: str, pad: Pad, pin: str) -> str:
        hole = f"{'':6}"
        code = "327"
        if pad.drill is not None or pad.side is Side.BOTH or not pad.plated:
            code = "317" if pad.plated else "367"
            hole = f"D{self._size(pad.drill)}{'P' if pad.plated else 'U'}"
        access = {Side.BOTH: "A00", Side.TOP: "A01", Side.BOTTOM: self.bottom}[pad.side]
        extent = " " * 10
        if pad.width:
            height = None if pad.shape == "circle" else pad.height or pad.width
            extent = f"X{self._size(pad.width)}Y{self._size(height)}"
        form = f"{extent}R{round(pad.angle) % 360:03d}"
        return self._record(code, pad, refdes, pin, f" {hole}{access}", form)

    def _record(
        self, code: str, what: Pad | Via, refdes: str, pin: str, hole: str, form: str
    ) -> str:
        name = self.net_names[what.net] if what.net else NOT_CONNECTED
        dash = "-" if pin else " "
        return (
            f"{code}{name:<14}   {refdes:<6}{dash}{pin:<4}{hole}{self._place(what.x, what.y)}{form}"
        ).rstrip()

    def _size(self, length_mm: float | None) -> str:
        count = round((length_mm or 0.0) * self.unit.counts_per_mm)
        if count > MOST_SIZE:
            self.clipped += 1
            count = MOST_SIZE
        return f"{count:04d}"

    def _place(self, x: float, y: float) -> str:
        counts = [round(length * self.unit.counts_per_mm) for length in (x, y)]
        return f"X{counts[0]:+07d}Y{counts[1]:+07d}"

    def _outline(self) -> Iterator[str]:
        for path in self.board.outline:
            line = f"{'389BOARD_EDGE':<22}"
            for x, y in path:
                step = self._place(x, y)
                if len(line) + len(step) > LINE_COLUMNS:
                    yield line.rstrip()
                    line = f"{'089':<22}"
                line += step + " "
            yield line.rstrip()


def _unit_for(board: Board) -> _Unit:
    spots: list[Pad | Via] = [*board.pads(), *board.vias]
    places = [abs(value) for spot in spots for value in (spot.x, spot.y)]
    places += [abs(value) for path in board.outline for point in path for value in point]
    sizes = [size or 0.0 for pad in board.pads() for size in (pad.width, pad.height, pad.drill)]
    sizes += [size or 0.0 for via in board.vias for size in (via.diameter, via.drill)]
    farthest, largest = max(places), max(sizes)
    for unit in (_METRIC, _INCH):
        fits = largest * unit.counts_per_mm <= MOST_SIZE or unit is _INCH
        if fits and farthest * unit.counts_per_mm <= MOST_PLACE:
            return unit
    raise WrongUsage(
        f"a place {farthest:.0f} mm from the origin",
        hint=f"IPC-D-356 holds up to {MOST_PLACE / _INCH.counts_per_mm:.0f} mm.",
    )


def _plain(text: str) -> str:
    """Return the text on one line: what cannot stand in a line becomes '?'."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _fits(name: str, columns: int) -> bool:
    return len(name) <= columns and name == name.strip() and name == _plain(name)
