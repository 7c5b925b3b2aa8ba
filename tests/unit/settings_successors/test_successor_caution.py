"""What touches arming, motors or failsafe is never put first. The names are made up for these tests."""

from __future__ import annotations

import pytest

from rotorwright.settings.successors import SettingDescription, likeliest_successors, touches_danger


@pytest.mark.parametrize(
    "name",
    [
        "arm_channel",
        "ArmingSwitch",
        "auto_disarm_s",
        "motor_count",
        "minmotoroutput",
        "MotorPoles",
        "mot_1_dir",
        "thr_curve",
        "failsafe_action",
        "fail_safe_delay",
        "FAIL-SAFE",
        "esc_protocol",
        "prop_direction",
        "idle_speed",
        "emergency_stop",
        "signal_lost_action",
    ],
)
def test_names_that_touch_danger_are_seen(name: str) -> None:
    assert touches_danger(SettingDescription(name))


@pytest.mark.parametrize(
    "name", ["alarm_volume", "display_rows", "gyro_cutoff_hz", "camera_charm", "telemetry_rate", ""]
)
def test_other_names_are_not(name: str) -> None:
    assert not touches_danger(SettingDescription(name))


@pytest.mark.parametrize(
    "setting",
    [
        SettingDescription("ax_9", role="arming.channel"),
        SettingDescription("ax_9", about="Lowest output at which the motors still turn"),
        SettingDescription("ax_9", group="Failsafe"),
    ],
)
def test_role_description_and_group_are_read_too(setting: SettingDescription) -> None:
    assert touches_danger(setting)


@pytest.mark.parametrize(("old", "new"), [("about", ""), ("", "about")])
def test_one_dangerous_side_is_enough_to_take_the_first_place_away(old: str, new: str) -> None:
    words = {"about": "turns the motors", "": "turns the page"}
    vanished = [SettingDescription("page_turn_rate", about=words[old])]
    arrived = [SettingDescription("PageTurnRate", about=words[new])]
    (found,) = likeliest_successors(vanished, arrived, at_least=0.0)
    assert found.new == "PageTurnRate"
    assert not found.may_be_offered_first


def test_a_harmless_pair_may_be_offered_first() -> None:
    (found,) = likeliest_successors(
        [SettingDescription("page_turn_rate")], [SettingDescription("page_turning_rate")], at_least=0.0
    )
    assert found.may_be_offered_first
