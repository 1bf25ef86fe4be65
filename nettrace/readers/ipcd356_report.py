"""What is said of an IPC-D-356 file once it is read: records that do not fit, doubts, losses."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.builder import BoardBuilder
from nettrace.readers.ipcd356_columns import find_fault
from nettrace.readers.ipcd356_lines import Lines
from nettrace.readers.ipcd356_records import RecordReader

__all__ = ["LeftOver", "report"]

#: Faulty records that get a warning of their own; the rest are counted.
MOST_FAULTS = 20
#: Where one record in this many is faulty, the file is not read at all.
FAULTY_SHARE = 4


@dataclass(slots=True)
class LeftOver:
    """Lines of which nothing is kept: the faulty ones, and what was skipped knowingly."""

    faults: dict[int, str] = field(default_factory=dict)  # by number
    skipped: dict[str, tuple[int, int]] = field(default_factory=dict)  # -> how many, first line


def report(lines: Lines, records: RecordReader, left: LeftOver, builder: BoardBuilder) -> None:
    """Warn of everything that was read with care or not at all.

    Raises:
        BadInput: no test record at all, or too many that do not fit the columns.
    """
    path, faults = builder.path, left.faults
    count = len(records.pads)
    if faults and len(faults) * FAULTY_SHARE > count:
        raise _refusal(faults, count, path)
    if not count:
        raise BadInput(
            "no test record",
            expected="lines that begin with 317 or 327",
            hint="Is the file whole?",
            place=Place(path, lines.count, 1),
        )
    _warn_of_faults(faults, builder)
    _warn_of_doubts(records, builder)
    for what, (number_of, first) in left.skipped.items():
        builder.warn("not-kept", f"not kept: {what}, {number_of} in all", Place(path, first, 1))
    _warn_of_end(lines, builder)


def _warn_of_faults(faults: dict[int, str], builder: BoardBuilder) -> None:
    for number, line in islice(faults.items(), MOST_FAULTS):
        column, found, wanted = _fault(line)
        builder.warn(
            "record-skipped",
            f"{found} where {wanted} was expected; the record is not read",
            Place(builder.path, number, column),
        )
    if len(faults) > MOST_FAULTS:
        builder.warn(
            "record-skipped",
            f"{len(faults) - MOST_FAULTS} more records do not fit the columns",
            Place(builder.path, [*faults][MOST_FAULTS], 1),
        )


def _warn_of_doubts(records: RecordReader, builder: BoardBuilder) -> None:
    if records.unlike:
        builder.warn(
            "code-and-hole-disagree",
            "a surface pad (327) with a hole, or a hole (317, 367) without one",
            records.unlike[0],
        )
    if records.without_access:
        builder.warn(
            "no-side",
            "records without an access code are taken as reached from both sides",
            records.without_access[0],
        )
    layers = records.bottom_codes
    if len(layers) > 1:
        codes = ", ".join(f"{layer:02d} (line {place.line})" for layer, place in layers.items())
        builder.warn(
            "two-bottoms",
            f"access codes {codes}: only one can be the bottom; all are taken as it",
            [*layers.values()][1],
        )


def _warn_of_end(lines: Lines, builder: BoardBuilder) -> None:
    if not lines.end:
        builder.warn(
            "cut-off",
            "no 999 record at the end: the file may be cut off",
            Place(builder.path, lines.count),
        )
    elif lines.after_end:
        builder.warn(
            "after-the-end",
            f"the file goes on after the 999 record; not read: {len(lines.after_end)} lines",
            Place(builder.path, lines.after_end[0], 1),
        )


def _fault(line: str) -> tuple[int, str, str]:
    """Return the column where the line does not fit, what stands there and what was expected."""
    fault = find_fault(line)
    if fault is None:  # the columns fit, but the operation code is none of a test record
        return 1, repr(line[:3]), "an operation code"
    column, text, field_ = fault
    shown = repr(text) if text.strip() else "nothing" if len(line) < field_.first else "blanks"
    columns = f"column {field_.first}" if field_.first == field_.last else (
        f"columns {field_.first}-{field_.last}"
    )  # fmt: skip
    return column, shown, f"{field_.meaning} ({columns})"


def _refusal(faults: dict[int, str], records: int, path: str) -> BadInput:
    number, line = next(iter(faults.items()))
    column, found, wanted = _fault(line)
    total = records + len(faults)
    return BadInput(
        found,
        expected=wanted,
        hint=f"{len(faults)} of {total} records do not fit the columns: "
        "is this file IPC-D-356, and whole?",
        place=Place(path, number, column),
        excerpt=excerpt("\n" * (number - 1) + line, number, column),
    )
