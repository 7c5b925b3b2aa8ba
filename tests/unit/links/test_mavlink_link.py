"""Identity, commands, catalogue and telemetry of a running application."""

from __future__ import annotations

import json
import lzma
from itertools import islice

import pytest
from tests.unit.links.fake_aircraft import UNIQUE_ID, FakeAircraft, Faults

from rotorwright.errors import RotorwrightError
from rotorwright.links.errors import NoAnswerError, PortVanishedError
from rotorwright.links.mavlink import metadata
from rotorwright.links.mavlink.errors import (
    CommandRefusedError,
    IdentityUnusableError,
    MetadataUnusableError,
    TelemetryMissingError,
)
from rotorwright.links.mavlink.ftp import file_crc
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.mavlink.spec import METADATA_MOST_BYTES
from rotorwright.settings.values import SettingType, Value

SAVE, REBOOT, INTERVAL, REQUEST = 245, 246, 511, 512


def _link(aircraft: FakeAircraft) -> MavlinkLink:
    return MavlinkLink(aircraft.wire, aircraft.clock)


def _has_four_answers(error: RotorwrightError) -> bool:
    return all((error.what, error.why, error.state, error.todo))


@pytest.mark.parametrize("seed", range(5))
def test_the_identity_is_read_also_over_a_line_that_loses_a_fifth(seed: int) -> None:
    identity = _link(FakeAircraft({}, faults=Faults(loss=0.2, seed=seed))).read_identity()
    assert identity.unique_id == UNIQUE_ID.hex() == "101112131415161718191a1b"
    assert (identity.family, identity.release, identity.board) == ("Thornbill", "5.2.0", "Corvane One")
    assert identity.build == "0a1b2c3d4e5f6071"


def test_an_aircraft_without_basic_information_is_known_by_what_it_says() -> None:
    aircraft = FakeAircraft({})
    aircraft.basic = None
    identity = _link(aircraft).read_identity()
    assert (identity.family, identity.release, identity.board) == ("", "5.2.0", "")


@pytest.mark.parametrize(
    ("field", "value"), [("serial_number", "ff1112131415161718191a1b"), ("software_version", "5.2.1")]
)
def test_an_aircraft_that_contradicts_itself_is_not_believed(field: str, value: str) -> None:
    aircraft = FakeAircraft({})
    assert aircraft.basic is not None
    aircraft.basic[field] = value
    with pytest.raises(IdentityUnusableError) as caught:
        _link(aircraft).read_identity()
    assert value in caught.value.what
    assert _has_four_answers(caught.value)


def test_a_serial_number_of_another_form_is_no_contradiction() -> None:
    aircraft = FakeAircraft({})
    assert aircraft.basic is not None
    aircraft.basic["serial_number"] = "SP5-0042"
    assert _link(aircraft).read_identity().unique_id == UNIQUE_ID.hex()


def test_an_aircraft_without_unique_id_is_not_accepted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.unit.links.fake_aircraft.UNIQUE_ID", bytes(12))
    with pytest.raises(IdentityUnusableError) as caught:
        _link(FakeAircraft({})).read_identity()
    assert _has_four_answers(caught.value)


def test_settings_are_saved_loaded_and_reset() -> None:
    aircraft = FakeAircraft({"A": Value.of(SettingType.UINT8, 1)})
    link = _link(aircraft)
    link.save_settings()
    link.load_settings()
    link.reset_settings()
    assert aircraft.saved == aircraft.settings
    assert [(number, parameters[0]) for number, parameters in aircraft.commands] == [(SAVE, 1), (SAVE, 0), (SAVE, 2)]


def test_a_command_is_repeated_with_a_higher_confirmation_until_it_is_acknowledged() -> None:
    aircraft = FakeAircraft({}, faults=Faults(swallow_acks=2))
    _link(aircraft).save_settings()
    assert aircraft.confirmations == [0, 1, 2]


def test_a_busy_aircraft_is_asked_again_and_one_at_work_is_waited_for() -> None:
    busy = FakeAircraft({}, faults=Faults(results={SAVE: [1, 1]}))
    _link(busy).save_settings()
    assert len(busy.commands) == 3
    at_work = FakeAircraft({}, faults=Faults(results={SAVE: [5, 5, 0]}))
    _link(at_work).save_settings()
    assert len(at_work.commands) == 1


