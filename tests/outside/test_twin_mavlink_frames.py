"""The twin's MAVLink against tables and frames from outside.

Sources, each row with its own: tests/outside/data/mavlink_golden_packets.csv (frames made by pymavlink 2.4.50),
mavlink_param_encoding.csv (parameter protocol page, computed by struct), mavlink_messages.csv (CRC_EXTRA computed from
the XML of mavlink/mavlink de1e078a and compared with pymavlink), mavlink_ftp.csv (file transfer protocol page),
crc_check_values.csv (crccheck 1.3.1, anycrc 2.1.0, fastcrc 0.5.0).
"""

from __future__ import annotations

import csv
import struct
from pathlib import Path
from typing import Any

import pytest
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import RawParamSet, Station, setting

from rotorwright.settings.catalogue import Catalogue
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.application import ReleaseData
from rotorwright.twin.ftp_service import MOST_DATA, FtpMessage, Opcode, Refusal
from rotorwright.twin.mavlink_codec import (
    TYPES_BY_NUMBER,
    ComponentInformationBasic,
    ComponentMetadata,
    FrameReader,
    FrameWriter,
    Packet,
    ProtocolVersion,
    crc_extra,
    packet,
    param_value_packet,
)
from rotorwright.twin.metadata_service import file_crc


def rows(name: str) -> list[dict[str, str]]:
    path = Path(__file__).parent / "data" / name
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


GOLDEN = {
    row["meaning"].split(" ")[0] + f" {number}": row for number, row in enumerate(rows("mavlink_golden_packets.csv"))
}
ENCODINGS = rows("mavlink_param_encoding.csv")
MESSAGES = {int(row["id"]): row for row in rows("mavlink_messages.csv")}
OWN = (ComponentInformationBasic, ComponentMetadata, ProtocolVersion)


def golden(meaning: str) -> bytes:
    (found,) = [row["packet_hex"] for row in GOLDEN.values() if row["meaning"].startswith(meaning)]
    return bytes.fromhex(found)


@pytest.mark.parametrize("row", GOLDEN.values(), ids=GOLDEN.keys())
def test_a_golden_frame_is_read_and_written_again_to_the_same_bytes(row: dict[str, str]) -> None:
    frame = bytes.fromhex(row["packet_hex"])
    (found,) = FrameReader().feed(frame, 0.0)
    if frame[0] == 0xFE:  # we write the second version only
        return
    writer = FrameWriter(system=found.system, component=found.component)
    extra = int(MESSAGES[found.message_id]["crc_extra"])
    frames = [writer.frame(Packet(found.message_id, extra, found.payload)) for _ in range(frame[4] + 1)]
    assert frames[-1] == frame


def test_a_golden_set_is_obeyed() -> None:
    catalogue = Catalogue({"RATE_P": setting("RATE_P", SettingType.FLOAT, 0.0)})
    station = Station(release_data=ReleaseData.of(catalogue))
    station.heard()
    station.app.receive(golden("PARAM_SET"), 0.0)
    (answer,) = station.heard("PARAM_VALUE")
    assert bytes(answer.get_msgbuf()[10:14]) == bytes.fromhex("9a99193e")
    station.app.receive(golden("PARAM_REQUEST_READ"), 0.0)
    assert [each.param_id for each in station.heard("PARAM_VALUE")] == ["RATE_P"]
    station.app.receive(golden("PARAM_REQUEST_LIST"), 0.0)
    assert len(station.heard("PARAM_VALUE")) == 1


def test_the_golden_file_request_and_the_golden_command_are_answered() -> None:
    station = Station()
    station.heard()
    station.app.receive(golden("FILE_TRANSFER_PROTOCOL") + golden("COMMAND_LONG 400"), 0.0)
    file_answer, command_answer = station.heard()
    assert FtpMessage.from_bytes(bytes(file_answer.payload)).data.startswith(b"Ddisplay\0Dmetadata\0")
    assert (command_answer.command, command_answer.result) == (400, common.MAV_RESULT_ACCEPTED)  # to disarm


