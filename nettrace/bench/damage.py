"""What a set of missing parts does together, in sentences: the whole damage, worst first."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from nettrace.circuit.absence import judge_absence
from nettrace.circuit.absence_supply import capacitors_behind
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

#: Sentences at most; what is left over is counted.
MOST_SENTENCES = 10
#: Devices that are named where they do not answer; of more, nothing does.
MOST_DEAF = 4
#: Kinds that carry a level to a signal, and kinds that stand on a signal without setting one.
_CARRIES = frozenset(
    {Kind.RESISTOR, Kind.THERMISTOR, Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE, Kind.JUMPER}
)
_PASSIVE_ENDS = frozenset({Kind.CAPACITOR, Kind.ESD, Kind.VARISTOR, Kind.TEST_POINT})


@dataclass(frozen=True, slots=True)
class _Sentence:
    """A sentence with how bad it is; `parts` are told of by it and need no other."""

    severity: Severity
    text: str
    parts: tuple[str, ...]


def describe_damage(circuit: Circuit, missing: Sequence[str]) -> tuple[str, ...]:
    """Return what the loss of all these parts means, worst first.

    Losses that belong together are told together: pull-ups by bus, decoupling by rail, what
    several lost parts did to one signal; then what each remaining part takes with it. () where
    nothing is known to suffer.

    Args:
        circuit: the board and what it means.
        missing: part keys, most important first; parts that are not fitted anyway are passed over.
    """
    gone = dict.fromkeys(key for key in missing if circuit.kinds[key].fitted)
    told: set[str] = set()
    sentences: list[_Sentence] = []
    for tell in (_pull_ups, _decoupling, _shared_signals):
        for sentence in tell(circuit, gone):
            if not told.issuperset(sentence.parts):
                sentences.append(sentence)
                told.update(sentence.parts)
    sentences += _single(circuit, [key for key in gone if key not in told], gone)
    sentences.sort(key=lambda sentence: sentence.severity.rank)
    texts = [sentence.text for sentence in sentences]
    if len(texts) > MOST_SENTENCES:
        more = len(texts) - MOST_SENTENCES + 1
        texts = [*texts[: MOST_SENTENCES - 1], f"{more} smaller effects more; see each part."]
    return tuple(texts)


def _worst(circuit: Circuit, keys: Iterable[str]) -> Severity:
    return min((circuit.absence(key).severity for key in keys), key=lambda s: s.rank)


def _and(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)


# -- pull-ups, by bus ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _LostLine:
    """A bus line's segment that has lost its last pull-up: line, net, parts."""

    line: str
    net: str
    parts: tuple[str, ...]


def _pull_ups(circuit: Circuit, gone: Collection[str]) -> Iterator[_Sentence]:
    places = sorted({place for key in gone for place in circuit.pulled_buses.get(key, ())})
    for bus in (circuit.buses[place] for place in places):
        lost: dict[str, list[_LostLine]] = {}
        for line in bus.lines:
            for net in line.nets or (line.net,):
                pulls = circuit.pulls.get(net, ())
                ups = [pull for pull in pulls if pull.direction == "up" and pull.fitted]
                cut = [p for p in ups if p.part in gone or any(key in gone for key in p.through)]
                if not cut:
                    continue
                parts = {key for pull in cut for key in (pull.part, *pull.through) if key in gone}
                names = tuple(sorted(parts, key=natural_key))
                left = tuple(dict.fromkeys(pull.part for pull in ups if pull not in cut))
                if left:
                    text = (
                        f"{line.line} of {_bus_words(bus)} ({net}) loses a pull-up "
                        f"({', '.join(names)}) but keeps {', '.join(left)}: its edges get slower."
                    )
                    yield _Sentence(Severity.DEGRADES, text, names)
                else:
                    to = " and ".join(dict.fromkeys(pull.to for pull in cut))
                    lost.setdefault(to, []).append(_LostLine(line.line, net, names))
        for to, lines in lost.items():
            yield _lost_lines(circuit, bus, to, lines)


def _lost_lines(circuit: Circuit, bus: Bus, to: str, lines: Sequence[_LostLine]) -> _Sentence:
    parts = tuple(dict.fromkeys(key for line in lines for key in line.parts))
    said = list(dict.fromkeys(line.line for line in lines))
    nets = [line.net for line in lines if line.net != line.line]
    which = {1: _and(said), 2: f"Both {_and(said)}"}.get(len(said), f"All of {_and(said)}")
    verb, their = ("loses", "its only pull-up") if len(said) == 1 else ("lose", "their pull-ups")
    where = f" ({', '.join(nets)})" if nets else ""
    on = {line.net for line in lines}
    deaf = [key for key in bus.devices if not on.isdisjoint(circuit.board.part_by_key[key].nets)]
    effect = "nothing on it answers"
    if 0 < len(deaf) <= MOST_DEAF:
        effect = f"{_and(deaf)} {'does' if len(deaf) == 1 else 'do'} not answer"
    text = f"{which} of {_bus_words(bus)}{where} {verb} {their} to {to} "
    return _Sentence(Severity.BLOCKS, f"{text}({', '.join(parts)}): {effect}.", parts)


