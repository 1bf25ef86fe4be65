"""The usual cautions of the bench, and the documents that govern the work."""

from __future__ import annotations

from typing import Final

__all__ = ["CAUTIONS", "DOCUMENTS", "FIRST"]

#: Printed on every plan of work, before anything else.
FIRST: Final = "Local rules and licensed practice come first; this plan does not replace them."

#: Sources: maker's handling note for Li-ion cells, lead and ESD practice (reference-values.md,
#: section 8); the rest is common practice, no source.
CAUTIONS: Final[tuple[str, ...]] = (
    "Unplug the battery and every supply before ohms, diode mode or solder; wait until the rails "
    "have discharged.",
    "Li-ion: never heat, solder to or short a cell; a swollen, punctured or hot pack stops the "
    "work: take it outside, away from anything that burns.",
    "Mains chargers stay closed: what is behind the plug is for licensed people.",
    "Hot air and irons burn; keep cells, flammables and plastics out of reach of the nozzle.",
    "Leaded solder and flux: extract the fumes, no food at the bench, wash hands.",
    "Wear a wrist strap with 1 MΩ; chips die of charges nobody feels.",
)

DOCUMENTS: Final[tuple[str, ...]] = (
    "IPC-7711/7721 rework, modification and repair",
    "IPC J-STD-001 soldering, IPC-A-610 acceptability",
    "IPC/JEDEC J-STD-033 moisture-sensitive parts",
    "ANSI/ESD S20.20, IEC 61340-5-1 protection from ESD",
)
