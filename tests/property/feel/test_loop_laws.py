"""The laws of gains and of the nominal craft on generated numbers."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.feel.loop_gains import AngleUnit, Gains, GainUnits, Structure, TimeBase, convert_gains
from rotorwright.feel.nominal_craft import NominalCraft, RateController, step_response

above_zero = st.fractions(min_value=Fraction(1, 1000), max_value=10_000, max_denominator=1000)
gains = st.builds(
    Gains, above_zero, st.one_of(st.just(Fraction(0)), above_zero), st.one_of(st.just(Fraction(0)), above_zero)
)
units = st.builds(
    GainUnits,
    angle=st.sampled_from(AngleUnit),
    full_output=above_zero,
    time=st.sampled_from(TimeBase),
    loop_hz=above_zero,
    structure=st.sampled_from(Structure),
    stored_per_gain=st.builds(Gains, above_zero, above_zero, above_zero),
)


@given(gains, units, units)
def test_gains_go_there_and_come_back_exactly(stored: Gains, old: GainUnits, new: GainUnits) -> None:
    assert convert_gains(convert_gains(stored, old=old, new=new), old=new, new=old) == stored


@given(gains, units, units, units)
def test_two_conversions_are_the_one_from_first_to_last(
    stored: Gains, first: GainUnits, second: GainUnits, third: GainUnits
) -> None:
    by_way = convert_gains(convert_gains(stored, old=first, new=second), old=second, new=third)
    assert by_way == convert_gains(stored, old=first, new=third)


@settings(deadline=None, max_examples=25)
@given(st.floats(0.02, 0.2), st.floats(0, 2), st.floats(100, 1000), st.floats(0, 0.03), st.floats(0, 0.004))
def test_gain_and_acceleration_only_count_together(
    p: float, i: float, acceleration: float, lag_s: float, delay_s: float
) -> None:
    one, other = (
        step_response(
            RateController(Gains(Fraction(p) / share, Fraction(i) / share), 1000),
            NominalCraft(acceleration * share, lag_s, delay_s),
            duration_s=0.1,
        )
        for share in (1, 4)
    )
    assert one.rates == pytest.approx(other.rates, rel=1e-9, abs=1e-9)
