"""Readings of an aircraft, collected into the records that the bench checks take."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from rotorwright.bench.records import AnswerRecord, ChannelRecord, MotionRecord, RotorRecord
from rotorwright.links.readings import AnswerReading, ChannelsReading, HeldReading, MotionReading, RotorReading

if TYPE_CHECKING:
    from rotorwright.bench.records import FloatArray
    from rotorwright.links.readings import Reading

_R = TypeVar("_R")

MOST_READINGS = 200_000
"""Of one sort: seven minutes at 500 a second. A check that takes longer has lost its person."""


@dataclass(slots=True)
class Recorder:
    """Takes readings as they come, in their order, and gives records of all of them so far."""

    motion: list[MotionReading] = field(default_factory=list)
    held: list[HeldReading] = field(default_factory=list)
    channels: list[ChannelsReading] = field(default_factory=list)
    rotors: list[RotorReading] = field(default_factory=list)
    answers: list[AnswerReading] = field(default_factory=list)
    last_s: float = float("nan")

    def take(self, reading: Reading) -> None:
        """Keep one reading; of each sort no more than `MOST_READINGS`."""
        self.last_s = reading.at_s
        match reading:
            case MotionReading():
                _keep(self.motion, reading)
            case HeldReading():
                _keep(self.held, reading)
            case ChannelsReading():
                _keep(self.channels, reading)
            case RotorReading():
                _keep(self.rotors, reading)
            case AnswerReading():
                _keep(self.answers, reading)
            case _:
                raise AssertionError(reading)

    def motion_record(self) -> MotionRecord:
        """Return the motion, with the latest attitude that was told before each reading."""
        at_s = np.array([one.at_s for one in self.motion], dtype=np.float64)
        force = np.array([one.force_m_s2 for one in self.motion], dtype=np.float64).reshape(-1, 3)
        rate = np.array([one.rate_rad_s for one in self.motion], dtype=np.float64).reshape(-1, 3)
        return MotionRecord(at_s, force, rate, self._attitude(at_s))

    def channel_record(self) -> ChannelRecord:
        """Return the receiver channels."""
        count = max((len(one.pulses_us) for one in self.channels), default=0)
        pulses = np.full((len(self.channels), count), np.nan)
        for row, one in enumerate(self.channels):
            pulses[row, : len(one.pulses_us)] = [np.nan if pulse is None else pulse for pulse in one.pulses_us]
        at_s = np.array([one.at_s for one in self.channels], dtype=np.float64)
        return ChannelRecord(at_s, pulses, np.array([float(one.is_signal) for one in self.channels]))

    def rotor_record(self) -> RotorRecord | None:
        """Return the speeds of the rotors; None where no motor controller told any."""
        if not self.rotors:
            return None
        outputs = max(one.output for one in self.rotors)
        speeds = np.full((len(self.rotors), outputs), np.nan)
        latest = np.full(outputs, np.nan)
        for row, one in enumerate(self.rotors):  # each output is told by itself; the others stand as told before
            latest[one.output - 1] = one.speed_hz
            speeds[row] = latest
        return RotorRecord(np.array([one.at_s for one in self.rotors], dtype=np.float64), speeds)

    def answer_record(self) -> AnswerRecord | None:
        """Return what the aircraft said that it does; None where it said nothing."""
        if not self.answers:
            return None
        return AnswerRecord(
            np.array([one.at_s for one in self.answers], dtype=np.float64),
            np.array([float(one.is_armed) for one in self.answers]),
            np.array([one.mode_bits for one in self.answers], dtype=np.int64),
        )

    def _attitude(self, at_s: FloatArray) -> FloatArray | None:
        if not self.held:
            return None
        told_s = np.array([one.at_s for one in self.held])
        told = np.array([one.attitude_rad for one in self.held], dtype=np.float64)
        latest = np.searchsorted(told_s, at_s, side="right") - 1
        found: FloatArray = told[np.clip(latest, 0, None)]
        found[latest < 0] = np.nan
        return found


def _keep(kept: list[_R], reading: _R) -> None:
    if len(kept) < MOST_READINGS:
        kept.append(reading)
