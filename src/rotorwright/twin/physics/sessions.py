"""What people do on the bench with one craft, as records: poses, sticks, switches, transmitter off, motors, power.

Everything irregular comes from the generator that is passed in; times are those of the aircraft's clock, which did not
start with the session. These are the records that a fault matrix judges by the thousand, so all is done in arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.records import AnswerRecord, ChannelRecord, MotionRecord, RotorRecord
from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import FloatArray, stacked
from rotorwright.twin.physics.flight import record_flight
from rotorwright.twin.physics.hand_motion import HandMotion, HandPose
from rotorwright.twin.physics.receiver import StickName

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.random import Generator

    from rotorwright.signals.flight import Flight
    from rotorwright.twin.physics.body import Body
    from rotorwright.twin.physics.craft import BenchCraft
    from rotorwright.twin.physics.receiver import Radio
    from rotorwright.twin.physics.rotors import RotorPlace, Rotors

USUAL_POSES = (
    HandPose.LEVEL,
    HandPose.NOSE_DOWN,
    HandPose.NOSE_UP,
    HandPose.LEFT_DOWN,
    HandPose.RIGHT_DOWN,
    HandPose.LEVEL,
    HandPose.NOSE_RIGHT,
)
STICK_ORDER = (StickName.THRUST, StickName.ROLL, StickName.PITCH, StickName.YAW)
_HOLD_S = (0.6, 2.0)  # how long a pose is held, seen or not
_STREAM_JITTER = 0.08  # spread of the interval of a telemetry stream, as part of it; made up
_REACTION_S = (0.25, 0.8)  # of a person who is asked for something
_ANSWER_HZ = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class PoseSession:
    """The record of an aircraft that was tipped, and what had been asked for."""

    motion: MotionRecord
    poses: tuple[HandPose, ...]


@dataclass(frozen=True, slots=True, eq=False)
class StickSession:
    """The channels while sticks were moved, and when which stick was asked for: (stick, start, end)."""

    channels: ChannelRecord
    windows: tuple[tuple[StickName, float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class SwitchSession:
    """Channels and the aircraft's answers while every switch was moved to each of its positions."""

    channels: ChannelRecord
    answers: AnswerRecord


@dataclass(frozen=True, slots=True, eq=False)
class SilenceSession:
    """Channels and answers around switching the transmitter off and on again."""

    channels: ChannelRecord
    answers: AnswerRecord
    off_at_s: float
    on_again_s: float | None
    was_armed: bool


@dataclass(frozen=True, slots=True, eq=False)
class MotorSession:
    """Motion while one output after the other was run: pulses are (output, start, end); `said` is what a person saw."""

    motion: MotionRecord
    pulses: tuple[tuple[int, float, float], ...]
    rotors: RotorRecord | None
    said: Mapping[int, RotorPlace]


@dataclass(frozen=True, slots=True, eq=False)
class PowerSession:
    """Voltage and current with the motors stopped, (n,) each, a person's meter, and the cells on the pack's label."""

    volts: FloatArray
    amperes: FloatArray
    meter_v: float
    cells_said: int


def pose_session(
    craft: BenchCraft,
    chance: Generator,
    *,
    poses: Sequence[str] = USUAL_POSES,
    rate_hz: float = 50.0,
    pace: float = 1.0,
) -> PoseSession:
    """Return what is streamed while the aircraft is brought from pose to pose; it lies on the bench at first."""
    wanted = tuple(HandPose(each) for each in poses)
    hand = HandMotion(int(chance.integers(2**31)), float(chance.uniform(-3.1, 3.1)), pace=pace)
    clock = float(chance.uniform(1.2, 2.5))
    for number, pose in enumerate(wanted):
        if number > 0 or pose is not HandPose.LEVEL:
            hand.tip(pose, clock)
            clock = hand.still_from_s
        clock += float(chance.uniform(*_HOLD_S))
    at_s = _stream(clock, rate_hz, chance)
    return PoseSession(_motion(craft, craft.new_body(hand), at_s, chance), wanted)


def stick_session(craft: BenchCraft, chance: Generator, *, rate_hz: float = 100.0) -> StickSession:
    """Return the channels as streamed while stick after stick is moved to its positive end, its negative, and back."""
    radio = craft.new_radio()
    begin_s = _clock(chance)
    clock, asked = 1.0, []
    for stick in STICK_ORDER:
        start_s = clock
        clock += _between(chance, _REACTION_S)
        rest = -1.0 if stick is StickName.THRUST else 0.0
        for position in (1.0, -1.0, rest):
            clock = _push_stick(radio, stick, position, clock, chance)
        asked.append((stick, start_s, clock + 0.5))
        clock += 0.6
    at_s = _stream(clock + 0.3, rate_hz, chance)
    windows = tuple((stick, start_s + begin_s, end_s + begin_s) for stick, start_s, end_s in asked)
    return StickSession(_channels(radio, at_s, begin_s), windows)


