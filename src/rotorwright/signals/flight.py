"""A recorded flight as arrays, whatever file or link it came from.

Axes are forward, right, down. Nothing is repaired here: gaps, jumps and NaN are for the computations to judge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Flight:
    """One recorded flight. Arrays share their first axis; None where a quantity was not recorded.

    Args:
        at_s: (n,) times in seconds.
        rate_rad_s: (n, 3) body rates that the control loop sees: roll, pitch, yaw.
        wanted_rate_rad_s: (n, 3) body rates that the pilot or the attitude loop wants.
        raw_rate_rad_s: (n, 3) body rates before the filters.
        throttle: (n,) 0 to 1.
        motors: (n, m) motor outputs, 0 to 1.
        rotor_hz: (n, m) turns per second of each rotor.
        force_m_s2: (n, 3) specific force.
        source: what it was read from, for people.
    """

    at_s: FloatArray
    rate_rad_s: FloatArray
    wanted_rate_rad_s: FloatArray | None = None
    raw_rate_rad_s: FloatArray | None = None
    throttle: FloatArray | None = None
    motors: FloatArray | None = None
    rotor_hz: FloatArray | None = None
    force_m_s2: FloatArray | None = None
    source: str = ""
