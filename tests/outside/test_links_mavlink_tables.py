"""Our MAVLink tables and bytes against the open standard.

Sources: tests/outside/data/mavlink_*.csv, each made with or confirmed by pymavlink 2.4.50 and the XML of the standard
(mavlink/mavlink, commit de1e078a); pymavlink itself; crc_check_values.csv (confirmed by two checksum libraries).
"""

from __future__ import annotations

import csv
import struct
from pathlib import Path
from typing import Any

import pytest
from pymavlink.dialects.v20 import common

from rotorwright.links.mavlink import spec
from rotorwright.links.mavlink.codec import FrameReader, Sender, encode
from rotorwright.links.mavlink.ftp import FtpMessage, file_crc
from rotorwright.links.mavlink.messages import OUR_ROWS, layout, layout_from_rows
from rotorwright.links.mavlink.parameters import Encoding, parse_entry
from rotorwright.links.mavlink.spec import FtpOpcode, FtpRefusal, MessageId
from rotorwright.settings.values import SCHEMA_TYPES, SettingType, Value

DATA = Path(__file__).parent / "data"


def _rows(name: str) -> list[dict[str, str]]:
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


MESSAGES = {int(row["id"]): row for row in _rows("mavlink_messages")}
GOLDEN = {row["meaning"]: bytes.fromhex(row["packet_hex"]) for row in _rows("mavlink_golden_packets")}


@pytest.mark.parametrize("message_id", [one for one in MESSAGES if layout(one) is not None])
def test_every_message_that_we_know_has_the_checksum_number_and_the_size_of_the_standard(message_id: int) -> None:
    row, ours = MESSAGES[message_id], layout(message_id)
    assert ours is not None
    assert ours.name == row["name"]
    assert ours.crc_extra == int(row["crc_extra"])
    # pymavlink may lack the newest extension fields, but not of a message that we use.
    shortest = row["payload_max_v2"] if message_id in set(MessageId) else row["payload_min_v1"]
    assert int(shortest) <= ours.size_bytes <= int(row["payload_max_v2"])


def test_every_message_that_we_use_is_in_the_table() -> None:
    not_listed = {MessageId.PARAM_ERROR, MessageId.RAW_RPM}  # the table lacks them; their layouts are pymavlink's
    assert {message for message in MessageId if message not in MESSAGES} == not_listed
    for message in MessageId:
        found = layout(message)
        assert found is not None
        assert found.name == message.name


@pytest.mark.parametrize("message_id", OUR_ROWS)
def test_the_messages_that_pymavlink_lacks_follow_from_their_fields(message_id: int) -> None:
    name, rows = OUR_ROWS[message_id]
    ours = layout_from_rows(message_id, name, rows)
    assert str(ours.crc_extra) == MESSAGES[message_id]["crc_extra"]
    assert str(ours.size_bytes) == MESSAGES[message_id]["payload_max_v2"]
    assert MESSAGES[message_id]["in_pymavlink_2_4_50_common"] == "no"


SENT: dict[str, tuple[Sender, int, MessageId, dict[str, Any]]] = {
    "HEARTBEAT v2 sys 1 comp 1 seq 0: type 2 (quadrotor), autopilot 0, base_mode 81, "
    "custom_mode 0, status 3, version 3": (
        Sender(1, 1),
        0,
        MessageId.HEARTBEAT,
        {"type": 2, "autopilot": 0, "base_mode": 81, "system_status": 3, "mavlink_version": 3},
    ),
    "PARAM_REQUEST_LIST from 255/190 to 1/1 seq 5": (
        Sender(255, 190),
        5,
        MessageId.PARAM_REQUEST_LIST,
        {"target_system": 1, "target_component": 1},
    ),
    "PARAM_REQUEST_READ index -1 id RATE_P to 1/1 seq 6": (
        Sender(255, 190),
        6,
        MessageId.PARAM_REQUEST_READ,
        {"target_system": 1, "target_component": 1, "param_index": -1, "param_id": b"RATE_P"},
    ),
    "PARAM_SET RATE_P = 0.15 REAL32 seq 7": (
        Sender(255, 190),
        7,
        MessageId.PARAM_SET,
        {"target_system": 1, "target_component": 1, "param_id": b"RATE_P", "param_value": 0.15, "param_type": 9},
    ),
    "COMMAND_LONG 400 (arm/disarm) param1 0 to 1/1 seq 8": (
        Sender(255, 190),
        8,
        MessageId.COMMAND_LONG,
        {"target_system": 1, "target_component": 1, "command": 400},
    ),
    'FILE_TRANSFER_PROTOCOL ListDirectory "/" seq_number 1 to 0/1/1 seq 9 (trailing zeros cut)': (
        Sender(255, 190),
        9,
        MessageId.FILE_TRANSFER_PROTOCOL,
        {
            "target_system": 1,
            "target_component": 1,
            "payload": tuple(FtpMessage(1, FtpOpcode.LIST_DIRECTORY, size=1, data=b"/").to_bytes()),
        },
    ),
    'STATUSTEXT severity 6 "bench check" seq 2': (
        Sender(1, 1),
        2,
        MessageId.STATUSTEXT,
        {"severity": 6, "text": b"bench check"},
    ),
}


@pytest.mark.parametrize("meaning", SENT)
def test_our_frames_are_the_golden_packets(meaning: str) -> None:
    sender, sequence, message_id, values = SENT[meaning]
    found = layout(message_id)
    assert found is not None
    assert encode(message_id, found.pack(values), sender=sender, sequence=sequence) == GOLDEN[meaning]