def switch_session(craft: BenchCraft, chance: Generator, *, rate_hz: float = 50.0, rounds: int = 2) -> SwitchSession:
    """Return channels and answers while each switch goes through its positions; thrust stays low."""
    radio = craft.new_radio()
    clock = 1.5
    for channel, positions in craft.switches.items():
        clock += _between(chance, _REACTION_S)
        for position in (*positions[1:], *positions[::-1][1:]) * rounds:
            radio.move_channel(channel, position, clock, over_s=float(chance.uniform(0.03, 0.12)))
            clock += float(chance.uniform(0.9, 1.8))
    return SwitchSession(*_heard_and_answered(craft, radio, clock + 0.5, chance, rate_hz=rate_hz))


def transmitter_off_session(
    craft: BenchCraft,
    chance: Generator,
    *,
    rate_hz: float = 50.0,
    armed: bool = True,
    silent_s: float = 9.0,
    comes_back: bool = True,
) -> SilenceSession:
    """Return channels and answers around the transmitter's silence; `armed` moves the arming switch on before it."""
    radio = craft.new_radio()
    if armed:
        radio.move_channel(craft.arming_channel, 1.0, 0.8)
    off_s = float(chance.uniform(2.5, 3.5))
    back_s = off_s + silent_s
    end_s = back_s + (3.0 if comes_back else 0.0)
    radio.switch_off(off_s, back_s if comes_back else end_s + 10.0)
    channels, answers = _heard_and_answered(craft, radio, end_s, chance, rate_hz=rate_hz)
    begin_s = float(channels.at_s[0])
    before = answers.is_armed[answers.at_s < off_s + begin_s]
    return SilenceSession(
        channels, answers, off_s + begin_s, back_s + begin_s if comes_back else None, bool(before[-1] > 0.5)
    )


def motor_session(
    craft: BenchCraft,
    chance: Generator,
    *,
    rate_hz: float = 500.0,
    tells_speed: bool = True,
    person_looks: bool = True,
) -> MotorSession:
    """Return motion, and speeds as the motor controllers tell them, while each output gets one short pulse, on foam."""
    rotors = craft.new_rotors()
    body = craft.new_body(HandMotion(int(chance.integers(2**31))), rotors)
    value = _between(chance, constants.LOW_COMMAND)
    clock, pulses = 1.5, []
    for output in sorted(craft.output_of.values()):
        over_s = float(chance.uniform(0.9, 1.5))
        rotors.command(output, value, clock, clock + over_s)
        pulses.append((output, clock, clock + over_s))
        clock += over_s + float(chance.uniform(1.2, 1.8))
    at_s = np.arange(round(clock * rate_hz)) / rate_hz
    begin_s = _clock(chance)
    motion = _motion(craft, body, at_s, chance, begin_s=begin_s)
    told = _told_speeds(craft, rotors, _stream(clock, 50.0, chance), begin_s) if tells_speed else None
    seen = {craft.output_of[each.place]: each.place for each in craft.rotors if not each.is_dead and person_looks}
    shifted = tuple((output, start_s + begin_s, end_s + begin_s) for output, start_s, end_s in pulses)
    return MotorSession(motion, shifted, told, dict(sorted(seen.items())))


def power_session(craft: BenchCraft, chance: Generator, *, over_s: float = 5.0, rate_hz: float = 10.0) -> PowerSession:
    """Return voltage and current with the motors stopped, and a person's reading of the connector."""
    battery = craft.new_battery()
    volts, amperes = battery.measured(_clock(chance) + np.arange(round(over_s * rate_hz)) / rate_hz)
    true = float(battery.volts(battery.amperes(0.0)))
    return PowerSession(volts, amperes, round(true * craft.meter_part, 2), craft.battery.cells)


def flight_session(
    craft: BenchCraft, chance: Generator, *, duration_s: float = 30.0, rate_hz: float = 1000.0
) -> tuple[Flight, Flight]:
    """Return a flight before the changeover and one after it."""
    before, after = (int(each) for each in chance.integers(2**31, size=2))
    return (
        record_flight(craft.flight_before, before, duration_s=duration_s, rate_hz=rate_hz),
        record_flight(craft.flight_after, after, duration_s=duration_s, rate_hz=rate_hz),
    )


