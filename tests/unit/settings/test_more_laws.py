"""Tables, powers of two and laws one after another. Values from arithmetic on paper."""

from __future__ import annotations

from fractions import Fraction

import pytest
from tests.unit.settings.builders import FLOAT, INT16, UINT8, UINT16, UINT32

from rotorwright.settings.laws import (
    SAME,
    BitField,
    Chain,
    Labels,
    Law,
    Linear,
    LogOfTwo,
    PowerOfTwo,
    Reciprocal,
    Table,
    convert,
    convert_freely,
    inverse_of,
)
from rotorwright.settings.values import SettingType, Value

TEXT = SettingType.TEXT
WORDS = Table({"0": "off", "1": "slow", "2.5": "fast"})
NUMBERS = Table({"off": "0", "slow": "1", "odd": "no"})


def of(type_: SettingType, number: float | str) -> Value:
    return Value.of_text(number) if isinstance(number, str) else Value.of(type_, number)


@pytest.mark.parametrize(
    ("law", "old", "target", "new"),
    [
        (PowerOfTwo(), of(UINT8, 0), UINT16, "1"),
        (PowerOfTwo(), of(UINT8, 15), UINT16, "32768"),
        (PowerOfTwo(), of(INT16, -2), FLOAT, "0.25"),
        (PowerOfTwo(), of(FLOAT, 3), UINT8, "8"),
        (LogOfTwo(), of(UINT16, 64), UINT8, "6"),
        (LogOfTwo(), of(UINT8, 1), UINT8, "0"),
        (LogOfTwo(), of(FLOAT, 0.125), INT16, "-3"),
        (WORDS, of(UINT8, 1), TEXT, "slow"),
        (WORDS, of(FLOAT, 2.5), TEXT, "fast"),
        (NUMBERS, of(TEXT, "slow"), UINT8, "1"),
        (Table({"1": "0.1"}), of(UINT8, 1), FLOAT, "0.1"),
        (Table({"nan(0x7fc00000)": "0"}), Value(FLOAT, 0x7FC00000), UINT8, "0"),
        (Table({"01": "a", "1": "b"}), of(TEXT, "01"), TEXT, "a"),
        (SAME, of(TEXT, "as it is"), TEXT, "as it is"),
    ],
)
def test_a_value_has_its_exact_successor(law: Law, old: Value, target: SettingType, new: str) -> None:
    came = convert(old, law, target)
    assert came.value == Value.parse(target, new)
    assert came.problem == ""


@pytest.mark.parametrize(
    ("law", "old", "target", "problem", "words"),
    [
        (PowerOfTwo(), of(UINT8, 8), UINT8, "not-exact", "beyond what the new setting holds"),
        (PowerOfTwo(), of(FLOAT, 0.5), FLOAT, "no-number", "2 to the power of 0.5"),
        (PowerOfTwo(), of(UINT32, 2**32 - 1), FLOAT, "no-number", "no number that a setting can hold"),
        (PowerOfTwo(), of(INT16, -1), UINT8, "not-exact", "not a whole number"),
        (LogOfTwo(), of(UINT8, 6), UINT8, "not-exact", "between two powers of two, those of 2 and 3"),
        (LogOfTwo(), of(UINT8, 0), UINT8, "no-number", "no power of two"),
        (LogOfTwo(), of(INT16, -4), INT16, "no-number", "no power of two"),
        (WORDS, of(UINT8, 2), TEXT, "no-label", "no line for 2"),
        (NUMBERS, of(TEXT, "SLOW"), UINT8, "no-label", "no line for SLOW"),
        (NUMBERS, of(TEXT, "odd"), UINT8, "no-number", "'no' is no number"),
        (Table({"1": "0.5"}), of(UINT8, 1), UINT8, "not-exact", "not a whole number"),
        (Table({"1": "300"}), of(UINT8, 1), UINT8, "not-exact", "beyond"),
        (Linear(Fraction(2)), of(UINT8, 1), TEXT, "no-number", "only a table says what text"),
        (Labels({1: 2}), of(UINT8, 1), TEXT, "no-number", "only a table says what text"),
        (Linear(Fraction(2)), of(TEXT, "1"), UINT8, "no-number", "no number that can be converted"),
        (BitField((0,)), of(TEXT, "1"), UINT8, "no-number", "a text, and has no bits"),
    ],
)
def test_a_value_without_an_exact_successor_has_none_and_says_why(
    law: Law, old: Value, target: SettingType, problem: str, words: str
) -> None:
    came = convert(old, law, target)
    assert came.value is None
    assert came.problem == problem
    assert words in came.words


def test_between_two_powers_of_two_both_neighbours_are_named() -> None:
    came = convert(of(UINT8, 6), LogOfTwo(), UINT8)
    assert (came.below, came.above) == (of(UINT8, 2), of(UINT8, 3))
    came = convert(of(FLOAT, 0.9), LogOfTwo(), INT16)
    assert (came.below, came.above) == (of(INT16, -1), of(INT16, 0))


@pytest.mark.parametrize(
    "law",
    [
        PowerOfTwo(),
        LogOfTwo(),
        WORDS,
        Labels({0: 1, 1: 2}),
        Chain((Linear(Fraction(10)), Reciprocal(Fraction(7)), Labels({0: 1})), (FLOAT, None)),
    ],
)
def test_the_way_back_of_the_way_back_is_the_way_there(law: Law) -> None:
    back = inverse_of(law)
    assert back is not None
    assert back != law
    assert inverse_of(back) == law


@pytest.mark.parametrize(
    "law",
    [
        Table({"0": "a", "1": "a"}),
        Table({"0": "1", "1": "1.0"}),
        Labels({0: 1, 1: 1}),
        BitField((0,)),
        Chain((SAME, BitField((0,))), (None,)),
    ],
)
def test_what_makes_two_values_one_has_no_way_back(law: Law) -> None:
    assert inverse_of(law) is None


def test_laws_one_after_another_land_in_the_setting_between() -> None:
    """16,777,217 is no 32-bit float, so a float between makes it 16,777,216."""
    old = of(UINT32, 16_777_217)
    assert convert(old, Chain((SAME, SAME), (FLOAT,)), UINT32).value == of(UINT32, 16_777_216)
    assert convert(old, Chain((SAME, SAME), (None,)), UINT32).value == old


def test_what_was_rounded_between_is_said() -> None:
    came = convert(of(UINT8, 5), Chain((Linear(Fraction(1, 60)), Linear(Fraction(60))), (FLOAT,)), UINT8)
    assert came.value == of(UINT8, 5)
    assert "nearest 32-bit float" in came.words


def test_a_setting_between_that_cannot_hold_it_stops_the_way() -> None:
    came = convert(of(UINT16, 300), Chain((SAME, Linear(Fraction(1, 10))), (UINT8,)), FLOAT)
    assert came.value is None
    assert came.words.startswith("in the release between, ")


def test_a_text_goes_through_a_chain_of_tables() -> None:
    chain = Chain((NUMBERS, Linear(Fraction(10), Fraction(5)), Table({"15": "quick"})), (None, None))
    assert convert(of(TEXT, "slow"), chain, TEXT).value == of(TEXT, "quick")
    assert convert(of(TEXT, "off"), chain, TEXT).problem


def test_without_a_type_a_number_stays_exact() -> None:
    assert convert_freely(of(UINT8, 1), Linear(Fraction(1, 3))) == Fraction(1, 3)
    assert convert_freely(Fraction(5), BitField((0, 2))) == 3
    assert convert_freely(of(UINT8, 0), Reciprocal(Fraction(1))) is None
