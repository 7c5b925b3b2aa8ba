from __future__ import annotations

import math
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

import pytest

from rotorwright.settings.values import FLOAT32_MAX, SettingType, Value, ValueNotInTypeError, nearest_float32

if TYPE_CHECKING:
    from collections.abc import Callable

FLOAT = SettingType.FLOAT

# IEEE 754-2019 table 3.5 (binary32): smallest denormal, largest denormal, smallest normal, largest, one, infinities.
LANDMARKS = {
    0x00000001: "1e-45",
    0x007FFFFF: "1.1754942e-38",
    0x00800000: "1.1754944e-38",
    0x7F7FFFFF: "3.4028235e+38",
    0x3F800000: "1",
    0x3DF5C28F: "0.12",
    0x80000000: "-0",
    0x00000000: "0",
    0x7F800000: "inf",
    0xFF800000: "-inf",
    0x7FC00000: "nan(0x7fc00000)",
    0x7F800001: "nan(0x7f800001)",
    0xFFC00001: "nan(0xffc00001)",
}


@pytest.mark.parametrize(("bits", "text"), LANDMARKS.items())
def test_landmark_floats_print_shortest_and_read_back_to_the_same_bits(bits: int, text: str) -> None:
    value = Value(FLOAT, bits)
    assert value.text == text
    assert Value.parse(FLOAT, text) == value
    assert Value.from_bytes(FLOAT, value.to_bytes()) == value


@pytest.mark.parametrize(
    ("type_", "lowest", "highest"),
    [
        (SettingType.UINT8, 0, 255),
        (SettingType.INT8, -128, 127),
        (SettingType.UINT16, 0, 65535),
        (SettingType.INT16, -32768, 32767),
        (SettingType.UINT32, 0, 4294967295),
        (SettingType.INT32, -2147483648, 2147483647),
    ],
)
def test_whole_types_hold_their_full_range_and_nothing_beyond(type_: SettingType, lowest: int, highest: int) -> None:
    assert (type_.lowest, type_.highest) == (lowest, highest)
    for number in (lowest, highest):
        assert Value.of(type_, number).number == number
        assert Value.parse(type_, str(number)).text == str(number)
    for number in (lowest - 1, highest + 1):
        with pytest.raises(ValueNotInTypeError):
            Value.of(type_, number)


@pytest.mark.parametrize(
    ("type_", "text"),
    [
        (SettingType.UINT8, "1.5"),
        (SettingType.UINT8, " 1"),
        (SettingType.UINT8, "\u0661"),
        (SettingType.UINT8, "9" * 5000),
        (SettingType.INT8, "--1"),
        (FLOAT, "1e400"),
        (FLOAT, "3.5e38"),
        (FLOAT, "nan"),
        (FLOAT, "nan(0x3f800000)"),
        (FLOAT, "Infinity"),
        (FLOAT, "0x1"),
        (FLOAT, "1\n"),
        (FLOAT, ""),
    ],
)
def test_a_text_that_is_no_value_of_the_type_is_refused_with_four_answers(type_: SettingType, text: str) -> None:
    with pytest.raises(ValueNotInTypeError) as caught:
        Value.parse(type_, text)
    assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))


def test_equality_is_of_bits_so_a_nan_equals_itself_and_the_two_zeros_differ() -> None:
    assert Value(FLOAT, 0x7F800001) == Value(FLOAT, 0x7F800001)
    assert Value(FLOAT, 0x7F800001) != Value(FLOAT, 0x7FC00001)
    assert Value.of(FLOAT, 0.0) != Value.of(FLOAT, -0.0)


def test_a_word_wider_than_the_type_is_refused() -> None:
    with pytest.raises(ValueNotInTypeError):
        Value(SettingType.UINT8, 256)


@pytest.mark.parametrize("number", [1.5, math.inf, math.nan])
def test_a_whole_type_takes_whole_numbers_only(number: float) -> None:
    with pytest.raises(ValueNotInTypeError):
        Value.of(SettingType.INT16, number)


def test_a_number_beyond_the_largest_float_is_refused_and_the_largest_is_not() -> None:
    assert Value.of(FLOAT, FLOAT32_MAX).bits == 0x7F7FFFFF
    with pytest.raises(ValueNotInTypeError):
        Value.of(FLOAT, 3.5e38)
    with pytest.raises(ValueNotInTypeError):
        nearest_float32(Fraction(2) ** 128)


def test_a_float_stands_for_the_decimal_that_a_person_sees() -> None:
    assert Value.of(FLOAT, 0.12).decimal == Fraction(12, 100)
    assert Value.of(SettingType.INT16, -3).decimal == -3
    assert Value(FLOAT, 0x7FC00000).decimal is None
    assert Value(FLOAT, 0x7F800000).decimal is None


def test_rounding_happens_once_and_ties_go_to_the_even_float() -> None:
    half_way = Fraction(1) + Fraction(1, 2**24)
    assert nearest_float32(half_way).bits == 0x3F800000
    assert nearest_float32(half_way + Fraction(1, 2**80)).bits == 0x3F800001
    assert nearest_float32(-half_way - Fraction(1, 2**80)).bits == 0xBF800001
    # The 64-bit float nearest to this text lies exactly halfway, so rounding twice would give 0x3f800000.
    assert Value.parse(FLOAT, "1.00000005960464477540").bits == 0x3F800001


@pytest.mark.parametrize("text", ["", "a", "\x00", "ä\x00€", "🙂", " x ", "\u202e\u0301", "1\r\n2"])
def test_a_text_comes_back_as_it_is(text: str) -> None:
    value = Value.of_text(text)
    assert value.text == text
    assert Value.parse(SettingType.TEXT, text) == value
    assert Value.from_bytes(SettingType.TEXT, value.to_bytes()) == value
    assert value.decimal is None
    assert math.isnan(value.number)


def test_texts_that_look_alike_are_not_equal() -> None:
    assert len({Value.of_text(text) for text in ("", "\x00", "\x00\x00", "\u00e9", "e\u0301", "1", "1 ")}) == 7


@pytest.mark.parametrize(
    "make",
    [
        partial(Value.of_text, "\udcff"),
        partial(Value, SettingType.TEXT, 0),
        partial(Value, SettingType.TEXT, 2),
        partial(Value.from_bytes, SettingType.TEXT, b"\xff"),
        partial(Value.of, SettingType.TEXT, 1),
    ],
)
def test_bytes_that_are_no_text_are_refused_in_words(make: Callable[[], Value]) -> None:
    with pytest.raises(ValueNotInTypeError):
        make()


@pytest.mark.parametrize(
    ("type_", "lowest", "highest"),
    [
        (SettingType.INT64, "-9223372036854775808", "9223372036854775807"),
        (SettingType.UINT64, "0", "18446744073709551615"),
    ],
)
def test_64_bit_whole_numbers_are_exact_to_their_ends(type_: SettingType, lowest: str, highest: str) -> None:
    for text in (lowest, highest, str(int(highest) - 1)):
        assert Value.parse(type_, text).text == text
    for beyond in (int(highest) + 1, int(lowest) - 1):
        with pytest.raises(ValueNotInTypeError):
            Value.parse(type_, str(beyond))
