"""Names: natural order, matching, nearest names."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from nettrace.model.names import (
    decode_escapes,
    match_names,
    natural_key,
    nearest_names,
)

NAMES = ["SDA", "sda", "SCL", "+3V3", "/mcu/SDA_EXT", "Net-(R1-Pad1)", "D[0]", "D[1]"]


def test_exact_beats_case_beats_wildcard() -> None:
    assert match_names("SDA", NAMES) == ("SDA",)
    assert match_names("Scl", NAMES) == ("SCL",)
    assert match_names("s?a", NAMES) == ("sda",)
    assert match_names("*SDA*", NAMES) == ("/mcu/SDA_EXT", "SDA")
    assert match_names("nothing", NAMES) == ()


def test_brackets_are_letters_not_character_classes() -> None:
    assert match_names("D[*]", NAMES) == ("D[0]", "D[1]")
    assert match_names("D[0]", NAMES) == ("D[0]",)


def test_nearest_names_offer_the_likely_slip() -> None:
    assert nearest_names("SDAA", NAMES)[0] in {"SDA", "sda"}
    assert nearest_names("SDA_EXT", NAMES)[0] == "/mcu/SDA_EXT"
    assert nearest_names("zzzzzz", NAMES) == ()


@given(st.lists(st.text(max_size=8)))
def test_natural_order_is_total_and_stable(names: list[str]) -> None:
    once = sorted(set(names), key=natural_key)
    turned = list(dict.fromkeys(reversed(names)))
    assert sorted(turned, key=natural_key) == once
    assert len({natural_key(name) for name in once}) == len(once)


@given(st.text(alphabet="ab{}/slahq", max_size=20))
def test_decoding_leaves_other_braces_alone(name: str) -> None:
    if "{slash}" not in name:
        assert decode_escapes(name) == name


def test_sorting_takes_numbers_of_any_length() -> None:
    assert sorted(["R" + "9" * 6000, "R2", "R" + "1" * 2000], key=natural_key)[0] == "R2"
