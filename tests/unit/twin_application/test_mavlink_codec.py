"""Frames in noise: cut, damaged, out of step, of both versions."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import RawParamSet, Station, codec

from rotorwright.settings.values import SCHEMA_TYPES, SettingType
from rotorwright.twin.mavlink_codec import (
    STALL_S,
    TYPE_NUMBERS,
    FrameReader,
    FrameWriter,
    Incoming,
    Packet,
    fields,
    packet,
    param_set,
    param_set_packet,
)

NOISE = st.binary(max_size=60)


def framed(message: object, *, version_1: bool = False) -> bytes:
    return bytes(message.pack(codec(), force_mavlink1=version_1))  # type: ignore[attr-defined]


READ = framed(common.MAVLink_param_request_read_message(1, 1, b"H_INT32", -1))
SET = framed(RawParamSet("A_FLOAT", struct.pack("<f", 2.5), 9))
LIST = framed(common.MAVLink_param_request_list_message(1, 1))
COMMAND = framed(common.MAVLink_command_long_message(1, 1, 512, 0, 148, 0, 0, 0, 0, 0, 0))
FILE = framed(common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(range(1, 252))))
FRAMES = [READ, SET, LIST, COMMAND, FILE]


def ids(found: list[Incoming]) -> list[int]:
    return [each.message_id for each in found]


@pytest.mark.parametrize("frame", FRAMES)
def test_a_frame_is_found_whole_byte_by_byte_and_cut_at_every_place(frame: bytes) -> None:
    (whole,) = FrameReader().feed(frame, 0.0)
    reader = FrameReader()
    assert [each for byte in frame for each in reader.feed(bytes([byte]), 0.0)] == [whole]
    for cut in range(len(frame)):
        reader = FrameReader()
        assert reader.feed(frame[:cut], 0.0) == []
        assert reader.feed(frame[cut:], 10.0) == [whole]


@pytest.mark.parametrize("frame", FRAMES)
def test_a_frame_with_any_byte_damaged_is_ignored_and_the_next_one_found(frame: bytes) -> None:
    for place in range(len(frame)):
        damaged = bytearray(frame)
        damaged[place] ^= 0x10
        reader = FrameReader()
        found = reader.feed(bytes(damaged) + READ, 0.0)
        found += reader.look_again(STALL_S)
        assert ids(found) == [20], place


@settings(max_examples=300)
@given(NOISE, NOISE, NOISE)
def test_frames_are_found_between_noise(before: bytes, between: bytes, after: bytes) -> None:
    reader = FrameReader()
    found = reader.feed(before + READ + between + SET + after, 0.0)
    while reader.next_event_s is not None:
        found += reader.look_again(reader.next_event_s)
    assert [each for each in ids(found) if each in {20, 23}] == [20, 23]


@settings(max_examples=300)
@given(st.lists(st.binary(max_size=80), max_size=8))
def test_random_bytes_do_no_harm(pieces: list[bytes]) -> None:
    station = Station()
    station.heard()
    for piece in pieces:
        station.app.receive(piece, station.now_s)
        station.wait(0.3)
    station.app.receive(READ, station.now_s)
    assert len(station.parsed(b"".join(station.wait(0.3)), "PARAM_VALUE")) >= 1


def test_half_a_frame_does_not_swallow_the_one_behind_it_for_longer_than_the_stall() -> None:
    reader = FrameReader()
    assert reader.feed(FILE[:100] + READ, 0.0) == []
    assert reader.next_event_s == pytest.approx(STALL_S)
    assert reader.look_again(STALL_S / 2) == []
    assert ids(reader.look_again(STALL_S)) == [20]
    assert reader.next_event_s is None


def test_a_damaged_length_does_not_swallow_a_request_that_is_repeated_again_and_again() -> None:
    damaged = bytearray(READ)
    damaged[1] = 250
    reader = FrameReader()
    reader.feed(bytes(damaged), 0.0)
    found: list[Incoming] = []
    tries = 0
    while not found:  # each try comes before the silence that would end the wait
        tries += 1
        found = reader.feed(READ, tries * STALL_S / 2)
    assert tries == 2
    assert ids(found) == [20, 20]
    assert reader.next_event_s is None


def test_a_slow_sender_may_pause_inside_a_frame() -> None:
    reader = FrameReader()
    reader.feed(FILE[:100], 0.0)
    assert reader.look_again(1.0) == []
    assert reader.next_event_s is None
    assert ids(reader.feed(FILE[100:], 2.0)) == [110]


def test_the_application_answers_what_came_behind_half_a_frame() -> None:
    station = Station()
    station.heard()
    station.app.receive(FILE[:100] + READ, station.now_s)
    assert station.heard("PARAM_VALUE") == []
    assert [each.param_id for each in station.parsed(b"".join(station.wait(0.2)), "PARAM_VALUE")] == ["H_INT32"]


@pytest.mark.parametrize("frame", FRAMES)
def test_the_first_version_is_understood_and_answered_in_the_second(frame: bytes) -> None:
    (second,) = FrameReader().feed(frame, 0.0)
    message = codec().parse_buffer(frame)[0]
    (first,) = FrameReader().feed(framed(message, version_1=True), 0.0)
    assert (first.message_id, first.sender) == (second.message_id, second.sender)
    if first.message_id != 23:  # pymavlink's parser cannot give the raw value back
        assert first.payload == second.payload
    station = Station()
    station.heard()
    station.app.receive(framed(common.MAVLink_param_request_list_message(1, 1), version_1=True), 0.0)
    assert {answer[0] for answer in station.frames()} == {0xFD}


def test_a_signed_frame_is_taken_without_a_look_at_its_signature() -> None:
    sender = codec()
    sender.signing.secret_key = bytes(32)
    sender.signing.sign_outgoing = True
    frame = common.MAVLink_param_request_list_message(1, 1).pack(sender)
    assert ids(FrameReader().feed(frame + READ, 0.0)) == [21, 20]


def test_a_frame_with_an_unknown_incompatible_feature_is_passed_over() -> None:
    frame = bytearray(LIST)
    frame[2] = 0x02
    assert ids(FrameReader().feed(bytes(frame) + READ, 0.0)) == [20]


def test_a_payload_longer_than_we_know_keeps_the_fields_that_we_know() -> None:
    (known,) = FrameReader().feed(READ, 0.0)
    longer = Packet(20, common.MAVLink_param_request_read_message.crc_extra, known.payload + b"\x01\x02\x03")
    (found,) = FrameReader().feed(FrameWriter().frame(longer), 0.0)
    assert found.payload == known.payload


def test_trailing_zeros_are_cut_but_never_the_first_byte() -> None:
    frame = FrameWriter().frame(packet(common.MAVLink_param_request_list_message(0, 0)))
    assert frame[1] == 1
    (found,) = codec().parse_buffer(frame)
    assert (found.target_system, found.target_component) == (0, 0)


def test_what_pymavlink_packs_it_reads_back_from_our_frames() -> None:
    message = common.MAVLink_command_ack_message(512, 0, 0, 0, 255, 190)
    (read,) = codec().parse_buffer(FrameWriter().frame(packet(message)))
    assert (read.command, read.target_system, read.target_component) == (512, 255, 190)
    (incoming,) = FrameReader().feed(FrameWriter().frame(packet(message)), 0.0)
    assert fields(incoming).command == 512


@given(st.binary(min_size=4, max_size=4), st.sampled_from(SCHEMA_TYPES))
def test_a_set_keeps_all_four_bytes(raw: bytes, type_: SettingType) -> None:
    sent = param_set_packet("SIXTEEN_LETTERS_", type_number=TYPE_NUMBERS[type_], raw=raw, target=(1, 1))
    (incoming,) = FrameReader().feed(FrameWriter().frame(sent), 0.0)
    found = param_set(incoming.payload)
    assert (found.name, found.raw, found.type_number) == ("SIXTEEN_LETTERS_", raw, TYPE_NUMBERS[type_])
