"""Sessions on the bench with a virtual craft: the records, and how faults show in them."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
import pytest

from rotorwright.twin.physics.arithmetic import FloatArray
from rotorwright.twin.physics.craft import BenchCraft
from rotorwright.twin.physics.faults import BenchFault
from rotorwright.twin.physics.hand_motion import HandPose
from rotorwright.twin.physics.receiver import StickName
from rotorwright.twin.physics.sessions import (
    STICK_ORDER,
    USUAL_POSES,
    SilenceSession,
    SwitchSession,
    answers_of,
    flight_session,
    motor_session,
    pose_session,
    power_session,
    stick_session,
    switch_session,
    transmitter_off_session,
)

SEEDS = range(8)
SESSIONS: list[Callable[[BenchCraft, np.random.Generator], object]] = [
    pose_session,
    stick_session,
    switch_session,
    transmitter_off_session,
    motor_session,
    power_session,
]


def chance(seed: int) -> np.random.Generator:
    return np.random.default_rng([seed, 99])


def silence(seed: int, *faults: BenchFault) -> SilenceSession:
    return transmitter_off_session(BenchCraft.make(seed, faults), chance(seed))


def switches(seed: int, *faults: BenchFault) -> SwitchSession:
    return switch_session(BenchCraft.make(seed, faults), chance(seed))


@pytest.mark.parametrize("session", SESSIONS)
def test_a_session_is_quick(session: Callable[[BenchCraft, np.random.Generator], object]) -> None:
    craft = BenchCraft.make(1)
    best = math.inf
    for seed in range(7):
        begin = time.perf_counter()
        session(craft, chance(seed))
        best = min(best, time.perf_counter() - begin)
    assert best < 0.03


def test_the_same_chance_gives_the_same_records() -> None:
    craft = BenchCraft.make(2)
    first, again, other = (pose_session(craft, chance(seed)).motion for seed in (1, 1, 2))
    assert np.array_equal(first.force_m_s2, again.force_m_s2)
    assert first.force_m_s2.shape != other.force_m_s2.shape or not np.allclose(first.force_m_s2, other.force_m_s2)
    pulses, same = (motor_session(craft, chance(1)).motion.rate_rad_s for _ in range(2))
    assert np.array_equal(pulses, same)


def test_poses_are_held_in_the_order_asked_for() -> None:
    for seed in SEEDS:
        session = pose_session(BenchCraft.make(seed), chance(seed))
        assert session.poses == USUAL_POSES
        force = session.motion.force_m_s2
        assert np.all(np.diff(session.motion.at_s) > 0)
        first = [
            int(np.argmax(each)) for each in (force[:, 0] < -3, force[:, 0] > 3, force[:, 1] > 3, force[:, 1] < -3)
        ]
        assert first == sorted(first)
        assert session.motion.attitude_rad is not None
        assert np.all(np.abs(session.motion.attitude_rad[:, 1]) <= math.pi / 2 + 0.01)


def test_other_poses_can_be_asked_for() -> None:
    session = pose_session(BenchCraft.make(1), chance(1), poses=("inverted",), rate_hz=100.0, pace=0.5)
    assert session.poses == (HandPose.INVERTED,)
    assert session.motion.force_m_s2[-5:, 2].mean() > 8


def test_each_stick_moves_in_its_window_and_only_there() -> None:
    for seed in SEEDS:
        craft = BenchCraft.make(seed)
        session = stick_session(craft, chance(seed))
        assert tuple(stick for stick, _, _ in session.windows) == STICK_ORDER
        for stick, start_s, end_s in session.windows:
            inside = (session.channels.at_s >= start_s) & (session.channels.at_s <= end_s)
            for other in StickName:
                pulses = session.channels.pulses_us[inside, craft.radio.channel_of[other] - 1]
                assert (np.ptp(pulses) > 800) == (other is stick)


def test_a_sound_craft_is_armed_exactly_while_its_switch_is_in_the_range() -> None:
    for seed in SEEDS:
        craft = BenchCraft.make(seed)
        session = switch_session(craft, chance(seed))
        pulse = session.channels.pulses_us[:, craft.settings.arming.channel - 1]
        heard = np.interp(session.answers.at_s - craft.answer_delay_s, session.channels.at_s, pulse)
        is_on = heard >= craft.settings.arming.lowest_us
        assert np.mean(session.answers.is_armed == is_on) > 0.95
        assert 0.05 < np.mean(session.answers.is_armed) < 0.5
        assert len(np.unique(session.answers.mode_bits)) >= 4


def test_arming_faults_show_in_the_answers() -> None:
    for seed in SEEDS:
        assert switches(seed, BenchFault.ARMED_AT_POWER_UP).answers.is_armed[0] == 1.0
        assert np.all(switches(seed, BenchFault.ARM_RANGE_WHOLE_TRAVEL).answers.is_armed == 1.0)
        assert np.all(switches(seed, BenchFault.ARM_CHANNEL_MISSING).answers.is_armed == 0.0)
        assert np.ptp(switches(seed, BenchFault.ARMING_ANSWER_STUCK).answers.is_armed) == 0.0


def test_two_modes_are_on_at_once_only_where_they_overlap() -> None:
    both = (1 << 1) | (1 << 2)
    for seed in SEEDS:
        sound, faulty = (switches(seed, *each).answers.mode_bits for each in ((), (BenchFault.MODES_OVERLAP,)))
        assert not np.any((sound & both) == both)
        assert np.any((faulty & both) == both)


def test_a_sound_craft_stops_its_motors_after_the_wait_and_stays_stopped() -> None:
    for seed in SEEDS:
        session = silence(seed)
        craft = BenchCraft.make(seed)
        assert session.was_armed
        off = session.answers.at_s[session.answers.is_armed < 0.5]
        stopped_s = float(off[off > session.off_at_s][0]) - session.off_at_s
        assert stopped_s == pytest.approx(craft.settings.failsafe_wait_s, abs=0.4)
        after = session.answers.at_s > session.off_at_s + stopped_s + 0.05
        assert np.all(session.answers.is_armed[after] == 0.0)
        assert session.channels.is_signal is not None
        assert session.on_again_s is not None
        assert session.channels.is_signal[-1] == 1.0


@pytest.mark.parametrize(
    "fault", [BenchFault.FAILSAFE_HOLDS, BenchFault.FAILSAFE_NOTHING, BenchFault.FAILSAFE_WITH_THRUST]
)
def test_failsafe_faults_leave_the_motors_armed(fault: BenchFault) -> None:
    for seed in SEEDS:
        session = silence(seed, fault)
        assert np.all(session.answers.is_armed[session.answers.at_s > session.off_at_s] == 1.0)
        assert session.channels.is_signal is not None
        says = bool(np.any(session.channels.is_signal < 0.5))
        assert says == (fault is BenchFault.FAILSAFE_NOTHING)
        thrust = session.channels.pulses_us[:, BenchCraft.make(seed).radio.channel_of[StickName.THRUST] - 1]
        assert (np.max(thrust) > 1300) == (fault is BenchFault.FAILSAFE_WITH_THRUST)


def test_a_late_failsafe_comes_late() -> None:
    for seed in SEEDS:
        session = silence(seed, BenchFault.FAILSAFE_LATE)
        silent = session.answers.at_s - session.off_at_s
        assert np.all(session.answers.is_armed[(silent > 0) & (silent < 3.0)] == 1.0)
        assert session.answers.is_armed[(silent > 6.5) & (silent < 8.5)].max() == 0.0


def test_a_stopped_craft_arms_again_only_after_its_switch_was_off() -> None:
    craft = BenchCraft.make(1)
    pulses = np.tile([craft.settings.rest_us[number] for number in sorted(craft.settings.rest_us)], (6, 1))
    on = craft.settings.arming.highest_us - 50
    pulses[:, craft.settings.arming.channel - 1] = [on, on, on, 1000.0, on, on]
    signal = np.array([1.0, 0.0, 1.0, 1.0, 1.0, 1.0])
    assert answers_of(craft, np.arange(6.0), pulses, signal).is_armed.tolist() == [1, 0, 0, 0, 1, 1]


def test_the_yaw_of_the_body_tells_the_direction_of_each_motor() -> None:
    for seed in SEEDS:
        craft = BenchCraft.make(seed)
        session = motor_session(craft, chance(seed))
        for output, start_s, _ in session.pulses:
            spec = next(each for each in craft.rotors if craft.output_of[each.place] == output)
            early = (session.motion.at_s > start_s) & (session.motion.at_s < start_s + 0.06)
            bias = session.motion.rate_rad_s[session.motion.at_s < session.pulses[0][1], 2].mean()
            assert spec.direction * (session.motion.rate_rad_s[early, 2].mean() - bias) < 0


def test_motor_faults_show() -> None:
    craft = BenchCraft.make(3, [BenchFault.MOTOR_DEAD])
    session = motor_session(craft, chance(3))
    assert session.rotors is not None
    dead = next(craft.output_of[each.place] for each in craft.rotors if each.is_dead)
    assert dead not in session.said
    assert np.max(session.rotors.speed_hz[:, dead - 1]) == 0.0
    wrong = BenchCraft.make(3, [BenchFault.MAGNETS_WRONG])
    told, true = (motor_session(each, chance(3)).rotors for each in (wrong, BenchCraft.make(3)))
    assert told is not None
    assert true is not None
    ratio = np.nanmax(told.speed_hz) / np.nanmax(true.speed_hz)
    assert ratio == pytest.approx(BenchCraft.make(3).settings.magnets / wrong.settings.magnets, rel=1e-6)


def test_said_places_are_where_the_outputs_are_really_wired_to() -> None:
    craft = BenchCraft.make(4, [BenchFault.MOTORS_SWAPPED])
    said = motor_session(craft, chance(4)).said
    assert {place: output for output, place in said.items()} == craft.output_of
    assert {place: output for output, place in said.items()} != craft.settings.output_of
    assert motor_session(craft, chance(4), person_looks=False).said == {}
    assert motor_session(craft, chance(4), tells_speed=False).rotors is None


def test_power_is_measured_as_the_battery_is() -> None:
    for seed in SEEDS:
        craft = BenchCraft.make(seed)
        session = power_session(craft, chance(seed))
        assert np.mean(session.volts) == pytest.approx(session.meter_v, rel=0.012)
        off = power_session(BenchCraft.make(seed, [BenchFault.VOLTAGE_SCALE_OFF]), chance(seed))
        assert abs(np.mean(off.volts) / off.meter_v - 1) > 0.035
        assert session.cells_said == craft.battery.cells


def test_flights_before_and_after_differ_by_the_fault_only() -> None:
    sound = flight_session(BenchCraft.make(2), chance(1), duration_s=3.0)
    rough = flight_session(BenchCraft.make(2, [BenchFault.VIBRATION_HIGHER]), chance(1), duration_s=3.0)
    assert np.array_equal(sound[0].rate_rad_s, rough[0].rate_rad_s)
    assert np.array_equal(told(sound[1].throttle), told(rough[1].throttle))
    raw = [np.std(np.diff(told(each[1].raw_rate_rad_s), axis=0)) for each in (sound, rough)]
    assert raw[1] > 1.5 * raw[0]


def told(values: FloatArray | None) -> FloatArray:
    assert values is not None
    return values
