"""Laws of the virtual ROM bootloader: whatever it was told, it can be brought back to where it waits for a command."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from tests.unit.twin.bench import Rom

from rotorwright.twin.line import Line, split_frames

ANSWERS = {b"\x79", b"\x1f"}
# Whole messages too, so that the rubbish gets far into it; not those that erase, which would only make the test slow.
TOLD = ("31ce", "11ee", "21de", "639c", "02fd", "0800000008", "2000400060", "ff00")
parts = st.sampled_from([bytes.fromhex(text) for text in TOLD])
rubbish = st.lists(st.one_of(st.binary(max_size=40), parts), max_size=12)
LONGEST_MESSAGE = 258


@given(rubbish)
def test_single_bytes_of_one_value_bring_it_back_from_anywhere(told: list[bytes]) -> None:
    rom = Rom()
    for message in told:
        rom.say(message)
    sent = 0
    while rom.say(b"\x7f")[-1:] not in ANSWERS:
        sent += 1
        assert sent <= LONGEST_MESSAGE
    rom.options.read_out_protected = False
    assert rom.say(b"\x02\xfd") == bytes.fromhex("7901041379")


@given(st.lists(st.tuples(st.binary(min_size=1, max_size=30), st.floats(0, 0.01)), max_size=20))
def test_a_line_delivers_every_byte_once_in_order_and_never_early(pieces: list[tuple[bytes, float]]) -> None:
    line = Line()
    line.byte_s = 0.001
    now = 0.0
    for data, pause in pieces:
        now += pause
        line.put(data, now)
    whole = b"".join(data for data, _ in pieces)
    arrived = b""
    moment = 0.0
    while not line.is_empty:
        moment += 0.0007
        arrived += line.take(moment)
        assert len(arrived) <= moment / 0.001 + 1e-6
    assert arrived == whole
    assert line.free_s <= moment


@given(st.binary(max_size=200))
def test_cutting_into_frames_loses_nothing(data: bytes) -> None:
    pieces = split_frames(data)
    assert b"".join(pieces) == data
    assert all(pieces)
