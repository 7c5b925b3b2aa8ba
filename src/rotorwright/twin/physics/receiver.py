"""Transmitter and receiver: sticks moved by fingers, channels in some order, frames that jitter or get lost.

The aircraft hears what the last frame said that arrived. Pulses come in ticks of 5/8 us, as serial receivers send them.
With the transmitter off the receiver holds the last pulses, until it notices; then it does what it is set to do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import FloatArray, Timeline
from rotorwright.twin.physics.noise import SampleNoise

if TYPE_CHECKING:
    from collections.abc import Mapping

_LONG_AGO_S = -1e9
_NEVER_S = 1e9
_LOOK_BACK = 64  # frames that may be lost one after another before nothing is found


class StickName(StrEnum):
    """The sticks; positive is roll right, pitch forward, thrust more, yaw right, as MAVLink's MANUAL_CONTROL counts."""

    ROLL = "roll"
    PITCH = "pitch"
    THRUST = "thrust"
    YAW = "yaw"


class SignalLoss(StrEnum):
    """What a receiver does when it has noticed that the transmitter is silent."""

    HOLDS = "hold last"
    NO_PULSES = "no pulses"
    PRESET = "preset"


@dataclass(frozen=True, slots=True)
class ChannelSpec:
    """How the transmitter makes one channel's pulse.

    Args:
        low_us, middle_us, high_us: at the negative end, in the middle and at the positive end of what moves it.
        is_reversed: whether the transmitter sends it the other way round.
        preset_us: what the receiver gives out when the signal is lost, if it is set to.
    """

    low_us: float = constants.PULSE_LOW_US
    middle_us: float = constants.PULSE_MIDDLE_US
    high_us: float = constants.PULSE_HIGH_US
    is_reversed: bool = False
    preset_us: float = constants.PULSE_MIDDLE_US


@dataclass(frozen=True, slots=True)
class RadioSpec:
    """Transmitter and receiver.

    Args:
        channel_of: channel of each stick, the first is 1. That is the truth, whatever the settings say.
        channels: every channel of the receiver.
        frame_hz: frames per second.
        lost_part: part of the frames that do not arrive.
        jitter_us: spread of each pulse.
        wait_s: how long the receiver holds before it notices that the transmitter is silent.
        loss: what it does then.
        says_loss: whether it tells the aircraft.
        seed: of everything irregular.
    """

    channel_of: Mapping[StickName, int]
    channels: tuple[ChannelSpec, ...]
    frame_hz: float = 100.0
    lost_part: float = 0.0
    jitter_us: float = 0.0
    wait_s: float = 0.5
    loss: SignalLoss = SignalLoss.PRESET
    says_loss: bool = True
    seed: int = 0