def answers_of(craft: BenchCraft, at_s: FloatArray, pulses_us: FloatArray, is_signal: FloatArray) -> AnswerRecord:
    """Return what the aircraft says it does, from (n, channels) pulses that it hears at (n,) rising times.

    A failsafe that stopped the motors holds until the arming switch was seen off with a signal.
    """
    asked = craft.settings.arming.is_on(pulses_us)
    lost = (is_signal < 0.5) & craft.failsafe_acts
    allowed_again = (is_signal > 0.5) & (asked < 0.5)
    armed = asked * ~_held(lost, allowed_again)
    if craft.answer_stuck is not None:
        armed = np.full(len(at_s), craft.answer_stuck)
    bits = np.zeros(len(at_s), dtype=np.int64)
    for each in craft.settings.functions:
        bits |= each.is_on(pulses_us).astype(np.int64) << craft.settings.mode_bit_of[each.function]
    return AnswerRecord(at_s, armed, bits)


def _held(sets: np.ndarray, clears: np.ndarray) -> np.ndarray:
    """Return whether, at each sample, something was set and not cleared since."""
    numbers = np.arange(len(sets))
    last_set = np.maximum.accumulate(np.where(sets, numbers, -1))
    last_clear = np.maximum.accumulate(np.where(clears, numbers, -1))
    held: np.ndarray = last_set > last_clear
    return held


def _heard_and_answered(
    craft: BenchCraft, radio: Radio, until_s: float, chance: Generator, *, rate_hz: float
) -> tuple[ChannelRecord, AnswerRecord]:
    begin_s = _clock(chance)
    channels = _channels(radio, _stream(until_s, rate_hz, chance), begin_s)
    fine_s = np.arange(round(until_s * 100.0)) / 100.0
    pulses, signal = radio.many(np.maximum(fine_s - craft.answer_delay_s, 0.0))
    every = answers_of(craft, fine_s, pulses, signal)
    shown = np.searchsorted(fine_s, _stream(until_s - 0.02, _ANSWER_HZ, chance))
    return channels, AnswerRecord(fine_s[shown] + begin_s, every.is_armed[shown], every.mode_bits[shown])


def _channels(radio: Radio, at_s: FloatArray, begin_s: float) -> ChannelRecord:
    pulses, signal = radio.many(at_s)
    return ChannelRecord(at_s + begin_s, pulses, signal)


def _motion(
    craft: BenchCraft, body: Body, at_s: FloatArray, chance: Generator, *, begin_s: float | None = None
) -> MotionRecord:
    said = craft.new_sensor().report(at_s, body)
    start_s = _clock(chance) if begin_s is None else begin_s
    return MotionRecord(at_s + start_s, stacked(said.force_m_s2), stacked(said.rate_rad_s), stacked(said.angles_rad))


def _told_speeds(craft: BenchCraft, rotors: Rotors, at_s: FloatArray, begin_s: float) -> RotorRecord:
    """Return speeds by output; the motor controllers count poles, and the settings say how many those are."""
    speeds = []
    for output in sorted(craft.output_of.values()):
        spec = next(each for each in craft.rotors if craft.output_of[each.place] == output)
        speeds.append(rotors.speed_hz(output, at_s) * spec.magnets / craft.settings.magnets)
    return RotorRecord(at_s + begin_s, np.stack(speeds, axis=1))


def _push_stick(radio: Radio, stick: StickName, position: float, clock: float, chance: Generator) -> float:
    """Move a stick and stay there; return when the next thing may begin."""
    over_s = float(chance.uniform(0.15, 0.5))
    radio.move(stick, position, clock, over_s)
    return clock + over_s + float(chance.uniform(0.25, 0.7))


def _stream(until_s: float, rate_hz: float, chance: Generator) -> FloatArray:
    """Return the uneven times of a telemetry stream."""
    number = np.arange(max(2, round(until_s * rate_hz)))
    late = np.clip(chance.normal(0.0, _STREAM_JITTER, len(number)), -0.3, 0.3)
    late[0] = 0.0
    at_s: FloatArray = (number + late) / rate_hz
    return at_s


def _clock(chance: Generator) -> float:
    return float(chance.uniform(20.0, 200.0))


def _between(chance: Generator, limits: tuple[float, float]) -> float:
    return float(chance.uniform(*limits))
