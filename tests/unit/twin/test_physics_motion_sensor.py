"""The virtual motion sensor: the truth where settings fit, and each fault as it shows."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import FloatArray, rows_of, stacked
from rotorwright.twin.physics.body import Body, BodySpec
from rotorwright.twin.physics.hand_motion import HandMotion
from rotorwright.twin.physics.motion_sensor import MotionSensor, SensorSpec
from rotorwright.twin.physics.rotors import Rotors
from rotorwright.twin.physics.settings_held import right_angles, rotation_of_degrees
from rotorwright.twin.physics.support import FREE

TURNS = right_angles()
STEP_FORCE = constants.FORCE_LIMIT_M_S2 / constants.SENSOR_STEPS
STEP_RATE = constants.GYRO_LIMIT_RAD_S / constants.SENSOR_STEPS
AT_S = np.linspace(0.5, 6.0, 400)


def tipped_body() -> Body:
    hand = HandMotion(4, 0.3)
    for number, pose in enumerate(("nose-down", "left-down", "inverted")):
        hand.tip(pose, 1.0 + 1.7 * number)
    return Body(BodySpec(0.7, (0.003, 0.003, 0.006)), FREE, hand, Rotors((), {}, yaw_inertia_kg_m2=0.006, support=FREE))


def quiet(mounting: FloatArray, **changes: object) -> SensorSpec:
    return replace(SensorSpec(mounting=rows_of(mounting), cutoff_hz=1e6), **changes)  # type: ignore[arg-type]


def sensor(spec: SensorSpec, configured: FloatArray) -> MotionSensor:
    return MotionSensor(spec, configured, attitude_noise_rad=0.0)


def test_there_are_24_right_angles_all_of_them_rotations() -> None:
    assert len(TURNS) == 24
    for turned in TURNS:
        assert np.linalg.det(turned) == pytest.approx(1.0)
        assert np.array_equal(turned @ turned.T, np.eye(3))


@pytest.mark.parametrize("number", range(24))
def test_the_truth_comes_through_where_the_settings_fit(number: int) -> None:
    body = tipped_body()
    said = sensor(quiet(TURNS[number]), TURNS[number]).report(AT_S, body)
    true = body.moment(AT_S)
    assert stacked(said.force_m_s2) == pytest.approx(stacked(true.force_m_s2), abs=STEP_FORCE)
    assert stacked(said.rate_rad_s) == pytest.approx(stacked(true.rate_rad_s), abs=STEP_RATE)
    held = np.all(np.abs(stacked(true.rate_rad_s)) < 0.5, axis=1)
    angles = stacked(body.hand.moment(AT_S).angles_rad)
    apart = np.angle(np.exp(1j * (stacked(said.angles_rad) - angles)))[held]
    assert np.max(np.abs(apart)) < 1e-3


@pytest.mark.parametrize("number", range(1, 24))
def test_another_mounting_turns_everything_that_is_told_alike(number: int) -> None:
    body = tipped_body()
    set_to = TURNS[7]
    said = sensor(quiet(TURNS[number]), set_to).report(AT_S, body)
    wrong = set_to @ TURNS[number].T
    true = body.moment(AT_S)
    assert stacked(said.force_m_s2) == pytest.approx(stacked(true.force_m_s2) @ wrong.T, abs=STEP_FORCE)
    assert stacked(said.rate_rad_s) == pytest.approx(stacked(true.rate_rad_s) @ wrong.T, abs=STEP_RATE)
    down = stacked(body.hand.moment(AT_S).force_m_s2) @ wrong.T
    roll, pitch, _ = stacked(said.angles_rad).T
    felt = np.stack([np.sin(pitch), -np.sin(roll) * np.cos(pitch), -np.cos(roll) * np.cos(pitch)], axis=1)
    assert np.median(np.abs(felt * constants.GRAVITY_M_S2 - down)) < 0.15


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("kind", ["force", "rate"])
def test_a_mirrored_axis_mirrors_that_axis_of_that_sensor_and_nothing_else(axis: int, kind: str) -> None:
    body = tipped_body()
    mounting = TURNS[11]
    signs = tuple(-1.0 if number == axis else 1.0 for number in range(3))
    said = sensor(quiet(mounting, **{f"{kind}_sign": signs}), mounting).report(AT_S, body)
    true = body.moment(AT_S)
    mirror = mounting @ np.diag(signs) @ mounting.T
    for each, step in (("force", STEP_FORCE), ("rate", STEP_RATE)):
        name = {"force": "force_m_s2", "rate": "rate_rad_s"}[each]
        expected = stacked(getattr(true, name)) @ (mirror.T if each == kind else np.eye(3))
        assert stacked(getattr(said, name)) == pytest.approx(expected, abs=step)


def test_bias_and_scale_are_those_of_the_sensor_axes() -> None:
    body = tipped_body()
    mounting = TURNS[5]
    spec = quiet(mounting, force_bias_m_s2=(0.5, 0.0, 0.0), rate_scale=(1.0, 1.1, 1.0))
    said = sensor(spec, mounting).report(AT_S, body)
    true = body.moment(AT_S)
    pushed = stacked(true.force_m_s2) + mounting @ np.array([0.5, 0.0, 0.0])
    scaled = stacked(true.rate_rad_s) @ (mounting @ np.diag([1.0, 1.1, 1.0]) @ mounting.T).T
    assert stacked(said.force_m_s2) == pytest.approx(pushed, abs=STEP_FORCE)
    assert stacked(said.rate_rad_s) == pytest.approx(scaled, abs=STEP_RATE)


def test_a_set_offset_is_taken_off_in_sensor_axes() -> None:
    body = tipped_body()
    spec = quiet(TURNS[5], force_bias_m_s2=(0.5, -0.2, 0.1))
    repaired = MotionSensor(spec, TURNS[5], force_offset_m_s2=(0.5, -0.2, 0.1))
    assert stacked(repaired.report(AT_S, body).force_m_s2) == pytest.approx(
        stacked(body.moment(AT_S).force_m_s2), abs=STEP_FORCE
    )


def test_numbers_come_in_steps_and_never_leave_the_range() -> None:
    body = tipped_body()
    spec = quiet(np.eye(3), force_bias_m_s2=(1000.0, 0.0, -1000.0), rate_bias_rad_s=(100.0, 0.0, -100.0))
    said = sensor(spec, np.eye(3)).report(AT_S, body)
    force, rate = stacked(said.force_m_s2), stacked(said.rate_rad_s)
    assert np.all(force[:, 0] == constants.FORCE_LIMIT_M_S2 - STEP_FORCE)
    assert np.all(force[:, 2] == -constants.FORCE_LIMIT_M_S2)
    assert np.all(rate[:, 2] == -constants.GYRO_LIMIT_RAD_S)
    steps = force[:, 1] / STEP_FORCE
    assert steps == pytest.approx(np.rint(steps), abs=1e-6)


def test_the_low_pass_makes_slow_motion_late_by_its_time_constant() -> None:
    body = tipped_body()
    spec = replace(quiet(np.eye(3)), cutoff_hz=20.0)
    said = sensor(spec, np.eye(3)).report(AT_S, body)
    late = body.moment(AT_S - 1 / (2 * math.pi * 20.0))
    assert stacked(said.rate_rad_s) == pytest.approx(stacked(late.rate_rad_s), abs=STEP_RATE)


def test_noise_has_the_spread_that_it_is_said_to_have_and_is_white() -> None:
    body = tipped_body()
    spec = quiet(np.eye(3), force_noise_m_s2=0.03, rate_noise_rad_s=0.002, seed=9)
    at_s = np.arange(20_000) / constants.SENSOR_RATE_HZ + 20.0
    still = replace_hand(body)
    said = sensor(spec, np.eye(3)).report(at_s, still)
    assert np.std(stacked(said.force_m_s2), axis=0) == pytest.approx([0.03] * 3, rel=0.03)
    rates = stacked(said.rate_rad_s)
    assert np.std(rates, axis=0) == pytest.approx([0.002] * 3, rel=0.1)
    for column in rates.T:
        near = np.corrcoef(column[1:], column[:-1])[0, 1]
        assert abs(near) < 0.03
    assert abs(np.corrcoef(rates[:, 0], rates[:, 1])[0, 1]) < 0.03


def replace_hand(body: Body) -> Body:
    return Body(body.spec, body.support, HandMotion(1), body.rotors)


def test_the_same_sample_has_the_same_noise_however_it_is_asked_for() -> None:
    body = tipped_body()
    spec = quiet(TURNS[3], force_noise_m_s2=0.03, rate_noise_rad_s=0.002, seed=9)
    device = MotionSensor(spec, TURNS[3])
    at_s = np.random.default_rng(2).uniform(0.0, 7.0, 300)
    many = device.report(at_s, body)
    for number, moment in enumerate(at_s.tolist()):
        one = device.report(moment, body)
        assert one.force_m_s2 == pytest.approx(tuple(stacked(many.force_m_s2)[number]), abs=1e-9)
        assert one.rate_rad_s == pytest.approx(tuple(stacked(many.rate_rad_s)[number]), abs=1e-9)
        assert one.angles_rad == pytest.approx(tuple(stacked(many.angles_rad)[number]), abs=1e-9)
    other = MotionSensor(replace(spec, seed=10), TURNS[3]).report(1.0, body)
    assert other.force_m_s2 != device.report(1.0, body).force_m_s2


def test_a_biased_gyro_lets_the_yaw_that_is_told_drift() -> None:
    body = replace_hand(tipped_body())
    said = sensor(quiet(np.eye(3), rate_bias_rad_s=(0.0, 0.0, 0.1)), np.eye(3)).report(np.array([1.0, 3.0]), body)
    yaw = said.angles_rad[2]
    assert yaw[1] - yaw[0] == pytest.approx(0.2, abs=1e-9)


def test_a_level_trim_that_fits_takes_a_crooked_board_off() -> None:
    body = replace_hand(tipped_body())
    crooked = rotation_of_degrees(1.0, -0.7, 0.0) @ TURNS[9]
    said = sensor(quiet(crooked), crooked).report(1.0, body)
    assert said.force_m_s2 == pytest.approx(body.moment(1.0).force_m_s2, abs=2 * STEP_FORCE)
    without = sensor(quiet(crooked), TURNS[9]).report(1.0, body)
    lean = math.degrees(math.atan2(without.force_m_s2[1], -without.force_m_s2[2]))
    true = math.degrees(math.atan2(body.moment(1.0).force_m_s2[1], -body.moment(1.0).force_m_s2[2]))
    assert abs(lean - true) == pytest.approx(1.0, abs=0.05)


def test_one_question_to_the_sensor_takes_less_than_60_microseconds() -> None:
    body = tipped_body()
    device = MotionSensor(quiet(TURNS[3], force_noise_m_s2=0.03), TURNS[3])
    best = math.inf
    for _ in range(7):
        begin = time.perf_counter()
        for number in range(200):
            device.report(0.5 + 0.01 * number, body)
        best = min(best, time.perf_counter() - begin)
    assert best / 200 < 60e-6
