"""The serial buses of a board: lines, segments, parts, pull-ups, and whether they suit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from nettrace.circuit.bus_extras import add_companions
from nettrace.circuit.bus_lines import TALKERS, RawBus, find_lines
from nettrace.circuit.bus_parallel import find_parallel
from nettrace.circuit.bus_segments import Joined, join_segments
from nettrace.circuit.bus_words import stem_of
from nettrace.circuit.evidence import Bus, BusLine, Link, PartKind, Pull, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.pulls import parallel_ohms
from nettrace.circuit.rail_names import leaf_of
from nettrace.model.board import Board
from nettrace.model.names import natural_key

__all__ = ["infer_buses", "pull_window"]

#: Lines of open-drain buses that a pull-up must raise.
_OPEN_DRAIN_LINES: Final = frozenset({"SDA", "SCL", "ALERT", "HDQ", "DQ"})
_DOMAIN_LINKS: Final = "level shifter"


def infer_buses(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    pulls: Mapping[str, tuple[Pull, ...]],
) -> tuple[Bus, ...]:
    """Return the buses, by protocol and name.

    Segments behind series resistors, arrays, shifters and (fast pairs) coupling capacitors belong
    to their line; `through` names what lies between. An open-drain line has a verdict for each
    side of a shifter, by UM10204 for 100 pF where the capacitance is not known.
    """
    raw = find_lines(board, kinds, rails)
    # segments first: a companion is known by the parts that all segments share
    whole = [one.bus for one in join_segments(raw, board, kinds, rails, links, pulls)]
    taken = {net for bus in whole for net in bus.nets()}
    add_companions(whole, board, kinds, rails, taken)
    joined = join_segments(whole, board, kinds, rails, links, pulls)
    taken = {net for one in joined for net in one.bus.nets()}
    parallel = find_parallel(board, kinds, rails, links, taken)
    joined.extend(join_segments(parallel, board, kinds, rails, links, pulls))
    joined.sort(key=lambda one: (one.bus.spec.protocol, natural_key(_first(one.bus))))
    maker = _Maker(board, kinds, rails, links, pulls)
    names: dict[str, int] = {}
    buses = []
    for one in joined:
        bus = maker.bus(one, names)
        if bus is not None:
            buses.append(bus)
    return tuple(sorted(buses, key=lambda bus: (bus.protocol, natural_key(bus.name))))


def _first(bus: RawBus) -> str:
    return min((net for nets in bus.lines.values() for net in nets), key=natural_key)


@dataclass(frozen=True, slots=True)
class _Maker:
    board: Board
    kinds: Mapping[str, PartKind]
    rails: Mapping[str, Rail]
    links: Mapping[str, tuple[Link, ...]]
    pulls: Mapping[str, tuple[Pull, ...]]

    def bus(self, one: Joined, names: dict[str, int]) -> Bus | None:
        raw = one.bus
        parts = {
            pin.part
            for net in raw.nets()
            for pin in self.board.net_by_name[net].pins
        }  # fmt: skip
        through = set(one.through) | {
            part for part in parts if self.kinds[part].kind in {Kind.ESD, Kind.COMMON_MODE_CHOKE}
        }
        devices = {
            part for part in parts if self.kinds[part].kind in TALKERS and part not in through
        }
        lines = tuple(self._line(raw, line, nets) for line, nets in _ordered(raw.lines.items()))
        name = self._name(one)
        names[name] = names.get(name, 0) + 1
        if names[name] > 1:
            name = f"{name} ({names[name]})"
        named = any(not because.startswith("pin names") for because in raw.because or ("",))
        because = tuple(raw.because) or (f"names {', '.join(line.net for line in lines[:4])}",)
        score = 0.9 if named and len(devices) >= 1 else 0.7
        return Bus(
            name=name,
            protocol=raw.spec.protocol,
            lines=lines,
            parts=tuple(sorted(parts | through, key=natural_key)),
            devices=tuple(sorted(devices, key=natural_key)),
            through=tuple(sorted(through, key=natural_key)),
            score=score,
            because=because,
        )

    def _name(self, one: Joined) -> str:
        stems = [stem_of(group) for group in (one.bus.group, *one.bus.groups) if stem_of(group)]
        protocol = one.bus.spec.protocol
        if stems:
            return min(stems, key=lambda stem: (len(stem), stem))
        return protocol

    def _line(self, raw: RawBus, line: str, nets: list[str]) -> BusLine:
        main = max(nets, key=lambda net: (self._talkers(net), -nets.index(net)))
        ordered = (main, *(net for net in nets if net != main))
        pulls = self._pulls(ordered)
        own = self.pulls.get(main, ())
        ups = [pull for pull in own if pull.direction == "up" and pull.fitted]
        ohms = parallel_ohms(own)
        volts = next((pull.volts for pull in ups if pull.volts is not None), None)
        verdict: str | None = None
        limits: tuple[float, float] | None = None
        if raw.spec.open_drain and line in _OPEN_DRAIN_LINES:
            verdict, limits = self._verdict(raw, ordered)
        return BusLine(
            line=line,
            net=main,
            nets=ordered,
            pulls=pulls,
            pull_ohms=ohms,
            volts=volts,
            verdict=verdict,
            limits_ohms=limits,
        )

    def _talkers(self, net: str) -> int:
        return sum(self.kinds[pin.part].kind in TALKERS for pin in self.board.net_by_name[net].pins)

    def _pulls(self, nets: Iterable[str]) -> tuple[Pull, ...]:
        """Every pull of the line once, as its own net has it."""
        found: dict[str, Pull] = {}
        for net in nets:
            for pull in self.pulls.get(net, ()):
                known = found.get(pull.part)
                if known is None or len(pull.through) < len(known.through):
                    found[pull.part] = pull
        return tuple(sorted(found.values(), key=lambda pull: natural_key(pull.part)))

    def _domains(self, nets: tuple[str, ...]) -> list[list[str]]:
        """Return the line's nets in groups that no shifter parts, main net's group first."""
        left = list(nets)
        groups: list[list[str]] = []
        while left:
            group = [left.pop(0)]
            for net in group:
                for link in self.links.get(net, ()):
                    if link.to_net in left and link.kind != _DOMAIN_LINKS:
                        left.remove(link.to_net)
                        group.append(link.to_net)
            groups.append(group)
        return groups

    def _verdict(
        self, raw: RawBus, nets: tuple[str, ...]
    ) -> tuple[str, tuple[float, float] | None]:
        """Return the judgement of each side's pull-ups, and the window of the main side."""
        from nettrace.electrical.bus_limits import judge_pull_up

        texts: list[str] = []
        window: tuple[float, float] | None = None
        domains = self._domains(nets)
        for group in domains:
            pulls = [pull for pull in self._pulls(group) if pull.direction == "up"]
            fitted = tuple(pull for pull in pulls if pull.fitted)
            label = f"{leaf_of(group[0])}: " if len(domains) > 1 else ""
            if not fitted:
                empty = ", ".join(pull.part for pull in pulls)
                hint = f" ({empty} not fitted)" if empty else ""
                texts.append(
                    f"{label}no pull-up seen on this board{hint}: it must be inside a chip, or "
                    "behind a connector, else the line never rises"
                )
                continue
            ohms = parallel_ohms(fitted)
            volts = {pull.volts for pull in fitted if pull.volts}
            supply = next(iter(volts)) if len(volts) == 1 else None
            if ohms is None:
                to = ", ".join(dict.fromkeys(pull.to for pull in fitted))
                parts = ", ".join(pull.part for pull in fitted)
                texts.append(f"{label}{parts} to {to}: value not known")
                continue
            if len(volts) > 1:
                texts.append(f"{label}pulled up to different voltages")
            verdict = judge_pull_up(ohms, supply, None, raw.spec.protocol)
            texts.append(f"{label}{verdict.text}")
            if verdict.limits is not None and group is domains[0]:
                window = verdict.limits.at_least, verdict.limits.at_most
        return "; ".join(texts), window


#: Pull-ups that fall into the classes of a protocol, one after the other, ohms.
_TRIED_OHMS: Final = (1e3, 2.2e3, 4.7e3, 10e3)


def pull_window(protocol: str, supply_volts: float) -> tuple[float, float] | None:
    """Return the least and most pull-up, ohms, over the usual classes of a bus; None if unknown.

    For a line whose pull-up is missing; the bus capacitance is taken as 100 pF.

    Source: NXP UM10204 rev. 7 and SMBus 2.0, by `electrical.bus_limits`.
    """
    from nettrace.electrical.bus_limits import judge_pull_up

    verdicts = [judge_pull_up(ohms, supply_volts, None, protocol) for ohms in _TRIED_OHMS]
    limits = [v.limits for v in verdicts if v.limits is not None and v.limits.possible]
    if not limits:
        return None
    return min(one.at_least for one in limits), max(one.at_most for one in limits)


def _ordered(lines: Iterable[tuple[str, list[str]]]) -> list[tuple[str, list[str]]]:
    return sorted(lines, key=lambda item: natural_key(item[0]))
