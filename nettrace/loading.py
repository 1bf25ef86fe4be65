"""What a user names as BOARD becomes a Board or a Circuit: a file, a folder, or a manifest.

The world is touched here: files are found and read; everything after that is a function of
what comes back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from nettrace.errors import BadInput, Place, Warning, reason
from nettrace.model.board import Board
from nettrace.model.notes import Notes, RailNote
from nettrace.readers.registry import FORMATS, decode_text, detect_format, read_file

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

#: The manifest's name inside a folder.
MANIFEST = "board.toml"
#: Bytes looked at to tell whether a file in a folder is a source at all.
_HEAD_BYTES = 16_384
#: Kinds whose value is a quantity; two texts are the same value if they are for one of them.
_QUANTITIES = (
    ("resistor", "ohms"),
    ("capacitor", "farads"),
    ("inductor", "henries"),
    ("crystal", "hertz"),
)


def load(
    path: Path | str,
    with_files: Sequence[Path | str] = (),
    *,
    format_name: str | None = None,
    rails: Mapping[str, float] = MappingProxyType({}),
    notes: Notes | None = None,
    hierarchy: str | None = None,
) -> Circuit:
    """Read a board and return the circuit on it.

    Args:
        path: a file, a folder (every file in it that a reader recognises, merged; `board.toml`
            in it comes first) or a manifest.
        with_files: further sources, merged after it.
        format_name: format of `path`, where its content must not decide.
        rails: net name -> volts as the user states them; they beat the manifest's.
        notes: the user's other notes; they beat the manifest's one by one.
        hierarchy: "flatten" or "keep" for formats with sheets or subcircuits; None is what the
            format usually means.

    Raises:
        BadInput: nothing there that can be read.
        WrongUsage: no format of that name.
        NothingMatches: `rails` names a net that is not there.
    """
    from nettrace.circuit.circuit import Circuit

    board, found = _load(path, with_files, format_name, hierarchy)
    both = _joined(found, notes or Notes())
    if rails:
        from nettrace.model.find import find_nets

        for name in rails:
            find_nets(board, name)  # a voltage for a net that is not there is a slip, not a note
        said = {name: RailNote(volts) for name, volts in rails.items()}
        both = replace(both, rails=MappingProxyType({**both.rails, **said}))
    return Circuit(board, both)


def load_board(
    path: Path | str,
    with_files: Sequence[Path | str] = (),
    *,
    format_name: str | None = None,
    hierarchy: str | None = None,
) -> Board:
    """Read a board without asking what it means; arguments and errors as for `load`."""
    return _load(path, with_files, format_name, hierarchy)[0]


def _load(
    path: Path | str,
    with_files: Sequence[Path | str],
    format_name: str | None,
    hierarchy: str | None,
) -> tuple[Board, Notes]:
    from nettrace.model.merge import by_precedence, merge_boards

    first, notes, listed = _sources(path, format_name, hierarchy)
    boards = first if listed else by_precedence(first)
    for extra in with_files:
        more, more_notes, listed = _sources(extra, None, hierarchy)
        boards += more if listed else by_precedence(more)
        notes = _joined(notes, more_notes)
    board = boards[0] if len(boards) == 1 else merge_boards(boards, _same_value)
    if notes.places or notes.rails:
        from nettrace.model.notes import check_notes

        conflicts, warnings = check_notes(board, notes, _same_value)
        against = (*board.conflicts, *conflicts)
        board = replace(board, conflicts=against, warnings=(*board.warnings, *warnings))
    if notes.name:
        board = replace(board, name=notes.name)
    elif not board.name:
        board = replace(board, name=Path(path).resolve().stem)
    return board, notes


def _sources(
    path: Path | str, format_name: str | None, hierarchy: str | None
) -> tuple[list[Board], Notes, bool]:
    """Return the boards of one argument, the notes with them, and whether their order is set."""
    where = Path(path)
    if where.is_dir():
        manifest = where / MANIFEST
        if manifest.is_file():
            return _from_manifest(manifest, hierarchy)
        return _from_folder(where, hierarchy), Notes(), False
    if where.suffix == ".toml" and format_name is None and where.is_file():
        return _from_manifest(where, hierarchy)
    return [_read(where, format_name, hierarchy)], Notes(), True


def _read(path: Path, format_name: str | None, hierarchy: str | None) -> Board:
    return read_file(path, str(path), format_name, hierarchy)


def _from_manifest(path: Path, hierarchy: str | None) -> tuple[list[Board], Notes, bool]:
    from nettrace.readers.manifest import read_manifest

    manifest = read_manifest(path)
    if not manifest.sources:
        raise BadInput("a manifest without sources", place=Place(str(path)))
    boards = [_read(source, None, hierarchy) for source in manifest.sources]
    return boards, manifest.notes, True


def _from_folder(folder: Path, hierarchy: str | None) -> list[Board]:
    """Read every file of the folder that a reader recognises.

    What a SPICE deck there includes is a part of that deck and no source. One that fails is left
    out with a warning, as long as another can be read.
    """
    boards: list[Board] = []
    failures: list[BadInput] = []
    try:
        inside = sorted(path for path in folder.iterdir() if not path.name.startswith("."))
    except OSError as error:
        raise BadInput(f"cannot open ({reason(error)})", place=Place(str(folder))) from None
    formats = {
        path: found
        for path in inside
        if path.name != MANIFEST and path.is_file() and (found := _format_of(path)) is not None
    }
    decks = [path for path, found in formats.items() if found == "spice"]
    parts_of_decks: frozenset[Path] = frozenset()
    if len(decks) > 1:
        from nettrace.readers.spice_deck import pulled_in

        parts_of_decks = pulled_in(decks)
    for path in formats:
        if path in parts_of_decks:
            continue
        try:
            boards.append(_read(path, None, hierarchy))
        except BadInput as error:
            failures.append(error)
    if not boards:
        if failures:
            raise failures[0]
        what = "no file that a reader recognises in this folder"
        hint = f"Formats: {', '.join(entry.title for entry in FORMATS)}."
        raise BadInput(what, hint=hint, place=Place(str(folder)))
    left_out = []
    for failed in failures:
        where = f" where {failed.expected} was expected" if failed.expected else ""
        told = f"{failed.found}{where}; this source was left out"
        left_out.append(Warning("source-left-out", told, failed.place))
    if left_out:
        boards[0] = replace(boards[0], warnings=(*left_out, *boards[0].warnings))
    return boards


def _format_of(path: Path) -> str | None:
    """Return the format's name; None where no reader, or more than one, recognises the file."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
        found = detect_format(decode_text(head, str(path)))
    except (OSError, BadInput):
        return None
    return found.name if found is not None else None


def _same_value(first: str, second: str) -> bool:
    """Return whether two value texts mean the same (`2k2` and `2.2K`)."""
    from nettrace.model.merge import plain_same_value
    from nettrace.values.part_value import read_part_value

    if plain_same_value(first, second):
        return True
    for kind, quantity in _QUANTITIES:
        one = getattr(read_part_value(first, kind), quantity)
        if one is not None and one == getattr(read_part_value(second, kind), quantity):
            return True
    return False


def _joined(first: Notes, second: Notes) -> Notes:
    """Return both notes; the second's word stands where both speak."""
    return Notes(
        rails=MappingProxyType({**first.rails, **second.rails}),
        roles=MappingProxyType({**first.roles, **second.roles}),
        values=MappingProxyType({**first.values, **second.values}),
        not_fitted=(*first.not_fitted, *second.not_fitted),
        fitted=(*first.fitted, *second.fitted),
        remarks=MappingProxyType({**first.remarks, **second.remarks}),
        name=second.name or first.name,
        places=MappingProxyType({**first.places, **second.places}),
    )
