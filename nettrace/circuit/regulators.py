"""Regulator families: the feedback reference of adjustable ones, the output of fixed ones."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from nettrace.model.board import Part

__all__ = ["fixed_output_volts", "is_regulator_text", "reference_volts"]

#: Feedback reference by the beginning of the part number, V. All from memory of the makers'
#: data sheets; a figure from here is named as such in the basis of a voltage.
REFERENCES: Final[tuple[tuple[str, float], ...]] = (
    ("MT3608", 0.6), ("MT3410", 0.6), ("TPS6240", 0.6), ("TPS62410", 0.6), ("TPS6220", 0.5),
    ("TPS62823", 0.6), ("TPS6282", 0.6), ("TPS6208", 0.45), ("TPS6213", 0.8), ("TPS6215", 0.8),
    ("TPS62743", 0.0), ("TPS6300", 0.5), ("TPS6302", 0.5), ("TPS6102", 0.5), ("TPS6103", 0.5),
    ("TPS6109", 0.5), ("TPS61088", 1.204), ("TPS5430", 1.221), ("TPS5433", 0.8),
    ("TPS56320", 0.768),
    ("TPS54202", 0.596), ("TPS5420", 1.221), ("TLV6256", 0.6), ("TLV6208", 0.6), ("TPS7A", 1.185),
    ("LM2596", 1.23), ("LM2576", 1.23), ("LM2675", 1.21), ("LM317", 1.25), ("LM1117", 1.25),
    ("AMS1117", 1.25), ("LD1117", 1.25), ("MIC2930", 1.24), ("MIC5219", 1.242), ("MP1584", 0.8),
    ("MP2307", 0.925), ("MP2315", 0.8), ("MP2359", 0.81), ("MP1540", 1.25), ("SY8008", 0.6),
    ("SY8009", 0.6), ("SY8088", 0.6), ("SY8089", 0.6), ("SY8201", 0.6), ("SY8205", 0.6),
    ("RT8059", 0.6), ("RT8008", 0.6), ("RT9013", 0.0), ("AP3012", 1.25), ("AP3428", 0.6),
    ("AP63", 0.8), ("AP2114", 0.8), ("AOZ1280", 0.8), ("LMR1420", 0.765), ("LMR3363", 1.0),
    ("ADP2108", 0.0), ("ADP2302", 0.8), ("LTC3406", 0.6), ("LT3080", 0.0), ("LT1763", 1.22),
    ("PAM2306", 0.6), ("XC9236", 0.0), ("NCP1529", 0.6), ("NCP3170", 0.8), ("LM3671", 0.5),
    ("MCP1640", 1.21), ("MCP16301", 0.8), ("STLQ", 0.8), ("XL6009", 1.25), ("XL4015", 1.25),
    ("XL1509", 1.23), ("TPS2505", 1.0), ("TPS631", 0.5),
)  # fmt: skip

_REGULATOR: Final = re.compile(
    r"regulator|\bLDO\b|DC.?DC|step.?(?:down|up)|buck|boost|1117|78[LM]?\d\d\b|AP2112|AP7\d{3}|ME62\d\d"
    r"|MIC5\d{3}|MIC29|TLV7\d|TPS7|LP298\d|LP59\d\d|XC62\d\d|RT90\d\d|HT7\d{3}|MCP17\d\d|NCP\d{3}"
    r"|TPS5\d|TPS6\d|TLV62|SY8\d{3}|MP\d{4}|MT3608|LM25\d\d|AXP\d{3}|ADP\d{3,4}|SPX3819|XC9\d{3}",
    re.IGNORECASE,
)
_FIXED: Final = (
    re.compile(r"[-_](?P<int>\d{1,2})[.V](?P<frac>\d{1,2})(?![\d])", re.IGNORECASE),  # -3.3, -1V8
    re.compile(
        r"(?:[-_]|C|P|T|[A-Z]{2})(?P<two>33|18|25|28|30|12|15|50|10)(?=[A-Z]|$|-)"
    ),  # C18M5G
    re.compile(r"78[LM]?(?P<whole>05|06|08|09|12|15)"),
)


#: "VREF = 0.6 V", "reference 0.8V", "0.6 V feedback reference".
_STATED: Final = re.compile(
    r"(?:v_?ref|v_?fb|reference(?: of)?|feedback(?: voltage)?)\s*[=:]?\s*(\d(?:\.\d+)?)\s*V\b"
    r"|(\d\.\d+)\s*V\s+(?:feedback |internal )?(?:reference|feedback)",
    re.IGNORECASE,
)


@lru_cache(maxsize=4096)
def _reference(text: str) -> float | None:
    for prefix, volts in REFERENCES:
        if prefix in text:
            return volts or None
    return None


def reference_volts(part: Part) -> float | None:
    """Return the feedback reference of a regulator, V: stated in its description, or by family."""
    match = _STATED.search(part.description or "")
    if match:
        return float(match[1] or match[2])
    return _reference((part.value or "").upper())


def is_regulator_text(part: Part) -> bool:
    """Return whether the value or the description names a regulator."""
    return _REGULATOR.search(f"{part.value or ''} {part.description or ''}") is not None


def fixed_output_volts(part: Part) -> float | None:
    """Return the output of a fixed regulator from its part number, V; None where unclear.

    `AP2112K-3.3`, `ME6212C18M5G`, `TLV70033`, `78L05`; multi-output chips give None.
    """
    if len(part.pins) > 8 or not is_regulator_text(part):
        return None
    text = (part.value or "").upper()
    for pattern in _FIXED:
        match = pattern.search(text)
        if match is None:
            continue
        groups = match.groupdict()
        if groups.get("two"):
            return int(groups["two"]) / 10
        if groups.get("whole"):
            return float(groups["whole"])
        return float(f"{groups['int']}.{groups['frac']}")
    return None
