"""The list of readers, and which of them a file belongs to. A reader is imported when it is met."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

from nettrace.errors import BadInput, Place, reason
from nettrace.knowledge import section
from nettrace.model.board import Board
from nettrace.model.find import find_format
from nettrace.readers.document import Document
from nettrace.readers.heads import begins, is_deck, is_sheet, is_table, is_test_file

#: Larger files are refused rather than read into memory.
MAX_BYTES = 512 * 1024 * 1024
#: How much of a text is looked at; the second, where the first shows remarks alone (some decks
#: begin with pages of them).
HEADS = (4096, 65536)


class Format(NamedTuple):
    """A format: what its head looks like, and the module whose `read` reads it."""

    name: str
    is_head: Callable[[str], bool]
    module: str

    @property
    def title(self) -> str:
        """What people call it."""
        return str(section("formats", self.name)["title"])


#: In the order in which heads are tried. What is true of a format's files: knowledge/formats.toml.
FORMATS: tuple[Format, ...] = (
    Format("kicad_pcb", begins(r"\s*\(\s*kicad_pcb\b"), "nettrace.readers.sexpr_board"),
    Format(
        "kicad_net",
        begins(
            r"\s*(?:\(\s*export\s*\(\s*version\b"
            # before 2012: part by part
            r"|#[^\n]{0,80}?EESchema Netlist Version[^\n]*\n\s*\("
            r"|\(\s*\{[^}\n]{0,80}?[Nn]etlist[^}\n]*\})"
        ),
        "nettrace.readers.sexpr_netlist",
    ),
    Format("edif", begins(r"(?i)\s*\(\s*edif[\s(]"), "nettrace.readers.edif"),
    Format(
        "ipc-2581",
        begins(r"\s*<(?:[?!][\s\S]*?<)?(?:\w+:)?IPC-2581\b"),
        "nettrace.readers.ipc2581",
    ),
    Format("json", begins(r'\s*\{\s*"nettrace"\s*:'), "nettrace.readers.json_board"),
    Format("ipc-d-356", is_test_file, "nettrace.readers.ipcd356"),
    Format("sheet", is_sheet, "nettrace.readers.sheet"),
    Format("spice", is_deck, "nettrace.readers.spice"),
    Format("csv", is_table, "nettrace.readers.csv_tables"),
)


def detect_format(text: str) -> Format | None:
    """Return the first format whose head the text has, or None."""
    for size in HEADS:
        head = text[:size]
        for entry in FORMATS:
            if entry.is_head(head):
                return entry
        if len(text) <= size:
            break
    return None


def read_file(
    path: Path,
    shown: str | None = None,
    format_name: str | None = None,
    hierarchy: str | None = None,
) -> Board:
    """Read one file into a Board.

    Args:
        path: the file.
        shown: how to name it in messages; the path as given if None.
        format_name: skip detection and use this format.
        hierarchy: "flatten" or "keep" where the user said so; see `Document`.

    Raises:
        BadInput: it cannot be opened, decoded, recognised or parsed.
        WrongUsage: no format of that name.
    """
    name = shown if shown is not None else str(path)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise BadInput(
                f"a file of {size / 1e6:.0f} MB",
                expected=f"at most {MAX_BYTES // 1_000_000} MB",
                hint="Give the netlist or board file alone.",
                place=Place(name),
            )
        raw = path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot open ({reason(error)})", place=Place(name)) from None
    text = decode_text(raw, name)
    digest = hashlib.sha256(raw).hexdigest()
    return read_text(Document(name, text, path.parent, digest, hierarchy), format_name)


def read_text(document: Document, format_name: str | None = None) -> Board:
    """Read a text that is already decoded; see `read_file`."""
    text = document.text
    chosen = detect_format(text) if format_name is None else find_format(format_name, FORMATS)
    if chosen is None:
        known = [section("formats", entry.name) for entry in FORMATS]
        wanted = "; ".join(f"{entry['title']}: {entry['looks_for']}" for entry in known)
        raise BadInput(
            "no known format",
            hint=f"Looked for {wanted}. Say which with --format.",
            place=Place(document.path, 1, 1),
        )
    board: Board = import_module(chosen.module).read(document)
    return board


def decode_text(raw: bytes, name: str) -> str:
    """Return the bytes as text: UTF-8, or UTF-16 by its mark, else Windows-1252 letters.

    Raises:
        BadInput: empty, or binary (NUL bytes).
    """
    if not raw.strip():
        raise BadInput("an empty file", expected="a netlist or board file", place=Place(name))
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return raw.decode("utf-16")
        except UnicodeDecodeError as error:
            raise BadInput(f"broken UTF-16 at byte {error.start}", place=Place(name)) from None
    nul = raw.find(b"\0", 0, 1 << 16)
    if nul >= 0:
        raise BadInput(
            f"a binary file (a NUL at byte {nul})",
            expected="text",
            hint="Unpack archives first; board files of closed suites are not read.",
            place=Place(name),
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        # files of the 2000s are often in the writer's own code page: every byte means something
        return raw.decode("cp1252", errors="replace")
