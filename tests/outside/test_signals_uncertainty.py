"""Confidence intervals against textbook formulas and scipy.

Sources: J. Shao, D. Tu, "The Jackknife and Bootstrap" (1995): the jackknife of a mean is its standard error; Welch's
interval of a difference as scipy.stats.ttest_ind computes it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals.flight import FloatArray
from rotorwright.signals.uncertainty import CONFIDENCE, Estimate, difference, groups_of, jackknife, matched, stratify


def mean_estimate(values: FloatArray) -> Estimate:
    left_out = (values.sum() - values) / (len(values) - 1)
    return jackknife(float(values.mean()), left_out)


def test_jackknife_of_a_mean_is_its_standard_error() -> None:
    values = np.random.default_rng(1).normal(size=13)
    assert mean_estimate(values).error == pytest.approx(stats.sem(values), rel=1e-12)


def test_interval_of_a_difference_is_that_of_welch() -> None:
    rng = np.random.default_rng(2)
    first, second = rng.normal(3, 1, 11), rng.normal(4, 2, 16)
    found = difference(mean_estimate(first), mean_estimate(second))
    theirs = stats.ttest_ind(second, first, equal_var=False).confidence_interval(CONFIDENCE)
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), rel=1e-9)


def test_interval_holds_the_truth_as_often_as_it_says() -> None:
    # Frames alike by fives, in two strata. 99 % are aimed at; 976 of 1000 are 4.5 standard deviations below (binomial).
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(1000):
        sides = []
        for _side in range(2):
            slow = np.repeat(rng.normal(size=60), 5)  # each five frames alike
            strata = rng.integers(0, 2, 300)
            sides.append(stratify(slow + strata, strata, count=2, least_frames=6))
        assert sides[0] is not None
        assert sides[1] is not None
        found = matched(sides[0], sides[1], least_frames=40)
        assert found is not None
        held += found.low <= 0 <= found.high
    assert held >= 976


@pytest.mark.parametrize("frames", [0, 7, 8, 15, 100, 12_345])
def test_groups_follow_each_other_and_are_alike_in_size(frames: int) -> None:
    groups = groups_of(frames)
    if frames < 8:
        assert not len(groups)
        return
    sizes = np.bincount(groups)
    assert (np.diff(groups) >= 0).all()
    assert 8 <= len(sizes) <= 16
    assert sizes.max() - sizes.min() <= 1
