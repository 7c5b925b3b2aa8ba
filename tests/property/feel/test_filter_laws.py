"""The laws of filters and of their refit on generated chains."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rotorwright.feel.filter_refit import CutoffOffer, DelayKind, refit_to_attenuation, refit_to_delay
from rotorwright.feel.filters import Chain, Filter, FilterKind

few = settings(deadline=None, max_examples=25)
rates = st.sampled_from([1000.0, 2000.0, 3200.0, 8000.0])
lags = st.sampled_from([FilterKind.LAG_EULER, FilterKind.LAG_MATCHED, FilterKind.LAG_BILINEAR])
low_passes = st.builds(
    Filter,
    st.one_of(lags, st.just(FilterKind.LOWPASS)),
    st.integers(20, 200).map(float),
    q=st.floats(0.5, 0.8),
    copies=st.integers(1, 3),
)
notches = st.builds(Filter, st.just(FilterKind.NOTCH), st.integers(100, 400).map(float), q=st.floats(1, 10))
chains = st.builds(Chain, st.lists(st.one_of(low_passes, notches), min_size=1, max_size=4).map(tuple), rates)


@given(chains)
def test_no_chain_changes_what_does_not_move(chain: Chain) -> None:
    response = chain.response(1e-4)
    assert response.gain == pytest.approx(1, abs=1e-6)
    assert response.phase_deg == pytest.approx(0, abs=2e-2)


@given(chains, st.floats(1, 450))
def test_no_chain_amplifies_much_and_every_section_is_stable(chain: Chain, frequency_hz: float) -> None:
    assert chain.response(frequency_hz).gain <= 1.1 ** len(chain.sections)
    for section in chain.sections:
        assert abs(section.a[-1]) < 1


@given(chains, st.floats(1, 450))
def test_the_group_delay_is_the_slope_of_the_phase(chain: Chain, frequency_hz: float) -> None:
    centres = [each.cutoff_hz for each in chain.filters if each.kind is FilterKind.NOTCH]
    assume(all(abs(frequency_hz - centre) > 1 for centre in centres))
    step = 1e-3
    low, here, high = chain.responses([frequency_hz - step, frequency_hz, frequency_hz + step])
    slope = -math.radians(high.phase_deg - low.phase_deg) / (2 * math.pi * 2 * step)
    assert here.group_delay_s == pytest.approx(slope, abs=2e-6, rel=1e-3)


@given(chains, st.lists(st.floats(-100, 100), max_size=20), st.floats(-3, 3))
def test_chains_are_linear(chain: Chain, samples: list[float], factor: float) -> None:
    scaled = chain.run([factor * sample for sample in samples])
    assert scaled == pytest.approx([factor * out for out in chain.run(samples)], abs=1e-9)


@few
@given(low_passes, rates, st.sampled_from(list(DelayKind)))
def test_refit_to_the_same_filter_is_the_identity(filter_: Filter, loop_hz: float, kind: DelayKind) -> None:
    offer = CutoffOffer(filter_.at(1), 5, 400, step_hz=1)
    # Well below the cutoff, where the delay still falls with the cutoff.
    refit = refit_to_delay(Chain((filter_,), loop_hz), offer, loop_hz=loop_hz, frequency_hz=2, kind=kind)
    assert refit.filter == filter_
    assert refit.not_kept == ()
    again = refit_to_attenuation(Chain((filter_,), loop_hz), offer, loop_hz=loop_hz, band_hz=(50, 300), delay_at_hz=2)
    assert again.filter == filter_


@few
@given(lags, lags, st.integers(30, 150), st.integers(1, 40))
def test_less_delay_before_gives_a_higher_cutoff_after(old: FilterKind, new: FilterKind, slow: int, more: int) -> None:
    offer = CutoffOffer(Filter(new, 1), 5, 900)
    lower, higher = (
        refit_to_delay(Chain((Filter(old, cutoff),), 8000), offer, loop_hz=4000, frequency_hz=10).filter.cutoff_hz
        for cutoff in (slow, slow + more)
    )
    assert lower < higher
