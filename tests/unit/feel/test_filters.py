"""Filters: what is refused, how copies and corrections count, and what runs sample by sample."""

from __future__ import annotations

import math

import pytest

from rotorwright.feel.filters import (
    Chain,
    Filter,
    FilterError,
    FilterKind,
    butterworth,
    cascade_correction,
    half_power_hz,
    log_spaced,
)


@pytest.mark.parametrize("cutoff_hz", [0.0, -1.0, math.nan, math.inf])
def test_a_cutoff_that_is_none_is_refused(cutoff_hz: float) -> None:
    with pytest.raises(FilterError, match="cutoff at"):
        Filter(FilterKind.LAG_EULER, cutoff_hz)


@pytest.mark.parametrize("q", [0.0, -1.0, math.inf])
def test_a_quality_that_is_none_is_refused(q: float) -> None:
    with pytest.raises(FilterError, match="quality"):
        Filter(FilterKind.LOWPASS, 100, q=q)


@pytest.mark.parametrize("copies", [0, 9])
def test_too_many_or_too_few_copies_are_refused(copies: int) -> None:
    with pytest.raises(FilterError, match="1 to 8 times"):
        Filter(FilterKind.LAG_EULER, 100, copies=copies)


def test_the_correction_is_only_for_lags() -> None:
    with pytest.raises(FilterError, match="for first-order lags"):
        Filter(FilterKind.LOWPASS, 100, copies=2, corrected=True)


def test_a_cutoff_at_half_the_loop_rate_cannot_run() -> None:
    with pytest.raises(FilterError, match="whose half is 500 Hz"):
        Filter(FilterKind.LOWPASS, 500).sections(1000)


def test_a_correction_that_lifts_the_cutoff_over_half_the_loop_rate_cannot_run() -> None:
    filter_ = Filter(FilterKind.LAG_MATCHED, 300, copies=3, corrected=True)
    with pytest.raises(FilterError, match="588"):
        filter_.sections(1000)


@pytest.mark.parametrize("frequency_hz", [0.0, -5.0, 500.0, 800.0])
def test_there_is_no_response_outside_the_band_of_the_loop(frequency_hz: float) -> None:
    with pytest.raises(FilterError, match="no response"):
        Chain((), 1000).response(frequency_hz)


def test_a_loop_that_does_not_run_is_refused() -> None:
    with pytest.raises(FilterError, match="cannot run at 0 Hz"):
        Chain((), 0)


def test_an_empty_chain_does_nothing() -> None:
    response = Chain((), 1000).response(100)
    assert (response.gain_db, response.phase_deg, response.group_delay_s) == (0, 0, 0)
    assert Chain((), 1000).run([1.0, 2.0]) == [1, 2]
    assert half_power_hz(Chain((), 1000)) is None


@pytest.mark.parametrize("copies", [1, 2, 3, 5])
def test_corrected_copies_are_together_at_half_power_at_the_nominal_cutoff(copies: int) -> None:
    chain = Chain((Filter(FilterKind.LAG_BILINEAR, 90, copies=copies, corrected=True),), 32_000)
    assert half_power_hz(chain) == pytest.approx(90, rel=1e-3)
    assert cascade_correction(1) == 1


def test_copies_without_correction_are_together_below_the_nominal_cutoff() -> None:
    chain = Chain((Filter(FilterKind.LAG_BILINEAR, 90, copies=2),), 32_000)
    assert half_power_hz(chain) == pytest.approx(90 / cascade_correction(2), rel=1e-3)


def test_the_centre_of_a_notch_is_silent_and_its_delay_is_finite() -> None:
    response = Chain((Filter(FilterKind.NOTCH, 200, q=5),), 8000).response(200)
    assert response.gain_db < -200
    assert math.isfinite(response.group_delay_s)


def test_a_butterworth_of_any_order_is_at_half_power_at_its_cutoff() -> None:
    for order in range(1, 9):
        assert half_power_hz(Chain(butterworth(order, 120), 4000)) == pytest.approx(120, rel=1e-9)
    with pytest.raises(FilterError, match="an order of 1 to 16"):
        butterworth(17, 120)


def test_a_lag_follows_a_step_as_its_difference_equation_says() -> None:
    chain = Chain((Filter(FilterKind.LAG_EULER, 100),), 8000)
    k = chain.sections[0].b[0]
    assert chain.run([1, 1, 1]) == pytest.approx([k, k + k * (1 - k), 1 - (1 - k) ** 3])


def test_log_spaced_points_reach_both_ends() -> None:
    assert log_spaced(1, 100, 3) == pytest.approx([1, 10, 100])
    assert log_spaced(7, 9, 2) == [7, 9]
    assert log_spaced(7, 7, 1) == [7]