@pytest.mark.parametrize(
    ("results", "words"),
    [([2], "does not allow"), ([3], "does not know"), ([4], "tried and failed"), ([1] * 6, "now"), ([9], "no known")],
)
def test_a_refused_command_is_told_in_words(results: list[int], words: str) -> None:
    with pytest.raises(CommandRefusedError) as caught:
        _link(FakeAircraft({}, faults=Faults(results={SAVE: list(results)}))).save_settings()
    assert words in caught.value.what
    assert caught.value.facts["result"] == results[-1]
    assert _has_four_answers(caught.value)


def test_a_command_in_progress_that_never_ends_is_an_error() -> None:
    with pytest.raises(NoAnswerError):
        _link(FakeAircraft({}, faults=Faults(results={SAVE: [5]}))).save_settings()


def test_an_acknowledgement_for_somebody_else_is_left_alone() -> None:
    from pymavlink.dialects.v20 import common  # noqa: PLC0415

    aircraft = FakeAircraft({}, faults=Faults(results={SAVE: [0]}))
    for_other = common.MAVLink_command_ack_message(SAVE, 2, 0, 0, 77, 1)
    aircraft.wire.reply(0.2001, lambda: aircraft._frame(for_other))
    _link(aircraft).save_settings()


def test_the_aircraft_is_restarted_once_and_into_its_bootloader_when_wanted() -> None:
    for act, wanted in (("reboot", 1.0), ("reboot_to_bootloader", 3.0)):
        aircraft = FakeAircraft({})
        getattr(_link(aircraft), act)()
        assert aircraft.restarted == wanted
        assert aircraft.received.count("COMMAND_LONG") == 1


def test_a_restart_that_swallows_its_acknowledgement_counts_and_nothing_is_sent_after_it() -> None:
    """Bytes that reach a fresh bootloader by chance would spoil how it measures the baud rate."""
    aircraft = FakeAircraft({}, faults=Faults(swallow_acks=1))
    _link(aircraft).reboot_to_bootloader()
    assert aircraft.restarted == 3.0
    assert len(aircraft.wire.sent) == 1


def test_a_restart_command_that_was_lost_is_repeated_while_the_aircraft_is_heard() -> None:
    aircraft = FakeAircraft({}, faults=Faults(results={REBOOT: [1]}))
    with pytest.raises(CommandRefusedError):
        _link(aircraft).reboot()
    for seed in range(20):
        lossy = FakeAircraft({}, faults=Faults(loss=0.3, seed=seed))
        _link(lossy).reboot()
        assert lossy.restarted == 1.0


def test_a_port_that_goes_with_the_restart_is_no_error() -> None:
    aircraft = FakeAircraft({}, faults=Faults(swallow_acks=1))
    link = _link(aircraft)
    link.wait_heartbeat()
    aircraft.wire.vanishes_after_sends = 1
    link.reboot()
    with pytest.raises(PortVanishedError):
        link.save_settings()


def test_texts_are_kept_and_long_ones_put_together() -> None:
    aircraft = FakeAircraft({})
    link = _link(aircraft)
    link.wait_heartbeat()
    aircraft.say("bench check")
    aircraft.say("x" * 50, number=7, part=0)
    aircraft.say("and the rest", number=7, part=1)
    link.save_settings()
    assert [text.text for text in link.status_texts] == ["bench check", "x" * 50 + "and the rest"]


def _with_metadata(parameters: bytes, *, packed: bool = True, crc: int | None = None) -> FakeAircraft:
    aircraft = FakeAircraft({})
    body = lzma.compress(parameters) if packed else parameters
    path = "/metadata/parameters.json.xz" if packed else "/metadata/parameters.json"
    entry = {"type": 1, "uri": f"mftp://{path}", "fileCrc": file_crc(body) if crc is None else crc}
    general = json.dumps({"version": 1, "metadataTypes": [{"type": 2, "uri": "https://x"}, entry]}).encode()
    aircraft.files = {path: body, "/metadata/general.json": general}
    aircraft.metadata_uri = "mftp://[;comp=1]/metadata/general.json"
    aircraft.metadata_crc = file_crc(general)
    return aircraft


PARAMETERS = json.dumps(
    {"version": 1, "parameters": [{"name": "GAIN_ROLL", "type": "Float", "shortDesc": "Roll gain", "default": 0.15}]}
).encode()


@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize("loss", [0.0, 0.2])
def test_the_catalogue_comes_from_the_aircraft_itself(packed: bool, loss: float) -> None:
    aircraft = _with_metadata(PARAMETERS, packed=packed)
    aircraft.faults.loss = loss
    link = _link(aircraft)
    catalogue = link.read_catalogue()
    assert list(catalogue.names) == ["GAIN_ROLL"]
    assert catalogue["GAIN_ROLL"].default == Value.of(SettingType.FLOAT, 0.15)
    assert link.read_parameter_file() == PARAMETERS


