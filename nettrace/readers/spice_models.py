"""What a `.model` says about a part: its type in words, and the names of its terminals."""

from __future__ import annotations

import re
from typing import NamedTuple

from nettrace.readers.spice_numbers import spice_number

__all__ = ["Model", "model_kind", "pin_names", "read_model"]

#: Model type -> what such a part is. Source: ngspice user manual, table 2.4 (model types).
_TYPES: dict[str, str] = {
    "npn": "NPN transistor",
    "pnp": "PNP transistor",
    "lpnp": "PNP transistor",
    "nmos": "N-channel MOSFET",
    "pmos": "P-channel MOSFET",
    "vdmos": "N-channel MOSFET",
    "vdmosn": "N-channel MOSFET",
    "vdmosp": "P-channel MOSFET",
    "njf": "N-channel JFET",
    "pjf": "P-channel JFET",
    "nmf": "N-channel MESFET",
    "pmf": "P-channel MESFET",
    "nhfet": "N-channel HFET",
    "phfet": "P-channel HFET",
    "r": "resistor",
    "res": "resistor",
    "c": "capacitor",
    "cap": "capacitor",
    "l": "inductor",
    "ind": "inductor",
    "core": "magnetic core",
    "sw": "voltage-controlled switch",
    "vswitch": "voltage-controlled switch",
    "csw": "current-controlled switch",
    "iswitch": "current-controlled switch",
    "urc": "distributed RC line",
    "ltra": "transmission line",
    "txl": "transmission line",
    "cpl": "coupled transmission lines",
}
#: A diode model with a lower breakdown is a Zener's, unless it says otherwise: small rectifiers
#: start at 30 V (Schottky) and 50 V. Common practice, no source.
ZENER_BELOW_VOLTS = 28.0
#: EG of a diode model, eV: 0.69 Schottky, 1.11 silicon (SPICE3f user's manual, table of diode
#: parameters). Emitters of light have wider gaps than silicon: 1.4 (GaAs, infrared) and up.
SCHOTTKY_GAP_BELOW = 0.85
LED_GAP_FROM = 1.35
#: Emission coefficient: 1 to 2 in silicon junctions; a model above 2.5 stands in for an LED's high
#: forward voltage. From memory of published LED models.
LED_EMISSION_FROM = 2.5


class Model(NamedTuple):
    """A `.model` line: type in lower case, settings as written, and the part in words."""

    name: str
    kind: str
    settings: tuple[tuple[str, str], ...]
    description: str


def model_kind(text: str) -> str:
    """Return the type in lower case from what follows `.model` ("" if there is none).

    >>> model_kind("QN NPN(BF=100)"), model_kind("D1 ako: D0 d (is=1n)")
    ('npn', 'd')
    """
    words = re.split(r"[\s(]+", re.sub(r"(?i)\bako:\s*\S+", " ", text).strip(), maxsplit=2)
    return words[1].lower() if len(words) > 1 else ""


def read_model(text: str) -> Model | None:
    """Read what follows `.model`; None where its parameters do not fit the grammar."""
    kind = model_kind(text)
    if not kind or len(text) > 65536:
        return None
    from nettrace.readers.spice_grammar import parse_statement

    parsed = parse_statement(text, "model")
    if parsed is None:
        return None
    name, _, _, settings = parsed
    return Model(name, kind, tuple(settings), _described(name, kind, dict(settings)))


def _described(name: str, kind: str, settings: dict[str, str]) -> str:
    said = {key.lower(): value for key, value in settings.items()}
    if kind == "d":
        return _described_diode(name, said)
    if kind == "vdmos" and "pchan" in said:
        return "P-channel MOSFET"
    return _TYPES.get(kind, f"model of type {kind}")


def _described_diode(name: str, said: dict[str, str]) -> str:
    stated = said.get("type", "").strip("'\"").lower()
    words = re.split(r"[^a-z]+", name.lower())
    gap = spice_number(said.get("eg", ""))
    emission = spice_number(said.get("n", ""))
    breakdown = spice_number(said.get("bv", said.get("vz", "")))
    if stated == "led" or "led" in words:
        return "LED"
    if stated == "schottky" or "schottky" in words:
        return "Schottky diode"
    if stated == "zener" or "zener" in words:
        return "Zener diode" if breakdown is None else f"Zener diode {abs(breakdown):g} V"
    if stated:
        return f"diode ({stated})"
    if gap is not None and gap < SCHOTTKY_GAP_BELOW:
        return "Schottky diode"
    if (gap is not None and gap >= LED_GAP_FROM) or (
        emission is not None and emission >= LED_EMISSION_FROM
    ):
        return "LED"
    if breakdown is not None and 0 < abs(breakdown) < ZENER_BELOW_VOLTS:
        return f"Zener diode {abs(breakdown):g} V"
    return "diode"


#: Letter and, where it matters, model type -> terminal names in the order of the nodes.
_SOURCE_PINS = ("+", "-")
_CONTROL_PINS = ("+", "-", "in+", "in-")
_FIELD_EFFECT = {"nmos", "pmos", "vdmos", "vdmosn", "vdmosp", "njf", "pjf", "nmf", "pmf"}


def pin_names(letter: str, kind: str) -> tuple[str, ...]:
    """Return the terminal names an element's nodes have, () where nothing states them.

    A diode or transistor without its model keeps bare numbers: board decks write such elements
    in the order of the symbol's pins, not of the letter.
    """
    if letter in "vibfh":
        return _SOURCE_PINS
    if letter in "egs":
        return _CONTROL_PINS
    if letter == "d" and kind == "d":
        return ("A", "K")
    if letter == "q" and kind in ("npn", "pnp", "lpnp"):
        return ("C", "B", "E", "S")
    if letter in "qmjz" and kind in _FIELD_EFFECT:
        return ("D", "G", "S", "B")
    return ()
