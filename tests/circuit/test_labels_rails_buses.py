"""Rails, grounds and buses of real boards against the labels of a careful reader.

The labels (README.md beside them) are the outside check; the test prints recall and precision per
board. A bus counts as found where protocol and most of its nets agree; the segments are counted
apart, net by net.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from msgspec.structs import replace

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
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


def unnamed(board: Board) -> tuple[Board, dict[str, str]]:
    """Return the board with every net renamed to a word that says nothing, and the way back."""
    names = {net.name: f"x{count}q" for count, net in enumerate(board.nets)}
    builder = BoardBuilder("unnamed", "test")
    for part in board.parts:
        draft = builder.part(part.refdes)
        draft.value, draft.package = part.value, part.package
        draft.description, draft.fitted = part.description, part.fitted
        for pin in part.pins:
            net = names[pin.net] if pin.net is not None else None
            draft.pin(pin.number, net, name=pin.name, electrical_type=pin.electrical_type)
    return builder.build(), {new: old for old, new in names.items()}


def test_structure_alone_finds_most_rails_and_invents_none(readings: list[Reading]) -> None:
    """With every net's name taken away the parts still tell the rails and the grounds."""
    rows = []
    for reading in readings:
        board, back = unnamed(reading.circuit.board)
        rails = {
            back[net]: replace(rail, net=back[net]) for net, rail in Circuit(board).rails.items()
        }
        found = {net for net, rail in rails.items() if rail.kind is NetKind.RAIL}
        grounds = {net for net, rail in rails.items() if rail.kind is NetKind.GROUND}
        want = {decode_escapes(net) for net in reading.labels["rails"]}
        either = {decode_escapes(net) for net in reading.labels["grounds_also"]}
        known = {decode_escapes(net) for net in reading.labels["grounds"]} | either
        assert grounds <= known
        assert grounds
        rows.append(
            (reading.name, Score(len(want & found), sorted(want - found), sorted(found - want)))
        )
    whole = show("rails without any net name", rows)
    assert whole.recall >= 0.8
    assert whole.precision >= FLOOR


def same_nets(base: Board, other: Board) -> dict[str, str]:
    """Return the net of `other` for each net of `base`, by shared pins (cut as IPC-D-356 cuts)."""
    there = {(p.part[:6], p.number[:4]): net.name for net in other.nets for p in net.pins}
    found = {}
    for net in base.nets:
        hits = Counter(there.get((p.part[:6], p.number[:4])) for p in net.pins)
        del hits[None]
        if hits:
            found[net.name] = hits.most_common(1)[0][0]
    return {one: two for one, two in found.items() if two is not None}


@pytest.mark.parametrize("suffix", [".net", ".d356"])
def test_the_other_files_of_a_board_tell_the_same_rails(
    readings: list[Reading], boards: Path, suffix: str
) -> None:
    """A netlist with pin names, and an IPC-D-356 file without values and with cut names."""
    rows = []
    for reading in readings:
        for path in sorted((boards / reading.name).glob(f"*{suffix}")):
            other = read_file(path)
            nets = same_nets(reading.circuit.board, other)
            rails = Circuit(other).rails
            found = {net for net, rail in rails.items() if rail.kind is NetKind.RAIL}
            want = {
                nets[name]
                for net in reading.labels["rails"]
                if (name := decode_escapes(net)) in nets
            }
            score = Score(len(want & found), sorted(want - found), sorted(found - want))
            rows.append((reading.name, score))
    whole = show(f"rails in {suffix} files", rows)
    assert len(rows) >= 4
    assert whole.recall >= 0.9
    assert whole.precision >= FLOOR


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
