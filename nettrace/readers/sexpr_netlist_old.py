"""Netlists of schematic programs before 2012, part by part: `( ID PACKAGE R1 10k ( 1 GND ) )`.

The head is `# EESchema Netlist Version 1.1` or the same in braces; the list of parts ends at a `)`
alone, and what follows (allowed footprints, pins by nets) says nothing new. `$noname` is no
footprint, `?` is no net. The same form is still written for other layout programs.

Sources: files published from 2007 on, and those programs' own writers (from memory).
"""

from __future__ import annotations

import re
from pathlib import PurePath

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.readers.document import Document
from nettrace.readers.sexpr_pins import note_pin_conflicts

__all__ = ["OLD_HEAD", "read_old_netlist"]

OLD_HEAD = re.compile(
    r"\A\s*+(?:#[^\n]{0,80}?EESchema Netlist Version[^\n]*+\n\s*+\("
    r"|\(\s*+\{[^}\n]{0,80}?netlist[^}\n]*+\})",
    re.IGNORECASE,
)
_PART = re.compile(
    r"\(\s*(?P<id>\S+)\s+(?P<package>\S+)\s+(?P<refdes>[^\s()]+)"
    r"(?:[ \t]+(?P<value>[^\s{][^{]*?))?\s*(?:\{(?:Lib=)?(?P<symbol>[^}]*)\})?"
)
_PIN = re.compile(r"\(\s*(?P<number>\S+)\s+(?P<net>\S+?)\s*\)")
_NO_FOOTPRINT = "$noname"
_NO_NET = "?"


def read_old_netlist(document: Document) -> Board:
    """Read the netlist.

    Raises:
        BadInput: a line that is neither part nor pin, or an end before the list's own.
    """
    return _Reader(document).read()


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.builder = BoardBuilder(document.path, "kicad_net")
        self.builder.digest = document.digest
        self.builder.name = PurePath(document.path).stem
        self.builder.version = "1.1"
        self.first: dict[str, Place] = {}

    def read(self) -> Board:
        head = OLD_HEAD.match(self.document.text)
        start = head.end() if head is not None else 0
        first = self.document.text.count("\n", 0, start) + 1
        lines = self.document.text[start:].splitlines()
        draft: PartDraft | None = None
        pins: list[tuple[str, str, Place]] = []
        for number, raw in enumerate(lines, first):
            line = raw.strip()
            if not line:
                continue
            place = Place(self.document.path, number, raw.find(line[0]) + 1)
            if draft is None:
                if line == ")":
                    return self.builder.build()
                draft, pins = self.part(line, place), []
            elif line == ")":
                note_pin_conflicts(self.builder, draft.refdes, pins)
                draft = None
            else:
                match = _PIN.fullmatch(line)
                if match is None:
                    raise self.fail(line, place, "a pin and its net, '( 1 GND )', or ')'")
                net = None if match["net"] == _NO_NET else match["net"]
                draft.pin(match["number"], net, place=place)
                if net is not None:
                    self.builder.net(net, place=self.first.setdefault(net, place))
                    pins.append((match["number"], net, place))
        last = max(first + len(lines) - 1, 1)
        raise BadInput(
            "the end of the file",
            expected="')' at the end of the list of parts",
            hint="Is the file cut off?",
            place=Place(self.document.path, last, 1),
        )

    def part(self, line: str, place: Place) -> PartDraft:
        """Make a part of the line that begins it."""
        match = _PART.fullmatch(line)
        if match is None:
            raise self.fail(line, place, "a part, '( ID FOOTPRINT R1 10k', or ')'")
        draft = self.builder.part(match["refdes"], place)
        draft.value = match["value"]
        draft.package = match["package"] if match["package"] != _NO_FOOTPRINT else None
        if match["symbol"]:
            draft.properties["symbol"] = match["symbol"]
        return draft

    def fail(self, line: str, place: Place, expected: str) -> BadInput:
        """Return the error of a line that does not belong there."""
        return BadInput(
            repr(line[:40]),
            expected=expected,
            place=place,
            excerpt=excerpt(self.document.text, place.line, place.column, min(len(line), 40)),
        )
