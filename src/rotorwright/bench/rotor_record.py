"""What the motor check needs from a record before it can say anything: steady time, right units, a craft at rest.

Every function here answers in words that a person understands; an empty answer means that nothing stands in the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.records import GRAVITY_M_S2

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rotorwright.bench.records import FloatArray, MotionRecord, RotorRecord

# Limits: value, unit, where from. Without another word: common practice, no source.
LEAST_SAMPLES_HZ = 250.0  # Hz: a rotor at 100 Hz and its lag need two and a half samples per turn
MOST_SAMPLES_HZ = 40_000.0  # Hz: above it the times are surely not seconds
LONGEST_GAP_SAMPLES = 4.5  # samples: a hole longer than that cannot be bridged in a turn of a rotor
MOST_LOST_PART = 0.05  # part of the samples that may be missing within a pulse
MOST_JITTER = 0.15  # of a step: samples nearer to an even grid than that are taken to stand on it
REST_BEFORE_S = 0.25  # s: rest before a pulse, from which bias and noise are taken
FORCE_MIDDLE_PART = 0.15  # part of gravity by which the force at rest may be off: offset and scale of a cheap sensor
MOST_TILT_DEG = 30.0  # degrees: the craft lies level, more or less
MOST_REST_RATE_RAD_S = 0.06  # rad/s, standard deviation: twenty times the noise of a usual gyro
SATURATED_SAMPLES = 6  # samples in a row at the very largest value of a column: the sensor's end stop


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a record.

    Args:
        step_s: usual time between two samples.
        at_s: (n,) times.
        force_m_s2: (n, 3) specific force.
        rate_rad_s: (n, 3) body rates.
    """

    step_s: float
    at_s: FloatArray
    force_m_s2: FloatArray
    rate_rad_s: FloatArray


def trouble_of_record(motion: MotionRecord) -> tuple[str, str] | None:
    """Return what makes the whole record unusable and what to do, or None."""
    return _trouble_of_shape(motion) or _trouble_of_time(motion.at_s) or _trouble_of_columns(motion)


def trouble_of_rest(motion: MotionRecord, first_start_s: float) -> tuple[str, str] | None:
    """Return what is wrong with the rest before the first pulse (units, lying level, stillness), or None."""
    inside = (motion.at_s >= first_start_s - 2.0) & (motion.at_s < first_start_s)
    force, rate = motion.force_m_s2[inside], motion.rate_rad_s[inside]
    whole = np.isfinite(force).all(axis=1) & np.isfinite(rate).all(axis=1)
    force, rate = force[whole], rate[whole]
    if len(force) < 20 or np.ptp(motion.at_s[inside]) < REST_BEFORE_S * 0.8:
        return (
            "The record does not hold a rest before the first pulse, so bias and noise are not known.",
            "Record from half a second before the first pulse on, hands off the craft.",
        )
    return _trouble_of_units(force.mean(axis=0)) or _trouble_of_stillness(rate)


def trouble_of_stretch(motion: MotionRecord, start_s: float, end_s: float) -> str:
    """Return why the record cannot be used between two times, or an empty text."""
    at_s = motion.at_s
    if start_s < at_s[0] - 1e-9 or end_s > at_s[-1] + 1e-9:
        return "the record does not reach over it"
    inside = _between(motion, start_s, end_s)
    own = at_s[inside]
    if len(own) < 20:
        return "the record is empty there"
    step_s = _step_of(at_s)
    if np.diff(np.concatenate(([start_s], own, [end_s]))).max() > LONGEST_GAP_SAMPLES * step_s:
        return "samples are missing there"
    if len(own) < (1.0 - MOST_LOST_PART) * (end_s - start_s) / step_s:
        return "too many samples were lost there"
    if not (np.isfinite(motion.force_m_s2[inside]).all() and np.isfinite(motion.rate_rad_s[inside]).all()):
        return "some samples there are no numbers"
    return _saturated_column(motion, inside)


def stretch_of(motion: MotionRecord, start_s: float, end_s: float) -> Stretch:
    """Return a usable piece of the record on an even grid.

    Where the samples already stand on a grid, they stay as they are, and only lost ones are bridged by a straight line:
    a straight line between all of them would take away a third of a ripple at a quarter of the sampling rate.
    """
    own = samples_of(motion, start_s, end_s)
    usual = _step_of(motion.at_s)
    count = np.concatenate(([0.0], np.cumsum(np.maximum(1.0, np.round(np.diff(own.at_s) / usual)))))
    step_s = float(own.at_s[-1] - own.at_s[0]) / float(count[-1])
    on_grid = own.at_s[0] + count * step_s
    if np.abs(own.at_s - on_grid).max() > MOST_JITTER * step_s:
        on_grid = own.at_s
    at_s = own.at_s[0] + np.arange(int(count[-1]) + 1) * step_s
    columns = [np.interp(at_s, on_grid, column) for column in (*own.force_m_s2.T, *own.rate_rad_s.T)]
    even = np.stack(columns, axis=1)
    return Stretch(step_s, at_s, even[:, :3], even[:, 3:])


def samples_of(motion: MotionRecord, start_s: float, end_s: float) -> Stretch:
    """Return a piece of the record as it is, on its own times."""
    inside = _between(motion, start_s, end_s)
    return Stretch(_step_of(motion.at_s), motion.at_s[inside], motion.force_m_s2[inside], motion.rate_rad_s[inside])


