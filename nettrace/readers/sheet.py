"""Reader of the typed sheet: what a technician reads off a drawing (grammars/sheet.lark)."""

from __future__ import annotations

import re

from lark import Token, Tree
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from nettrace.errors import BadInput, Place
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.readers.document import Document
from nettrace.readers.grammar import load_grammar

PACKAGE = re.compile(
    r"[A-Za-z_]*\d{4,6}(?:_.*)?|(?:SOT|SOD|QFN|DFN|SOIC|BGA|WLCSP|SC)-?\d+\S*", re.I
)
#: Sizes that no value code looks like, for none begins with 0: they need no value before them.
_SIZE = re.compile(r"0\d{3}|01005|008004|009005|015008")
_VOLTS = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*V?|([+-]?\d+)V(\d+)", re.I)
_PIN = re.compile(r"(.+?)\((.+)\)")
_NO_NET = {"-", "nc", "n/c"}

#: What stands there -> what was expected, and what to do.
_MISTAKES = {
    "=": ("a net name", "Pins are written PIN=NET, for example 3=GND."),
    ":": ("pins and nets", "After the colon: nets in pin order, or PIN=NET."),
    '"': ("the end of the quoted name", 'Close it with ".'),
}
_HINT = (
    "A line is a part (R41 2k2 0201: SDA +1V8), rail NAME VOLTS, ground NAME, net NAME also "
    "NAME, not fitted REFDES or note REFDES TEXT."
)


def read(document: Document) -> Board:
    """Read a typed sheet.

    Raises:
        BadInput: a line that is none of the notation's, a pin on two nets, a bad number.
    """
    return _Sheet(document).read()