class Radio:
    """Transmitter and receiver, as functions of time. Sticks rest in the middle, thrust and switches low."""

    def __init__(self, spec: RadioSpec) -> None:
        self.spec = spec
        low = {spec.channel_of[StickName.THRUST]} | (
            set(range(1, len(spec.channels) + 1)) - set(spec.channel_of.values())
        )
        # Columns: start, duration, from, change; positions from -1 to 1.
        self._moves = [
            Timeline((_LONG_AGO_S, 1.0, -1.0 if number in low else 0.0, 0.0))
            for number in range(1, len(spec.channels) + 1)
        ]
        self._silences: list[tuple[float, float]] = []
        self._noise = SampleNoise(spec.seed, len(spec.channels) + 1, rate_hz=spec.frame_hz)
        self._chance = SampleNoise(spec.seed ^ 0x5EED, 1, rate_hz=spec.frame_hz)
        steps = [(each.low_us, each.middle_us, each.high_us) for each in spec.channels]
        self._low, self._middle, self._high = np.array(steps).T
        self._way = np.array([-1.0 if each.is_reversed else 1.0 for each in spec.channels])
        self._preset = np.array([each.preset_us for each in spec.channels])
        self._lost_above = _spread_of_part(spec.lost_part)

    def move(self, stick: str, position: float, at_s: float, over_s: float = 0.3) -> None:
        """Move a stick to `position` (-1 to 1) by hand, from `at_s` on, within `over_s`.

        Raises:
            ValueError: no such stick.
        """
        self.move_channel(self.spec.channel_of[StickName(stick)], position, at_s, over_s)

    def move_channel(self, channel: int, position: float, at_s: float, over_s: float = 0.08) -> None:
        """Move whatever moves `channel` (the first is 1), a switch for example, to `position` (-1 to 1)."""
        moves = self._moves[channel - 1]
        now = self._position_once(moves, at_s)
        moves.put((at_s, max(over_s, 1e-3), now, position - now))

    def position_of(self, channel: int, pulse_us: float) -> float:
        """Return the position (-1 to 1) that makes this pulse on `channel`."""
        number = channel - 1
        off = pulse_us - self._middle[number]
        travel = self._high[number] - self._middle[number] if off > 0 else self._middle[number] - self._low[number]
        return float(self._way[number] * off / travel)

    def switch_off(self, at_s: float, until_s: float = _NEVER_S) -> None:
        """Switch the transmitter off, for good or until `until_s`."""
        self._silences.append((at_s, until_s))

    def switch_on(self, at_s: float) -> None:
        """Switch the transmitter on again."""
        self._silences = [(start, min(end, at_s)) for start, end in self._silences if start < at_s]

    def pulses(self, at_s: float) -> tuple[FloatArray, bool]:
        """Return what the aircraft hears at `at_s`: (channels,) pulses in us, NaN for none, and if it has a signal."""
        frame, sent_s = self._heard_once(at_s)
        notices = at_s - sent_s > self.spec.wait_s and self._is_silent_once(at_s)
        has_signal = not (notices and self.spec.says_loss)
        if notices and self.spec.loss is SignalLoss.PRESET:
            return _in_ticks(self._preset), has_signal
        if notices and self.spec.loss is SignalLoss.NO_PULSES:
            return np.full(len(self._moves), np.nan), has_signal
        where = np.array([self._position_once(moves, sent_s) for moves in self._moves])
        return self._made(where, np.array(self._noise.sample(frame)[:-1])), has_signal

    def many(self, at_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (n, channels) pulses in us and (n,) 1.0 where the aircraft has a signal, for (n,) times."""
        frames, sent_s = self._heard(at_s)
        pulses = self._pulses_of(frames, sent_s)
        silent = at_s - sent_s
        notices = (silent > self.spec.wait_s) & self._is_silent(at_s)
        if np.any(notices):
            if self.spec.loss is SignalLoss.NO_PULSES:
                pulses[notices] = np.nan
            elif self.spec.loss is SignalLoss.PRESET:
                pulses[notices] = _in_ticks(self._preset)
        signal = np.where(notices & self.spec.says_loss, 0.0, 1.0)
        return pulses, signal

    def _heard(self, at_s: FloatArray) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.int64]], FloatArray]:
        """Return number and time of the last frame that arrived before each moment."""
        newest = np.maximum(np.floor(at_s * self.spec.frame_hz), 0.0).astype(np.int64)
        newest -= self._sent_s(newest) > at_s
        frames = np.maximum(newest, 0)
        for start_s, end_s in self._silences:  # the last one before the transmitter fell silent
            sent_s = self._sent_s(frames)
            last = np.int64(np.floor(start_s * self.spec.frame_hz) - 1)
            frames = np.where((sent_s >= start_s) & (sent_s < end_s), max(last, np.int64(0)), frames)
        for _ in range(_LOOK_BACK if self.spec.lost_part > 0 else 0):
            lost = (self._chance.samples(frames)[:, 0] > self._lost_above) & (frames > 0)
            if not np.any(lost):
                break
            frames = frames - lost
        return frames, self._sent_s(frames)

    def _sent_s(self, frames: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> FloatArray:
        shift = np.clip(self._noise.samples(frames)[:, -1], -3.0, 3.0)
        sent_s: FloatArray = (frames + 0.2 + constants.FRAME_JITTER * shift) / self.spec.frame_hz
        return sent_s

    def _pulses_of(self, frames: np.ndarray[tuple[int, ...], np.dtype[np.int64]], sent_s: FloatArray) -> FloatArray:
        where = np.stack([self._position(number, sent_s) for number in range(len(self._moves))], axis=1)
        return self._made(where, self._noise.samples(frames)[:, :-1])

    def _made(self, where: FloatArray, noise: FloatArray) -> FloatArray:
        """Return the pulses that positions (-1 to 1) and unit noise make, (channels,) or (n, channels)."""
        sent = where * self._way
        travel = np.where(sent > 0, self._high - self._middle, self._middle - self._low)
        return _in_ticks(self._middle + sent * travel + noise * self.spec.jitter_us)

    @staticmethod
    def _position_once(moves: Timeline, at_s: float) -> float:
        start_s, over_s, before, change = moves.at(at_s)
        part = min(max((at_s - start_s) / over_s, 0.0), 1.0)
        return float(before + change * part**3 * (10.0 - 15.0 * part + 6.0 * part * part))

    def _heard_once(self, at_s: float) -> tuple[int, float]:
        """Return the same as `_heard` for one moment."""
        frame = max(int(at_s * self.spec.frame_hz), 0)
        if self._sent_once(frame) > at_s:
            frame = max(frame - 1, 0)
        for start_s, end_s in self._silences:
            if start_s <= self._sent_once(frame) < end_s:
                frame = max(math.floor(start_s * self.spec.frame_hz) - 1, 0)
        if self.spec.lost_part > 0:
            for _ in range(_LOOK_BACK):
                if frame <= 0 or self._chance.sample(frame)[0] <= self._lost_above:
                    break
                frame -= 1
        return frame, self._sent_once(frame)

    def _sent_once(self, frame: int) -> float:
        shift = min(max(self._noise.sample(frame)[-1], -3.0), 3.0)
        return (frame + 0.2 + constants.FRAME_JITTER * shift) / self.spec.frame_hz

    def _is_silent_once(self, at_s: float) -> bool:
        return any(start_s <= at_s < end_s + 2.0 / self.spec.frame_hz for start_s, end_s in self._silences)

    def _position(self, number: int, at_s: FloatArray) -> FloatArray:
        moves = self._moves[number]
        if len(moves) == 1:
            return np.full(len(at_s), moves.last[2])
        start_s, over_s, before, change = moves.at(at_s)
        part = np.clip((at_s - start_s) / over_s, 0.0, 1.0)
        reached: FloatArray = before + change * part**3 * (10.0 - 15.0 * part + 6.0 * part * part)
        return reached

    def _is_silent(self, at_s: FloatArray) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        silent = np.zeros(len(at_s), dtype=bool)
        for start_s, end_s in self._silences:
            # the first frame after the silence ends it
            silent |= (at_s >= start_s) & (at_s < end_s + 2.0 / self.spec.frame_hz)
        return silent


def _in_ticks(pulses_us: FloatArray) -> FloatArray:
    """Return pulses in whole ticks of the serial receiver."""
    middle = constants.PULSE_MIDDLE_US
    ticks = np.rint((pulses_us - middle) / constants.SERIAL_TICK_US + constants.SERIAL_MIDDLE)
    pulses: FloatArray = middle + (np.clip(ticks, 0.0, 2047.0) - constants.SERIAL_MIDDLE) * constants.SERIAL_TICK_US
    return pulses


def _spread_of_part(part: float) -> float:
    """Return the limit that a part of normally distributed numbers lies above."""
    return -NormalDist().inv_cdf(min(max(part, 1e-12), 0.9))
