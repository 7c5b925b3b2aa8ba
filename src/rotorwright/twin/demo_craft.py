"""What the demo aircraft really is: the truth that the settings of its owner fit, unless a fault is planted.

Its transmitter sends thrust first and pitch the other way round; the arming switch is the seventh channel, the sixth is
a switch of three positions. The settings in thornbill/customised.csv say the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from rotorwright.bench.mountings import rotation_of_angles, rotation_of_code
from rotorwright.twin.physical_world import CraftTruth
from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import rows_of
from rotorwright.twin.physics.battery import BatterySpec
from rotorwright.twin.physics.body import BodySpec
from rotorwright.twin.physics.faults import BenchFault
from rotorwright.twin.physics.motion_sensor import SensorSpec
from rotorwright.twin.physics.receiver import ChannelSpec, RadioSpec, SignalLoss, StickName
from rotorwright.twin.physics.rotors import SIDES, RotorPlace, RotorSpec
from rotorwright.twin.physics.support import Support

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.bench.records import FloatArray

Plant: TypeAlias = Callable[[CraftTruth], CraftTruth]

SENSOR_TURNS = {"C405": 2, "H7": 0}  # MAV_SENSOR_ORIENTATION: how each board's maker soldered the sensor
SENSOR_BIAS_M_S2 = (0.0431, -0.0277, 0.1152)  # what its owner measured on a level table: customised.csv, ACC_OFF_*
ARM_M = 0.08
DIRECTIONS = {  # front rotors turn inwards; +1 is clockwise seen from above
    RotorPlace.FRONT_RIGHT: -1,
    RotorPlace.REAR_RIGHT: +1,
    RotorPlace.REAR_LEFT: -1,
    RotorPlace.FRONT_LEFT: +1,
}
OUTPUTS = {place: number for number, place in enumerate(DIRECTIONS, start=1)}
STICK_CHANNELS = {StickName.THRUST: 1, StickName.ROLL: 2, StickName.PITCH: 3, StickName.YAW: 4}
ARMING_CHANNEL, SELF_LEVEL_CHANNEL = 7, 6
_LOW, _MIDDLE = constants.PULSE_LOW_US, constants.PULSE_MIDDLE_US


def demo_truth(board: str = "C405") -> CraftTruth:
    """Return the demo aircraft as the settings of its owner and the defaults of its board say it is."""
    mounting = rotation_of_code(SENSOR_TURNS[board])
    return CraftTruth(
        body=BodySpec(mass_kg=0.655, inertia_kg_m2=(0.0031, 0.0034, 0.0060), sensor_m=(0.002, -0.001)),
        support=Support(turn_hz=4.0, shift_hz=8.0, damping=0.3),
        rotors=tuple(_rotor(place) for place in DIRECTIONS),
        output_of=OUTPUTS,
        sensor=_sensor(mounting),
        radio=_radio(),
        battery=BatterySpec(cells=4, cell_v=4.05, resistance_ohm=0.003, rest_a=0.45, seed=11),
        arming_switch=ARMING_CHANNEL,
        three_positions=(SELF_LEVEL_CHANNEL,),
        seed=5,
    )


def planted(truth: CraftTruth, faults: Iterable[str]) -> CraftTruth:
    """Return the aircraft with these faults in it, by their names in `BenchFault`.

    Raises:
        ValueError: no such fault, or one that is no part but a setting: set that one.
    """
    for fault in faults:
        plant = _PLANTS.get(BenchFault(fault))
        if plant is None:
            raise ValueError(f"{fault} is a setting, not a part")
        truth = plant(truth)
    return truth


def _turned(truth: CraftTruth) -> CraftTruth:
    """Turn the board a quarter to the right in its frame."""
    turned = rotation_of_angles(0.0, 0.0, 90.0) @ np.array(truth.sensor.mounting)
    return replace(truth, sensor=replace(truth.sensor, mounting=rows_of(turned)))


def _sensor_with(**changes: Any) -> Plant:
    return lambda truth: replace(truth, sensor=replace(truth.sensor, **changes))


def _radio_with(**changes: Any) -> Plant:
    return lambda truth: replace(truth, radio=replace(truth.radio, **changes))


def _battery_with(**changes: Any) -> Plant:
    return lambda truth: replace(truth, battery=replace(truth.battery, **changes))


def _channel_with(channel: int, **changes: Any) -> Plant:
    def plant(truth: CraftTruth) -> CraftTruth:
        channels = list(truth.radio.channels)
        channels[channel - 1] = replace(channels[channel - 1], **changes)
        return replace(truth, radio=replace(truth.radio, channels=tuple(channels)))

    return plant


def _rotor_with(place: RotorPlace, change: Callable[[RotorSpec], RotorSpec]) -> Plant:
    def plant(truth: CraftTruth) -> CraftTruth:
        return replace(truth, rotors=tuple(change(one) if one.place is place else one for one in truth.rotors))

    return plant


def _swapped_outputs(truth: CraftTruth) -> CraftTruth:
    """Swap the leads of the two front motors."""
    left, right = RotorPlace.FRONT_LEFT, RotorPlace.FRONT_RIGHT
    outputs = {**truth.output_of, left: truth.output_of[right], right: truth.output_of[left]}
    return replace(truth, output_of=outputs)


def _swapped_sticks(truth: CraftTruth) -> CraftTruth:
    """Let the transmitter send roll and yaw the other way about."""
    roll, yaw = StickName.ROLL, StickName.YAW
    map_ = {**truth.radio.channel_of, roll: truth.radio.channel_of[yaw], yaw: truth.radio.channel_of[roll]}
    return replace(truth, radio=replace(truth.radio, channel_of=map_))


def _preset_with_thrust(truth: CraftTruth) -> CraftTruth:
    """Let the receiver be taught its preset with the thrust stick up, and say nothing of the loss."""
    silent = replace(truth, radio=replace(truth.radio, says_loss=False))
    return _channel_with(STICK_CHANNELS[StickName.THRUST], preset_us=1600.0)(silent)


def _mirrored(which: str, axis: int) -> Plant:
    sign = tuple(-1.0 if number == axis else 1.0 for number in range(3))
    return _sensor_with(**{which: sign})


_ROLL_CHANNEL = STICK_CHANNELS[StickName.ROLL]
_ONE = RotorPlace.REAR_RIGHT
_PLANTS: dict[BenchFault, Plant] = {
    BenchFault.MOUNTED_OTHERWISE: _turned,
    BenchFault.FORCE_X_MIRRORED: _mirrored("force_sign", 0),
    BenchFault.FORCE_Y_MIRRORED: _mirrored("force_sign", 1),
    BenchFault.FORCE_Z_MIRRORED: _mirrored("force_sign", 2),
    BenchFault.RATE_X_MIRRORED: _mirrored("rate_sign", 0),
    BenchFault.RATE_Y_MIRRORED: _mirrored("rate_sign", 1),
    BenchFault.RATE_Z_MIRRORED: _mirrored("rate_sign", 2),
    BenchFault.RATE_BIAS_LARGE: _sensor_with(rate_bias_rad_s=(0.3, 0.0, 0.0)),
    BenchFault.RATE_NOISE_LARGE: _sensor_with(rate_noise_rad_s=0.12),
    BenchFault.FORCE_OFFSET_LARGE: _sensor_with(force_bias_m_s2=(1.5, 0.0, 0.0)),
    BenchFault.CHANNELS_SWAPPED: _swapped_sticks,
    BenchFault.CHANNEL_REVERSED: _channel_with(_ROLL_CHANNEL, is_reversed=True),
    BenchFault.END_POINT_SHORT: _channel_with(_ROLL_CHANNEL, high_us=1900.0),
    BenchFault.CENTRE_OFF: _channel_with(_ROLL_CHANNEL, middle_us=1545.0),
    BenchFault.CHANNEL_JITTERS: _radio_with(jitter_us=15.0),
    BenchFault.FRAMES_LOST: _radio_with(lost_part=0.25),
    BenchFault.FAILSAFE_HOLDS: _radio_with(loss=SignalLoss.HOLDS, says_loss=False),
    BenchFault.FAILSAFE_LATE: _radio_with(wait_s=6.0),
    BenchFault.FAILSAFE_WITH_THRUST: _preset_with_thrust,
    BenchFault.ARMING_ANSWER_STUCK: lambda truth: replace(truth, arming_is_stuck=True),
    BenchFault.MOTORS_SWAPPED: _swapped_outputs,
    BenchFault.MOTOR_REVERSED: _rotor_with(_ONE, lambda one: replace(one, direction=-one.direction)),
    BenchFault.MOTOR_DEAD: _rotor_with(_ONE, lambda one: replace(one, is_dead=True)),
    BenchFault.MOTOR_KEEPS_TURNING: _rotor_with(_ONE, lambda one: replace(one, keeps_turning=True)),
    BenchFault.BEARING_ROUGH: _rotor_with(_ONE, lambda one: replace(one, roughness_m_s2=1.0, harmonics=(0.8, 0.6))),
    BenchFault.ROTOR_OUT_OF_BALANCE: _rotor_with(_ONE, lambda one: replace(one, imbalance_kg_m=8e-6)),
    BenchFault.VOLTAGE_SCALE_OFF: _battery_with(divider_scale=1.08),
    BenchFault.REST_CURRENT_HIGH: _battery_with(rest_a=4.0),
    BenchFault.PACK_OVER_FULL: _battery_with(cell_v=4.33),
    BenchFault.PACK_UNDER_FULL: _battery_with(cell_v=2.8),
}
PLANTS = tuple(str(fault) for fault in _PLANTS)
"""Names of the faults that can be planted in the demo aircraft; the others are settings."""


def _rotor(place: RotorPlace) -> RotorSpec:
    forward, right = SIDES[place]
    number = OUTPUTS[place]
    return RotorSpec(
        place=place,
        forward_m=forward * ARM_M,
        right_m=right * ARM_M,
        direction=DIRECTIONS[place],
        inertia_kg_m2=2.4e-6,
        spin_up_s=0.06,
        spin_down_s=0.10,
        start_hz=32.0,
        full_hz=700.0,
        imbalance_kg_m=4.0e-7 + 0.3e-7 * number,
        imbalance_at_rad=1.3 * number,
        harmonics=(0.06, 0.03),
        roughness_m_s2=constants.ROUGHNESS_M_S2,
        magnets=12,
    )


def _sensor(mounting: FloatArray) -> SensorSpec:
    return SensorSpec(
        mounting=rows_of(mounting),
        force_bias_m_s2=SENSOR_BIAS_M_S2,
        rate_bias_rad_s=(0.002, -0.003, 0.001),
        force_noise_m_s2=0.02,
        rate_noise_rad_s=0.0015,
        cutoff_hz=220.0,
        seed=3,
    )


def _radio() -> RadioSpec:
    thrust, pitch = STICK_CHANNELS[StickName.THRUST], STICK_CHANNELS[StickName.PITCH]
    sticks = set(STICK_CHANNELS.values()) - {thrust}
    channels = tuple(
        ChannelSpec(is_reversed=number == pitch, preset_us=_MIDDLE if number in sticks else _LOW)
        for number in range(1, constants.CHANNELS + 1)
    )
    return RadioSpec(
        channel_of=STICK_CHANNELS,
        channels=channels,
        frame_hz=100.0,
        lost_part=0.001,
        jitter_us=0.6,
        wait_s=0.5,
        loss=SignalLoss.PRESET,
        says_loss=True,
        seed=2,
    )
