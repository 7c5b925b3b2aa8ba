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

    from rotorwright.bench.records import FloatArray

_PRACTICE = "common practice, no source"

MOVING_STEP = Limit(6.0, "us", _PRACTICE + ": well above a tick and the noise of a stick")
CATCH_UP = Limit(0.4, "", _PRACTICE + ": the step after a lost frame is at least this part of the step before")
SAMPLES_LATE = Limit(1.6, "samples", "arithmetic: a frame comes up to one sample late, and streams are uneven")
FEWEST_FRAMES = Limit(30, "", _PRACTICE)
STREAM_BOUND = Limit(0.6, "", "arithmetic: two samples for each frame at least, with some room")
LOST = Limit(0.08, "", _PRACTICE + ": some loss is ordinary in a room full of radio")
LOST_OF_SLOW_STREAM = Limit(
    0.025, "", "arithmetic: of 20 % lost frames at least a fifth of a fifth shows as two in a row"
)
FEWEST_LOSSES = Limit(3, "", _PRACTICE)
FREEZE = Limit(0.25, "s", _PRACTICE + ": a quarter of a second of frames is longer than a fade")
FREEZE_JUMP = Limit(80.0, "us", _PRACTICE + ": no hand moves a stick so far from rest within two samples")


@dataclass(frozen=True, slots=True)
class FrameTiming:
    """What the stream shows of the frames.

    Args:
        rate_hz: new values a second while a stick moved, NaN if too few were seen.
        is_bound_by_stream: whether the stream may be too slow to show every frame.
        lost_share: part of the frames that were lost, NaN if too few were seen. Bound by the stream it is the part of
            the samples at which frames certainly were missing: single lost frames hide between two samples.
        losses: how often frames certainly were missing.
        freezes: (start, end) of stretches in which nothing new came, and then the stick was elsewhere.
    """

    rate_hz: float
    is_bound_by_stream: bool
    lost_share: float
    losses: int
    freezes: tuple[tuple[float, float], ...]

    @property
    def most_lost(self) -> float:
        """The largest share of lost frames that is ordinary, as far as this stream shows it."""
        return LOST_OF_SLOW_STREAM.value if self.is_bound_by_stream else LOST.value

    @property
    def has_lost_many(self) -> bool:
        """Whether more frames were lost than is ordinary."""
        return self.losses >= FEWEST_LOSSES.value and self.lost_share > self.most_lost


def frame_timing(moves: Sequence[tuple[FloatArray, FloatArray]], *, step_s: float) -> FrameTiming:
    """Return what the moves of sticks show of the frames.

    Args:
        moves: (times, pulses) of the channel that was moved, for each stick.
        step_s: usual time between two samples.
    """
    stays, freezes = [], []
    for at_s, pulses in moves:
        here = _Stays.of(at_s, pulses)
        stays.append(here.in_motion(step_s))
        freezes += here.freezes(step_s)
    lasting = np.concatenate(stays) if stays else np.empty(0)
    if len(lasting) < FEWEST_FRAMES.value:
        return FrameTiming(
            float("nan"), is_bound_by_stream=True, lost_share=float("nan"), losses=0, freezes=tuple(freezes)
        )
    frame_s = float(np.median(lasting))
    late = lasting[lasting > frame_s + SAMPLES_LATE.value * step_s]
    is_bound = step_s > STREAM_BOUND.value * frame_s
    regular = lasting[lasting <= frame_s + SAMPLES_LATE.value * step_s]
    mean_s = float(np.mean(regular))
    lost = float(np.sum(np.round(late / frame_s) - 1))
    share = len(late) / len(lasting) if is_bound else lost / (len(lasting) + lost)
    return FrameTiming(1 / mean_s, bool(is_bound), share, len(late), tuple(freezes))


@dataclass(frozen=True, slots=True, eq=False)
class _Stays:
    """Stretches in which a channel kept its value: start, end, the steps before and after."""

    start_s: FloatArray
    end_s: FloatArray
    before_us: FloatArray
    after_us: FloatArray
    longest_sample_s: FloatArray

    @classmethod
    def of(cls, at_s: FloatArray, pulses: FloatArray) -> _Stays:
        changes = np.flatnonzero(np.diff(pulses) != 0) + 1
        if len(changes) < 2:
            empty = np.empty(0)
            return cls(empty, empty, empty, empty, empty)
        steps = pulses[changes] - pulses[changes - 1]
        gaps = np.maximum.reduceat(np.diff(at_s), changes[:-1] - 1) if len(changes) > 1 else np.empty(0)
        return cls(at_s[changes[:-1]], at_s[changes[1:]], steps[:-1], steps[1:], gaps)

    def in_motion(self, step_s: float) -> FloatArray:
        """Return how long each value stayed while the stick surely moved on and the stream itself had no gap."""
        before, after = self.before_us, self.after_us
        is_sure = (
            (np.sign(before) == np.sign(after))
            & (np.abs(before) >= MOVING_STEP.value)
            & (np.abs(after) >= np.maximum(MOVING_STEP.value, CATCH_UP.value * np.abs(before)))
            & (self.longest_sample_s < SAMPLES_LATE.value * step_s)
        )
        return np.asarray((self.end_s - self.start_s)[is_sure], dtype=np.float64)

    def freezes(self, step_s: float) -> list[tuple[float, float]]:
        """Return the stretches after which the stick was suddenly elsewhere."""
        is_one = (
            (self.end_s - self.start_s >= FREEZE.value)
            & (np.abs(self.after_us) >= FREEZE_JUMP.value)
            & (self.longest_sample_s < 4 * step_s)
        )
        return [(float(a), float(b)) for a, b in zip(self.start_s[is_one], self.end_s[is_one], strict=True)]
