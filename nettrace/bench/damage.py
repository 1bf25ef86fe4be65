"""What a set of missing parts does together, in sentences: the whole damage, worst first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from nettrace.circuit.absence import judge_absence
from nettrace.circuit.absence_supply import capacitors_behind
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Absence, Bus, NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

__all__ = ["describe_damage"]

#: Sentences at most; what is left over is counted.
MOST_SENTENCES = 10


#: Kinds that carry a level to a signal, and kinds that stand on a signal without setting one.
_CARRIES = frozenset(
    {Kind.RESISTOR, Kind.THERMISTOR, Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE, Kind.JUMPER}
)
_PASSIVE_ENDS = frozenset({Kind.CAPACITOR, Kind.ESD, Kind.VARISTOR, Kind.TEST_POINT})


class _Sentence:
    """A sentence with how bad it is; `parts` are told of by it and need no other."""

    def __init__(self, severity: Severity, text: str, parts: Sequence[str]) -> None:
        self.severity = severity
        self.text = text
        self.parts = frozenset(parts)


def describe_damage(circuit: Circuit, missing: Sequence[str]) -> tuple[str, ...]:
    """Return what the loss of all these parts means, worst first.

    Losses that belong together are told together: pull-ups by bus, decoupling by rail, what
    several lost parts did to one signal; then what each remaining part takes with it. () where
    nothing is known to suffer.

    Args:
        circuit: the board and what it means.
        missing: part keys, most important first; parts that are not fitted anyway are passed over.
    """
    gone = [key for key in missing if circuit.kinds[key].fitted]
    together = [
        *_pull_ups(circuit, set(gone)),
        *_decoupling(circuit, set(gone)),
        *_shared_signals(circuit, gone),
    ]
    told: set[str] = set()
    sentences: list[_Sentence] = []
    for sentence in together:
        if not sentence.parts <= told:
            sentences.append(sentence)
            told |= sentence.parts
    sentences += _single(circuit, [key for key in gone if key not in told], gone)
    sentences.sort(key=lambda sentence: sentence.severity.rank)
    texts = [sentence.text for sentence in sentences]
    if len(texts) > MOST_SENTENCES:
        more = len(texts) - MOST_SENTENCES + 1
        texts = [*texts[: MOST_SENTENCES - 1], f"{more} smaller effects more; see each part."]
    return tuple(texts)


@dataclass(frozen=True, slots=True)
class _LostLine:
    """A bus line's segment that has lost its last pull-up: line, net, parts, rail."""

    line: str
    net: str
    parts: tuple[str, ...]
    to: str


def _pull_ups(circuit: Circuit, gone: set[str]) -> list[_Sentence]:
    found: list[_Sentence] = []
    places = sorted({place for key in gone for place in circuit.pulled_buses.get(key, ())})
    for bus in (circuit.buses[place] for place in places):
        lost: dict[str, list[_LostLine]] = {}
        for line in bus.lines:
            for net in line.nets or (line.net,):
                ups = [
                    pull
                    for pull in circuit.pulls.get(net, ())
                    if pull.direction == "up" and pull.fitted
                ]
                broken = [p for p in ups if p.part in gone or gone.intersection(p.through)]
                if not broken:
                    continue
                parts = {key for pull in broken for key in (pull.part, *pull.through)} & gone
                names = tuple(sorted(parts, key=natural_key))
                left = tuple(dict.fromkeys(pull.part for pull in ups if pull not in broken))
                if left:
                    text = (
                        f"{line.line} of {_bus_words(bus)} ({net}) loses a pull-up "
                        f"({', '.join(names)}) but keeps {', '.join(left)}: its edges get slower."
                    )
                    found.append(_Sentence(Severity.DEGRADES, text, names))
                else:
                    to = " and ".join(dict.fromkeys(pull.to for pull in broken))
                    lost.setdefault(to, []).append(_LostLine(line.line, net, names, to))
        found += [_lost_lines(circuit, bus, lines) for lines in lost.values()]
    return found


def _lost_lines(circuit: Circuit, bus: Bus, lines: Sequence[_LostLine]) -> _Sentence:
    parts = tuple(dict.fromkeys(key for line in lines for key in line.parts))
    said = list(dict.fromkeys(line.line for line in lines))
    nets = [line.net for line in lines if line.net != line.line]
    which = _and(said)
    which = {1: which, 2: f"Both {which}"}.get(len(said), f"All of {which}")
    verb, their = ("loses", "its only pull-up") if len(said) == 1 else ("lose", "their pull-ups")
    where = f" ({', '.join(nets)})" if nets else ""
    deaf = [
        key
        for key in bus.devices
        if not {line.net for line in lines}.isdisjoint(circuit.board.part_by_key[key].nets)
    ]
    effect = f"{_and(deaf[:4])} {'does' if len(deaf) == 1 else 'do'} not answer"
    if not deaf or len(deaf) > 4:
        effect = "nothing on it answers"
    text = f"{which} of {_bus_words(bus)}{where} {verb} {their} to {lines[0].to} "
    return _Sentence(Severity.BLOCKS, f"{text}({', '.join(parts)}): {effect}.", parts)


def _and(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)


def _bus_words(bus: Bus) -> str:
    protocol = bus.protocol.upper() if len(bus.protocol) <= 4 else bus.protocol
    if bus.name.casefold() == bus.protocol.casefold():
        return f"the {protocol} bus"
    if bus.protocol.casefold() in bus.name.casefold():
        return f"bus {bus.name}"
    return f"{protocol} bus {bus.name}"