def test_golden_packets_are_read_one_by_one_and_in_a_row() -> None:
    for packet in GOLDEN.values():
        assert len(FrameReader().feed(packet)) == 1
    assert len(FrameReader().feed(b"".join(GOLDEN.values()))) == len(GOLDEN) == 9


def test_both_versions_of_the_same_heartbeat_read_the_same() -> None:
    second, first = (FrameReader().feed(GOLDEN[key])[0] for key in GOLDEN if key.startswith("HEARTBEAT"))
    assert first.fields == second.fields
    assert first.fields.integer("type") == 2


def test_a_name_of_sixteen_letters_needs_no_terminator() -> None:
    packet = next(data for meaning, data in GOLDEN.items() if "16-character id" in meaning)
    entry = parse_entry(FrameReader().feed(packet)[0], Encoding.BYTEWISE)
    assert entry.name == "GYRO_FILTER_CUT1"
    assert (entry.value, entry.index, entry.count) == (Value.of(SettingType.INT32, 20000), 2, 3)


@pytest.mark.parametrize("row", _rows("mavlink_param_encoding"), ids=lambda row: f"{row['type']}={row['value']}")
def test_values_are_decoded_from_their_bytes_in_both_encodings(row: dict[str, str]) -> None:
    type_number = int(row["mav_param_type"])
    type_ = spec.SETTING_TYPES[type_number]
    expected = Value.of(type_, float(row["value"])) if type_.is_float else Value.of(type_, int(row["value"]))
    assert _decoded(row["bytewise_le_hex"], type_number, Encoding.BYTEWISE) == expected
    number = struct.unpack("<f", bytes.fromhex(row["c_cast_le_hex"]))[0]
    if type_.is_float or number == float(row["value"]):  # a cast of a large whole number is rounded by the aircraft
        assert _decoded(row["c_cast_le_hex"], type_number, Encoding.C_CAST) == expected


def _decoded(raw_hex: str, type_number: int, encoding: Encoding) -> Value:
    payload = struct.pack("<4sHH16sB", bytes.fromhex(raw_hex), 1, 0, b"NAME", type_number)
    frame = encode(MessageId.PARAM_VALUE, payload, sender=Sender(1, 1), sequence=0)
    return parse_entry(FrameReader().feed(frame)[0], encoding).value


def test_the_file_protocol_has_the_opcodes_reasons_and_header_of_its_page() -> None:
    rows = _rows("mavlink_ftp")
    opcodes = {int(row["value"]): row["name"] for row in rows if row["kind"] == "opcode"}
    newer = {16}  # list with times, of the 2026 guide: not used here
    assert {int(one) for one in FtpOpcode} == set(opcodes) - newer
    for one in FtpOpcode:
        assert one.name.replace("_", "").lower() == opcodes[one].lower()
    reasons = {int(row["value"]): row["name"] for row in rows if row["kind"] == "error"}
    assert {int(one): one.name.replace("_", "").lower() for one in FtpRefusal} == {
        number: name.lower() for number, name in reasons.items()
    }
    assert set(spec.FTP_REFUSAL_WORDS) == set(FtpRefusal)
    raw = FtpMessage(0x1234, 4, 0x56, 0x89ABCDEF, 3, b"abc", 0x9A, burst_complete=True).to_bytes()
    places = {int(row["value"]): row["name"] for row in rows if row["kind"] == "header_offset"}
    assert places[0] == "seq_number u16"
    assert raw[:15].hex() == "34125604039a0100efcdab89616263"
    assert len(raw) == 251
    assert "up to 239 bytes" in places[12]
    assert spec.FTP_DATA_BYTES == 239


def test_the_checksum_of_files_has_the_known_check_value() -> None:
    known = [row for row in _rows("crc_check_values") if "MAVLink" in row["used_for"] and row["width"] == "32"]
    assert [int(row["check_123456789"], 16) for row in known] == [file_crc(b"123456789")]


@pytest.mark.parametrize(
    ("ours", "prefix"),
    [
        (spec.CommandId, "MAV_CMD_"),
        (spec.Result, "MAV_RESULT_"),
        (spec.Capability, "MAV_PROTOCOL_CAPABILITY_"),
        (FtpOpcode, "MAV_FTP_OPCODE_"),
    ],
)
def test_our_numbers_are_those_of_the_dialect(ours: Any, prefix: str) -> None:
    renamed = {
        "MAV_FTP_OPCODE_TERMINATE_SESSION": "MAV_FTP_OPCODE_TERMINATESESSION",
        "MAV_FTP_OPCODE_RESET_SESSIONS": "MAV_FTP_OPCODE_RESETSESSION",
    }
    checked = 0
    for one in ours:
        name = renamed.get(prefix + one.name, prefix + one.name)
        number = getattr(common, name, getattr(common, prefix + one.name.replace("_", ""), None))
        if number is not None:
            assert one == number, name
            checked += 1
    assert checked >= len(list(ours)) // 2


def test_types_of_settings_are_those_of_the_dialect() -> None:
    for number, type_ in spec.SETTING_TYPES.items():
        name = "REAL32" if type_.is_float else type_.name
        assert getattr(common, f"MAV_PARAM_TYPE_{name}") == number
    assert set(spec.TYPE_NUMBERS) == set(SCHEMA_TYPES)
    assert common.MAV_PARAM_ERROR_DOES_NOT_EXIST == spec.PARAMETER_DOES_NOT_EXIST
    assert common.MAV_AUTOPILOT_INVALID == spec.NO_AUTOPILOT
    assert common.MAV_COMP_ID_USER1 == spec.OUR_COMPONENT
