"""What a meter would show at the touched places under each fault.

The board without the touched parts is folded to the nodes that matter; each fault is then a few
links and resistors more or less. A touched pin has a terminal of its own (the end cap as
soldered), joined to its net by a joint: a probe at `R12.1` means that terminal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import cached_property
from typing import Final

from nettrace.bench.faults import Fault, FaultKind, Touched, close_pads, touched
from nettrace.bench.job import JobState
from nettrace.bench.wire import find_pad, pad_name
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import pairs_of
from nettrace.electrical.expected import MeteredBoard
from nettrace.electrical.network import Network, Resistor, fold, links
from nettrace.electrical.power_off import Elements, elements_of, is_exact
from nettrace.errors import NothingMatches
from nettrace.model.board import Pin
from nettrace.model.find import find_nets

#: A resistor up to this is no obstacle to a capacitance meter, Ω (common practice, no source).
THROUGH_OHMS: Final = 1.0
#: Bounds this close (as a fraction) are one figure.
SAME: Final = 1e-6
#: Resistances that differ by less than this (as a fraction) tie a place as before.
ALIKE: Final = 0.2
#: A rail this far down to ground is taken to be held at 0 V by it, Ω.
DEAD_OHMS: Final = 3.0
#: Most that a bridge or a shorted part has, Ω (common practice, no source).
BRIDGE_OHMS: Final = 1.0
#: A rail's voltage where no file states its limits, as a fraction (common practice, no source).
RAIL_SPREAD: Final = 0.05

_DIODES: Final = frozenset({Kind.DIODE, Kind.ESD, Kind.ZENER, Kind.LED})

#: A voltage: nominal, least, most, V.
VoltsRange = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is known of a reading: bounds of Ω, farads, volts; `supply` between supply and ground.

    `exact`: nothing unknown can change the reading. `sure_volts` False: the voltage may be
    anything.
    """

    ohms: float
    at_most: float
    at_least: float
    exact: bool
    supply: bool
    farads: float = 0.0
    class_2: bool = False
    diode: bool = False
    volts: VoltsRange | None = None
    sure_volts: bool = True


@dataclass(frozen=True, slots=True)
class Spot:
    """A place for a probe: the words, the node it stands for, its net, its pad if it is one."""

    name: str
    node: str
    net: str
    pad: str = ""


Pair = tuple[Spot, Spot]


class _Bound(Enum):
    """The networks that are solved for each fault."""

    NOMINAL = auto()
    MOST = auto()  # every value at the top of its tolerance
    LEAST = auto()  # at the bottom, unknown parts' pins joined
    JOINED = auto()  # nominal, unknown parts' pins joined
    SOFT = auto()  # nominal, with what a capacitance meter sees through as links


@dataclass(frozen=True, slots=True)
class _Piece:
    """A conducting way inside a touched part, between two of its terminals, Ω or F."""

    refdes: str
    a: str
    b: str
    ohms: tuple[float, float, float] | None = None  # nominal, highest, lowest
    farads: float | None = None
    class_2: bool = False
    diode: bool = False


