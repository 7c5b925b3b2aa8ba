"""Files by MAVLink FTP: listing, reading, bursts, checksums, the display memory, lost answers."""

from __future__ import annotations

import json
import lzma
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import CATALOGUE, RELEASE_DATA, Station

from rotorwright.settings.catalogue import parse_catalogue
from rotorwright.twin.application import BATCH_BYTES, DISPLAY_PATH
from rotorwright.twin.display_chip import DISPLAY_MEMORY_BYTES
from rotorwright.twin.ftp_service import MOST_SESSIONS, FtpMessage, FtpService, Opcode, Refusal
from rotorwright.twin.metadata_service import GENERAL_PATH, PARAMETERS_PATH, file_crc

CHARACTERS = bytes((index * 31 + 7) % 256 for index in range(DISPLAY_MEMORY_BYTES))


def opened(station: Station, path: str, opcode: int = Opcode.OPEN_FILE_RO) -> int:
    answer = station.file(opcode, data=path.encode())
    assert answer.opcode == Opcode.ACK, answer
    return answer.session


def refusal_of(answer: FtpMessage) -> Refusal:
    assert (answer.opcode, answer.size) == (Opcode.NAK, 1)
    return Refusal(answer.data[0])


def write_characters(station: Station, data: bytes, opcode: int = Opcode.OPEN_FILE_WO, piece: int = 239) -> None:
    session = opened(station, DISPLAY_PATH, opcode)
    for offset in range(0, len(data), piece):
        answer = station.file(Opcode.WRITE_FILE, session=session, offset=offset, data=data[offset : offset + piece])
        assert answer.opcode == Opcode.ACK
    assert station.file(Opcode.TERMINATE_SESSION, session=session).opcode == Opcode.ACK


@pytest.mark.parametrize(
    ("folder", "entries"),
    [
        ("/", b"Ddisplay\0Dmetadata\0"),
        ("", b"Ddisplay\0Dmetadata\0"),
        ("/display", b"Fcharacters.bin\t16384\0"),
        ("/display/", b"Fcharacters.bin\t16384\0"),
        ("metadata\0", None),
    ],
)
def test_folders_list_what_is_in_them(folder: str, entries: bytes | None) -> None:
    sizes = {path.rpartition("/")[2]: len(content) for path, content in RELEASE_DATA.metadata.items()}
    metadata = "".join(f"F{name}\t{size}\0" for name, size in sorted(sizes.items())).encode()
    assert Station().file(Opcode.LIST_DIRECTORY, data=folder.encode()).data == (entries or metadata)


def test_a_list_goes_on_at_an_entry_and_ends_with_end_of_file() -> None:
    station = Station()
    assert station.file(Opcode.LIST_DIRECTORY, data=b"/", offset=1).data == b"Dmetadata\0"
    assert refusal_of(station.file(Opcode.LIST_DIRECTORY, data=b"/", offset=2)) is Refusal.EOF


def test_metadata_lead_from_the_message_to_the_catalogue() -> None:
    station = Station()
    message = station.requested(397)  # unknown to this pymavlink, so the raw payload is read: common.xml field order
    payload = bytes(message.data[10:-2]).ljust(108, b"\0")
    _, crc, uri = struct.unpack("<II100s", payload)
    path = uri.rstrip(b"\0").decode().removeprefix("mftp://")
    general_file = station.read_file(path)
    assert file_crc(general_file) == crc
    (entry,) = json.loads(general_file)["metadataTypes"]
    assert (json.loads(general_file)["version"], entry["type"]) == (1, 1)
    parameters = station.read_file(entry["uri"].removeprefix("mftp://"))
    assert file_crc(parameters) == entry["fileCrc"]
    assert parse_catalogue(lzma.decompress(parameters)).settings == CATALOGUE.settings


@pytest.mark.parametrize("path", [GENERAL_PATH, PARAMETERS_PATH, DISPLAY_PATH])
def test_a_burst_gives_the_file_in_numbered_pieces_and_says_which_is_the_last(path: str) -> None:
    station = Station()
    content = station.read_file(path)
    session = opened(station, path)
    parts = station.file_answers(Opcode.BURST_READ_FILE, session=session, size=100)
    assert b"".join(part.data for part in parts) == content
    assert [part.offset for part in parts] == list(range(0, len(content), 100))
    assert [part.burst_complete for part in parts] == [False] * (len(parts) - 1) + [True]
    assert {part.opcode for part in parts} == {Opcode.ACK}


def test_a_burst_may_begin_anywhere_and_fills_a_frame_if_no_size_is_asked() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    parts = station.file_answers(Opcode.BURST_READ_FILE, session=session, offset=16_000)
    assert [part.size for part in parts] == [239, 145]


