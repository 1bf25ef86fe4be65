"""Codes and letters printed on parts: tolerances, picofarads, ceramic dielectrics."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

from nettrace.knowledge import section
from nettrace.values.quantity import scaled


def letters(which: str) -> Mapping[str, Any]:
    """Return letters of IEC 60062 with what they say.

    Args:
        which: `tolerance` (fraction), `asymmetric` (the greater side, fraction, and how it is
            written), or `picofarads` (±, of capacitors below 10 pF).
    """
    found: Mapping[str, Any] = section("values", "letters")[which]
    return found


def capacitor_code(code: str) -> float | None:
    """Return the farads of a 3-digit code in pF: 104, 479 (8 is ×0.01, 9 is ×0.1).

    Source: capacitor data sheets; IEC 60062.

    >>> capacitor_code("104"), capacitor_code("479"), capacitor_code("470")
    (1e-07, 4.7e-12, 4.7e-11)
    """
    if not re.fullmatch(r"[1-9]\d\d", code):
        return None
    return scaled(code[:2], {"8": -2, "9": -1}.get(code[2], int(code[2])) - 12)


class Dielectric(NamedTuple):
    """A ceramic dielectric: its code, its class, and what that says in words."""

    code: str
    kind: int
    text: str


def dielectric(text: str) -> Dielectric | None:
    """Return the dielectric a code names, None if it is none.

    Class 2 has a temperature range and the greatest change in it; class 1 has a coefficient and
    its spread.

    Source: EIA-198; TI SLAA701B tables 1 to 16 for class 2.

    >>> dielectric("X7R").text
    'class 2, -55 to 125 °C, ±15 %, loses capacitance under bias'
    >>> dielectric("NPO")
    Dielectric(code='C0G', kind=1, text='class 1, 0 ±30 ppm/°C, no loss under bias')
    """
    known = section("values", "dielectrics")
    code = text.strip().upper()
    code = known["other_names"].get(code, code)
    if len(code) != 3:
        return None
    first, second, third = code
    if first in known["low"] and second in known["high"] and third in known["change"]:
        down, up = (f"{fraction * 100:g}" for fraction in known["change"][third])
        change = f"±{up} %" if down == up else f"+{up}/−{down} %"
        range_ = f"{known['low'][first]} to {known['high'][second]} °C"
        return Dielectric(code, 2, f"class 2, {range_}, {change}, loses capacitance under bias")
    significant, multiplier = known["significant"].get(first), known["multiplier"].get(second)
    if significant is None or multiplier is None or third not in known["spread"]:
        return None
    ppm = float(f"{significant * multiplier:.6g}")
    said = f"{ppm:+g}" if ppm else "0"
    spread = f"{known['spread'][third]:g}"
    return Dielectric(code, 1, f"class 1, {said} ±{spread} ppm/°C, no loss under bias")


@cache
def listed_dielectrics() -> frozenset[str]:
    """Return the codes that are taken for a dielectric in a value text."""
    known = section("values", "dielectrics")
    lows, highs, changes = known["in_lists"]
    codes = {low + high + change for low in lows for high in highs for change in changes}
    return frozenset(codes | {*known["names"].split()})
