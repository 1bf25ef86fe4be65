"""Boards for the round trips of writers: any shape, any text that the drawn alphabet allows."""

from __future__ import annotations

from hypothesis import strategies as st

from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder

#: Texts of names and values: letters of several scripts, signs, what formats give a meaning.
NAMES = st.text("aAbBzZ019_-+/.~#$*&%(){}[]=:;,'\"\\ \tµΩé位", min_size=1, max_size=8).filter(
    lambda text: text.strip() == text
)
PLAIN_NAMES = st.from_regex(r"[A-Z][A-Z0-9_+/.-]{0,7}", fullmatch=True)
REFDES = st.from_regex(r"(?:R|C|L|D|Q|U|J|TP|FB|X|IC|V|LED)[1-9][0-9]?", fullmatch=True)
VALUES = st.one_of(
    st.none(), NAMES, st.sampled_from(["1M", "4k7", "100n", "0R", "10uF/16V", "DNP", "2.2 k", "1"])
)


@st.composite
def boards(draw: st.DrawFn, net_names: st.SearchStrategy[str] = NAMES) -> Board:
    """Draw a board with distinct refdes and pins numbered 1 to n, some of them on no net."""
    builder = BoardBuilder("made", "made")
    builder.name = draw(st.sampled_from(["", "Wren", "two  words"]))
    nets = draw(st.lists(net_names, min_size=1, max_size=6, unique=True))
    for refdes in draw(st.lists(REFDES, max_size=6, unique=True)):
        part = builder.part(refdes)
        part.value = draw(VALUES)
        part.package = draw(st.one_of(st.none(), NAMES))
        part.description = draw(st.one_of(st.none(), NAMES))
        part.fitted = draw(st.sampled_from([None, True, False]))
        if draw(st.booleans()):
            part.x, part.y = draw(st.integers(-9999, 9999)) / 100, 2.5
            part.angle, part.side = 90.0, draw(st.sampled_from([Side.TOP, Side.BOTTOM]))
        for number in range(1, draw(st.integers(0, 4)) + 1):
            net = draw(st.one_of(st.none(), st.sampled_from(nets)))
            name = draw(st.one_of(st.none(), NAMES))
            part.pin(str(number), net, name=name, electrical_type="passive" if name else None)
    return builder.build()


def groups(board: Board, prefix: str = "") -> set[frozenset[str]]:
    """Return the pins that hang together, two or more, whatever their nets are called.

    `prefix` is taken off refdes that have it, as SPICE decks put an X before them; then pins go
    by their position in the part, as decks have no pin numbers.
    """
    position = {
        (part.key, pin.number, pin.net): index
        for part in board.parts
        for index, pin in enumerate(part.pins, 1)
    }

    def name(refdes: str) -> str:
        bare = refdes.removeprefix(prefix) if prefix else refdes
        return bare if prefix and bare else refdes

    return {
        frozenset(
            f"{name(pin.part)}.{position[pin.part, pin.number, pin.net] if prefix else pin.number}"
            for pin in net.pins
        )
        for net in board.nets
        if len(net.pins) > 1
    }
