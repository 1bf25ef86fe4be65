"""Parts lists, placement and test-point tables, however their columns are named and parted.

Columns are found by their headings. A row with several references is a part for each; ranges
(`R1-R4`) are opened. What a column is not known for is kept in the part's properties under its
heading. Coordinates stay as the file has them (its own origin), in millimetres.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.fitted import fitted_by
from nettrace.readers.csv_cells import (
    PERHAPS_RANK,
    Column,
    angle_of,
    column_of,
    is_part_heading,
    number_of,
    side_of,
    split_references,
    unit_of,
)
from nettrace.readers.document import Document

#: A heading row is looked for in so many rows from the top.
MOST_ROWS_ABOVE = 40
#: Separators tried, likeliest first where the heading row does not decide.
SEPARATORS = (",", ";", "\t", "|")
#: Rows of parts beyond which a table is refused: a range or a file gone wrong.
MOST_PARTS = 500_000
#: Headings in a remark above aligned columns, as placement files have them.
_ALIGNED = re.compile(r"(?im)^#[ \t]*(ref[ \t]+[^\n]*\bposx[ \t]+posy\b[^\n]*)$")
_UNIT_REMARK = re.compile(r"(?im)^#+[ \t]*unit[ \t]*=[ \t]*(\w+)")
_REFERENCE_SHAPE = re.compile(r"[A-Za-z_$+*][\w$+*.-]*\d[\w$.-]*\s*")


@dataclass(slots=True)
class _Table:
    """The heading row that was found, and what it says of each column."""

    columns: dict[Column, int]
    headings: list[str]
    others: list[tuple[int, str]]  # columns kept as properties
    rows: list[tuple[int, list[str]]]  # line number and cells, below the headings
    units: dict[Column, float] = field(default_factory=dict)  # millimetres of X and Y


def read(document: Document) -> Board:
    """Read a table.

    Raises:
        BadInput: no heading row with a reference column.
    """
    builder = BoardBuilder(document.path, "csv")
    builder.digest = document.digest
    table = _find_table(document)
    _TableReader(table, builder).read()
    return builder.build()


def _rows(text: str, separator: str, path: str) -> list[tuple[int, list[str]]]:
    """Split a table into cells; each row with the line it begins in."""
    field_limit = max(csv.field_size_limit(), len(text) + 1)
    csv.field_size_limit(field_limit)
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=False
    )
    rows: list[tuple[int, list[str]]] = []
    line = 1
    try:
        for row in reader:
            rows.append((line, [_as_written(cell) for cell in row]))
            line = reader.line_num + 1
    except csv.Error as error:
        raise BadInput(f"no table ({error})", place=Place(path, line, 1)) from None
    return rows


def _as_written(cell: str) -> str:
    """Return the cell without outer blanks, and without the apostrophe that marks it as text."""
    cell = cell.strip()
    return cell[1:] if cell[:1] == "'" and cell[1:2] in {"=", "+", "-", "@"} else cell


def _refuse_open_quotes(table: _Table, separator: str, document: Document) -> None:
    """Raise where a quote without its end has swallowed rows: they would be missing in silence."""
    for line, cells in table.rows:
        for cell in cells:
            if "\n" in cell and cell.count(separator) >= len(table.headings):
                raise BadInput(
                    f"a quoted cell of {cell.count(chr(10)) + 1} lines with whole rows in it",
                    expected="the cell's closing quote",
                    hint='A quote inside a cell is written twice ("").',
                    place=Place(document.path, line, 1),
                    excerpt=excerpt(document.text, line, 1),
                )


def _find_table(document: Document) -> _Table:
    text = document.text.removeprefix("\ufeff").replace("\0", "")
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    aligned = _ALIGNED.search(text)
    if aligned is not None:
        return _aligned_table(text, aligned)
    best: _Table | None = None
    best_score, best_separator = 0, ","
    head = "\n".join(text.split("\n", MOST_ROWS_ABOVE)[:MOST_ROWS_ABOVE])
    for separator in SEPARATORS:
        if separator not in head and separator != SEPARATORS[0]:
            continue
        rows = _rows(text, separator, document.path)
        for index, (_, cells) in enumerate(rows[:MOST_ROWS_ABOVE]):
            columns = _known_columns(cells, rows[index + 1 :])
            if Column.REFERENCE not in columns:
                continue
            score = len(columns) * 100 + len(cells)
            if score > best_score:
                best, best_score = _table(columns, cells, rows[index + 1 :]), score
                best_separator = separator
    if best is None:
        raise BadInput(
            "no heading for references",
            expected="a row with Ref, Reference, Designator or the like",
            hint="Write the headings into the first row.",
            place=Place(document.path, 1, 1),
            excerpt=excerpt(document.text, 1, 1),
        )
    _refuse_open_quotes(best, best_separator, document)
    return best


def _aligned_table(text: str, found: re.Match[str]) -> _Table:
    """Return a table in columns parted by blanks alone; only its second cell may hold any."""
    headings = found[1].split()
    after = len(headings) - 2
    first = text.count("\n", 0, found.end()) + 2
    rows: list[tuple[int, list[str]]] = []
    for line, row in enumerate(text[found.end() + 1 :].split("\n"), first):
        words = row.split()
        if words and words[0][0] != "#":
            middle = words[1:-after] if len(words) > after else []
            rows.append((line, [words[0], " ".join(middle), *words[-after:]]))
    table = _table(_known_columns(headings, rows), headings, rows)
    unit = _UNIT_REMARK.search(text)
    millimetres = unit_of(unit[1]) if unit is not None else None
    if millimetres is not None:
        table.units.update(dict.fromkeys(table.units, millimetres))
    return table


def _known_columns(cells: list[str], below: list[tuple[int, list[str]]]) -> dict[Column, int]:
    """What the cells head, if this is a heading row; the better word wins, then the left one."""
    found: dict[Column, tuple[int, int]] = {}
    for index, cell in enumerate(cells):
        known = column_of(cell)
        if known is None:
            continue
        column, rank = known
        if (
            column is Column.REFERENCE
            and rank >= PERHAPS_RANK
            and not _hold_references(index, below)
        ):
            continue
        if column not in found or (rank, index) < found[column]:
            found[column] = rank, index
    if Column.REFERENCE in found and Column.VALUE not in found:
        # beside references, the part is what it is: a value
        parts = [index for index, cell in enumerate(cells) if is_part_heading(cell)]
        if len(parts) == 1 and parts[0] != found[Column.REFERENCE][1]:
            found[Column.VALUE] = PERHAPS_RANK, parts[0]
    return {column: index for column, (_, index) in found.items()}


def _hold_references(index: int, below: list[tuple[int, list[str]]]) -> bool:
    cells = [cells[index] for _, cells in below[:50] if index < len(cells) and cells[index]]
    like = [cell for cell in cells if _REFERENCE_SHAPE.match(cell)]
    return bool(cells) and 2 * len(like) > len(cells)


def _table(
    columns: dict[Column, int], headings: list[str], rows: list[tuple[int, list[str]]]
) -> _Table:
    taken = set(columns.values())
    others = [
        (index, heading) for index, heading in enumerate(headings) if heading and index not in taken
    ]
    table = _Table(columns, headings, others, rows)
    for column in (Column.X, Column.Y):
        if column in columns:
            table.units[column] = unit_of(headings[columns[column]]) or 1.0
    return table


class _TableReader:
    def __init__(self, table: _Table, builder: BoardBuilder) -> None:
        self.table = table
        self.builder = builder
        self.parts: dict[str, PartDraft] = {}
        self.unread: dict[Column, list[tuple[str, Place]]] = {}
        self.repeated: dict[str, Place] = {}

    def read(self) -> None:
        """Make parts of the rows, then sum up what was amiss."""
        for line, cells in self._whole_rows():
            if any(cells):
                self._read_row(line, cells)
        for column, cases in self.unread.items():
            text, place = cases[0]
            count = f"{len(cases)} cells are" if len(cases) > 1 else "a cell is"
            self.builder.warn("cell", f"{count} no {column.value}: {text!r}", place)
        if self.repeated:
            names = list(self.repeated)
            more = f" and {len(names) - 8} more" if len(names) > 8 else ""
            self.builder.warn(
                "reference-twice",
                f"in more than one row: {', '.join(names[:8])}{more}; the first counts",
                self.repeated[names[0]],
            )

    def _whole_rows(self) -> list[tuple[int, list[str]]]:
        """Return the rows; references that go on in rows of their own, after a comma, joined."""
        at = self.table.columns[Column.REFERENCE]
        whole: list[tuple[int, list[str]]] = []
        for line, cells in self.table.rows:
            filled = [index for index, cell in enumerate(cells) if cell]
            above = whole[-1][1] if whole else []
            if filled == [at] and at < len(above) and above[at].endswith(","):
                above[at] += cells[at]
            else:
                whole.append((line, cells))
        return whole

    def _cell(self, cells: list[str], column: Column) -> str:
        index = self.table.columns.get(column)
        return cells[index] if index is not None and index < len(cells) else ""

    def _read_row(self, line: int, cells: list[str]) -> None:
        place = Place(self.builder.path, line, 1)
        cells = self._with_whole_references(cells, place)
        written = self._cell(cells, Column.REFERENCE)
        quantity = number_of(self._cell(cells, Column.QUANTITY))
        references = split_references(written, None if quantity is None else quantity[0])
        if not references:
            return  # a row of blank references, a total, a remark
        if quantity is None and self._cell(cells, Column.QUANTITY):
            self._note(Column.QUANTITY, cells, place)
        elif quantity is not None and quantity[0] not in (0, len(references)):
            self.builder.warn(
                "quantity",
                f"the quantity is {quantity[0]:g}, the references are {len(references)}: "
                f"{written[:60]}",
                place,
            )
        fitted = self._fitted(cells, quantity)
        here: set[str] = set()
        for reference in references:
            if reference in self.parts:
                if reference not in here:
                    self._fill(self.parts[reference], cells, place, fitted, is_first=False)
                    if Column.PIN not in self.table.columns and reference[-1:].isdigit():
                        self.repeated.setdefault(reference, place)
                continue
            if len(self.parts) >= MOST_PARTS:
                raise BadInput(f"more than {MOST_PARTS} parts in one table", place=place)
            here.add(reference)
            draft = self.parts[reference] = self.builder.part(reference, place)
            self._fill(draft, cells, place, fitted, is_first=True)

    def _with_whole_references(self, cells: list[str], place: Place) -> list[str]:
        """Join references that an unquoted separator has spread over several cells.

        Only where the row is longer by that many cells and its quantity then counts them.
        """
        at = self.table.columns[Column.REFERENCE]
        more = len(cells) - len(self.table.headings)
        if more < 1 or Column.QUANTITY not in self.table.columns:
            return cells
        while more > 0:
            if all(_REFERENCE_SHAPE.fullmatch(cell) for cell in cells[at : at + more + 1]):
                joined = [*cells[:at], " ".join(cells[at : at + more + 1]), *cells[at + more + 1 :]]
                quantity = number_of(self._cell(joined, Column.QUANTITY))
                if quantity and len(split_references(joined[at], quantity[0])) == quantity[0]:
                    self.builder.warn(
                        "references-unquoted", f"read as one cell: {joined[at][:60]}", place
                    )
                    return joined
            more -= 1
        return cells

    def _note(self, column: Column, cells: list[str], place: Place) -> None:
        self.unread.setdefault(column, []).append((self._cell(cells, column)[:40], place))

    def _fitted(self, cells: list[str], quantity: tuple[float, float | None] | None) -> bool | None:
        """Return what a row states; of what its texts may say else, see `model.fitted`."""
        for column in (Column.NOT_FITTED, Column.FITTED):
            if text := self._cell(cells, column):
                said = fitted_by(self.table.headings[self.table.columns[column]], text)
                if said is not None:
                    return said
        return False if quantity is not None and quantity[0] == 0 else None

    def _fill(
        self,
        draft: PartDraft,
        cells: list[str],
        place: Place,
        fitted: bool | None,
        *,
        is_first: bool,
    ) -> None:
        """State a row's facts about a part; of a repeated part only its further pins count."""
        if is_first:
            draft.value = self._cell(cells, Column.VALUE) or None
            draft.package = self._cell(cells, Column.PACKAGE) or None
            draft.description = self._cell(cells, Column.DESCRIPTION) or None
            draft.fitted = fitted
            draft.properties = {
                heading: cells[index]
                for index, heading in self.table.others
                if index < len(cells) and cells[index]
            }
            self._place_part(draft, cells, place)
        net = self._cell(cells, Column.NET)
        number = self._cell(cells, Column.PIN)
        if number or (net and is_first):
            draft.pin(number or "1", net or None, place=place)

    def _place_part(self, draft: PartDraft, cells: list[str], place: Place) -> None:
        draft.x = self._coordinate(Column.X, cells, place)
        draft.y = self._coordinate(Column.Y, cells, place)
        angle = self._cell(cells, Column.ROTATION)
        if angle:
            turn = angle_of(angle)
            if turn is None:
                self._note(Column.ROTATION, cells, place)
            else:
                draft.angle = turn[0]
                draft.side = None if turn[1] is None else Side(turn[1])
        side = self._cell(cells, Column.SIDE)
        if side:
            named = side_of(side)
            draft.side = None if named is None else Side(named)
            if named is None:
                self._note(Column.SIDE, cells, place)

    def _coordinate(self, column: Column, cells: list[str], place: Place) -> float | None:
        text = self._cell(cells, column)
        if not text:
            return None
        number = number_of(text)
        if number is None:
            self._note(column, cells, place)
            return None
        value, unit = number
        return round(value * (unit or self.table.units[column]), 6)
