"""How well the aircraft does what is wanted, and how often its motors can give no more.

| limit | value | source |
|---|---|---|
| a motor is at its limit | output of 0.985 or more | common practice, no source |
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rotorwright.signals.flight import FloatArray

FULL_OUTPUT = 0.985


@dataclass(frozen=True, slots=True, eq=False)
class Tracking:
    """Tracking per axis: (3,) rms of rate - wanted in rad/s, and that as a part of the wanted rate's rms."""

    error_rad_s: FloatArray
    relative: FloatArray


def tracking(wanted: FloatArray, rate: FloatArray) -> Tracking:
    """Return the tracking of (n, 3) rates. Rows with NaN do not count. Relative is NaN where none was wanted."""
    error = np.sqrt(np.nanmean(np.square(rate - wanted), axis=0))
    size = np.sqrt(np.nanmean(np.square(wanted), axis=0))
    return Tracking(error, np.divide(error, size, out=np.full(3, np.nan), where=size > 0))


def error_for_sticks(wanted_power: FloatArray, cross: FloatArray, sticks: FloatArray) -> float:
    """Return the relative tracking error that given sticks would see: the rms of |1 - H|, weighted by their power.

    So two flights are held against the same sticks. What the wind does is not part of it.

    Args:
        wanted_power: (f,) sum of |W|^2.
        cross: (f,) complex sum of conj(W) R.
        sticks: (f,) power of the sticks, in any unit.
    """
    there = wanted_power > 0
    missed = np.abs(1 - cross[there] / wanted_power[there]) ** 2
    return float(np.sqrt(np.sum(missed * sticks[there]) / np.sum(sticks[there])))


def motor_at_limit(motors: FloatArray) -> NDArray[np.bool_]:
    """Return for each row of (n, m) outputs from 0 to 1 whether any motor can give no more."""
    is_full = np.zeros(len(motors), bool)
    for one in motors.T:  # column by column: many times quicker than along rows of four
        is_full |= one >= FULL_OUTPUT
    return is_full


def all_told(motors: FloatArray) -> NDArray[np.bool_]:
    """Return for each row of (n, m) outputs whether all of them are numbers."""
    is_told = np.ones(len(motors), bool)
    for one in motors.T:
        is_told &= np.isfinite(one)
    return is_told


def saturation_share(motors: FloatArray) -> float:
    """Return the share of the rows of (n, m) outputs, 0 to 1, in which any motor can give no more."""
    return float(motor_at_limit(motors).mean())
