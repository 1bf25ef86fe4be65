"""What the forms of an s-expression netlist mean, whichever way they were read."""

from __future__ import annotations

from collections.abc import Iterable
from operator import itemgetter
from pathlib import PurePath

from nettrace.errors import Place
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.fitted import fitted_by
from nettrace.readers.document import Document
from nettrace.readers.sexpr_pins import note_pin_conflicts

__all__ = ["Fields", "NetlistFacts", "PinFacts", "PinTable"]

PinTable = dict[str, tuple[str, str]]  # number -> (name, electrical type)
PinFacts = dict[tuple[str, str | None], tuple[str | None, str | None, Place | None]]
#: What a component's fields come to: its properties, a description, and whether it is fitted.
Fields = tuple[dict[str, str], str | None, bool | None]

_TOLD_ELSEWHERE = frozenset({"Reference", "Value", "Footprint", "Sheetname", "Sheetfile"})
_number_of = itemgetter(0)


class NetlistFacts:
    """Takes the facts of one netlist, in the order of the file, and pushes them to a builder."""

    def __init__(self, document: Document) -> None:
        self.builder = BoardBuilder(document.path, "kicad_net")
        self.builder.digest = document.digest
        self.builder.name = PurePath(document.path).stem
        self.library: dict[tuple[str, str], tuple[str, PinTable]] = {}
        self._drafts: dict[str, PartDraft] = {}
        self._symbols: dict[str, tuple[str, str]] = {}  # refdes -> (library, part)
        self.terminals: dict[str, tuple[PinFacts, PinTable]] = {}  # those of `terminals_of`
        self._nets: dict[str, Place] = {}

    def title(self, title: str) -> None:
        """Take a title; the first one counts, one made of variables says nothing."""
        if title.strip() and "${" not in title:
            self.builder.name = title.strip()

    @staticmethod
    def fields(named: Iterable[tuple[str, str | None]]) -> Fields:
        """Return what fields and properties come to, in their order; equal ones may share it."""
        known: dict[str, str] = {}
        description: str | None = None
        fitted: bool | None = None
        for name, text in named:
            if name in _TOLD_ELSEWHERE:
                continue
            if name == "Description":
                description = text or description
            elif name.lower() == "dnp":
                fitted = fitted_by(name, text)
            elif text is None:
                known.setdefault(name, "yes")
            elif text and text != "~":
                known.setdefault(name, text)
        return known, description, fitted

    def component(
        self,
        refdes: str,
        value: str | None,
        package: str | None,
        description: str | None,
        sheet: str | None,
        fields: Fields,
        symbol: tuple[str, str] | None,
        place: Place,
    ) -> None:
        """Take a component; `fields` is what its fields and properties come to."""
        known, stated, fitted = fields
        draft = PartDraft(
            refdes, place, refdes, value or None, package or None,
            stated or description or None, fitted, None, None, None, None, (), sheet or None, known,
        )  # fmt: skip
        self.builder.parts.append(draft)
        if self._drafts.setdefault(refdes, draft) is not draft:
            first = self._drafts[refdes].place
            self.builder.warn("refdes-repeated", f"{refdes} is there twice (first {first})", place)
        elif symbol is not None:
            self._symbols[refdes] = symbol

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
        facts, table = self.terminals.get(refdes) or self.terminals_of(refdes, place)
        if (function is None or electrical_type is None) and number in table:
            name, kind = table[number]
            if function is None and name != "~":
                function = name
            electrical_type = electrical_type or kind
        pin = (number, net or None)
        if pin in facts:
            self.node_again(refdes, pin, function, electrical_type)
        else:
            facts[pin] = (function or None, electrical_type or None, place)

    def node_again(
        self,
        refdes: str,
        pin: tuple[str, str | None],
        function: str | None,
        electrical_type: str | None,
    ) -> None:
        """Take a node that the part has already: what it left open may be said now."""
        self._drafts[refdes].pin(
            *pin, name=function or None, electrical_type=electrical_type or None
        )

    def terminals_of(self, refdes: str, place: Place) -> tuple[PinFacts, PinTable]:
        """Return where the part's pins go, and what its symbol says of them; `place` names it."""
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
        self.terminals[refdes] = found
        return found

    def done(self) -> None:
        """End the file: note the pins that stand on two nets."""
        for refdes, draft in self._drafts.items():
            facts = draft.pin_facts
            if len(set(map(_number_of, facts))) != len(facts):
                note_pin_conflicts(
                    self.builder,
                    refdes,
                    [
                        (number, net, said[2])
                        for (number, net), said in facts.items()
                        if net is not None and said[2] is not None
                    ],
                )
