"""Elements of a page by plain selectors: names, #id, .class, [name=value], blanks and `>`."""

from __future__ import annotations

import re
from typing import Any

_PIECE = re.compile(r"([#.]?)([\w-]+)|\[([\w-]+)(?:=\"?([^\]\"]*)\"?)?\]")


def select(root: Any, selector: str) -> list[Any]:
    """Return what lies below `root` and is meant by the selector, in order of the page."""
    path = "."
    child = False
    for word in re.findall(r">|(?:\[[^\]]*\]|[^\s>\[])+", selector):
        if word == ">":
            child = True
            continue
        name, tests = "*", ""
        for sign, text, attribute, value in _PIECE.findall(word):
            if attribute:
                tests += f'[@{attribute}="{value}"]' if "=" in word else f"[@{attribute}]"
            elif sign == "#":
                tests += f'[@id="{text}"]'
            elif sign == ".":
                tests += f'[contains(concat(" ", normalize-space(@class), " "), " {text} ")]'
            else:
                name = text
        path += f"{'/' if child else '//'}{name}{tests}"
        child = False
    found: list[Any] = root.xpath(path)
    return found
