"""What stops when a part of the supplies is missing: links, converters, chargers, capacitors."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.absence import Gap, Surroundings, listed, tell
from nettrace.circuit.evidence import Absence
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.links import SUPPLY_OHMS, diode_ends, is_closed, switched_way, terminals_of
from nettrace.circuit.roles import row_of
from nettrace.circuit.roles.site import CHIPS, says
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

#: A rail that loses more than this share of its capacitance ripples (common practice, no source).
LARGE_SHARE: Final = 0.5
#: One that loses less than this has more noise, no less reserve (common practice, no source).
SMALL_SHARE: Final = 0.1
#: Regulators one behind the other that are looked through (a bound, no source).
MOST_STAGES: Final = 6
_OUTSIDE: Final = frozenset({Kind.CONNECTOR, Kind.BATTERY, Kind.SOURCE})
#: What may stand on a strap besides chips, and roles of chips that make supplies.
_NO_FEED: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.TEST_POINT})
_MAKE_SUPPLIES: Final = frozenset({"regulator", "charger", "load switch", "fuel gauge"})


# -- rails that die, and what else may feed them -----------------------------------------------


def rails_lost(gap: Gap, rails: Iterable[str], why: str) -> Absence:
    """Return that these rails have no supply any more: what they feed, and what hangs on them."""
    rails = tuple(rails)
    kept = {net: found for net in rails if (found := other_feeds(gap, net))}
    first = [net for net in rails if net not in kept]
    if not first:
        said = [f"{net} keeps {listed(feeds)} alone as its way in" for net, feeds in kept.items()]
        return tell("one source less", *said, kept=list(kept), why=why)
    dead = _dead_without(gap, first)
    rest = dead[len(first) :]
    more = []
    if rest:
        more.append(f"with it {listed(rest)} {'is' if len(rest) == 1 else 'are'} dead")
    more += _unpowered(gap, dead)
    return tell("no supply", *more, first=[gap.with_volts(net) for net in first], why=why)


def _dead_without(gap: Gap, first: list[str]) -> list[str]:
    """Return the rails without supply when these are, themselves first, and all that hang on them.

    A rail with another way to a living one is left out: only what surely dies is named. What hangs
    on them is told in the rails' order, stage by stage.
    """
    dead = list(dict.fromkeys(first))
    made_from = gap.around.made_from
    grown = True
    while grown:
        grown = False
        waiting = {name for net in dead for name in made_from.get(net, ())}.difference(dead)
        while waiting:
            name = min(waiting, key=natural_key)
            waiting.remove(name)
            inputs = _inputs(gap, name)
            if inputs and all(net in dead for net in inputs) and not other_feeds(gap, name, dead):
                dead.append(name)
                grown = True
                later = (n for n in made_from.get(name, ()) if natural_key(n) > natural_key(name))
                waiting.update(later)
                waiting.difference_update(dead)
    return dead


def _inputs(gap: Gap, output: str) -> list[str]:
    """Return the rails that a rail's source takes its supply from; none for one from outside."""
    source = gap.rails[output].source
    if source is None or gap.kind_of(source) in _OUTSIDE:
        return []
    return [net for net in _fed_from(gap, source) if net != output]


def _fed_from(gap: Gap, key: str) -> list[str]:
    """Return the supply rails that a part is on and does not make, and its battery's."""
    return [
        net
        for net in gap.nets_of(key)
        if gap.is_supply(net) and (gap.rails[net].source != key or gap.is_pack(net))
    ]


