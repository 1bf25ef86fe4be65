"""What the forms of an s-expression netlist mean, whichever way they were read."""

from __future__ import annotations

from pathlib import PurePath

from nettrace.errors import Place
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.readers.document import Document
from nettrace.readers.sexpr_pins import note_pin_conflicts

__all__ = ["NetlistFacts"]

PinTable = dict[str, tuple[str, str]]  # number -> (name, electrical type)
PinFacts = dict[tuple[str, str | None], tuple[str | None, str | None, Place | None]]

_TOLD_ELSEWHERE = frozenset({"Reference", "Value", "Footprint", "Sheetname", "Sheetfile"})
_NOT_FITTED = frozenset({"dnp", "DNP", "Dnp"})
_NO = frozenset({"no", "false", "0"})


class NetlistFacts:
    """Takes the facts of one netlist, in the order of the file, and pushes them to a builder."""

    def __init__(self, document: Document) -> None:
        self.builder = BoardBuilder(document.path, "kicad_net")
        self.builder.digest = document.digest
        self.builder.name = PurePath(document.path).stem
        self.library: dict[tuple[str, str], tuple[str, PinTable]] = {}
        self._drafts: dict[str, PartDraft] = {}
        self._symbols: dict[str, tuple[str, str]] = {}  # refdes -> (library, part)
        self._terminals: dict[str, tuple[PinFacts, PinTable]] = {}
        self._nets: dict[str, Place] = {}

    def title(self, title: str) -> None:
        """Take a title; the first one counts, one made of variables says nothing."""
        if title.strip() and "${" not in title:
            self.builder.name = title.strip()

    def component(
        self,
        refdes: str,
        value: str | None,
        package: str | None,
        description: str | None,
        sheet: str | None,
        properties: list[tuple[str, str | None]],
        symbol: tuple[str, str] | None,
        place: Place,
    ) -> None:
        """Take a component; `properties` holds its fields and properties in order."""
        builder = self.builder
        draft = builder.part(refdes, place)
        if refdes in self._drafts:
            first = self._drafts[refdes].place
            builder.warn("refdes-repeated", f"{refdes} is there twice (first {first})", place)
        else:
            self._drafts[refdes] = draft
            if symbol is not None:
                self._symbols[refdes] = symbol
        draft.value = value or None
        draft.package = package or None
        draft.sheet = sheet or None
        known = draft.properties
        for name, text in properties:
            if name in _TOLD_ELSEWHERE:
                continue
            if name == "Description":
                description = text or description
            elif name in _NOT_FITTED:
                if text is None or text.strip().lower() not in _NO:
                    draft.fitted = False
            elif text is None:
                known.setdefault(name, "yes")
            elif text and text != "~":
                known.setdefault(name, text)
        draft.description = description or None

    def library_part(
        self, library: str, names: list[str], description: str | None, pins: PinTable
    ) -> None:
        """Take a symbol (under all its names): its description, the names of its pins."""
        for name in names:
            self.library[library, name] = (description or "", pins)

    def libraries_done(self) -> None:
        """Fill in, once the library section is read, what only the symbols say."""
        for refdes, symbol in self._symbols.items():
            known = self.library.get(symbol)
            draft = self._drafts[refdes]
            if known is not None and not draft.description and known[0]:
                draft.description = known[0]

    def net(self, name: str, place: Place) -> None:
        """Begin a net; the same name again adds to it, with a warning."""
        first = self._nets.get(name)
        if first is not None:
            self.builder.warn(
                "net-repeated",
                f"net {name!r} is there twice (first {first}); read as one net",
                place,
            )
            return
        self._nets[name] = place
        self.builder.net(name, place=place)

    def node(
        self,
        net: str,
        refdes: str,
        number: str,
        function: str | None,
        electrical_type: str | None,
        place: Place,
    ) -> None:
        """Take a node of a net."""
        facts, table = self._terminals.get(refdes) or self._terminals_of(refdes, place)
        if (function is None or electrical_type is None) and number in table:
            name, kind = table[number]
            if function is None and name != "~":
                function = name
            electrical_type = electrical_type or kind
        pin = (number, net or None)
        if pin in facts:
            self._drafts[refdes].pin(
                number, net, name=function or None, electrical_type=electrical_type or None
            )
        else:
            facts[pin] = (function or None, electrical_type or None, place)

    def _terminals_of(self, refdes: str, place: Place) -> tuple[PinFacts, PinTable]:
        """Return where the part's pins go, and what its symbol says of them."""
        draft = self._drafts.get(refdes)
        if draft is None:
            self.builder.warn(
                "part-not-listed", f"{refdes} has pins but no component record", place
            )
            draft = self.builder.part(refdes, place)
            self._drafts[refdes] = draft
        symbol = self._symbols.get(refdes)
        known = self.library.get(symbol) if symbol is not None else None
        found = (draft.pin_facts, known[1] if known is not None else {})
        self._terminals[refdes] = found
        return found

    def done(self) -> None:
        """End the file: note the pins that stand on two nets."""
        for refdes, draft in self._drafts.items():
            facts = draft.pin_facts
            if len({number for number, _ in facts}) != len(facts):
                note_pin_conflicts(
                    self.builder,
                    refdes,
                    [
                        (number, net, said[2])
                        for (number, net), said in facts.items()
                        if net is not None and said[2] is not None
                    ],
                )
