"""Frames out of noisy bytes: whole, cut anywhere, damaged, behind rubbish; pymavlink is the other end."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common

from rotorwright.links.mavlink.codec import Frame, FrameReader, Sender, encode
from rotorwright.links.mavlink.messages import layout
from rotorwright.links.mavlink.spec import MessageId


def _packed(message: Any, *, sequence: int = 0, version_1: bool = False) -> bytes:
    codec = common.MAVLink(None, srcSystem=3, srcComponent=4)
    codec.seq = sequence
    frame: bytes = message.pack(codec, force_mavlink1=version_1)
    return frame


def _messages() -> list[Any]:
    return [
        common.MAVLink_heartbeat_message(2, 0, 81, 0xFDFE, 3, 3),
        common.MAVLink_param_value_message(b"GAIN", 0.25, 9, 300, 7),
        common.MAVLink_statustext_message(6, b"\xfd\xfe in the text", 0, 0),
        common.MAVLink_file_transfer_protocol_message(0, 255, 25, [0xFD, 0xFE] * 125 + [1]),
    ]


def _read(data: bytes) -> list[Frame]:
    return FrameReader().feed(data)


def test_frames_of_both_versions_are_read_with_their_sender_and_number() -> None:
    for version_1 in (False, True):
        frame = _read(_packed(_messages()[1], sequence=200, version_1=version_1))[0]
        assert (frame.system, frame.component, frame.sequence) == (3, 4, 200)
        assert frame.message_id == MessageId.PARAM_VALUE
        assert frame.fields.text("param_id") == "GAIN"
        assert frame.fields.number("param_value") == 0.25
        assert frame.fields.integer("param_index") == 7


def test_frames_come_out_the_same_byte_by_byte_and_in_any_two_pieces() -> None:
    stream = b"".join(_packed(message) for message in _messages())
    whole = _read(stream)
    assert len(whole) == 4
    reader = FrameReader()
    assert [frame for place in range(len(stream)) for frame in reader.feed(stream[place : place + 1])] == whole
    for cut in range(len(stream)):
        reader = FrameReader()
        assert reader.feed(stream[:cut]) + reader.feed(stream[cut:]) == whole


def test_a_frame_cut_at_any_length_gives_nothing_and_the_next_one_is_found() -> None:
    first, second = (_packed(message) for message in _messages()[:2])
    for cut in range(len(first)):
        reader = FrameReader()
        found = reader.feed(first[:cut] + second) + reader.give_up()
        assert [frame.message_id for frame in found] == [MessageId.PARAM_VALUE], cut


def test_one_flipped_bit_anywhere_loses_that_frame_and_no_other() -> None:
    frames = [_packed(message) for message in (_messages()[0], _messages()[1], _messages()[0])]
    for place in range(len(frames[1])):
        for bit in range(8):
            damaged = bytearray(frames[1])
            damaged[place] ^= 1 << bit
            reader = FrameReader()
            found = reader.feed(frames[0] + bytes(damaged) + frames[2]) + reader.give_up()
            kinds = [frame.message_id for frame in found]
            assert kinds.count(MessageId.HEARTBEAT) == 2
            # Not every byte is covered: compatibility flags of version 2 are, so nothing may pass.
            assert MessageId.PARAM_VALUE not in kinds


def test_a_frame_whose_header_claims_more_than_comes_waits_and_is_given_up() -> None:
    reader = FrameReader()
    heartbeat = _packed(_messages()[0])
    assert reader.feed(b"\xfd\xff\x00" + heartbeat) == []
    assert [frame.message_id for frame in reader.give_up()] == [MessageId.HEARTBEAT]
    assert reader.skipped_bytes == 3


def test_unknown_messages_and_unknown_flags_are_passed_over() -> None:
    heartbeat = bytearray(_packed(_messages()[0]))
    unknown = bytearray(heartbeat)
    unknown[7:10] = (54321).to_bytes(3, "little")
    flagged = bytearray(heartbeat)
    flagged[2] = 0x02
    reader = FrameReader()
    found = reader.feed(bytes(unknown + flagged + heartbeat)) + reader.give_up()
    assert [frame.message_id for frame in found] == [MessageId.HEARTBEAT]


def test_a_signed_frame_is_read_with_its_signature_stepped_over() -> None:
    codec = common.MAVLink(None, srcSystem=3, srcComponent=4)
    codec.signing.secret_key = b"k" * 32
    codec.signing.sign_outgoing = True
    signed = _messages()[0].pack(codec)
    assert [frame.message_id for frame in _read(signed + signed)] == [MessageId.HEARTBEAT] * 2


def test_what_we_send_is_read_by_pymavlink() -> None:
    found = layout(MessageId.COMMAND_LONG)
    assert found is not None
    payload = found.pack({"command": 512, "param1": 148.0, "target_system": 1, "confirmation": 3})
    frame = encode(MessageId.COMMAND_LONG, payload, sender=Sender(255, 25), sequence=9)
    message = common.MAVLink(None).decode(bytearray(frame))
    assert (message.command, message.param1, message.target_system, message.confirmation) == (512, 148.0, 1, 3)
    assert message.get_seq() == 9


@given(st.binary(max_size=600))
def test_random_bytes_give_frames_or_nothing_and_never_an_exception(data: bytes) -> None:
    reader = FrameReader()
    reader.feed(data)
    reader.give_up()
    assert reader.feed(b"") == []


@given(st.lists(st.sampled_from(range(4)), max_size=8), st.binary(max_size=40), st.data())
def test_frames_between_rubbish_are_all_found(kinds: list[int], rubbish: bytes, data: st.DataObject) -> None:
    frames = [_packed(_messages()[kind]) for kind in kinds]
    noise = bytes(byte for byte in rubbish if byte not in {0xFD, 0xFE})
    stream = noise.join([b"", *frames, b""])
    cut = data.draw(st.integers(0, len(stream)))
    reader = FrameReader()
    assert len(reader.feed(stream[:cut]) + reader.feed(stream[cut:])) == len(frames)


@given(st.binary(min_size=1, max_size=255), st.integers(0, 255))
def test_every_payload_of_every_length_round_trips(payload: bytes, sequence: int) -> None:
    found = layout(MessageId.FILE_TRANSFER_PROTOCOL)
    assert found is not None
    full = payload[: found.size_bytes].ljust(found.size_bytes, b"\0")
    frame = encode(MessageId.FILE_TRANSFER_PROTOCOL, full, sender=Sender(1, 2), sequence=sequence)
    (read,) = _read(frame)
    assert read.payload == full
    assert read.sequence == sequence
    assert found.pack(found.unpack(full)) == full
