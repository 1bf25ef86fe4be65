"""What a meter would show at the touched places under each fault.

The board without the touched parts is folded to the nodes that matter; each fault is then a few
links and resistors more or less. A touched pin has a terminal of its own (the end cap as
soldered), joined to its net by a joint: a probe at `R12.1` means that terminal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from nettrace.bench.chances import Outlook
from nettrace.bench.faults import Fault, FaultKind, Touched, touched
from nettrace.bench.job import JobState
from nettrace.bench.wire import find_pad, pad_name
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import pairs_of
from nettrace.electrical.expected import ExpectedVolts, MeteredBoard
from nettrace.electrical.network import Edge, PortNetwork, fold
from nettrace.electrical.power_off import Elements, elements_of
from nettrace.errors import NothingMatches
from nettrace.model.board import Part, Pin
from nettrace.model.find import find_nets

#: A resistor up to this is no obstacle to a capacitance meter, Ω (common practice, no source).
THROUGH_OHMS: Final = 1.0
#: Bounds this close (as a fraction) are one figure.
SAME: Final = 1e-6
#: A rail this far down to ground is taken to be held at 0 V by it, Ω.
DEAD_OHMS: Final = 3.0
#: Most that a bridge or a shorted part has, Ω (common practice, no source).
SHORT_OHMS: Final = 1.0
#: A rail's voltage where no file states its limits, as a fraction (common practice, no source).
RAIL_SPREAD: Final = 0.05
#: The bounds that are solved for each fault.
_NOMINAL, _MOST, _LEAST, _JOINED, _SOFT = range(5)

_DIODES: Final = frozenset({Kind.DIODE, Kind.ESD, Kind.ZENER, Kind.LED})


@dataclass(frozen=True, slots=True)
class Spot:
    """A place for a probe: the words, the node it stands for, its net, its pad if it is one."""

    name: str
    node: str
    net: str
    pad: str = ""


Pair = tuple[Spot, Spot]


@dataclass(frozen=True, slots=True)
class _Piece:
    """A conducting way inside a touched part, between two of its terminals, Ω or F."""

    part: str
    a: str
    b: str
    ohms: tuple[float, float, float] | None = None  # nominal, highest, lowest
    farads: float | None = None
    class_2: bool = False
    diode: bool = False


class Predictor:
    """The board as repaired, and with any faults; answers are kept.

    Args:
        circuit: the board.
        state: the job, for what is touched and what is absent.
        nets: further nets that probes are put on.
    """

    def __init__(self, circuit: Circuit, state: JobState, nets: Sequence[str] = ()) -> None:
        self.circuit = circuit
        self.touched: Touched = touched(circuit, state)
        self._nets = dict.fromkeys(nets)
        self._soft: dict[tuple[Fault, ...], dict[str, int]] = {}
        owners = dict.fromkeys(self.touched.parts)
        owners.update(dict.fromkeys(pin.part for pin in self.touched.joints.values()))
        self._owners = tuple(owners)
        self.bridges = tuple(
            pins
            for ends in state.bridges
            if (pins := tuple(p for end in ends if (p := find_pad(circuit, end)) is not None))
            and len(pins) == 2
        )

    # -- places ------------------------------------------------------------------------------

    def spot(self, words: str) -> Spot | None:
        """Return the place that a job's words name: a pad, or a net; None where there is none."""
        pin = find_pad(self.circuit, words)
        if pin is not None:
            if pin.net is None:
                return None
            name = pad_name(self.circuit, pin)
            return Spot(name, self._node(pin), pin.net, name)
        try:
            found = find_nets(self.circuit.board, words)
        except NothingMatches:
            return None
        return Spot(found[0].name, found[0].name, found[0].name) if len(found) == 1 else None

    def _node(self, pin: Pin) -> str:
        name = pad_name(self.circuit, pin)
        return _terminal(name) if name in self.touched.joints else pin.net or ""

    # -- the board around the touched parts ---------------------------------------------------

    @cached_property
    def _whole(self) -> Elements:
        return elements_of(self.circuit, self.touched.absent)

    @cached_property
    def _base(self) -> tuple[PortNetwork, ...]:
        """The folded networks: nominal, highest, lowest with unknown parts joined, joined, soft."""
        owners = set(self._owners)
        rest = [e for e in self._whole.resistances if e.part not in owners]
        joins = [
            Edge(nets[0], net, 0.0)
            for part, nets in self._whole.unknown
            if part not in owners
            for net in nets[1:]
        ]
        nominal = [Edge(e.a, e.b, e.ohms) for e in rest]
        ports = self._ports
        return (
            fold(nominal, ports),
            fold([Edge(e.a, e.b, e.at_most) for e in rest], ports),
            fold([*(Edge(e.a, e.b, e.at_least) for e in rest), *joins], ports),
            fold([*nominal, *joins], ports),
            fold([_softened(edge) for edge in nominal], ports),
        )

    @cached_property
    def _ports(self) -> list[str]:
        names = dict.fromkeys(pin.net or "" for pin in self.touched.joints.values())
        for key in self._owners:
            names.update(dict.fromkeys(self.circuit.board.part_by_key[key].nets))
        names.update(dict.fromkeys(pin.net or "" for ends in self.bridges for pin in ends))
        names.update(dict.fromkeys(net for _, nets in self._wires for net in nets))
        names.update(self._nets)
        if self.bench.ground is not None:
            names[self.bench.ground] = None
        return list(names)

    @cached_property
    def bench(self) -> MeteredBoard:
        """The board as it stands, for voltages; a wire in place of a lost part is 0 Ω there."""
        wired = {
            key: 0.0
            for wired in self.touched.wires
            for key in wired.of
            if key in self.touched.absent
        }
        return MeteredBoard(self.circuit, self.touched.absent - set(wired), changes=wired)

    @cached_property
    def _pieces(self) -> tuple[_Piece, ...]:
        found: list[_Piece] = []
        for key in self._owners:
            part = self.circuit.board.part_by_key[key]
            if self.circuit.kinds[key].fitted:
                found.extend(self._of_part(part))
        return tuple(found)

    def _of_part(self, part: Part) -> list[_Piece]:
        kind = self.circuit.kinds[part.key]
        pairs = pairs_of(part, kind)
        elements = [e for e in self._whole.resistances if e.part == part.key]
        found = []
        for element in elements:
            # the pins of the pair that has these two nets
            ends = next(
                ((p.first, p.second) for p in pairs if (p.first.net, p.second.net)
                 == (element.a, element.b)), None
            )  # fmt: skip
            if ends is not None:
                ohms = (element.ohms, element.at_most, element.at_least)
                found.append(_Piece(part.key, self._node(ends[0]), self._node(ends[1]), ohms))
        for item in self._whole.capacitors:
            if item.part == part.key:
                a, b = self._pin_on(part, item.a), self._pin_on(part, item.b)
                found.append(_Piece(part.key, a, b, farads=item.farads, class_2=item.class_2))
        if not found and kind.kind in _DIODES and len(part.nets) == 2:
            a, b = (self._pin_on(part, net) for net in part.nets)
            found.append(_Piece(part.key, a, b, diode=True))
        return found

    def _pin_on(self, part: Part, net: str) -> str:
        return self._node(next(pin for pin in part.pins if pin.net == net))

    @cached_property
    def _own_unknown(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """(part, terminals) of touched parts that may conduct in ways nobody knows."""
        owners = set(self._owners)
        found = []
        for key, _ in self._whole.unknown:
            if key in owners:
                pins = self.circuit.board.part_by_key[key].pins
                nodes = dict.fromkeys(self._node(pin) for pin in pins if pin.net is not None)
                found.append((key, tuple(nodes)))
        return tuple(found)

    @property
    def _wires(self) -> list[tuple[str, tuple[str, str]]]:
        """(place, nets) of the wires that join two nets; those on one net are its torn joints."""
        return [(w.place, w.across) for w in self.touched.wires if w.across is not None]

    # -- faults ------------------------------------------------------------------------------

    def _edges(self, faults: Sequence[Fault], bound: int) -> list[Edge]:
        opened, gone, wrong, shorts = _sorted_out(faults)
        edges = [
            Edge(_terminal(name), pin.net or "", 0.0)
            for name, pin in self.touched.joints.items()
            if name not in opened
        ]
        solder = SHORT_OHMS if bound == _MOST else 0.0
        edges += [Edge(nets[0], nets[1], solder) for nets in shorts]
        edges += [Edge(a.net or "", b.net or "", 0.0) for a, b in self.bridges]
        edges += [Edge(*nets, 0.0) for place, nets in self._wires if place not in opened]
        ref = self._refdes
        for piece in self._pieces:
            if piece.ohms is None or ref[piece.part] in gone:
                continue
            ohms = piece.ohms[bound if bound in {_MOST, _LEAST} else _NOMINAL]
            if ref[piece.part] in wrong:
                ohms = wrong[ref[piece.part]] * (ohms / piece.ohms[0] if piece.ohms[0] else 1.0)
            edge = Edge(piece.a, piece.b, ohms)
            edges.append(_softened(edge) if bound == _SOFT else edge)
        if bound in {_LEAST, _JOINED}:
            edges += [
                Edge(nodes[0], node, 0.0)
                for part, nodes in self._own_unknown
                if ref[part] not in gone
                for node in nodes[1:]
            ]
        return edges

    @cached_property
    def _refdes(self) -> Mapping[str, str]:
        parts = self.circuit.board.part_by_key
        return {key: parts[key].refdes for key in self._owners}

    def outlooks(self, pairs: Sequence[Pair], faults: Sequence[Fault] = ()) -> list[Outlook]:
        """Return what each pair of places would show with these faults."""
        nodes = [(a.node, b.node) for a, b in pairs]
        sets = [
            self._base[bound].resistances(nodes, self._edges(faults, bound))
            for bound in (_NOMINAL, _MOST, _LEAST, _JOINED)
        ]
        number = self._base[_SOFT].nodes(self._edges(faults, _SOFT))
        supplies = {number[net] for net in self._ports if self.is_supply(net) and net in number}
        farads = self._farads(nodes, faults, number)
        diodes = self._diode_pairs(faults)
        found = []
        for at, (a, b) in enumerate(pairs):
            nominal, most, least, joined = (values[at] for values in sets)
            if math.isinf(nominal):
                exact = math.isinf(joined)
            else:
                exact = abs(joined - nominal) <= SAME * max(nominal, 1.0)
            found.append(
                Outlook(
                    nominal, max(nominal, most), min(nominal, least), exact,
                    number.get(a.node) in supplies and number.get(b.node) in supplies, *farads[at],
                    diode=frozenset({a.node, b.node}) in diodes
                    or frozenset({a.net, b.net}) in diodes,
                )
            )  # fmt: skip
        return found

    def volts(
        self, pairs: Sequence[Pair], faults: Sequence[Fault] = ()
    ) -> list[tuple[tuple[float, float, float] | None, bool]]:
        """Return the voltage of each pair's first place over its second, a ground, and how sure.

        Where a fault has changed how the place is tied to ground or to what pulls it, the voltage
        may be anything.
        """
        found: list[tuple[tuple[float, float, float] | None, bool]] = []
        for spot, other in pairs:
            said = self.expected_volts(spot)
            if said is None or not self._is_ground(other.net):
                found.append((None, False))
                continue
            ties = self._ties(spot)
            now = self._base[_NOMINAL].resistances(ties, self._edges(faults, _NOMINAL))
            if now and now[0] <= DEAD_OHMS and said[0] != 0:
                found.append(((0.0, 0.0, 0.05), True))
                continue
            healthy = self._base[_NOMINAL].resistances(ties, self._edges((), _NOMINAL))
            same = all(_alike(one, other) for one, other in zip(now, healthy, strict=True))
            found.append((said if same else None, same))
        return found

    def expected_volts(self, spot: Spot) -> tuple[float, float, float] | None:
        """Return (nominal, least, most) of a place over ground in health, V; None: not known."""
        said: ExpectedVolts | None = self.bench.volts(spot.net)
        if said is None:
            return None
        low = said.nominal * (1 - RAIL_SPREAD) if said.min is None else said.min
        high = said.nominal * (1 + RAIL_SPREAD) if said.max is None else said.max
        if low == high:  # a file states one figure, not that nothing may differ from it
            low, high = said.nominal * (1 - RAIL_SPREAD), said.nominal * (1 + RAIL_SPREAD)
        return said.nominal, low, high

    def _ties(self, spot: Spot) -> list[tuple[str, str]]:
        ground = self.bench.ground
        pulls = [pull.to for pull in self.circuit.pulls.get(spot.net, ()) if pull.fitted]
        known = self._base[_NOMINAL].group
        to = [*([ground] if ground is not None else []), *(n for n in pulls if n in known)]
        return [(spot.node, net) for net in (*to, spot.net)]

    def is_supply(self, net: str) -> bool:
        """Return whether the net is a rail or a ground."""
        rail = self.circuit.rails.get(net)
        return rail is not None and rail.kind in {NetKind.RAIL, NetKind.GROUND}

    def _is_ground(self, net: str) -> bool:
        rail = self.circuit.rails.get(net)
        return rail is not None and rail.kind is NetKind.GROUND

    def _diode_pairs(self, faults: Sequence[Fault]) -> set[frozenset[str]]:
        opened, gone, _, _ = _sorted_out(faults)
        found = set()
        for piece in self._pieces:
            if piece.diode and self._refdes[piece.part] not in gone:
                found.add(frozenset({piece.a, piece.b}))
                pads = {piece.a.lstrip(_MARK), piece.b.lstrip(_MARK)}
                nets = frozenset(self.touched.joints[p].net or "" for p in pads
                                 if p in self.touched.joints)  # fmt: skip
                if pads.isdisjoint(opened) and len(nets) == 2:
                    found.add(nets)
        return found

    def _farads(
        self,
        nodes: Sequence[tuple[str, str]],
        faults: Sequence[Fault],
        number: Mapping[str, int],
    ) -> list[tuple[float, bool]]:
        _, gone, wrong, _ = _sorted_out(faults)
        sums: dict[frozenset[int | str], tuple[float, bool]] = {}

        def ends(a: str, b: str) -> frozenset[int | str]:
            # a terminal that nothing joins has no number: it is a node of its own
            return frozenset({number.get(a, a), number.get(b, b)})

        def add(a: str, b: str, farads: float, class_2: bool) -> None:
            key = ends(a, b)
            if len(key) == 2:
                before = sums.get(key, (0.0, False))
                sums[key] = before[0] + farads, before[1] or class_2

        owners = set(self._owners)
        for item in self._whole.capacitors:
            if item.part not in owners:
                add(item.a, item.b, item.farads, item.class_2)
        for piece in self._pieces:
            ref = self._refdes[piece.part]
            if piece.farads is not None and ref not in gone:
                add(piece.a, piece.b, wrong.get(ref, piece.farads), piece.class_2)
        return [sums.get(ends(a, b), (0.0, False)) for a, b in nodes]


#: Marks a terminal's node, so that no net has its name.
_MARK: Final = "\x00"


def _terminal(pad: str) -> str:
    return _MARK + pad


def _softened(edge: Edge) -> Edge:
    return Edge(edge.a, edge.b, 0.0) if edge.ohms <= THROUGH_OHMS else edge


def _alike(one: float, other: float) -> bool:
    if math.isinf(one) or math.isinf(other):
        return one == other
    return abs(one - other) <= 0.2 * max(one, other, 1.0)


def _sorted_out(
    faults: Sequence[Fault],
) -> tuple[set[str], set[str], dict[str, float], list[tuple[str, ...]]]:
    """Return open joints and wires, missing parts, wrong values by refdes, shorted nets."""
    opening = {FaultKind.OPEN_JOINT, FaultKind.OPEN_WIRE}
    opened = {f.places[0] for f in faults if f.kind in opening}
    gone = {f.places[0] for f in faults if f.kind is FaultKind.MISSING}
    wrong = {f.places[0]: f.value or 0.0 for f in faults if f.kind is FaultKind.WRONG_VALUE}
    return opened, gone, wrong, [f.nets for f in faults if f.nets]