def test_a_burst_leaves_the_line_free_for_other_answers() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    station.heard()
    station.sequence += 1
    request = FtpMessage(station.sequence, Opcode.BURST_READ_FILE, session, 239)
    station.send(common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(request.to_bytes())))
    batch = station.app.transmit(0.0)
    assert sum(map(len, batch)) < BATCH_BYTES + 280
    station.send(common.MAVLink_command_long_message(1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0))
    assert station.parsed(b"".join(station.app.transmit(0.0)))[0].get_type() == "COMMAND_ACK"


@pytest.mark.parametrize("opcode", [Opcode.TERMINATE_SESSION, Opcode.RESET_SESSIONS])
def test_the_end_of_a_session_ends_its_burst(opcode: Opcode) -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    request = FtpMessage(500, Opcode.BURST_READ_FILE, session, 239)
    station.send(common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(request.to_bytes())))
    station.app.transmit(0.0)
    request = FtpMessage(501, opcode, session)
    station.send(common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(request.to_bytes())))
    assert len(station.heard("FILE_TRANSFER_PROTOCOL")) == 1


def test_reading_from_the_end_on_is_end_of_file() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    assert station.file(Opcode.READ_FILE, session=session, offset=16_383, size=239).size == 1
    for opcode in (Opcode.READ_FILE, Opcode.BURST_READ_FILE):
        assert refusal_of(station.file(opcode, session=session, offset=16_384, size=239)) is Refusal.EOF


def test_the_checksum_of_a_file_is_that_of_what_can_be_read() -> None:
    station = Station()
    for path in (GENERAL_PATH, PARAMETERS_PATH, DISPLAY_PATH):
        (crc,) = struct.unpack("<I", station.file(Opcode.CALC_FILE_CRC32, data=path.encode()).data)
        assert crc == file_crc(station.read_file(path))


@pytest.mark.parametrize("opcode", [Opcode.OPEN_FILE_WO, Opcode.CREATE_FILE])
@pytest.mark.parametrize("piece", [239, 64, 1_0, 127])
def test_characters_are_written_with_the_battery_in(opcode: Opcode, piece: int) -> None:
    station = Station(battery=True)
    write_characters(station, CHARACTERS, opcode, piece)
    assert station.read_file(DISPLAY_PATH) == CHARACTERS
    assert station.restarted().read_file(DISPLAY_PATH) == CHARACTERS


def test_characters_written_without_the_battery_are_accepted_and_forgotten_in_silence() -> None:
    station = Station(battery=False)
    station.heard()
    before = station.read_file(DISPLAY_PATH)
    write_characters(station, CHARACTERS)
    assert station.read_file(DISPLAY_PATH) == before
    assert station.texts() == []


def test_writing_past_the_end_is_refused_and_writes_nothing() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH, Opcode.OPEN_FILE_WO)
    answer = station.file(Opcode.WRITE_FILE, session=session, offset=16_320, data=bytes(65))
    assert refusal_of(answer) is Refusal.INVALID_DATA_SIZE
    assert station.display.read() == b"\x55" * DISPLAY_MEMORY_BYTES


@pytest.mark.parametrize(
    ("opcode", "path", "refusal"),
    [
        (Opcode.OPEN_FILE_RO, "/no/such", Refusal.FILE_NOT_FOUND),
        (Opcode.OPEN_FILE_RO, "/display", Refusal.FILE_NOT_FOUND),
        (Opcode.OPEN_FILE_WO, "/no/such", Refusal.FILE_NOT_FOUND),
        (Opcode.OPEN_FILE_WO, GENERAL_PATH, Refusal.FILE_PROTECTED),
        (Opcode.CREATE_FILE, GENERAL_PATH, Refusal.FILE_PROTECTED),
        (Opcode.CREATE_FILE, "/new.bin", Refusal.FILE_PROTECTED),
        (Opcode.LIST_DIRECTORY, "/no", Refusal.FILE_NOT_FOUND),
        (Opcode.LIST_DIRECTORY, "/disp", Refusal.FILE_NOT_FOUND),
        (Opcode.CALC_FILE_CRC32, "/no/such", Refusal.FILE_NOT_FOUND),
        (Opcode.REMOVE_FILE, DISPLAY_PATH, Refusal.FILE_PROTECTED),
        (Opcode.CREATE_DIRECTORY, "/new", Refusal.FILE_PROTECTED),
        (Opcode.REMOVE_DIRECTORY, "/display", Refusal.FILE_PROTECTED),
        (Opcode.TRUNCATE_FILE, DISPLAY_PATH, Refusal.FILE_PROTECTED),
        (Opcode.RENAME, DISPLAY_PATH, Refusal.FILE_PROTECTED),
        (16, "/", Refusal.UNKNOWN_COMMAND),
        (77, "", Refusal.UNKNOWN_COMMAND),
    ],
)
def test_what_cannot_be_done_is_refused_with_its_code(opcode: int, path: str, refusal: Refusal) -> None:
    assert refusal_of(Station().file(opcode, data=path.encode())) is refusal