def other_feeds(gap: Gap, rail: str, dead: Iterable[str] = ()) -> tuple[str, ...]:
    """Return parts besides the missing one and the rail's own source that may feed a rail."""
    gone = set(dead)
    own = gap.rails[rail].source

    def feeds(net: str) -> bool:
        return gap.is_supply(net) and net not in gone and not hangs_on(gap, net, rail)

    found = {
        link.part
        for link in gap.links(rail)
        if link.part != own
        and link.conditional != "not fitted"
        and not (link.kind == "resistor" and (link.ohms is None or link.ohms > SUPPLY_OHMS))
        and feeds(link.to_net)
        and gap.rails[link.to_net].source != link.part
    }
    for pin in gap.survey.pins(rail):
        if pin.part in gap.gone or pin.part == own or gap.kind_of(pin.part) is not Kind.DIODE:
            continue
        anodes = [net for net in gap.nets_of(pin.part) if net != rail]
        if cathode_of(gap, pin.part) in {None, rail} and any(map(feeds, anodes)):
            found.add(pin.part)
    return tuple(sorted(found, key=natural_key))


def cathode_of(gap: Gap, key: str) -> str | None:
    """Return the net that a diode feeds: a rail whose source it is, else by its pins."""
    part = gap.survey.part(key)
    fed = [n for n in part.nets if gap.is_supply(n) and gap.rails[n].source == key]
    return fed[0] if fed else diode_ends(part)[1]


def hangs_on(gap: Gap, net: str, rail: str) -> bool:
    """Return whether a rail takes its supply from another one, over up to a few stages."""
    for _ in range(MOST_STAGES):
        inputs = _inputs(gap, net)
        if len(inputs) != 1 or inputs == [rail]:
            return inputs == [rail]
        net = inputs[0]
    return False


def _unpowered(gap: Gap, dead: list[str]) -> list[str]:
    """Return who is without power, who lacks one supply of several, and what is not charged."""
    loads = {key for net in dead for key in gap.rails[net].loads if key not in gap.gone}
    without, lacking, chargers, plugs = [], [], [], []
    for key in sorted(loads, key=natural_key):
        if not gap.survey.kinds[key].fitted:
            continue
        if gap.kind_of(key) not in CHIPS:
            plugs.append(key)
        elif gap.role_of(key) == "charger":
            chargers.append(key)
        elif all(net in dead for net in _fed_from(gap, key)):
            without.append(key)
        else:
            lacking.append(key)
    found = []
    if without:
        found.append(f"without power: {listed(without, 6)}")
    if lacking:
        what = "lacks one of its" if len(lacking) == 1 else "lack one of their"
        found.append(f"{listed(lacking, 6)} {what} supplies")
    if chargers:
        found.append(f"{listed(chargers)} cannot charge the battery")
    if plugs and not found:
        found.append(f"nothing comes to {listed(plugs)}")
    return found


# -- parts in series with a supply -------------------------------------------------------------


def supply_link(gap: Gap) -> Absence | None:
    """A fuse, bead, link, shunt, choke, diode or switch in series with a supply or a return."""
    if gap.ends is None:
        # a switch or diode with more than two nets: the pair of rails that it joins
        made = [net for net in gap.supplies if gap.rails[net].source == gap.key]
        if made:
            return _dead_or_kept(gap, made[0])
        survey = gap.survey
        for link in gap.links(*gap.nets, through=gap.key):
            if gap.is_supply(link.from_net) and gap.is_supply(link.to_net):
                way = switched_way(gap.part, survey.board, survey.kinds, survey.grounds)
                return _between(gap, *(way or (link.from_net, link.to_net)))
        return None
    if not gap.live:
        return _between_grounds(gap, *gap.ends)
    return _between(gap, *gap.ends) if len(gap.live) > 1 and gap.supplies else None


def _between(gap: Gap, first: str, second: str) -> Absence:
    rails = gap.rails
    for net in (second, first):
        if net in rails and rails[net].source == gap.key:
            return _dead_or_kept(gap, net)
    # neither side is said to be fed by it: the side with no source of its own is the far one
    for net, near in ((second, first), (first, second)):
        if net not in rails:
            return _signal_side(gap, net, near)
        if rails[net].source is None:
            if near not in rails and _is_strap(gap, near, net):
                return _signal_side(gap, near, net)
            return _dead_or_kept(gap, net)
    for pack, other in ((first, second), (second, first)):
        if gap.is_pack(pack):
            return tell("battery cut off", pack=pack, other=other)
    one, two = rails[first].source, rails[second].source
    return tell("rails apart", first=first, second=second, one=one, two=two)


