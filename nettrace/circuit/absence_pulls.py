"""What stops when a pull-up or pull-down is missing, or a transistor's gate has no drive."""

from __future__ import annotations

import re
from typing import Final

from nettrace.circuit.absence_rails import rails_lost
from nettrace.circuit.absence_site import (
    Gap,
    Rule,
    blocks,
    bus_name,
    degrades,
    listed,
    minor,
    unknown,
)
from nettrace.circuit.absence_supply import SHELL_WORDS, supply_link
from nettrace.circuit.absence_thermistor import thermistor_bias
from nettrace.circuit.evidence import Absence, Bus, BusLine, Pull
from nettrace.circuit.kinds import Kind
from nettrace.circuit.pulls import parallel_ohms
from nettrace.circuit.roles.net_words import BUTTON, RESET, USB_CC
from nettrace.circuit.roles.survey import plain_name
from nettrace.circuit.series import terminals_of
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

__all__ = ["PULL_RULES", "is_gate", "never_switched", "pull_down"]


#: Protocols whose lines are only ever pulled low: without a pull-up they never rise.
OPEN_DRAIN: Final = frozenset(
    {"i2c", "smbus", "pmbus", "i3c", "one-wire", "1-wire", "hdq", "onewire"}
)
_ENABLE: Final = re.compile(
    r"(?:^|[^A-Z])(?:N?EN|ENABLE|\w*_EN|EN_\w+|N?CE|\w*_CE|N?SHDN|ON|ON_?OFF|PWR_?EN|RUN|N?OE"
    r"|\w*_OE|CTRL|N?STBY|N?PWDN|PDN|CHIP_?EN|CHG_?EN)(?:_?N|#|B)?\d*(?:$|[^A-Z0-9])"
)
_BOOT: Final = re.compile(
    r"BOOT|STRAP|DFU|(?:^|[^A-Z])(?:MODE|CFG|CONF|ADDR|SEL|A[0-3])\d*(?:$|[^A-Z])"
)
_ALERT: Final = re.compile(
    r"INT|IRQ|NMI|ALERT|ALRT|FAULT|FLT|ATTN|PGOOD|(?:^|[^A-Z])PG|STAT|DRDY|WAKE"
)
_SELECT: Final = re.compile(r"(?:^|[^A-Z])N?(?:CS|SS|CE|SEL|CSN|NSS)\d*_?(?:N|#|B)?(?:$|[^A-Z])")
_SILENT: Final = "what it leads to cannot be seen in these sources"
_INSIDE: Final = "unless the chip has a pull-up of its own"


def pull_up(gap: Gap) -> Absence | None:
    """A pull-up: the line no longer rises, or only through what is left."""
    if gap.to_fixed is None:
        if len(gap.part.nets) > 2:
            return _array(gap)
        return thermistor_bias(gap) or _between_rails(gap)
    signal, rail = gap.to_fixed
    biased = thermistor_bias(gap)
    if biased is not None:
        return biased
    return _pull_up_on(gap, signal, rail)


def _between_rails(gap: Gap) -> Absence | None:
    """A pull between two rails: nothing hangs on it, unless it is the way in."""
    if not all(gap.is_supply(net) for net in gap.part.nets):
        return None
    return supply_link(gap)


def _array(gap: Gap) -> Absence | None:
    """An array of pulls: the worst of its lines, each line named once."""
    found: list[tuple[str, Absence]] = []
    commons = [net for net in gap.part.nets if not gap.is_signal(net)]
    for net in gap.part.nets:
        if gap.is_signal(net) and commons:
            rail = commons[0]
            judged = _pull_up_on(gap, net, rail) if gap.is_supply(rail) else _pull_down_on(gap, net)
            if judged is not None:
                found.append((net, judged))
    if not found:
        return None
    worst = min((judged.severity for _, judged in found), key=lambda severity: severity.rank)
    nets = [net for net, judged in found if judged.severity is worst]
    first = next(judged for net, judged in found if judged.severity is worst)
    if len(nets) == 1:
        return first
    direction = "up" if gap.is_supply(commons[0]) else "down"
    effect = f"{listed(nets)} lose their pull-{direction} to {commons[0]}"
    on_bus = gap.bus_line(*nets)
    if on_bus is not None:
        effect += f" ({bus_name(on_bus[0])})"
    return Absence(worst, (f"{effect}: they float while nothing drives them",))


