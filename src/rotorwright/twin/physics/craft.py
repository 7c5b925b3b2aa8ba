"""A whole aircraft for the bench: the physical truth, and its settings, which fit it unless a fault says otherwise.

Every craft is another one: noise, bias, mounting, channel order, reversals, wiring, turning sense, battery. The same
seed makes the same craft, and a fault changes what it says and nothing else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import FloatArray, rows_of
from rotorwright.twin.physics.battery import Battery, BatterySpec
from rotorwright.twin.physics.body import Body, BodySpec
from rotorwright.twin.physics.flight import FlightSpec
from rotorwright.twin.physics.hand_motion import HandMotion
from rotorwright.twin.physics.motion_sensor import MotionSensor, SensorSpec
from rotorwright.twin.physics.receiver import ChannelSpec, Radio, RadioSpec, SignalLoss, StickName
from rotorwright.twin.physics.rotors import SIDES, RotorPlace, Rotors, RotorSpec
from rotorwright.twin.physics.settings_held import HeldSettings, SwitchRange, right_angles, rotation_of_degrees
from rotorwright.twin.physics.support import Support

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.random import Generator

    from rotorwright.twin.physics.faults import BenchFault

_HEALTHY = 17  # stream of chance that makes the sound craft
_FAULTY = 18
_TWO_WAY, _THREE_WAY = (-1.0, 1.0), (-1.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class BenchCraft:
    """One aircraft.

    Args:
        seed: what it was made from.
        faults: what is wrong with it.
        settings: what it was told about itself.
        sensor, body, foam, rotors, radio, battery: the truth.
        output_of: which output each motor is wired to.
        switches: positions (-1 to 1) of the switch on each channel that has one, where it rests first.
        answer_delay_s: how long it takes to answer a switch.
        answer_stuck: what it always says about being armed; None for the truth.
        failsafe_acts: whether it stops the motors when it hears that the signal is lost.
        meter_part: what a person's meter shows, over the true voltage.
        flight_before, flight_after: how it flew before the changeover, and now.
        display_forgets: whether its display takes characters and does not keep them.
        display_is_old: whether its display holds the characters of another release.
    """

    seed: int
    faults: tuple[BenchFault, ...]
    settings: HeldSettings
    sensor: SensorSpec
    body: BodySpec
    foam: Support
    rotors: tuple[RotorSpec, ...]
    output_of: Mapping[RotorPlace, int]
    radio: RadioSpec
    switches: Mapping[int, tuple[float, ...]]
    battery: BatterySpec
    answer_delay_s: float
    answer_stuck: float | None
    failsafe_acts: bool
    meter_part: float
    flight_before: FlightSpec
    flight_after: FlightSpec
    display_forgets: bool = False
    display_is_old: bool = False

    @classmethod
    def make(cls, seed: int, faults: Iterable[BenchFault] = ()) -> BenchCraft:
        """Return the craft of a seed, with these faults put in, in their order."""
        from rotorwright.twin.physics.planting import plant  # noqa: PLC0415 - it needs this class

        craft = _healthy(seed)
        for fault in faults:
            craft = plant(craft, fault, np.random.default_rng([seed, _FAULTY, list(type(fault)).index(fault)]))
        return craft

    def new_rotors(self) -> Rotors:
        """Return its rotors, at rest."""
        return Rotors(self.rotors, self.output_of, yaw_inertia_kg_m2=self.body.inertia_kg_m2[2], support=self.foam)

    def new_body(self, hand: HandMotion | None = None, rotors: Rotors | None = None) -> Body:
        """Return its body, on the bench's foam unless a hand takes it."""
        return Body(self.body, self.foam, hand or HandMotion(self.seed), rotors or self.new_rotors())

    def new_sensor(self) -> MotionSensor:
        """Return its motion sensor with the settings that turn it."""
        return MotionSensor(self.sensor, self.settings.sensor_to_body)

    def new_radio(self) -> Radio:
        """Return its transmitter and receiver, everything at rest."""
        return Radio(self.radio)

    def new_battery(self) -> Battery:
        """Return its battery, plugged in."""
        return Battery(self.battery)

    @property
    def arming_channel(self) -> int:
        """Channel of the switch that is meant for arming, whatever the settings say."""
        return next(iter(self.switches))