def _signal_side(gap: Gap, net: str, near: str) -> Absence:
    """One end is no rail by name or structure: it takes its supply through the part."""
    if _is_strap(gap, net, near):
        held = [gap.pin_of(key, net) for key in gap.chips_on(net)]
        return tell("level not seen", held=held, rail=gap.with_volts(near), net=net)
    served = gap.telling(gap.island(net))
    if not served:
        return tell("nobody misses it", net=net, rail=near)
    return without_it(gap, net, near, served)


def without_it(gap: Gap, net: str, rail: str, served: tuple[str, ...]) -> Absence:
    """Return that what a net serves gets nothing from a rail any more."""
    return tell("cut off from rail", net=net, rail=gap.with_volts(rail), served=served)


def _is_strap(gap: Gap, net: str, rail: str) -> bool:
    """Return whether a net is only pins of chips that the rail itself supplies.

    Such a pin takes a level from the rail; it cannot be what feeds it, nor is it fed by it. A pin
    without a name may be anything, and a chip that makes supplies too.
    """
    pins = [pin for pin in gap.survey.pins(net) if pin.part != gap.key]
    if any(gap.kind_of(pin.part) not in CHIPS | _NO_FEED for pin in pins):
        return False
    chips = [pin for pin in pins if gap.kind_of(pin.part) in CHIPS]
    return bool(chips) and all(
        pin.name is not None
        and pin.name not in {pin.number, "~"}
        and not says("supply", pin.name.upper())
        and gap.role_of(pin.part) not in _MAKE_SUPPLIES
        and any(
            each.net == rail and says("supply", (each.name or "").upper())
            for each in gap.survey.part(pin.part).pins
        )
        for pin in chips
    )


def _dead_or_kept(gap: Gap, net: str) -> Absence:
    ends = terminals_of(gap.part) if gap.kind.kind in TRANSISTORS else None
    if ends is not None:
        # the power chip that drives the missing transistor's gate and is on the rail too
        for key in gap.chips_on(ends.gate):
            if key in gap.chips_on(net) and gap.role_of(key) in {"regulator", "charger"}:
                return tell("passed on by chip", net=net, key=key)
    if others := other_feeds(gap, net):
        return tell("fed another way", net=net, others=others)
    return rails_lost(gap, [net], row_of(gap.role).get("only_way", "the way in is open"))


def _between_grounds(gap: Gap, first: str, second: str) -> Absence:
    for net in (first, second):
        if says("shell", net.upper()):
            return tell("shell, interference", net=net)
    others = {
        link.part
        for link in gap.links(first)
        if link.to_net == second and link.conditional != "not fitted"
    }
    if others:
        return tell("grounds stay joined", first=first, second=second, others=sorted(others))
    few, many = sorted((first, second), key=lambda net: len(gap.survey.pins(net)))
    lost = gap.telling([few])
    if lost and all(
        gap.kind_of(key) is Kind.CONNECTOR
        and any(gap.is_ground(net) and net != few for net in gap.nets_of(key))
        for key in lost
    ):
        return tell("other ground kept", few=few, lost=lost)
    return tell("no reference" if lost else "ground floats", few=few, many=many, lost=lost)


def shell_untied(net: str, words: str) -> Absence | None:
    """Return that a shell is not tied to ground any more, where the words name one."""
    return tell("shell, static", net=net) if says("shell", words.upper()) else None


def current_shunt(gap: Gap) -> Absence | None:
    """The shunt carries the whole current of a supply or of its return."""
    if gap.ends is None:
        return None
    first, second = gap.ends
    if not gap.live:
        return tell("no way back", first=first, second=second)
    if len(gap.live) == 2:
        return supply_link(gap)
    # a return: what comes in through the far side has no way back
    far = gap.live[0]
    pack = gap.parts_on([far], Kind.CONNECTOR, Kind.BATTERY)
    readers = gap.chips_on(*gap.island(far)) if gap.is_signal(far) else ()
    more = [f"{listed(readers)} measures nothing"] if readers else []
    current = f": no current flows through {listed(pack)}" if pack else ""
    near = first if far == second else second
    return tell("shunt open", *more, far=far, near=near, current=current)


