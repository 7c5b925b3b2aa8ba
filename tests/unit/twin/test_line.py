"""One direction of a serial line."""

from __future__ import annotations

import pytest
from tests.unit.twin.bench import frame

from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.line import Disturbance, Line, split_frames


def line_at(byte_s: float) -> Line:
    line = Line()
    line.byte_s = byte_s
    return line


def test_bytes_come_one_after_the_other_at_the_rate_of_the_line() -> None:
    line = line_at(0.5)
    line.put(b"abcd", 10.0)
    assert line.take(10.25) == b""
    assert line.take(11.1) == b"ab"
    assert line.take(11.4) == b""
    assert line.next_s == 12.0
    assert line.take(12.0) == b"cd"
    assert line.is_empty


def test_a_second_piece_waits_for_the_first() -> None:
    line = line_at(1.0)
    line.put(b"ab", 0.0)
    line.put(b"cd", 0.5)
    assert line.free_s == 4.0
    assert line.take(3.0) == b"abc"


def test_a_line_without_limit_delivers_at_once() -> None:
    line = line_at(0.0)
    line.put(b"abc", 5.0)
    assert line.take(4.9) == b""
    assert line.take(5.0) == b"abc"


def test_a_piece_can_be_taken_only_whole() -> None:
    line = line_at(1.0)
    line.put(b"ab", 0.0)
    assert line.take_piece(1.5) == b""
    assert line.take_piece(2.0) == b"ab"
    assert line.take_piece(9.0) == b""


def test_a_cut_line_keeps_what_had_arrived() -> None:
    line = line_at(1.0)
    line.put(b"abcd", 0.0)
    line.cut(2.0)
    assert line.take(9.0) == b"ab"
    line.put(b"x", 9.0)
    assert line.next_s == 10.0


def test_a_new_rate_does_not_hurry_what_is_under_way() -> None:
    line = line_at(1.0)
    line.put(b"ab", 0.0)
    line.byte_s = 0.0
    line.put(b"c", 0.0)
    assert line.take(1.0) == b"a"
    assert line.take(2.0) == b"bc"


@pytest.mark.parametrize(
    "pieces",
    [
        [frame(), frame(b"x" * 255)],
        [b"rubbish", frame(), b"tail"],
        [b"\xfe\x01......z", frame()],
        [b"\xfd\x20\x01" + bytes(12 + 0x20 + 13 - 3), frame()],
        [b"\xfd"],
        [b"\xfd\x20not all of it"],
        [],
    ],
)
def test_frames_are_found_by_their_length_and_nothing_is_lost(pieces: list[bytes]) -> None:
    assert split_frames(b"".join(pieces)) == pieces


def test_a_share_of_the_frames_is_lost_damaged_or_doubled_and_the_same_ones_each_time() -> None:
    plan = FaultPlan(loss_rate=0.2, damage_rate=0.1, double_rate=0.1)
    frames = [frame(number=number) for number in range(1000)]

    def passed(direction: str) -> list[list[bytes]]:
        noise = Disturbance(plan, direction)
        result = [noise.pass_on(one, may_double=True) for one in frames]
        assert noise.lost == sum(not pieces for pieces in result) > 150
        assert noise.doubled == sum(len(pieces) == 2 for pieces in result) > 40
        changed = sum(pieces != [] and pieces[0] != one for pieces, one in zip(result, frames, strict=True))
        assert noise.damaged == changed > 40
        return result

    assert passed("in") == passed("in")
    assert passed("in") != passed("out")


def test_a_damaged_frame_has_one_flipped_bit() -> None:
    noise = Disturbance(FaultPlan(damage_rate=1.0), "in")
    (piece,) = noise.pass_on(bytes(20), may_double=True)
    assert len(piece) == 20
    assert int.from_bytes(piece, "big").bit_count() == 1


def test_what_may_not_be_doubled_is_not() -> None:
    noise = Disturbance(FaultPlan(double_rate=1.0), "out")
    assert noise.pass_on(b"x", may_double=False) == [b"x"]
