"""A comparison of two boards: as the contract's JSON, and on the work sheet."""

from __future__ import annotations

from collections.abc import Iterable

from nettrace.bench.compare import Comparison, Open, Short
from nettrace.model.board import Board, Pin
from nettrace.views.payload import Json, mm
from nettrace.views.tables import Sheet
from nettrace.views.text import counted, listed

__all__ = ["comparison", "opens_payload", "shorts_payload", "show_comparison"]

#: Pins named of one group before "and N more".
PINS_SHOWN = 8


def comparison(board: Board, found: Comparison) -> Json:
    """Return the contract's `comparison`; pins are those of the first board."""
    return {
        "same": found.same,
        "opens": opens_payload(board, found.opens),
        "shorts": shorts_payload(board, found.shorts),
        "missing_parts": list(found.missing_parts),
        "extra_parts": list(found.extra_parts),
        "missing_pins": list(found.missing_pins),
        "extra_pins": list(found.extra_pins),
    }


def opens_payload(board: Board, opens: Iterable[Open]) -> list[Json]:
    """Return opens: the net, and its pins in groups."""
    return [
        {
            "net": item.net,
            "groups": [[_pin(board, pin) for pin in group] for group in item.groups],
        }
        for item in opens
    ]


def shorts_payload(board: Board, shorts: Iterable[Short]) -> list[Json]:
    """Return shorts: the nets that are joined, and their pins."""
    return [
        {
            "nets": [net or None for net in item.nets],
            "pins": [_pin(board, pin) for pin in item.pins],
        }
        for item in shorts
    ]


def _pin(board: Board, pin: Pin) -> Json:
    return {
        "part": board.part_by_key[pin.part].refdes,
        "pin": pin.number,
        "name": pin.name,
        "net": pin.net,
        "x": mm(pin.x),
        "y": mm(pin.y),
        "side": pin.side,
    }


def show_comparison(board: Board, other: Board, found: Comparison, sheet: Sheet) -> None:
    """Write what differs, in the words of the bench; nothing differs: one line says so."""
    sheet.title("Comparison", f"{board.name} against {other.name}")
    if found.same:
        listed_alike = not (found.missing_pins or found.extra_pins)
        far = "" if listed_alike else " Pins that only one of them lists are not compared."
        sheet.line(("Same: ", "good"), f"the pins of both are tied together alike.{far}")
    else:
        counts = [
            counted(len(found.opens), "open"),
            counted(len(found.shorts), "short"),
            counted(len(found.missing_parts), "missing part"),
            counted(len(found.extra_parts), "extra part"),
        ]
        sheet.line(("Not the same: ", "bad"), ", ".join(counts) + ".")
    if found.opens:
        sheet.heading("Opens", "one net of the first is several nets of the other", "bad")
        for item in found.opens:
            sheet.line((item.net, "name"), indent=1)
            sheet.bullets(_pins(group) for group in item.groups)
    if found.shorts:
        sheet.heading("Shorts", "one net of the other joins several of the first", "bad")
        for short in found.shorts:
            joined = " + ".join(net or "(no net)" for net in short.nets)
            sheet.line((joined, "name"), indent=1)
            sheet.bullets([_pins(short.pins)])
    for title, names in (
        ("Missing parts", found.missing_parts),
        ("Extra parts", found.extra_parts),
    ):
        if names:
            sheet.heading(title)
            sheet.line(", ".join(names), indent=1)
    for label, names in (
        ("only first", found.missing_pins),
        ("only other", found.extra_pins),
    ):
        if names:
            sheet.labelled(label, f"{counted(len(names), 'pin')} not compared: {listed(names)}")


def _pins(pins: tuple[Pin, ...]) -> str:
    return listed([str(pin) for pin in pins], PINS_SHOWN)
