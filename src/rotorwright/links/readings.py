"""What a running application measures, reading by reading, whatever the wire.

Axes are forward, right, down. `at_s` is the aircraft's own clock: how long a message was on its way does not matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias


class Stream(StrEnum):
    """What can be watched."""

    MOTION = "motion"
    ATTITUDE = "attitude"
    CHANNELS = "receiver channels"
    ROTORS = "rotor speeds"
    ANSWER = "what is armed and on"


@dataclass(frozen=True, slots=True)
class MotionReading:
    """Specific force in m/s2 (level at rest: 0, 0, -9.81) and body rates in rad/s."""

    at_s: float
    force_m_s2: tuple[float, float, float]
    rate_rad_s: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class HeldReading:
    """Roll, pitch and yaw in radians as the aircraft estimates them."""

    at_s: float
    attitude_rad: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class ChannelsReading:
    """Pulse widths of the receiver channels in microseconds, first channel first; None where a channel is not there."""

    at_s: float
    pulses_us: tuple[float | None, ...]
    is_signal: bool


@dataclass(frozen=True, slots=True)
class RotorReading:
    """Turns per second of the rotor on one output, 1 is the first."""

    at_s: float
    output: int
    speed_hz: float


@dataclass(frozen=True, slots=True)
class AnswerReading:
    """Whether the motors are armed, and the bit field of functions that are on, as the release book explains it."""

    at_s: float
    is_armed: bool
    mode_bits: int


Reading: TypeAlias = MotionReading | HeldReading | ChannelsReading | RotorReading | AnswerReading