def _shared_signals(circuit: Circuit, gone: Sequence[str]) -> list[_Sentence]:
    """Tell of signals that have lost all but one of the parts that meant something to them.

    Each lost part alone would have another effect than all of them together: what remains is a
    pin that nothing drives.
    """
    carriers: dict[str, list[str]] = {}
    for key in gone:
        if circuit.kinds[key].kind in _CARRIES:
            for net in circuit.board.part_by_key[key].nets:
                if circuit.net_kind(net) not in {NetKind.RAIL, NetKind.GROUND}:
                    carriers.setdefault(net, []).append(key)
    found: list[_Sentence] = []
    for net, parts in carriers.items():
        if len(parts) < 2:
            continue
        left = list(
            dict.fromkeys(
                pin.part
                for pin in circuit.board.net_by_name[net].pins
                if pin.part not in gone and circuit.kinds[pin.part].kind not in _PASSIVE_ENDS
            )
        )
        if len(left) != 1:
            continue
        absences = [circuit.absence(key) for key in parts]
        severity = min((absence.severity for absence in absences), key=lambda s: s.rank)
        blind = all(absence.lost == "temperature" for absence in absences)
        what = f"nothing but {left[0]} is left on it"
        what = f"{left[0]} no longer reads the temperature" if blind else what
        text = f"{net} has lost {_and(parts)}: {what}"
        then = {absence.then for absence in absences}
        if len(then) == 1 and then != {""}:
            tail = then.pop()
            own = f"{left[0]} "
            same = what.startswith(own) and tail.startswith(own)
            text += f" and {tail.removeprefix(own)}" if same else f"; {tail}"
        text += "."
        found.append(_Sentence(severity, text, parts))
    return found


def _decoupling(circuit: Circuit, gone: set[str]) -> list[_Sentence]:
    found: list[tuple[float, _Sentence]] = []
    touched = {
        net
        for key in gone
        if circuit.kinds[key].kind is Kind.CAPACITOR
        for net in circuit.board.part_by_key[key].nets
    }
    for name in sorted(touched, key=natural_key):
        if circuit.net_kind(name) is not NetKind.RAIL:
            continue
        bank = _capacitors(circuit, name)
        lost = [key for key in bank if key in gone]
        if not lost:
            continue
        whole = sum(bank.values())
        share = sum(bank[key] for key in lost) / whole if whole else len(lost) / len(bank)
        names = ", ".join(lost)
        if len(lost) == len(bank):
            text = f"{name} loses all its own capacitors ({names})"
        else:
            text = f"{name} loses {len(lost)} of {len(bank)} capacitors ({names})"
        if whole:
            text += f", {engineering(sum(bank[key] for key in lost), 'F', 3)}"
            text += f" of {engineering(whole, 'F', 3)}" if len(lost) < len(bank) else ""
        around = circuit.surroundings
        behind = next((b for key in lost if (b := capacitors_behind(around, key, gone))), None)
        if behind is not None and len(lost) == len(bank):
            link, conditional = behind
            text += f"; those behind {link} are left" + " if it is closed" * conditional
        text += "."
        worst = min((circuit.absence(key).severity for key in lost), key=lambda s: s.rank)
        found.append((-share, _Sentence(worst, text, lost)))
    found.sort(key=lambda item: item[0])
    return [sentence for _, sentence in found]


def _capacitors(circuit: Circuit, rail: str) -> Mapping[str, float]:
    """Return the fitted capacitors from a rail to a ground with their capacitance, F."""
    return circuit.once("capacitors", rail, lambda: _find_capacitors(circuit, rail))


def _find_capacitors(circuit: Circuit, rail: str) -> Mapping[str, float]:
    bank: dict[str, float] = {}
    for pin in circuit.board.net_by_name[rail].pins:
        kind = circuit.kinds[pin.part]
        if kind.kind is not Kind.CAPACITOR or not kind.fitted:
            continue
        others = [net for net in circuit.board.part_by_key[pin.part].nets if net != rail]
        if len(others) == 1 and circuit.net_kind(others[0]) is NetKind.GROUND:
            bank[pin.part] = kind.farads or 0.0
    return bank


def _together(circuit: Circuit, key: str, gone: Sequence[str]) -> Absence:
    """Return what follows from one part when the others are missing too.

    A part that nothing stands in for any more is missed more than alone, never less.
    """
    alone = circuit.absence(key)
    worse = judge_absence(circuit.surroundings, key, gone)
    return worse if worse.severity.rank < alone.severity.rank else alone


def _single(circuit: Circuit, keys: Sequence[str], gone: Sequence[str]) -> list[_Sentence]:
    """Return each part's own effects; parts with the same effect share a sentence."""
    groups: dict[tuple[Severity, str], list[str]] = {}
    silent: list[str] = []
    for key in keys:
        absence = _together(circuit, key, gone)
        if absence.severity is Severity.UNKNOWN:
            silent.append(key)
            continue
        if absence.effects:
            effect = absence.effects[0].rstrip(".")
            groups.setdefault((absence.severity, effect), []).append(key)
    found = [
        _Sentence(severity, f"{', '.join(parts)}: {effect}.", parts)
        for (severity, effect), parts in groups.items()
    ]
    if silent:
        names = ", ".join(sorted(silent, key=natural_key))
        text = f"{names}: what stops without {'it' if len(silent) == 1 else 'them'} is not known."
        found.append(_Sentence(Severity.UNKNOWN, text, silent))
    return found
