"""Whether a record of channels can carry a verdict, and what of it can.

Nothing is repaired: where a record cannot be used, a finding says why and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.serial_scaling import ELEVEN_BITS
from rotorwright.bench.verdicts import Finding, missing

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.bench.records import ChannelRecord, FloatArray


@dataclass(frozen=True, slots=True)
class Limit:
    """One number that something is held against."""

    value: float
    unit: str
    source: str


_PRACTICE = "common practice, no source"

SLOWEST_STREAM = Limit(15.0, "Hz", _PRACTICE + ": three samples in the shortest hold of a stick")
FASTEST_STREAM = Limit(2000.0, "Hz", _PRACTICE + ": no receiver sends faster, so such times are not in seconds")
FEWEST_SAMPLES = Limit(20, "", _PRACTICE)
LOWEST_PULSE = Limit(750.0, "us", _PRACTICE + ": a servo pulse is 1000 to 2000 us, with room for wide travel")
HIGHEST_PULSE = Limit(2250.0, "us", _PRACTICE)
LONGEST_GAP = Limit(0.4, "s", _PRACTICE + ": shorter than any move and hold of a stick")
SHARE_PRESENT = Limit(0.95, "", _PRACTICE)
SHARE_ABSENT = Limit(0.05, "", _PRACTICE)
SHARE_OUTSIDE = Limit(0.005, "", _PRACTICE)
SAME_TIMES = Limit(0.05, "", _PRACTICE)

_AGAIN = "Do it once more; if it comes again, look at the cable and at what else uses the link."


@dataclass(frozen=True, slots=True, eq=False)
class Channels:
    """What of a record can be used.

    Args:
        at_s: (n,) rising times.
        pulses_us: (n, c) pulse widths; NaN where a channel is not there.
        present: numbers of the channels that are there, the first is 1.
        is_signal: (n,) 1.0 where the aircraft said that it has a signal; None if it never says.
        step_s: the usual time between two samples.
    """

    at_s: FloatArray
    pulses_us: FloatArray
    present: tuple[int, ...]
    is_signal: FloatArray | None
    step_s: float

    def of(self, channel: int) -> FloatArray:
        """Return the (n,) pulses of a channel that is there."""
        return self.pulses_us[:, channel - 1]


def timing_trouble(record: ChannelRecord) -> Finding | None:
    """Return why the times of a record cannot be used, or None."""
    shapes = _shape_trouble(record)
    if shapes is not None:
        return shapes
    if not np.all(np.isfinite(record.at_s)):
        return missing("times-missing", "Some samples of the channels have no time.", _AGAIN)
    steps = np.diff(record.at_s)
    if np.any(steps < 0):
        return missing("clock-jumped", "The clock of the record jumps back, so nothing can be told from it.", _AGAIN)
    if np.mean(steps == 0) > SAME_TIMES.value:
        return missing("clock-stands", "Many samples of the channels carry the same time.", _AGAIN)
    return _rate_trouble(float(np.median(steps)))


def _shape_trouble(record: ChannelRecord) -> Finding | None:
    at_s, pulses = record.at_s, record.pulses_us
    fits = at_s.ndim == 1 and pulses.ndim == 2 and pulses.shape[0] == at_s.shape[0] and pulses.shape[1] > 0
    if record.is_signal is not None:
        fits = fits and record.is_signal.shape == at_s.shape
    if not fits:
        return missing("record-uneven", "Times and channels of the record do not belong together.", _AGAIN)
    if at_s.shape[0] < FEWEST_SAMPLES.value:
        words = f"Only {at_s.shape[0]} samples of the channels came; that is too few to tell anything."
        return missing("too-few-samples", words, "Switch transmitter and receiver on, and do it once more.")
    return None


def _rate_trouble(step_s: float) -> Finding | None:
    if step_s > 1 / SLOWEST_STREAM.value:
        words = (
            f"The channels came every {step_s:.3g} s; at least {SLOWEST_STREAM.value:g} times a second is needed. "
            "If they came quickly, the times are not in seconds."
        )
        return missing("stream-too-slow", words, "Ask for a faster stream, or for times in seconds.")
    if step_s < 1 / FASTEST_STREAM.value:
        words = f"The times of the channels lie {step_s:.2g} s apart, so they cannot be seconds."
        return missing("times-not-seconds", words, "Give the times in seconds.")
    return None


def usable_channels(record: ChannelRecord, mapped: Iterable[int]) -> Channels | Finding:
    """Return what of a record can be used, or why nothing can.

    Args:
        record: as it was streamed.
        mapped: channels that the settings give to sticks; they are never put aside as odd.
    """
    trouble = timing_trouble(record)
    if trouble is not None:
        return trouble
    pulses = readable_pulses(record)
    share = np.mean(np.isfinite(pulses), axis=0)
    if np.all(share <= SHARE_ABSENT.value):
        return missing(
            "no-channels", "No receiver channel came.", "Switch transmitter and receiver on; see that bound."
        )
    holes = [int(n) + 1 for n in np.flatnonzero((share > SHARE_ABSENT.value) & (share < SHARE_PRESENT.value))]
    if holes:
        words = f"{channel_words(holes)} came only part of the time."
        return missing("channel-with-holes", words, _AGAIN)
    odd = _odd_channels(pulses, set(mapped), share >= SHARE_PRESENT.value)
    if isinstance(odd, Finding):
        return odd
    present = tuple(int(n) + 1 for n in np.flatnonzero(share >= SHARE_PRESENT.value) if n not in odd)
    if not present:
        return _unit_trouble(pulses)
    step_s = float(np.median(np.diff(record.at_s)))
    # A sample without one of its channels is as good as lost; the gap that it leaves is judged like any other.
    whole = np.all(np.isfinite(pulses[:, [one - 1 for one in present]]), axis=1)
    signal = None if record.is_signal is None else record.is_signal[whole]
    return Channels(record.at_s[whole], pulses[whole], present, signal, step_s)


def readable_pulses(record: ChannelRecord) -> FloatArray:
    """Return the pulses with NaN for whatever is no pulse at all: infinite, or the 0 that some links send for none."""
    return np.where(np.isfinite(record.pulses_us) & (record.pulses_us != 0), record.pulses_us, np.nan)


def _odd_channels(pulses: FloatArray, mapped: set[int], there: np.ndarray) -> set[int] | Finding:
    """Return columns that stand still outside the range of pulses, which are no sticks; or a finding about units."""
    outside = (pulses < LOWEST_PULSE.value) | (pulses > HIGHEST_PULSE.value)
    odd = set()
    for column in np.flatnonzero(there & (np.mean(outside, axis=0) > SHARE_OUTSIDE.value)):
        values = pulses[:, column]
        if np.nanmax(values) == np.nanmin(values) and column + 1 not in mapped:
            odd.add(int(column))
        else:
            return _unit_trouble(pulses[:, [column]])
    return odd


def _unit_trouble(pulses: FloatArray) -> Finding:
    low, high = float(np.nanmin(pulses)), float(np.nanmax(pulses))
    guess = ""
    if low >= 0 and high < ELEVEN_BITS.ticks and high > 500 and low == round(low) and high == round(high):
        guess = (
            f" They look like ticks of a serial link: middle {ELEVEN_BITS.middle_tick}, not {ELEVEN_BITS.middle_us:g}."
        )
    elif high < 3:
        guess = " They look like milliseconds or shares of the travel."
    words = f"Channels from {low:.4g} to {high:.4g} came, which are no pulses in microseconds.{guess}"
    return missing("not-microseconds", words, "Read the channels in microseconds, and do it once more.")


def channel_words(channels: Iterable[int]) -> str:
    """Return channels for people: `Channel 3` or `Channels 1, 4`."""
    numbers = [str(one) for one in channels]
    return ("Channel " if len(numbers) == 1 else "Channels ") + ", ".join(numbers)


def smoothed(values: FloatArray) -> FloatArray:
    """Return values without single outliers: the middle one of each three neighbours. (n,) or (n, c), n at least 3."""
    before, here, after = values[:-2], values[1:-1], values[2:]
    inner = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return np.concatenate([values[:1], inner, values[-1:]])


def block_spreads(at_s: FloatArray, values: FloatArray, *, block_s: float) -> FloatArray:
    """Return the (b,) standard deviations about a straight line in pieces of `block_s` seconds, gaps left out."""
    step_s = float(np.median(np.diff(at_s))) if len(at_s) > 1 else block_s
    size = max(5, round(block_s / max(step_s, 1e-6)))
    count = len(values) // size
    if count == 0:
        return np.empty(0)
    pieces = values[: count * size].reshape(count, size)
    times = at_s[: count * size].reshape(count, size)
    whole = (times[:, -1] - times[:, 0]) < 2 * block_s
    if not np.any(whole):
        return np.empty(0)
    pieces = pieces[whole]
    ramp = np.arange(size) - (size - 1) / 2
    centred = pieces - pieces.mean(axis=1, keepdims=True)
    slope = centred @ ramp / (ramp @ ramp)
    rest = centred - slope[:, None] * ramp
    return np.asarray(np.sqrt(np.sum(rest**2, axis=1) / (size - 2)), dtype=np.float64)
