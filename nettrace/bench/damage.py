"""What a set of missing parts does together, in sentences: the whole damage, worst first."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from nettrace.circuit.absence import bus_name, judge_absence, listed
from nettrace.circuit.absence_supply import capacitors_behind
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind, Severity
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
    texts = [each.text for each in sorted(sentences, key=lambda each: each.severity.rank)]
    if len(texts) > MOST_SENTENCES:
        more = len(texts) - MOST_SENTENCES + 1
        texts = [*texts[: MOST_SENTENCES - 1], f"{more} smaller effects more; see each part."]
    return tuple(texts)


def _worst(circuit: Circuit, keys: Iterable[str]) -> Severity:
    return min((circuit.absence(key).severity for key in keys), key=lambda s: s.rank)


# -- pull-ups, by bus ---------------------------------------------------------------------------


def _pull_ups(circuit: Circuit, gone: Collection[str]) -> Iterator[_Sentence]:
    places = sorted({place for key in gone for place in circuit.pulled_buses.get(key, ())})
    for bus in (circuit.buses[place] for place in places):
        name = bus_name(bus)
        called = f"the {name}" if name.endswith(" bus") else name
        #: rail -> (line, net, parts) of each line's segment that has lost its last pull-up to it
        lost: dict[str, list[tuple[str, str, tuple[str, ...]]]] = {}
        for line in bus.lines:
            for net in line.nets or (line.net,):
                pulls = circuit.pulls.get(net, ())
                ups = [pull for pull in pulls if pull.direction == "up" and pull.fitted]
                cut = [p for p in ups if p.part in gone or any(key in gone for key in p.through)]
                parts = {key for pull in cut for key in (pull.part, *pull.through) if key in gone}
                names = tuple(sorted(parts, key=natural_key))
                left = dict.fromkeys(pull.part for pull in ups if pull not in cut)
                if cut and left:
                    text = (
                        f"{line.line} of {called} ({net}) loses a pull-up "
                        f"({', '.join(names)}) but keeps {', '.join(left)}: its edges get slower."
                    )
                    yield _Sentence(Severity.DEGRADES, text, names)
                elif cut:
                    to = " and ".join(dict.fromkeys(pull.to for pull in cut))
                    lost.setdefault(to, []).append((line.line, net, names))
        for to, lines in lost.items():
            told = tuple(dict.fromkeys(key for _, _, keys in lines for key in keys))
            said = list(dict.fromkeys(line for line, _, _ in lines))
            nets = ", ".join(net for line, net, _ in lines if net != line)
            whole = {1: "", 2: "Both "}.get(len(said), "All of ")
            loses = "loses its only pull-up" if len(said) == 1 else "lose their pull-ups"
            on = {net for _, net, _ in lines}
            board = circuit.board
            deaf = [key for key in bus.devices if not on.isdisjoint(board.part_by_key[key].nets)]
            effect = "nothing on it answers"
            if 0 < len(deaf) <= MOST_DEAF:
                effect = f"{_all(deaf)} {'does' if len(deaf) == 1 else 'do'} not answer"
            text = (
                f"{whole}{_all(said)} of {called}{f' ({nets})' if nets else ''} {loses} to {to} "
                f"({', '.join(told)}): {effect}."
            )
            yield _Sentence(Severity.BLOCKS, text, told)


def _all(names: Sequence[str]) -> str:
    return listed(names, len(names))


# -- decoupling, by rail ------------------------------------------------------------------------


def _decoupling(circuit: Circuit, gone: Collection[str]) -> list[_Sentence]:
    found: list[tuple[float, _Sentence]] = []
    capacitors = [key for key in gone if circuit.kinds[key].kind is Kind.CAPACITOR]
    touched = {net for key in capacitors for net in circuit.board.part_by_key[key].nets}
    for name in sorted(touched, key=natural_key):
        if circuit.net_kind(name) is not NetKind.RAIL:
            continue
        bank = circuit.bank(name).farads
        lost = tuple(key for key in bank if key in gone)
        if not lost:
            continue
        whole, missing = sum(bank.values()), sum(bank[key] for key in lost)
        names, all_lost = ", ".join(lost), len(lost) == len(bank)
        which = "all its own" if all_lost else f"{len(lost)} of {len(bank)}"
        text = f"{name} loses {which} capacitors ({names})"
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
    return [sentence for _, sentence in sorted(found, key=lambda item: item[0])]


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
        text = f"{net} has lost {_all(parts)}: {what}"
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
