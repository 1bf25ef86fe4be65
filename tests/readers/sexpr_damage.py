"""Damaged s-expression texts, and the comparison of the two ways through one text."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterator

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_read import Mismatch

Read = Callable[[Document], Board]

_LETTERS = '()" \\\nabz019.-#é\u00a0'


def damaged(text: str, count: int, seed: int) -> Iterator[tuple[str, str]]:
    """Yield (what was done, the text with one character changed, dropped or doubled)."""
    chance = random.Random(seed)
    for _ in range(count):
        at = chance.randrange(len(text))
        if chance.random() < 0.5:  # half of them where structure is
            near = text.find(chance.choice('()"'), at)
            at = near if near >= 0 else at
        deed = chance.choice(("changed", "dropped", "doubled"))
        letter = chance.choice(_LETTERS) if deed == "changed" else text[at] * (deed == "doubled")
        kept = text[at] if deed == "doubled" else ""
        context = text[max(0, at - 20) : at + 20]
        yield f"{deed} at {at} in {context!r}", text[:at] + kept + letter + text[at + 1 :]


def differing(
    name: str, cases: Iterator[tuple[str, str]], by_forms: Read, by_tree: Read
) -> tuple[list[str], Counter[str]]:
    """Return the cases in which the fast way silently says otherwise than the tree, and counts."""
    wrong: list[str] = []
    counts: Counter[str] = Counter()
    for deed, text in cases:
        document = Document(name, text)
        try:
            fast = by_forms(document)
        except Mismatch:
            counts["left to the tree"] += 1
            continue
        counts["read"] += 1
        try:
            slow = by_tree(document)
        except BadInput as error:
            wrong.append(f"{name}: {deed}: read, though {error}")
            continue
        if fast != slow:
            wrong.append(f"{name}: {deed}: another board")
    return wrong, counts
