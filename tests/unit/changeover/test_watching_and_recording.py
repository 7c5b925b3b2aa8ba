"""Readings into records, and how long is watched: by the aircraft for what is measured, by us for patience."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.changeover.proving.measures import last_live_s
from rotorwright.changeover.proving.recorder import MOST_READINGS, Recorder
from rotorwright.changeover.proving.watching import Watch
from rotorwright.links.readings import (
    AnswerReading,
    ChannelsReading,
    HeldReading,
    MotionReading,
    Reading,
    RotorReading,
)
from rotorwright.twin.clock import VirtualClock

if TYPE_CHECKING:
    from collections.abc import Iterator

STILL = (0.0, 0.0, -9.8)
NONE = (0.0, 0.0, 0.0)


def _motion(at_s: float) -> MotionReading:
    return MotionReading(at_s, STILL, NONE)


def _channels(at_s: float, pulse: float, *, is_signal: bool = True) -> ChannelsReading:
    return ChannelsReading(at_s, (pulse, None), is_signal)


def test_each_motion_reading_gets_the_attitude_told_last_before_it() -> None:
    recorder = Recorder()
    for reading in (_motion(0.0), HeldReading(0.1, (1.0, 0.0, 0.0)), _motion(0.2), HeldReading(0.3, (2.0, 0.0, 0.0))):
        recorder.take(reading)
    record = recorder.motion_record()
    assert record.attitude_rad is not None
    assert np.isnan(record.attitude_rad[0]).all()
    assert record.attitude_rad[1, 0] == 1.0


def test_what_was_never_told_is_no_record_or_not_a_number() -> None:
    recorder = Recorder()
    recorder.take(_channels(0.0, 1500.0))
    assert recorder.rotor_record() is None
    assert recorder.answer_record() is None
    assert recorder.motion_record().attitude_rad is None
    assert recorder.motion_record().force_m_s2.shape == (0, 3)
    assert np.isnan(recorder.channel_record().pulses_us[0, 1])


def test_rotors_told_one_by_one_become_rows_of_all() -> None:
    recorder = Recorder()
    for output, speed in ((1, 10.0), (3, 30.0), (1, 11.0)):
        recorder.take(RotorReading(0.1, output, speed))
    record = recorder.rotor_record()
    assert record is not None
    np.testing.assert_array_equal(record.speed_hz, [[10, np.nan, np.nan], [10, np.nan, 30], [11, np.nan, 30]])


def test_answers_keep_their_bits() -> None:
    recorder = Recorder()
    recorder.take(AnswerReading(1.0, is_armed=True, mode_bits=0x8000_0001))
    record = recorder.answer_record()
    assert record is not None
    assert (record.is_armed[0], record.mode_bits[0]) == (1.0, 0x8000_0001)


def test_a_recorder_left_alone_does_not_fill_the_memory() -> None:
    recorder = Recorder()
    for _ in range(MOST_READINGS + 5):
        recorder.take(_motion(0.0))
    assert len(recorder.motion) == MOST_READINGS


class _Stream:
    """Readings every 0.1 s of the aircraft's clock; ours goes on by `ours_s` meanwhile."""

    def __init__(self, clock: VirtualClock, *, ours_s: float = 0.1) -> None:
        self.clock = clock
        self.ours_s = ours_s
        self.given = 0

    def __iter__(self) -> Iterator[Reading]:
        return self

    def __next__(self) -> Reading:
        self.clock.sleep_s(self.ours_s)
        self.given += 1
        return _motion(100.0 + self.given / 10)


def test_watching_ends_when_the_awaited_is_seen() -> None:
    clock = VirtualClock()
    stream = _Stream(clock)
    watch = Watch(stream, clock)
    assert watch.until(lambda so_far: len(so_far.motion) >= 10)
    assert 10 <= stream.given < 20


def test_watching_ends_when_patience_ran_out() -> None:
    clock = VirtualClock()
    stream = _Stream(clock, ours_s=1.0)
    assert not Watch(stream, clock).until(lambda _: False, patience_s=5.0)
    assert stream.given == 6


def test_a_while_is_a_while_of_the_aircrafts_clock() -> None:
    clock = VirtualClock()
    stream = _Stream(clock, ours_s=5.0)
    heard: list[int] = []
    Watch(stream, clock).for_s(0.5, lambda: heard.append(stream.given))
    assert stream.given == 6
    assert heard == [1, 2, 3, 4, 5, 6]


def test_the_last_sign_of_life_of_a_transmitter_is_its_flicker_not_the_jump_to_a_preset() -> None:
    recorder = Recorder()
    for step in range(40):
        at_s = step * 0.05
        live = at_s < 1.0
        pulse = 1500.0 + step % 2 if live else (1500.0 if at_s < 1.6 else 1100.0)
        recorder.take(_channels(at_s, pulse))
    assert 0.9 <= last_live_s(recorder, since_s=0.0) <= 1.05


def test_where_nothing_flickers_the_last_moment_with_a_signal_counts() -> None:
    recorder = Recorder()
    for step in range(40):
        recorder.take(_channels(step * 0.05, 1500.0, is_signal=step < 20))
    assert last_live_s(recorder, since_s=0.0) == 19 * 0.05
