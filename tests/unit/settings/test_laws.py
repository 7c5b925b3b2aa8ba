from __future__ import annotations

from fractions import Fraction

import pytest
from tests.unit.settings.builders import FLOAT, INT8, INT16, INT32, UINT8, UINT16

from rotorwright.settings.laws import (
    SAME,
    BitField,
    Labels,
    Law,
    Linear,
    Reciprocal,
    convert,
    convert_exact,
    parse_rational,
    show_exact,
)
from rotorwright.settings.values import SettingType, Value

THOUSAND = Linear(Fraction(1000))


@pytest.mark.parametrize(
    ("text", "number"),
    [("10", Fraction(10)), ("-0.01", Fraction(-1, 100)), ("1/60", Fraction(1, 60)), ("-3/4", Fraction(-3, 4))],
)
def test_exact_numbers_are_read(text: str, number: Fraction) -> None:
    assert parse_rational(text) == number


@pytest.mark.parametrize(
    "text", ["", "1/0", "1e5", "0x10", "1/2/3", "1.5/2", " 1", "1,5", "inf", "1/-2", "9" * 31, "1_000"]
)
def test_what_is_no_exact_number_is_nothing(text: str) -> None:
    assert parse_rational(text) is None


@pytest.mark.parametrize(
    ("type_", "number", "law", "target", "text"),
    [
        (FLOAT, 0.12, THOUSAND, INT16, "120"),
        (FLOAT, 0.13, Linear(Fraction(100)), FLOAT, "13"),
        (INT16, 120, Linear(Fraction(1, 1000)), FLOAT, "0.12"),
        (UINT8, 3, Linear(Fraction(-2), Fraction(10)), INT8, "4"),
        (UINT16, 8000, Reciprocal(Fraction(1_000_000)), UINT16, "125"),
        (FLOAT, 0.5, Reciprocal(Fraction(1)), UINT8, "2"),
        (UINT8, 200, SAME, INT16, "200"),
        (UINT8, 200, SAME, FLOAT, "200"),
        (FLOAT, 7.0, SAME, UINT8, "7"),
        (UINT8, 1, Labels({0: 2, 1: 0}), INT8, "0"),
        (UINT8, 0b1101_1000, BitField((3, 4)), UINT8, "3"),
        (INT8, -1, BitField((6, 7)), UINT8, "3"),
    ],
)
def test_laws_give_the_exact_value(type_: SettingType, number: float, law: Law, target: SettingType, text: str) -> None:
    found = convert(Value.of(type_, number), law, target)
    assert found.value is not None
    assert (found.value.text, found.value.type, found.problem) == (text, target, "")


def test_a_float_that_stands_for_a_round_number_of_the_new_unit_is_that_number() -> None:
    """5 turns per minute are 0.083333336 turns per second, the float nearest to 5/60; going back must give 5."""
    there = convert(Value.of(UINT8, 5), Linear(Fraction(1, 60)), FLOAT).value
    assert there is not None
    back = convert(there, Linear(Fraction(60)), UINT8)
    assert back.value == Value.of(UINT8, 5)
    assert "not whole, but 5 gives the very same float" in back.words


def test_a_result_that_no_float_holds_says_how_far_the_nearest_is() -> None:
    found = convert(Value.of(UINT8, 1), Linear(Fraction(1, 3)), FLOAT)
    assert found.value == Value.of(FLOAT, 1 / 3)
    assert found.words == "the nearest 32-bit float is 0.33333334, 9.9e-09 away from the exact result"
    assert convert(Value.of(UINT8, 1), Linear(Fraction(1, 4)), FLOAT).words == ""


