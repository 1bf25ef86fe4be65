"""The voltage a source line states, where it states one for good."""

from __future__ import annotations

import re

from nettrace.readers.spice_expressions import Environment

__all__ = ["constant_volts"]

#: Waveforms: such a source has no one voltage. Source: ngspice user manual, chapter 4.
_WAVEFORM = re.compile(r"(?i)\b(?:pulse|sin|sine|exp|pwl|sffm|am|trnoise|trrandom|external|port)\b")
_ALTERNATING = re.compile(r"(?i)\bac\b\s*=?\s*([^\s(){}']+)?")
#: `DC dc 5`: exporters write the word twice
_DIRECT = re.compile(r"(?i)\bdc\b\s*=?\s*(?:dc\b\s*=?\s*)?(\{[^{}]*\}|'[^']*'|[^\s=()]+)")
_FIRST = re.compile(r"(\{[^{}]*\}|'[^']*'|[^\s=()]+)")


def constant_volts(text: str, environment: Environment) -> float | None:
    """Return the DC voltage of a source's value text; None if it varies or is not known.

    A source that is 0 V but for a small signal (`dc 0 ac 1`) is an input, not a voltage.

    >>> none = Environment()
    >>> [constant_volts(t, none) for t in ("DC 5", "3.3V", "dc 0 ac 1", "DC 0 SIN(0 1 1k)")]
    [5.0, 3.3, None, None]
    """
    if _WAVEFORM.search(text):
        return None
    alternating = _ALTERNATING.search(text)
    constant = text[: alternating.start()] if alternating else text
    said = _DIRECT.search(text) or _FIRST.match(constant.strip())
    volts = environment.value_of(said[1]) if said else None
    if volts == 0 and alternating:
        return None
    return volts
