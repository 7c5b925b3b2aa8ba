"""How each fault is put into a sound craft. Each changes what it says and nothing else."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from rotorwright.twin.physics.arithmetic import rows_of
from rotorwright.twin.physics.faults import BenchFault
from rotorwright.twin.physics.receiver import SignalLoss, StickName
from rotorwright.twin.physics.settings_held import right_angles

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.random import Generator

    from rotorwright.twin.physics.craft import BenchCraft
    from rotorwright.twin.physics.rotors import RotorSpec

_SPRUNG = (StickName.ROLL, StickName.PITCH, StickName.YAW)


def plant(craft: BenchCraft, fault: BenchFault, chance: Generator) -> BenchCraft:
    """Return the craft with one more fault."""
    return replace(_PLANTED[fault](craft, chance), faults=(*craft.faults, fault))


# --- orientation


def _mounted_otherwise(craft: BenchCraft, chance: Generator) -> BenchCraft:
    turns = [each for each in right_angles() if np.trace(each) < 2.5]
    turned = np.array(craft.sensor.mounting) @ turns[int(chance.integers(len(turns)))]
    return _sensor(craft, mounting=rows_of(turned))


def _force_mirrored(axis: int) -> Callable[[BenchCraft, Generator], BenchCraft]:
    return lambda craft, _chance: _sensor(craft, force_sign=_mirrored(craft.sensor.force_sign, axis))


def _rate_mirrored(axis: int) -> Callable[[BenchCraft, Generator], BenchCraft]:
    return lambda craft, _chance: _sensor(craft, rate_sign=_mirrored(craft.sensor.rate_sign, axis))


def _rate_bias_large(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _sensor(craft, rate_bias_rad_s=_pushed(craft.sensor.rate_bias_rad_s, _signed(chance, 0.25, 0.50), chance))


def _rate_noise_large(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _sensor(craft, rate_noise_rad_s=_between(chance, 0.09, 0.20))


def _force_offset_large(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _sensor(craft, force_bias_m_s2=_pushed(craft.sensor.force_bias_m_s2, _signed(chance, 1.6, 2.4), chance))


def _level_trim_off(craft: BenchCraft, chance: Generator) -> BenchCraft:
    roll, pitch = craft.settings.level_trim_deg
    off = _signed(chance, 5.0, 8.0)
    return _settings(craft, level_trim_deg=(roll + off, pitch) if chance.random() < 0.5 else (roll, pitch + off))


# --- receiver and failsafe


def _channels_swapped(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _settings(craft, channel_of=_swapped(craft.settings.channel_of, chance))


def _channel_reversed(craft: BenchCraft, chance: Generator) -> BenchCraft:
    stick = _one_of(list(StickName), chance)
    turned = {**craft.settings.is_reversed, stick: not craft.settings.is_reversed[stick]}
    return _settings(craft, is_reversed=MappingProxyType(turned))


def _end_point_short(craft: BenchCraft, chance: Generator) -> BenchCraft:
    stick = _one_of(list(StickName), chance)
    spec = craft.radio.channels[craft.radio.channel_of[stick] - 1]
    short = _between(chance, 80.0, 200.0)
    if stick is StickName.THRUST or chance.random() < 0.5:
        return _channel(craft, stick, high_us=spec.high_us - short)
    return _channel(craft, stick, low_us=spec.low_us + short)


def _centre_off(craft: BenchCraft, chance: Generator) -> BenchCraft:
    stick = _one_of(list(_SPRUNG), chance)
    spec = craft.radio.channels[craft.radio.channel_of[stick] - 1]
    return _channel(craft, stick, middle_us=spec.middle_us + _signed(chance, 30.0, 80.0))


def _channel_jitters(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _radio(craft, jitter_us=_between(chance, 9.0, 16.0))


def _frames_lost(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _radio(craft, lost_part=_between(chance, 0.25, 0.40))


def _failsafe_holds(craft: BenchCraft, _chance: Generator) -> BenchCraft:
    return _radio(craft, loss=SignalLoss.HOLDS, says_loss=False)


def _failsafe_nothing(craft: BenchCraft, _chance: Generator) -> BenchCraft:
    idle = _settings(craft, failsafe_action="nothing", failsafe_stops_motors=False)
    return replace(_radio(idle, loss=SignalLoss.HOLDS), failsafe_acts=False)


def _failsafe_late(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _radio(craft, wait_s=craft.radio.wait_s + _between(chance, 3.0, 5.0))


def _failsafe_with_thrust(craft: BenchCraft, chance: Generator) -> BenchCraft:
    armed = craft.radio.channels[craft.arming_channel - 1].high_us
    channels = list(craft.radio.channels)
    thrust = craft.radio.channel_of[StickName.THRUST] - 1
    channels[thrust] = replace(channels[thrust], preset_us=_between(chance, 1350.0, 1700.0))
    channels[craft.arming_channel - 1] = replace(channels[craft.arming_channel - 1], preset_us=armed)
    return _radio(craft, channels=tuple(channels), loss=SignalLoss.PRESET, says_loss=False)


# --- arming


def _armed_at_power_up(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _arming(craft, lowest_us=900.0, highest_us=_between(chance, 1200.0, 1400.0))


def _arm_range_touches_rest(craft: BenchCraft, chance: Generator) -> BenchCraft:
    rest = craft.settings.rest_us[craft.arming_channel]
    return _arming(craft, lowest_us=rest + _between(chance, 0.0, 25.0))


def _arm_channel_missing(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _arming(craft, channel=craft.settings.channels + int(chance.integers(1, 5)))


def _arm_range_whole_travel(craft: BenchCraft, _chance: Generator) -> BenchCraft:
    return _arming(craft, lowest_us=850.0, highest_us=2150.0)


def _modes_overlap(craft: BenchCraft, chance: Generator) -> BenchCraft:
    level, free, *others = craft.settings.functions
    wide = replace(free, lowest_us=_between(chance, 1380.0, 1470.0))
    return _settings(craft, functions=(level, wide, *others))


def _arming_answer_stuck(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return replace(craft, answer_stuck=float(chance.integers(2)))


# --- motors


def _motors_swapped(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return replace(craft, output_of=_swapped(craft.output_of, chance))


def _motor_reversed(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _rotor(craft, chance, lambda spec: {"direction": -spec.direction})


def _motor_dead(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _rotor(craft, chance, lambda _spec: {"is_dead": True})


def _motor_keeps_turning(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _rotor(craft, chance, lambda _spec: {"keeps_turning": True})


def _bearing_rough(craft: BenchCraft, chance: Generator) -> BenchCraft:
    rough = _between(chance, 0.6, 1.2)
    return _rotor(craft, chance, lambda _spec: {"roughness_m_s2": rough, "harmonics": (0.8, 0.6)})


def _rotor_out_of_balance(craft: BenchCraft, chance: Generator) -> BenchCraft:
    off = _between(chance, 6e-6, 9e-6)  # a lost magnet of 0.4 g and a bent shaft
    return _rotor(craft, chance, lambda _spec: {"imbalance_kg_m": off})


def _magnets_wrong(craft: BenchCraft, chance: Generator) -> BenchCraft:
    others = [each for each in (10, 12, 14, 16) if each != craft.settings.magnets]
    return _settings(craft, magnets=_one_of(others, chance))


# --- power


def _cells_wrong(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _settings(craft, cells=craft.settings.cells + int(chance.choice([-2, -1, 1, 2])))


def _voltage_scale_off(craft: BenchCraft, chance: Generator) -> BenchCraft:
    part = 1.0 + _signed(chance, 0.05, 0.10)
    wrong = replace(craft.battery, divider_scale=craft.battery.divider_scale * part)
    return _settings(replace(craft, battery=wrong), voltage_scale=craft.settings.voltage_scale * part)


def _rest_current_high(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return replace(craft, battery=replace(craft.battery, rest_a=_between(chance, 3.0, 6.0)))


def _warning_low(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return _settings(craft, cell_warn_v=_between(chance, 2.8, 3.1))


def _pack_over_full(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return replace(craft, battery=replace(craft.battery, cell_v=_between(chance, 4.32, 4.45)))


def _pack_under_full(craft: BenchCraft, chance: Generator) -> BenchCraft:
    return replace(craft, battery=replace(craft.battery, cell_v=_between(chance, 2.4, 2.85)))


# --- display and flight


def _display_forgets(craft: BenchCraft, _chance: Generator) -> BenchCraft:
    return replace(craft, display_forgets=True, display_is_old=True)


def _characters_old(craft: BenchCraft, _chance: Generator) -> BenchCraft:
    return replace(craft, display_is_old=True)


def _filter_slower(craft: BenchCraft, chance: Generator) -> BenchCraft:
    part = _between(chance, 0.35, 0.5)
    now = craft.flight_after
    return replace(craft, flight_after=replace(now, gyro_cutoffs_hz=tuple(each * part for each in now.gyro_cutoffs_hz)))


def _gain_lower(craft: BenchCraft, chance: Generator) -> BenchCraft:
    part = _between(chance, 0.5, 0.65)
    now = craft.flight_after
    return replace(
        craft,
        flight_after=replace(
            now,
            gain_p=_scaled(now.gain_p, part),
            gain_i=_scaled(now.gain_i, part),
            gain_d=_scaled(now.gain_d, part),
        ),
    )


def _vibration_higher(craft: BenchCraft, chance: Generator) -> BenchCraft:
    now = craft.flight_after
    return replace(craft, flight_after=replace(now, vibration_rad_s=now.vibration_rad_s * _between(chance, 2.0, 3.0)))


_PLANTED: Mapping[BenchFault, Callable[[BenchCraft, Generator], BenchCraft]] = MappingProxyType(
    {
        BenchFault.MOUNTED_OTHERWISE: _mounted_otherwise,
        BenchFault.FORCE_X_MIRRORED: _force_mirrored(0),
        BenchFault.FORCE_Y_MIRRORED: _force_mirrored(1),
        BenchFault.FORCE_Z_MIRRORED: _force_mirrored(2),
        BenchFault.RATE_X_MIRRORED: _rate_mirrored(0),
        BenchFault.RATE_Y_MIRRORED: _rate_mirrored(1),
        BenchFault.RATE_Z_MIRRORED: _rate_mirrored(2),
        BenchFault.RATE_BIAS_LARGE: _rate_bias_large,
        BenchFault.RATE_NOISE_LARGE: _rate_noise_large,
        BenchFault.FORCE_OFFSET_LARGE: _force_offset_large,
        BenchFault.LEVEL_TRIM_OFF: _level_trim_off,
        BenchFault.CHANNELS_SWAPPED: _channels_swapped,
        BenchFault.CHANNEL_REVERSED: _channel_reversed,
        BenchFault.END_POINT_SHORT: _end_point_short,
        BenchFault.CENTRE_OFF: _centre_off,
        BenchFault.CHANNEL_JITTERS: _channel_jitters,
        BenchFault.FRAMES_LOST: _frames_lost,
        BenchFault.FAILSAFE_HOLDS: _failsafe_holds,
        BenchFault.FAILSAFE_NOTHING: _failsafe_nothing,
        BenchFault.FAILSAFE_LATE: _failsafe_late,
        BenchFault.FAILSAFE_WITH_THRUST: _failsafe_with_thrust,
        BenchFault.ARMED_AT_POWER_UP: _armed_at_power_up,
        BenchFault.ARM_RANGE_TOUCHES_REST: _arm_range_touches_rest,
        BenchFault.ARM_CHANNEL_MISSING: _arm_channel_missing,
        BenchFault.ARM_RANGE_WHOLE_TRAVEL: _arm_range_whole_travel,
        BenchFault.MODES_OVERLAP: _modes_overlap,
        BenchFault.ARMING_ANSWER_STUCK: _arming_answer_stuck,
        BenchFault.MOTORS_SWAPPED: _motors_swapped,
        BenchFault.MOTOR_REVERSED: _motor_reversed,
        BenchFault.MOTOR_DEAD: _motor_dead,
        BenchFault.MOTOR_KEEPS_TURNING: _motor_keeps_turning,
        BenchFault.BEARING_ROUGH: _bearing_rough,
        BenchFault.ROTOR_OUT_OF_BALANCE: _rotor_out_of_balance,
        BenchFault.MAGNETS_WRONG: _magnets_wrong,
        BenchFault.CELLS_WRONG: _cells_wrong,
        BenchFault.VOLTAGE_SCALE_OFF: _voltage_scale_off,
        BenchFault.REST_CURRENT_HIGH: _rest_current_high,
        BenchFault.WARNING_LOW: _warning_low,
        BenchFault.PACK_OVER_FULL: _pack_over_full,
        BenchFault.PACK_UNDER_FULL: _pack_under_full,
        BenchFault.DISPLAY_FORGETS: _display_forgets,
        BenchFault.CHARACTERS_OLD: _characters_old,
        BenchFault.FILTER_SLOWER: _filter_slower,
        BenchFault.GAIN_LOWER: _gain_lower,
        BenchFault.VIBRATION_HIGHER: _vibration_higher,
    }
)


def _sensor(craft: BenchCraft, **changes: Any) -> BenchCraft:
    return replace(craft, sensor=replace(craft.sensor, **changes))


def _settings(craft: BenchCraft, **changes: Any) -> BenchCraft:
    return replace(craft, settings=replace(craft.settings, **changes))


def _arming(craft: BenchCraft, **changes: Any) -> BenchCraft:
    return _settings(craft, arming=replace(craft.settings.arming, **changes))


def _radio(craft: BenchCraft, **changes: Any) -> BenchCraft:
    return replace(craft, radio=replace(craft.radio, **changes))


def _channel(craft: BenchCraft, stick: StickName, **changes: Any) -> BenchCraft:
    channels = list(craft.radio.channels)
    number = craft.radio.channel_of[stick] - 1
    channels[number] = replace(channels[number], **changes)
    return _radio(craft, channels=tuple(channels))


def _rotor(craft: BenchCraft, chance: Generator, changes: Callable[[RotorSpec], dict[str, Any]]) -> BenchCraft:
    rotors = list(craft.rotors)
    number = int(chance.integers(len(rotors)))
    rotors[number] = replace(rotors[number], **changes(rotors[number]))
    return replace(craft, rotors=tuple(rotors))


def _swapped(numbers: Mapping[Any, int], chance: Generator) -> Mapping[Any, int]:
    first, second = (list(numbers)[int(each)] for each in chance.permutation(len(numbers))[:2])
    return MappingProxyType({**numbers, first: numbers[second], second: numbers[first]})


def _one_of(choices: list[Any], chance: Generator) -> Any:
    return choices[int(chance.integers(len(choices)))]


def _between(chance: Generator, lowest: float, highest: float) -> float:
    return float(chance.uniform(lowest, highest))


def _signed(chance: Generator, lowest: float, highest: float) -> float:
    return float(chance.uniform(lowest, highest) * chance.choice([-1.0, 1.0]))


def _mirrored(signs: tuple[float, float, float], axis: int) -> tuple[float, ...]:
    return tuple(-each if number == axis else each for number, each in enumerate(signs))


def _pushed(values: tuple[float, float, float], by: float, chance: Generator) -> tuple[float, ...]:
    axis = int(chance.integers(3))
    return tuple(each + by if number == axis else each for number, each in enumerate(values))


def _scaled(values: tuple[float, float, float], part: float) -> tuple[float, float, float]:
    return values[0] * part, values[1] * part, values[2] * part