def _left(gap: Gap, signal: str, direction: str) -> list[Pull]:
    """Return the fitted pulls of that direction which the line keeps."""
    nets = gap.island(signal)
    found: dict[str, Pull] = {}
    for net in nets:
        for pull in gap.circuit.pulls.get(net, ()):
            lost = pull.part in gap.gone or not gap.gone.isdisjoint(pull.through)
            if pull.fitted and pull.direction == direction and not lost:
                found.setdefault(pull.part, pull)
    return list(found.values())


def _pull_up_on(gap: Gap, signal: str, rail: str) -> Absence | None:
    nets = gap.island(signal)
    left = _left(gap, signal, "up")
    on_bus = gap.bus_line(*nets)
    if left:
        return _weaker(signal, left, on_bus)
    if on_bus is not None and on_bus[0].protocol in OPEN_DRAIN:
        return _silent_line(gap, signal, rail, *on_bus)
    biased = _bias_lost(gap, signal, nets)
    if biased is not None:
        return biased
    words = " ".join(gap.pin_words(net) for net in nets)
    chips = gap.chips_on(*nets)
    control = _control(gap, signal, words, chips)
    if control is not None:
        return control
    if RESET.search(words):
        who = listed(chips or gap.telling(nets)) or "what it resets"
        return blocks(f"{signal} floats: {who} may stay in reset or reset at random, {_INSIDE}")
    if gap.parts_on(nets, Kind.SWITCH) or BUTTON.search(words):
        return degrades(
            f"{signal} floats while the button is up: it may read as pressed, {_INSIDE}"
        )
    if on_bus is not None:
        return degrades(
            f"{signal} ({on_bus[1].line} of the {bus_name(on_bus[0])}) floats while nothing "
            f"drives it: starting may fail"
        )
    if _SELECT.search(words):
        return degrades(
            f"{signal} floats until it is driven: {listed(chips) or 'the chip'} may be selected "
            "while the board starts"
        )
    if _ALERT.search(words):
        return degrades(
            f"{signal} no longer rises: it reads as always active or at random, unless a chip on "
            "it has a pull-up of its own"
        )
    if _BOOT.search(words):
        return degrades(f"{signal} floats: {listed(chips) or 'the chip'} may start in the wrong "
                        f"mode, {_INSIDE}")  # fmt: skip
    if not chips and not gap.telling(nets):
        return unknown(f"{signal} no longer rises to {rail}; {_SILENT}")
    if len(nets) == 1 and gap.telling(nets) == chips and len(chips) == 1:
        return _strap(gap, chips[0], signal)
    who = listed(gap.telling(nets))
    return degrades(f"{signal} no longer rises to {rail} by itself ({who})")


def _strap(gap: Gap, chip: str, signal: str) -> Absence:
    """A chip's pin that had nothing but this resistor."""
    return degrades(
        f"{gap.pin_of(chip, signal)} ({signal}) floats: what is chosen there is left to chance, "
        "unless the chip holds it inside"
    )