def _healthy(seed: int) -> BenchCraft:
    chance = np.random.default_rng([seed, _HEALTHY])
    chip, board_deg, sensor = _sensor(chance)
    off_deg = chance.uniform(-constants.MOUNTING_OFF_DEG, constants.MOUNTING_OFF_DEG, 2)
    left_deg = chance.uniform(-constants.TRIM_LEFT_DEG, constants.TRIM_LEFT_DEG, 2)
    lies = rotation_of_degrees(float(off_deg[0]), float(off_deg[1]), 0.0)
    mounting = lies @ rotation_of_degrees(*board_deg) @ chip
    body, foam = _body(chance)
    rotors, output_of = _rotors(chance)
    radio, switches, arming, functions = _radio(chance)
    battery = _battery(chance)
    wait_s = float(chance.uniform(*constants.FAILSAFE_WAIT_S))
    radio = replace(radio, wait_s=wait_s * float(chance.uniform(0.9, 1.1)))
    settings = HeldSettings(
        chip=rows_of(chip),
        board_deg=board_deg,
        level_trim_deg=(float(off_deg[0] + left_deg[0]), float(off_deg[1] + left_deg[1])),
        channel_of=radio.channel_of,
        is_reversed=MappingProxyType(
            {stick: radio.channels[channel - 1].is_reversed for stick, channel in radio.channel_of.items()}
        ),
        low_us=constants.PULSE_LOW_US,
        middle_us=constants.PULSE_MIDDLE_US,
        high_us=constants.PULSE_HIGH_US,
        dead_us=float(chance.uniform(5.0, 10.0)),
        failsafe_wait_s=wait_s,
        failsafe_action="stop the motors",
        failsafe_stops_motors=True,
        channels=len(radio.channels),
        rest_us=_rest(radio),
        arming=arming,
        functions=functions,
        mode_bit_of=MappingProxyType({each.function: number for number, each in enumerate(functions, start=1)}),
        exclusive=((functions[0].function, functions[1].function),),
        thrust_low_us=1075.0,
        start_output_percent=float(chance.uniform(4.0, 7.0)),
        output_of=output_of,
        direction_of=MappingProxyType({each.place: each.direction for each in rotors}),
        magnets=rotors[0].magnets,
        arm_m=MappingProxyType({each.place: (each.forward_m, each.right_m) for each in rotors}),
        mass_kg=body.mass_kg,
        cells=battery.cells,
        cell_full_v=constants.CELL_FULL_V,
        cell_warn_v=constants.CELL_WARN_V,
        cell_land_v=constants.CELL_LAND_V,
        voltage_scale=1.0,
    )
    flies = _flight(chance)
    return BenchCraft(
        seed=seed,
        faults=(),
        settings=settings,
        sensor=replace(sensor, mounting=rows_of(mounting)),
        body=body,
        foam=foam,
        rotors=rotors,
        output_of=output_of,
        radio=radio,
        switches=switches,
        battery=battery,
        answer_delay_s=float(chance.uniform(0.02, 0.15)),
        answer_stuck=None,
        failsafe_acts=True,
        meter_part=1.0 + float(chance.uniform(-constants.METER_OFF, constants.METER_OFF)),
        flight_before=flies,
        flight_after=flies,
    )