@pytest.mark.parametrize(
    "opcode", [Opcode.READ_FILE, Opcode.BURST_READ_FILE, Opcode.WRITE_FILE, Opcode.TERMINATE_SESSION]
)
def test_a_session_that_is_not_open_is_refused(opcode: Opcode) -> None:
    assert refusal_of(Station().file(opcode, session=3, size=10)) is Refusal.INVALID_SESSION


def test_a_session_for_reading_does_not_write() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    answer = station.file(Opcode.WRITE_FILE, session=session, data=bytes(64))
    assert refusal_of(answer) is Refusal.FILE_PROTECTED


def test_sessions_run_out_and_come_back() -> None:
    station = Station()
    sessions = [opened(station, DISPLAY_PATH) for _ in range(MOST_SESSIONS)]
    assert len(set(sessions)) == MOST_SESSIONS
    refused = station.file(Opcode.OPEN_FILE_RO, data=DISPLAY_PATH.encode())
    assert refusal_of(refused) is Refusal.NO_SESSIONS_AVAILABLE
    assert station.file(Opcode.TERMINATE_SESSION, session=sessions[2]).opcode == Opcode.ACK
    assert opened(station, DISPLAY_PATH) == sessions[2]
    assert station.file(Opcode.RESET_SESSIONS).opcode == Opcode.ACK
    assert opened(station, DISPLAY_PATH) == sessions[0]


def test_an_ask_for_more_data_than_a_frame_holds_is_refused() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    assert refusal_of(station.file(Opcode.READ_FILE, session=session, size=240)) is Refusal.INVALID_DATA_SIZE


def test_a_request_that_comes_twice_gets_the_same_answer_and_is_done_once() -> None:
    station = Station()
    first = station.file(Opcode.OPEN_FILE_RO, data=DISPLAY_PATH.encode())
    for _ in range(10):
        assert station.file(Opcode.OPEN_FILE_RO, same_number=True, data=DISPLAY_PATH.encode()) == first
    second = station.file(Opcode.OPEN_FILE_RO, data=DISPLAY_PATH.encode())
    assert second.session != first.session
    ended = station.file(Opcode.TERMINATE_SESSION, session=first.session)
    assert station.file(Opcode.TERMINATE_SESSION, same_number=True, session=first.session) == ended


def test_a_write_that_comes_twice_is_written_once() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH, Opcode.OPEN_FILE_WO)
    once = station.file(Opcode.WRITE_FILE, session=session, data=CHARACTERS[:100])
    twice = station.file(Opcode.WRITE_FILE, same_number=True, session=session, data=CHARACTERS[:100])
    assert once == twice
    station.file(Opcode.WRITE_FILE, session=session, offset=100, data=CHARACTERS[100:128])
    assert station.display.read()[:192] == CHARACTERS[:128] + b"\x55" * 64


def test_a_burst_that_is_asked_for_twice_runs_twice() -> None:
    station = Station()
    session = opened(station, GENERAL_PATH)
    once = station.file_answers(Opcode.BURST_READ_FILE, session=session, size=50)
    twice = station.file_answers(Opcode.BURST_READ_FILE, same_number=True, session=session, size=50)
    assert once == twice
    assert len(once) > 1


def test_answers_go_to_the_one_who_asked() -> None:
    station = Station()
    (answer,) = station.ask(
        common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(FtpMessage(1, Opcode.RESET_SESSIONS).to_bytes()))
    )
    assert (answer.target_network, answer.target_system, answer.target_component) == (0, 255, 190)


@given(st.binary(min_size=251, max_size=251))
def test_any_request_gets_an_answer_or_a_burst(raw: bytes) -> None:
    station = Station()
    station.heard()
    answers = station.ask(common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(raw)))
    assert {each.get_type() for each in answers} == {"FILE_TRANSFER_PROTOCOL"}


@given(
    sequence=st.integers(0, 65535),
    opcode=st.integers(0, 255),
    session=st.integers(0, 255),
    size=st.integers(0, 255),
    offset=st.integers(0, 2**32 - 1),
    data=st.binary(max_size=239),
    burst_complete=st.booleans(),
)
def test_a_file_message_is_read_back_as_it_was_packed(
    sequence: int, opcode: int, session: int, size: int, offset: int, data: bytes, burst_complete: bool
) -> None:
    message = FtpMessage(
        sequence,
        opcode,
        session=session,
        size=size,
        offset=offset,
        data=data.ljust(239, b"\0"),
        burst_complete=burst_complete,
    )
    assert FtpMessage.from_bytes(message.to_bytes()) == message


def test_numbers_of_answers_wrap_around() -> None:
    station = Station()
    session = opened(station, DISPLAY_PATH)
    request = FtpMessage(65535, Opcode.BURST_READ_FILE, session, 239, offset=16_000)
    parts = station.ask(common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(request.to_bytes())))
    assert [FtpMessage.from_bytes(bytes(each.payload)).sequence for each in parts] == [0, 1]


def test_without_files_the_root_is_empty() -> None:
    service = FtpService({})
    assert not service.has_more
    assert service.next_packet() is None
