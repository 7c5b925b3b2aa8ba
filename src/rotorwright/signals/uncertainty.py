"""Confidence intervals from how much stretches of one flight differ among themselves.

A flight is cut into groups that follow each other in time. Each group is left out once, and how much the result moves
tells how sure it is: the delete-a-group jackknife. Groups of many frames carry within them what neighbouring frames
share, so slow changes of how it is flown widen the interval as they should. Source: J. Shao, D. Tu, "The Jackknife and
Bootstrap", Springer 1995, section 2.3; degrees of freedom of a difference: B. L. Welch, Biometrika 34 (1947) 28-35.

| choice | value | source |
|---|---|---|
| groups | 8 to 16 | common practice, no source: fewer make Student's factor large, more share neighbours |
| confidence | 99 % | many quantities are compared at once |
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special  # type: ignore[import-untyped, unused-ignore]

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rotorwright.signals.flight import FloatArray

FEWEST_GROUPS = 8
MOST_GROUPS = 16
CONFIDENCE = 0.99
LEAST_GROUPS_OF_STRATUM = 4


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard error and degrees of freedom."""

    value: float
    error: float
    freedom: float


@dataclass(frozen=True, slots=True)
class Difference:
    """After minus before, and the ends of its confidence interval."""

    before: float
    after: float
    low: float
    high: float

    @property
    def value(self) -> float:
        """After minus before."""
        return self.after - self.before


def groups_of(frames: int, *, least_frames: int = 1) -> NDArray[np.int64]:
    """Return the group of each frame, groups following each other; empty where there are too few frames for eight."""
    groups = min(MOST_GROUPS, frames // least_frames)
    if groups < FEWEST_GROUPS:
        return np.zeros(0, np.int64)
    return np.arange(frames, dtype=np.int64) * groups // frames


def jackknife(whole: float, left_out: FloatArray) -> Estimate:
    """Return the value with the error that leaving each group out shows."""
    groups = len(left_out)
    error = np.sqrt((groups - 1) / groups * np.sum(np.square(left_out - left_out.mean())))
    return Estimate(whole, float(error), groups - 1)


def difference(before: Estimate, after: Estimate) -> Difference:
    """Return the difference of two values that know nothing of each other."""
    first, second = before.error**2, after.error**2
    total = first + second
    if total > 0:
        freedom = total**2 / (first**2 / before.freedom + second**2 / after.freedom)
        aside = float(special.stdtrit(freedom, (1 + CONFIDENCE) / 2)) * total**0.5
    else:
        aside = 0.0
    middle = after.value - before.value
    return Difference(before.value, after.value, middle - aside, middle + aside)


def group_sums(values: FloatArray, groups: NDArray[np.int64]) -> FloatArray:
    """Return the (g, ...) sums of (frames, ...) values by group; groups rise from 0."""
    starts = np.flatnonzero(np.diff(groups, prepend=-1))
    return np.asarray(np.add.reduceat(values, starts, axis=0))


@dataclass(frozen=True, slots=True, eq=False)
class Strata:
    """Sums and counts by group and stratum of one flight: both (g, s)."""

    sums: FloatArray
    counts: FloatArray

    @property
    def is_met(self) -> NDArray[np.bool_]:
        """In which strata enough groups have frames."""
        return np.asarray((self.counts > 0).sum(axis=0) >= LEAST_GROUPS_OF_STRATUM)

    def weighted(self, weights: FloatArray) -> Estimate:
        """Return the weighted mean of the strata's means."""
        sums, counts = self.sums.sum(axis=0), self.counts.sum(axis=0)
        whole = _weighted(sums, counts, weights)
        left = _weighted(sums - self.sums, counts - self.counts, weights)
        return jackknife(float(whole), np.atleast_1d(left))


def stratify(values: FloatArray, strata: NDArray[np.int64], *, count: int, least_frames: int = 1) -> Strata | None:
    """Return the sums by group and stratum, or nothing where too few frames can be used.

    Args:
        values: (frames,) of the quantity; frames that are not numbers do not count.
        strata: (frames,) the stratum of each; below zero does not count.
        count: how many strata there are.
        least_frames: fewest frames in a group.
    """
    used = np.isfinite(values) & (strata >= 0) & (strata < count)
    groups = groups_of(int(used.sum()), least_frames=least_frames)
    if not len(groups):
        return None
    cells = groups * count + strata[used]
    size = (int(groups[-1]) + 1) * count
    sums = np.bincount(cells, weights=values[used], minlength=size).astype(np.float64)
    counts = np.bincount(cells, minlength=size).astype(np.float64)
    return Strata(sums.reshape(-1, count), counts.reshape(-1, count))


def matched(before: Strata, after: Strata, *, least_frames: int) -> Difference | None:
    """Return the difference over the strata that both flights have, each weighing by how well both know it.

    Nothing where they share fewer than `least_frames` frames.
    """
    both = before.is_met & after.is_met
    first, second = before.counts.sum(axis=0) * both, after.counts.sum(axis=0) * both
    if min(first.sum(), second.sum()) < least_frames:
        return None
    weights = np.divide(first * second, first + second, out=np.zeros(len(both)), where=both)
    return difference(before.weighted(weights), after.weighted(weights))


def _weighted(sums: FloatArray, counts: FloatArray, weights: FloatArray) -> FloatArray:
    means = np.divide(sums, counts, out=np.zeros_like(sums), where=counts > 0.5)
    return np.asarray(np.sum(means * weights, axis=-1) / np.sum(weights))
