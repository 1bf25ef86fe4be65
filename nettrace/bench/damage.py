"""What a set of missing parts does together, in sentences: the whole damage, worst first."""

from __future__ import annotations

from collections.abc import Sequence

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, BusLine, NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

__all__ = ["describe_damage"]

#: Sentences at most; what is left over is counted.
MOST_SENTENCES = 10


class _Sentence:
    """A sentence with how bad it is; `parts` are told of by it and need no other."""

    def __init__(self, severity: Severity, text: str, parts: Sequence[str]) -> None:
        self.severity = severity
        self.text = text
        self.parts = frozenset(parts)


def describe_damage(circuit: Circuit, missing: Sequence[str]) -> tuple[str, ...]:
    """Return what the loss of all these parts means, worst first.

    Losses that belong together are told together: pull-ups by bus, decoupling by rail; then what
    each remaining part takes with it. () where nothing is known to suffer.

    Args:
        circuit: the board and what it means.
        missing: part keys, most important first; parts that are not fitted anyway are passed over.
    """
    gone = [key for key in missing if circuit.kinds[key].fitted]
    sentences = [*_pull_ups(circuit, set(gone)), *_decoupling(circuit, set(gone))]
    told = frozenset[str]().union(*(sentence.parts for sentence in sentences))
    sentences += _single(circuit, [key for key in gone if key not in told])
    sentences.sort(key=lambda sentence: sentence.severity.rank)
    texts = [sentence.text for sentence in sentences]
    if len(texts) > MOST_SENTENCES:
        more = len(texts) - MOST_SENTENCES + 1
        texts = [*texts[: MOST_SENTENCES - 1], f"{more} smaller effects more; see each part."]
    return tuple(texts)


def _pull_ups(circuit: Circuit, gone: set[str]) -> list[_Sentence]:
    found: list[_Sentence] = []
    for bus in circuit.buses:
        lost: dict[str, list[tuple[BusLine, list[str]]]] = {}
        for line in bus.lines:
            ups = [pull for pull in line.pulls if pull.direction == "up" and pull.fitted]
            broken = [pull for pull in ups if pull.part in gone or gone.intersection(pull.through)]
            if not broken:
                continue
            names = sorted(
                {key for pull in broken for key in (pull.part, *pull.through) if key in gone},
                key=natural_key,
            )
            left = [pull for pull in ups if pull not in broken]
            if left:
                stays = ", ".join(dict.fromkeys(pull.part for pull in left))
                text = (
                    f"{line.line} of {_bus_words(bus)} loses a pull-up ({', '.join(names)}) but "
                    f"keeps {stays}: its edges get slower."
                )
                found.append(_Sentence(Severity.DEGRADES, text, names))
            else:
                to = " and ".join(dict.fromkeys(pull.to for pull in broken))
                lost.setdefault(to, []).append((line, names))
        for to, lines in lost.items():
            found.append(_lost_lines(bus, to, lines))
    return found


def _lost_lines(bus: Bus, to: str, lines: list[tuple[BusLine, list[str]]]) -> _Sentence:
    names = list(dict.fromkeys(name for _, keys in lines for name in keys))
    said = [line.line for line, _ in lines]
    which = said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
    both = {1: which, 2: f"Both {which}"}.get(len(said), f"All of {which}")
    verb, their = ("loses", "its only pull-up") if len(said) == 1 else ("lose", "their pull-ups")
    text = (
        f"{both} of {_bus_words(bus)} {verb} {their} to {to} ({', '.join(names)}): "
        f"the bus stays silent."
    )
    return _Sentence(Severity.BLOCKS, text, names)


def _bus_words(bus: Bus) -> str:
    protocol = bus.protocol.upper() if len(bus.protocol) <= 4 else bus.protocol
    if bus.protocol.casefold() in bus.name.casefold():
        return f"bus {bus.name}"
    return f"{protocol} bus {bus.name}"


def _decoupling(circuit: Circuit, gone: set[str]) -> list[_Sentence]:
    found: list[tuple[float, _Sentence]] = []
    for name, rail in circuit.rails.items():
        if rail.kind is NetKind.GROUND:
            continue
        bank = _capacitors(circuit, name)
        lost = [key for key in bank if key in gone]
        if not lost:
            continue
        whole = sum(bank.values())
        share = sum(bank[key] for key in lost) / whole if whole else len(lost) / len(bank)
        names = ", ".join(lost)
        if len(lost) == len(bank):
            text = f"{name} loses all its capacitors ({names})"
        else:
            text = f"{name} loses {len(lost)} of {len(bank)} capacitors ({names})"
        if whole:
            text += f", {engineering(sum(bank[key] for key in lost), 'F', 3)}"
            text += f" of {engineering(whole, 'F', 3)}" if len(lost) < len(bank) else ""
        text += "."
        worst = min((circuit.absence(key).severity for key in lost), key=lambda s: s.rank)
        found.append((-share, _Sentence(worst, text, lost)))
    found.sort(key=lambda item: item[0])
    return [sentence for _, sentence in found]


def _capacitors(circuit: Circuit, rail: str) -> dict[str, float]:
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


def _single(circuit: Circuit, keys: Sequence[str]) -> list[_Sentence]:
    """Return each part's own effects; parts with the same effect share a sentence."""
    groups: dict[tuple[Severity, str], list[str]] = {}
    silent: list[str] = []
    for key in keys:
        absence = circuit.absence(key)
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
