"""The fast way through an s-expression board file: whole forms, by `grammars/sexpr_board.lark`.

The grammar checks every form; this takes the parts out and hands them to the same BoardFacts as
the whole-tree reader. Rare forms (layer table, board edge, copper areas) go through the tree
reader's own code, form by form. Whatever is unusual is a Mismatch.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from threading import Lock

from nettrace.errors import BadInput
from nettrace.model.board import Board, Side
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board_facts import SHAPE_LAYERS, BoardFacts, Footprint
from nettrace.readers.sexpr_board_heads import FOOTPRINT_HEADS
from nettrace.readers.sexpr_board_tree import BoardTree
from nettrace.readers.sexpr_forms import FormGrammar, MadeOnce, Texts, each_form
from nettrace.readers.sexpr_read import Mismatch
from nettrace.readers.sexpr_text import TOKEN, SexprText, unquote
from nettrace.readers.sexpr_tree import Form

__all__ = ["read_board_forms"]

_PAD_MARKS = (
    "number", "kind", "shape", "x", "y", "angle", "width", "height", "drill", "drill_y", "layers",
    "net", "function", "type",
)  # fmt: skip
_FACT_MARKS = (
    "head", "value", "text_kind", "text_value", "property", "property_value", "attributes",
)  # fmt: skip
_SHAPE_WORDS = frozenset({"fp_line", "fp_arc", "fp_circle", "fp_rect", "fp_poly", "fp_curve"})
_READ_WORDS = _SHAPE_WORDS | {
    "pad", "descr", "tags", "sheetname", "fp_text", "property", "attr", "layer", "at",
}  # fmt: skip
_HEAD_WORD = re.compile(r"[()]([a-z_0-9]*+)")
_CLOSE = re.compile(r"\)(?:[ \t\r\n]++|(?=[()]))")


def read_board_forms(document: Document) -> Board:
    """Read a board file written as its usual writers write it.

    Raises:
        Mismatch: it is not; nothing is known about what is wrong, if anything is.
    """
    return _reader().read(document)


class _Numbers(dict[str, float]):
    """Number as written -> its value; sizes and offsets repeat all over a board."""

    def __missing__(self, raw: str) -> float:
        value = self[raw] = float(raw)
        return value


class _BoardForms:
    """Has a method for each terminal of the grammar that means something."""

    facts: BoardFacts
    source: SexprText
    tree: BoardTree
    text: str
    part: Footprint

    def __init__(self) -> None:
        self._in_use = Lock()
        grammar = self._grammar = FormGrammar(
            "sexpr_board",
            {
                "VERSION": self._version,
                "TITLE": self._title,
                "LAYERS": self._layers,
                "NETS": self._net_rows,
                "FOOTPRINTS": self._footprints,
                "TRACKS": self._tracks,
                "ZONE": self._zone,
                "DRAWINGS": self._drawings,
            },
        )
        self._version_form = grammar.pattern("VERSION")
        self._net = grammar.pattern("NET")
        self._track = grammar.pattern("TRACK")
        self._drawing = grammar.pattern("DRAWING")
        self._head = grammar.pattern("FOOTPRINT_HEAD")
        self._fact = grammar.pattern("FACT")
        self._shapes = grammar.pattern("SHAPES")
        self._shape = grammar.pattern("SHAPE")
        self._pad = grammar.pattern("PAD")
        self._skipped = grammar.pattern("FOOTPRINT_SKIPPED")
        self._read_by_word: dict[str, Callable[[int], int]] = {
            "pad": self._pad_forms,
            **dict.fromkeys(("descr", "tags", "sheetname", "fp_text", "property", "attr"),
                            self._fact_forms),
            **dict.fromkeys(_SHAPE_WORDS, self._shape_forms),
            **dict.fromkeys(FOOTPRINT_HEADS - _READ_WORDS, self._skip),
        }  # fmt: skip
        if tuple(self._pad.groupindex) != _PAD_MARKS:
            raise ValueError("the marks of PAD are not those that `pads` unpacks")
        self._texts = Texts()
        self._numbers = _Numbers()
        self._nets: dict[str, str | None] = {}
        self._sides: dict[str, Side | None] = {}

    def read(self, document: Document) -> Board:
        with self._in_use:  # one file at a time: the parser calls back into this object
            self.source = SexprText(document)
            self.text = document.text
            self.facts = BoardFacts(document, self.source)
            self.tree = BoardTree(self.source, self.facts)
            self._texts = Texts()
            self._numbers = _Numbers()
            self._nets = {}
            self._sides = {}
            try:
                self._grammar.parse(document.text)
                return self.facts.builder.build()
            except BadInput:
                raise Mismatch from None
            finally:
                self.text = ""
                del self.source, self.facts, self.tree
                self._texts, self._numbers = Texts(), _Numbers()
                self._nets, self._sides = {}, {}

    def _by_tree(self, read: Callable[[BoardTree, Form], None], start: int, end: int) -> None:
        """Read a rare form with the tree reader's code; one that earns a warning is a Mismatch."""
        read(self.tree, self.tree.tree.span(start, end))
        if self.tree.tree.warnings:
            raise Mismatch

    # ---- what reads a terminal, from `start` to `end`; it returns where it stopped

    def _version(self, start: int, end: int) -> int:
        match = self._version_form.match(self.text, start)
        if match is not None:
            self.facts.builder.version = self._texts[match["value"]]
        return end

    def _title(self, start: int, end: int) -> int:
        self._by_tree(BoardTree.title, start, end)
        return end

    def _layers(self, start: int, end: int) -> int:
        self._by_tree(BoardTree.layers, start, end)
        self.facts.layers_done()
        return end

    def _net_rows(self, start: int, end: int) -> int:
        facts, texts, place = self.facts, self._texts, self.source.place
        if facts.builder.parts or facts.builder.vias or facts.builder.zones:
            raise Mismatch  # they could name a net that is declared here
        for match in each_form(self._net, self.text, start, end):
            written, name = match.group("number", "name")
            number = texts[written]
            if number in facts.nets:
                raise Mismatch
            facts.net(number, texts[name] if name is not None else number, place(match.start()))
        return end

    def _zone(self, start: int, end: int) -> int:
        self._by_tree(BoardTree.zone, start, end)
        return end

    def _drawings(self, start: int, end: int) -> int:
        text = self.text
        if text.find("\\", start, end) >= 0:
            raise Mismatch  # a layer may be written with escapes
        if text.find("Edge.Cuts", start, end) < 0:
            return end
        for match in each_form(self._drawing, text, start, end):
            if text.find("Edge.Cuts", match.start(), match.end()) >= 0:
                self._by_tree(BoardTree.drawing, match.start(), match.end())
        return end

    # ---- runs of forms: each reads on from `at`, and returns where it stopped

    def _tracks(self, at: int, _end: int) -> int:
        via, nets = self.facts.via, self._nets
        for match in each_form(self._track, self.text, at):
            at = match.end()
            x, y, width, drill, raw = match.group("x", "y", "width", "drill", "net")
            if x is None:
                continue  # a run of lines
            net = None
            if raw is not None:
                net = nets[raw] if raw in nets else self._net_of(raw)
            via(float(x), float(y), net, float(width), None if drill is None else float(drill))
        return at

    def _footprints(self, at: int, _end: int) -> int:
        text = self.text
        head, word_at = self._head.match, _HEAD_WORD.match
        read_by_word = self._read_by_word
        while True:
            match = head(text, at)
            if match is None:
                return at
            self._footprint_head(match)
            at = match.end()
            while True:
                word = word_at(text, at)
                if word is None:
                    raise Mismatch
                if not word[1]:
                    break
                read = read_by_word.get(word[1])
                if read is None or (stop := read(at)) == at:
                    raise Mismatch
                at = stop
            end = _CLOSE.match(text, at)
            if end is None:
                raise Mismatch
            at = end.end()
            self.facts.footprint_done(self.part)

    def _footprint_head(self, match: re.Match[str]) -> None:
        package, layer, x, y, angle = match.group("package", "layer", "x", "y", "angle")
        texts = self._texts
        self.part = self.facts.footprint(
            texts[package],
            texts[layer],
            float(x),
            float(y),
            0.0 if angle is None else float(angle),
            self.source.place(match.start()),
        )

    def _skip(self, at: int) -> int:
        match = self._skipped.match(self.text, at)
        if match is None:
            raise Mismatch
        return match.end()

    def _fact_forms(self, at: int) -> int:
        facts, part, texts = self.facts, self.part, self._texts
        for match in each_form(self._fact, self.text, at):
            head, value, kind, text, name, said, attributes = match.group(*_FACT_MARKS)
            if kind is not None:
                if kind != "user":
                    name = "Reference" if kind == "reference" else "Value"
                    facts.property(part, name, texts[text])
            elif name is not None:
                facts.property(part, texts[name], texts[said])
            elif head == "descr":
                facts.descr(part, texts[value])
            elif head == "tags":
                facts.tags(part, texts[value])
            elif head == "sheetname":
                part.draft.sheet = texts[value] or None
            else:
                facts.attributes(part, _words(attributes))
            at = match.end()
        return at

    def _shape_forms(self, at: int) -> int:
        text = self.text
        run = self._shapes.match(text, at)
        if run is None:
            raise Mismatch
        end = run.end()
        if text.find("\\", at, end) >= 0:
            raise Mismatch  # a layer may be written with escapes
        if not _has_shape_layer(text, at, end):
            return end
        part, texts, shape = self.part, self._texts, self.facts.shape
        for match in each_form(self._shape, text, at, end):
            layer, x, y, x2, y2 = match.group("layer", "x", "y", "x2", "y2")
            if layer is None:
                if _has_shape_layer(text, match.start(), match.end()):
                    form = self.tree.tree.span(match.start(), match.end())
                    self.tree.shape(part, form)
            elif (name := texts[layer]) in SHAPE_LAYERS:
                shape(part, "line", name, [(float(x), float(y)), (float(x2), float(y2))], None)
        if self.tree.tree.warnings:
            raise Mismatch
        return end

    def _pad_forms(self, at: int) -> int:
        texts, nets, sides = self._texts, self._nets, self._sides
        numbers = self._numbers
        add, part, place = self.facts.pad, self.part, self.source.place
        for match in each_form(self._pad, self.text, at):
            (
                number, kind, shape, x, y, angle, width, height, drill, drill_y, layers, raw,
                function, electrical_type,
            ) = match.groups()  # fmt: skip
            hole = None
            if drill is not None:
                hole = numbers[drill]
                if drill_y is not None:
                    hole = min(hole, numbers[drill_y])
            net = None
            if raw is not None:
                net = nets[raw] if raw in nets else self._net_of(raw)
            if layers not in sides:
                sides[layers] = self.facts.pad_side(tuple(_words(layers)))
            add(
                part,
                texts[number],
                kind,
                shape,
                numbers[x],
                numbers[y],
                0.0 if angle is None else numbers[angle],
                numbers[width],
                numbers[height],
                hole,
                sides[layers],
                net,
                None if function is None else texts[function],
                None if electrical_type is None else texts[electrical_type],
                place(match.start()),
            )
            at = match.end()
        return at

    def _net_of(self, raw: str) -> str | None:
        words: list[str | None] = [*_words(raw), None, None]
        if len(words) > 4:
            raise Mismatch
        name, doubt = self.facts.net_named(words[0], words[1])
        if doubt:
            raise Mismatch
        self._nets[raw] = name
        return name


def _has_shape_layer(text: str, start: int, end: int) -> bool:
    return (
        text.find("CrtYd", start, end) >= 0
        or text.find(".Fab", start, end) >= 0
        or text.find("Edge.Cuts", start, end) >= 0
    )


def _words(raw: str) -> list[str]:
    """Return the words and strings of a flat piece of text, unquoted."""
    return [
        unquote(match[2]) if match.lastindex == 2 else match[3] for match in TOKEN.finditer(raw)
    ]


_reader = MadeOnce(_BoardForms)
