"""When hands or a table hold the aircraft still, and how it lies then.

Nothing here trusts the mounting: a hold is found from how little changes, and known by the direction in which the
accelerometer says that down is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from rotorwright.bench.records import FloatArray, MotionRecord

# What counts as still. All: common practice, no source; set so that a hand's tremor (0.5 degrees at 4 to 9 Hz) is still
# and a slow tip (20 degrees in 1.5 s) is not.
SMOOTHING_S = 0.3
STILL_RATE_RAD_S = 0.18
STILL_TURN_RAD_S = 0.35  # how fast the felt direction of gravity may turn
STILL_FORCE_PART = 0.3  # how far the felt force may be from its usual size: a bad offset makes 0.2 of it
TURN_SPAN_S = 0.1
BRIDGED_S = 0.12  # a break in stillness as short as this is a twitch
SHORTEST_HOLD_S = 0.35
TABLE_RATE_RAD_S = 0.045  # wobble under which no hand holds the aircraft
EDGE_S = 0.1  # left out at both ends of a hold


@dataclass(frozen=True, slots=True, eq=False)
class Hold:
    """One stretch in which the aircraft was held still.

    Args:
        first: index of the first sample.
        last: index after the last sample.
        start_s, end_s: times of both.
        down: (3,) unit direction of gravity in the axes that the aircraft reports.
        force_m_s2: (3,) mean specific force.
        rate_rad_s: (3,) mean rates.
        is_on_table: whether it wobbled so little that no hand can have held it.
    """

    first: int
    last: int
    start_s: float
    end_s: float
    down: FloatArray
    force_m_s2: FloatArray
    rate_rad_s: FloatArray
    is_on_table: bool


def step_s(at_s: FloatArray) -> float:
    """Return the usual time between samples."""
    return float(np.median(np.diff(at_s)))


def smoothed(values: FloatArray, width: int) -> FloatArray:
    """Return the running mean over `width` samples (made odd), shorter at the ends. `values` is (n,) or (n, k)."""
    half = max(0, min(width, len(values) - 1) // 2)
    sums = np.concatenate((np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)))
    index = np.arange(len(values))
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, len(values))
    counts = (high - low).reshape(-1, *([1] * (values.ndim - 1)))
    means: FloatArray = (sums[high] - sums[low]) / counts
    return means


def directions(forces: FloatArray) -> FloatArray:
    """Return the (n, 3) unit directions of gravity, against the (n, 3) specific forces; zero where nothing is felt."""
    sizes = np.linalg.norm(forces, axis=1, keepdims=True)
    found: FloatArray = -forces / np.where(sizes > 0.0, sizes, 1.0)
    return found


def turning_rad_s(record: MotionRecord) -> FloatArray:
    """Return (n,) how fast the felt direction of gravity turns, smoothed."""
    step = step_s(record.at_s)
    down = directions(smoothed(record.force_m_s2, round(SMOOTHING_S / step)))
    span = max(1, round(TURN_SPAN_S / step))
    index = np.arange(len(down))
    low, high = np.maximum(index - span, 0), np.minimum(index + span, len(down) - 1)
    passed = np.maximum(record.at_s[high] - record.at_s[low], step)
    turned: FloatArray = np.linalg.norm(down[high] - down[low], axis=1) / passed
    return turned


def find_holds(record: MotionRecord) -> tuple[Hold, ...]:
    """Return the stretches in which the aircraft was held still, in order of time.

    The record must be whole: finite numbers, rising times, at least some samples.
    """
    step = step_s(record.at_s)
    rates = smoothed(record.rate_rad_s, round(SMOOTHING_S / step))
    is_level_headed = _is_steady_force(record, step)
    rest = np.median(rates[is_level_headed], axis=0) if is_level_headed.any() else np.zeros(3)
    is_still = is_level_headed & (np.linalg.norm(rates - rest, axis=1) < STILL_RATE_RAD_S)
    return tuple(
        _hold(record, first, last, step)
        for first, last in _runs(is_still, bridged=round(BRIDGED_S / step))
        if record.at_s[last - 1] - record.at_s[first] >= SHORTEST_HOLD_S
    )


def resting_rate_rad_s(holds: tuple[Hold, ...]) -> FloatArray:
    """Return (3,) what the gyro says at rest: from the table if it lay on one, else the middle of all holds."""
    if not holds:
        return np.zeros(3)
    chosen = [hold for hold in holds if hold.is_on_table] or list(holds)
    middle: FloatArray = np.median([hold.rate_rad_s for hold in chosen], axis=0)
    return middle


def _is_steady_force(record: MotionRecord, step: float) -> FloatArray:
    sizes = np.linalg.norm(smoothed(record.force_m_s2, round(SMOOTHING_S / step)), axis=1)
    usual = float(np.median(sizes))
    steady: FloatArray = (turning_rad_s(record) < STILL_TURN_RAD_S) & (abs(sizes - usual) < STILL_FORCE_PART * usual)
    return steady


def _runs(is_still: FloatArray, *, bridged: int) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], is_still.astype(np.int8), [0]))))
    runs: list[tuple[int, int]] = []
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and first - runs[-1][1] <= bridged:
            runs[-1] = (runs[-1][0], last)
        else:
            runs.append((first, last))
    return runs


def _hold(record: MotionRecord, first: int, last: int, step: float) -> Hold:
    edge = round(EDGE_S / step) if (last - first) * step > 5 * EDGE_S else 0
    inner = slice(first + edge, last - edge)
    force = record.force_m_s2[inner].mean(axis=0)
    rates = record.rate_rad_s[inner]
    return Hold(
        first=first,
        last=last,
        start_s=float(record.at_s[first]),
        end_s=float(record.at_s[last - 1]),
        down=-force / max(float(np.linalg.norm(force)), 1e-9),
        force_m_s2=force,
        rate_rad_s=rates.mean(axis=0),
        is_on_table=bool(np.sqrt(rates.var(axis=0).sum()) < TABLE_RATE_RAD_S),
    )
