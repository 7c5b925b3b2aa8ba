"""The refit of cutoffs: equal delay or equal attenuation, on the steps, and a report of what was not kept."""

from __future__ import annotations

import math

import pytest

from rotorwright.feel.filter_refit import CutoffOffer, DelayKind, Tolerance, refit_to_attenuation, refit_to_delay
from rotorwright.feel.filters import BUTTERWORTH_Q, Chain, Filter, FilterError, FilterKind

LAG = Filter(FilterKind.LAG_EULER, 100)
OLD = Chain((LAG,), 8000)


def test_equal_delay_with_a_matched_lag_is_the_closed_form() -> None:
    # At 0 Hz a lag with k delays (1 - k)/k samples: RC for backward Euler, dt/(exp(2 pi fc dt) - 1) for a matched pole.
    offer = CutoffOffer(Filter(FilterKind.LAG_MATCHED, 1), 10, 2000)
    refit = refit_to_delay(OLD, offer, loop_hz=8000, frequency_hz=0.01)
    assert refit.filter.cutoff_hz == pytest.approx(
        math.log1p(2 * math.pi * 100 / 8000) * 8000 / (2 * math.pi), rel=1e-6
    )
    assert refit.reached


def test_equal_delay_of_a_lag_at_another_loop_rate_keeps_its_cutoff() -> None:
    # The delay of a backward-Euler lag at 0 Hz is RC, whatever the rate.
    refit = refit_to_delay(OLD, CutoffOffer(LAG, 10, 900), loop_hz=2000, frequency_hz=0.01)
    assert refit.filter.cutoff_hz == pytest.approx(100, rel=1e-6)


@pytest.mark.parametrize("kind", list(DelayKind))
@pytest.mark.parametrize("frequency_hz", [5.0, 20.0, 60.0])
def test_the_delay_asked_for_is_equal_and_comes_first(kind: DelayKind, frequency_hz: float) -> None:
    offer = CutoffOffer(Filter(FilterKind.LOWPASS, 1), 20, 900)
    refit = refit_to_delay(OLD, offer, loop_hz=3200, frequency_hz=frequency_hz, kind=kind)
    first = refit.changes[0]
    assert first.measure == refit.target == f"{kind} delay at {frequency_hz:g} Hz"
    assert first.after == pytest.approx(first.before, rel=1e-6)
    assert first.is_kept
    assert refit.reached
    assert refit.filter.cutoff_hz > frequency_hz


def test_of_two_cutoffs_with_one_delay_the_one_above_the_frequency_is_taken() -> None:
    # By hand: an analog lag delays w by wc/(wc^2 + w^2), the same for wc and w^2/wc: 100 Hz and 4 Hz for 20 Hz.
    refit = refit_to_delay(OLD, CutoffOffer(LAG, 1, 2000), loop_hz=8000, frequency_hz=20)
    assert refit.filter.cutoff_hz == pytest.approx(100, rel=1e-5)


@pytest.mark.parametrize("copies", [1, 3])
def test_a_cutoff_that_lets_next_to_nothing_through_is_never_taken_for_its_short_delay(copies: int) -> None:
    # The range ends below the equal cutoff; far below the frequency the delay is equal again, 20 dB down and more.
    offer = CutoffOffer(Filter(FilterKind.LOWPASS, 1, copies=copies), 0.1, 110 * copies)
    refit = refit_to_delay(OLD, offer, loop_hz=8000, frequency_hz=20)
    assert not refit.reached
    assert refit.filter.cutoff_hz == pytest.approx(110 * copies, rel=0.01)


def test_what_could_not_be_kept_is_told_with_both_numbers() -> None:
    offer = CutoffOffer(Filter(FilterKind.LOWPASS, 1), 20, 900)
    refit = refit_to_delay(OLD, offer, loop_hz=8000, frequency_hz=20)
    told = {each.measure: each for each in refit.not_kept}
    assert "half power (-3 dB)" in told
    # By hand: gain^2 = k^2/(1 - 2 (1 - k) cos w + (1 - k)^2) is a half where cos w is as below.
    k = OLD.sections[0].b[0]
    turn = math.acos((1 + (1 - k) ** 2 - 2 * k**2) / (2 * (1 - k)))
    assert told["half power (-3 dB)"].before == pytest.approx(turn * 8000 / (2 * math.pi))
    assert "(not kept)" in told["half power (-3 dB)"].words


def test_the_cutoff_lands_on_the_better_of_its_two_neighbouring_steps() -> None:
    offer = CutoffOffer(Filter(FilterKind.LAG_MATCHED, 1), 20, 900, step_hz=7)
    refit = refit_to_delay(OLD, offer, loop_hz=8000, frequency_hz=10)
    assert (refit.filter.cutoff_hz - 20) % 7 == 0
    wanted = OLD.response(10).group_delay_s
    found, *others = (
        abs(offer.chain(cutoff, 8000).response(10).group_delay_s - wanted)
        for cutoff in (refit.filter.cutoff_hz, refit.filter.cutoff_hz - 7, refit.filter.cutoff_hz + 7)
    )
    assert found <= min(others)


