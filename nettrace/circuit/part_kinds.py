"""What each part is as a component: from its reference, package, value text, pins and words.

Every source of evidence votes with a weight; the kind with the most weight wins. The reference
letter alone decides where a file has nothing else, but it loses to a package or a value that
says otherwise: zero-ohm links and beads stand under R, L, JP and FB alike.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kind_votes import (
    DESCRIPTION,
    LIBRARY,
    PACKAGE,
    PACKAGE_OF_PASSIVES,
    PASSIVE,
    Votes,
    device_votes,
    kind_in,
    pin_votes,
    reference_votes,
    value_votes,
)
from nettrace.circuit.kind_words import DESCRIPTION_WORDS, PACKAGE_WORDS
from nettrace.circuit.kinds import Kind
from nettrace.circuit.part_fields import with_fields
from nettrace.circuit.rail_names import read_rail_name
from nettrace.model.board import Board, Part
from nettrace.model.names import match_names
from nettrace.model.notes import Notes
from nettrace.values.part_value import PartValue, read_part_value
from nettrace.values.sizes import land_pattern_size

__all__ = ["infer_kinds", "is_logic_cell"]


def infer_kinds(board: Board, notes: Notes | None = None) -> dict[str, PartKind]:
    """Return the kind of every part, by part key, in the board's order.

    A value in the user's notes replaces the file's; `fitted` is False where a note, an attribute
    of the file, or the value text says so, in this order of rank.
    """
    values, unfitted, fitted = _noted(board, notes or Notes())
    spice = any(source.format == "spice" for source in board.sources)
    # a parts list says nothing of pins: then having none means nothing
    pinless = not any(part.pins or part.pads for part in board.parts)
    found: dict[str, PartKind] = {}
    for part in board.parts:
        said: bool | None = None
        if part.key in fitted:
            said = True
        elif part.key in unfitted:
            said = False
        found[part.key] = _infer(part, values.get(part.key, part.value), said, spice, pinless)
    return found


def _noted(board: Board, notes: Notes) -> tuple[dict[str, str], set[str], set[str]]:
    if not (notes.values or notes.not_fitted or notes.fitted):
        return {}, set(), set()
    keys = [part.key for part in board.parts]

    def keys_of(patterns: Iterable[str]) -> set[str]:
        return {key for pattern in patterns for key in match_names(pattern, keys)}

    values = {
        key: text for pattern, text in notes.values.items() for key in match_names(pattern, keys)
    }
    return values, keys_of(notes.not_fitted), keys_of(notes.fitted)


_DESIGNATOR: Final = re.compile(r"[A-Z]{1,4}\d+[A-Z]?")


def is_logic_cell(part: Part) -> bool:
    """Return whether a part looks like a cell in a chip's netlist: without package or pin numbers.

    Pins of such a cell have names alone; those of a board's schematic have numbers too.
    """
    numbered = any(pin.name not in {None, pin.number} for pin in part.pins)
    return "cell" in part.properties and part.package is None and not numbered


def _is_cell(part: Part) -> bool:
    """Return whether the part is an instance of a cell in a chip's netlist, by all that is said."""
    cell = part.properties.get("cell")
    said = part.package is None and part.description is None and part.value in {None, cell}
    return cell is not None and said and _DESIGNATOR.fullmatch(part.refdes) is None


