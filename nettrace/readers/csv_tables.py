"""Parts lists, placement and test-point tables, however their columns are named and parted.

Columns are found by their headings. A row with several references is a part for each; ranges
(`R1-R4`) are opened. What a column is not known for is kept in the part's properties under its
heading. Coordinates stay as the file has them (its own origin), in millimetres.
"""

from __future__ import annotations

import csv
import io
import re
from typing import NamedTuple

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


Rows = list[tuple[int, list[str]]]  # line number and cells


class _Table(NamedTuple):
    """The heading row that was found, and the rows below it."""

    columns: dict[Column, int]
    headings: list[str]
    rows: Rows
    separator: str = ""
    unit: float | None = None  # millimetres of X and Y, where a remark says so


def read(document: Document) -> Board:
    """Read a table.

    Raises:
        BadInput: no heading row with a reference column.
    """
    builder = BoardBuilder(document.path, "csv")
    builder.digest = document.digest
    _TableReader(_find_table(document), builder).read()
    return builder.build()


def _rows(text: str, separator: str, path: str) -> Rows:
    """Split a table into cells; each row with the line it begins in."""
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=False
    )
    rows: Rows = []
    line = 1
    try:
        for row in reader:
            # an apostrophe marks a cell as text
            cells = [re.sub(r"\A'(?=[=+@-])", "", cell.strip()) for cell in row]
            rows.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        raise BadInput(f"no table ({error})", place=Place(path, line, 1)) from None
    return rows


def _find_table(document: Document) -> _Table:
    text = document.text.removeprefix("\ufeff").replace("\0", "")
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if (aligned := _ALIGNED.search(text)) is not None:
        return _aligned_table(text, aligned)
    best: _Table | None = None
    best_score = 0
    head = "\n".join(text.split("\n", MOST_ROWS_ABOVE)[:MOST_ROWS_ABOVE])
    for separator in SEPARATORS:
        if separator not in head and separator != SEPARATORS[0]:
            continue
        rows = _rows(text, separator, document.path)
        for index, (_, cells) in enumerate(rows[:MOST_ROWS_ABOVE]):
            columns = _known_columns(cells, rows[index + 1 :])
            score = len(columns) * 100 + len(cells)
            if Column.REFERENCE in columns and score > best_score:
                best, best_score = _Table(columns, cells, rows[index + 1 :], separator), score
    if best is None:
        raise BadInput(
            "no heading for references",
            expected="a row with Ref, Reference, Designator or the like",
            hint="Write the headings into the first row.",
            place=Place(document.path, 1, 1),
            excerpt=excerpt(document.text, 1, 1),
        )
    # a quote without its end has swallowed rows: they would be missing in silence
    for line, cells in best.rows:
        for cell in cells:
            if "\n" in cell and cell.count(best.separator) >= len(best.headings):
                raise BadInput(
                    f"a quoted cell of {cell.count(chr(10)) + 1} lines with whole rows in it",
                    expected="the cell's closing quote",
                    hint='A quote inside a cell is written twice ("").',
                    place=Place(document.path, line, 1),
                    excerpt=excerpt(document.text, line, 1),
                )
    return best


def _aligned_table(text: str, found: re.Match[str]) -> _Table:
    """Return a table in columns parted by blanks alone; only its second cell may hold any."""
    headings = found[1].split()
    after = len(headings) - 2
    first = text.count("\n", 0, found.end()) + 2
    rows: Rows = []
    for line, row in enumerate(text[found.end() + 1 :].split("\n"), first):
        words = row.split()
        if words and words[0][0] != "#":
            middle = words[1:-after] if len(words) > after else []
            rows.append((line, [words[0], " ".join(middle), *words[-after:]]))
    unit = _UNIT_REMARK.search(text)
    millimetres = unit_of(unit[1]) if unit is not None else None
    return _Table(_known_columns(headings, rows), headings, rows, unit=millimetres)


def _known_columns(cells: list[str], below: Rows) -> dict[Column, int]:
    """What the cells head, if this is a heading row; the better word wins, then the left one."""
    found: dict[Column, tuple[int, int]] = {}
    for index, cell in enumerate(cells):
        column, rank = column_of(cell) or (None, 0)
        if column is Column.REFERENCE and rank >= PERHAPS_RANK:
            held = [row[index] for _, row in below[:50] if index < len(row) and row[index]]
            if 2 * len([cell for cell in held if _REFERENCE_SHAPE.match(cell)]) <= len(held):
                continue
        if column is not None and (rank, index) < found.get(column, (rank, index + 1)):
            found[column] = rank, index
    if Column.REFERENCE in found and Column.VALUE not in found:
        # beside references, the part is what it is: a value
        parts = [index for index, cell in enumerate(cells) if is_part_heading(cell)]
        if len(parts) == 1 and parts[0] != found[Column.REFERENCE][1]:
            found[Column.VALUE] = PERHAPS_RANK, parts[0]
    return {column: index for column, (_, index) in found.items()}


