"""The surroundings with bodies in them: hands that tremble, rotors that push back, a radio, a battery that sags.

What the aircraft really is stands in its `CraftTruth`; what its firmware makes of that depends on the settings. Each of
the bench's faults is a truth that the settings do not fit, or a part that is broken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from rotorwright.twin.physics.battery import Battery, BatterySpec
from rotorwright.twin.physics.body import Body, BodySpec
from rotorwright.twin.physics.hand_motion import HandMotion
from rotorwright.twin.physics.motion_sensor import MotionSensor, SensorSpec
from rotorwright.twin.physics.receiver import Radio, RadioSpec
from rotorwright.twin.physics.rotors import RotorPlace, Rotors, RotorSpec
from rotorwright.twin.world import Motion, Tilt, World

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.bench.records import FloatArray
    from rotorwright.twin.physics.arithmetic import Triple
    from rotorwright.twin.physics.support import Support

_POSES = {
    Tilt.LEVEL: "level",
    Tilt.FORWARD: "nose-down",
    Tilt.BACK: "nose-up",
    Tilt.LEFT: "left-down",
    Tilt.RIGHT: "right-down",
}
_REACHED_S = 0.25  # from the word to the hand; made up
_STICK_MOVE_S, _STICK_HOLD_S = 0.35, 0.45
_SWITCH_HOLD_S = 1.6  # two seconds are asked for; whoever is quick still waits for an answer
_OFF_AFTER_ARMING_S = 1.5


class Told(NamedTuple):
    """What the firmware tells of motion: specific force in m/s2, body rates in rad/s, roll, pitch and yaw in rad."""

    force_m_s2: Triple
    rate_rad_s: Triple
    angles_rad: Triple


@dataclass(frozen=True, slots=True)
class CraftTruth:
    """What an aircraft really is, whatever its settings say.

    Args:
        body: mass, inertia, and where the sensor is.
        support: what it rests on.
        rotors: its motors.
        output_of: which output each place is wired to.
        sensor: the motion sensor and how it really sits.
        radio: transmitter and receiver.
        battery: the pack and the divider.
        arming_switch: the channel that the arming switch of the transmitter moves.
        three_positions: channels that a switch of three positions moves.
        arming_is_stuck: whether the firmware never says that it armed.
        seed: of the hands.
    """

    body: BodySpec
    support: Support
    rotors: tuple[RotorSpec, ...]
    output_of: Mapping[RotorPlace, int]
    sensor: SensorSpec
    radio: RadioSpec
    battery: BatterySpec
    arming_switch: int
    three_positions: tuple[int, ...] = ()
    arming_is_stuck: bool = False
    seed: int = 1


class PhysicalWorld(World):
    """The surroundings of one aircraft with a body.

    Args:
        truth: what the aircraft really is.
        battery_plugged: whether the main battery is in at the start.
        pace: all that hands do takes this many times as long; 0.5 is a quick person.
    """

    def __init__(self, truth: CraftTruth, *, battery_plugged: bool = False, pace: float = 1.0) -> None:
        super().__init__(battery_plugged=battery_plugged, cells=truth.battery.cells)
        self.truth = truth
        self._pace = pace
        self._hand = HandMotion(truth.seed, self.yaw_rad, pace=pace)
        self._rotors = Rotors(
            truth.rotors, truth.output_of, yaw_inertia_kg_m2=truth.body.inertia_kg_m2[2], support=truth.support
        )
        self._body = Body(truth.body, truth.support, self._hand, self._rotors)
        self._radio = Radio(truth.radio)
        self._battery = Battery(truth.battery)
        self._free_s = -math.inf
        """When the hands have done what they were last told to do with the transmitter."""

    @property
    def battery_volts(self) -> float:
        """Voltage of the battery as the aircraft's divider shows it with no motor turning."""
        return self._shown_volts(self.truth.battery.rest_a) if self.battery_plugged else super().battery_volts

    def supply(self, now_s: float) -> tuple[float, float]:
        """Return voltage and current; turning rotors draw current, and the voltage sags with it."""
        if not self.battery_plugged:
            return super().supply(now_s)
        amperes = float(self._battery.amperes(self._rotors.turning(now_s)))
        return self._shown_volts(amperes), amperes

    def _shown_volts(self, amperes: float) -> float:
        return float(self._battery.volts(amperes)) * self.truth.battery.divider_scale

    def told_by(self, configured: FloatArray, offsets_m_s2: tuple[float, float, float]) -> Callable[[float], Told]:
        """Return what firmware tells that takes `configured` for the rotation from sensor to body axes."""
        sensor = MotionSensor(self.truth.sensor, configured, force_offset_m_s2=offsets_m_s2)

        def told(now_s: float) -> Told:
            said = sensor.report(now_s, self._body)
            return Told(said.force_m_s2, said.rate_rad_s, said.angles_rad)

        return told

    def motion(self, now_s: float) -> Motion:
        """Return true attitude and rates."""
        held = self._hand.moment(now_s)
        roll, pitch, yaw = (float(angle) for angle in held.angles_rad)
        p, q, r = (float(rate) for rate in held.rate_rad_s)
        return Motion(roll, pitch, yaw, p, q, r)

    def tilt(self, direction: Tilt | str, now_s: float) -> None:
        """Start to tip the aircraft so that its `direction` side goes down.

        Raises:
            ValueError: no such direction.
        """
        wanted = Tilt(direction)
        self._tilt = wanted
        self._hand.tip(_POSES[wanted], now_s)

    def pose(self, pose: str, now_s: float) -> None:
        """Start to bring the aircraft into a pose of the bench.

        Raises:
            ValueError: no such pose.
        """
        self._hand.tip(pose, now_s + _REACHED_S * self._pace)

    def move_stick_to_its_ends(self, stick: str, now_s: float) -> None:
        """Move a stick to its positive end, to its negative end, and let it rest.

        Raises:
            ValueError: no such stick.
        """
        at_s, move_s = now_s + _REACHED_S * self._pace, _STICK_MOVE_S * self._pace
        rest = -1.0 if stick == "thrust" else 0.0
        for position in (1.0, -1.0, rest):
            self._radio.move(stick, position, at_s, move_s)
            at_s += move_s + _STICK_HOLD_S * self._pace

    def move_switch(self, channel: int, now_s: float) -> None:
        """Move a switch through its positions and back to rest."""
        at_s = now_s + _REACHED_S * self._pace
        middle = (0.0,) if channel in self.truth.three_positions else ()
        for position in (*middle, 1.0, *middle, -1.0):
            self._radio.move_channel(channel, position, at_s)
            at_s += _SWITCH_HOLD_S

    def switch_transmitter(self, now_s: float, *, is_on: bool, arms: bool = False) -> None:
        """Switch the transmitter on with its switches at rest, or off, with the motors armed before if wished."""
        at_s = now_s + _REACHED_S * self._pace
        if is_on:
            self._radio.move_channel(self.truth.arming_switch, -1.0, at_s)
            self._radio.switch_on(at_s)
            return
        if arms:
            self._radio.move_channel(self.truth.arming_switch, 1.0, at_s)
            at_s += _OFF_AFTER_ARMING_S * self._pace
        self._radio.switch_off(at_s)

    def channels(self, now_s: float) -> tuple[dict[int, float], bool]:
        """Return the pulses in microseconds by channel, as far as there are any, and whether there is a signal."""
        pulses, has_signal = self._radio.pulses(now_s)
        found = {number: float(pulse) for number, pulse in enumerate(pulses, start=1) if not math.isnan(pulse)}
        return found, has_signal

    def command_motor(self, output: int, value: float, now_s: float, for_s: float) -> None:
        """Drive a motor for a moment; without a battery nothing turns."""
        if self.battery_plugged:
            self._rotors.command(output, value, now_s, now_s + for_s)

    def has_turned(self, number: int) -> bool:
        """Answer whether the rotor `number` (0 is the first) was ever driven."""
        return self._rotors.ever_turned(number)

    def electrical_rpm(self, output: int, now_s: float) -> float | None:
        """Return the electrical speed that a motor's controller counts; nothing where no motor is wired."""
        spec = next((one for one in self.truth.rotors if self.truth.output_of[one.place] == output), None)
        if spec is None:
            return None
        return float(self._rotors.speed_hz(output, now_s)) * 60.0 * spec.magnets / 2.0
