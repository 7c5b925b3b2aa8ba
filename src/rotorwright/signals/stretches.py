"""Which stretches of a recording can be computed with: even in time, without gaps and without jumps back.

| limit | value | source |
|---|---|---|
| a step this long is a gap | 1.5 steps | arithmetic: half way to one missing row |
| a gap that may be bridged, where rows are missing all over | 5 steps | common practice, no source |
| unevenness that asks for an even grid | 0.3 steps rms | common practice, no source |
| shortest stretch | 2.5 s | the longest frame of the step response, 2 s, and its overlap |
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from rotorwright.signals.flight import Flight, FloatArray

GAP_STEPS = 1.5
BRIDGED_STEPS = 5.0
UNEVEN_STEPS = 0.3
SHORTEST_S = 2.5
LEAST_SHARE = 0.6  # of the time in strict stretches; below it an even grid is tried
MOST_STRETCHES = 100_000


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows `start` to `stop` (not included) of a recording, even in time."""

    start: int
    stop: int


@dataclass(frozen=True, slots=True, eq=False)
class Usable:
    """The part of a recording that can be computed with.

    Args:
        flight: the recording; on an even grid of its own where its time stamps are uneven.
        rate_hz: rows per second.
        stretches: the usable stretches, in their order.
        said: what was left out or bridged.
        problem: why nothing can be computed; empty where it can.
        is_evened: whether straight lines between the rows stand for the recording, which holds high frequencies back.
    """

    flight: Flight
    rate_hz: float
    stretches: tuple[Stretch, ...]
    said: tuple[str, ...] = ()
    problem: str = ""
    is_evened: bool = False

    @property
    def lasts_s(self) -> float:
        """Seconds in all usable stretches."""
        return sum(one.stop - one.start for one in self.stretches) / self.rate_hz if self.stretches else 0.0


def usable_part(flight: Flight) -> Usable:
    """Return the stretches of a recording that can be computed with; never an error.

    Time stamps within a stretch are taken as even. Where they are not, or where rows are missing all over, the columns
    are brought onto an even grid by straight lines between the rows.
    """
    at_s = np.asarray(flight.at_s)
    if at_s.ndim != 1 or len(at_s) < 3:
        return Usable(flight, 0.0, (), problem="it has fewer than three rows")
    wrong = wrong_shape(flight)
    if wrong:
        return Usable(flight, 0.0, (), problem=wrong)
    with np.errstate(invalid="ignore"):
        steps = np.diff(at_s)
    rising = steps[steps > 0]
    if 2 * len(rising) < len(steps):
        return Usable(flight, 0.0, (), problem="its time stamps mostly repeat or are not numbers")
    step = float(np.median(rising))
    strict = _stretches(steps, step=step, gap_steps=GAP_STEPS)
    if _share(strict, len(at_s)) >= LEAST_SHARE and _unevenness(steps, strict, step) <= UNEVEN_STEPS:
        return Usable(flight, _rate(at_s, strict), strict, said=_breaks(steps, step, strict, len(at_s)))
    loose = _stretches(steps, step=step, gap_steps=BRIDGED_STEPS)
    if not loose:
        return Usable(flight, 1 / step, (), problem=f"no stretch of {SHORTEST_S:g} s is without gaps or jumps in time")
    even, rate_hz, stretches = _evened(flight, loose)
    said: tuple[str, ...] = (
        "its time stamps are uneven or rows are missing all over; it was brought onto an even grid",
    )
    said = (*said, *_breaks(steps, step, loose, len(at_s), BRIDGED_STEPS))
    return Usable(even, rate_hz, stretches, said=said, is_evened=True)


def wrong_shape(flight: Flight) -> str:
    """Return what is wrong with the shapes of the columns, or nothing."""
    rows = len(flight.at_s)
    for name in ("rate_rad_s", "wanted_rate_rad_s", "raw_rate_rad_s"):
        array = getattr(flight, name)
        if array is not None and array.shape != (rows, 3):
            return f"its column {name} is not three values in each row"
    for name in ("throttle", "motors", "rotor_hz"):
        array = getattr(flight, name)
        if array is not None and (array.ndim != (1 if name == "throttle" else 2) or len(array) != rows):
            return f"its column {name} does not have one value in each row"
    return ""


