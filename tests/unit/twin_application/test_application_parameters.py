"""The parameter protocol, driven by pymavlink's own codec."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import (
    CATALOGUE,
    COUNT,
    NEXT_BUILD,
    RELEASE_DATA,
    RawParamSet,
    Station,
    raw_value,
    setting,
)

from rotorwright.settings.catalogue import Catalogue
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.application import BATCH_BYTES, ReleaseData
from rotorwright.twin.mavlink_codec import TYPE_NUMBERS, FrameWriter, param_value_packet

LIST = common.MAVLink_param_request_list_message(1, 1)
SAVE, LOAD, RESET = 1, 0, 2
STORAGE = common.MAV_CMD_PREFLIGHT_STORAGE
SIGNALLING = bytes.fromhex("0100807f")  # INT32 2139095041, or a float NaN that a Python float would make quiet


def test_the_list_holds_every_setting_once_in_order_with_its_type() -> None:
    found = Station().ask(LIST, "PARAM_VALUE")
    assert [each.param_index for each in found] == list(range(COUNT))
    assert {each.param_count for each in found} == {COUNT}
    assert [each.param_id for each in found] == list(CATALOGUE.names)
    assert [each.param_type for each in found] == [TYPE_NUMBERS[each.type] for each in CATALOGUE.settings.values()]


def test_values_are_their_machine_form_in_the_low_bytes() -> None:
    values = Station().values()
    for name, value in CATALOGUE.defaults.items():
        assert values[name] == value.to_bytes().ljust(4, b"\0")


def test_a_name_of_sixteen_letters_is_found_though_nothing_ends_it() -> None:
    station = Station()
    (answer,) = station.ask(common.MAVLink_param_request_read_message(1, 1, b"SIXTEEN_LETTERS_", -1), "PARAM_VALUE")
    assert answer.param_id == "SIXTEEN_LETTERS_"
    assert raw_value(answer) == struct.pack("<i", 42)


def test_one_setting_is_read_by_name_or_by_index() -> None:
    station = Station()
    (by_name,) = station.ask(common.MAVLink_param_request_read_message(1, 1, b"H_INT32", -1), "PARAM_VALUE")
    (by_index,) = station.ask(common.MAVLink_param_request_read_message(1, 1, b"", by_name.param_index), "PARAM_VALUE")
    assert by_name.param_id == by_index.param_id == "H_INT32"
    assert raw_value(by_name) == raw_value(by_index) == struct.pack("<i", 20000)


@pytest.mark.parametrize(("name", "index"), [(b"NO_SUCH", -1), (b"", COUNT), (b"", -2), (b"\xff\xfe", -1)])
def test_a_setting_that_is_not_there_is_answered_with_an_error(name: bytes, index: int) -> None:
    (answer,) = Station().ask(common.MAVLink_param_request_read_message(1, 1, name, index))
    assert answer.get_type() == "PARAM_ERROR"
    assert (answer.error, answer.param_index) == (common.MAV_PARAM_ERROR_DOES_NOT_EXIST, index)


def test_a_question_asked_many_times_before_it_is_answered_is_answered_once() -> None:
    station = Station()
    station.heard()
    for index in [3, 5, 3, 3, 5]:
        station.send(common.MAVLink_param_request_read_message(1, 1, b"", index))
    assert [each.param_index for each in station.heard("PARAM_VALUE")] == [3, 5]


def test_single_questions_come_before_the_rest_of_the_list() -> None:
    station = Station(release_data=_many(300))
    station.heard()
    station.send(LIST)
    first = station.parsed(b"".join(station.app.transmit(0.0)), "PARAM_VALUE")
    station.send(common.MAVLink_param_request_read_message(1, 1, b"", 299))
    rest = station.heard("PARAM_VALUE")
    assert [each.param_index for each in rest] == [299, *range(len(first), 300)]


def test_a_list_asked_for_again_begins_again() -> None:
    station = Station(release_data=_many(100))
    station.heard()
    station.send(LIST)
    station.app.transmit(0.0)
    station.send(LIST)
    assert [each.param_index for each in station.heard("PARAM_VALUE")] == list(range(100))


def test_a_release_without_settings_has_an_empty_list() -> None:
    assert Station(release_data=ReleaseData.of(Catalogue({}))).ask(LIST) == []


EVERY_TYPE = {
    "A_FLOAT": SettingType.FLOAT,
    "C_UINT8": SettingType.UINT8,
    "D_INT8": SettingType.INT8,
    "E_UINT16": SettingType.UINT16,
    "G_UINT32": SettingType.UINT32,
    "H_INT32": SettingType.INT32,
}


@pytest.mark.parametrize(("name", "type_"), EVERY_TYPE.items())
@given(data=st.data())
def test_every_bit_pattern_of_every_type_comes_back_exactly(name: str, type_: SettingType, data: st.DataObject) -> None:
    bits = data.draw(st.integers(0, (1 << 8 * type_.size_bytes) - 1))
    raw = Value(type_, bits).to_bytes().ljust(4, b"\0")
    station = Station()
    assert station.set_raw(name, raw, TYPE_NUMBERS[type_]) == raw
    assert station.values()[name] == raw


@pytest.mark.parametrize("name", ["A_FLOAT", "H_INT32", "G_UINT32"])
def test_a_pattern_that_is_a_signalling_nan_is_not_made_quiet(name: str) -> None:
    station = Station()
    type_number = TYPE_NUMBERS[CATALOGUE[name].type]
    assert station.set_raw(name, SIGNALLING, type_number) == SIGNALLING
    assert station.command(STORAGE, SAVE)[0].result == common.MAV_RESULT_ACCEPTED
    assert station.restarted().values()[name] == SIGNALLING


@pytest.mark.parametrize(
    ("name", "raw", "type_number", "reason"),
    [
        ("B_FLOAT_LIMITED", struct.pack("<f", 10.5), 9, "above the highest"),
        ("B_FLOAT_LIMITED", struct.pack("<f", 0.25), 9, "below the lowest"),
        ("B_FLOAT_LIMITED", SIGNALLING, 9, "has a range"),
        ("F_INT16", struct.pack("<h", 2001), 4, "above the highest"),
        ("Z_CHOICE", b"\x02", 1, "none of the choices"),
        ("C_UINT8", b"\x05", 2, "it holds a Uint8, not a Int8"),
        ("A_FLOAT", struct.pack("<f", 1.0), 6, "it holds a Float, not a Int32"),
        ("H_INT32", struct.pack("<i", 1), 10, "it holds a Int32, not a type 10"),
    ],
)
def test_what_is_not_allowed_is_refused_with_the_unchanged_value_and_words(
    name: str, raw: bytes, type_number: int, reason: str
) -> None:
    station = Station()
    station.heard()
    station.send(RawParamSet(name, raw, type_number))
    answers = station.heard()
    (value,) = [each for each in answers if each.get_type() == "PARAM_VALUE"]
    assert raw_value(value) == CATALOGUE.defaults[name].to_bytes().ljust(4, b"\0")
    texts = [each for each in answers if each.get_type() == "STATUSTEXT"]
    assert [each.chunk_seq for each in texts] == list(range(len(texts)))
    words = "".join(each.text for each in texts)
    assert words.startswith(f"{name} not changed: ")
    assert reason in words


def test_setting_what_is_not_there_is_answered_with_an_error() -> None:
    (answer,) = Station().ask(RawParamSet("NO_SUCH", b"\x01", 1))
    assert (answer.get_type(), answer.param_id) == ("PARAM_ERROR", "NO_SUCH")


def test_integers_ignore_what_stands_above_their_width() -> None:
    assert Station().set_raw("C_UINT8", b"\x07\xaa\xbb\xcc", 1) == b"\x07\0\0\0"


def test_a_change_without_a_save_is_lost_with_the_power() -> None:
    station = Station()
    station.set_raw("C_UINT8", b"\x07", 1)
    assert station.restarted().values() == Station().values()


def test_what_was_saved_is_in_force_after_a_restart() -> None:
    station = Station()
    assert "No saved settings: defaults in force" in station.texts()
    station.set_raw("C_UINT8", b"\x07", 1)
    assert station.result(STORAGE, SAVE) == common.MAV_RESULT_ACCEPTED
    after = station.restarted()
    assert after.texts() == ["Thornbill 5.2.0 on Corvane One"]
    assert after.values() == station.values()
    assert after.values()["C_UINT8"] == b"\x07\0\0\0"


def test_loading_takes_back_what_was_not_saved() -> None:
    station = Station()
    station.set_raw("C_UINT8", b"\x07", 1)
    station.result(STORAGE, SAVE)
    station.set_raw("C_UINT8", b"\x08", 1)
    station.set_raw("D_INT8", b"\x08", 2)
    assert station.result(STORAGE, LOAD) == common.MAV_RESULT_ACCEPTED
    assert station.values()["C_UINT8"] == b"\x07\0\0\0"
    assert station.values()["D_INT8"] == b"\xfd\0\0\0"


def test_loading_fails_and_changes_nothing_when_nothing_was_saved() -> None:
    station = Station()
    station.set_raw("C_UINT8", b"\x07", 1)
    assert station.result(STORAGE, LOAD) == common.MAV_RESULT_FAILED
    assert station.values()["C_UINT8"] == b"\x07\0\0\0"


def test_a_reset_puts_defaults_in_force_and_leaves_what_is_stored() -> None:
    station = Station()
    station.set_raw("C_UINT8", b"\x07", 1)
    station.result(STORAGE, SAVE)
    assert station.result(STORAGE, RESET) == common.MAV_RESULT_ACCEPTED
    assert station.values() == Station().values()
    assert station.restarted().values()["C_UINT8"] == b"\x07\0\0\0"


@pytest.mark.parametrize("action", [3, 4, -1, float("nan"), 0.5])
def test_other_storage_actions_are_denied(action: float) -> None:
    assert Station().result(STORAGE, action) == common.MAV_RESULT_DENIED


def test_settings_of_another_release_are_not_taken() -> None:
    station = Station()
    station.set_raw("C_UINT8", b"\x07", 1)
    station.result(STORAGE, SAVE)
    after = station.restarted(build=NEXT_BUILD)
    assert "Saved settings are of 5.2.0: defaults in force" in after.texts()
    assert after.values() == Station().values()
    assert after.result(STORAGE, LOAD) == common.MAV_RESULT_FAILED


def test_a_release_that_knows_less_takes_what_it_knows_and_allows() -> None:
    station = Station()
    station.set_raw("C_UINT8", b"\x07", 1)
    station.set_raw("F_INT16", struct.pack("<h", 1999), 4)
    station.result(STORAGE, SAVE)
    narrower = [setting("C_UINT8", SettingType.UINT8, 1), setting("F_INT16", SettingType.INT16, 0, -5, 5)]
    data = ReleaseData.of(Catalogue({each.name: each for each in narrower}))
    assert station.restarted(release_data=data).values() == {"C_UINT8": b"\x07\0\0\0", "F_INT16": bytes(4)}


def test_a_batch_is_a_few_frames_and_the_rest_waits_without_being_made() -> None:
    station = Station(release_data=_many(460))
    station.heard()
    station.send(LIST)
    total = 0
    while batch := station.app.transmit(0.0):
        assert sum(map(len, batch)) < BATCH_BYTES + 280
        total += len(batch)
        assert total == 460 or station.app.next_event_s() == 0.0
    assert total == 460
    assert station.app.next_event_s() == 1.0


def test_our_frame_of_a_value_is_the_frame_that_pymavlink_makes() -> None:
    for number, (name, value) in enumerate(CATALOGUE.defaults.items()):
        if value.type is not SettingType.FLOAT:
            continue  # only a float can be given to pymavlink without loss
        theirs = common.MAVLink_param_value_message(name.encode(), value.number, 9, COUNT, number)
        packet = param_value_packet(name, value, count=COUNT, index=number)
        assert FrameWriter().frame(packet) == theirs.pack(common.MAVLink(None, srcSystem=1, srcComponent=1))


def test_a_list_of_460_settings_comes_whole() -> None:
    station = Station(release_data=_many(460))
    station.heard()
    station.send(LIST)
    assert len(station.frames()) == 460


def _many(count: int) -> ReleaseData:
    settings = [setting(f"S_{number:03}", SettingType.FLOAT, number) for number in range(count)]
    return ReleaseData(Catalogue({each.name: each for each in settings}), RELEASE_DATA.metadata)
