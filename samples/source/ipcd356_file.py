"""Write IPC-D-356A: fixed columns, 0.0001 inch and degrees, aliases for names over 14 letters."""

from __future__ import annotations

from description import Description, Part
from tracks import Via, load_tracks

TENTH_MIL_MM = 0.00254
NAME_COLUMNS = 14
COPPER_LAYERS = 4


def tenths(value_mm: float) -> int:
    return round(value_mm / TENTH_MIL_MM)


def bare_board_text(description: Description) -> str:
    aliases = {
        name: f"NNAME{index}"
        for index, name in enumerate(
            (n for n in description.nets if len(n) > NAME_COLUMNS), start=1
        )
    }
    lines = [
        f"C  {description.board['title']}, revision {description.board['revision']}",
        "P  JOB   WREN",
        "P  CODE 00",
        "P  UNITS CUST 0",
        "P  DIM   N",
        "P  VER   IPC-D-356A",
        "P  IMAGE PRIMARY",
        *(f"P  {alias:<8} {name}" for name, alias in aliases.items()),
    ]
    shown = {name: aliases.get(name, name.upper()) for name in description.nets}
    for part in description.parts:
        lines += pad_records(description, part, shown)
    for wire in load_tracks():
        if isinstance(wire, Via):
            lines.append(
                record(
                    "317",
                    shown[wire.net],
                    "VIA",
                    "",
                    hole=wire.hole,
                    plated=True,
                    access=0,
                    place=description.page_up(wire.x, wire.y),
                    size=(wire.size, 0),
                    turn=0,
                    mask=3,
                    middle=True,
                )
            )
    return "\n".join([*lines, "999"]) + "\n"


def pad_records(description: Description, part: Part, shown: dict[str, str]) -> list[str]:
    nets = {pin.number: pin.net for pin in part.pins}
    rows = []
    for pad in part.pads:
        if pad.pin not in nets:
            continue  # a fiducial is no test point
        net = nets[pad.pin]
        rows.append(
            record(
                "317" if pad.hole else "327",
                shown[net] if net else "N/C",
                part.refdes,
                pad.pin,
                hole=pad.hole,
                plated=True,
                access=0 if pad.hole else 1 if part.side == "top" else COPPER_LAYERS,
                place=description.page_up(pad.x, pad.y),
                size=(
                    pad.width,
                    0 if pad.round or (pad.hole and pad.width == pad.height) else pad.height,
                ),
                turn=part.page_turn,
                mask=0,
            )
        )
    for x, y, hole in part.holes:
        rows.append(
            record(
                "367",
                "N/C",
                part.refdes,
                "",
                hole=hole,
                plated=False,
                access=0,
                place=description.page_up(x, y),
                size=(hole, 0),
                turn=0,
                mask=0,
            )
        )
    return rows


def record(
    code: str,
    net: str,
    refdes: str,
    pin: str,
    *,
    hole: float,
    plated: bool,
    access: int,
    place: tuple[float, float],
    size: tuple[float, float],
    turn: float,
    mask: int,
    middle: bool = False,
) -> str:
    """One line; the numbers in the comments are its columns."""
    x, y = (tenths(value) for value in place)
    drill = f"D{tenths(hole):04d}{'P' if plated else 'U'}" if hole else " " * 6
    return (
        (
            f"{code}{net[-NAME_COLUMNS:]:<14}   "  # 1-3, 4-17, 18-20
            f"{refdes[:6]:<6}{'-' if pin else ' '}{pin[:4]:<4}"  # 21-26, 27, 28-31
            f"{'M' if middle else ' '}{drill}A{access:02d}"  # 32, 33-38, 39-41
            f"X{x:+07d}Y{y:+07d}"  # 42-49, 50-57
            f"X{tenths(size[0]):04d}Y{tenths(size[1]):04d}"  # 58-67
            f"R{round(turn):03d} S{mask}"  # 68-71, 73-74
        ).rstrip()
    )
