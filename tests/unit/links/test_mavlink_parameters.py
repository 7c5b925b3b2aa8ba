"""The settings link: complete and exact whatever the line does, or an error that says what is missing."""

from __future__ import annotations

import random
import struct
from functools import partial
from typing import Any

import pytest
from pymavlink.dialects.v20 import common
from tests.unit.links.fake_aircraft import FakeAircraft, Faults

from rotorwright.errors import RotorwrightError
from rotorwright.links.errors import NoAnswerError, PortVanishedError
from rotorwright.links.mavlink.errors import (
    EncodingUnknownError,
    HeartbeatMissingError,
    SettingBadError,
    SettingMissingError,
    SettingRefusedError,
    SettingsChangedWhileReadError,
    SettingsIncompleteError,
)
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.settings.values import SCHEMA_TYPES, SettingType, Value

SIGNALLING_NAN = 0x7FA0_0001
AWKWARD = {
    "SIXTEEN_LETTERS_": Value(SettingType.FLOAT, SIGNALLING_NAN),
    "QUIET_NAN": Value(SettingType.FLOAT, 0x7FC0_1234),
    "MINUS_ZERO": Value(SettingType.FLOAT, 0x8000_0000),
    "DENORMAL": Value(SettingType.FLOAT, 1),
    "INT_LIKE_NAN": Value(SettingType.INT32, 0x7F80_0001),
    "UINT_HIGH": Value(SettingType.UINT32, 0xFFFF_FFFF),
    "INT8": Value.of(SettingType.INT8, -3),
    "UINT8": Value.of(SettingType.UINT8, 200),
    "INT16": Value.of(SettingType.INT16, -1000),
    "UINT16": Value.of(SettingType.UINT16, 65535),
}


def _many(count: int, seed: int = 1) -> dict[str, Value]:
    dice = random.Random(seed)
    types = list(SCHEMA_TYPES)
    found = dict(AWKWARD)
    while len(found) < count:
        type_ = dice.choice(types)
        found[f"SET_{len(found)}"] = Value(type_, dice.getrandbits(8 * type_.size_bytes))
    names = list(found)
    dice.shuffle(names)
    return {name: found[name] for name in names}


def _link(aircraft: FakeAircraft) -> MavlinkLink:
    return MavlinkLink(aircraft.wire, aircraft.clock)


def _has_four_answers(error: RotorwrightError) -> bool:
    return all((error.what, error.why, error.state, error.todo))


def test_every_setting_is_read_exactly_to_the_bit_and_sorted() -> None:
    settings = _many(120)
    link = _link(FakeAircraft(settings))
    steps: list[tuple[int, int]] = []
    found = link.read_settings(lambda *step: steps.append(step))
    assert found == settings
    assert list(found) == sorted(settings)
    assert steps == [(number, 120) for number in range(1, 121)]
    assert link.last_read is not None
    assert link.last_read.settings == 120
    assert link.last_read.asked_again == 0


@pytest.mark.parametrize("seed", range(8))
def test_a_fifth_of_all_frames_lost_and_the_list_is_complete_and_exact(seed: int) -> None:
    settings = _many(420)
    link = _link(FakeAircraft(settings, faults=Faults(loss=0.2, seed=seed)))
    assert link.read_settings() == settings
    statistics = link.last_read
    assert statistics is not None
    assert statistics.asked_again > 40, "the faults were real"
    assert statistics.frames_lost > 40
    assert statistics.duration_s < 1.5 * 420 * 37 * 10 / 115_200 + 1.0


def test_lost_settings_are_asked_for_at_once_and_do_not_wait_for_a_timeout() -> None:
    """With a fifth lost each way, the answers alone need 1.25 times the limit; with waits 2.3 times."""
    times = []
    for seed in range(12):
        link = _link(FakeAircraft(_many(420), faults=Faults(loss=0.2, seed=seed), baud=921_600))
        link.read_settings()
        assert link.last_read is not None
        times.append(link.last_read.duration_s)
    limit_s = 420 * 37 * 10 / 921_600
    assert sorted(times)[6] < 1.8 * limit_s


@pytest.mark.parametrize(
    "faults",
    [
        Faults(doubled=0.3),
        Faults(late=0.1),
        Faults(damage=0.1),
        Faults(rubbish=0.3),
        Faults(loss=0.1, doubled=0.1, late=0.05, damage=0.05, rubbish=0.1),
    ],
    ids=["doubled", "late", "damaged", "rubbish", "all"],
)
def test_doubled_late_damaged_answers_and_rubbish_do_no_harm(faults: Faults) -> None:
    settings = _many(200)
    assert _link(FakeAircraft(settings, faults=faults)).read_settings() == settings


def test_a_setting_that_never_comes_is_named_by_number_and_nothing_is_returned() -> None:
    class LosesTwo(FakeAircraft):
        def _send_value(self, index: int) -> None:
            if index not in {7, 9}:
                super()._send_value(index)

    with pytest.raises(SettingsIncompleteError) as caught:
        _link(LosesTwo(_many(30))).read_settings()
    assert caught.value.facts["missing"] == 2
    assert caught.value.facts["total"] == 30
    assert caught.value.facts["first_index"] == 7
    assert _has_four_answers(caught.value)


