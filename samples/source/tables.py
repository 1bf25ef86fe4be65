"""Write the parts list and the placement table as CSV."""

from __future__ import annotations

import csv
import io

from description import Description, natural, number


def parts_list_text(description: Description) -> str:
    """One row per kind of part, references in one cell, as a purchaser gets it."""
    groups: dict[tuple[str, str, bool], list] = {}
    for part in description.parts:
        if part.in_bom:
            groups.setdefault((part.value, part.number, part.fitted), []).append(part)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(
        [
            "Reference",
            "Qty",
            "Value",
            "Footprint",
            "Description",
            "MPN",
            "Voltage",
            "Tolerance",
            "DNP",
        ]
    )
    for (value, item, fitted), parts in sorted(
        groups.items(), key=lambda row: natural(row[1][0].refdes)
    ):
        first = parts[0]
        table.writerow(
            [
                ",".join(part.refdes for part in parts),
                len(parts),
                value,
                first.package,
                first.description,
                item,
                first.fields.get("Voltage", ""),
                first.fields.get("Tolerance", ""),
                "" if fitted else "DNP",
            ]
        )
    return out.getvalue()


def places_text(description: Description) -> str:
    """Places of the parts that a machine fits, in the board file's frame with y up."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["Ref", "Val", "Package", "PosX", "PosY", "Rot", "Side"])
    for part in description.parts:
        if part.in_bom and part.fitted:
            x, y = description.page_up(part.x, part.y)
            table.writerow(
                [
                    part.refdes,
                    part.value,
                    part.package,
                    f"{x:.4f}",
                    f"{y:.4f}",
                    f"{part.page_turn:.4f}",
                    part.side,
                ]
            )
    return out.getvalue()


__all__ = ["number", "parts_list_text", "places_text"]