def _stretches(steps: FloatArray, *, step: float, gap_steps: float) -> tuple[Stretch, ...]:
    with np.errstate(invalid="ignore"):
        is_even = (steps > 0) & (steps < gap_steps * step)
    cuts = np.flatnonzero(~is_even)
    starts = np.concatenate(([0], cuts + 1))
    stops = np.concatenate((cuts + 1, [len(steps) + 1]))
    long_enough = (stops - starts) * step >= SHORTEST_S
    pairs = zip(starts[long_enough].tolist(), stops[long_enough].tolist(), strict=True)
    return tuple(Stretch(start, stop) for start, stop in pairs)[:MOST_STRETCHES]


def _share(stretches: tuple[Stretch, ...], rows: int) -> float:
    return sum(one.stop - one.start for one in stretches) / rows


def _unevenness(steps: FloatArray, stretches: tuple[Stretch, ...], step: float) -> float:
    total, count = 0.0, 0
    for one in stretches:
        part = steps[one.start : one.stop - 1]
        total += float(np.sum(np.square(part - step)))
        count += len(part)
    return float(np.sqrt(total / max(count, 1))) / step


def _rate(at_s: FloatArray, stretches: tuple[Stretch, ...]) -> float:
    """Rows per second over all stretches: steadier than the median step where time stamps are rounded."""
    rows = sum(one.stop - one.start - 1 for one in stretches)
    return float(rows / sum(at_s[one.stop - 1] - at_s[one.start] for one in stretches))


def _breaks(
    steps: FloatArray, step: float, stretches: tuple[Stretch, ...], rows: int, gap_steps: float = GAP_STEPS
) -> tuple[str, ...]:
    with np.errstate(invalid="ignore"):
        back = int(np.count_nonzero(steps <= 0))
        gaps = int(np.count_nonzero(steps >= gap_steps * step))
    left_out = 1 - _share(stretches, rows)
    said = []
    if gaps:
        said.append(f"{gaps} gaps in time")
    if back:
        said.append(f"{back} time stamps that repeat or jump back")
    if said and left_out >= 0.001:
        said.append(f"{left_out:.1%} of the rows left out, in stretches under {SHORTEST_S:g} s")
    return (", ".join(said),) if said else ()


def _evened(flight: Flight, stretches: tuple[Stretch, ...]) -> tuple[Flight, float, tuple[Stretch, ...]]:
    rate_hz = _rate(flight.at_s, stretches)
    grids = []
    for one in stretches:
        first, last = float(flight.at_s[one.start]), float(flight.at_s[one.stop - 1])
        grids.append(first + np.arange(int((last - first) * rate_hz) + 1) / rate_hz)
    ends = np.cumsum([len(one) for one in grids]).tolist()
    new = tuple(Stretch(stop - len(grid), stop) for grid, stop in zip(grids, ends, strict=True))
    changed: dict[str, Any] = {"at_s": np.concatenate(grids)}
    for name in (one.name for one in fields(flight) if one.name not in {"at_s", "source", "force_m_s2"}):
        array = getattr(flight, name)
        if array is not None:
            parts = [_interpolated(flight.at_s, array, old, grid) for old, grid in zip(stretches, grids, strict=True)]
            changed[name] = np.concatenate(parts)
    return replace(flight, force_m_s2=None, **changed), rate_hz, new


def _interpolated(at_s: FloatArray, array: FloatArray, stretch: Stretch, grid: FloatArray) -> FloatArray:
    rows = slice(stretch.start, stretch.stop)
    if array.ndim == 1:
        return np.interp(grid, at_s[rows], array[rows])
    return np.stack([np.interp(grid, at_s[rows], array[rows, k]) for k in range(array.shape[1])], axis=1)
