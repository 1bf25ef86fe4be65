"""What stops without a part, and how badly: computed from what stands around the gap.

Which rules are asked stands in `knowledge/roles.toml`, in the row of the part's role.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pkgutil import resolve_name
from typing import Final

from nettrace import knowledge
from nettrace.circuit.buses import find_line
from nettrace.circuit.evidence import (
    Absence,
    Bus,
    BusLine,
    Link,
    NetKind,
    Pull,
    Reach,
    Role,
    Severity,
)
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.links import LINK_KINDS, Bank
from nettrace.circuit.part_kinds import is_logic_cell
from nettrace.circuit.roles import row_of
from nettrace.circuit.roles.site import CHIPS, Site, Survey, are_pair, plain_name, words_of
from nettrace.model.names import natural_key

#: A role less likely than this decides nothing.
LEAST_SCORE: Final = 0.3
#: Where the likeliest role gives no answer, one so little less likely is asked.
CLOSE: Final = 0.25
#: A resistor of more is no part of the line any more (common practice, no source).
MOST_LINE_OHMS: Final = 10e3
#: Parts named in one sentence at most.
MOST_NAMED: Final = 4
#: Kinds that a line ends at besides chips, in the order in which they tell what it is for.
_ENDS: Final = (
    Kind.CONNECTOR, Kind.BATTERY, Kind.ANTENNA, Kind.SOUNDER, Kind.MOTOR, Kind.SWITCH, Kind.RELAY,
    Kind.MOSFET, Kind.TRANSISTOR, Kind.LED, Kind.CRYSTAL, Kind.THERMISTOR,
)  # fmt: skip


def listed(names: Sequence[str], most: int = MOST_NAMED) -> str:
    """Return names as people list them.

    >>> listed(["R1"]), listed(["R1", "R2"]), listed(["a", "b", "c", "d", "e", "f"])
    ('R1', 'R1 and R2', 'a, b, c, d and 2 more')
    """
    if len(names) > most + 1:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


class _Names(tuple[str, ...]):
    """Names in a sentence of a table: listed, or `{names:is|are}` for one of two words."""

    __slots__ = ()

    def __format__(self, form: str) -> str:
        return form.split("|")[len(self) != 1] if form else listed(self)


def put_in(sentence: str, **names: object) -> str:
    """Return a sentence of a table with what stands in it in braces.

    >>> put_in("{parts} {parts:is|are} dead", parts=["U1", "U2"])
    'U1 and U2 are dead'
    """
    told = {
        key: _Names(each) if isinstance(each, (list, tuple)) else each
        for key, each in names.items()
    }
    return sentence.format(**told)


def tell(row: str, /, *more: str, **names: object) -> Absence:
    """Return the judgement of a row of knowledge/absence.toml; `more` effects come last."""
    severity, *effects = knowledge.table("absence")["judgements"][row]
    return Absence(Severity(severity), (*(put_in(each, **names) for each in effects), *more))


def bus_name(bus: Bus) -> str:
    """Return a bus as people call it: `I2C bus GAUGE`, `USB bus`."""
    shown = bus.protocol.upper() if len(bus.protocol) <= 5 else bus.protocol
    shown = {"usb2": "USB", "usb-c cc": "USB-C", "one-wire": "one-wire"}.get(bus.protocol, shown)
    name = bus.name.casefold()
    if name == bus.protocol.casefold() or name in shown.casefold():
        return f"{shown} bus"
    if shown.casefold() in name:
        return f"bus {bus.name}"
    return f"{shown} bus {bus.name}"


def line_name(bus: Bus, line: BusLine) -> str:
    """Return a line of a bus as people call it: `SDA of the I2C bus GAUGE`."""
    return f"{line.line} of the {bus_name(bus)}"


@dataclass(frozen=True)
class Surroundings:
    """What the passes found of a board, as far as a missing part is judged by it."""

    survey: Survey
    links: Mapping[str, tuple[Link, ...]]
    pulls: Mapping[str, tuple[Pull, ...]]
    buses: Sequence[Bus]
    roles: Callable[[str], Sequence[Role]]
    bank: Callable[[str], Bank]
    reaches: Callable[[str], Sequence[Reach]]

    @cached_property
    def made_from(self) -> Mapping[str, tuple[str, ...]]:
        """Supply rail -> the rails whose source has a pin on it, in the rails' order."""
        found: dict[str, tuple[str, ...]] = {}
        for name in self.survey.rails:
            source = self.survey.rails[name].source
            if not self.survey.is_supply(name) or source is None:
                continue
            for net in self.survey.part(source).nets:
                if net != name and self.survey.is_supply(net):
                    found[net] = (*found.get(net, ()), name)
        return found


