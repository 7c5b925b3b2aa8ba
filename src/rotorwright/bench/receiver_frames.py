"""What a stream of channels shows of the receiver's own frames: how many a second, how many lost, where they stopped.

A stream only asks what the last frame was. So a frame is seen where a moving channel takes a new value, and the stream
can never show more frames than it has samples. A value that stays although the stick moves on means that frames are
missing; that is certain only where it stays longer than one frame and one and a half samples, since a frame may come
right after a sample was taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.receiver_evidence import Limit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rotorwright.bench.records import FloatArray

_PRACTICE = "common practice, no source"

MOVING_STEP = Limit(3.0, "us", _PRACTICE + ": for each sample, above a tick and the noise of a stick")
CATCH_UP = Limit(
    0.2, "", _PRACTICE + ": a moving stick slows down to no less than this part from one value to the next"
)
SAMPLES_LATE = Limit(2, "samples", "arithmetic: a frame comes up to one sample late, so one more is no frame")
FEWEST_FRAMES = Limit(30, "", _PRACTICE)
STREAM_BOUND = Limit(1.75, "samples", "arithmetic: two samples for each frame at least, with some room")
LOST = Limit(0.06, "", _PRACTICE + ": some loss is ordinary in a room full of radio")
FEWEST_LOSSES = Limit(3, "", _PRACTICE)
FREEZE = Limit(0.25, "s", _PRACTICE + ": a quarter of a second of frames is longer than a fade")
FREEZE_JUMP = Limit(80.0, "us", _PRACTICE + ": no hand moves a stick so far from rest within two samples")


@dataclass(frozen=True, slots=True)
class FrameTiming:
    """What the stream shows of the frames.

    Args:
        rate_hz: new values a second while a stick moved, NaN if too few were seen.
        is_bound_by_stream: whether the stream may be too slow to show every frame.
        lost_share: part of the frames that were lost, NaN if too few were seen. Bound by the stream it is told by
            the values that surely came late, and frames quicker than the stream can be lost unseen.
        losses: how often frames certainly were missing.
        freezes: (start, end) of stretches in which nothing new came, and then the stick was elsewhere.
    """

    rate_hz: float
    is_bound_by_stream: bool
    lost_share: float
    losses: int
    freezes: tuple[tuple[float, float], ...]

    @property
    def has_lost_many(self) -> bool:
        """Whether more frames were lost than is ordinary."""
        return self.losses >= FEWEST_LOSSES.value and self.lost_share > LOST.value


def frame_timing(moves: Sequence[tuple[FloatArray, FloatArray]], *, step_s: float) -> FrameTiming:
    """Return what the moves of sticks show of the frames.

    Args:
        moves: (times, pulses) of the channel that was moved, for each stick.
        step_s: usual time between two samples.
    """
    stays, freezes = [], []
    for at_s, pulses in moves:
        here = _Stays.of(at_s, pulses)
        stays.append(here.in_motion())
        freezes += here.freezes(step_s)
    lasting, lasting_s = np.concatenate(stays, axis=1) if stays else np.empty((2, 0))
    if len(lasting) < FEWEST_FRAMES.value:
        return FrameTiming(
            float("nan"), is_bound_by_stream=True, lost_share=float("nan"), losses=0, freezes=tuple(freezes)
        )
    usual = float(np.median(lasting))
    is_late = lasting >= usual + SAMPLES_LATE.value
    is_bound = usual < STREAM_BOUND.value
    lost = float(np.sum(np.round(lasting[is_late] / usual) - 1))
    share = lost / (len(lasting) + lost)
    if is_bound:
        share = _hidden_share(float(np.mean(is_late)), stay=float(np.mean(lasting)), enough=round(usual) + 2)
    frame_s = float(np.mean(lasting_s[~is_late]))
    late = int(np.count_nonzero(is_late))
    return FrameTiming(1 / frame_s, is_bound, share, late, tuple(freezes))


def _hidden_share(late: float, *, stay: float, enough: int) -> float:
    """Return the share p of lost frames that explains the share of late values where single losses can hide.

    Two lost frames in a row are always seen (p * p). One is seen in the part v of the cases in which the time of two
    frames spans `enough` samples, so p * p + v * p = late; and v follows from p, since the frames themselves come every
    (1 - p) times `stay`, the mean number of samples from one new value to the next. No more can be lost than samples
    brought nothing new. The largest such share is taken.
    """
    most = max(0.0, 1 - 1 / stay)
    share = min(float(np.sqrt(late)), most)
    for _ in range(20):
        visible = min(max(2 * (1 - share) * stay - (enough - 1), 0.0), 1.0)
        share = min((float(np.sqrt(visible**2 + 4 * late)) - visible) / 2, most)
    return share


@dataclass(frozen=True, slots=True, eq=False)
class _Stays:
    """Stretches in which a channel kept its value: start, end, samples, the steps before and after, the longest gap."""

    start_s: FloatArray
    end_s: FloatArray
    samples: FloatArray | NDArray[np.intp]
    before_us: FloatArray
    after_us: FloatArray
    longest_sample_s: FloatArray

    @classmethod
    def of(cls, at_s: FloatArray, pulses: FloatArray) -> _Stays:
        changes = np.flatnonzero(np.diff(pulses) != 0) + 1
        if len(changes) < 2:
            empty = np.empty(0)
            return cls(empty, empty, empty, empty, empty, empty)
        steps = pulses[changes] - pulses[changes - 1]
        gaps = np.maximum.reduceat(np.diff(at_s, append=at_s[-1]), changes)[:-1]
        return cls(at_s[changes[:-1]], at_s[changes[1:]], np.diff(changes), steps[:-1], steps[1:], gaps)

    def in_motion(self) -> FloatArray:
        """Return for how many samples and seconds each value stayed while the stick surely moved on, (2, n).

        The step after it is held against the samples that it stayed, so that lost frames make no move look quicker.
        Samples that the stream itself lost make a stay shorter in samples, so they are never taken for lost frames.
        """
        before, after = self.before_us, self.after_us / np.maximum(self.samples, 1)
        is_sure = (
            (np.sign(before) == np.sign(after))
            & (np.abs(before) >= MOVING_STEP.value)
            & (np.abs(after) >= np.maximum(MOVING_STEP.value, CATCH_UP.value * np.abs(before)))
        )
        return np.stack([self.samples[is_sure].astype(np.float64), (self.end_s - self.start_s)[is_sure]])

    def freezes(self, step_s: float) -> list[tuple[float, float]]:
        """Return the stretches after which the stick was suddenly elsewhere."""
        is_one = (
            (self.end_s - self.start_s >= FREEZE.value)
            & (np.abs(self.after_us) >= FREEZE_JUMP.value)
            & (self.longest_sample_s < 4 * step_s)
        )
        return [(float(a), float(b)) for a, b in zip(self.start_s[is_one], self.end_s[is_one], strict=True)]