def test_a_catalogue_that_is_not_there_or_broken_is_an_error_and_never_half_used() -> None:
    none = FakeAircraft({})
    wrong_crc = _with_metadata(PARAMETERS, crc=12345)
    broken_json = _with_metadata(b'{"version": 1, "parameters": [{]}')
    elsewhere = _with_metadata(PARAMETERS)
    elsewhere.metadata_uri = "https://example.com/general.json"
    no_entry = _with_metadata(PARAMETERS)
    no_entry.files["/metadata/general.json"] = b'{"version": 1, "metadataTypes": []}'
    no_entry.metadata_crc = 0
    odd = _with_metadata(PARAMETERS)
    odd.files["/metadata/general.json"] = b'{"metadataTypes": [{"type": 1, "uri": "mftp:///x", "fileCrc": "12"}]}'
    odd.metadata_crc = 0
    for aircraft in (none, wrong_crc, broken_json, elsewhere, no_entry, odd):
        with pytest.raises(MetadataUnusableError) as caught:
            _link(aircraft).read_catalogue()
        assert _has_four_answers(caught.value)


def test_a_packed_file_that_is_damaged_cut_or_too_large_is_refused() -> None:
    packed = lzma.compress(PARAMETERS * 100)
    for cut in range(6, len(packed)):
        with pytest.raises(MetadataUnusableError):
            metadata.unpack(packed[:cut], "x")
    damaged = bytearray(packed)
    damaged[len(packed) // 2] ^= 1
    with pytest.raises(MetadataUnusableError):
        metadata.unpack(bytes(damaged), "x")
    bomb = lzma.compress(bytes(METADATA_MOST_BYTES + 1))
    assert len(bomb) < 10_000
    with pytest.raises(MetadataUnusableError) as caught:
        metadata.unpack(bomb, "x")
    assert "more than" in caught.value.what


def test_the_battery_is_the_sum_of_its_cells_and_unknown_is_not_zero() -> None:
    aircraft = FakeAircraft({})
    battery = _link(aircraft).read_battery()
    assert battery.volts == pytest.approx(16.4)
    assert battery.cell_volts == (4.1, 4.1, 4.1, 4.1)
    assert battery.amperes == pytest.approx(0.45)
    assert battery.remaining_percent == 80
    aircraft.voltages = [30]
    alone = _link(aircraft).read_battery()
    assert (alone.volts, alone.cell_volts) == (0.03, ())
    aircraft.voltages = []
    with pytest.raises(TelemetryMissingError) as caught:
        _link(aircraft).read_battery()
    assert _has_four_answers(caught.value)


def test_attitude_and_channels_are_read() -> None:
    link = _link(FakeAircraft({}))
    attitude = link.read_attitude()
    assert (attitude.roll_rad, attitude.pitch_rad, attitude.yaw_rad) == (0.25, -0.25, 0.5)
    assert (attitude.roll_rate_rad_s, attitude.pitch_rate_rad_s, attitude.yaw_rate_rad_s) == (0.5, 0.25, -0.5)
    channels = link.read_channels()
    assert channels.channels_us == (1500, 1501, 988, 2012, None, None)
    assert channels.signal_percent == 50


def test_a_stream_gives_readings_and_is_put_back_when_enough_were_taken() -> None:
    aircraft = FakeAircraft({})
    readings = list(islice(_link(aircraft).watch_attitude(rate_hz=25.0), 5))
    assert [round(reading.roll_rad, 3) for reading in readings] == [0.01, 0.02, 0.03, 0.04, 0.05]
    assert [(number, parameters[:2]) for number, parameters in aircraft.commands] == [
        (INTERVAL, (30.0, 40_000.0)),
        (INTERVAL, (30.0, 0.0)),
    ]


def test_a_stream_that_stops_is_asked_for_again_and_given_up_in_the_end() -> None:
    aircraft = FakeAircraft({})
    stream = _link(aircraft).watch_attitude(rate_hz=25.0)
    assert len(list(islice(stream, 25))) == 25, "the fake sends ten each time it is asked"
    gone = FakeAircraft({})
    stream = _link(gone).watch_attitude(rate_hz=25.0)
    next(stream)
    gone.faults.silent = True
    with pytest.raises(NoAnswerError):
        list(stream)


def test_a_message_that_is_not_offered_is_refused_in_words() -> None:
    aircraft = FakeAircraft({}, faults=Faults(results={REQUEST: [3]}))
    with pytest.raises(CommandRefusedError) as caught:
        _link(aircraft).read_battery()
    assert "BATTERY_STATUS" in caught.value.what