def _bias_lost(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence | None:
    """A microphone, or an amplifier's input, that lives on the current through the resistor."""
    capsules = gap.parts_on(nets, Kind.MICROPHONE)
    if capsules:
        return blocks(f"{signal} has no bias: {listed(capsules)} picks up nothing")
    chips = gap.chips_on(*nets)
    amplifiers = [key for key in chips if gap.role_of(key) == "amplifier"]
    if amplifiers and len(chips) == len(amplifiers):
        pin = gap.pin_of(amplifiers[0], _net_on(gap, amplifiers[0], signal))
        return degrades(f"{pin} ({signal}) has no bias: its output drifts to one end")
    return None


def _weaker(signal: str, left: list[Pull], on_bus: tuple[Bus, BusLine] | None) -> Absence:
    names = listed([pull.part for pull in left])
    ohms = parallel_ohms(tuple(left))
    text = f"{signal} keeps {names}"
    if ohms is None:
        return degrades(f"{text}: its edges get slower")
    text += f", {engineering(ohms, 'Ω', 3)} in all"
    window = on_bus[1].limits_ohms if on_bus is not None else None
    if window is None:
        return minor(f"{text}: it rises more slowly")
    if ohms <= window[1]:
        return minor(f"{text}, still within {_window(window)}: it works")
    return degrades(f"{text}, over {engineering(window[1], 'Ω', 3)}: too slow for the bus's speed")


def _window(window: tuple[float, float]) -> str:
    return f"{engineering(window[0], 'Ω', 3)} to {engineering(window[1], 'Ω', 3)}"


def _silent_line(gap: Gap, signal: str, rail: str, bus: Bus, line: BusLine) -> Absence:
    nets = gap.island(signal)
    devices = [key for key in gap.chips_on(*nets) if key in bus.devices] or list(
        gap.chips_on(*nets)
    )
    to = f" to {rail}" if gap.is_supply(rail) else ""
    effects = [
        f"{line.line} of the {bus_name(bus)} ({signal}) has lost its only pull-up{to}: it never "
        "rises"
    ]
    if devices:
        verb = "does" if len(devices) == 1 else "do"
        effects.append(f"{listed(devices)} {verb} not answer")
    for net in nets:
        effects.extend(
            f"{link.part} passes a low on to {link.to_net}: that side may hang too"
            for link in gap.circuit.links.get(net, ())
            if link.kind == "level shifter" and link.part not in gap.gone
        )
    return blocks(*dict.fromkeys(effects))


def is_gate(gap: Gap, key: str, nets: tuple[str, ...]) -> bool:
    """Return whether a transistor has its gate or base on one of the nets."""
    if gap.kind_of(key) not in {Kind.MOSFET, Kind.TRANSISTOR}:
        return False
    ends = terminals_of(gap.circuit.board.part_by_key[key])
    return ends is not None and ends.gate in nets


def _gate_floats(gap: Gap, signal: str, gates: list[str]) -> Absence:
    fed = [
        name
        for name, rail in gap.circuit.rails.items()
        if rail.source in gates and gap.is_supply(name)
    ]
    if fed:
        return degrades(
            f"the gate of {listed(gates)} ({signal}) floats: {listed(fed)} may be on or off by "
            "chance until it is driven"
        )
    return degrades(
        f"the gate of {listed(gates)} ({signal}) floats: it may conduct when it should not"
    )


def never_switched(gap: Gap, gates: list[str], net: str) -> Absence:
    """Return what follows when nothing drives the gates on a net any more."""
    fed = [name for gate in dict.fromkeys(gates) for name in gap.circuit.fed_by.get(gate, ())]
    fed.sort(key=natural_key)
    held = [p for p in gap.circuit.pulls.get(net, ()) if p.part not in gap.gone and p.fitted]
    if fed and held:
        lost = rails_lost(gap, fed, f"{listed(gates)} is no longer driven and stays off")
        return blocks(*lost.effects)
    if fed:
        return degrades(f"the gate of {listed(gates)} floats: {listed(fed)} is on or off by chance")
    served = [
        key
        for key in gap.telling(n for g in gates for n in gap.circuit.board.part_by_key[g].nets
                               if gap.is_signal(n) and n != net)
        if key not in gates
    ]  # fmt: skip
    text = f"{listed(gates)} is no longer driven"
    if served and all(gap.kind_of(key) is Kind.LED for key in served):
        return minor(f"{text}: the lamp {listed(served)} stays dark")
    return degrades(f"{text}: {listed(served)} is not switched" if served else text)


def _enable(gap: Gap, signal: str, chips: tuple[str, ...]) -> Absence | None:
    """An enable line: who is enabled by it, and whether something else drives it."""
    rails = gap.circuit.rails
    made = [
        key
        for key in chips
        if gap.role_of(key) in _ENABLED
        or (gap.role_of(key) != "controller" and _ENABLE.search(_pin_name(gap, key, signal)))
    ]
    if not made:
        return None
    outputs = [
        name
        for name, rail in rails.items()
        if rail.source in made and gap.is_supply(name) and not gap.is_pack(name)
    ]
    charging = [key for key in made if gap.role_of(key) == "charger"]
    what = (
        f"{listed(charging)} may not charge"
        if charging
        else f"{'' if len(outputs) == 1 else 'one of '}{listed(outputs)} may be missing"
        if outputs
        else f"{listed(made)} may stay off"
    )
    drivers = [key for key in chips if key not in made]
    if drivers:
        drive = "drives" if len(drivers) == 1 else "drive"
        return degrades(f"{signal} is undefined until {listed(drivers)} {drive} it: {what}")
    pins = listed([gap.pin_of(key, _net_on(gap, key, signal)) for key in made])
    return blocks(f"{signal} floats at {pins}: {what}")


def _pin_name(gap: Gap, key: str, signal: str) -> str:
    net = _net_on(gap, key, signal)
    pins = gap.circuit.board.part_by_key[key].pins
    return next((plain_name(pin.name) for pin in pins if pin.net == net), "")


def _net_on(gap: Gap, key: str, signal: str) -> str:
    nets = gap.circuit.board.part_by_key[key].nets
    return next((net for net in gap.island(signal) if net in nets), signal)


def _control(gap: Gap, signal: str, words: str, chips: tuple[str, ...]) -> Absence | None:
    """A line that switches something: a transistor's gate, a regulator's enable; else None."""
    nets = gap.island(signal)
    gates = [
        key for key in gap.parts_on(nets, Kind.MOSFET, Kind.TRANSISTOR) if is_gate(gap, key, nets)
    ]
    if gates:
        return _gate_floats(gap, signal, gates)
    return _enable(gap, signal, chips) if _ENABLE.search(words) else None


_ENABLED: Final = frozenset({"regulator", "charger", "load switch"})


def pull_down(gap: Gap) -> Absence | None:
    """A pull-down: USB-C detection, or a line that floats until it is driven."""
    if gap.to_fixed is None:
        return _array(gap) if len(gap.part.nets) > 2 else None
    return _pull_down_on(gap, gap.to_fixed[0])


def _pull_down_on(gap: Gap, signal: str) -> Absence | None:
    nets = gap.island(signal)
    words = " ".join(gap.pin_words(net) for net in nets)
    if any(word in words for word in SHELL_WORDS):
        return minor(f"the shell ({signal}) is not tied to ground here: static stays on it")
    left = _left(gap, signal, "down")
    if left:
        return minor(f"{signal} keeps {listed([pull.part for pull in left])}")
    if _is_cc(gap, nets, words):
        return _plug_direction(gap, signal, nets)
    chips = gap.chips_on(*nets)
    control = _control(gap, signal, words, chips)
    if control is not None:
        return control
    if RESET.search(words):
        return degrades(
            f"{signal} floats while it is not driven: {listed(chips) or 'what it resets'} may "
            "start wrongly"
        )
    if _BOOT.search(words):
        return degrades(
            f"{signal} floats: {listed(chips) or 'the chip'} may start in the wrong mode, unless "
            "it has a pull-down of its own"
        )
    who = gap.telling(nets)
    if not who:
        return unknown(f"{signal} is no longer held low; {_SILENT}")
    if len(nets) == 1 and who == chips and len(chips) == 1:
        return _strap(gap, chips[0], signal)
    return degrades(f"{signal} floats while nothing drives it ({listed(who)})")


def _is_cc(gap: Gap, nets: tuple[str, ...], words: str) -> bool:
    plugs = gap.parts_on(nets, Kind.CONNECTOR)
    if not USB_CC.search(words):
        found = False
        for key in plugs:
            for pin in gap.circuit.board.part_by_key[key].pins:
                if pin.net in nets and pin.name and USB_CC.search(pin.name.upper()):
                    found = True
        if not found:
            return False
    return bool(plugs)


def _plug_direction(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence:
    """One CC line without Rd: that way round the source finds no sink (USB Type-C)."""
    plugs = gap.parts_on(nets, Kind.CONNECTOR)
    plug = plugs[0]
    other_kept = False
    for pin in gap.circuit.board.part_by_key[plug].pins:
        net = pin.net
        if net is None or net in nets or not gap.is_signal(net):
            continue
        if not USB_CC.search(gap.pin_words(net)) and not USB_CC.search((pin.name or "").upper()):
            continue
        pulls = gap.circuit.pulls.get(net, ())
        if any(p.direction == "down" and p.fitted and p.part not in gap.gone for p in pulls):
            other_kept = True
    if other_kept:
        return degrades(
            f"{signal} has lost its pull-down (Rd): {plug} works with the plug one way round, and "
            "is dead the other way"
        )
    return blocks(
        f"{signal} has lost its pull-down (Rd), and the other CC line has none: a USB-C source "
        f"gives {plug} no voltage"
    )


PULL_RULES: Final[dict[str, Rule]] = {"pull-up": pull_up, "pull-down": pull_down}
