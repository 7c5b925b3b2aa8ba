"""Stillness and poses: what hands do, whatever the mounting makes of it."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.bench.motion_hands import IN_HANDS, TABLE, Hands, Sensor, tipped_record

from rotorwright.bench.mountings import RIGHT_ANGLES
from rotorwright.bench.orientation import USUAL_POSES, Pose, held_so_far, poses_words
from rotorwright.bench.orientation_fits import level_apart_from_table
from rotorwright.bench.records import GRAVITY_M_S2, MotionRecord
from rotorwright.bench.stillness import find_holds, resting_rate_rad_s, smoothed


def lying(seconds: float, *, turning_rad_s: float = 0.0) -> MotionRecord:
    at = np.arange(0.0, seconds, 0.01)
    rng = np.random.default_rng(1)
    force = np.tile([0.0, 0.0, -GRAVITY_M_S2], (len(at), 1)) + rng.normal(0.0, 0.05, (len(at), 3))
    rate = np.tile([0.01, 0.0, 0.0], (len(at), 1)) + rng.normal(0.0, 0.004, (len(at), 3))
    is_turning = (at > seconds / 3) & (at < 2 * seconds / 3)
    rate[:, 2] += turning_rad_s * is_turning
    return MotionRecord(at, force, rate)


def test_every_pose_is_said_in_words_for_the_hands() -> None:
    assert len({poses_words(pose) for pose in Pose}) == len(Pose)
    assert "to the right" in poses_words(Pose.NOSE_RIGHT)
    assert "nose down" in poses_words(Pose.NOSE_DOWN)
    assert all(poses_words(pose).endswith(".") for pose in Pose)


def test_an_aircraft_that_lies_is_one_hold_on_a_table() -> None:
    (hold,) = find_holds(lying(6.0))
    assert hold.is_on_table
    assert hold.end_s - hold.start_s == pytest.approx(6.0, abs=0.05)
    assert hold.down == pytest.approx([0.0, 0.0, 1.0], abs=0.01)


def test_a_flat_turn_that_gravity_does_not_show_parts_two_holds() -> None:
    assert len(find_holds(lying(6.0, turning_rad_s=0.8))) == 2


def test_a_twitch_of_the_hand_does_not_part_a_hold() -> None:
    record = lying(6.0)
    twitch = np.where(abs(record.at_s - 3.0) < 0.14, 0.21, 0.0)
    twitched = MotionRecord(record.at_s, record.force_m_s2, record.rate_rad_s + twitch[:, None] * [0.0, 0.0, 1.0])
    assert len(find_holds(twitched)) == 1


def test_a_bias_of_the_gyro_is_not_taken_for_a_turn() -> None:
    record = lying(6.0)
    biased = MotionRecord(record.at_s, record.force_m_s2, record.rate_rad_s + 0.5)
    holds = find_holds(biased)
    assert len(holds) == 1
    assert resting_rate_rad_s(holds) == pytest.approx([0.51, 0.5, 0.5], abs=0.01)


def test_hands_are_told_from_a_table() -> None:
    assert all(hold.is_on_table for hold in find_holds(tipped_record(1, Hands(done=(Pose.LEVEL,)))))
    assert not any(hold.is_on_table for hold in find_holds(tipped_record(1, IN_HANDS)))


def test_smoothing_keeps_a_constant_and_takes_tremor_off() -> None:
    at = np.arange(0.0, 4.0, 0.01)
    assert smoothed(np.full(50, 3.0), 31) == pytest.approx(np.full(50, 3.0))
    tremor = np.sin(2 * np.pi * 6.0 * at)
    assert abs(smoothed(tremor, 30)[30:-30]).max() < 0.15


@pytest.mark.parametrize("number", range(0, 24, 3))
@pytest.mark.parametrize("hands", [TABLE, IN_HANDS], ids=["table", "hands"])
def test_poses_are_recognised_whatever_the_mounting(number: int, hands: Hands) -> None:
    record = tipped_record(number, hands, Sensor(mounting=RIGHT_ANGLES[number]))
    assert held_so_far(record, USUAL_POSES) == len(USUAL_POSES)


@pytest.mark.parametrize("signs", [(-1.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, -1.0)])
def test_poses_are_recognised_with_mirrored_axes_too(signs: tuple[float, float, float]) -> None:
    for sensor in (Sensor(force_sign=signs), Sensor(gyro_sign=signs)):
        assert held_so_far(tipped_record(3, IN_HANDS, sensor), USUAL_POSES) == len(USUAL_POSES)


def test_a_person_who_carries_it_first_is_understood() -> None:
    """The record begins in a hold that is not level; the poses count from the level one."""
    for seed in range(5):
        carried = Hands(on_table=False, done=(Pose.RIGHT_DOWN, *USUAL_POSES))
        assert held_so_far(tipped_record(seed, carried), USUAL_POSES) == len(USUAL_POSES)


def test_small_tips_are_recognised_with_an_accelerometer_that_is_off() -> None:
    for seed in range(8):
        record = tipped_record(seed, Hands(tilts_deg=(20.0, 28.0)), Sensor(force_offset=(-2.0, 0.0, 0.0)))
        assert held_so_far(record, USUAL_POSES) == len(USUAL_POSES)


def test_lying_level_once_more_is_not_the_turn_that_was_asked_for() -> None:
    for seed in range(4):
        done = (*USUAL_POSES[:-1], Pose.LEFT_DOWN, Pose.LEVEL)
        assert held_so_far(tipped_record(seed, Hands(done=done)), USUAL_POSES) == len(USUAL_POSES) - 1


def test_upside_down_is_recognised_when_it_is_asked_for() -> None:
    poses = (*USUAL_POSES, Pose.INVERTED)
    assert held_so_far(tipped_record(2, Hands(done=poses)), poses) == len(poses)


@pytest.mark.parametrize("turned_deg", [45.0, 90.0, 130.0])
def test_the_lean_of_the_board_is_told_from_the_slope_of_the_table(turned_deg: float) -> None:
    board, slope, turn = np.array([0.05, -0.03]), np.array([-0.08, 0.06]), np.radians(turned_deg)
    turned_slope = [
        np.cos(turn) * slope[0] + np.sin(turn) * slope[1],
        -np.sin(turn) * slope[0] + np.cos(turn) * slope[1],
    ]
    found = level_apart_from_table(board + slope, board + np.array(turned_slope), float(turn))
    assert found == pytest.approx(board)