def test_the_golden_value_is_what_we_send() -> None:
    writer = FrameWriter()
    writer.frame(packet(common.MAVLink_param_request_list_message(1, 1)))  # the golden frame has number 1
    value = param_value_packet("GYRO_FILTER_CUT1", Value.of(SettingType.INT32, 20000), count=3, index=2)
    assert writer.frame(value) == golden("PARAM_VALUE 16-character")


@pytest.mark.parametrize("row", ENCODINGS, ids=[f"{row['type']} {row['value']}" for row in ENCODINGS])
def test_values_go_there_and_back_bytewise(row: dict[str, str]) -> None:
    type_ = TYPES_BY_NUMBER[int(row["mav_param_type"])]
    raw = bytes.fromhex(row["bytewise_le_hex"])
    value = Value.parse(type_, row["value"])
    catalogue = Catalogue({"X": setting("X", type_, value.number), "Y": setting("Y", type_, 0)})
    station = Station(release_data=ReleaseData.of(catalogue))
    assert station.values()["X"] == raw
    assert station.set_raw("Y", raw, int(row["mav_param_type"])) == raw


def test_the_row_that_a_python_float_spoils_is_among_them() -> None:
    spoiled = [row for row in ENCODINGS if row["survives_python_float_round_trip"].startswith("NO")]
    assert spoiled
    for row in spoiled:
        raw = bytes.fromhex(row["bytewise_le_hex"])
        assert struct.pack("<f", *struct.unpack("<f", raw)) != raw
        assert RawParamSet("X", raw, 6).raw == raw


@pytest.mark.parametrize("message", OWN)
def test_our_messages_have_the_checksum_number_and_size_of_their_definition(message: Any) -> None:
    row = MESSAGES[message.ID]
    assert row["name"] == message.NAME
    assert crc_extra(message.NAME, message.FIELDS) == int(row["crc_extra"])


def test_payload_sizes_are_those_of_the_definitions() -> None:
    station = Station()
    for number in (30, 65, 105, 147, 148, 1, 0):
        assert station.requested(number).unpacker.size == int(MESSAGES[number]["payload_max_v2"])
    sizes = [len(each.packet().payload) for each in (ComponentMetadata(1, 2, "x"), ProtocolVersion())]
    assert sizes == [int(MESSAGES[number]["payload_max_v2"]) for number in (397, 300)]


def test_files_follow_the_tables_of_the_page() -> None:
    table = rows("mavlink_ftp.csv")
    opcodes = {int(row["value"]): row["name"] for row in table if row["kind"] == "opcode"}
    assert {int(each): each.name.replace("_", "").lower() for each in Opcode} == {
        number: name.lower() for number, name in opcodes.items() if number != 16
    }
    errors = {int(row["value"]): row["name"].lower() for row in table if row["kind"] == "error" and row["value"] != "0"}
    assert {int(each): each.name.replace("_", "").lower() for each in Refusal} == errors
    raw = FtpMessage(0x0102, 3, 4, 5, 6, burst_complete=True, offset=0x0708090A, data=b"\x0b").to_bytes()
    offsets = {
        row["name"].split(" ")[0].strip(","): int(row["value"]) for row in table if row["kind"] == "header_offset"
    }
    placed = {"session": 4, "opcode": 3, "size": 5, "req_opcode": 6, "burst_complete": 1, "padding": 0, "data": 0x0B}
    assert {name: raw[offsets[name]] for name in placed} == placed
    assert struct.unpack_from("<H", raw, offsets["seq_number"]) == (0x0102,)
    assert struct.unpack_from("<I", raw, offsets["offset"]) == (0x0708090A,)
    assert MOST_DATA == 239


def test_the_checksum_of_files_is_the_one_of_the_page() -> None:
    (row,) = [row for row in rows("crc_check_values.csv") if "MAVLink file-level" in row["used_for"]]
    assert file_crc(b"123456789") == int(row["check_123456789"], 16)