class _TableReader:
    def __init__(self, table: _Table, builder: BoardBuilder) -> None:
        self.table = table
        self.builder = builder
        self.place = Place(builder.path)  # of the row that is read
        self.cells: list[str] = []
        self.parts: dict[str, PartDraft] = {}
        self.unread: dict[Column, list[tuple[str, Place]]] = {}
        self.repeated: dict[str, Place] = {}

    def read(self) -> None:
        """Make parts of the rows, then sum up what was amiss."""
        for line, cells in self._whole_rows():
            if any(cells):
                self.place = Place(self.builder.path, line, 1)
                self.cells = self._with_whole_references(cells)
                self._read_row()
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

    def _whole_rows(self) -> Rows:
        """Return the rows; references that go on in rows of their own, after a comma, joined."""
        at = self.table.columns[Column.REFERENCE]
        whole: Rows = []
        for line, cells in self.table.rows:
            filled = [index for index, cell in enumerate(cells) if cell]
            above = whole[-1][1] if whole else []
            if filled == [at] and at < len(above) and above[at].endswith(","):
                above[at] += cells[at]
            else:
                whole.append((line, cells))
        return whole

    def _with_whole_references(self, cells: list[str]) -> list[str]:
        """Join references that an unquoted separator has spread over several cells.

        Only where the row is longer by that many cells and its quantity then counts them.
        """
        at, counts = self.table.columns[Column.REFERENCE], self.table.columns.get(Column.QUANTITY)
        if counts is None:
            return cells
        for more in range(len(cells) - len(self.table.headings), 0, -1):
            if all(_REFERENCE_SHAPE.fullmatch(cell) for cell in cells[at : at + more + 1]):
                joined = [*cells[:at], " ".join(cells[at : at + more + 1]), *cells[at + more + 1 :]]
                quantity = number_of(joined[counts]) if counts < len(joined) else None
                if quantity and len(split_references(joined[at], quantity[0])) == quantity[0]:
                    message = f"read as one cell: {joined[at][:60]}"
                    self.builder.warn("references-unquoted", message, self.place)
                    return joined
        return cells

    def _cell(self, column: Column) -> str:
        index = self.table.columns.get(column)
        return self.cells[index] if index is not None and index < len(self.cells) else ""

    def _note(self, column: Column) -> None:
        self.unread.setdefault(column, []).append((self._cell(column)[:40], self.place))

    def _read_row(self) -> None:
        written, counted = self._cell(Column.REFERENCE), self._cell(Column.QUANTITY)
        number = number_of(counted)
        quantity = None if number is None else number[0]
        references = split_references(written, quantity)
        if not references:
            return  # a row of blank references, a total, a remark
        if quantity is None and counted:
            self._note(Column.QUANTITY)
        elif quantity is not None and quantity not in (0, len(references)):
            self.builder.warn(
                "quantity",
                f"the quantity is {quantity:g}, the references are {len(references)}: "
                f"{written[:60]}",
                self.place,
            )
        # what a row states; of what its texts may say else, see `model.fitted`
        fitted = False if quantity == 0 else None
        for column in (Column.FITTED, Column.NOT_FITTED):
            if text := self._cell(column):
                said = fitted_by(self.table.headings[self.table.columns[column]], text)
                fitted = fitted if said is None else said
        here: set[str] = set()
        for reference in references:
            draft = self.parts.get(reference)
            if draft is None:
                if len(self.parts) >= MOST_PARTS:
                    raise BadInput(f"more than {MOST_PARTS} parts in one table", place=self.place)
                here.add(reference)
                draft = self.parts[reference] = self.builder.part(reference, self.place)
                self._describe(draft, fitted)
                if (net := self._cell(Column.NET)) or self._cell(Column.PIN):
                    draft.pin(self._cell(Column.PIN) or "1", net or None, place=self.place)
            elif reference not in here:  # of a repeated part only its further pins count
                if pin := self._cell(Column.PIN):
                    draft.pin(pin, self._cell(Column.NET) or None, place=self.place)
                if Column.PIN not in self.table.columns and reference[-1:].isdigit():
                    self.repeated.setdefault(reference, self.place)

    def _describe(self, draft: PartDraft, fitted: bool | None) -> None:
        """State a row's facts about a part."""
        taken = set(self.table.columns.values())
        draft.value = self._cell(Column.VALUE) or None
        draft.package = self._cell(Column.PACKAGE) or None
        draft.description = self._cell(Column.DESCRIPTION) or None
        draft.fitted = fitted
        draft.properties = {
            heading: text
            for index, (heading, text) in enumerate(
                zip(self.table.headings, self.cells, strict=False)
            )
            if heading and text and index not in taken
        }
        draft.x, draft.y = self._coordinate(Column.X), self._coordinate(Column.Y)
        if angle := self._cell(Column.ROTATION):
            turn = angle_of(angle)
            if turn is None:
                self._note(Column.ROTATION)
            else:
                draft.angle = turn[0]
                draft.side = None if turn[1] is None else Side(turn[1])
        if side := self._cell(Column.SIDE):
            named = side_of(side)
            draft.side = None if named is None else Side(named)
            if named is None:
                self._note(Column.SIDE)

    def _coordinate(self, column: Column) -> float | None:
        text = self._cell(column)
        number = number_of(text) if text else None
        if number is None:
            if text:
                self._note(column)
            return None
        heading = unit_of(self.table.headings[self.table.columns[column]])
        return round(number[0] * (number[1] or self.table.unit or heading or 1.0), 6)