def test_filters_beside_the_one_refitted_count() -> None:
    notch = Filter(FilterKind.NOTCH, 200, q=5)
    alone = refit_to_delay(OLD, CutoffOffer(LAG, 20, 2000), loop_hz=8000, frequency_hz=20)
    beside = refit_to_delay(OLD, CutoffOffer(LAG, 20, 2000, beside=(notch,)), loop_hz=8000, frequency_hz=20)
    assert beside.filter.cutoff_hz > alone.filter.cutoff_hz
    assert beside.chain.filters[0] == notch


def test_a_delay_that_no_cutoff_in_range_gives_is_told() -> None:
    refit = refit_to_delay(OLD, CutoffOffer(LAG, 200, 400, step_hz=1), loop_hz=8000, frequency_hz=5)
    assert not refit.reached
    assert refit.filter.cutoff_hz == 200
    assert refit.target in {each.measure for each in refit.not_kept}


def test_equal_attenuation_of_the_same_kind_at_another_rate_is_nearly_the_same_cutoff() -> None:
    old = Chain((Filter(FilterKind.LOWPASS, 150),), 8000)
    offer = CutoffOffer(Filter(FilterKind.LOWPASS, 1), 50, 500)
    refit = refit_to_attenuation(old, offer, loop_hz=4000, band_hz=(200, 400), delay_at_hz=20)
    assert refit.filter.cutoff_hz == pytest.approx(150, rel=0.02)
    assert refit.reached


def test_attenuation_that_another_kind_cannot_have_is_told_with_the_worst_place() -> None:
    old = Chain((Filter(FilterKind.LOWPASS, 100, q=BUTTERWORTH_Q),), 8000)
    offer = CutoffOffer(Filter(FilterKind.LAG_BILINEAR, 1), 1, 500)
    refit = refit_to_attenuation(old, offer, loop_hz=8000, band_hz=(150, 600), delay_at_hz=20)
    worst = refit.changes[0]
    assert worst.measure.startswith("gain in the band, largest change")
    # -12 dB and -6 dB for each octave over two octaves: half of the difference at each end, at best.
    assert abs(worst.after - worst.before) == pytest.approx(6, abs=1)
    assert not refit.reached
    assert "group delay at 20 Hz" in {each.measure for each in refit.not_kept}


def test_a_band_of_one_frequency_is_matched_there() -> None:
    old = Chain((Filter(FilterKind.LOWPASS, 100),), 8000)
    offer = CutoffOffer(Filter(FilterKind.LAG_BILINEAR, 1), 1, 500)
    refit = refit_to_attenuation(old, offer, loop_hz=8000, band_hz=(200, 200), delay_at_hz=20)
    assert refit.changes[0].after == pytest.approx(refit.changes[0].before, abs=1e-4)


def test_the_tolerance_says_what_counts_as_kept() -> None:
    offer = CutoffOffer(Filter(FilterKind.LAG_MATCHED, 1), 10, 2000)
    strict = Tolerance(gain_db=0, phase_deg=0, delay_s=0, cutoff_share=0)
    loose = Tolerance(gain_db=9, phase_deg=9, delay_s=9, cutoff_share=9)
    assert refit_to_delay(OLD, offer, loop_hz=8000, frequency_hz=20, tolerance=strict).not_kept
    assert not refit_to_delay(OLD, offer, loop_hz=8000, frequency_hz=20, tolerance=loose).not_kept


def test_cutoffs_that_the_loop_rate_does_not_allow_are_left_out() -> None:
    assert CutoffOffer(LAG, 10, 5000, step_hz=10).range_hz(1000) == (10, 490)
    with pytest.raises(FilterError, match="No cutoff from 600 Hz up"):
        CutoffOffer(LAG, 600, 5000).range_hz(1000)


@pytest.mark.parametrize(("low", "high"), [(0, 10), (10, 5), (10, math.inf)])
def test_a_range_or_band_that_is_none_is_refused(low: float, high: float) -> None:
    with pytest.raises(FilterError, match="which is none"):
        CutoffOffer(LAG, low, high)
    offer = CutoffOffer(LAG, 10, 100)
    with pytest.raises(FilterError, match="is none"):
        refit_to_attenuation(OLD, offer, loop_hz=8000, band_hz=(low, high), delay_at_hz=20)


def test_a_step_that_is_none_is_refused() -> None:
    with pytest.raises(FilterError, match="has the step"):
        CutoffOffer(LAG, 10, 100, step_hz=0)