class Gap(Site):
    """A part that is missing, the role it had, and what is around it.

    `gone` are the keys of all parts that are missing, its own among them.
    """

    __slots__ = ("around", "gone", "rails", "role")

    def __init__(self, around: Surroundings, key: str, role: str, gone: frozenset[str]) -> None:
        super().__init__(around.survey, around.survey.part(key))
        self.around = around
        self.rails = around.survey.rails
        self.role = role
        self.gone = gone

    def nets_of(self, key: str) -> tuple[str, ...]:
        """Return the nets of a part."""
        return self.survey.part(key).nets

    def kind_of(self, key: str) -> Kind:
        """Return the kind of a part."""
        return self.survey.kind(key)

    def role_of(self, key: str) -> str:
        """Return the likeliest role of another part."""
        return self.around.roles(key)[0].role

    def links(self, *nets: str, through: str | None = None) -> list[Link]:
        """Return the links that leave the nets, without those through what is missing.

        With `through`: those through that part alone, be it missing or not.
        """
        return [
            link
            for net in nets
            for link in self.around.links.get(net, ())
            if (link.part not in self.gone if through is None else link.part == through)
        ]

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The pairs of nets that the part joins, each once, sorted."""
        links = self.links(*self.nets, through=self.key)
        return sorted({(min(k.from_net, k.to_net), max(k.from_net, k.to_net)) for k in links})

    def pulls(self, *nets: str, direction: str = "", fitted: bool = True) -> list[Pull]:
        """Return the pulls of the nets that are left, each part once; with `fitted`, no others."""
        found: dict[str, Pull] = {}
        for net in nets:
            for pull in self.around.pulls.get(net, ()):
                there = self.gone.isdisjoint((pull.part, *pull.through))
                if there and (pull.fitted or not fitted) and direction in {"", pull.direction}:
                    found.setdefault(pull.part, pull)
        return list(found.values())

    def parts_on(self, nets: Iterable[str], *kinds: Kind) -> tuple[str, ...]:
        """Return the fitted parts of these kinds on the nets but for the missing one, in order."""
        found = {
            pin.part
            for net in nets
            for pin in self.survey.pins(net)
            if pin.part not in self.gone
            and self.kind_of(pin.part) in kinds
            and self.survey.kinds[pin.part].fitted
        }
        return tuple(sorted(found, key=natural_key))

    def chips_on(self, *nets: str) -> tuple[str, ...]:
        """Return the chips on the nets."""
        return self.parts_on(nets, *CHIPS)

    def gates_on(self, *nets: str) -> list[str]:
        """Return the transistors with their gate or base on one of the nets."""
        return [key for key in self.parts_on(nets, *TRANSISTORS) if self.is_gate(key, nets)]

    def is_gate(self, key: str, nets: Sequence[str]) -> bool:
        """Return whether a transistor has its gate or base on one of the nets."""
        ends = self.survey.terminals.get(key) if self.kind_of(key) in TRANSISTORS else None
        return ends is not None and ends.gate in nets

    def telling(self, nets: Iterable[str]) -> tuple[str, ...]:
        """Return what the nets serve: chips first, then connectors, switches, lamps..."""
        nets = tuple(nets)
        return self.chips_on(*nets) + tuple(
            key for kind in _ENDS for key in self.parts_on(nets, kind)
        )

    def island(self, net: str) -> tuple[str, ...]:
        """Return the signal nets joined to a signal through series parts, the missing one left out.

        The net itself comes first.
        """
        found = {net: None}
        waiting = [net]
        while waiting:
            for link in self.links(waiting.pop()):
                far = link.to_net
                if far in found or not self.is_signal(far) or link.conditional:
                    continue
                if not LINK_KINDS[link.kind].series or (link.ohms or 0.0) > MOST_LINE_OHMS:
                    continue
                if are_pair(link.from_net, far):  # a termination joins no two lines
                    continue
                found[far] = None
                waiting.append(far)
        return tuple(found)

    def hearers(self, nets: Iterable[str]) -> tuple[str, ...]:
        """Return what the nets serve; where nothing is on them, what they lead to."""
        nets = tuple(nets)
        found = self.telling(nets) or self._behind(nets, Kind.CAPACITOR)
        if found:
            return found
        for reach in self.around.reaches(nets[0]):
            there = self.gone.isdisjoint(reach.through) and self.is_signal(reach.net)
            if there and (found := self.telling([reach.net])):
                return found
        # the other side of a protection array that the line runs through, by its polarity
        return self._behind(nets, Kind.ESD, nets[0][-1:])

    def _behind(self, nets: tuple[str, ...], kind: Kind, ending: str = "") -> tuple[str, ...]:
        """Return what the signals serve on the other side of parts of a kind."""
        found: dict[str, None] = {}
        for key in self.parts_on(nets, kind):
            for net in self.nets_of(key):
                if net not in nets and self.is_signal(net) and net.endswith(ending):
                    found.update(dict.fromkeys(self.telling(self.island(net))))
        return tuple(found)

    def made_by(self, *keys: str) -> list[str]:
        """Return the supply rails whose source is one of the parts, in the rails' order."""
        return [
            name
            for name, rail in self.rails.items()
            if rail.source in keys and rail.kind is NetKind.RAIL
        ]

    def is_pack(self, net: str) -> bool:
        """Return whether a rail is a battery's own: by its name, or a battery stands on it."""
        return "BAT" in net.upper() or bool(self.parts_on([net], Kind.BATTERY))

    def bus_line(self, *nets: str) -> tuple[Bus, BusLine] | None:
        """Return the first bus line that one of the nets belongs to."""
        return find_line(self.around.buses, nets)

    def pin_words(self, *nets: str) -> str:
        """Return what the nets' names and their chips' pins say, upper case, for word lists."""
        named = [
            plain_name(pin.name)
            for net in nets
            for pin in self.survey.pins(net)
            if pin.name and pin.part not in self.gone and self.kind_of(pin.part) in CHIPS
        ]
        return " ".join((*map(words_of, nets), *named)).strip()

    def pin_of(self, chip: str, net: str) -> str:
        """Return a chip's pin on a net as people say it: `U1's pin ISET (5)`, `pin 5 of U1`."""
        for pin in self.survey.part(chip).pins:
            if pin.net == net:
                if pin.name and pin.name != pin.number:
                    return f"{chip}'s pin {plain_name(pin.name)} ({pin.number})"
                return f"pin {pin.number} of {chip}"
        return chip

    def volts(self, net: str) -> float | None:
        """Return the nominal voltage of a rail, V."""
        rail = self.rails.get(net)
        return rail.volts.nominal if rail is not None and rail.volts is not None else None

    def open_pin(self, net: str) -> bool:
        """Return whether nothing else is on the net."""
        return len(self.survey.pins(net)) < 2

    def with_volts(self, net: str) -> str:
        """Return a rail with its voltage, `VSYS (4.4 V)`; the name alone where it says so."""
        volts = self.volts(net)
        if volts is None or not self.is_supply(net):
            return net
        shown = f"{volts:g}"
        if shown.replace(".", "V") in net or shown in net:
            return net
        return f"{net} ({volts:.3g} V)"

    @property
    def user(self) -> str:
        """The chip that most of the part's signals go to, in words."""
        counts: dict[str, int] = {}
        for net in self.signals:
            for key in self.chips_on(*self.island(net)):
                counts[key] = counts.get(key, 0) + 1
        return min(
            counts, key=lambda key: (-counts[key], natural_key(key)), default="its controller"
        )