def _sensor(chance: Generator) -> tuple[FloatArray, tuple[float, float, float], SensorSpec]:
    """Return the chip's turn, the board's angles, and the sensor on a mounting that is still to be set."""
    turns = right_angles()
    chip = turns[int(chance.integers(len(turns)))]
    roll, pitch, yaw = (90.0 * chance.integers(-1, 3, 3)).tolist()
    force_bias, rate_bias = constants.FORCE_BIAS_M_S2, constants.GYRO_BIAS_RAD_S
    sensor = SensorSpec(
        mounting=rows_of(np.eye(3)),
        force_bias_m_s2=_triple(chance.uniform(-force_bias, force_bias, 3)),
        rate_bias_rad_s=_triple(chance.uniform(-rate_bias, rate_bias, 3)),
        force_scale=_triple(1.0 + chance.uniform(-constants.FORCE_SCALE, constants.FORCE_SCALE, 3)),
        rate_scale=_triple(1.0 + chance.uniform(-constants.GYRO_SCALE, constants.GYRO_SCALE, 3)),
        force_noise_m_s2=_between(chance, constants.FORCE_NOISE_M_S2),
        rate_noise_rad_s=_between(chance, constants.GYRO_NOISE_RAD_S),
        cutoff_hz=_between(chance, constants.SENSOR_CUTOFF_HZ),
        seed=_seed(chance),
    )
    return chip, (roll, pitch, yaw), sensor


def _body(chance: Generator) -> tuple[BodySpec, Support]:
    roll, pitch, yaw = (_between(chance, limits) for limits in constants.INERTIA_KG_M2)
    away = chance.uniform(-constants.SENSOR_OFFSET_M, constants.SENSOR_OFFSET_M, 2)
    return BodySpec(_between(chance, constants.MASS_KG), (roll, pitch, yaw), (float(away[0]), float(away[1]))), Support(
        turn_hz=_between(chance, constants.FOAM_TURN_HZ),
        shift_hz=_between(chance, constants.FOAM_SHIFT_HZ),
        damping=_between(chance, constants.FOAM_DAMPING),
    )


def _rotors(chance: Generator) -> tuple[tuple[RotorSpec, ...], Mapping[RotorPlace, int]]:
    """Return four motors of one kind, each with its own imbalance, and how they are wired."""
    forward, right = _between(chance, constants.ARM_M), _between(chance, constants.ARM_M)
    sense = int(chance.choice([-1, 1]))
    inertia = _between(chance, constants.ROTOR_INERTIA_KG_M2)
    up_s, down_s = _between(chance, constants.SPIN_UP_S), _between(chance, constants.SPIN_DOWN_S)
    start_hz, full_hz = _between(chance, constants.START_SPEED_HZ), _between(chance, constants.FULL_SPEED_HZ)
    magnets = int(chance.choice(constants.MAGNETS))
    rotors = tuple(
        RotorSpec(
            place=place,
            forward_m=forward * ahead,
            right_m=right * aside,
            direction=sense if number % 2 == 0 else -sense,
            inertia_kg_m2=inertia,
            spin_up_s=up_s * float(chance.uniform(0.93, 1.07)),
            spin_down_s=down_s * float(chance.uniform(0.93, 1.07)),
            start_hz=start_hz * float(chance.uniform(0.97, 1.03)),
            full_hz=full_hz * float(chance.uniform(0.99, 1.01)),
            imbalance_kg_m=_between(chance, constants.IMBALANCE_KG_M),
            imbalance_at_rad=float(chance.uniform(0.0, 2.0 * math.pi)),
            harmonics=tuple(float(most * chance.uniform(0.3, 1.0)) for most in constants.HARMONICS),
            roughness_m_s2=constants.ROUGHNESS_M_S2 * float(chance.uniform(0.5, 1.5)),
            magnets=magnets,
        )
        for number, (place, (ahead, aside)) in enumerate(SIDES.items())
    )
    outputs = chance.permutation(4) + 1
    return rotors, MappingProxyType({place: int(each) for place, each in zip(SIDES, outputs, strict=True)})


