"""Hands that tip the virtual aircraft: what they do, how irregularly, and that asking changes no answer."""

from __future__ import annotations

import itertools
import math
import time

import numpy as np
import pytest

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import FLOATS, FloatArray, angles_of, matrix_of, product, stacked, turn
from rotorwright.twin.physics.hand_motion import HandMotion, HandPose

TIPS = [HandPose.NOSE_DOWN, HandPose.NOSE_UP, HandPose.LEFT_DOWN, HandPose.RIGHT_DOWN]
EVERY = [*TIPS, HandPose.INVERTED, HandPose.LEVEL, HandPose.NOSE_RIGHT, HandPose.NOSE_UP, HandPose.LEVEL]
SEEDS = range(20)


def tipped(seed: int, poses: list[HandPose], *, hold_s: float = 1.0, pace: float = 1.0) -> tuple[HandMotion, float]:
    """Return hands that went through `poses` from 1 s on, and when it ended."""
    hand = HandMotion(seed, 0.6, pace=pace)
    clock = 1.0
    for pose in poses:
        hand.tip(pose, clock)
        clock = hand.still_from_s + hold_s
    return hand, clock


def turn_between(before: FloatArray, after: FloatArray) -> FloatArray:
    """Return the (n, 3) small turns, in body axes, between (n, 3, 3) attitudes."""
    way = np.einsum("nji,njk->nik", before, after)
    return np.stack([way[:, 2, 1] - way[:, 1, 2], way[:, 0, 2] - way[:, 2, 0], way[:, 1, 0] - way[:, 0, 1]], -1) / 2


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rates_are_the_derivative_of_the_attitude(seed: int) -> None:
    hand, end_s = tipped(seed, EVERY)
    step_s = 2e-4
    at_s = np.arange(0.0, end_s, 0.011)
    before, after = (matrix_of(hand.moment(at_s + side * step_s / 2).turned) for side in (-1, 1))
    measured = turn_between(before, after) / step_s
    assert measured == pytest.approx(stacked(hand.moment(at_s).rate_rad_s), abs=2e-4)


def test_rates_added_up_lead_to_the_attitude() -> None:
    hand, end_s = tipped(5, TIPS)
    step_s = 1e-3
    middles = np.arange(0.0, end_s, step_s) + step_s / 2
    attitude = hand.moment(0.0).turned
    for rate in stacked(hand.moment(middles).rate_rad_s):
        size = float(np.linalg.norm(rate))
        axis = rate / size if size else np.array([0.0, 0.0, 1.0])
        attitude = product(attitude, turn(tuple(axis.tolist()), size * step_s, FLOATS))
    reached = hand.moment(float(middles[-1] + step_s / 2)).angles_rad
    assert angles_of(attitude, FLOATS) == pytest.approx(reached, abs=1e-3)


def test_one_moment_and_many_give_the_same_answers() -> None:
    hand, end_s = tipped(4, EVERY)
    at_s = np.random.default_rng(1).uniform(-1.0, end_s + 1.0, 400)
    many = hand.moment(at_s)
    for number, moment in enumerate(at_s.tolist()):
        one = hand.moment(moment)
        for single, array in (
            (one.turned, many.turned),
            (one.rate_rad_s, many.rate_rad_s),
            (one.push_m_s2, many.push_m_s2),
        ):
            columns = [np.broadcast_to(column, at_s.shape)[number] for column in array]
            assert list(single) == pytest.approx(columns, abs=1e-12)


def test_a_later_act_changes_nothing_before_it() -> None:
    short, _ = tipped(6, EVERY[:3])
    long, _ = tipped(6, EVERY)
    at_s = np.linspace(0.0, short.still_from_s + 1.0, 300)
    assert np.array_equal(stacked(short.moment(at_s).rate_rad_s), stacked(long.moment(at_s).rate_rad_s))


@pytest.mark.parametrize(
    ("pose", "axis", "sign"),
    [
        (HandPose.NOSE_DOWN, 0, -1),
        (HandPose.NOSE_UP, 0, 1),
        (HandPose.LEFT_DOWN, 1, 1),
        (HandPose.RIGHT_DOWN, 1, -1),
    ],
)
def test_the_side_that_is_asked_for_goes_down(pose: HandPose, axis: int, sign: int) -> None:
    # What lies lower is pushed away from the ground: nose down feels the push of the hand backward, and so on.
    for seed in SEEDS:
        hand, end_s = tipped(seed, [pose])
        force = hand.moment(end_s - 0.2).force_m_s2
        tilt = math.degrees(math.acos(-force[2] / math.sqrt(sum(each * each for each in force))))
        lowest, highest = constants.TILT_DEG
        assert lowest - 2 < tilt < highest + 2
        assert sign * force[axis] > 0
        aside = math.degrees(math.atan2(abs(force[1 - axis]), abs(force[axis])))
        assert aside < constants.OFF_AXIS_DEG + 4


def test_inverted_lies_on_its_back_and_nose_right_turns_flat_by_about_a_quarter() -> None:
    for seed in SEEDS:
        hand, end_s = tipped(seed, [HandPose.INVERTED])
        assert hand.moment(end_s - 0.2).force_m_s2[2] > 9.0
        flat, end_s = tipped(seed, [HandPose.NOSE_RIGHT])
        roll, pitch, yaw = flat.moment(end_s - 0.2).angles_rad
        turned = math.degrees((yaw - flat.moment(0.0).angles_rad[2]) % (2 * math.pi))
        lowest, highest = constants.QUARTER_TURN_DEG
        assert lowest - 0.1 <= turned <= highest + 0.1
        assert max(abs(roll), abs(pitch)) < math.radians(constants.BENCH_SLOPE_DEG) + 1e-9


