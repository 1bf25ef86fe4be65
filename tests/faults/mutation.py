"""Ways to damage a text, each from a seed: what a worn disk, a bad editor or a foe would do."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

__all__ = ["DAMAGES", "damaged"]

#: What no file should hold where it turns up: signs of every format, controls, odd numbers.
WORDS: tuple[bytes, ...] = (
    b"(", b")", b'"', b"\\", b"<", b">", b"&", b"&lol;", b"]]>", b"{", b"}", b"[", b"]", b",",
    b";", b"'", b"=", b"*", b"+", b"$", b"#", b".", b"-", b"\t", b"\r\n", b"\r", b"\n\n", b"\x00",
    b"\x1b[2J", b"\x7f", b"\xff\xfe", b"\xc3", b"\xe2\x80\xae", b"\xf0\x9f\xa6\x89",
    b"\xef\xbb\xbf", b"nan", b"inf", b"-0", b"1e999", b"1e-999", b"9" * 400, b"0x1F", b"1_000",
    b"\xd9\xa3", b".include x\n", b".subckt A A\nX1 A A\n.ends\n", b"%s%n", b"=cmd|' /C calc'!A0",
    b"../../x", b"(" * 300, b"[" * 300, b"<a>" * 100, b"A" * 5000, b"{A{slash}", b"~",
    b"~2", b"?", b"null",
)  # fmt: skip


def _change(text: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(text))
    return text[:at] + bytes((chance.randrange(256),)) + text[at + 1 :]


def _change_like(text: bytes, chance: random.Random) -> bytes:
    """One byte becomes another that the text has."""
    at = chance.randrange(len(text))
    other = text[chance.randrange(len(text))]
    return text[:at] + bytes((other,)) + text[at + 1 :]


def _drop(text: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(text))
    return text[:at] + text[at + chance.choice((1, 1, 1, 2, 7, 60)) :]


def _double(text: bytes, chance: random.Random) -> bytes:
    at, length = chance.randrange(len(text)), chance.choice((1, 1, 1, 3, 20, 300))
    return text[: at + length] + text[at:]


def _insert(text: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(WORDS) + text[at:]


def _replace_word(text: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(text))
    end = at
    while end < len(text) and text[end : end + 1].isalnum():
        end += 1
    return text[:at] + chance.choice(WORDS) + text[max(end, at + 1) :]


def _cut_off(text: bytes, chance: random.Random) -> bytes:
    return text[: chance.randrange(1, len(text) + 1)]


def _move(text: bytes, chance: random.Random) -> bytes:
    """A piece stands somewhere else."""
    at, to, length = chance.randrange(len(text)), chance.randrange(len(text)), chance.randrange(200)
    piece, rest = text[at : at + length], text[:at] + text[at + length :]
    return rest[:to] + piece + rest[to:]


def _lines(text: bytes, chance: random.Random) -> bytes:
    """Two lines change places, one is lost, or one is there twice."""
    lines = text.split(b"\n")
    first, second = chance.randrange(len(lines)), chance.randrange(len(lines))
    what = chance.randrange(3)
    if what == 0:
        lines[first], lines[second] = lines[second], lines[first]
    elif what == 1:
        del lines[first]
    else:
        lines.insert(second, lines[first])
    return b"\n".join(lines)


DAMAGES: Sequence[Callable[[bytes, random.Random], bytes]] = (
    _change, _change_like, _drop, _double, _insert, _replace_word, _cut_off, _move, _lines,
)  # fmt: skip


def damaged(text: bytes, seed: str) -> bytes:
    """Return the text with one to three damages; always the same for a seed."""
    chance = random.Random(seed)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        text = chance.choice(DAMAGES)(text, chance) or b" "
    return text
