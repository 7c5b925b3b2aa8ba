"""The aircraft is tipped by hand: each wrong mounting and each wrong sign is named, a healthy one never blamed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from tests.unit.bench.motion_hands import HEALTHY, IN_HANDS, TABLE, Hands, Sensor, tipped_record

from rotorwright.bench.mountings import RIGHT_ANGLES, rotation_of_angles
from rotorwright.bench.orientation import USUAL_POSES, Pose, held_so_far, judge_orientation
from rotorwright.bench.records import FloatArray, MotionRecord
from rotorwright.bench.verdicts import CheckResult, Verdict

AXES = ("forward", "right", "down")
ROLES = ("sensor.board.roll", "sensor.board.pitch", "sensor.board.yaw")
LEVEL_BOARD = (0.0, 0.0, 0.0)


def judge(
    seed: int,
    hands: Hands = TABLE,
    sensor: Sensor = HEALTHY,
    *,
    board_deg: tuple[float, float, float] | None = LEVEL_BOARD,
) -> CheckResult:
    asked = hands.done if Pose.INVERTED in hands.done else USUAL_POSES
    return judge_orientation(tipped_record(seed, hands, sensor), asked, chip=None, board_deg=board_deg)


def kinds(result: CheckResult) -> list[str]:
    return [finding.kind for finding in result.findings]


def signs(axis: int) -> tuple[float, float, float]:
    first, second, third = (-1.0 if each == axis else 1.0 for each in range(3))
    return first, second, third


def still_turned(result: CheckResult, mounting: FloatArray, board_deg: tuple[float, float, float]) -> FloatArray:
    """Return the rotation from true to reported axes after the advised settings are made."""
    settings = result.findings[0].settings
    advised = rotation_of_angles(*(float(settings[role]) for role in ROLES))
    return advised @ rotation_of_angles(*board_deg).T @ mounting


@pytest.mark.parametrize("hands", [Hands(), IN_HANDS], ids=["table", "hands"])
@pytest.mark.parametrize("number", range(24))
def test_each_mounting_is_recognised_and_the_advice_makes_it_right(number: int, hands: Hands) -> None:
    mounting = RIGHT_ANGLES[number]
    for turn, board_deg in enumerate([LEVEL_BOARD, (90.0, 0.0, -90.0), (0.0, 15.0, 180.0)]):
        result = judge(100 * number + turn, hands, Sensor(mounting=mounting), board_deg=board_deg)
        if number == 0:
            assert result.verdict is Verdict.PASSED
            continue
        assert kinds(result) == ["mounting-differs"]
        assert result.findings[0].is_dangerous
        assert still_turned(result, mounting, board_deg) == pytest.approx(np.eye(3), abs=1e-4)


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("number", range(24))
def test_a_mirrored_axis_of_one_sensor_is_named_in_each_mounting_and_no_setting_is_offered(
    number: int, axis: int
) -> None:
    for name, sensor in (
        ("accelerometer", Sensor(mounting=RIGHT_ANGLES[number], force_sign=signs(axis))),
        ("gyro", Sensor(mounting=RIGHT_ANGLES[number], gyro_sign=signs(axis))),
    ):
        result = judge(7 * number + axis, IN_HANDS if number % 2 else Hands(), sensor)
        assert kinds(result) == [f"{name}-axis-mirrored"]
        finding = result.findings[0]
        assert AXES[axis] in finding.words
        assert finding.is_dangerous
        assert not finding.settings
        assert "No mounting setting repairs this" in finding.advice


@pytest.mark.parametrize("axis", range(3))
def test_an_axis_mirrored_in_gyro_and_accelerometer_alike_is_a_left_handed_sensor(axis: int) -> None:
    result = judge(axis, sensor=Sensor(force_sign=signs(axis), gyro_sign=signs(axis)))
    assert kinds(result) == ["sensor-mirrored"]
    assert result.is_dangerous


@pytest.mark.parametrize(
    "hands",
    [
        Hands(),
        IN_HANDS,
        Hands(on_table=False, through_level=1.0),
        Hands(through_level=0.0),
        Hands(on_table=False, rate_hz=50.0),
        Hands(rate_hz=25.0),
        Hands(rate_hz=400.0),
        Hands(table_slope_deg=5.0),
        Hands(tilts_deg=(18.0, 25.0)),
        Hands(on_table=False, tremor_deg=1.0, shake_m=0.001),
        Hands(on_table=False, level_off_deg=7.0, aside_deg=15.0),
    ],
    ids=[
        "table",
        "hands",
        "through level",
        "never level",
        "50 Hz",
        "25 Hz",
        "400 Hz",
        "slope",
        "low",
        "shaky",
        "sloppy",
    ],
)
def test_a_healthy_aircraft_in_anybodys_hands_passes(hands: Hands) -> None:
    for seed in range(12):
        record = tipped_record(seed, hands)
        result = judge_orientation(record, USUAL_POSES, chip=np.eye(3), board_deg=LEVEL_BOARD)
        assert result.verdict is Verdict.PASSED, (seed, result.sentence)
        assert held_so_far(record, USUAL_POSES) == len(USUAL_POSES)


def test_an_eighth_of_a_turn_is_advised_as_one() -> None:
    result = judge(3, sensor=Sensor(mounting=rotation_of_angles(0.0, 0.0, 45.0)))
    assert kinds(result) == ["mounting-differs"]
    assert result.findings[0].settings == dict(zip(ROLES, ("0", "0", "-45"), strict=True))
    assert "the edge between its nose and its left side" in result.sentence


def test_an_odd_angle_is_not_taken_for_a_mounting_nor_for_right() -> None:
    result = judge(3, sensor=Sensor(mounting=rotation_of_angles(0.0, 0.0, 25.0)))
    assert result.verdict is Verdict.NOT_SHOWN
    assert kinds(result) == ["mounting-unclear"]
    assert "tipped askew" in result.sentence
    assert "not set" in result.sentence


def test_without_the_set_angles_the_turn_is_said_and_no_setting_is_made_up() -> None:
    result = judge(1, sensor=Sensor(mounting=rotation_of_angles(0.0, 0.0, 90.0)), board_deg=None)
    assert kinds(result) == ["mounting-differs"]
    assert not result.findings[0].settings
    assert "Turn the set mounting by yaw -90 degrees" in result.findings[0].advice


def test_a_board_that_sits_askew_is_a_matter_of_level_trim_not_of_mounting() -> None:
    mounting = rotation_of_angles(4.0, -5.0, 0.0)
    result = judge(2, sensor=Sensor(mounting=mounting))
    assert kinds(result) == ["level-trim"]
    assert not result.is_dangerous
    remaining = still_turned(result, mounting, LEVEL_BOARD)
    assert np.degrees(np.arccos(remaining[2, 2])) < 1.5


def test_a_board_askew_is_not_told_before_every_pose_was_seen() -> None:
    askew = Sensor(mounting=rotation_of_angles(4.0, -5.0, 0.0))
    result = judge(2, Hands(done=USUAL_POSES[:-1]), askew)
    assert result.verdict is Verdict.NOT_SHOWN
    assert "level-trim" not in kinds(result)


def test_the_slope_of_the_table_is_not_taken_for_a_board_askew() -> None:
    for seed in range(10):
        assert judge(seed, Hands(table_slope_deg=8.0)).verdict is Verdict.PASSED


def test_a_wrong_range_of_the_gyro_is_told_from_a_wrong_sign() -> None:
    for seed in range(5):
        twice = judge(seed, sensor=Sensor(gyro_scale=(2.0, 2.0, 2.0)))
        half = judge(seed, IN_HANDS, Sensor(gyro_scale=(0.5, 0.5, 0.5)))
        assert kinds(twice)[0] == kinds(half)[0] == "gyro-scale"
        assert twice.is_dangerous
        assert "0.5" in half.sentence or "0.4" in half.sentence


@pytest.mark.parametrize(
    ("sensor", "hands", "kind"),
    [
        (Sensor(gyro_bias=(0.0, 0.35, 0.0)), Hands(), "gyro-bias"),
        (Sensor(gyro_bias=(0.0, 0.0, -0.35)), IN_HANDS, "gyro-bias"),
        (Sensor(force_offset=(0.0, 0.0, 1.9)), IN_HANDS, "accelerometer-offset"),
        (Sensor(force_offset=(-2.3, 0.0, 0.0)), TABLE, "accelerometer-offset"),
        (Sensor(), Hands(gyro_noise_rad_s=0.1), "sensor-noise"),
        (Sensor(), Hands(on_table=False, gyro_noise_rad_s=0.1, rate_hz=50.0), "sensor-noise"),
        (Sensor(attitude_pitch_sign=-1.0), Hands(), "attitude-differs"),
        (Sensor(gyro_turn=rotation_of_angles(0.0, 0.0, 90.0)), Hands(), "sensors-disagree"),
        (Sensor(gyro_turn=rotation_of_angles(0.0, 0.0, 180.0)), Hands(), "sensors-disagree"),
        (Sensor(gyro_turn=rotation_of_angles(90.0, 0.0, 90.0)), IN_HANDS, "sensors-disagree"),
        (Sensor(force_scale=1.12), Hands(done=(*USUAL_POSES, Pose.INVERTED)), "accelerometer-offset"),
    ],
)
def test_what_else_is_wrong_with_a_sensor_is_found(sensor: Sensor, hands: Hands, kind: str) -> None:
    result = judge(11, hands, sensor)
    assert result.verdict is Verdict.FAILED
    assert kinds(result) == [kind]


def test_a_wrong_range_alone_says_nothing_else() -> None:
    for seed in range(6):
        result = judge(seed, Hands(turn_deg=(60.0, 75.0)), Sensor(gyro_scale=(2.0, 2.0, 2.0)))
        assert set(kinds(result)) == {"gyro-scale"}


def test_a_quarter_that_came_as_half_a_turn_is_not_shown() -> None:
    for seed in range(6):
        result = judge(seed, Hands(turn_deg=(85.0, 95.0)), Sensor(gyro_scale=(1.0, 1.0, 2.0)))
        assert result.verdict is not Verdict.PASSED
        assert "turn-unclear" in kinds(result)


def test_two_axes_of_the_gyro_that_count_the_wrong_way_are_both_named() -> None:
    result = judge(5, sensor=Sensor(gyro_turn=rotation_of_angles(180.0, 0.0, 0.0)))
    assert kinds(result) == ["gyro-axis-mirrored", "gyro-axis-mirrored"]
    assert "right" in result.findings[0].words
    assert "down" in result.findings[1].words


TWISTED = {
    "nose first up": (Pose.NOSE_UP, Pose.NOSE_DOWN, Pose.LEFT_DOWN, Pose.RIGHT_DOWN),
    "right first": (Pose.NOSE_DOWN, Pose.NOSE_UP, Pose.RIGHT_DOWN, Pose.LEFT_DOWN),
    "sides before nose": (Pose.LEFT_DOWN, Pose.RIGHT_DOWN, Pose.NOSE_DOWN, Pose.NOSE_UP),
}


@pytest.mark.parametrize("tips", TWISTED.values(), ids=TWISTED)
def test_tips_the_other_way_round_are_not_called_a_fault_and_both_explanations_are_said(tips: tuple[Pose, ...]) -> None:
    for seed in range(5):
        result = judge(seed, Hands(done=(Pose.LEVEL, *tips, Pose.LEVEL, Pose.NOSE_RIGHT)))
        assert result.verdict is Verdict.NOT_SHOWN
        assert kinds(result) == ["tips-not-as-asked"]
        assert "Either the aircraft was tipped so, or all its axes are mirrored" in result.sentence


def test_tips_that_look_like_a_mounting_are_called_one_with_the_doubt_said() -> None:
    tips = (Pose.NOSE_UP, Pose.NOSE_DOWN, Pose.RIGHT_DOWN, Pose.LEFT_DOWN)
    result = judge(1, Hands(done=(Pose.LEVEL, *tips, Pose.LEVEL, Pose.NOSE_RIGHT)))
    assert kinds(result) == ["mounting-differs"]
    assert "tipped it otherwise than asked, repeat the poses first" in result.findings[0].advice


def test_a_turn_to_the_left_is_said_beside_a_gyro_that_counts_the_wrong_way() -> None:
    result = judge(1, Hands(turn_deg=(-110.0, -70.0)))
    assert result.verdict is not Verdict.PASSED
    assert "or it was turned to the left" in result.sentence


@pytest.mark.parametrize("count", range(len(USUAL_POSES)))
def test_poses_that_were_not_held_leave_it_not_shown_and_say_which_is_next(count: int) -> None:
    done = USUAL_POSES[:count] or (Pose.LEVEL,)
    record = tipped_record(4, Hands(done=done))
    result = judge_orientation(record, USUAL_POSES, chip=None, board_deg=LEVEL_BOARD)
    assert result.verdict is Verdict.NOT_SHOWN
    if count > 1:
        assert held_so_far(record, USUAL_POSES) == count
        assert str(USUAL_POSES[count]) in result.sentence


def test_half_of_the_tips_do_not_show_a_mounting() -> None:
    mounted = Sensor(mounting=rotation_of_angles(0.0, 0.0, 90.0))
    result = judge(4, Hands(done=USUAL_POSES[:4]), mounted)
    assert result.verdict is Verdict.NOT_SHOWN
    assert kinds(result) == ["pose-missing"]


def test_tips_in_another_order_are_not_recognised_as_what_was_asked() -> None:
    order = (Pose.LEVEL, Pose.NOSE_DOWN, Pose.LEFT_DOWN, Pose.RIGHT_DOWN, Pose.NOSE_UP, Pose.LEVEL, Pose.NOSE_RIGHT)
    for seed in range(5):
        result = judge(seed, Hands(done=order))
        assert result.verdict is Verdict.NOT_SHOWN
        assert "pose-missing" in kinds(result)


@pytest.mark.parametrize("number", [0, 5, 17])
def test_the_live_count_only_rises_and_counts_each_pose_when_it_is_held(number: int) -> None:
    record = tipped_record(number, IN_HANDS, Sensor(mounting=RIGHT_ANGLES[number]))
    counts = [
        held_so_far(MotionRecord(record.at_s[:end], record.force_m_s2[:end], record.rate_rad_s[:end]), USUAL_POSES)
        for end in range(30, len(record.at_s), 30)
    ]
    assert counts == sorted(counts)
    assert set(range(1, len(USUAL_POSES))) <= {*counts}


def whole() -> MotionRecord:
    return tipped_record(6)


def later(by_s: float) -> MotionRecord:
    """Return a record whose clock jumps in the middle."""
    record = whole()
    late = np.arange(len(record.at_s)) >= len(record.at_s) // 2
    return dataclasses.replace(record, at_s=record.at_s + by_s * late)


def with_rates(change: Callable[[FloatArray], FloatArray]) -> MotionRecord:
    record = whole()
    return dataclasses.replace(record, rate_rad_s=change(record.rate_rad_s))


def with_forces(change: Callable[[FloatArray], FloatArray]) -> MotionRecord:
    record = whole()
    return dataclasses.replace(record, force_m_s2=change(record.force_m_s2))


def every_seventh(value: float) -> Callable[[FloatArray], FloatArray]:
    return lambda values: np.where((np.arange(len(values)) % 7 == 0)[:, None], value, values)


BROKEN: dict[str, tuple[Callable[[], MotionRecord], str]] = {
    "gap": (lambda: later(1.5), "time-gap"),
    "clock back": (lambda: later(-4.0), "clock-jumped"),
    "milliseconds": (lambda: dataclasses.replace(whole(), at_s=whole().at_s * 1000.0), "record-slow"),
    "time stands": (lambda: dataclasses.replace(whole(), at_s=whole().at_s * 0.0), "record-short"),
    "degrees": (lambda: with_rates(np.degrees), "rate-units"),
    "silent gyro": (lambda: with_rates(lambda rates: rates * 0.001), "gyro-silent"),
    "constant gyro axis": (lambda: with_rates(lambda rates: rates * [1.0, 0.0, 1.0]), "sensor-stuck"),
    "saturated gyro": (lambda: with_rates(lambda rates: np.clip(rates, -0.4, 0.4)), "sensor-saturated"),
    "endless": (lambda: with_rates(every_seventh(np.inf)), "samples-empty"),
    "all empty": (lambda: with_rates(lambda rates: rates * np.nan), "samples-empty"),
    "g": (lambda: with_forces(lambda forces: forces / 9.80665), "force-units"),
    "thousandths of g": (lambda: with_forces(lambda forces: forces * 101.97), "force-units"),
    "constant": (lambda: with_forces(lambda forces: forces * 0.0 + [0.0, 0.0, -9.8]), "sensor-stuck"),
    "saturated": (lambda: with_forces(lambda forces: np.clip(forces, -9.0, 9.0)), "sensor-saturated"),
    "empty samples": (lambda: with_forces(every_seventh(np.nan)), "samples-empty"),
}


@pytest.mark.parametrize(("make", "kind"), BROKEN.values(), ids=BROKEN)
def test_a_record_that_cannot_be_judged_is_not_shown_and_says_why(make: Callable[[], MotionRecord], kind: str) -> None:
    assert judge_orientation(whole(), USUAL_POSES, chip=None, board_deg=LEVEL_BOARD).verdict is Verdict.PASSED
    result = judge_orientation(make(), USUAL_POSES, chip=None, board_deg=LEVEL_BOARD)
    assert result.verdict is Verdict.NOT_SHOWN
    assert kinds(result) == [kind]
    assert result.sentence.endswith(".")
    assert held_so_far(make(), USUAL_POSES) == 0


@pytest.mark.parametrize("rows", [0, 1, 2, 39])
def test_a_record_of_a_few_rows_is_not_shown(rows: int) -> None:
    record = MotionRecord(np.arange(rows) / 100.0, np.full((rows, 3), -9.8), np.zeros((rows, 3)))
    result = judge_orientation(record, USUAL_POSES, chip=None, board_deg=None)
    assert result.verdict is Verdict.NOT_SHOWN
    assert held_so_far(record, USUAL_POSES) == 0


def test_columns_that_do_not_belong_together_are_not_shown() -> None:
    record = MotionRecord(np.arange(300) / 100.0, np.zeros((299, 3)), np.zeros((300, 2)))
    assert kinds(judge_orientation(record, USUAL_POSES, chip=None, board_deg=None)) == ["record-misshapen"]


def test_a_few_lost_samples_change_nothing() -> None:
    record = tipped_record(8, Hands())
    force = record.force_m_s2.copy()
    force[::150] = np.nan
    kept = np.ones(len(force), dtype=bool)
    kept[200:210] = False
    holed = MotionRecord(record.at_s[kept], force[kept], record.rate_rad_s[kept], record.attitude_rad[kept])  # type: ignore[index]
    assert judge_orientation(holed, USUAL_POSES, chip=None, board_deg=LEVEL_BOARD).verdict is Verdict.PASSED


def test_a_stream_that_repeats_its_samples_or_tells_them_twice_changes_nothing() -> None:
    for seed in range(6):
        record = tipped_record(seed, IN_HANDS)
        for chosen in (np.arange(len(record.at_s)) // 3 * 3, np.sort(np.r_[0 : len(record.at_s), 100:160])):
            assert record.attitude_rad is not None
            told = MotionRecord(
                record.at_s if len(chosen) == len(record.at_s) else record.at_s[chosen],
                record.force_m_s2[chosen],
                record.rate_rad_s[chosen],
                record.attitude_rad[chosen],
            )
            assert judge_orientation(told, USUAL_POSES, chip=None, board_deg=LEVEL_BOARD).verdict is Verdict.PASSED


def test_no_asked_pose_shows_nothing() -> None:
    result = judge_orientation(tipped_record(1), (), chip=None, board_deg=LEVEL_BOARD)
    assert result.verdict is Verdict.NOT_SHOWN
    assert held_so_far(tipped_record(1), ()) == 0


@pytest.mark.parametrize("attitude", ["none", "empty", "degrees", "misshapen"])
def test_an_attitude_that_is_not_told_is_not_shown_unless_it_is_not_needed(attitude: str) -> None:
    record = tipped_record(1)
    assert record.attitude_rad is not None
    said = {
        "none": None,
        "empty": np.full_like(record.attitude_rad, np.nan),
        "degrees": np.degrees(record.attitude_rad),
        "misshapen": record.attitude_rad[:, :2],
    }[attitude]
    changed = dataclasses.replace(record, attitude_rad=said)
    result = judge_orientation(changed, USUAL_POSES, chip=None, board_deg=LEVEL_BOARD)
    assert result.verdict is Verdict.NOT_SHOWN
    assert kinds(result)[0].startswith("attitude-")
    free = judge_orientation(changed, USUAL_POSES, chip=None, board_deg=LEVEL_BOARD, needs_attitude=False)
    assert free.verdict is Verdict.PASSED


def test_a_seldom_told_attitude_is_compared_where_it_is_told() -> None:
    record = tipped_record(1)
    assert record.attitude_rad is not None
    seldom = np.full_like(record.attitude_rad, np.nan)
    seldom[::10] = record.attitude_rad[::10]
    result = judge_orientation(
        dataclasses.replace(record, attitude_rad=seldom), USUAL_POSES, chip=None, board_deg=LEVEL_BOARD
    )
    assert result.verdict is Verdict.PASSED


def test_the_evidence_is_told_with_units_and_small_figures() -> None:
    result = judge_orientation(tipped_record(2), USUAL_POSES, chip=np.eye(3), board_deg=LEVEL_BOARD)
    measured = {one.name: one for one in result.measured}
    assert measured["second nearest mounting is further by"].value > 60.0
    assert measured["gyro at rest, down"].unit == "deg/s"
    assert all(np.isfinite(one.value) for one in result.measured)
    assert 60.0 < measured["flat turn to the right"].value < 125.0
    assert len(result.figures) == 2
    assert all(len(curve.points) <= 300 for figure in result.figures for curve in figure.curves)
    assert [row[0] for row in result.grids[0].rows[1:]] == [str(pose) for pose in USUAL_POSES]
    assert result.as_json()["verdict"] == "passed"
