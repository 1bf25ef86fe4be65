"""Names: natural order, matching, nearest names."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from nettrace.model.names import (
    decode_escapes,
    match_names,
    natural_key,
    natural_sorted,
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


@given(
    st.sets(
        st.one_of(
            st.from_regex(r"[RrCßA]{0,2}0{0,2}[0-9]{0,2}(~[12])?", fullmatch=True),
            st.text(alphabet="aA1٣0_/-ſK", max_size=6),
            st.from_regex(r"[Dd]\[0{0,1}[0-9٣]{0,3}[\]1]?", fullmatch=True),
        )
    )
)
def test_sorting_names_is_sorting_by_their_keys(names: set[str]) -> None:
    assert natural_sorted(names) == sorted(names, key=natural_key)


@given(
    st.sampled_from(["D[", "d", "ß", "", "٣"]),
    st.sets(st.from_regex(r"0{0,2}[0-9]{0,3}", fullmatch=True), min_size=1),
    st.sampled_from(["]", "]1", "٣", "", "_N"]),
)
def test_sorting_a_bus_is_sorting_by_its_keys(head: str, numbers: set[str], tail: str) -> None:
    names = {f"{head}{number}{tail}" for number in numbers}
    assert natural_sorted(names) == sorted(names, key=natural_key)


def test_sorting_takes_numbers_of_any_length() -> None:
    names = {"R" + "1" * 2000, "R" + "1" * 1999 + "0", "R2", "R" + "9" * 6000, "R" + "8" * 6000}
    assert natural_sorted(names) == sorted(names, key=natural_key)
