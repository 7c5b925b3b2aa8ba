"""The nominal craft: what its step response says, and what it refuses."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from rotorwright.feel.filters import Filter, FilterError, FilterKind
from rotorwright.feel.loop_gains import Gains
from rotorwright.feel.nominal_craft import (
    NominalCraft,
    NominalCraftError,
    RateController,
    StepResponse,
    compare_steps,
    step_response,
)


def controller(p: float, i: float = 0, d: float = 0, *, loop_hz: float = 2000, **more: object) -> RateController:
    return RateController(Gains(Fraction(p), Fraction(i), Fraction(d)), loop_hz, **more)  # type: ignore[arg-type]


def test_a_body_without_motor_lag_follows_as_a_sampled_integrator() -> None:
    # By hand: the rate approaches by the share p * acceleration / loop rate each loop.
    response = step_response(controller(0.1), NominalCraft(1000, 0), duration_s=0.01)
    expected = [1 - (1 - 0.1 * 1000 / 2000) ** loop for loop in range(21)]
    assert response.rates == pytest.approx(expected, abs=1e-12)
    assert not response.diverged
    assert response.overshoot == 0


@pytest.mark.parametrize("delay_s", [0.0, 0.0002, 0.0005, 0.0013, 0.004])
def test_a_command_arrives_exactly_as_late_as_the_delay(delay_s: float) -> None:
    # With almost no gain nothing comes back yet, and the body turns ever faster from the delay on.
    tiny = 1e-9
    response = step_response(controller(tiny), NominalCraft(50, 0, delay_s), duration_s=0.01)
    expected = [50 * max(loop / 2000 - delay_s, 0) for loop in range(21)]
    assert [rate / tiny for rate in response.rates] == pytest.approx(expected, abs=1e-6)


def test_a_slow_craft_feels_later_and_rings_more() -> None:
    quick = step_response(controller(0.05), NominalCraft(1000, 0.005), duration_s=0.5)
    slow = step_response(controller(0.05), NominalCraft(1000, 0.02, 0.002), duration_s=0.5)
    assert slow.overshoot > quick.overshoot + 0.1
    assert slow.half_s is not None
    assert quick.half_s is not None
    assert slow.half_s > quick.half_s


def test_a_slope_of_the_measured_rate_gives_no_kick() -> None:
    craft = NominalCraft(1000, 0.02)
    of_rate = step_response(controller(0.05, d=0.0005), craft, duration_s=0.2)
    of_error = step_response(controller(0.05, d=0.0005, slope_of_error=True), craft, duration_s=0.2)
    assert of_error.rates[1] > 5 * of_rate.rates[1]


def test_filters_in_the_loop_make_it_ring() -> None:
    craft = NominalCraft(1000, 0.01)
    slow = (Filter(FilterKind.LOWPASS, 20),)
    plain = step_response(controller(0.05), craft, duration_s=0.3)
    assert step_response(controller(0.05, filters=slow), craft, duration_s=0.3).overshoot > plain.overshoot + 0.1
    damped = step_response(controller(0.05, d=0.0003), craft, duration_s=0.3)
    late = step_response(controller(0.05, d=0.0003, slope_filters=slow), craft, duration_s=0.3)
    assert damped.overshoot < plain.overshoot
    assert late.rates != damped.rates


def test_gains_that_are_far_too_high_are_seen_to_diverge() -> None:
    response = step_response(controller(5), NominalCraft(1000, 0.02, 0.01), duration_s=5)
    assert response.diverged
    assert response.settled_s is None
    assert len(response.rates) < 5 * 2000


def test_measures_are_read_off_the_curve() -> None:
    response = StepResponse(10, (0, 0.2, 0.6, 1.2, 0.9, 0.98, 1.01), diverged=False)
    assert response.overshoot == pytest.approx(0.2)
    assert response.peak_s == pytest.approx(0.3)
    assert response.half_s == pytest.approx(0.175)
    assert response.rise_s == pytest.approx(0.25 - 0.05)
    assert response.settled_s == pytest.approx(0.5)
    assert response.at([0.05, 0.6, 9]) == pytest.approx((0.1, 1.01, 1.01))


def test_a_rate_that_is_never_reached_has_no_time() -> None:
    response = StepResponse(10, (0, 0.2, 0.3), diverged=False)
    assert response.half_s is None
    assert response.rise_s is None
    assert response.settled_s is None
    assert StepResponse(10, (1, 1.01), diverged=False).settled_s == 0


def test_two_responses_are_compared_at_the_same_times() -> None:
    before = StepResponse(10, (0, 1, 1), diverged=False)
    after = StepResponse(20, (0, 0.25, 0.5, 0.75, 1), diverged=False)
    both = compare_steps(before, after, duration_s=0.2, points=5)
    assert both.times_s == pytest.approx((0, 0.05, 0.1, 0.15, 0.2))
    assert both.before == pytest.approx((0, 0.5, 1, 1, 1))
    assert both.after == pytest.approx((0, 0.25, 0.5, 0.75, 1))
    assert both.largest_gap == pytest.approx(0.5)
    assert both.gap_at_s == pytest.approx(0.1)


@pytest.mark.parametrize("numbers", [(0, 0.1, 0), (100, -0.1, 0), (100, 0.1, -1), (math.nan, 0, 0), (math.inf, 0, 0)])
def test_a_craft_that_is_none_is_refused(numbers: tuple[float, float, float]) -> None:
    with pytest.raises(NominalCraftError, match="must be above zero"):
        NominalCraft(*numbers)


def test_a_loop_or_a_plot_that_is_none_is_refused() -> None:
    with pytest.raises(NominalCraftError, match="cannot run at 0 Hz"):
        controller(1, loop_hz=0)
    for duration_s in (0, -1, math.nan, 1e6):
        with pytest.raises(NominalCraftError, match="is none, or too long"):
            step_response(controller(1), NominalCraft(1, 1), duration_s=duration_s)


def test_a_filter_that_cannot_run_in_the_loop_is_refused() -> None:
    with pytest.raises(FilterError, match="cannot run"):
        step_response(controller(1, filters=(Filter(FilterKind.LOWPASS, 1500),)), NominalCraft(1, 1), duration_s=0.1)
