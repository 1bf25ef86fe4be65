"""What holds for every board, whatever was said of it, in whatever order."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from nettrace.model.board import Board, Counts, Net, Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.find import find_nets, find_parts, find_pins
from nettrace.model.merge import merge_boards
from nettrace.model.names import match_names, natural_key
from nettrace.model.record import BoardRecord, board_of, record_of

#: Refdes that repeat, are blank, or differ in case or by the digits alone.
REFDES = st.sampled_from(["", "R1", "R2", "R10", "r1", "A/R1", "U1", "J~2", "REF**", "1", "*"])
NUMBERS = st.sampled_from(["1", "2", "10", "A1", "A10", "a1", "GND", "", "1*"])
NETS = st.sampled_from(["GND", "SDA", "sda", "N$2", "N$10", "/a/B", "X*", "", "+3V3"])
PLACES = st.integers(-400, 400).map(lambda tenths: tenths / 10)


@st.composite
def boards(draw: st.DrawFn) -> Board:
    """Draw a board with all that sources do: repeated refdes, pins on two nets, loose copper."""
    builder = BoardBuilder("made.net", "made")
    builder.name = draw(st.sampled_from(["", "Wren"]))
    for _ in range(draw(st.integers(0, 5))):
        part = builder.part(draw(REFDES))
        part.value = draw(st.sampled_from([None, "10k", "1 µF"]))
        part.fitted = draw(st.sampled_from([None, True, False]))
        if draw(st.booleans()):
            part.x, part.y, part.side = draw(PLACES), draw(PLACES), Side.TOP
        if draw(st.booleans()):
            part.properties["Field"] = draw(st.sampled_from(["a", "b c", "é"]))
        for _ in range(draw(st.integers(0, 4))):
            number, net = draw(NUMBERS), draw(st.one_of(st.none(), NETS))
            if draw(st.booleans()) and number:
                part.pin(number, net, name=draw(st.sampled_from([None, "DATA"])))
            if draw(st.booleans()):
                side = draw(st.sampled_from(list(Side)))
                part.pad(number, net, draw(PLACES), draw(PLACES), side, shape="rect", width=0.5)
                builder.pad_records += 1
    for name in draw(st.lists(NETS.filter(bool), max_size=3, unique=True)):
        builder.net(name, aliases=[f"{name}_alias"], volts=draw(st.sampled_from([None, 3.3])))
    return builder.build()


def facts(net: Net) -> tuple[object, ...]:
    return net.name, net.aliases, net.volts, [(pin.part, pin.number) for pin in net.pins]


@given(boards())
def test_a_pin_on_a_net_is_among_the_nets_pins_and_the_reverse(board: Board) -> None:
    of_parts = {id(pin): pin.net for part in board.parts for pin in part.pins if pin.net}
    of_nets = {id(pin): net.name for net in board.nets for pin in net.pins}
    assert of_parts == of_nets  # the very same records, each under its own net
    assert len(of_nets) == sum(len(net.pins) for net in board.nets)


@given(boards())
def test_keys_are_unique_and_the_lookups_hold_all(board: Board) -> None:
    assert list(board.part_by_key.items()) == [(part.key, part) for part in board.parts]
    assert list(board.net_by_name.items()) == [(net.name, net) for net in board.nets]
    pins = Counter((p.part, p.number, p.net) for part in board.parts for p in part.pins)
    assert not [pin for pin, count in pins.items() if count > 1]
    for part in board.parts:
        assert {pin.part for pin in part.pins} | {pad.part for pad in part.pads} <= {part.key}


@given(boards())
def test_everything_stands_in_natural_order(board: Board) -> None:
    assert [p.key for p in board.parts] == sorted(board.part_by_key, key=natural_key)
    assert [n.name for n in board.nets] == sorted(board.net_by_name, key=natural_key)
    for net in board.nets:
        order = [(natural_key(pin.part), natural_key(pin.number)) for pin in net.pins]
        assert order == sorted(order)


@given(boards())
def test_the_pads_of_a_pin_carry_its_number_and_its_net(board: Board) -> None:
    for part in board.parts:
        mine = [pad for pin in part.pins for pad in pin.pads]
        for pin in part.pins:
            assert {(pad.part, pad.number, pad.net) for pad in pin.pads} <= {
                (part.key, pin.number, pin.net)
            }
        numbered = [pad for pad in part.pads if pad.number and part.refdes]
        assert sorted(map(id, mine)) == sorted(map(id, numbered))  # each once, none left over
        if not part.refdes:
            assert part.pins == ()


@given(boards())
def test_the_record_loses_nothing(board: Board) -> None:
    kept = msgspec.json.decode(msgspec.json.encode(record_of(board)), type=BoardRecord)
    back = board_of(kept)
    assert back == board
    assert [facts(net) for net in back.nets] == [facts(net) for net in board.nets]
    assert list(back.part_by_key) == list(board.part_by_key)
    assert [p.properties for p in back.parts] == [p.properties for p in board.parts]
    of_pin = {id(pad) for part in back.parts for pin in part.pins for pad in pin.pads}
    assert of_pin <= {id(pad) for part in back.parts for pad in part.pads}


@given(boards())
def test_merged_with_itself_nothing_is_added_and_nothing_disputed(board: Board) -> None:
    merged = merge_boards([board, board])
    assert merged.conflicts == ()
    assert [part.key for part in merged.parts] == [part.key for part in board.parts]
    assert [part.value for part in merged.parts] == [part.value for part in board.parts]
    assert [facts(net) for net in merged.nets] == [facts(net) for net in board.nets]


@given(boards())
def test_the_counts_are_what_is_there(board: Board) -> None:
    refdes = {part.key: part.refdes for part in board.parts}
    pins = len({(refdes[pin.part], pin.number) for net in board.nets for pin in net.pins})
    nets = sum(1 for net in board.nets if net.pins)
    pads = sum(1 for _ in board.pads())
    assert board.counts() == Counts(len(board.parts), nets, pins, pads)
    # of several sources the board itself is counted, and loose copper makes no part there
    loose = [p for p in board.parts if not p.refdes and p.x is None and p.pads]
    several = replace(board, sources=board.sources * 2)
    assert several.counts() == Counts(len(board.parts) - len(loose), nets, pins, pads)


@given(boards())
def test_each_net_part_and_pin_is_found_by_its_own_name(board: Board) -> None:
    for net in board.nets:
        assert net in find_nets(board, net.name)
        for alias in net.aliases:
            assert net in find_nets(board, alias)
    for part in board.parts:
        if part.refdes:
            assert part in find_parts(board, part.refdes)
            assert part in find_parts(board, part.key)
        for pin in part.pins:
            assert pin in find_pins(board, f"{part.key}.{pin.number}")


@given(st.lists(st.text("Rr019~/*[ é", max_size=5), max_size=8, unique=True))
def test_natural_order_is_one_order_of_any_names(names: list[str]) -> None:
    for first, second in itertools.combinations(names, 2):
        assert natural_key(first) != natural_key(second)
    assert all(name in match_names(name, names) for name in names)
