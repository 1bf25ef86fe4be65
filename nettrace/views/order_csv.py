"""The order list as CSV for a distributor's upload form; no distributor is named."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from nettrace.bench.needs import Need
from nettrace.values.quantity import engineering, percent

__all__ = ["order_csv"]

HEADINGS = (
    "Quantity", "Part number", "Value", "Tolerance", "Size", "Voltage", "Power", "Dielectric",
    "Description", "References",
)  # fmt: skip
#: A cell that begins so would be a formula in a spreadsheet.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def order_csv(needs: Sequence[Need]) -> str:
    """Return the order as CSV with a heading row; cells that look like formulas are quoted off."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    for need in needs:
        cells = (
            str(need.quantity),
            need.part_number or "",
            need.value,
            percent(need.tolerance) if need.tolerance is not None else "",
            need.size or "",
            engineering(need.volts, "V") if need.volts is not None else "",
            engineering(need.watts, "W") if need.watts is not None else "",
            need.dielectric or "",
            need.description or str(need.kind),
            " ".join(need.positions),
        )
        writer.writerow(_harmless(cell) for cell in cells)
    return out.getvalue()


def _harmless(cell: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in cell)
    return f"'{plain}" if plain.startswith(_FORMULA) else plain
