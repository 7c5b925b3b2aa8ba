"""What surrounds the virtual aircraft: how it is held, whether its battery is in, where the transmitter's sticks stand.

The world goes on while the aircraft is off. It has no clock: every question carries the moment it is asked for, and the
answer is a plain function of that moment, so the same questions get the same answers. Sensors add their own noise.

Axes are forward, right, down (FRD) for the aircraft and north, east, down for the ground, as in MAVLink: roll is
positive with the right side down, pitch with the nose up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

GRAVITY_M_S2 = 9.80665  # standard gravity, 3rd CGPM 1901
CELL_VOLTS = 4.05  # a lithium polymer cell that is nearly full; common practice, no source
IDLE_CURRENT_A = 0.45  # of the electronics; made up
SUPPLY_LEAK_VOLTS = 0.02  # what the divider shows with no battery in; made up
TILT_ANGLE_RAD = math.radians(30)
TILT_TIME_CONSTANT_S = 0.3  # how quickly a hand turns the aircraft; made up
CHANNEL_MIDDLE_US = 1500  # pulse widths of 1000, 1500 and 2000 us: common practice, no source
CHANNEL_LOW_US = 1000
# Roll, pitch, throttle, yaw, then switches. Throttle and switches rest low, so that nothing could ever start by itself.
RESTING_CHANNELS_US = (
    CHANNEL_MIDDLE_US,
    CHANNEL_MIDDLE_US,
    CHANNEL_LOW_US,
    CHANNEL_MIDDLE_US,
    CHANNEL_LOW_US,
    CHANNEL_LOW_US,
    CHANNEL_LOW_US,
    CHANNEL_LOW_US,
)


class Tilt(StrEnum):
    """The ways a hand can hold the aircraft; each is the side that goes down."""

    LEVEL = "level"
    FORWARD = "forward"
    BACK = "back"
    LEFT = "left"
    RIGHT = "right"


_ROLL_PITCH = {
    Tilt.LEVEL: (0.0, 0.0),
    Tilt.FORWARD: (0.0, -TILT_ANGLE_RAD),
    Tilt.BACK: (0.0, TILT_ANGLE_RAD),
    Tilt.LEFT: (-TILT_ANGLE_RAD, 0.0),
    Tilt.RIGHT: (TILT_ANGLE_RAD, 0.0),
}


@dataclass(frozen=True, slots=True)
class Motion:
    """Attitude and how it changes: angles in rad, body rates in rad/s."""

    roll_rad: float = 0.0
    pitch_rad: float = 0.0
    yaw_rad: float = 0.0
    roll_rate_rad_s: float = 0.0
    pitch_rate_rad_s: float = 0.0
    yaw_rate_rad_s: float = 0.0

    @property
    def specific_force_m_s2(self) -> tuple[float, float, float]:
        """What an accelerometer feels, forward, right, down: the push of the hand against gravity, so level is -g down.

        The acceleration of the turning hand itself is left out: it is far below gravity.
        """
        level = math.cos(self.pitch_rad)
        return (
            GRAVITY_M_S2 * math.sin(self.pitch_rad),
            -GRAVITY_M_S2 * math.sin(self.roll_rad) * level,
            -GRAVITY_M_S2 * math.cos(self.roll_rad) * level,
        )


class World:
    """The surroundings of one virtual aircraft.

    Args:
        battery_plugged: whether the main battery is in at the start.
        cells: cells in series of the battery.
        yaw_rad: heading of the nose, which no hand changes.
    """

    def __init__(self, *, battery_plugged: bool = False, cells: int = 6, yaw_rad: float = 0.6) -> None:
        self.battery_plugged = battery_plugged
        self.cells = cells
        self.yaw_rad = yaw_rad
        self._channels_us = list(RESTING_CHANNELS_US)
        self._tilt = Tilt.LEVEL
        self._turn_start_s = 0.0
        self._start = (0.0, 0.0)

    @property
    def battery_volts(self) -> float:
        """Voltage that the aircraft measures at its battery connector."""
        return self.cells * CELL_VOLTS if self.battery_plugged else SUPPLY_LEAK_VOLTS

    def supply(self, _now_s: float) -> tuple[float, float]:
        """Return the voltage as the aircraft's divider shows it, and the current, at a moment."""
        return self.battery_volts, IDLE_CURRENT_A if self.battery_plugged else 0.0

    @property
    def channels_us(self) -> tuple[int, ...]:
        """Pulse width of each receiver channel."""
        return tuple(self._channels_us)

    @property
    def held(self) -> Tilt:
        """How the hand holds the aircraft, or is turning it to."""
        return self._tilt

    def move_stick(self, channel: int, pulse_us: int) -> None:
        """Set receiver channel `channel` (1 is the first) to `pulse_us`."""
        self._channels_us[channel - 1] = pulse_us

    def tilt(self, direction: Tilt | str, now_s: float) -> None:
        """Start turning the aircraft so that its `direction` side goes down.

        Raises:
            ValueError: no such direction.
        """
        wanted = Tilt(direction)
        at_start = self.motion(now_s)
        self._start = (at_start.roll_rad, at_start.pitch_rad)
        self._turn_start_s = now_s
        self._tilt = wanted

    def motion(self, now_s: float) -> Motion:
        """Return attitude and rates at `now_s`; the angles approach those of the hand without ever passing them."""
        target = _ROLL_PITCH[self._tilt]
        left = math.exp(-max(0.0, now_s - self._turn_start_s) / TILT_TIME_CONSTANT_S)
        roll, pitch = (aim + (start - aim) * left for aim, start in zip(target, self._start, strict=True))
        roll_speed, pitch_speed = (
            (aim - at) / TILT_TIME_CONSTANT_S for aim, at in zip(target, (roll, pitch), strict=True)
        )
        # Yaw stands still, so Euler rates become body rates by these terms alone.
        return Motion(
            roll_rad=roll,
            pitch_rad=pitch,
            yaw_rad=self.yaw_rad,
            roll_rate_rad_s=roll_speed,
            pitch_rate_rad_s=math.cos(roll) * pitch_speed,
            yaw_rate_rad_s=-math.sin(roll) * pitch_speed,
        )
