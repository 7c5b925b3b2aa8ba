"""The refit of stick curves: exact where it can be, close where it cannot, always allowed, and honest about it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from rotorwright.feel.formulas import FormulaResultError
from rotorwright.feel.stick_curves import Curve, CurveLaw, CurveLawError, Parameter, stick_positions
from rotorwright.feel.stick_refit import refit_stick

EXPO = CurveLaw.of(
    "full * ((1 - expo) * stick + expo * stick ^ 3)", Parameter("full", 50, 2000, 1), Parameter("expo", 0, 1, 0.01)
)
TWO_RATES = "centre * stick + (most - centre) * stick ^ 3"
OLD = Curve(EXPO, {"full": 670, "expo": 0.3})


def largest_deviation(old: Curve, new: Curve) -> float:
    sticks = stick_positions(4001)
    return float(np.abs(old.rates_dps(sticks) - new.rates_dps(sticks)).max())


def test_where_an_exact_solution_exists_it_is_found() -> None:
    # By hand: the slope at the centre is full * (1 - expo) = 670 * 0.7 = 469.
    law = CurveLaw.of(TWO_RATES, Parameter("centre", 0, 2000), Parameter("most", 0, 2000))
    refit = refit_stick(OLD, law)
    assert refit.is_exact
    assert refit.values == {"centre": 469, "most": 670}
    assert refit.words == "the same curve"


def test_values_land_on_their_steps_and_the_price_is_told() -> None:
    law = CurveLaw.of(TWO_RATES, Parameter("centre", 0, 2000, 10), Parameter("most", 0, 2000, 10))
    refit = refit_stick(OLD, law)
    assert refit.values == {"centre": 470, "most": 670}
    # One deg/s too steep at the centre: 1 * (x - x^3), largest at x = 1/sqrt(3), where it is 2/(3 sqrt(3)).
    assert refit.deviation_dps == pytest.approx(2 / (3 * 3**0.5), rel=1e-5)
    assert abs(refit.at_stick) == pytest.approx(3**-0.5, abs=1e-3)
    assert refit.full_deviation_dps == pytest.approx(0)
    assert refit.unstepped_dps < 1e-6
    assert not refit.is_exact
    assert "0.38 deg/s" in refit.words


def test_steps_are_searched_as_well_as_by_trying_them_all() -> None:
    law = CurveLaw.of(
        "most * sign(stick) * abs(stick) ^ power", Parameter("most", 500, 800, 5), Parameter("power", 1, 2, 0.05)
    )
    refit = refit_stick(OLD, law)
    every = itertools.product(range(500, 801, 5), [1 + 0.05 * index for index in range(21)])
    best = min(largest_deviation(OLD, Curve(law, {"most": most, "power": power})) for most, power in every)
    assert refit.deviation_dps == pytest.approx(best, rel=1e-3)


def test_a_heavier_centre_brings_the_centre_closer_and_costs_elsewhere() -> None:
    law = CurveLaw.of("rate * stick", Parameter("rate", 0, 2000))
    even, centred = refit_stick(OLD, law), refit_stick(OLD, law, centre_weight=20)
    assert centred.centre_deviation_dps < even.centre_deviation_dps
    assert centred.deviation_dps > even.deviation_dps


def test_the_range_is_respected_and_what_is_missing_is_told() -> None:
    law = CurveLaw.of("rate * stick", Parameter("rate", 0, 200, 1))
    refit = refit_stick(OLD, law)
    assert refit.values == {"rate": 200}
    assert refit.deviation_dps == pytest.approx(470)
    assert abs(refit.at_stick) == 1


def test_settings_with_and_without_steps_may_be_mixed() -> None:
    law = CurveLaw.of(TWO_RATES, Parameter("centre", 0, 2000, 100), Parameter("most", 0, 2000))
    refit = refit_stick(OLD, law)
    assert refit.values["centre"] == 500
    best = min(largest_deviation(OLD, Curve(law, {"centre": 500, "most": most})) for most in np.arange(650, 670, 0.1))
    assert refit.deviation_dps == pytest.approx(best, rel=1e-2)


def test_a_law_with_nothing_to_choose_only_reports() -> None:
    refit = refit_stick(OLD, CurveLaw.of("600 * stick"))
    assert refit.values == {}
    assert refit.deviation_dps == pytest.approx(70)


def test_settings_for_which_the_new_law_has_no_rate_are_avoided() -> None:
    law = CurveLaw.of("base * stick / (1 - abs(stick) * boost)", Parameter("base", 0, 2000), Parameter("boost", 0, 1))
    refit = refit_stick(Curve(law, {"base": 200, "boost": 0.7}), law)
    assert refit.is_exact
    other = CurveLaw.of("base * stick / (1 - abs(stick) * lift)", Parameter("base", 0, 2000), Parameter("lift", 0, 1))
    assert refit_stick(Curve(law, {"base": 200, "boost": 0.7}), other).is_exact


def test_a_law_that_has_a_rate_for_no_setting_at_all_is_an_error() -> None:
    with pytest.raises(FormulaResultError):
        refit_stick(OLD, CurveLaw.of("sqrt(0 - rate) * stick", Parameter("rate", 1, 2)))


def test_values_have_no_more_digits_than_the_closeness_needs() -> None:
    law = CurveLaw.of("base * stick / (1 - abs(stick) * boost)", Parameter("base", 1, 2000), Parameter("boost", 0, 0.9))
    values = refit_stick(OLD, law).values
    assert all(len(f"{np.float32(each)!s}".replace(".", "").lstrip("0")) <= 6 for each in values.values())


@pytest.mark.parametrize(("slope", "limit"), [(1164.394, 350.986), (4890, 387), (600, 590)])
def test_an_exact_solution_behind_corners_is_found(slope: float, limit: float) -> None:
    # A clamped line is flat wherever it is clamped, so a search that only goes downhill is stuck there.
    text = "clamp({0} * stick, -{1}, {1})"
    old = Curve(CurveLaw.of(text.format(slope, limit)), {})
    law = CurveLaw.of(text.format("slope", "limit"), Parameter("slope", 0, 9000), Parameter("limit", 0, 2000))
    refit = refit_stick(old, law)
    assert refit.is_exact
    assert refit.values == pytest.approx({"slope": slope, "limit": limit}, rel=1e-5)


@pytest.mark.parametrize(("full", "expo"), [(418, 0.96), (693, 0.68), (316, 0.76), (300, 0.1), (812, 0.5)])
def test_in_a_narrow_valley_the_steps_are_as_good_as_by_trying_them_all(full: float, expo: float) -> None:
    # More boost and more expo do much the same, so many settings are nearly as good, far from each other.
    law = CurveLaw.of(
        "base * ((1 - expo) * stick + expo * stick ^ 3) / (1 - abs(stick) * boost)",
        Parameter("base", 100, 1000, 25),
        Parameter("boost", 0, 0.9, 0.1),
        Parameter("expo", 0, 1, 0.05),
    )
    old = Curve(EXPO, {"full": full, "expo": expo})
    ranges = ([each.at_index(index) for index in range(each.last_index + 1)] for each in law.parameters)
    every = np.array(list(itertools.product(*ranges)))
    sticks = stick_positions(101)
    table = {each.name: every[:, [place]] for place, each in enumerate(law.parameters)}
    best = np.abs(law.rates_dps(table, sticks) - old.rates_dps(sticks)).max(axis=1).min()
    assert refit_stick(old, law).deviation_dps == pytest.approx(best, rel=3e-3)  # measured on a finer grid


def test_an_old_value_of_the_same_name_that_is_no_number_is_not_used() -> None:
    old = Curve(CurveLaw.of("300 * stick"), {"rate": float("nan")})
    refit = refit_stick(old, CurveLaw.of("rate * stick", Parameter("rate", 0, 2000, 1)))
    assert refit.values == {"rate": 300}


def test_steps_beyond_the_box_are_taken_while_they_improve_anything() -> None:
    # 29.33 deg/s is the best known; the box of 20,000 combinations around the solution without steps ends at 29.91.
    old = Curve(CurveLaw.of("if(abs(stick) < 0.05, 0, 800 * (stick - sign(stick) * 0.05))"), {})
    law = CurveLaw.of(
        "base * ((1 - expo) * stick + expo * stick ^ 3) / (1 - abs(stick) * boost)",
        Parameter("base", 1, 2000, 10),
        Parameter("boost", 0, 0.95, 0.01),
        Parameter("expo", 0, 1, 0.01),
    )
    assert refit_stick(old, law).deviation_dps < 29.4


@pytest.mark.parametrize("weight", [0.0, 0.5, -1.0, float("nan"), float("inf")])
def test_a_weight_that_is_none_is_refused(weight: float) -> None:
    with pytest.raises(CurveLawError, match="counts"):
        refit_stick(OLD, EXPO, centre_weight=weight)
