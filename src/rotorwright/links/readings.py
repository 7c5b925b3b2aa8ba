"""What a running application measures, reading by reading, whatever the wire.

Axes are forward, right, down. `at_s` is the aircraft's own clock: how long a message was on its way does not matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Stream(StrEnum):
    """What can be watched."""

    MOTION = "motion"
    ATTITUDE = "attitude"
    CHANNELS = "receiver channels"
    ROTORS = "rotor speeds"
    ANSWER = "what is armed and on"


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a stream."""

    at_s: float


@dataclass(frozen=True, slots=True)
class MotionReading(Reading):
    """Specific force in m/s2 (level at rest: 0, 0, -9.81) and body rates in rad/s."""

    force_m_s2: tuple[float, float, float]
    rate_rad_s: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class HeldReading(Reading):
    """Roll, pitch and yaw in radians as the aircraft estimates them."""

    attitude_rad: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class ChannelsReading(Reading):
    """Pulse widths of the receiver channels in microseconds, first channel first; None where a channel is not there."""

    pulses_us: tuple[float | None, ...]
    is_signal: bool


@dataclass(frozen=True, slots=True)
class RotorReading(Reading):
    """Turns per second of the rotor on one output, 1 is the first."""

    output: int
    speed_hz: float


@dataclass(frozen=True, slots=True)
class AnswerReading(Reading):
    """Whether the motors are armed, and the bit field of functions that are on, as the release book explains it."""

    is_armed: bool
    mode_bits: int
