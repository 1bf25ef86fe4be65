"""Rails, grounds and buses of real boards against the labels of a careful reader.

The labels (README.md beside them) are the outside check; the test prints recall and precision per
board. A bus counts as found where protocol and most of its nets agree; the segments are counted
apart, net by net.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind
from nettrace.model.names import decode_escapes
from nettrace.readers.registry import read_file

#: Every bus and rail is to be found and none invented; what no file says (the internal supply
#: pin of a chip, without a pin name) may be missed.
FLOOR = 0.95
#: Two voltages of one rail agree within this: dividers give 3.25 V where people say 3.3 V.
SAME_VOLTS = 0.05


class Score(NamedTuple):
    """Found and true, missed, invented."""

    hits: int
    missed: list[str]
    invented: list[str]

    @property
    def recall(self) -> float:
        return self.hits / max(1, self.hits + len(self.missed))

    @property
    def precision(self) -> float:
        return self.hits / max(1, self.hits + len(self.invented))

    def __str__(self) -> str:
        of = self.hits + len(self.missed)
        return f"recall {self.recall:.3f} precision {self.precision:.3f} (of {of})"


class Reading(NamedTuple):
    """A labelled board and what it means."""

    name: str
    labels: dict[str, Any]
    circuit: Circuit


@pytest.fixture(scope="module")
def readings(boards: Path) -> list[Reading]:
    found = []
    for path in sorted((boards / "labels").glob("*.json")):
        labels = json.loads(path.read_text("utf-8"))
        board = read_file(boards / labels["board"] / labels["file"])
        found.append(Reading(labels["board"], labels, Circuit(board)))
    assert found
    return found


def total(scores: list[Score]) -> Score:
    return Score(
        sum(score.hits for score in scores),
        [name for score in scores for name in score.missed],
        [name for score in scores for name in score.invented],
    )


def rail_score(reading: Reading) -> Score:
    rails = {decode_escapes(net) for net in reading.labels["rails"]}
    found = {net for net, rail in reading.circuit.rails.items() if rail.kind is NetKind.RAIL}
    return Score(len(rails & found), sorted(rails - found), sorted(found - rails))


def ground_score(reading: Reading) -> Score:
    grounds = {decode_escapes(net) for net in reading.labels["grounds"]}
    either = {decode_escapes(net) for net in reading.labels["grounds_also"]}
    found = {net for net, rail in reading.circuit.rails.items() if rail.kind is NetKind.GROUND}
    return Score(len(grounds & found), sorted(grounds - found), sorted(found - grounds - either))


def label_nets(label: dict[str, Any]) -> set[str]:
    return {decode_escapes(net) for nets in label["lines"].values() for net in nets}


def bus_nets(bus: Bus) -> set[str]:
    return {net for line in bus.lines for net in line.nets}


def matched(reading: Reading) -> tuple[list[tuple[dict[str, Any], Bus]], Score]:
    """Pair each labelled bus with the found one that shares most nets, at least half."""
    left = list(reading.circuit.buses)
    pairs, missed = [], []
    for label in reading.labels["buses"]:
        protocols = {label["protocol"], *(label.get("also") or ())}
        nets = label_nets(label)
        fits = [
            (len(nets & bus_nets(bus)) / len(nets | bus_nets(bus)), index)
            for index, bus in enumerate(left)
            if bus.protocol in protocols
        ]
        best = max(fits, default=(0.0, -1))
        if best[0] >= 0.5:
            pairs.append((label, left.pop(best[1])))
        else:
            missed.append(f"{label['protocol']} {sorted(nets)[0]}")
    return pairs, Score(len(pairs), missed, [f"{bus.protocol} {bus.name}" for bus in left])


def show(title: str, rows: list[tuple[str, Score]]) -> Score:
    whole = total([score for _, score in rows])
    print(f"\n{title}")
    for name, score in [*rows, ("all", whole)]:
        print(f"  {name:18} {score}")
        for what, names in (("missed", score.missed), ("invented", score.invented)):
            if names and name != "all":
                print(f"    {what}: {', '.join(names)}")
    return whole


def test_rails_found_and_none_invented(readings: list[Reading]) -> None:
    whole = show("rails", [(reading.name, rail_score(reading)) for reading in readings])
    assert whole.recall >= FLOOR
    assert whole.precision >= FLOOR


def test_grounds_found_and_none_invented(readings: list[Reading]) -> None:
    whole = show("grounds", [(reading.name, ground_score(reading)) for reading in readings])
    assert whole.recall == 1
    assert whole.precision == 1


def test_voltages_are_the_readers_or_unknown(readings: list[Reading]) -> None:
    """A voltage that is given is right; where the reader knows more, nettrace says unknown."""
    wrong, unknown, right = [], [], 0
    for reading in readings:
        for net, label in reading.labels["rails"].items():
            rail = reading.circuit.rails.get(decode_escapes(net))
            if rail is None:
                continue
            got = rail.volts.nominal if rail.volts is not None else None
            want = label["volts"]
            if got is None:
                unknown += [f"{reading.name} {net}"] if want is not None else []
                right += want is None
            elif want is None or abs(got - want) > SAME_VOLTS * want:
                wrong.append(f"{reading.name} {net}: {got} for {want} ({rail.volts})")
            else:
                right += 1
    print(f"\nvoltages: {right} right, {len(unknown)} not known, {len(wrong)} wrong")
    print("  not known:", ", ".join(unknown))
    assert not wrong
    assert len(unknown) <= 0.1 * right


def test_buses_found_and_none_invented(readings: list[Reading]) -> None:
    whole = show("buses", [(reading.name, matched(reading)[1]) for reading in readings])
    assert whole.recall >= FLOOR
    assert whole.precision >= FLOOR


def test_traps_are_in_no_bus(readings: list[Reading]) -> None:
    for reading in readings:
        nets = {net for bus in reading.circuit.buses for net in bus_nets(bus)}
        traps = {decode_escapes(net) for net in reading.labels["not_buses"]}
        assert not nets & traps, reading.name


def test_segments_devices_and_pull_ups(readings: list[Reading]) -> None:
    """Net by net, chip by chip, pull-up by pull-up over all buses that were found."""
    rows: dict[str, list[Score]] = {"segments": [], "devices": [], "pull-ups": []}
    for reading in readings:
        for label, bus in matched(reading)[0]:
            through = set(label.get("through") or ())
            ups = {p.part for line in bus.lines for p in line.pulls if p.direction == "up"}
            pairs = {
                "segments": (label_nets(label), bus_nets(bus)),
                # a shifter or an ESD array among the active parts is not wrong (labels' README)
                "devices": (set(label["devices"]), set(bus.devices) - through),
                "pull-ups": (set(label["pull_ups"]), ups),
            }
            for what, (want, got) in pairs.items():
                rows[what].append(Score(len(want & got), sorted(want - got), sorted(got - want)))
    print()
    for what, scores in rows.items():
        whole = total(scores)
        print(f"  {what:10} {whole}")
        assert whole.recall >= FLOOR, whole.missed
        assert whole.precision >= FLOOR, whole.invented
