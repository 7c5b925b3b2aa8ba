"""Gains in the units of one release and of another."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from rotorwright.feel.loop_gains import AngleUnit, Gains, GainsError, GainUnits, Structure, TimeBase, convert_gains

PLAIN = GainUnits()


def gains(p: str, i: str = "0", d: str = "0") -> Gains:
    return Gains(Fraction(p), Fraction(i), Fraction(d))


def test_plain_units_change_nothing() -> None:
    assert convert_gains(gains("0.15", "0.3", "0.002"), old=PLAIN, new=PLAIN) == gains("0.15", "0.3", "0.002")


def test_a_full_output_of_a_thousand_makes_gains_a_thousand_times_larger() -> None:
    thousand = GainUnits(full_output=Fraction(1000))
    assert convert_gains(gains("0.15", "0.3"), old=PLAIN, new=thousand) == gains("150", "300")


def test_gains_for_degrees_are_smaller_by_the_degrees_in_a_radian() -> None:
    found = convert_gains(gains("1"), old=PLAIN, new=GainUnits(angle=AngleUnit.DEGREE))
    assert float(found.p) == pytest.approx(math.pi / 180)


def test_gains_by_the_loop_hold_the_loop_rate() -> None:
    # By hand, at 1 kHz: an integral gain of 2 per second adds 0.002 each loop; a slope of 1 per second is 0.001 a loop.
    by_loop = GainUnits(time=TimeBase.LOOP, loop_hz=Fraction(1000))
    assert convert_gains(gains("1", "2", "0.01"), old=PLAIN, new=by_loop) == gains("1", "0.002", "10")


def test_another_loop_rate_changes_gains_by_the_loop_and_no_others() -> None:
    slow = GainUnits(time=TimeBase.LOOP, loop_hz=Fraction(1000))
    fast = GainUnits(time=TimeBase.LOOP, loop_hz=Fraction(4000))
    assert convert_gains(gains("5", "8", "3"), old=slow, new=fast) == gains("5", "2", "12")
    assert convert_gains(gains("5"), old=GainUnits(loop_hz=Fraction(1)), new=GainUnits(loop_hz=Fraction(2))) == gains(
        "5"
    )


def test_stored_numbers_are_multiplied_each_by_its_own() -> None:
    stored = GainUnits(stored_per_gain=gains("100", "50", "2000"))
    assert convert_gains(gains("0.5", "0.2", "0.01"), old=PLAIN, new=stored) == gains("50", "10", "20")


def test_the_standard_structure_holds_times() -> None:
    # Textbook: i = p / Ti and d = p * Td.
    standard = GainUnits(structure=Structure.STANDARD)
    assert convert_gains(gains("2", "4", "0.1"), old=PLAIN, new=standard) == gains("2", "0.5", "0.05")
    assert convert_gains(gains("2", "0.5", "0.05"), old=standard, new=PLAIN) == gains("2", "4", "0.1")


def test_times_of_the_standard_structure_may_count_loops() -> None:
    by_loop = GainUnits(structure=Structure.STANDARD, time=TimeBase.LOOP, loop_hz=Fraction(1000))
    assert convert_gains(gains("2", "4", "0.1"), old=PLAIN, new=by_loop) == gains("2", "500", "50")


def test_an_integral_time_of_zero_is_no_integral_part() -> None:
    standard = GainUnits(structure=Structure.STANDARD)
    assert convert_gains(gains("2"), old=standard, new=PLAIN) == gains("2")
    assert convert_gains(gains("2"), old=PLAIN, new=standard) == gains("2")
    assert convert_gains(gains("0"), old=PLAIN, new=standard) == gains("0")


def test_the_standard_structure_cannot_hold_an_integral_part_alone() -> None:
    with pytest.raises(GainsError, match="Without a proportional gain"):
        convert_gains(gains("0", "1"), old=PLAIN, new=GainUnits(structure=Structure.STANDARD))


def test_units_that_contradict_themselves_are_refused() -> None:
    with pytest.raises(GainsError, match="need the loop rate"):
        GainUnits(time=TimeBase.LOOP)
    with pytest.raises(GainsError, match="cannot run at 0 Hz"):
        GainUnits(loop_hz=Fraction(0))
    with pytest.raises(GainsError, match="above zero"):
        GainUnits(full_output=Fraction(0))
    with pytest.raises(GainsError, match="above zero"):
        GainUnits(stored_per_gain=gains("1", "0", "1"))
