"""Stick curves: laws, ranges and steps, and points to be drawn."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rotorwright.feel.formulas import FormulaNameError, FormulaResultError
from rotorwright.feel.stick_curves import Curve, CurveLaw, CurveLawError, Parameter, sample_curve, stick_positions

EXPO = CurveLaw.of(
    "full * ((1 - expo) * stick + expo * stick ^ 3)",
    Parameter("full", 50, 2000, 10),
    Parameter("expo", 0, 1, 0.01),
)


def test_a_curve_gives_rates_at_stick_positions() -> None:
    curve = Curve(EXPO, {"full": 400, "expo": 0.5})
    assert curve.rates_dps([-1, 0, 0.5, 1]).tolist() == [-400, 0, 125, 400]


def test_a_constant_law_has_its_rate_at_every_position() -> None:
    assert Curve(CurveLaw.of("120"), {}).rates_dps([-1, 0, 1]).tolist() == [120, 120, 120]


def test_a_curve_is_sampled_from_end_to_end_with_its_centre() -> None:
    drawn = sample_curve(Curve(CurveLaw.of("300 * stick"), {}), points=5)
    assert list(drawn.sticks) == [-1, -0.5, 0, 0.5, 1]
    assert list(drawn.rates_dps) == [-300, -150, 0, 150, 300]


def test_stick_positions_are_symmetric_to_the_last_bit() -> None:
    positions = stick_positions(2001)
    assert positions.tolist() == (-positions[::-1]).tolist()
    assert positions[1000] == 0


def test_a_curve_without_one_of_its_values_is_refused() -> None:
    with pytest.raises(FormulaNameError, match="needs expo"):
        Curve(EXPO, {"full": 400})


def test_a_law_without_a_finite_rate_says_so() -> None:
    with pytest.raises(FormulaResultError):
        Curve(CurveLaw.of("1 / stick"), {}).rates_dps(stick_positions(3))


def test_a_law_with_a_name_of_nothing_is_refused() -> None:
    with pytest.raises(FormulaNameError, match="uses rate"):
        CurveLaw.of("rate * stick")


def test_a_law_whose_names_clash_or_are_not_used_is_refused() -> None:
    with pytest.raises(CurveLawError, match="must differ"):
        CurveLaw.of("stick", Parameter("stick", 0, 1))
    with pytest.raises(CurveLawError, match="must differ"):
        CurveLaw.of("a * stick", Parameter("a", 0, 1), Parameter("a", 0, 1))
    with pytest.raises(CurveLawError, match="does not use b"):
        CurveLaw.of("a * stick", Parameter("a", 0, 1), Parameter("b", 0, 1))


@pytest.mark.parametrize(("low", "high"), [(1, 0), (math.nan, 1), (0, math.inf), (0, 1e39)])
def test_a_range_that_is_none_is_refused(low: float, high: float) -> None:
    with pytest.raises(CurveLawError, match="has the range"):
        Parameter("a", low, high)


@pytest.mark.parametrize("step", [0.0, -1.0, math.inf])
def test_a_step_that_is_none_is_refused(step: float) -> None:
    with pytest.raises(CurveLawError, match="has the step"):
        Parameter("a", 0, 1, step)


def test_steps_are_counted_from_the_minimum_in_exact_decimals() -> None:
    parameter = Parameter("a", 0.05, 1, 0.1)
    assert parameter.nearest(0.37) == 0.35
    assert parameter.nearest(9) == 0.95
    assert parameter.nearest(-9) == 0.05
    assert parameter.at_index(3) == 0.35


def test_a_parameter_without_steps_takes_the_nearest_32_bit_float_in_its_range() -> None:
    parameter = Parameter("a", 0.1, 1)
    assert parameter.nearest(1 / 3) == np.float32(1 / 3)
    assert parameter.nearest(0) == 0.1
    assert parameter.nearest(2) == 1
    # The 32-bit float nearest to 0.3 is 0.3000000119; a limit is never passed because of that.
    assert Parameter("a", 0, 0.3).nearest(0.3 - 1e-12) == 0.3


def test_a_number_is_allowed_if_it_is_the_same_32_bit_float_as_an_allowed_one() -> None:
    parameter = Parameter("a", 0, 1, 0.01)
    assert parameter.allows(0.07)
    assert parameter.allows(float(np.float32(0.07)))
    assert not parameter.allows(0.075)
    assert not parameter.allows(1.01)
    assert not parameter.allows(math.nan)
