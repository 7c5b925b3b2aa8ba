"""What was measured on the bench, as arrays. Axes are forward, right, down; times are seconds, rising.

Whoever makes a record leaves out nothing and repairs nothing: gaps, jumps and NaN are for the checks to judge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]

GRAVITY_M_S2 = 9.80665  # standard gravity, 3rd CGPM 1901


@dataclass(frozen=True, slots=True, eq=False)
class MotionRecord:
    """Motion as the aircraft reports it, after whatever mounting its settings say.

    Args:
        at_s: (n,) times of the aircraft's clock.
        force_m_s2: (n, 3) specific force: an aircraft level at rest feels (0, 0, -9.81).
        rate_rad_s: (n, 3) body rates: roll right, nose up, nose right are positive.
        attitude_rad: (n, 3) roll, pitch, yaw as the aircraft estimates them, NaN where it did not say; None if it
            never says.
    """

    at_s: FloatArray
    force_m_s2: FloatArray
    rate_rad_s: FloatArray
    attitude_rad: FloatArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class ChannelRecord:
    """Receiver channels as the aircraft hears them.

    Args:
        at_s: (n,) times.
        pulses_us: (n, c) pulse widths in microseconds, first channel first; NaN where a channel is not there.
        is_signal: (n,) whether the aircraft said that it has a signal, 1.0 or 0.0; None if it does not say.
    """

    at_s: FloatArray
    pulses_us: FloatArray
    is_signal: FloatArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class RotorRecord:
    """Speeds of the rotors as the motor controllers tell them.

    Args:
        at_s: (n,) times.
        speed_hz: (n, m) turns per second of each output, first output first; NaN where not told.
    """

    at_s: FloatArray
    speed_hz: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class AnswerRecord:
    """What the aircraft says it does: armed or not, and which functions are on.

    Args:
        at_s: (n,) times.
        is_armed: (n,) 1.0 where it says that its motors are armed.
        mode_bits: (n,) bit field of the functions that are on, as the release book explains it.
    """

    at_s: FloatArray
    is_armed: FloatArray
    mode_bits: NDArray[np.int64]
