"""Damaged s-expression texts."""

from __future__ import annotations

import random
from collections.abc import Iterator

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
