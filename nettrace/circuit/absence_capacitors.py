"""What a missing capacitor of a supply takes with it: its share, and who stands next to it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from nettrace.circuit.absence_site import Gap, Rule, degrades, listed, minor
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


def rail_capacitor(gap: Gap) -> Absence | None:
    """A decoupling or bulk capacitor: how much of its rail's capacitance goes with it."""
    if gap.ends is None:
        return None
    rail = next((net for net in gap.ends if gap.is_supply(net)), None)
    if rail is None:
        return _own_supply(gap)
    bank = gap.circuit.bank(rail)
    near = _served(gap, rail)
    own = gap.circuit.kinds[gap.key].farads
    gone = [key for key in gap.gone if key in bank.farads]
    left = len(bank.farads) - len(gone)
    serves = f" at {near}" if near else ""
    behind = _behind_link(gap, rail)
    if not left and behind is not None:
        text = f"{rail} keeps no capacitor of its own{serves}, only those behind {behind}"
        return degrades(text) if _makes(gap, rail) else minor(text)
    if not left:
        source = gap.circuit.rails[rail].source
        effect = f"{rail} has no capacitor left: it ripples and dips with every change of load"
        if _makes(gap, rail):
            return degrades(effect, f"{source} may become unstable")
        return degrades(effect)
    whole = bank.whole_farads
    if own is None or not whole:
        return minor(f"{rail} keeps {left} of {_count(len(bank.farads))}{serves}")
    share = own / whole
    remaining = max(whole - sum(bank.farads[key] for key in gone), 0.0)
    rest, all_of_it = engineering(remaining, "F", 3), engineering(whole, "F", 3)
    kept = f"nearly all of its {rest}" if rest == all_of_it else f"{rest} of {all_of_it}"
    text = f"{rail} keeps {kept} ({_count(left)} left)"
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
    for link in gap.circuit.bank(rail).stiff:
        if gap.is_supply(link.to_net) and gap.circuit.bank(link.to_net).farads.keys() - gap.gone:
            return f"{link.part}, if it is closed" if link.conditional else link.part
    return None


def _count(number: int) -> str:
    return f"{number} capacitor" + ("" if number == 1 else "s")


def _served(gap: Gap, rail: str) -> str | None:
    """Return the chip or connector whose pin on the rail is nearest to the capacitor's."""
    own = next((pin for pin in gap.part.pins if pin.net == rail), None)
    if own is None or own.x is None or own.y is None:
        return None
    return gap.circuit.bank(rail).nearest(own.x, own.y)


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