def test_a_list_that_changes_once_is_read_again() -> None:
    aircraft = FakeAircraft(_many(60), faults=Faults(count_changes_at=30))
    link = _link(aircraft)
    assert link.read_settings() == aircraft.settings
    assert len(aircraft.settings) == 59
    assert link.last_read is not None
    assert link.last_read.restarts == 1


def test_a_list_that_keeps_changing_is_an_error() -> None:
    class NeverTheSame(FakeAircraft):
        def _send_value(self, index: int) -> None:
            super()._send_value(index)
            if index == 3:
                self.settings.popitem()

    with pytest.raises(SettingsChangedWhileReadError) as caught:
        _link(NeverTheSame(_many(200))).read_settings()
    assert caught.value.facts["restarts"] == 4
    assert _has_four_answers(caught.value)


def test_two_indexes_with_one_name_are_not_accepted() -> None:
    class Twice(FakeAircraft):
        def _send_value(self, index: int) -> None:
            super()._send_value(index)
            if index == 5:
                self.settings = dict(reversed(self.settings.items()))

    with pytest.raises(SettingsChangedWhileReadError):
        _link(Twice(_many(20))).read_settings()


def test_an_unknown_type_is_shown_and_not_guessed() -> None:
    class Wide(FakeAircraft):
        def _send_value(self, index: int) -> None:
            self._send(common.MAVLink_param_value_message(b"WIDE", 1.0, 10, 1, 0))

    with pytest.raises(SettingBadError) as caught:
        _link(Wide(_many(20))).read_settings()
    assert "10" in caught.value.what
    assert _has_four_answers(caught.value)


@pytest.mark.parametrize("name", [b"", b"\xff\xfe", b"A\x07B"])
def test_a_name_that_is_no_text_is_refused(name: bytes) -> None:
    class BadName(FakeAircraft):
        def _send_value(self, index: int) -> None:
            payload = struct.pack("<fHH16sB", 1.0, 1, 0, name, 9)
            empty = common.MAVLink_param_value_message(name, 1.0, 9, 1, 0)
            self._send(lambda: empty._pack(self._codec, empty.crc_extra, payload))

    with pytest.raises(SettingBadError):
        _link(BadName(_many(20))).read_settings()


def test_a_change_told_while_the_list_is_read_is_taken_in() -> None:
    class Changes(FakeAircraft):
        def _send_value(self, index: int) -> None:
            super()._send_value(index)
            if index == 10:
                payload = struct.pack("<4sHH16sB", b"\x07\0\0\0", len(self.settings), 65535, b"UINT8", 1)
                empty = common.MAVLink_param_value_message(b"UINT8", 0.0, 1, 1, 65535)
                self._send(lambda: empty._pack(self._codec, empty.crc_extra, payload))

    settings = {"UINT8": Value.of(SettingType.UINT8, 200)} | _many(20)
    found = _link(Changes(settings)).read_settings()
    assert found["UINT8"].number == 7


def test_a_silent_port_is_told_from_one_that_stops_answering() -> None:
    silent = FakeAircraft(_many(20), faults=Faults(silent=True))
    with pytest.raises(HeartbeatMissingError) as nobody:
        _link(silent).read_settings()
    assert _has_four_answers(nobody.value)
    stops = FakeAircraft(_many(20))
    link = _link(stops)
    link.read_identity()
    stops.faults.loss = 1.0
    with pytest.raises(NoAnswerError) as nothing:
        link.read_settings()
    assert nothing.value.facts["question"] == "the list of settings"
    assert _has_four_answers(nothing.value)


def test_a_port_that_vanishes_while_reading_is_an_error_at_once() -> None:
    class Pulled(FakeAircraft):
        def _send_value(self, index: int) -> None:
            super()._send_value(index)
            if index == 300:
                self.wire.vanishes_at_s = self.clock.now_s() + 0.5

    aircraft = Pulled(_many(400))
    with pytest.raises(PortVanishedError):
        _link(aircraft).read_settings()
    assert aircraft.clock.now_s() < 2.0


def test_settings_of_another_system_on_the_same_wire_are_left_alone() -> None:
    aircraft = FakeAircraft(_many(50))
    stranger = common.MAVLink(None, srcSystem=9, srcComponent=1)
    for step in range(100):
        message = common.MAVLink_param_value_message(b"STRANGER", 1.0, 9, 3, 0)
        aircraft.wire.reply(0.21 + 0.01 * step, partial(message.pack, stranger))
    link = _link(aircraft)
    assert link.read_settings() == aircraft.settings
    assert link.last_read is not None
    assert link.last_read.restarts == 0


def test_what_begins_like_a_frame_and_goes_silent_hides_no_answer() -> None:
    aircraft = FakeAircraft(_many(20))
    link = _link(aircraft)
    link.wait_heartbeat()
    aircraft.wire.reply(0.0001, b"\xfd\xff\x00")
    link.read_identity()
    assert link.traffic.asked_again == 0


