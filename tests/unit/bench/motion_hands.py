"""Motion records of an aircraft in hands, for tests: poses with human irregularity, seeded.

The limits of what people do by hand: tilts 20 to 50 degrees, 10 degrees off the asked axis, holds of 0.6 to 2 s, tremor
of 0.5 degrees at 4 to 9 Hz, moves of 0.4 to 1.5 s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from rotorwright.bench.orientation import USUAL_POSES, Pose
from rotorwright.bench.records import GRAVITY_M_S2, FloatArray, MotionRecord

AXIS_BEARING_DEG = {Pose.NOSE_DOWN: -90.0, Pose.NOSE_UP: 90.0, Pose.LEFT_DOWN: 180.0, Pose.RIGHT_DOWN: 0.0}
"""Bearing, forward to right, of the axis about which the aircraft turns by the right-hand rule into each tip."""


@dataclass(frozen=True)
class Hands:
    """How a person holds the aircraft, and what the sensor makes of it."""

    on_table: bool = True
    table_slope_deg: float = 1.0
    through_level: float = 0.5
    aside_deg: float = 10.0
    level_off_deg: float = 4.0
    tremor_deg: float = 0.5
    tilts_deg: tuple[float, float] = (20.0, 50.0)
    rate_hz: float = 100.0
    gyro_bias_rad_s: float = 0.01
    gyro_noise_rad_s: float = 0.004
    force_bias_m_s2: float = 0.15
    force_noise_m_s2: float = 0.08
    shake_m: float = 0.0003
    done: Sequence[Pose] = USUAL_POSES
    turn_deg: tuple[float, float] = (60.0, 120.0)


@dataclass(frozen=True)
class Sensor:
    """What is wrong between body and report."""

    mounting: FloatArray = field(default_factory=lambda: np.eye(3))
    force_sign: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gyro_sign: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gyro_scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gyro_turn: FloatArray = field(default_factory=lambda: np.eye(3))
    gyro_bias: tuple[float, float, float] = (0.0, 0.0, 0.0)
    force_offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    force_scale: float = 1.0
    attitude_pitch_sign: float = 1.0


TABLE = Hands()
IN_HANDS = Hands(on_table=False)
HEALTHY = Sensor()


def tipped_record(seed: int, hands: Hands = TABLE, sensor: Sensor = HEALTHY) -> MotionRecord:
    """Return what an aircraft reports while it is taken through `hands.done`."""
    rng = np.random.default_rng(seed)
    at, turns, in_hand = _script(rng, hands)
    body = turns * Rotation.from_rotvec(_tremor(rng, at, hands)[:, :3] * in_hand[:, None])
    dt = 1.0 / hands.rate_hz
    rates = (body[:-1].inv() * body[1:]).as_rotvec() / dt
    rates = np.vstack((rates, rates[-1]))
    place = _places(rng, at, in_hand, hands)
    push = np.gradient(np.gradient(place, dt, axis=0), dt, axis=0)
    force = body.inv().apply(push - np.array([0.0, 0.0, GRAVITY_M_S2]))
    return _reported(rng, at, force, rates, body, hands, sensor)


def _target(rng: np.random.Generator, pose: Pose, yaw: float, hands: Hands) -> Rotation:
    flat = Rotation.from_euler("z", yaw, degrees=True)
    off = hands.table_slope_deg if hands.on_table else rng.uniform(0.0, hands.level_off_deg)
    bearing = np.radians(rng.uniform(0.0, 360.0))
    if pose in (Pose.LEVEL, Pose.NOSE_RIGHT):
        if hands.on_table:  # the slope belongs to the table, not to the aircraft
            return Rotation.from_rotvec(np.radians(off) * np.array([0.6, 0.8, 0.0])) * flat
        return flat * Rotation.from_rotvec(np.radians(off) * np.array([np.cos(bearing), np.sin(bearing), 0.0]))
    if pose is Pose.INVERTED:
        return flat * Rotation.from_euler("xy", [180.0 + rng.normal(0, 5), rng.normal(0, 5)], degrees=True)
    aside = np.clip(rng.normal(0.0, hands.aside_deg / 2.0), -hands.aside_deg, hands.aside_deg)
    axis = np.radians(AXIS_BEARING_DEG[pose] + aside)
    tilt = np.radians(rng.uniform(*hands.tilts_deg))
    return flat * Rotation.from_rotvec(tilt * np.array([np.cos(axis), np.sin(axis), 0.0]))


def _script(rng: np.random.Generator, hands: Hands) -> tuple[FloatArray, Rotation, FloatArray]:
    yaw = rng.uniform(-180.0, 180.0)
    marks: list[tuple[float, Rotation, float]] = []
    now = 0.0

    def hold(where: Rotation, in_hand: float, seconds: float) -> None:
        nonlocal now
        marks.append((now, where, in_hand))
        now += seconds
        marks.append((now, where, in_hand))
        now += rng.uniform(0.4, 1.5)

    for index, pose in enumerate(hands.done):
        if pose is Pose.NOSE_RIGHT:
            yaw += rng.uniform(*hands.turn_deg)
        elif index:
            yaw += rng.normal(0.0, 3.0)
        is_flat = pose in (Pose.LEVEL, Pose.NOSE_RIGHT)
        before_flat = index and hands.done[index - 1] in (Pose.LEVEL, Pose.NOSE_RIGHT)
        if index and not is_flat and not before_flat and rng.uniform() < hands.through_level:
            hold(_target(rng, Pose.LEVEL, yaw, IN_HANDS), 1.0, rng.uniform(0.0, 0.5))
        in_hand = 0.0 if is_flat and hands.on_table else 1.0
        hold(_target(rng, pose, yaw, hands), in_hand, rng.uniform(0.6, 2.0) + (1.0 if index == 0 else 0.0))
    times = np.array([mark[0] for mark in marks])
    at = np.arange(0.0, times[-1], 1.0 / hands.rate_hz)
    leg = np.clip(np.searchsorted(times, at, side="right") - 1, 0, len(times) - 2)
    part = (at - times[leg]) / np.maximum(times[leg + 1] - times[leg], 1e-9)
    smooth = 10 * part**3 - 15 * part**4 + 6 * part**5
    warped = times[leg] + smooth * (times[leg + 1] - times[leg])
    turns = Slerp(times, Rotation.concatenate([mark[1] for mark in marks]))(warped)
    hand = np.array([mark[2] for mark in marks])
    # Hands take hold of it within the move.
    return at, turns, hand[leg] + (hand[leg + 1] - hand[leg]) * smooth


def _tremor(rng: np.random.Generator, at: FloatArray, hands: Hands) -> FloatArray:
    shaken = np.zeros((len(at), 6))
    for axis in range(6):
        for _ in range(3):
            hertz, phase = rng.uniform(4.0, 9.0), rng.uniform(0.0, 2 * np.pi)
            shaken[:, axis] += np.sin(2 * np.pi * hertz * at + phase) / 3.0
    shaken[:, :3] *= np.radians(hands.tremor_deg)
    shaken[:, 3:] *= hands.shake_m
    return shaken


def _places(rng: np.random.Generator, at: FloatArray, in_hand: FloatArray, hands: Hands) -> FloatArray:
    """Return (n, 3) where the aircraft is: it wanders slowly in hands and shakes with the tremor."""
    place = _tremor(rng, at, hands)[:, 3:]
    for axis in range(3):
        place[:, axis] += 0.05 * np.sin(2 * np.pi * rng.uniform(0.15, 0.4) * at + rng.uniform(0.0, 6.0))
    moved: FloatArray = place * in_hand[:, None]
    return moved


def _reported(
    rng: np.random.Generator,
    at: FloatArray,
    force: FloatArray,
    rates: FloatArray,
    body: Rotation,
    hands: Hands,
    sensor: Sensor,
) -> MotionRecord:
    shape = force.shape
    force = force * sensor.force_scale @ sensor.mounting.T * np.array(sensor.force_sign)
    force = force + rng.uniform(-1, 1, 3) * hands.force_bias_m_s2 + np.array(sensor.force_offset)
    rates = rates @ (sensor.gyro_turn @ sensor.mounting).T * np.array(sensor.gyro_sign) * np.array(sensor.gyro_scale)
    rates = rates + rng.uniform(-1, 1, 3) * hands.gyro_bias_rad_s + np.array(sensor.gyro_bias)
    force = force + rng.normal(0.0, hands.force_noise_m_s2, shape)
    rates = rates + rng.normal(0.0, hands.gyro_noise_rad_s, shape)
    yaw, pitch, roll = (body * Rotation.from_matrix(sensor.mounting).inv()).as_euler("ZYX").T
    attitude = np.column_stack((roll, pitch * sensor.attitude_pitch_sign, yaw)) + rng.normal(0.0, 0.01, shape)
    return MotionRecord(at + 3.0, force, rates, attitude)
