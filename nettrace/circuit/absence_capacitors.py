"""What a missing capacitor of a supply takes with it: its share, and who stands next to it."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot
from typing import TYPE_CHECKING, Final

from nettrace.circuit.absence_site import ACTIVE, Gap, Rule, degrades, listed, minor
from nettrace.circuit.evidence import Absence
from nettrace.circuit.kinds import Kind
from nettrace.values.quantity import engineering

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["CAPACITOR_RULES", "capacitors_behind"]

#: A rail that loses more than this share of its capacitance ripples (common practice, no source).
LARGE_SHARE: Final = 0.5


#: One that loses less than this has more noise, no less reserve (common practice, no source).
SMALL_SHARE: Final = 0.1


#: A capacitor serves the chip whose supply pin is within this, mm (common practice, no source).
NEAR_MM: Final = 6.0


def rail_capacitor(gap: Gap) -> Absence | None:
    """A decoupling or bulk capacitor: how much of its rail's capacitance goes with it."""
    if gap.ends is None:
        return None
    rail = next((net for net in gap.ends if gap.is_supply(net)), None)
    if rail is None:
        return _own_supply(gap)
    bank = _bank(gap, rail)
    near = _served(gap, rail)
    own = gap.circuit.kinds[gap.key].farads
    others = {key: farads for key, farads in bank.items() if key not in gap.gone}
    serves = f" at {near}" if near else ""
    behind = _behind_link(gap, rail)
    if not others and behind is not None:
        text = f"{rail} keeps no capacitor of its own{serves}, only those behind {behind}"
        return degrades(text) if _makes(gap, rail) else minor(text)
    if not others:
        source = gap.circuit.rails[rail].source
        effect = f"{rail} has no capacitor left: it ripples and dips with every change of load"
        if _makes(gap, rail):
            return degrades(effect, f"{source} may become unstable")
        return degrades(effect)
    whole = sum(bank.values())
    if own is None or not whole:
        return minor(f"{rail} keeps {len(others)} of {_count(len(bank))}{serves}")
    share = own / whole
    left, all_of_it = engineering(sum(others.values()), "F", 3), engineering(whole, "F", 3)
    kept = f"nearly all of its {left}" if left == all_of_it else f"{left} of {all_of_it}"
    text = f"{rail} keeps {kept} ({_count(len(others))} left)"
    if share > LARGE_SHARE:
        return degrades(f"{text}: more ripple{serves}, and it may dip when the load rises")
    what = "less reserve when the load rises" if share > SMALL_SHARE else "more noise on the rail"
    return minor(f"{text}: {what}{serves}")


def capacitors_behind(circuit: Circuit, capacitor: str, gone: Iterable[str]) -> str | None:
    """Return the link behind which a rail still has capacitors, with all of `gone` missing."""
    gap = Gap(circuit, circuit.board.part_by_key[capacitor], "decoupling", frozenset(gone))
    rail = next((net for net in gap.ends or () if gap.is_supply(net)), None)
    behind = _behind_link(gap, rail) if rail is not None else None
    return behind if behind is not None and behind.split(",")[0] not in gap.gone else None


def _makes(gap: Gap, rail: str) -> bool:
    """Return whether a chip makes the rail, so that it needs a capacitor at its output."""
    source = gap.circuit.rails[rail].source
    return source is not None and gap.kind_of(source) is Kind.IC


def _behind_link(gap: Gap, rail: str) -> str | None:
    """Return the part of no resistance that joins the rail to capacitors of another."""
    for link in gap.circuit.links.get(rail, ()):
        if link.kind not in _STIFF or link.conditional == "not fitted":
            continue
        if gap.is_supply(link.to_net) and set(_bank(gap, link.to_net)) - gap.gone:
            return f"{link.part}, if it is closed" if link.conditional else link.part
    return None


_STIFF: Final = frozenset({"zero-ohm link", "current shunt", "jumper header", "jumper", "fuse"})


def _count(number: int) -> str:
    return f"{number} capacitor" + ("" if number == 1 else "s")


def _bank(gap: Gap, rail: str) -> dict[str, float]:
    """Return the fitted capacitors from a rail to a ground with their farads (0: not known)."""
    found: dict[str, float] = {}
    for pin in gap.circuit.board.net_by_name[rail].pins:
        kind = gap.circuit.kinds[pin.part]
        if kind.kind is not Kind.CAPACITOR or not kind.fitted:
            continue
        if any(gap.is_ground(net) for net in gap.circuit.board.part_by_key[pin.part].nets):
            found[pin.part] = kind.farads or 0.0
    return found


def _served(gap: Gap, rail: str) -> str | None:
    """Return the chip or connector whose pin on the rail is nearest to the capacitor's."""
    own = next((pin for pin in gap.part.pins if pin.net == rail), None)
    if own is None or own.x is None or own.y is None:
        return None
    best: tuple[float, str] | None = None
    for pin in gap.circuit.board.net_by_name[rail].pins:
        if gap.kind_of(pin.part) not in ACTIVE | {Kind.CONNECTOR}:
            continue
        for pad in pin.pads:
            away = hypot(pad.x - own.x, pad.y - own.y)
            if away <= NEAR_MM and (best is None or away < best[0]):
                best = away, pin.part
    return best[1] if best else None


def _own_supply(gap: Gap) -> Absence | None:
    """A capacitor at a chip's own regulator or reference pin."""
    if gap.to_fixed is None:
        return None
    signal, _ = gap.to_fixed
    chips = gap.chips_on(signal)
    if not chips:
        return None
    others = gap.parts_on([signal], Kind.CAPACITOR)
    pin = gap.pin_of(chips[0], signal)
    if others:
        return minor(f"{pin} keeps {listed(others)}: more noise there")
    return degrades(
        f"{pin} ({signal}) has no capacitor left: what the chip makes there is unstable"
    )


CAPACITOR_RULES: Final[dict[str, Rule]] = {
    "decoupling": rail_capacitor,
    "bulk capacitor": rail_capacitor,
}