def trouble_of_rotors(rotors: RotorRecord) -> str:
    """Return why the speeds that the motor controllers tell cannot be used, or an empty text."""
    at_s, speed = rotors.at_s, rotors.speed_hz
    if at_s.ndim != 1 or speed.ndim != 2 or len(at_s) != len(speed) or len(at_s) < 4 or not speed.shape[1]:
        return "the record of rotor speeds is empty or has a wrong shape"
    if not np.isfinite(at_s).all() or (np.diff(at_s) <= 0).any():
        return "the times of the rotor speeds do not rise"
    told = np.abs(speed[np.isfinite(speed)])
    if not told.size:
        return "no rotor speed was told"
    if told.max() > 2500.0:  # 150 000 turns per minute: no motor of a small craft; common practice, no source
        return "the rotor speeds are too large for turns per second; are they turns per minute?"
    if told.max() == told.min() and told.max() > 0.0:
        return "the rotor speeds never change"
    return ""


def _trouble_of_shape(motion: MotionRecord) -> tuple[str, str] | None:
    count = len(motion.at_s) if motion.at_s.ndim == 1 else -1
    if motion.force_m_s2.shape != (count, 3) or motion.rate_rad_s.shape != (count, 3):
        return (
            "The record of the motion has columns of different lengths.",
            "Record again; if it comes again, tell whoever looks after this tool.",
        )
    if count < 100:
        return (
            f"The record of the motion holds only {count} samples, so no motor can be judged.",
            "Record again, with the motion streamed 400 to 500 times per second.",
        )
    return None


def _trouble_of_time(at_s: FloatArray) -> tuple[str, str] | None:
    if not np.isfinite(at_s).all():
        return "Some times of the record are no numbers.", "Record again."
    steps = np.diff(at_s)
    if (steps <= 0).any():
        return "The clock of the record jumps back or stands still.", "Let nothing restart the craft, and record again."
    rate_hz = 1.0 / float(np.median(steps))
    if LEAST_SAMPLES_HZ <= rate_hz <= MOST_SAMPLES_HZ:
        return None
    hint = " If the times are milliseconds, they have to be seconds." if rate_hz < 5.0 else ""
    return (
        f"The motion came {rate_hz:.3g} times per second; a turning rotor needs {LEAST_SAMPLES_HZ:.0f} or more.{hint}",
        "Use a faster link (the USB cable) and ask for the motion 400 to 500 times per second.",
    )


def _trouble_of_columns(motion: MotionRecord) -> tuple[str, str] | None:
    for name, values in (("accelerometer", motion.force_m_s2), ("gyro", motion.rate_rad_s)):
        finite = np.isfinite(values)
        if finite.mean() < 0.5:
            return f"The {name} told no numbers.", "Restart the craft and record again."
        for axis in range(3):
            column = values[finite[:, axis], axis]
            if not column.size or column.max() == column.min():
                return (
                    f"One axis of the {name} never changes, so it is stuck or not streamed.",
                    "Restart the craft and record again; if it stays, the sensor is broken.",
                )
    return None


def _trouble_of_units(middle: FloatArray) -> tuple[str, str] | None:
    size = float(np.linalg.norm(middle))
    if abs(size / GRAVITY_M_S2 - 1.0) > FORCE_MIDDLE_PART:
        hint = (
            " It looks like g." if 0.8 < size < 1.3 else " It looks like thousandths of g." if 800 < size < 1300 else ""
        )
        return (
            f"At rest the accelerometer shows {size:.3g} instead of 9.81 m/s².{hint}",
            "Lay the craft still; check the unit of the accelerations, and do the orientation check first.",
        )
    tilt = float(np.degrees(np.arccos(np.clip(-middle[2] / size, -1.0, 1.0))))
    if tilt > MOST_TILT_DEG:
        return (
            f"The craft seems to lie {tilt:.0f} degrees off level, so forward and right are not in the plane.",
            "Lay it level on foam, the right way up; do the orientation check first.",
        )
    return None


def _trouble_of_stillness(rate: FloatArray) -> tuple[str, str] | None:
    if float(rate.std(axis=0).max()) <= MOST_REST_RATE_RAD_S:
        return None
    return (
        "Before the first pulse the gyro does not rest: the craft was moved, a motor turned, or rates are not rad/s.",
        "Lay the craft on foam, hands off, and record again; check the unit of the rates.",
    )


def _between(motion: MotionRecord, start_s: float, end_s: float) -> slice:
    return slice(int(np.searchsorted(motion.at_s, start_s)), int(np.searchsorted(motion.at_s, end_s, side="right")))


def _step_of(at_s: FloatArray) -> float:
    """Return the usual time between samples; of a long record its first samples tell it."""
    return float(np.median(np.diff(at_s[:600])))


def _saturated_column(motion: MotionRecord, inside: slice) -> str:
    for name, values in (("accelerometer", motion.force_m_s2), ("gyro", motion.rate_rad_s)):
        part = values[inside]
        for axis in range(3):
            column = part[:, axis]
            if column.max() == column.min():
                return f"one axis of the {name} stands still there"
            if any(_longest_run(column == end) >= SATURATED_SAMPLES for end in (column.max(), column.min())):
                return f"the {name} ran into its end stop there"
    return ""


def _longest_run(is_true: NDArray[np.bool_]) -> int:
    if is_true.sum() < SATURATED_SAMPLES:
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], is_true.astype(np.int8), [0]))))
    return int((edges[1::2] - edges[::2]).max())
