"""Commands: results, restarts, intervals, and no motor."""

from __future__ import annotations

import itertools

import pytest
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import Station

REBOOT = common.MAV_CMD_PREFLIGHT_REBOOT_SHUTDOWN
INTERVAL = common.MAV_CMD_SET_MESSAGE_INTERVAL
MOTOR_COMMANDS = {
    common.MAV_CMD_COMPONENT_ARM_DISARM: (1.0,),
    common.MAV_CMD_DO_MOTOR_TEST: (1.0, 0.0, 10.0, 1.0),
    common.MAV_CMD_DO_SET_ACTUATOR: (0.5,),
    common.MAV_CMD_DO_SET_SERVO: (1.0, 1500.0),
    common.MAV_CMD_NAV_TAKEOFF: (),
}


@pytest.mark.parametrize(("number", "parameters"), MOTOR_COMMANDS.items())
def test_a_command_that_would_turn_a_motor_is_denied_with_the_reason(
    number: int, parameters: tuple[float, ...]
) -> None:
    station = Station()
    station.heard()
    filled = (*parameters, *[0.0] * (7 - len(parameters)))
    answers = station.ask(common.MAVLink_command_long_message(1, 1, number, 0, *filled))
    assert [each.result for each in answers if each.get_type() == "COMMAND_ACK"] == [common.MAV_RESULT_DENIED]
    words = "".join(each.text for each in answers if each.get_type() == "STATUSTEXT")
    assert words == "Refused: only the bench drives a motor here"


def test_a_motor_of_an_aircraft_without_a_body_is_not_driven_and_it_says_so() -> None:
    station = Station()
    station.heard()
    message = common.MAVLink_command_long_message(1, 1, common.MAV_CMD_ACTUATOR_TEST, 0, 0.1, 1.0, 0.0, 0.0, 1.0, 0, 0)
    answers = station.ask(message)
    assert [each.result for each in answers if each.get_type() == "COMMAND_ACK"] == [common.MAV_RESULT_DENIED]
    assert any(each.text.startswith("Refused") for each in answers if each.get_type() == "STATUSTEXT")


@pytest.mark.parametrize("force", [0.0, 21196.0])
def test_arming_is_denied_also_by_force(force: float) -> None:
    assert Station().result(common.MAV_CMD_COMPONENT_ARM_DISARM, 1.0, force) == common.MAV_RESULT_DENIED


def test_disarming_what_is_disarmed_is_accepted() -> None:
    assert Station().result(common.MAV_CMD_COMPONENT_ARM_DISARM, 0.0) == common.MAV_RESULT_ACCEPTED


@pytest.mark.parametrize("number", [common.MAV_CMD_DO_PARACHUTE, 0, 65535])
def test_an_unknown_command_is_answered_as_unsupported(number: int) -> None:
    assert Station().result(number) == common.MAV_RESULT_UNSUPPORTED


def test_a_command_in_the_integer_form_is_heard_too() -> None:
    station = Station()
    asked = common.MAVLink_command_int_message(1, 1, 0, common.MAV_CMD_REQUEST_MESSAGE, 0, 0, 148, 0, 0, 0, 0, 0, 0)
    assert [each.get_type() for each in station.ask(asked)] == ["COMMAND_ACK", "AUTOPILOT_VERSION"]


@pytest.mark.parametrize(("action", "wants"), [(1, "reboot"), (3, "bootloader")])
def test_a_restart_is_answered_first_then_wanted(action: int, wants: str) -> None:
    station = Station()
    station.heard()
    station.send(common.MAVLink_param_request_list_message(1, 1))
    assert station.result(REBOOT, action) == common.MAV_RESULT_ACCEPTED
    assert station.app.wants == wants
    assert station.app.next_event_s() is None
    assert station.wait(5.0) == []


def test_nothing_is_heard_any_more_on_the_way_to_a_restart() -> None:
    station = Station()
    station.result(REBOOT, 1)
    assert station.command(REBOOT, 3) == []
    assert station.app.wants == "reboot"


@pytest.mark.parametrize("action", [0, 2, 4, float("nan")])
def test_other_kinds_of_restart_are_denied(action: float) -> None:
    station = Station()
    assert station.result(REBOOT, action) == common.MAV_RESULT_DENIED
    assert station.app.wants is None


def test_a_message_comes_at_the_interval_asked_for_until_it_is_switched_off() -> None:
    station = Station()
    assert station.result(INTERVAL, common.MAVLINK_MSG_ID_ATTITUDE, 20_000) == common.MAV_RESULT_ACCEPTED
    found = station.parsed(b"".join(station.wait(1.0)), "ATTITUDE")
    assert len(found) in {49, 50}  # the first came with the answer, the last may be a rounding late
    times = [each.time_boot_ms for each in found]
    assert {later - earlier for earlier, later in itertools.pairwise(times)} <= {19, 20, 21}
    assert station.result(INTERVAL, common.MAVLINK_MSG_ID_ATTITUDE, -1) == common.MAV_RESULT_ACCEPTED
    assert station.parsed(b"".join(station.wait(1.0)), "ATTITUDE") == []


def test_the_default_interval_can_be_brought_back() -> None:
    station = Station()
    station.result(INTERVAL, common.MAVLINK_MSG_ID_HEARTBEAT, -1)
    assert station.parsed(b"".join(station.wait(3.0)), "HEARTBEAT") == []
    station.result(INTERVAL, common.MAVLINK_MSG_ID_HEARTBEAT, 0)
    assert len(station.parsed(b"".join(station.wait(2.5)), "HEARTBEAT")) in {2, 3}


@pytest.mark.parametrize(
    ("message_id", "interval_us"),
    [
        (common.MAVLINK_MSG_ID_GPS_RAW_INT, 100_000),
        (common.MAVLINK_MSG_ID_ATTITUDE, 100),
        (common.MAVLINK_MSG_ID_ATTITUDE, -2),
        (common.MAVLINK_MSG_ID_ATTITUDE, float("nan")),
        (float("nan"), 100_000),
    ],
)
def test_an_interval_that_cannot_be_is_denied(message_id: float, interval_us: float) -> None:
    assert Station().result(INTERVAL, message_id, interval_us) == common.MAV_RESULT_DENIED


@pytest.mark.parametrize(
    ("message_id", "interval_us"),
    [
        (common.MAVLINK_MSG_ID_HEARTBEAT, 1_000_000),
        (common.MAVLINK_MSG_ID_ATTITUDE, -1),
        (common.MAVLINK_MSG_ID_GPS_RAW_INT, 0),
    ],
)
def test_an_interval_can_be_asked_for_in_two_ways(message_id: int, interval_us: int) -> None:
    station = Station()
    _, old_way = station.command(common.MAV_CMD_GET_MESSAGE_INTERVAL, message_id)
    _, new_way = station.command(common.MAV_CMD_REQUEST_MESSAGE, common.MAVLINK_MSG_ID_MESSAGE_INTERVAL, message_id)
    for answer in (old_way, new_way):
        assert (answer.get_type(), answer.message_id, answer.interval_us) == (
            "MESSAGE_INTERVAL",
            message_id,
            interval_us,
        )


def test_a_flood_of_commands_does_not_grow_the_queue_without_end() -> None:
    station = Station()
    station.heard()
    for _ in range(5000):
        station.send(common.MAVLink_command_long_message(1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0))
    assert len(station.heard()) < 200
    assert station.result(REBOOT, 1) == common.MAV_RESULT_ACCEPTED
