"""What the application says of itself, unasked and asked."""

from __future__ import annotations

import itertools

import pytest
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import BUILD, NEXT_BUILD, UNIQUE_ID, Station

from rotorwright.twin.application import TARGET_OFFSETS
from rotorwright.twin.identity_messages import version_number


def test_it_names_itself_and_its_board_at_the_start() -> None:
    assert Station().texts()[0] == "Thornbill 5.2.0 on Corvane One"
    assert Station(build=NEXT_BUILD).texts()[0] == "Thornbill 6.0.0 on Corvane C405"


def test_its_heart_beats_once_a_second_as_that_of_a_disarmed_quadrotor() -> None:
    station = Station()
    beats = station.parsed(b"".join(station.wait(5.5)), "HEARTBEAT")
    assert len(beats) == 6
    for beat in beats:
        assert (beat.type, beat.autopilot) == (common.MAV_TYPE_QUADROTOR, common.MAV_AUTOPILOT_GENERIC)
        assert not beat.base_mode & common.MAV_MODE_FLAG_SAFETY_ARMED
        assert (beat.get_srcSystem(), beat.get_srcComponent()) == (1, 1)


def test_frames_are_numbered_without_a_gap() -> None:
    station = Station()
    numbers = [frame[4] for frame in station.wait(200.0)]
    assert len(numbers) > 256
    assert all((after - before) % 256 == 1 for before, after in itertools.pairwise(numbers))


def test_a_long_sleep_does_not_bring_back_the_heartbeats_of_that_time() -> None:
    station = Station()
    station.heard()
    station.now_s = 1000.25
    assert len(station.heard("HEARTBEAT")) == 1
    assert station.app.next_event_s() == pytest.approx(1001.0)


def test_autopilot_version_carries_unique_id_release_and_capabilities() -> None:
    version = Station().requested(common.MAVLINK_MSG_ID_AUTOPILOT_VERSION)
    assert bytes(version.uid2) == UNIQUE_ID + bytes(6)
    assert version.flight_sw_version == 0x050200FF
    assert bytes(version.flight_custom_version) == bytes.fromhex(BUILD.build)[:8]
    for capability in (
        common.MAV_PROTOCOL_CAPABILITY_PARAM_ENCODE_BYTEWISE,
        common.MAV_PROTOCOL_CAPABILITY_MAVLINK2,
        common.MAV_PROTOCOL_CAPABILITY_FTP,
        common.MAV_PROTOCOL_CAPABILITY_COMMAND_INT,
    ):
        assert version.capabilities & capability


@pytest.mark.parametrize("build", ["", "no hash"])
def test_a_build_without_a_hash_has_zeros_for_it(build: str) -> None:
    station = Station(build=type(BUILD)("Thornbill", "5.2.0", "Corvane One", "STM32F405xG", build))
    assert set(station.requested(common.MAVLINK_MSG_ID_AUTOPILOT_VERSION).flight_custom_version) == {0}


@pytest.mark.parametrize(("release", "number"), [("5.2.0", 0x050200FF), ("6.0.13", 0x06000DFF), ("6.0", 0x060000FF)])
def test_a_release_is_packed_one_byte_a_part(release: str, number: int) -> None:
    assert version_number(release) == number


def test_a_message_that_it_does_not_have_is_denied() -> None:
    station = Station()
    for number in (common.MAVLINK_MSG_ID_GPS_RAW_INT, 9999, -1.0, float("nan"), float("inf")):
        assert station.result(common.MAV_CMD_REQUEST_MESSAGE, number) == common.MAV_RESULT_DENIED


def test_messages_for_other_aircraft_get_no_answer() -> None:
    station = Station()
    for target in ((2, 1), (1, 42), (2, 0)):
        assert station.ask(common.MAVLink_param_request_list_message(*target)) == []
        assert station.ask(common.MAVLink_command_long_message(*target, 512, 0, 148, 0, 0, 0, 0, 0, 0)) == []
    for target in ((0, 0), (1, 0), (0, 1)):
        assert station.ask(common.MAVLink_command_long_message(*target, 512, 0, 148, 0, 0, 0, 0, 0, 0)) != []


def test_the_places_of_target_fields_are_those_of_the_message_definitions() -> None:
    for number, offset in TARGET_OFFSETS.items():
        kind = common.mavlink_map[number]
        values = kind.unpacker.unpack(bytes(range(kind.unpacker.size)))
        flat = [name for name, length in zip(kind.ordered_fieldnames, kind.lengths, strict=True) for _ in range(length)]
        assert values[flat.index("target_system")] == offset
        assert values[flat.index("target_component")] == offset + 1


def test_messages_that_it_has_no_use_for_are_passed_over() -> None:
    station = Station()
    heartbeat = common.MAVLink_heartbeat_message(common.MAV_TYPE_GCS, common.MAV_AUTOPILOT_INVALID, 0, 0, 0, 3)
    assert station.ask(heartbeat) == []