def _bus_words(bus: Bus) -> str:
    protocol = bus.protocol.upper() if len(bus.protocol) <= 4 else bus.protocol
    if bus.name.casefold() == bus.protocol.casefold():
        return f"the {protocol} bus"
    if bus.protocol.casefold() in bus.name.casefold():
        return f"bus {bus.name}"
    return f"{protocol} bus {bus.name}"


# -- decoupling, by rail ------------------------------------------------------------------------


def _decoupling(circuit: Circuit, gone: Collection[str]) -> list[_Sentence]:
    found: list[tuple[float, _Sentence]] = []
    capacitors = [key for key in gone if circuit.kinds[key].kind is Kind.CAPACITOR]
    touched = {net for key in capacitors for net in circuit.board.part_by_key[key].nets}
    for name in sorted(touched, key=natural_key):
        if circuit.net_kind(name) is not NetKind.RAIL:
            continue
        bank = circuit.once("capacitors", name, partial(_capacitors, circuit, name))
        lost = tuple(key for key in bank if key in gone)
        if not lost:
            continue
        whole, missing = sum(bank.values()), sum(bank[key] for key in lost)
        names, all_lost = ", ".join(lost), len(lost) == len(bank)
        if all_lost:
            text = f"{name} loses all its own capacitors ({names})"
        else:
            text = f"{name} loses {len(lost)} of {len(bank)} capacitors ({names})"
        if whole:
            text += f", {engineering(missing, 'F', 3)}"
            text += "" if all_lost else f" of {engineering(whole, 'F', 3)}"
        around = circuit.surroundings
        behind = next((b for key in lost if (b := capacitors_behind(around, key, set(gone)))), None)
        if behind is not None and all_lost:
            link, conditional = behind
            text += f"; those behind {link} are left" + " if it is closed" * conditional
        share = missing / whole if whole else len(lost) / len(bank)
        found.append((-share, _Sentence(_worst(circuit, lost), f"{text}.", lost)))
    found.sort(key=lambda item: item[0])
    return [sentence for _, sentence in found]


def _capacitors(circuit: Circuit, rail: str) -> Mapping[str, float]:
    """Return the fitted capacitors from a rail to a ground with their capacitance, F."""
    bank: dict[str, float] = {}
    for pin in circuit.board.net_by_name[rail].pins:
        kind = circuit.kinds[pin.part]
        if kind.kind is not Kind.CAPACITOR or not kind.fitted:
            continue
        others = [net for net in circuit.board.part_by_key[pin.part].nets if net != rail]
        if len(others) == 1 and circuit.net_kind(others[0]) is NetKind.GROUND:
            bank[pin.part] = kind.farads or 0.0
    return bank


# -- signals, and single parts ------------------------------------------------------------------


def _shared_signals(circuit: Circuit, gone: Collection[str]) -> Iterator[_Sentence]:
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
    for net, parts in carriers.items():
        pins = circuit.board.net_by_name[net].pins
        left = {
            pin.part
            for pin in pins
            if pin.part not in gone and circuit.kinds[pin.part].kind not in _PASSIVE_ENDS
        }
        if len(parts) < 2 or len(left) != 1:
            continue
        (chip,) = left
        what = f"nothing but {chip} is left on it"
        absences = [circuit.absence(key) for key in parts]
        if all(absence.lost == "temperature" for absence in absences):
            what = f"{chip} no longer reads the temperature"
        text = f"{net} has lost {_and(parts)}: {what}"
        then = {absence.then for absence in absences}
        if len(then) == 1 and then != {""}:
            (tail,) = then
            same = what.startswith(f"{chip} ") and tail.startswith(f"{chip} ")
            text += f" and {tail.removeprefix(f'{chip} ')}" if same else f"; {tail}"
        yield _Sentence(_worst(circuit, parts), f"{text}.", tuple(parts))


def _single(circuit: Circuit, keys: Sequence[str], gone: Collection[str]) -> Iterator[_Sentence]:
    """Tell of each part's own effects; parts with the same effect share a sentence."""
    groups: dict[tuple[Severity, str], list[str]] = {}
    silent: list[str] = []
    for key in keys:
        # a part that nothing stands in for any more is missed more than alone, never less
        absence = circuit.absence(key)
        worse = judge_absence(circuit.surroundings, key, list(gone))
        if worse.severity.rank < absence.severity.rank:
            absence = worse
        if absence.severity is Severity.UNKNOWN:
            silent.append(key)
        elif absence.effects:
            effect = absence.effects[0].rstrip(".")
            groups.setdefault((absence.severity, effect), []).append(key)
    for (severity, effect), parts in groups.items():
        yield _Sentence(severity, f"{', '.join(parts)}: {effect}.", tuple(parts))
    if silent:
        names = ", ".join(sorted(silent, key=natural_key))
        text = f"{names}: what stops without {'it' if len(silent) == 1 else 'them'} is not known."
        yield _Sentence(Severity.UNKNOWN, text, tuple(silent))