def test_whole_numbers_sent_as_floats_are_read_and_written_so_when_the_aircraft_says_so() -> None:
    class Casts(FakeAircraft):
        def _send_value(self, index: int) -> None:
            name, value = list(self.settings.items())[index]
            numbers = {"UINT8": 1, "INT32": 6}
            self._send(
                common.MAVLink_param_value_message(
                    name.encode(), float(value.number), numbers[name], len(self.settings), index
                )
            )

        def _set(self, message: Any) -> None:
            name = str(message.param_id)
            self.settings[name] = Value.of(self.settings[name].type, message.param_value)
            self._send_value(list(self.settings).index(name))

    aircraft = Casts({"UINT8": Value.of(SettingType.UINT8, 200), "INT32": Value.of(SettingType.INT32, -20000)})
    aircraft.capabilities = 131072 | 8192
    link = _link(aircraft)
    assert link.read_settings() == aircraft.settings
    assert link.write_setting("INT32", Value.of(SettingType.INT32, 42)).number == 42
    aircraft.settings["UINT8"] = Value(SettingType.FLOAT, 0x3F00_0000)
    with pytest.raises(SettingBadError):
        link.read_settings()


@pytest.mark.parametrize("capabilities", [0, 16 | 131072])
def test_an_encoding_that_the_aircraft_does_not_tell_is_not_guessed(capabilities: int) -> None:
    aircraft = FakeAircraft(_many(20))
    aircraft.capabilities = capabilities
    with pytest.raises(EncodingUnknownError) as caught:
        _link(aircraft).read_settings()
    assert _has_four_answers(caught.value)


@pytest.mark.parametrize("name", AWKWARD)
def test_each_awkward_value_is_written_exactly(name: str) -> None:
    aircraft = FakeAircraft(dict.fromkeys(AWKWARD, Value.of(SettingType.FLOAT, 0.0)))
    for other, value in AWKWARD.items():
        aircraft.settings[other] = Value(value.type, 0)
    link = _link(aircraft)
    assert link.write_setting(name, AWKWARD[name]) == AWKWARD[name]
    assert aircraft.settings[name] == AWKWARD[name]
    assert link.read_setting(name) == AWKWARD[name]


@pytest.mark.parametrize("seed", range(5))
def test_settings_are_written_over_a_line_that_loses_a_fifth(seed: int) -> None:
    aircraft = FakeAircraft(_many(60), faults=Faults(loss=0.2, doubled=0.1, late=0.02, seed=seed))
    link = _link(aircraft)
    wanted = {f"SET_{number}": aircraft.settings[f"SET_{number}"] for number in range(10, 40)}
    for name, value in wanted.items():
        changed = Value(value.type, value.bits ^ 1)
        assert link.write_setting(name, changed) == changed
        assert aircraft.settings[name] == changed


def test_a_slow_line_is_noticed_and_settings_are_not_written_twice_for_ever() -> None:
    aircraft = FakeAircraft(_many(60), faults=Faults(latency_s=0.4))
    link = _link(aircraft)
    for number in range(10, 40):
        value = aircraft.settings[f"SET_{number}"]
        link.write_setting(f"SET_{number}", Value(value.type, value.bits ^ 1))
    assert aircraft.received.count("PARAM_SET") < 30 + 6


def test_a_refused_value_is_told_with_both_values_and_the_aircrafts_words() -> None:
    aircraft = FakeAircraft(_many(20))
    aircraft.limits["UINT8"] = (0, 210)
    with pytest.raises(SettingRefusedError) as caught:
        _link(aircraft).write_setting("UINT8", Value.of(SettingType.UINT8, 211))
    assert caught.value.facts == {"name": "UINT8", "sent": "211", "kept": "200"}
    assert "0 to 210" in caught.value.why
    assert aircraft.received.count("PARAM_SET") == 2, "one answer may be an older one, two are a refusal"
    assert _has_four_answers(caught.value)


def test_a_value_of_another_type_is_told_with_both_types() -> None:
    with pytest.raises(SettingRefusedError) as caught:
        _link(FakeAircraft(_many(20))).write_setting("UINT8", Value.of(SettingType.INT16, 200))
    assert caught.value.facts["sent"] == "200 (Int16)"
    assert caught.value.facts["kept"] == "200 (Uint8)"


def test_a_setting_that_is_not_there_is_told_at_once() -> None:
    aircraft = FakeAircraft(_many(20))
    link = _link(aircraft)
    with pytest.raises(SettingMissingError) as caught:
        link.write_setting("NOT_THERE", Value.of(SettingType.UINT8, 1))
    assert aircraft.received.count("PARAM_SET") == 1
    assert _has_four_answers(caught.value)
    with pytest.raises(SettingMissingError):
        link.read_setting("NOT_THERE")


def test_a_writing_without_any_answer_is_an_error() -> None:
    aircraft = FakeAircraft(_many(20))
    link = _link(aircraft)
    link.read_settings()
    aircraft.faults.loss = 1.0
    with pytest.raises(NoAnswerError) as caught:
        link.write_setting("UINT8", Value.of(SettingType.UINT8, 1))
    assert _has_four_answers(caught.value)