class _Changes:
    """What faults change: open joints and wires, parts gone, wrong values, nets that are one."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        opening = {FaultKind.OPEN_JOINT, FaultKind.OPEN_WIRE}
        self.opened = {fault.places[0] for fault in faults if fault.kind in opening}
        self.gone = {fault.at for fault in faults if fault.kind is FaultKind.MISSING}
        wrong = (fault for fault in faults if fault.kind is FaultKind.WRONG_VALUE)
        self.wrong = {fault.at: fault.value or 0.0 for fault in wrong}
        self.shorts = [fault.nets for fault in faults if fault.nets]


class Predictor:
    """The board as repaired, and with any faults; what was worked out is kept.

    Args:
        circuit: the board.
        state: the job, for what is touched and absent, and the places that its readings name.
    """

    def __init__(self, circuit: Circuit, state: JobState) -> None:
        self.circuit = circuit
        self.touched: Touched = touched(circuit, state)
        self._state = state
        #: Keys of the parts whose elements stand apart: touched ones, and owners of open joints.
        self._owners = dict.fromkeys(
            [*self.touched.parts, *(pin.part for pin in self.touched.joints.values())]
        )
        pads = [(find_pad(circuit, a), find_pad(circuit, b)) for a, b in state.bridges]
        self.bridges = tuple((a, b) for a, b in pads if a is not None and b is not None)
        #: Terminal nodes by the pads that have one.
        self._terminal = {pad: f"\x00{pad}" for pad in self.touched.joints}
        self._wires = [(w.ends, w.across) for w in self.touched.wires if w.across is not None]

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
            (net,) = find_nets(self.circuit.board, words)
        except (NothingMatches, ValueError):  # none, or several
            return None
        return Spot(net.name, net.name, net.name)

    def pair(self, at: str, to: str) -> Pair | None:
        """Return the two places that words name, None where one of them is none."""
        first, second = self.spot(at), self.spot(to)
        return (first, second) if first is not None and second is not None else None

    def _node(self, pin: Pin) -> str:
        return self._terminal.get(pad_name(self.circuit, pin), pin.net or "")

    def is_supply(self, net: str) -> bool:
        """Return whether the net is a rail or a ground."""
        rail = self.circuit.rails.get(net)
        return rail is not None and rail.kind in {NetKind.RAIL, NetKind.GROUND}

    # -- the board around the touched parts ---------------------------------------------------

    @cached_property
    def board(self) -> MeteredBoard:
        """The board as it stands, for voltages; a wire in place of a lost part is 0 Ω there."""
        absent = self.touched.absent
        wired = {key: 0.0 for w in self.touched.wires for key in w.of if key in absent}
        return MeteredBoard(self.circuit, absent - set(wired), changes=wired)

    @cached_property
    def _whole(self) -> Elements:
        return elements_of(self.circuit, self.touched.absent)

    @cached_property
    def _ports(self) -> list[str]:
        """The nets that a fault, a probe or a reading may touch."""
        parts = self.circuit.board.part_by_key
        near = [pin.net or "" for pin in self.touched.joints.values()]
        near += [other.net or "" for _, other, _ in close_pads(self.circuit, self.touched)]
        words = (word for reading in self._state.readings for word in (reading.at, reading.to))
        near += [spot.net for word in words if (spot := self.spot(word))]
        ground = self.board.ground
        names = [
            *(net for key in self._owners for net in parts[key].nets),
            *(pin.net or "" for ends in self.bridges for pin in ends),
            *(net for _, nets in self._wires for net in nets),
            *near,
            *(pull.to for net in near for pull in self.circuit.pulls.get(net, ())),
            *([ground] if ground is not None else []),
        ]
        return list(dict.fromkeys(names))

    @cached_property
    def _folded(self) -> Mapping[_Bound, Network]:
        """The board without the touched parts, as its ports see it."""
        rest = [e for e in self._whole.resistances if e.part not in self._owners]
        joins = links(nets for part, nets in self._whole.unknown if part not in self._owners)
        nominal, most, least = (
            [Resistor("", e.a, e.b, getattr(e, bound)) for e in rest]
            for bound in ("ohms", "at_most", "at_least")
        )
        resistors = {
            _Bound.NOMINAL: nominal,
            _Bound.MOST: most,
            _Bound.LEAST: [*least, *joins],
            _Bound.JOINED: [*nominal, *joins],
            _Bound.SOFT: map(_softened, nominal),
        }
        return {bound: fold(own, self._ports) for bound, own in resistors.items()}

    @cached_property
    def _pieces(self) -> list[_Piece]:
        """The ways inside the touched parts."""
        found: list[_Piece] = []
        for part in (self.circuit.board.part_by_key[key] for key in self._owners):
            kind = self.circuit.kinds[part.key]
            if not kind.fitted:
                continue
            at = {pin.net: self._node(pin) for pin in reversed(part.pins)}
            ends_of = {
                (pair.first.net, pair.second.net): (self._node(pair.first), self._node(pair.second))
                for pair in reversed(pairs_of(part, kind))
            }
            own = [
                _Piece(part.refdes, *ends_of[r.a, r.b], (r.ohms, r.at_most, r.at_least))
                for r in self._whole.resistances
                if r.part == part.key and (r.a, r.b) in ends_of
            ]
            own += [
                _Piece(part.refdes, at[c.a], at[c.b], farads=c.farads, class_2=c.class_2)
                for c in self._whole.capacitors
                if c.part == part.key
            ]
            if not own and kind.kind in _DIODES and len(part.nets) == 2:
                first, second = (at[net] for net in part.nets)
                own = [_Piece(part.refdes, first, second, diode=True)]
            found += own
        return found

    @cached_property
    def _own_unknown(self) -> list[tuple[str, tuple[str, ...]]]:
        """(refdes, terminals) of touched parts that may conduct in ways nobody knows."""
        parts = self.circuit.board.part_by_key
        own = [parts[key] for key, _ in self._whole.unknown if key in self._owners]
        return [
            (
                part.refdes,
                tuple(dict.fromkeys(self._node(p) for p in part.pins if p.net is not None)),
            )
            for part in own
        ]

    # -- with faults --------------------------------------------------------------------------

    def _network(self, changes: _Changes, bound: _Bound) -> Network:
        """Return the folded board with the touched parts, joints, bridges and wires."""
        shorted = BRIDGE_OHMS if bound is _Bound.MOST else 0.0
        added = links(
            [
                *((self._terminal[pad], pin.net or "")
                  for pad, pin in self.touched.joints.items() if (pad,) not in changes.opened),
                *((a.net or "", b.net or "") for a, b in self.bridges),
                *(nets for ends, nets in self._wires if ends not in changes.opened),
                *(nodes for refdes, nodes in self._own_unknown
                  if bound in {_Bound.LEAST, _Bound.JOINED} and refdes not in changes.gone),
            ]
        )  # fmt: skip
        added += [Resistor("", first, second, shorted) for first, second, *_ in changes.shorts]
        which = {_Bound.MOST: 1, _Bound.LEAST: 2}.get(bound, 0)
        for piece in self._pieces:
            if piece.ohms is None or piece.refdes in changes.gone:
                continue
            ohms = piece.ohms[which]
            if piece.refdes in changes.wrong:
                share = ohms / piece.ohms[0] if piece.ohms[0] else 1.0
                ohms = changes.wrong[piece.refdes] * share
            own = Resistor(piece.refdes, piece.a, piece.b, ohms)
            added.append(_softened(own) if bound is _Bound.SOFT else own)
        return Network((*self._folded[bound].resistors, *added))

    def _solve(
        self, nodes: Sequence[tuple[str, str]], changes: _Changes, bound: _Bound
    ) -> list[float]:
        network = self._network(changes, bound)
        return [network.resistance(a, b) for a, b in nodes]

    def outlooks(self, pairs: Sequence[Pair], faults: Sequence[Fault] = ()) -> list[Outlook]:
        """Return what each pair of places would show with these faults, power off."""
        changes = _Changes(faults)
        nodes = [(a.node, b.node) for a, b in pairs]
        figures = zip(
            *(
                self._solve(nodes, changes, bound)
                for bound in (_Bound.NOMINAL, _Bound.MOST, _Bound.LEAST, _Bound.JOINED)
            ),
            strict=True,
        )
        soft = self._network(changes, _Bound.SOFT)
        supplies = {soft.node(net) for net in self._ports if self.is_supply(net)}
        farads = self._farads(soft, changes)
        diodes = self._diode_pairs(changes)
        return [
            Outlook(
                ohms=nominal,
                at_most=max(nominal, most),
                at_least=min(nominal, least),
                exact=is_exact(nominal, joined, SAME),
                supply=soft.node(a.node) in supplies and soft.node(b.node) in supplies,
                farads=across,
                class_2=class_2,
                diode=not diodes.isdisjoint(
                    {frozenset({a.node, b.node}), frozenset({a.net, b.net})}
                ),
            )
            for (a, b), (nominal, most, least, joined) in zip(pairs, figures, strict=True)
            for across, class_2 in [
                farads.get(frozenset({soft.node(a.node), soft.node(b.node)}), (0.0, False))
            ]
        ]

    def _farads(
        self, soft: Network, changes: _Changes
    ) -> Mapping[frozenset[int | str], tuple[float, bool]]:
        """Return the capacitance right between two nodes, F, and whether any is class 2."""
        around = [c for c in self._whole.capacitors if c.part not in self._owners]
        found = [(c.a, c.b, c.farads, c.class_2) for c in around]
        found += [
            (p.a, p.b, changes.wrong.get(p.refdes, p.farads), p.class_2)
            for p in self._pieces
            if p.farads is not None and p.refdes not in changes.gone
        ]
        sums: dict[frozenset[int | str], tuple[float, bool]] = {}
        for a, b, farads, class_2 in found:
            pair = frozenset({soft.node(a), soft.node(b)})
            if len(pair) == 2:
                total, any_class_2 = sums.get(pair, (0.0, False))
                sums[pair] = total + farads, any_class_2 or class_2
        return sums

    def _diode_pairs(self, changes: _Changes) -> set[frozenset[str]]:
        """Return the pairs of nodes, and of nets, that a diode lies between."""
        joint = {self._terminal[pad]: (pad, pin) for pad, pin in self.touched.joints.items()}
        found = set()
        for piece in self._pieces:
            if piece.diode and piece.refdes not in changes.gone:
                found.add(frozenset({piece.a, piece.b}))
                joints = [joint[node] for node in (piece.a, piece.b) if node in joint]
                nets = frozenset(pin.net or "" for _, pin in joints)
                if len(nets) == 2 and not any((pad,) in changes.opened for pad, _ in joints):
                    found.add(nets)
        return found

    # -- power on -----------------------------------------------------------------------------

    def expected_volts(self, spot: Spot) -> VoltsRange | None:
        """Return what stands at a place over ground in health, V; None: not known."""
        said = self.board.volts(spot.net)
        if said is None:
            return None
        low = said.nominal * (1 - RAIL_SPREAD) if said.min is None else said.min
        high = said.nominal * (1 + RAIL_SPREAD) if said.max is None else said.max
        if low == high:  # a file states one figure, not that nothing may differ from it
            low, high = said.nominal * (1 - RAIL_SPREAD), said.nominal * (1 + RAIL_SPREAD)
        return said.nominal, low, high

    def volts(
        self, pairs: Sequence[Pair], faults: Sequence[Fault] = ()
    ) -> list[tuple[VoltsRange | None, bool]]:
        """Return the voltage of each pair's first place over its second, a ground, and how sure.

        Where a fault has changed how the place is tied to ground or to what pulls it, the voltage
        may be anything.
        """
        found: list[tuple[VoltsRange | None, bool]] = []
        for spot, other in pairs:
            said, ground = self.expected_volts(spot), self.board.ground
            if said is None or ground is None or not self.board.is_ground(other.net):
                found.append((None, False))
                continue
            pulls = [pull.to for pull in self.circuit.pulls.get(spot.net, ()) if pull.fitted]
            ties = [(spot.node, net) for net in (ground, *pulls, spot.net)]
            now = self._solve(ties, _Changes(faults), _Bound.NOMINAL)
            if now[0] <= DEAD_OHMS and said[0] != 0:
                found.append(((0.0, 0.0, 0.05), True))
                continue
            healthy = self._solve(ties, _Changes(()), _Bound.NOMINAL)
            same = all(
                one == before or abs(one - before) <= ALIKE * max(one, before, 1.0) < math.inf
                for one, before in zip(now, healthy, strict=True)
            )
            found.append((said if same else None, same))
        return found


def _softened(resistor: Resistor) -> Resistor:
    return resistor._replace(ohms=0.0) if resistor.ohms <= THROUGH_OHMS else resistor