@pytest.mark.parametrize(
    ("value", "law", "target", "below", "above"),
    [
        (Value.of(FLOAT, 1.5), SAME, INT16, "1", "2"),
        (Value.of(FLOAT, -1.5), SAME, INT16, "-2", "-1"),
        (Value.of(FLOAT, -1.5), SAME, UINT8, None, "0"),
        (Value.of(FLOAT, 255.5), SAME, UINT8, "255", None),
        (Value.of(INT16, 300), SAME, UINT8, "255", None),
        (Value.of(INT16, -300), SAME, INT8, None, "-128"),
        (Value.of(UINT8, 7), Linear(Fraction(1, 2)), UINT8, "3", "4"),
        (Value.of(UINT8, 3), Reciprocal(Fraction(10)), UINT8, "3", "4"),
        (Value.of(FLOAT, 3e38), Linear(Fraction(10)), FLOAT, "3.4028235e+38", None),
        (Value.of(FLOAT, -3e38), Linear(Fraction(10)), FLOAT, None, "-3.4028235e+38"),
    ],
)
def test_what_has_no_exact_place_has_its_neighbours(
    value: Value, law: Law, target: SettingType, below: str | None, above: str | None
) -> None:
    found = convert(value, law, target)
    assert (found.value, found.problem) == (None, "not-exact")
    assert found.words
    assert [None if each is None else each.text for each in (found.below, found.above)] == [below, above]


@pytest.mark.parametrize(
    ("value", "law", "target", "problem"),
    [
        (Value(FLOAT, 0x7FC00000), THOUSAND, FLOAT, "no-number"),
        (Value(FLOAT, 0x7F800000), SAME, INT16, "no-number"),
        (Value.of(UINT8, 0), Reciprocal(Fraction(1)), FLOAT, "no-number"),
        (Value.of(FLOAT, 1), BitField((0,)), UINT8, "no-number"),
        (Value.of(UINT8, 9), Labels({0: 1}), UINT8, "no-label"),
        (Value.of(FLOAT, 0.5), Labels({0: 1}), UINT8, "no-label"),
        (Value(FLOAT, 0x7FC00000), Labels({0: 1}), UINT8, "no-label"),
        (Value.of(UINT8, 0), Labels({0: 300}), UINT8, "not-exact"),
        (Value.of(UINT8, 0xFF), BitField(tuple(range(8))), INT8, "not-exact"),
    ],
)
def test_what_no_law_can_carry_is_said_in_words(value: Value, law: Law, target: SettingType, problem: str) -> None:
    found = convert(value, law, target)
    assert (found.value, found.problem) == (None, problem)
    assert found.words


@pytest.mark.parametrize("bits", [0x7F800001, 0x7FC00000, 0xFF800000, 0x80000000, 0x00000001])
def test_the_same_law_in_the_same_type_keeps_every_bit(bits: int) -> None:
    assert convert(Value(FLOAT, bits), SAME, FLOAT).value == Value(FLOAT, bits)


def test_scaling_a_negative_zero_keeps_its_sign_as_the_factor_says() -> None:
    assert convert(Value(FLOAT, 0x80000000), THOUSAND, FLOAT).value == Value(FLOAT, 0x80000000)
    assert convert(Value(FLOAT, 0x80000000), Linear(Fraction(-1)), FLOAT).value == Value(FLOAT, 0)


def test_an_exact_sum_of_several_settings_is_placed_like_any_number() -> None:
    assert convert_exact(Fraction(7), UINT8).value == Value.of(UINT8, 7)
    assert convert_exact(Fraction(7, 2), UINT8).problem == "not-exact"
    assert convert_exact(Fraction(7, 2), FLOAT).value == Value.of(FLOAT, 3.5)
    assert convert_exact(Fraction(2**31), INT32).below == Value.of(INT32, 2**31 - 1)


@pytest.mark.parametrize(
    ("number", "text"),
    [(Fraction(5), "5"), (Fraction(1, 4), "0.25"), (Fraction(1, 3), "about 0.333333333"), (Fraction(10**20), "1e+20")],
)
def test_exact_numbers_are_shown_short(number: Fraction, text: str) -> None:
    assert show_exact(number) == text