def jumper(gap: Gap) -> Absence | None:
    """A jumper or a header in series: what it joins is apart, if it was closed."""
    links = gap.links(*gap.nets, through=gap.key)
    if not links or is_closed(gap.part, gap.kind) is False:
        return tell("nothing joined")
    found = supply_link(gap)
    if found is None or not any(link.conditional for link in links):
        return found
    first, *rest = found.effects
    return Absence(found.severity, (f"if it was closed: {first}", *rest))


def bleeder(gap: Gap) -> Absence:
    """Discharges a rail: it works without, and stays charged longer."""
    rail = gap.live[0] if gap.live else "the rail"
    return shell_untied(rail, rail) or tell("stays charged", rail=rail)


# -- what makes and steers supplies ------------------------------------------------------------


def converter_inductor(gap: Gap) -> Absence | None:
    """Without its inductor a converter makes nothing."""
    if gap.ends is None:
        return tell("no inductor")
    chips = gap.chips_on(*gap.signals)
    made = [net for net in gap.ends if net in gap.rails and gap.rails[net].source in chips]
    made = made or gap.made_by(*chips)
    here = [net for net in made if net in gap.ends]
    # another phase of the same converter
    beside = [
        key
        for key in (key for net in here for key in gap.parts_on([net], Kind.INDUCTOR))
        if set(gap.chips_on(*filter(gap.is_signal, gap.nets_of(key)))) & set(chips)
    ]
    if beside:
        return tell("one phase less", made=made, beside=beside)
    if len(made) == 1 or here:
        return rails_lost(gap, here or made, f"{listed(chips)} has no inductor")
    who = chips or "the converter"
    return tell("no inductor between", who=who, first=gap.ends[0], second=gap.ends[1])


def regulator(gap: Gap) -> Absence | None:
    """The rails it makes are dead; a linear one of fixed output too."""
    made = gap.made_by(gap.key)
    if not made:
        return tell("made rail not seen")
    return rails_lost(gap, made, f"nothing else makes {'it' if len(made) == 1 else 'them'}")


def charger(gap: Gap) -> Absence:
    """The battery is not charged; with a power path, what it feeds is dead."""
    made = [net for net in gap.made_by(gap.key) if not gap.is_pack(net)]
    lost = rails_lost(gap, made, f"{gap.key} passes the supply on").effects if made else ()
    return tell("not charged", *lost)


def or_ing(gap: Gap) -> Absence | None:
    """One of several sources no longer feeds the rail."""
    if (back := _back_feed(gap)) is not None:
        return back
    cathode = cathode_of(gap, gap.key)
    if cathode is not None and cathode in gap.supplies:
        source = gap.rails[cathode].source
        others = other_feeds(gap, cathode)
        if source is not None and source != gap.key:
            others = (source, *others)
        if not others:
            return rails_lost(gap, [cathode], "the diode is its only way in")
        return tell("source alone", rail=cathode, others=others)
    if len(gap.supplies) >= 2:
        return tell("no standing in", first=gap.supplies[0], second=gap.supplies[1])
    return None


def power_diode(gap: Gap) -> Absence | None:
    """Reverse-polarity protection or a rectifier: in series, or across a supply."""
    if gap.ends is not None and len(gap.live) < 2:
        other = gap.ends[0] if gap.is_ground(gap.ends[1]) else gap.ends[1]
        across = gap.role == "rectifier or freewheel diode"
        return tell("no freewheel" if across else "no reversal protection", net=other)
    if (back := _back_feed(gap)) is not None:
        return back
    if gap.supplies and any(net in gap.survey.switching_nodes for net in gap.nets):
        return rails_lost(gap, gap.supplies[:1], "the converter's diode is missing")
    way = tell("way open", nets=list(gap.nets), served=gap.telling(gap.signals))
    return supply_link(gap) or way