#: A rule tells what happens without a part of its role; None where it cannot say.
Rule = Callable[[Gap], Absence | None]


@cache
def _rules(role: str) -> tuple[Rule, ...]:
    names = row_of(role).get("without", ())
    return tuple(resolve_name(f"nettrace.circuit.{name.replace('.', ':')}") for name in names)


def _judge(gap: Gap) -> Absence | None:
    """Return what the role's row and its rules say; None where they cannot."""
    row = row_of(gap.role)
    if "effect" in row:
        return Absence(Severity(row["severity"]), (put_in(row["effect"], gap=gap, live=gap.live),))
    return next(filter(None, (rule(gap) for rule in _rules(gap.role))), None)


def judge_absence(around: Surroundings, part_key: str, others: Iterable[str] = ()) -> Absence:
    """Return what happens without the part: severity, and effects with the gravest first.

    The likeliest role says which question is asked, the nets around the gap give the answer. A
    part that is not fitted by design is missed by nobody. Where neither is known the severity is
    unknown, with the reason.

    Args:
        around: what stands around the part.
        part_key: the missing part.
        others: keys of further parts that are missing too, so that none of them stands in for it.
    """
    gone = frozenset((part_key, *others))
    part, kind = around.survey.part(part_key), around.survey.kinds[part_key]
    if not kind.fitted:
        return tell("not fitted")
    roles = around.roles(part_key)
    best = roles[0].role
    if is_logic_cell(part) and kind.kind is Kind.UNKNOWN:
        return tell("cell of a chip")
    if not part.nets and best in {"mechanical", "test point"}:
        return _judge(Gap(around, part_key, best, gone)) or Absence(Severity.UNKNOWN, ())
    if not part.nets:
        return tell("nets not known")
    if best == "unknown" and len(part.nets) > 2:
        return tell("role not known")
    for role in roles:
        if role.score < max(LEAST_SCORE, roles[0].score - CLOSE):
            break
        if (found := _judge(Gap(around, part_key, role.role, gone))) is not None:
            return found
    if best == "unknown":
        return tell("role not known")
    return tell("nothing seen", role=best)
