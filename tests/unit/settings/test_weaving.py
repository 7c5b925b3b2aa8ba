from __future__ import annotations

from fractions import Fraction

from tests.unit.settings.builders import FLOAT, UINT8, UINT32

from rotorwright.settings.laws import SAME, BitField, Linear
from rotorwright.settings.note_entries import Converted, Joined, JoinHow, TakenBits
from rotorwright.settings.values import Value
from rotorwright.settings.weaving import goes_through_bits, left_over_words, names_in, woven_value

BIG = {"A": Value.of(UINT32, 16_777_217), "B": Value.of(UINT32, 3)}
AS_FLOAT = Converted("A", SAME, FLOAT)
LOW_BITS = Converted("B", BitField((0, 1)), UINT8)


def test_what_was_said_in_between_is_said_at_the_end() -> None:
    """16,777,217 is no 32-bit float; ten times the one below it is a whole number again."""
    came = woven_value(Converted(AS_FLOAT, Linear(Fraction(10))), BIG.get, UINT32)
    assert came.value == Value.of(UINT32, 167_772_160)
    assert "nearest 32-bit float" in came.words


def test_what_finds_no_place_in_between_ends_there() -> None:
    source = Joined((Converted("A", SAME, UINT8), "B"), ("X", "Y"), "Z", JoinHow.SUM)
    came = woven_value(source, BIG.get, UINT32)
    assert came.value is None
    assert came.words.startswith("in the release between, ")


def test_a_value_knows_its_settings_and_its_bits() -> None:
    source = Joined((LOW_BITS, AS_FLOAT, "B"), ("X", "Y", "Z"), "S", JoinHow.SUM)
    assert names_in(source) == ("B", "A")
    assert goes_through_bits(source)
    assert not goes_through_bits(AS_FLOAT)


def test_only_customised_bits_are_missed() -> None:
    default = {"B": Value.of(UINT32, 2)}
    assert left_over_words(TakenBits("B", 0b10), BIG.get, default.get) == "bit 0 of it went nowhere"
    assert left_over_words(TakenBits("B", 0b01), BIG.get, default.get) == ""
    assert left_over_words(TakenBits("B", 0), BIG.get, lambda _: None) == "bits 0, 1 of it went nowhere"