def _back_feed(gap: Gap) -> Absence | None:
    """A diode from a regulator's output back to its input."""
    for output, into in gap.ways if len(gap.supplies) > 1 else ():
        source = gap.rails[output].source
        if source is None or gap.kind_of(source) is not Kind.IC:
            continue
        if into in gap.nets_of(source) and hangs_on(gap, output, into):
            return tell("back feed open", source=source, into=into, output=output)
    return None


# -- capacitors --------------------------------------------------------------------------------


def rail_capacitor(gap: Gap) -> Absence | None:
    """A decoupling or bulk capacitor: how much of its rail's capacitance goes with it."""
    if gap.ends is None:
        return None
    if not gap.supplies:
        return _own_supply(gap)
    rail = gap.supplies[0]
    bank = gap.around.bank(rail)
    # the chip or connector whose pin on the rail is nearest to the capacitor's
    pin = next((pin for pin in gap.part.pins if pin.net == rail), None)
    near = None
    if pin is not None and pin.x is not None and pin.y is not None:
        near = bank.nearest(pin.x, pin.y)
    serves = f" at {near}" if near else ""
    gone = [key for key in gap.gone if key in bank.farads]
    left = len(bank.farads) - len(gone)
    behind = _behind_link(gap, rail)
    source = gap.rails[rail].source
    # a chip that makes the rail needs a capacitor at its output
    makes = source is not None and gap.kind_of(source) is Kind.IC
    if not left and behind is not None:
        link = f"{behind[0]}, if it is closed" if behind[1] else behind[0]
        row = "source's capacitors behind" if makes else "capacitors behind"
        return tell(row, rail=rail, serves=serves, link=link)
    if not left:
        more = [f"{source} may become unstable"] if makes else []
        return tell("no capacitor left", *more, rail=rail)
    whole = bank.whole_farads
    own = gap.kind.farads
    if own is None or not whole:
        all_of_them = _count(len(bank.farads))
        return tell("capacitors kept", rail=rail, left=left, all=all_of_them, serves=serves)
    remaining = max(whole - sum(bank.farads[key] for key in gone), 0.0)
    rest, all_of_it = engineering(remaining, "F", 3), engineering(whole, "F", 3)
    kept = f"nearly all of its {rest}" if rest == all_of_it else f"{rest} of {all_of_it}"
    row = "more noise" if own / whole <= SMALL_SHARE else "less reserve"
    row = "more ripple" if own / whole > LARGE_SHARE else row
    return tell(row, kept=f"{rail} keeps {kept} ({_count(left)} left)", serves=serves)


def capacitors_behind(
    around: Surroundings, capacitor: str, gone: Iterable[str]
) -> tuple[str, bool] | None:
    """Return the link behind which a rail still has capacitors, with all of `gone` missing.

    With it: whether that holds only if the link is closed.
    """
    gap = Gap(around, capacitor, "decoupling", frozenset(gone))
    behind = _behind_link(gap, gap.supplies[0]) if gap.ends and gap.supplies else None
    return behind if behind is not None and behind[0] not in gap.gone else None


def _behind_link(gap: Gap, rail: str) -> tuple[str, bool] | None:
    """Return the part of no resistance that joins the rail to capacitors of another."""
    for link in gap.around.bank(rail).stiff:
        if gap.is_supply(link.to_net) and gap.around.bank(link.to_net).farads.keys() - gap.gone:
            return link.part, bool(link.conditional)
    return None


def _count(number: int) -> str:
    return f"{number} capacitor" + ("" if number == 1 else "s")


def _own_supply(gap: Gap) -> Absence | None:
    """A capacitor at a chip's own regulator or reference pin."""
    if gap.to_fixed is None or not gap.chips_on(gap.to_fixed[0]):
        return None
    signal = gap.to_fixed[0]
    others = gap.parts_on([signal], Kind.CAPACITOR)
    pin = gap.pin_of(gap.chips_on(signal)[0], signal)
    return tell(
        "pin keeps" if others else "pin without capacitor", pin=pin, others=others, signal=signal
    )