class _Sheet:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.builder = BoardBuilder(document.path, "sheet")
        self.builder.digest = document.digest
        self.drafts: dict[str, PartDraft] = {}
        self.nets_of: dict[tuple[str, str], tuple[str | None, Token]] = {}

    def read(self) -> Board:
        text = self.document.text
        try:
            tree = load_grammar("sheet").parse(text if text.endswith("\n") else text + "\n")
        except UnexpectedInput as error:
            raise self._not_parsed(error) from None
        for statement in tree.children:
            if isinstance(statement, Tree):
                self._take(statement)
        return self.builder.build()

    def _not_parsed(self, error: UnexpectedInput) -> BadInput:
        """Return our error for lark's: the place, what stands there, what was expected."""
        text = self.document.text
        at_end = isinstance(error, UnexpectedToken) and error.token.type == "$END"
        known = getattr(error, "pos_in_stream", None)
        offset = len(text.rstrip()) if at_end or known is None else min(known, len(text))
        word = ""
        if isinstance(error, UnexpectedToken) and not at_end:
            word = str(error.token)
        elif isinstance(error, UnexpectedCharacters):
            found = re.match(r"[^ \t\r\n]\S*|", text[offset : offset + 40])
            word = (found and found[0]) or text[offset : offset + 1]
        sign = text[known : known + 1] if known is not None else ""
        expected, hint = _MISTAKES.get(sign, ("a line of the sheet", _HINT))
        place = self.document.place(offset)
        return BadInput(
            repr(word) if word else "the end of the file",
            expected=expected,
            hint=hint,
            place=place,
            excerpt=self.document.excerpt(place, len(word) or 1),
        )

    def _take(self, statement: Tree[Token]) -> None:
        kind = str(statement.data)
        words = _tokens(statement)
        texts = [_text(word) for word in words]
        if kind == "header":
            if words[1:]:  # as typed, commas and all
                typed = self.document.text[words[1].start_pos : words[-1].end_pos]
                self.builder.name = " ".join(typed.replace('"', "").split())
        elif kind == "rail":
            volts = None
            if words[2:]:
                match = _VOLTS.fullmatch(texts[2])
                if not match:
                    raise self._error(
                        words[2], f"{texts[2]!r} for volts", "Write 1.8, 1.8V or 1V8."
                    )
                volts = float(match[1] or f"{match[2]}.{match[3]}")
            self.builder.net(texts[1], place=self._place(words[1]), volts=volts)
        elif kind == "ground":
            for word, text in zip(words[1:], texts[1:], strict=True):
                self.builder.net(text, place=self._place(word), volts=0.0)
        elif kind == "net":
            self.builder.net(texts[1], place=self._place(words[1]), aliases=texts[3:])
        elif kind == "unfitted":
            for word in words[2:]:
                self._part(word).fitted = False
        elif kind == "remark":
            notes = self._part(words[1]).properties
            notes["note"] = "; ".join(filter(None, (notes.get("note"), " ".join(texts[2:]))))
        else:
            self._take_part(statement, words[0])

    def _take_part(self, statement: Tree[Token], first: Token) -> None:
        draft = self._part(first)
        values: list[str] = []
        is_placed = False
        for child in statement.children[1:]:
            if isinstance(child, Token):
                text = _text(child)
                if is_placed and text.casefold() in {"top", "bottom"}:
                    draft.side = Side(text.casefold())
                elif is_placed and re.fullmatch(r"-?\d+(\.\d+)?", text):
                    draft.angle = float(text)
                elif child.type == "STRING":
                    draft.description = text
                elif draft.package is None and (
                    _SIZE.fullmatch(text) or (values and PACKAGE.fullmatch(text))
                ):
                    draft.package = text
                else:
                    values.append(text)
            elif child.data == "place":
                draft.x, draft.y = (self._number(word) for word in _tokens(child)[1:])
                draft.side = draft.side or Side.TOP
                is_placed = True
            elif child.data == "fitted_not":
                draft.fitted = False
            else:
                self._connect(draft, child)
        if values:
            said = " ".join(values)
            if draft.value and draft.value != said:
                raise self._error(
                    first,
                    f"{draft.refdes} is {said} here and {draft.value} above",
                    "Keep one of the two values.",
                )
            draft.value = said

    def _connect(self, draft: PartDraft, connections: Tree[Token]) -> None:
        for position, connection in enumerate(connections.children, 1):
            if not isinstance(connection, Tree):
                continue
            first, *other = _tokens(connection)
            number, name, net_word = str(position), None, first
            if other:
                number, net_word = _text(first), other[0]
                if split := _PIN.fullmatch(number):
                    number, name = split[1], split[2]
            net: str | None = _text(net_word)
            if net_word.type != "STRING" and str(net_word).casefold() in _NO_NET:
                net = None
            known = self.nets_of.get((draft.refdes, number))
            if known is not None and known[0] != net:
                raise self._error(
                    net_word,
                    f"{draft.refdes}.{number} on {net or 'no net'}, and on "
                    f"{known[0] or 'no net'} in line {known[1].line}",
                    "A pin is on one net; correct one of the two lines.",
                )
            self.nets_of[draft.refdes, number] = (net, net_word)
            draft.pin(number, net, name=name, place=self._place(first))

    # -- words -------------------------------------------------------------------------------

    def _part(self, word: Token) -> PartDraft:
        refdes = _text(word)
        if not refdes:
            raise self._error(word, "an empty reference", "Write the refdes, for example R41.")
        draft = self.drafts.get(refdes)
        if draft is None:
            draft = self.drafts[refdes] = self.builder.part(refdes, self._place(word))
        return draft

    def _number(self, word: Token) -> float:
        text = _text(word)
        if not re.fullmatch(r"[+-]?\d+(\.\d+)?(mm)?", text):
            raise self._error(
                word, f"{text!r} for a place", "Places are millimetres: at 12.5,30.2."
            )
        return float(text.removesuffix("mm"))

    def _place(self, word: Token) -> Place:
        return Place(self.document.path, word.line or 0, word.column or 0)

    def _error(self, word: Token, found: str, hint: str) -> BadInput:
        place = self._place(word)
        mark = self.document.excerpt(place, len(word))
        return BadInput(found, hint=hint, place=place, excerpt=mark)


def _tokens(tree: Tree[Token]) -> list[Token]:
    return [child for child in tree.children if isinstance(child, Token)]


def _text(word: Token) -> str:
    return word[1:-1] if word.type == "STRING" else str(word)
