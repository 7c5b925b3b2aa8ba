from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.property.settings.worlds import TYPES, values

from rotorwright.settings.comparing import Likeness, compare_settings, read_in_types_of
from rotorwright.settings.values import SettingType, Value

EQUAL, DIFFERENT, NOT_COMPARABLE = Likeness.EQUAL, Likeness.DIFFERENT, Likeness.NOT_COMPARABLE
UINT8, INT16, FLOAT, UINT64 = SettingType.UINT8, SettingType.INT16, SettingType.FLOAT, SettingType.UINT64

SETTINGS = st.dictionaries(st.sampled_from("ABCD"), TYPES.flatmap(values) | st.text("01.-+eonf").map(Value.of_text))


def text(said: str) -> Value:
    return Value.of_text(said)


def likeness(before: Value, after: Value) -> Likeness:
    return compare_settings({"A": before}, {"A": after})[0].likeness


def test_every_name_of_either_side_is_told_once_in_the_order_of_names() -> None:
    found = compare_settings({"B": text("1"), "C": text("x")}, {"A": text("1"), "B": text("1")})
    assert [(each.name, each.likeness) for each in found] == [
        ("A", Likeness.ONLY_AFTER),
        ("B", EQUAL),
        ("C", Likeness.ONLY_BEFORE),
    ]


def test_names_that_differ_in_case_are_two_settings() -> None:
    assert len(compare_settings({"a": text("1")}, {"A": text("1")})) == 2


@pytest.mark.parametrize(
    ("said", "type_", "number", "expected"),
    [
        ("7", UINT8, 7, EQUAL),
        ("007", UINT8, 7, EQUAL),
        ("7.0", UINT8, 7, EQUAL),
        ("7.5", UINT8, 7, DIFFERENT),
        ("+7", UINT8, 7, EQUAL),
        ("8", UINT8, 7, DIFFERENT),
        ("300", UINT8, 7, DIFFERENT),
        ("-7", INT16, -7, EQUAL),
        ("0.120", FLOAT, 0.12, EQUAL),
        ("1.2e-1", FLOAT, 0.12, EQUAL),
        ("0.119999997", FLOAT, 0.12, EQUAL),
        ("0.1200001", FLOAT, 0.12, DIFFERENT),
        ("on", UINT8, 1, EQUAL),
        ("off", UINT8, 1, DIFFERENT),
        ("off", UINT8, 0, EQUAL),
        ("18446744073709551615", UINT64, 2**64 - 1, EQUAL),
        ("inf", FLOAT, float("inf"), EQUAL),
        ("owl", UINT8, 7, NOT_COMPARABLE),
        ("", UINT8, 0, NOT_COMPARABLE),
        ("1 2", UINT8, 1, NOT_COMPARABLE),
        ("1e999999999", UINT8, 1, NOT_COMPARABLE),
    ],
)
def test_a_text_beside_a_typed_value_is_compared_as_the_number_it_says(
    said: str, type_: SettingType, number: float, expected: Likeness
) -> None:
    assert likeness(text(said), Value.of(type_, number)) is expected
    assert likeness(Value.of(type_, number), text(said)) is expected


def test_two_texts_are_compared_sign_by_sign_and_two_typed_values_bit_by_bit() -> None:
    assert likeness(text("1.0"), text("1")) is DIFFERENT
    assert likeness(Value(FLOAT, 0x80000000), Value(FLOAT, 0)) is DIFFERENT
    assert likeness(Value(FLOAT, 0x7F800001), Value(FLOAT, 0x7F800001)) is EQUAL
    assert likeness(Value.of(UINT8, 1), Value.of(INT16, 1)) is DIFFERENT


def test_what_cannot_be_compared_says_why() -> None:
    [found] = compare_settings({"A": text("owl")}, {"A": Value.of(UINT8, 1)})
    assert found.words == "'owl' is no number, and the other side is a Uint8"


@given(SETTINGS, SETTINGS)
def test_comparing_the_other_way_round_says_the_same(one: dict[str, Value], two: dict[str, Value]) -> None:
    mirrored = {Likeness.ONLY_AFTER: Likeness.ONLY_BEFORE, Likeness.ONLY_BEFORE: Likeness.ONLY_AFTER}
    there = {each.name: each.likeness for each in compare_settings(one, two)}
    back = {each.name: mirrored.get(each.likeness, each.likeness) for each in compare_settings(two, one)}
    assert there == back
    assert set(there) == {*one, *two}


@given(SETTINGS)
def test_settings_are_equal_to_themselves(one: dict[str, Value]) -> None:
    assert all(each.likeness is EQUAL for each in compare_settings(one, one))


@pytest.mark.parametrize(
    ("said", "expected"),
    [("7", Value.of(UINT8, 7)), ("7.0", text("7.0")), ("300", text("300")), ("owl", text("owl")), ("on", text("on"))],
)
def test_a_text_is_read_in_a_known_type_only_where_it_says_just_that(said: str, expected: Value) -> None:
    assert read_in_types_of({"A": text(said)}, {"A": Value.of(UINT8, 0)}) == {"A": expected}


@pytest.mark.parametrize(("said", "is_read"), [("0.12", True), ("0.120", True), ("0.1200000001", False), ("inf", True)])
def test_a_decimal_is_read_as_a_float_only_where_nothing_is_rounded(said: str, is_read: bool) -> None:
    found = read_in_types_of({"A": text(said)}, {"A": Value.of(FLOAT, 0)})["A"]
    assert found.type.is_float is is_read


def test_on_and_off_of_a_flag_become_numbers_where_numbers_are_known() -> None:
    settings, flags = {"A": text("on"), "B": text("off"), "C": text("on")}, frozenset({"A", "B", "C"})
    known = {"A": Value.of(UINT8, 0), "B": Value.of(UINT8, 0), "C": text("off")}
    assert read_in_types_of(settings, known, flags=flags) == {
        "A": Value.of(UINT8, 1),
        "B": Value.of(UINT8, 0),
        "C": text("on"),
    }


def test_typed_values_and_unknown_names_stay_as_they_are() -> None:
    settings = {"A": Value.of(INT16, 3), "B": text("4")}
    assert read_in_types_of(settings, {"A": Value.of(UINT8, 0)}) == settings
