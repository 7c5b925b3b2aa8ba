"""Whether a motion record can be judged at all: what is broken, missing or in another unit is said, never guessed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.records import MotionRecord
from rotorwright.bench.stillness import SMOOTHING_S, smoothed, step_s, turning_rad_s
from rotorwright.bench.verdicts import Finding

if TYPE_CHECKING:
    from rotorwright.bench.records import FloatArray

# Limits of a usable record. All: common practice, no source.
SHORTEST_RECORD_S = 2.0
SLOWEST_HZ = 20.0
LONGEST_GAP_S = 0.5
MOST_HOLES = 0.02  # part of the rows that may be NaN
SATURATED_PART = 0.01  # part of the samples that sit exactly on the largest or smallest value
SATURATED_RUN = 5  # and how many of them in a row
USUAL_FORCE_M_S2 = (7.0, 13.0)
TURN_TO_COMPARE_RAD_S = 0.4
COMPARED_SAMPLES = 20
DEGREES_RATIO = 12.0  # gyro over gravity's turn: 1 in rad/s, 57.3 in deg/s, and a hand turns it in other ways too
TINY_RATIO = 0.1

_AGAIN = "Record the poses again; if it comes back, look at the cable and the telemetry rate."
_AXES = ("forward", "right", "down")


def whole_record(record: MotionRecord) -> tuple[MotionRecord | None, tuple[Finding, ...]]:
    """Return the record without its few empty rows, and what cannot be judged about it.

    None with a finding where nothing can be judged. A record with findings must not be taken for whole.
    """
    shape = _shape_finding(record)
    if shape is not None:
        return None, (shape,)
    is_full = np.isfinite(record.at_s)
    is_full &= np.isfinite(record.force_m_s2).all(axis=1) & np.isfinite(record.rate_rad_s).all(axis=1)
    if float(np.mean(~is_full)) > MOST_HOLES:
        return None, (
            _missing(
                "samples-empty", f"{np.mean(~is_full):.0%} of the samples are empty, so the poses cannot be judged."
            ),
        )
    kept = record if is_full.all() else _rows(record, is_full)
    found = _time_finding(kept.at_s) or _unit_finding(kept) or _sensor_finding(kept)
    return (None, (found,)) if found is not None else (kept, ())


def _missing(kind: str, words: str, advice: str = _AGAIN) -> Finding:
    return Finding(kind, words, advice, is_missing=True)


def _rows(record: MotionRecord, chosen: FloatArray) -> MotionRecord:
    attitude = record.attitude_rad
    if attitude is not None and len(attitude) == len(chosen):
        attitude = attitude[chosen]
    return MotionRecord(record.at_s[chosen], record.force_m_s2[chosen], record.rate_rad_s[chosen], attitude)


def _shape_finding(record: MotionRecord) -> Finding | None:
    count = len(record.at_s) if record.at_s.ndim == 1 else -1
    if count < 0 or record.force_m_s2.shape != (count, 3) or record.rate_rad_s.shape != (count, 3):
        return _missing("record-misshapen", "Times, accelerations and rates of the record do not belong together.")
    if count == 0:
        return _missing("record-empty", "Nothing was recorded: no sample of the motion sensor arrived.")
    if count < SHORTEST_RECORD_S * SLOWEST_HZ:
        return _missing("record-short", f"Only {count} samples were recorded: too few to see a pose.")
    return None


def _time_finding(at_s: FloatArray) -> Finding | None:
    steps = np.diff(at_s)
    if (steps < 0.0).any():
        back = float(-steps.min())
        return _missing(
            "clock-jumped", f"The aircraft's clock jumped back by {back:.3g} s in the record: it may have restarted."
        )
    usual = float(np.median(steps))
    if usual <= 0.0 or at_s[-1] - at_s[0] < SHORTEST_RECORD_S:
        return _missing("record-short", f"The record covers only {at_s[-1] - at_s[0]:.3g} s: too short to see a pose.")
    if usual > 1.0 / SLOWEST_HZ:
        return _missing(
            "record-slow",
            f"The samples are {usual:.3g} s apart; at least {SLOWEST_HZ:.0f} a second are needed "
            "(or the times are not in seconds).",
        )
    if steps.max() > LONGEST_GAP_S:
        begun = float(at_s[int(steps.argmax())] - at_s[0])
        return _missing(
            "time-gap",
            f"The record has a gap of {steps.max():.2g} s, {begun:.1f} s after its start: a move may be lost.",
        )
    return None


def _unit_finding(record: MotionRecord) -> Finding | None:
    usual = float(np.median(np.linalg.norm(record.force_m_s2, axis=1)))
    low, high = USUAL_FORCE_M_S2
    if not low <= usual <= high:
        return _missing("force-units", f"At rest {usual:.3g} m/s² are felt instead of 9.8: {_likely_unit(usual)}.")
    turning = turning_rad_s(record)
    compared = turning > TURN_TO_COMPARE_RAD_S
    if compared.sum() < COMPARED_SAMPLES:
        return None
    rates = np.linalg.norm(smoothed(record.rate_rad_s, round(SMOOTHING_S / step_s(record.at_s))), axis=1)
    ratio = float(np.median(rates[compared] / turning[compared]))
    if ratio > DEGREES_RATIO:
        return _missing(
            "rate-units",
            f"The gyro says {ratio:.0f} times the turn that gravity shows: its rates look like degrees per second, "
            "not radians.",
        )
    if ratio < TINY_RATIO:
        return _missing(
            "gyro-silent",
            "The aircraft was turned and the gyro hardly says so: it may be off, or its unit may be another.",
        )
    return None


def _likely_unit(usual: float) -> str:
    if 0.7 < usual < 1.3:  # one, give or take a bad calibration
        return "it looks like multiples of g"
    if usual > 700.0:  # a thousand, give or take
        return "it looks like thousandths of g, or mm/s²"
    return "the accelerometer's unit or scale is wrong, or it says nothing"


def _sensor_finding(record: MotionRecord) -> Finding | None:
    for name, values in (("accelerometer", record.force_m_s2), ("gyro", record.rate_rad_s)):
        for axis, column in zip(_AXES, values.T, strict=True):
            if float(np.ptp(column)) == 0.0:
                return _missing(
                    "sensor-stuck",
                    f"The {name} says {column[0]:.3g} on the {axis} axis and never anything else: it is stuck or off.",
                )
            if _is_saturated(column):
                return _missing(
                    "sensor-saturated",
                    f"The {name} is at the end of its range on the {axis} axis ({abs(column).max():.3g}), "
                    "so what it felt beyond that is lost.",
                    "Move more gently. If it was gentle, the range of the sensor is set too small or it is damaged.",
                )
    return None


def _is_saturated(column: FloatArray) -> bool:
    for end in (column.max(), column.min()):
        at_end = column == end
        if at_end.mean() < SATURATED_PART:
            continue
        edges = np.flatnonzero(np.diff(np.concatenate(([0], at_end.astype(np.int8), [0]))))
        if (edges[1::2] - edges[::2]).max() >= SATURATED_RUN:
            return True
    return False
