"""Switches of the transmitter: which functions are on at every position, and how a switch was moved.

Ranges are closed: a function is on from its lowest to its highest pulse, both included. Pulses are real numbers, since
serial receivers do not send whole microseconds, so what lies between two ends counts too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from rotorwright.bench.records import ChannelRecord, FloatArray

# Pulses in microseconds.
REACH_LOW_US, REACH_HIGH_US = 800.0, 2200.0  # no channel leaves this. Common practice, no source.
ENDS_LOW_US, ENDS_HIGH_US = 987.5, 2012.5  # 11 bits, 172 to 1812, as us = 1500 + (t - 992) 5/8: common serial links
SURE_LOW_US, SURE_HIGH_US = 1000.0, 2000.0  # every switch gets this far: servo pulse, common practice, no source

SAME_PLACE_US = 30.0  # jitter of a switch that stands still is below it, its positions are further apart. No source.
SHORTEST_HOLD_S = 0.2  # a switch that stands shorter is being moved through. Common practice, no source.
LONGEST_GAP_S = 0.6  # nothing is said about a switch that was not heard for longer. Common practice, no source.


@dataclass(frozen=True, slots=True)
class Switching:
    """One function on a switch.

    Args:
        function: what is switched, in the words of the release book.
        channel: receiver channel, the first is 1; 0 for none.
        lowest_us: lowest pulse at which it is on, included.
        highest_us: highest pulse at which it is on, included.
    """

    function: str
    channel: int
    lowest_us: float
    highest_us: float

    @property
    def is_used(self) -> bool:
        """Whether it stands on a channel at all."""
        return self.channel != 0

    @property
    def is_readable(self) -> bool:
        """Whether both ends are numbers."""
        return math.isfinite(self.lowest_us) and math.isfinite(self.highest_us)

    def is_on(self, pulse_us: float) -> bool:
        """Say whether the function is on at a pulse of its channel."""
        return self.is_used and self.lowest_us <= pulse_us <= self.highest_us

    def meets(self, lowest_us: float, highest_us: float) -> bool:
        """Say whether it is on anywhere from `lowest_us` to `highest_us`, both included."""
        return self.lowest_us <= self.highest_us and self.lowest_us <= highest_us and lowest_us <= self.highest_us


@dataclass(frozen=True, slots=True)
class SwitchPosition:
    """Where one switch stands: channel, the first is 1, and its pulse."""

    channel: int
    pulse_us: float


@dataclass(frozen=True, slots=True)
class ArmingSetup:
    """What the settings say about arming and the functions on switches.

    Args:
        arming: the arming switch; channel 0 for none.
        functions: the other functions on switches. One with channel 0 is not in use.
        channels: how many channels the receiver has.
        rest_us: pulse of each channel as it rests when the battery is plugged in.
        failsafe_action: what the aircraft does without a signal, as the release book words it; None if unknown.
        failsafe_stops_motors: whether that ends with the motors off, at once or after a landing; None if unknown.
        arms_by_stick: whether thrust low and yaw to its end arms too.
        thrust_channel: channel of the thrust stick.
        thrust_low_us: pulse up to which the thrust stick counts as low.
        asks_thrust_low: whether arming is refused while thrust is not low; None if unknown.
        start_output_percent: motor output at the lowest thrust while armed, 0 to 100; None if unknown.
        exclusive: pairs of functions that cannot both be meant; the arming function may be one of a pair.
        stick_channels: channels of the sticks, so that no function stands on a stick; thrust needs not be repeated.
    """

    arming: Switching
    functions: tuple[Switching, ...]
    channels: int
    rest_us: Mapping[int, float] = field(default_factory=dict)
    failsafe_action: str | None = None
    failsafe_stops_motors: bool | None = None
    arms_by_stick: bool = False
    thrust_channel: int = 0
    thrust_low_us: float = 1050.0
    asks_thrust_low: bool | None = None
    start_output_percent: float | None = None
    exclusive: tuple[tuple[str, str], ...] = ()
    stick_channels: tuple[int, ...] = ()

    @property
    def every(self) -> tuple[Switching, ...]:
        """The arming switch and the functions, those that stand on a channel."""
        return tuple(one for one in (self.arming, *self.functions) if one.is_used)

    @property
    def on_channels(self) -> tuple[int, ...]:
        """The channels that something stands on, rising."""
        return tuple(sorted({one.channel for one in self.every}))


@dataclass(frozen=True, slots=True)
class Stretch:
    """Pulses of one channel, next to each other, at which the same functions are on.

    Args:
        lowest_us: lower end.
        highest_us: upper end.
        has_lowest: whether the lower end belongs to it.
        has_highest: whether the upper end belongs to it.
        on: the functions that are on, in the order in which they were given.
    """

    lowest_us: float
    highest_us: float
    has_lowest: bool
    has_highest: bool
    on: tuple[str, ...]

    def holds(self, pulse_us: float) -> bool:
        """Say whether a pulse lies in it."""
        above = pulse_us >= self.lowest_us if self.has_lowest else pulse_us > self.lowest_us
        below = pulse_us <= self.highest_us if self.has_highest else pulse_us < self.highest_us
        return above and below

    @property
    def words(self) -> str:
        """Its pulses in words."""
        low = f"{self.lowest_us:g}" if self.has_lowest else f"above {self.lowest_us:g}"
        high = f"{self.highest_us:g}" if self.has_highest else f"below {self.highest_us:g}"
        return low if low == high else f"{low} to {high}"


def stretches(switchings: Iterable[Switching], channel: int) -> tuple[Stretch, ...]:
    """Return which functions are on at every pulse of a channel, from 800 to 2200 microseconds, without a gap.

    Exact: the ends of all ranges are taken one by one, and so is what lies between two neighbours. Neighbours differ
    in what is on. Ranges whose ends are no numbers are left out.
    """
    here = [one for one in switchings if one.channel == channel and one.is_used and one.is_readable]
    ends = {end for one in here for end in (one.lowest_us, one.highest_us) if REACH_LOW_US < end < REACH_HIGH_US}
    breaks = sorted({REACH_LOW_US, REACH_HIGH_US, *ends})
    return tuple(_joined(_elementary(here, breaks)))


def on_at(switchings: Iterable[Switching], position: SwitchPosition) -> tuple[str, ...]:
    """Return the functions that are on at a position of one switch, each named once."""
    on = (one.function for one in switchings if one.channel == position.channel and one.is_on(position.pulse_us))
    return tuple(dict.fromkeys(on))


def _elementary(here: Sequence[Switching], breaks: Sequence[float]) -> Iterator[Stretch]:
    for low, high in pairwise(breaks):
        yield Stretch(low, low, has_lowest=True, has_highest=True, on=_on_throughout(here, low, low))
        yield Stretch(low, high, has_lowest=False, has_highest=False, on=_on_throughout(here, low, high))
    last = breaks[-1]
    yield Stretch(last, last, has_lowest=True, has_highest=True, on=_on_throughout(here, last, last))


def _on_throughout(here: Sequence[Switching], low: float, high: float) -> tuple[str, ...]:
    # No end lies inside, so a range covers all of it or none.
    return tuple(dict.fromkeys(one.function for one in here if one.lowest_us <= low and high <= one.highest_us))


def _joined(parts: Iterable[Stretch]) -> Iterator[Stretch]:
    kept: Stretch | None = None
    for part in parts:
        if kept is not None and kept.on == part.on:
            kept = Stretch(kept.lowest_us, part.highest_us, kept.has_lowest, part.has_highest, kept.on)
            continue
        if kept is not None:
            yield kept
        kept = part
    if kept is not None:
        yield kept


@dataclass(frozen=True, slots=True)
class Hold:
    """A switch that stood still: from when to when, and its middle pulse."""

    start_s: float
    end_s: float
    pulse_us: float


def holds_seen(record: ChannelRecord, channel: int) -> tuple[Hold, ...]:
    """Return where a switch stood still, in order; two holds at the same place in a row are one.

    A switch that is merely passed through a position does not hold it. An unusable record holds nothing.
    """
    at_s, pulses_us = _heard(record, channel)
    found: list[Hold] = []
    for first, last in _runs(at_s.tolist(), pulses_us.tolist()):
        if at_s[last] - at_s[first] >= SHORTEST_HOLD_S:
            _add(found, Hold(float(at_s[first]), float(at_s[last]), float(np.median(pulses_us[first : last + 1]))))
    return tuple(found)


def switch_moves_seen(record: ChannelRecord, channel: int) -> int:
    """Return how often a switch went from one position to another and was held there; 0 for an unusable record."""
    return max(0, len(holds_seen(record, channel)) - 1)


def _runs(at_s: Sequence[float], pulses_us: Sequence[float]) -> Iterator[tuple[int, int]]:
    """Yield first and last index of each run of samples at one place without a silence."""
    if not at_s:
        return
    first, place = 0, pulses_us[0]
    for index in range(1, len(at_s)):
        pulse = pulses_us[index]
        if abs(pulse - place) <= SAME_PLACE_US and at_s[index] - at_s[index - 1] <= LONGEST_GAP_S:
            if index - first < 5:  # the place is what the first few say, so that a slow knob does not drag it along
                place += (pulse - place) / (index - first + 1)
            continue
        yield first, index - 1
        first, place = index, pulse
    yield first, len(at_s) - 1


def _add(found: list[Hold], hold: Hold) -> None:
    last = found[-1] if found else None
    # A frame in error or a short silence does not make two holds of one.
    if last is not None and abs(last.pulse_us - hold.pulse_us) <= SAME_PLACE_US / 2:
        found[-1] = Hold(last.start_s, hold.end_s, last.pulse_us)
    else:
        found.append(hold)


def _heard(record: ChannelRecord, channel: int) -> tuple[FloatArray, FloatArray]:
    nothing = np.empty(0), np.empty(0)
    at_s, pulses_us = np.asarray(record.at_s, dtype=float), np.asarray(record.pulses_us, dtype=float)
    if pulses_us.ndim != 2 or at_s.shape != pulses_us.shape[:1] or not 1 <= channel <= pulses_us.shape[1]:
        return nothing
    column = pulses_us[:, channel - 1]
    is_heard = np.isfinite(at_s) & (column >= REACH_LOW_US) & (column <= REACH_HIGH_US)
    if record.is_signal is not None and np.shape(record.is_signal) == at_s.shape:
        is_heard &= np.asarray(record.is_signal) > 0.5
    if is_heard.sum() < 2 or bool(np.any(np.diff(at_s[is_heard]) < 0)):
        return nothing
    return at_s[is_heard], column[is_heard]