def _radio(
    chance: Generator,
) -> tuple[RadioSpec, Mapping[int, tuple[float, ...]], SwitchRange, tuple[SwitchRange, ...]]:
    """Return the radio, its switches, and the ranges that the settings give them."""
    count = int(chance.choice([8, 12, constants.CHANNELS]))
    sticks = dict(zip(StickName, (int(each) for each in chance.permutation(4) + 1), strict=True))
    arm, mode, tone = (int(each) for each in chance.permutation(np.arange(5, 9))[:3])
    thrust = sticks[StickName.THRUST]
    channels = []
    for number in range(1, count + 1):
        ends = chance.uniform(-constants.END_PLAY_US, constants.END_PLAY_US, 2)
        middle = constants.PULSE_MIDDLE_US + float(chance.uniform(-constants.MIDDLE_PLAY_US, constants.MIDDLE_PLAY_US))
        low = constants.PULSE_LOW_US + float(ends[0])
        turned = bool(chance.random() < 0.3) and number in sticks.values() and number != thrust
        rests_low = number == thrust or number not in sticks.values()
        channels.append(
            ChannelSpec(
                low_us=low,
                middle_us=middle,
                high_us=constants.PULSE_HIGH_US + float(ends[1]),
                is_reversed=turned,
                preset_us=low if rests_low else middle,
            )
        )
    radio = RadioSpec(
        channel_of=MappingProxyType(sticks),
        channels=tuple(channels),
        frame_hz=_between(chance, constants.FRAME_HZ),
        lost_part=float(chance.uniform(0.0, constants.LOST_PART)),
        jitter_us=_between(chance, constants.STICK_JITTER_US),
        loss=SignalLoss.PRESET if chance.random() < 0.5 else SignalLoss.NO_PULSES,
        seed=_seed(chance),
    )
    functions = (
        SwitchRange("hold level", mode, float(chance.uniform(1250.0, 1350.0)), float(chance.uniform(1640.0, 1720.0))),
        SwitchRange("turn freely", mode, float(chance.uniform(1750.0, 1850.0)), 2100.0),
        SwitchRange("finding tone", tone, float(chance.uniform(1600.0, 1800.0)), 2100.0),
    )
    arming = SwitchRange("arming", arm, float(chance.uniform(1600.0, 1850.0)), 2100.0)
    return radio, MappingProxyType({arm: _TWO_WAY, mode: _THREE_WAY, tone: _TWO_WAY}), arming, functions


def _rest(radio: RadioSpec) -> Mapping[int, float]:
    """Return the pulse of each channel with sticks and switches at rest."""
    sticks = {channel for stick, channel in radio.channel_of.items() if stick is not StickName.THRUST}
    return MappingProxyType(
        {
            number: each.middle_us if number in sticks else each.low_us
            for number, each in enumerate(radio.channels, start=1)
        }
    )


def _battery(chance: Generator) -> BatterySpec:
    return BatterySpec(
        cells=int(chance.choice(constants.CELLS)),
        cell_v=_between(chance, constants.CELL_CHARGED_V),
        resistance_ohm=_between(chance, constants.CELL_RESISTANCE_OHM),
        rest_a=_between(chance, constants.REST_CURRENT_A),
        divider_scale=1.0 + float(chance.uniform(-constants.VOLTAGE_SCALE_OFF, constants.VOLTAGE_SCALE_OFF)),
        seed=_seed(chance),
    )


def _flight(chance: Generator) -> FlightSpec:
    usual = FlightSpec()
    size = chance.uniform(0.85, 1.15, 3)
    roll, pitch, yaw = (float(each * part) for each, part in zip(usual.effect_rad_s2, size, strict=True))
    return FlightSpec(
        effect_rad_s2=(roll, pitch, yaw),
        vibration_rad_s=usual.vibration_rad_s * float(chance.uniform(0.6, 1.4)),
        gyro_noise_rad_s=usual.gyro_noise_rad_s * float(chance.uniform(0.7, 1.3)),
        gyro_cutoffs_hz=tuple(each * float(chance.uniform(0.85, 1.15)) for each in usual.gyro_cutoffs_hz),
        hover=float(chance.uniform(0.30, 0.38)),
        unlike=tuple(float(part) for part in chance.uniform(-0.012, 0.012, 4)),
        build=_seed(chance),
    )


def _between(chance: Generator, limits: tuple[float, float]) -> float:
    return float(chance.uniform(*limits))


def _triple(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _seed(chance: Generator) -> int:
    return int(chance.integers(2**62))
