"""What the invented firmware does with its settings and its sensors: body axes, arming, slots, what it tells.

It reads the settings by the names of its own release. Where a release has another name or form for one, that is a row
of the table below. It never knows the truth of the aircraft, only what the sensors say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.bench.mountings import rotation_of_angles, rotation_of_code
from rotorwright.settings.identity import release_line
from rotorwright.twin.physical_world import PhysicalWorld

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.bench.records import FloatArray
    from rotorwright.twin.physical_world import Told
    from rotorwright.twin.settings_in_force import SettingsInForce
    from rotorwright.twin.world import World

SLOTS = 10
LEAN_LIMIT_DEG = 25.0
_NAMES_5_2 = {
    "READY_CHAN": "READY_CHANNEL",
    "RADIO_LIFT_CHAN": "RADIO_MAP_LIFT",
    "MOTOR_ROTOR_MAG": "MOTOR_MAGNETS",
    **{f"SLOT{number}_CHAN": f"SLOT{number}_CHANNEL" for number in range(1, SLOTS + 1)},
}
_QUARTERS = 4  # of 5.2's mounting: 0 to 3 quarter turns to the right, then the same upside down
_THRUST_LOW_BIT, _SIGNAL_BIT = 0, 1  # of READY_PILOT
_MOTORS_OFF, _AT_ONCE = 0, 0.0
_MOTOR_LIMIT = 0.25  # share of full output that a bench command may ask for
_LONGEST_COMMAND_S = 1.0


@dataclass(slots=True)
class _Loss:
    """Since when there is no signal, and since when the failsafe acts."""

    lost_s: float | None = None
    acts_s: float | None = None


class FlightSoftware:
    """One run of the firmware's own logic.

    Args:
        settings: what is in force.
        world: what surrounds the aircraft; without physics it flies nothing, and is never armed.
        release: whole number of the release that runs.
    """

    def __init__(self, settings: SettingsInForce, world: World, *, release: str) -> None:
        self._settings = settings
        self._known = frozenset(settings.names)
        self.world = world
        self._is_old = release_line(release) == "5.2"
        self.is_armed = False
        self._loss = _Loss()
        self._was_off = False
        self._seen_s = -math.inf
        physics = self.physics
        self._told = None if physics is None else physics.told_by(self._configured(), self._offsets())

    @property
    def physics(self) -> PhysicalWorld | None:
        """The world, where it has bodies in it."""
        return self.world if isinstance(self.world, PhysicalWorld) else None

    def motion(self, now_s: float) -> Told | None:
        """Return motion and attitude as the firmware tells them; nothing in a world without bodies."""
        return None if self._told is None else self._told(now_s)

    def number(self, name: str, default: float = 0.0) -> float:
        """Return a setting of this release by its name in 6.0; `default` where it has none."""
        here = _NAMES_5_2.get(name, name) if self._is_old else name
        return float(self._settings[here].number) if here in self._known else default

    def step(self, now_s: float) -> None:
        """Look at the receiver and decide what is armed; asked as often as anything is told."""
        physics = self.physics
        if physics is None or now_s <= self._seen_s:
            return
        self._seen_s = now_s
        pulses, has_signal = physics.channels(now_s)
        self._follow_loss(now_s, has_signal=has_signal)
        if not has_signal:  # what the receiver gives out meanwhile counts for nothing
            self._act_without_signal(now_s)
            return
        wants = self._is_on(pulses, "READY_CHAN", "READY_FROM", "READY_TO")
        if not wants:
            self._was_off = True
            self.is_armed = False
        elif not self.is_armed and self._may_arm(pulses, has_signal=has_signal, now_s=now_s):
            self.is_armed = not physics.truth.arming_is_stuck

    def mode_bits(self, now_s: float) -> int:
        """Return bit n - 1 for each slot n that is switched on."""
        physics = self.physics
        if physics is None:
            return 0
        pulses, has_signal = physics.channels(now_s)
        if not has_signal:
            return 0
        on = (
            self.number(f"SLOT{slot}_TASK") > 0
            and self._is_on(pulses, f"SLOT{slot}_CHAN", f"SLOT{slot}_FROM", f"SLOT{slot}_TO")
            for slot in range(1, SLOTS + 1)
        )
        return sum(1 << number for number, is_on in enumerate(on) if is_on)

    def told_rpm(self, output: int, now_s: float) -> float | None:
        """Return what the controller of one motor tells, by the magnets of the settings; None where none tells."""
        physics = self.physics
        if physics is None or not self.number("MOTOR_TELLS_RPM"):
            return None
        electrical = physics.electrical_rpm(output, now_s)
        return None if electrical is None else electrical / max(1.0, self.number("MOTOR_ROTOR_MAG", 14.0) / 2.0)

    def drive_motor(self, output: int, value: float, for_s: float, now_s: float) -> str | None:
        """Drive a motor on the bench for a moment; return in words why not, or nothing."""
        if self.physics is None:
            return "Refused: this virtual aircraft has no motors"
        if self.is_armed:
            return "Refused: disarm first"
        if not 0.0 <= value <= _MOTOR_LIMIT:
            return f"Refused: the bench drives motors with {_MOTOR_LIMIT:.0%} at most"
        self.physics.command_motor(output, value, now_s, min(for_s, _LONGEST_COMMAND_S))
        return None

    def _configured(self) -> FloatArray:
        angles = [self.number(f"MOUNT_{axis}") for axis in ("ROLL", "PITCH", "YAW")]
        return rotation_of_angles(*angles) @ rotation_of_code(self._chip_code())

    def _chip_code(self) -> int:
        chip = int(self.number("MOUNT_CHIP"))
        if not self._is_old:
            return chip  # as MAVLink numbers the first sixteen of MAV_SENSOR_ORIENTATION
        return 2 * (chip % _QUARTERS) + (8 if chip >= _QUARTERS else 0)

    def _offsets(self) -> tuple[float, float, float]:
        x, y, z = (self.number(f"ACC_OFF_{axis}") for axis in "XYZ")
        return x, y, z

    def _is_on(self, pulses: Mapping[int, float], channel: str, low: str, high: str) -> bool:
        pulse = pulses.get(int(self.number(channel)))
        return pulse is not None and self.number(low) <= pulse <= self.number(high)

    def _follow_loss(self, now_s: float, *, has_signal: bool) -> None:
        if has_signal:
            self._loss = _Loss()
            return
        if self._loss.lost_s is None:
            self._loss.lost_s = now_s
        if self._loss.acts_s is None and now_s - self._loss.lost_s >= self.number("LOSS_WAIT", 300.0) / 1000:
            self._loss.acts_s = now_s

    def _act_without_signal(self, now_s: float) -> None:
        """Do what the failsafe is set to: motors off at once, else a landing that on the ground ends with them off."""
        if self._loss.acts_s is None:
            return
        lands_s = _AT_ONCE if self.number("LOSS_ACTION") == _MOTORS_OFF else self.number("LOSS_LAND_TIME", 10.0)
        if now_s - self._loss.acts_s >= lands_s:
            self.is_armed = False
            self._was_off = False

    def _may_arm(self, pulses: Mapping[int, float], *, has_signal: bool, now_s: float) -> bool:
        checks = int(self.number("READY_PILOT", 15.0))
        thrust = pulses.get(int(self.number("RADIO_LIFT_CHAN", 3.0)), math.inf)
        is_low = thrust <= self.number("RADIO_STICK_LOW", 1040.0) or not checks >> _THRUST_LOW_BIT & 1
        is_heard = has_signal or not checks >> _SIGNAL_BIT & 1
        told = self.motion(now_s)
        roll, pitch = (0.0, 0.0) if told is None else (float(told.angles_rad[0]), float(told.angles_rad[1]))
        lean = math.degrees(math.acos(max(-1.0, min(1.0, math.cos(roll) * math.cos(pitch)))))
        was_off = self._was_off or not self.number("READY_PROP_ASK", 1.0)
        return is_low and is_heard and was_off and lean <= self.number("READY_LEAN_MAX", LEAN_LIMIT_DEG)
