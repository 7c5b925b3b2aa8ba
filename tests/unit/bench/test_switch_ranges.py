"""Ranges of switches, and what is seen of a switch that is moved."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.unit.bench.switch_hands import record_moves

from rotorwright.bench.records import ChannelRecord
from rotorwright.bench.switches import (
    Switching,
    SwitchPosition,
    holds_seen,
    on_at,
    stretches,
    switch_moves_seen,
)


def test_a_range_is_on_at_both_its_ends_and_off_just_beside_them() -> None:
    one = Switching("arming", 5, 1700, 2000)
    assert [one.is_on(pulse) for pulse in (1699.99, 1700, 1850, 2000, 2000.01, math.nan)] == [
        False, True, True, True, False, False,
    ]  # fmt: skip


def test_the_point_that_two_ranges_share_is_its_own_stretch() -> None:
    ranges = (Switching("level", 6, 900, 1300), Switching("height", 6, 1300, 1700))
    parts = [(part.words, part.on) for part in stretches(ranges, 6)]
    assert parts == [
        ("800 to below 900", ()),
        ("900 to below 1300", ("level",)),
        ("1300", ("level", "height")),
        ("above 1300 to 1700", ("height",)),
        ("above 1700 to 2200", ()),
    ]


def test_what_lies_between_two_whole_microseconds_is_not_missed() -> None:
    ranges = (Switching("a", 1, 900, 1299), Switching("b", 1, 1300, 1700))
    between = next(part for part in stretches(ranges, 1) if part.holds(1299.5))
    assert between.on == ()


def test_an_empty_range_and_one_without_a_number_switch_nothing() -> None:
    ranges = (Switching("a", 1, 1700, 1300), Switching("b", 1, math.nan, 2000), Switching("c", 0, 900, 2100))
    assert [(part.words, part.on) for part in stretches(ranges, 1)] == [("800 to 2200", ())]
    assert on_at(ranges, SwitchPosition(1, 1500)) == ()
    assert on_at(ranges, SwitchPosition(0, 1500)) == ()


def test_a_function_given_twice_on_one_channel_is_named_once() -> None:
    ranges = (Switching("a", 1, 900, 1500), Switching("a", 1, 1400, 2100))
    assert on_at(ranges, SwitchPosition(1, 1450)) == ("a",)
    assert [part.on for part in stretches(ranges, 1)] == [(), ("a",), ()]


@pytest.mark.parametrize("seed", range(20))
def test_each_move_that_is_held_is_counted_and_a_passed_position_is_not(seed: int) -> None:
    record = record_moves(seed, ((5, 2000), (5, 1000), (6, 1500), (6, 2000))).channels
    assert switch_moves_seen(record, 5) in {2, 3, 4}  # back and forth before a move may be held for a moment
    assert [round(one.pulse_us, -2) for one in holds_seen(record, 6)][-1] == 2000
    assert switch_moves_seen(record, 7) == 0


def test_frames_in_error_do_not_make_moves() -> None:
    at_s = np.arange(0, 5, 0.02)
    pulses_us = np.full((len(at_s), 5), 1000.0)
    pulses_us[::37, 4] = 2000.0
    assert switch_moves_seen(ChannelRecord(at_s, pulses_us), 5) == 0


def test_a_knob_that_turns_slowly_is_not_one_hold() -> None:
    at_s = np.arange(0, 10, 0.02)
    pulses_us = np.linspace(1000, 1600, len(at_s))[:, None]
    holds = holds_seen(ChannelRecord(at_s, pulses_us), 1)
    assert all(one.end_s - one.start_s < 0.7 for one in holds)


def test_a_silence_is_not_a_hold() -> None:
    at_s = np.concatenate([np.arange(0, 0.15, 0.02), np.arange(5, 5.15, 0.02)])
    assert holds_seen(ChannelRecord(at_s, np.full((len(at_s), 1), 1000.0)), 1) == ()


EMPTY = ChannelRecord(np.empty(0), np.empty((0, 5)))
AT_S = np.arange(0, 5, 0.02)
MOVED = np.where(AT_S < 2.5, 1000.0, 2000.0)[:, None]


@pytest.mark.parametrize(
    ("record", "channel"),
    [
        (EMPTY, 5),
        (ChannelRecord(np.array([0.0, 1.0]), np.array([[1000.0], [2000.0]])), 1),
        (ChannelRecord(AT_S, MOVED), 0),
        (ChannelRecord(AT_S, MOVED), 2),
        (ChannelRecord(AT_S[:-3], MOVED), 1),
        (ChannelRecord(AT_S, MOVED[:, 0]), 1),
        (ChannelRecord(AT_S[::-1], MOVED), 1),
        (ChannelRecord(np.full_like(AT_S, math.nan), MOVED), 1),
        (ChannelRecord(AT_S, MOVED * math.nan), 1),
        (ChannelRecord(AT_S, MOVED / 1000), 1),
        (ChannelRecord(AT_S, MOVED, np.zeros(len(AT_S))), 1),
    ],
    ids=["empty", "two rows", "channel 0", "no such channel", "short times", "flat", "back in time", "no times",
         "no pulses", "milliseconds", "no signal"],
)  # fmt: skip
def test_an_unusable_record_holds_no_move(record: ChannelRecord, channel: int) -> None:
    assert switch_moves_seen(record, channel) == 0


def test_the_same_record_in_order_has_one_move() -> None:
    assert switch_moves_seen(ChannelRecord(AT_S, MOVED), 1) == 1
