"""Which part of one source is which part of another: by refdes, whatever writers did to it."""

from __future__ import annotations

from collections import Counter

from nettrace.model.board import Board, Part
from nettrace.model.builder import PartDraft
from nettrace.model.pairing import (
    REFDES_COLUMNS,
    behind_x,
    by_plain_form,
    cuts_names,
    longer_names,
    mangles_names,
    plain_forms,
)

__all__ = ["PartMatcher"]


class PartMatcher:
    """Knows the parts so far by reference, and finds those of a further source among them."""

    def __init__(self) -> None:
        self.drafts: dict[str, PartDraft] = {}
        self.keys_of_refdes: dict[str, list[str]] = {}
        # parts that only such sources have named as cut names, or as mangle them
        self.cut_keys: set[str] = set()
        self.mangled_keys: set[str] = set()
        self.mangled: dict[str, list[str]] = {}  # plain form -> keys of such parts
        self.unsure: set[str] = set()  # parts that the source being added may or may not mean
        self.plain_names: dict[str, list[str]] = {}
        self.has_nameless = False

    def note_naming(self, key: str, board: Board) -> None:
        """Note whether the one source that names a part so far cuts or mangles names."""
        if cuts_names(board):
            self.cut_keys.add(key)
        elif mangles_names(board):
            self.mangled_keys.add(key)
            for form in plain_forms(self.drafts[key].refdes):
                self.mangled.setdefault(form, []).append(key)

    def rename(self, draft: PartDraft, part: Part, board: Board) -> None:
        """Give a part its refdes as a source has it that neither cuts nor mangles names."""
        key = draft.key
        if key in self.mangled_keys and not mangles_names(board):
            whole = not cuts_names(board) or len(part.refdes) < REFDES_COLUMNS
        else:
            whole = key in self.cut_keys and not cuts_names(board)
        if whole:
            self.mangled_keys.discard(key)
            self.cut_keys.discard(key)
            if draft.refdes != part.refdes:
                draft.refdes = part.refdes
                self.keys_of_refdes.setdefault(part.refdes, []).append(key)

    def match_parts(self, board: Board, cutting: bool) -> dict[str, str | None]:
        """Part key in `board` -> key here, None for a new part; absent where it is not safe."""
        count = Counter(part.refdes for part in board.parts)
        folded: dict[str, list[str]] = {}
        for refdes, keys in self.keys_of_refdes.items():
            folded.setdefault(refdes.casefold(), []).extend(keys)
        if mangles_names(board):
            self.plain_names = by_plain_form(self.keys_of_refdes)
            self.has_nameless = any(not draft.refdes for draft in self.drafts.values())
        result: dict[str, str | None] = {}
        for part in board.parts:
            refdes = part.refdes
            if not refdes:
                continue
            keys = self.keys_of_refdes.get(refdes) or folded.get(refdes.casefold(), [])
            other = keys or self._keys_otherwise(board, part, count, cutting)
            if len(other) == 1 and count[refdes] == 1:
                result[part.key] = other[0]
            elif not other:
                result[part.key] = None
            else:
                self.unsure.update(other)
        taken = Counter(key for key in result.values() if key is not None)
        # two parts for one: nothing says which of them it is
        return {part: key for part, key in result.items() if key is None or taken[key] == 1}

    def _keys_otherwise(
        self, board: Board, part: Part, count: Counter[str], cutting: bool
    ) -> list[str]:
        """Return the keys that a refdes may mean which is not known as it stands."""
        refdes, known = part.refdes, self.keys_of_refdes
        if (bare := behind_x(part)) and bare in known and bare not in count:
            return known[bare]
        if mangles_names(board):
            return self._keys_of_mangled(part, count)
        keys: list[str] = []
        if cutting:
            names = longer_names(refdes, known, REFDES_COLUMNS)
            keys = [key for name in names for key in known[name]]
        elif self.cut_keys and len(refdes) > REFDES_COLUMNS:
            cut = refdes[:REFDES_COLUMNS]
            if sum(name.startswith(cut) for name in count) == 1:
                keys = [key for key in known.get(cut, ()) if key in self.cut_keys]
        if keys or not self.mangled_keys:
            return keys
        found = self.mangled.get(plain_forms(refdes)[0], ())
        return [
            key
            for key in found
            if key in self.mangled_keys
            and self.drafts[key].refdes not in count
            and self._may_be(key, part)
        ]

    def _keys_of_mangled(self, part: Part, count: Counter[str]) -> list[str]:
        found = [self.plain_names.get(form) for form in plain_forms(part.refdes)]
        names = next((names for names in found if names), [])
        keys = [key for name in names for key in self.keys_of_refdes[name]]
        if not keys and self.has_nameless:
            # `_1`, "": parts without a reference, which none can be told from another
            stem = part.refdes.strip('"').strip("_")
            return ["", ""] if not stem or stem.isdigit() else []
        if len(keys) == 1 and (names[0] in count or not self._may_be(keys[0], part)):
            return []  # the suffix is the maker's own: another part altogether
        return keys

    def _may_be(self, key: str, part: Part) -> bool:
        """Return whether a part has pins in common with a known one (or neither has any)."""
        numbers = {number for number, _ in self.drafts[key].pin_facts}
        others = {pin.number for pin in part.pins}
        return bool(numbers & others) or not numbers or not others