def test_on_the_bench_nothing_trembles_and_in_the_hand_it_does_between_4_and_9_hertz() -> None:
    for seed in SEEDS:
        hand, end_s = tipped(seed, [HandPose.NOSE_DOWN], hold_s=8.0)
        assert hand.moment(0.5).rate_rad_s == (0.0, 0.0, 0.0)
        at_s = np.arange(hand.still_from_s, end_s, 0.005)
        rates = stacked(hand.moment(at_s).rate_rad_s)
        size = np.abs(np.fft.rfft(rates * np.hanning(len(at_s))[:, None], axis=0)) ** 2
        hertz = np.fft.rfftfreq(len(at_s), 0.005)
        inside = (hertz > constants.TREMOR_HZ[0] - 0.5) & (hertz < constants.TREMOR_HZ[1] + 0.5)
        assert size[inside].sum() > 0.99 * size.sum()
        attitudes = matrix_of(hand.moment(at_s).turned)
        swing = np.degrees(np.ptp(np.unwrap(np.arcsin(-attitudes[:, 2, 0]))))
        assert 0.05 < swing < 4 * constants.TREMOR_DEG[1]
        felt = np.linalg.norm(stacked(hand.moment(at_s).force_m_s2), axis=1)
        assert 0.005 < np.std(felt) < 0.5  # the tremor shakes the aircraft, too
        hand.put_down(end_s)
        assert hand.moment(hand.still_from_s + 0.01).rate_rad_s == (0.0, 0.0, 0.0)


def test_level_can_be_held_in_the_hand() -> None:
    hand = HandMotion(3)
    hand.tip(HandPose.NOSE_UP, 0.0)
    hand.tip(HandPose.LEVEL, 3.0, in_hand=True)
    roll, pitch, _ = hand.moment(6.0).angles_rad
    assert max(abs(roll), abs(pitch)) < math.radians(constants.UNLEVEL_DEG + 1.5)
    assert hand.moment(6.0).rate_rad_s != (0.0, 0.0, 0.0)


def test_the_hand_pushes_little_besides_gravity() -> None:
    for seed in SEEDS:
        hand, end_s = tipped(seed, EVERY)
        force = np.linalg.norm(stacked(hand.moment(np.arange(0.0, end_s, 0.01)).force_m_s2), axis=1)
        assert np.median(force) == pytest.approx(constants.GRAVITY_M_S2, abs=0.05)
        assert np.max(np.abs(force - constants.GRAVITY_M_S2)) < 0.35 * constants.GRAVITY_M_S2


def test_moves_last_as_long_as_hands_take_and_pace_scales_them() -> None:
    usual, _ = tipped(7, [HandPose.NOSE_DOWN])
    quick, _ = tipped(7, [HandPose.NOSE_DOWN], pace=0.25)
    assert constants.MOVE_S[0] <= usual.still_from_s - 1.0 <= constants.MOVE_S[1]
    assert quick.still_from_s - 1.0 == pytest.approx(0.25 * (usual.still_from_s - 1.0))


def test_some_hands_pass_through_level_between_two_tilts_and_some_do_not() -> None:
    passed = 0
    for seed in range(60):
        hand, _ = tipped(seed, [HandPose.NOSE_DOWN], hold_s=0.5)
        begin_s = hand.still_from_s + 0.5
        hand.tip(HandPose.LEFT_DOWN, begin_s)
        down = stacked(hand.moment(np.linspace(begin_s, hand.still_from_s, 200)).force_m_s2)[:, 2]
        passed += bool(np.min(down) < -0.98 * constants.GRAVITY_M_S2)
    assert 10 < passed < 50


def test_an_act_asked_for_during_a_move_waits_for_its_end() -> None:
    hand = HandMotion(8)
    hand.tip(HandPose.NOSE_DOWN, 1.0)
    first_s = hand.still_from_s
    hand.tip(HandPose.NOSE_UP, 1.1)
    assert hand.still_from_s >= first_s + constants.MOVE_S[0]
    at_s = np.arange(0.9, hand.still_from_s + 0.5, 0.001)
    rates = stacked(hand.moment(at_s).rate_rad_s)
    assert np.max(np.abs(np.diff(rates, axis=0))) < 0.3  # no jerk anywhere


def test_a_seed_is_a_person() -> None:
    at_s = np.linspace(0.0, 6.0, 50)
    rates = [stacked(tipped(seed, TIPS)[0].moment(at_s).rate_rad_s) for seed in (1, 1, 2)]
    assert np.array_equal(rates[0], rates[1])
    assert not np.allclose(rates[0], rates[2])


def test_a_pose_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="sideways"):
        HandMotion(1).tip("sideways", 0.0)


def test_one_question_takes_less_than_60_microseconds() -> None:
    hand, end_s = tipped(2, EVERY)
    moments = np.linspace(0.0, end_s, 200).tolist()
    best = min(_seconds_of(hand, moments) for _ in range(7))
    assert best / len(moments) < 60e-6


def _seconds_of(hand: HandMotion, moments: list[float]) -> float:
    begin = time.perf_counter()
    for moment in moments:
        hand.moment(moment)
    return time.perf_counter() - begin


def test_still_follows_still_in_every_pair_of_poses() -> None:
    for first, second in itertools.product(HandPose, repeat=2):
        hand, end_s = tipped(11, [first, second])
        assert np.all(np.isfinite(stacked(hand.moment(np.linspace(0.0, end_s, 60)).force_m_s2)))