def _infer(part: Part, text: str | None, said: bool | None, spice: bool, pinless: bool) -> PartKind:
    votes = Votes()
    if _is_cell(part):
        return _part_kind(part, Kind.UNKNOWN, 0.0, (), PartValue(), said)
    reference_votes(part, votes, spice)
    if part.package:
        library, _, shape = part.package.rpartition(":")
        kind = kind_in(shape, PACKAGE_WORDS)
        full = PACKAGE
        if kind is None and library:
            kind, full = kind_in(library, PACKAGE_WORDS), LIBRARY
        if kind is not None:
            weight = PACKAGE_OF_PASSIVES if kind in PASSIVE else full
            votes.add(kind, weight, f"package {shape}")
    if part.description:
        kind = kind_in(part.description, DESCRIPTION_WORDS)
        if kind is not None:
            weight = PACKAGE_OF_PASSIVES if kind in PASSIVE else DESCRIPTION
            votes.add(kind, weight, f"description says {kind.value}")
    device_votes(part, votes)
    if not pinless:
        pin_votes(part, votes)
    value_text = (text or "").strip()
    if value_text:
        value_votes(part, value_text, votes)
    votes.refine()
    kind, score, because = votes.best()
    if kind is Kind.RESISTOR and _is_array(part):
        kind, because = Kind.RESISTOR_ARRAY, (*because, f"{len(part.pins)} pins")
    # a bead has one winding: with ohms for a value, too, two windings are a choke's
    if kind in {Kind.INDUCTOR, Kind.FERRITE} and len(part.pins) == 4 and len(part.nets) == 4:
        kind, because = Kind.COMMON_MODE_CHOKE, (*because, "four pins on four nets")
    if kind is Kind.CRYSTAL and len(because) == 1 and _carries_supply(part):
        # X is a connector's letter too, and no crystal has a supply on its pins
        kind, score, because = Kind.CONNECTOR, 0.5, (*because, "a supply on its pins")
    value = read_part_value(value_text, _family(kind)) if value_text else PartValue()
    value = with_fields(part, kind, value)
    return _part_kind(part, kind, score, because, value, said)


def _carries_supply(part: Part) -> bool:
    return any(
        pin.net is not None and read_rail_name(pin.net).kind in {"rail", "supply"}
        for pin in part.pins
    )


def _family(kind: Kind) -> str | None:
    if kind is Kind.UNKNOWN:
        return None
    if kind is Kind.RESISTOR_ARRAY:
        return Kind.RESISTOR.value
    return kind.value


def _is_array(part: Part) -> bool:
    count = len(part.pins)
    return count >= 4 and count % 2 == 0 and len({pin.net for pin in part.pins}) > 2


def _part_kind(
    part: Part,
    kind: Kind,
    score: float,
    because: tuple[str, ...],
    value: PartValue,
    said: bool | None,
) -> PartKind:
    if said is not None:
        fitted = said
        because = (*because, "fitted by the user's note" if said else "not fitted by note")
    elif part.fitted is not None and value.fitted is not False:
        fitted = part.fitted
    else:
        fitted = value.fitted is not False
    size = value.size_inch or _size_of(part.package)
    return PartKind(
        kind=kind,
        score=score,
        because=because,
        # a bead's figure is an impedance, never its DC resistance
        ohms=value.ohms if kind not in {Kind.FERRITE, Kind.INDUCTOR} else value.dcr_ohms,
        farads=value.farads,
        henries=value.henries,
        hertz=value.hertz,
        tolerance=value.tolerance,
        rated_volts=value.volts,
        rated_amperes=value.amperes,
        rated_watts=value.watts,
        size_inch=size,
        dielectric=value.dielectric,
        fitted=fitted,
    )


_SIZE: Final = re.compile(r"(?<!\d)(01005|0201|0402|0603|0805|1206|1210|1812|2010|2512)(?!\d)")


@lru_cache(maxsize=4096)
def _size_of(package: str | None) -> str | None:
    """Return the inch size in a package name (`C_0402_1005Metric` gives 0402).

    A land pattern name of IPC-7351 says the body in millimetres: `CAPC1005X55N` is 0402 too.
    """
    if not package:
        return None
    shape = package.rpartition(":")[2]
    chip = land_pattern_size(shape)
    if chip is not None:
        return chip.inch
    match = _SIZE.search(shape)
    return match[1] if match else None


def kinds_of(kinds: Mapping[str, PartKind], *wanted: Kind) -> tuple[str, ...]:
    """Return the part keys of these kinds, in the board's order."""
    return tuple(key for key, kind in kinds.items() if kind.kind in wanted)
