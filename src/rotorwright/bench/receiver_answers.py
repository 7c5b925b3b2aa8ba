"""Which channel answered which stick while sticks were moved in turn, which way round, how far and how steadily."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linear_sum_assignment

from rotorwright.bench.receiver_evidence import (
    LONGEST_GAP,
    Channels,
    Limit,
    block_spreads,
    channel_words,
    smoothed,
)
from rotorwright.bench.receiver_sticks import STICK_ORDER, End, ReceiverSetup, Stick, StickWindow, stick_words
from rotorwright.bench.verdicts import Finding, missing

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from rotorwright.bench.records import FloatArray

_PRACTICE = "common practice, no source"

MOVED = Limit(300.0, "us", _PRACTICE + ": a third of the usual travel of 1000 us")
BARELY = Limit(60.0, "us", _PRACTICE + ": more than noise and the sway of a gimbal")
CLEAR = Limit(0.6, "", _PRACTICE + ": the runner-up moves less than this part of the channel that answers")
SAME_STICK = Limit(0.92, "", _PRACTICE + ": two channels that move this alike carry the same stick")
ONE_END = Limit(150.0, "us", _PRACTICE)
FAR = Limit(0.6, "", _PRACTICE + ": part of the way to an end from which the stick counts as there")
NEAR = Limit(0.4, "", _PRACTICE + ": part of the way below which it counts as gone again")
SHORTEST_VISIT = Limit(0.08, "s", _PRACTICE)
JITTER_BLOCK = Limit(0.4, "s", _PRACTICE)
STRAIGHT = Limit(0.97, "", _PRACTICE + ": squared correlation of a channel that only copies another")
FROZEN = Limit(1.0, "s", _PRACTICE)


@dataclass(frozen=True, slots=True, eq=False)
class SampledWindow:
    """One stick's window with its samples."""

    stick: Stick
    samples: slice


@dataclass(frozen=True, slots=True)
class StickAnswer:
    """How one stick was answered: channel, direction (None: not clear), ends, rest and noise in microseconds."""

    stick: Stick
    channel: int
    margin: float
    is_reversed: bool | None
    lowest_us: float
    highest_us: float
    rest_us: float
    jitter_us: float


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """Everything that was read out of the record."""

    answers: Mapping[Stick, StickAnswer]
    troubles: tuple[Finding, ...]
    windows: tuple[SampledWindow, ...]


def read_sticks(channels: Channels, windows: Sequence[StickWindow], setup: ReceiverSetup) -> Reading:
    """Return which channel answered which stick and how, and what could not be seen."""
    asked, troubles = _usable_windows(channels, windows)
    if not asked:
        return Reading({}, tuple(troubles), ())
    movement = np.stack([_movement(channels, one) for one in asked])
    pairs = _assigned(movement, asked, channels, setup)
    answers = {}
    for row, window in enumerate(asked):
        found = _answer(channels, movement, row, int(pairs[row]), asked)
        if isinstance(found, Finding):
            troubles.append(found)
            continue
        answers[window.stick] = found
        if found.is_reversed is None:
            troubles.append(_unclear_direction(found))
    return Reading(answers, tuple(troubles), tuple(asked))


def _usable_windows(channels: Channels, windows: Sequence[StickWindow]) -> tuple[list[SampledWindow], list[Finding]]:
    last = {one.stick: one for one in windows}
    usable, troubles = [], []
    for stick in STICK_ORDER:
        if stick not in last:
            troubles.append(missing("stick-not-asked", f"The {stick} stick was not asked for.", _move_words(stick)))
            continue
        first, end = np.searchsorted(channels.at_s, [last[stick].start_s, last[stick].end_s])
        times = channels.at_s[first:end]
        if len(times) < 10 or times[-1] - times[0] < 0.5:
            words = f"Next to nothing was recorded while the {stick} stick was asked for."
            troubles.append(missing("stick-not-recorded", words, _move_words(stick)))
        elif (gap_s := _longest_gap_s(channels, int(first), int(end))) > LONGEST_GAP.value:
            words = f"The record has a gap of {gap_s:.1f} s while the {stick} stick was asked for."
            troubles.append(missing("gap-in-time", words, _move_words(stick)))
        else:
            usable.append(SampledWindow(stick, slice(int(first), int(end))))
    return usable, troubles


def _longest_gap_s(channels: Channels, first: int, end: int) -> float:
    """Return the longest time between samples of a window, with the ones before and after it."""
    return float(np.max(np.diff(channels.at_s[max(0, first - 1) : end + 1])))


def _move_words(stick: Stick) -> str:
    steps = [stick_words(stick, end) for end in End]
    return f"Ask for it again: {steps[0]}, then {steps[1]}, then {steps[2]}."


def _movement(channels: Channels, window: SampledWindow) -> FloatArray:
    """Return how far each present channel went within a window, (channels,)."""
    columns = np.array(channels.present) - 1
    pulses = smoothed(channels.pulses_us[window.samples][:, columns])
    return np.asarray(np.nanmax(pulses, axis=0) - np.nanmin(pulses, axis=0), dtype=np.float64)


def _assigned(
    movement: FloatArray, asked: Sequence[SampledWindow], channels: Channels, setup: ReceiverSetup
) -> NDArray[np.intp]:
    """Return for each window the column of the channel that answers, by the largest movement in all.

    A channel that moves in every window alike is no stick, so what it moves in the quietest window is taken off. Where
    two channels carry the same stick, the one that the settings name is as good as the other and comes first.
    """
    score = _beyond_quiet(movement)
    for row, window in enumerate(asked):
        named = setup.channel_of.get(window.stick)
        if named in channels.present:
            score[row, channels.present.index(named)] += (1 - SAME_STICK.value) * movement[row].max()
    if score.shape[0] > score.shape[1]:
        score = np.concatenate([score, np.zeros((score.shape[0], score.shape[0] - score.shape[1]))], axis=1)
    _, columns = linear_sum_assignment(score, maximize=True)
    return np.asarray(columns, dtype=np.intp)


def _answer(
    channels: Channels,
    movement: FloatArray,
    row: int,
    column: int,
    asked: Sequence[SampledWindow],
) -> StickAnswer | Finding:
    window, stick = asked[row], asked[row].stick
    moved = movement[row]
    beyond = _beyond_quiet(movement)[row]
    if column >= len(moved) or moved[column] < MOVED.value:
        return _not_moved(channels, movement, row, column, asked)
    others = np.delete(beyond, column)
    margin = float(others.max() / moved[column]) if len(others) else 0.0
    channel = channels.present[column]
    if margin > CLEAR.value and not _others_are_copies(channels, window, column, beyond):
        also = [channels.present[n] for n in np.flatnonzero(beyond > CLEAR.value * moved[column])]
        words = (
            f"{channel_words(also)} moved when the {stick} stick was asked for, so it is not clear which carries it."
        )
        return missing("stick-not-clear", words, "Move one stick at a time. " + _move_words(stick))
    return _measured_answer(channels, asked, row, channel, margin)


def _beyond_quiet(movement: FloatArray) -> FloatArray:
    """Return how far each channel went in each window beyond what it goes in its quietest one, (windows, channels)."""
    return np.asarray(movement - (movement.min(axis=0) if len(movement) > 1 else 0.0), dtype=np.float64)


def _others_are_copies(channels: Channels, window: SampledWindow, column: int, moved: FloatArray) -> bool:
    mine = channels.of(channels.present[column])[window.samples]
    rivals = [n for n in np.flatnonzero(moved > CLEAR.value * moved[column]) if n != column]
    return all(straightness(mine, channels.of(channels.present[n])[window.samples]) > STRAIGHT.value for n in rivals)


def _not_moved(
    channels: Channels, movement: FloatArray, row: int, column: int, asked: Sequence[SampledWindow]
) -> Finding:
    stick, moved = asked[row].stick, movement[row]
    most = int(np.argmax(moved))
    if moved[most] >= MOVED.value:
        words = (
            f"When the {stick} stick was asked for, channel {channels.present[most]} moved, "
            "which answered another stick as well. One of the two times the wrong stick was moved."
        )
        return missing("wrong-stick-moved", words, _move_words(stick))
    if moved[most] >= BARELY.value:
        words = f"When the {stick} stick was asked for, no channel moved more than {moved[most]:.0f} us."
        return missing("stick-barely-moved", words, _move_words(stick))
    return missing("stick-not-moved", f"No channel moved when the {stick} stick was asked for.", _move_words(stick))


def _measured_answer(
    channels: Channels, asked: Sequence[SampledWindow], row: int, channel: int, margin: float
) -> StickAnswer:
    window = asked[row]
    inside = smoothed(channels.of(channel)[window.samples])
    outside = _quiet_samples(channels, asked, row, channel)
    quiet = channels.of(channel)[outside] if np.count_nonzero(outside) * channels.step_s >= 1.0 else None
    edge = max(3, round(0.25 / channels.step_s))
    rest = float(np.median(quiet if quiet is not None else np.concatenate([inside[:edge], inside[-edge:]])))
    lowest, highest = _plateau(inside, is_high=False), _plateau(inside, is_high=True)
    at_s = channels.at_s[window.samples]
    visits = _visits(at_s, inside, rest=rest, stick=window.stick, lowest=lowest, highest=highest)
    spreads = np.empty(0) if quiet is None else block_spreads(channels.at_s[outside], quiet, block_s=JITTER_BLOCK.value)
    return StickAnswer(
        window.stick,
        channel,
        margin,
        _direction(window.stick, visits),
        lowest,
        highest,
        rest,
        float(np.median(spreads)) if len(spreads) else float("nan"),
    )


def _quiet_samples(channels: Channels, asked: Sequence[SampledWindow], row: int, channel: int) -> NDArray[np.bool_]:
    """Return which samples show the channel at rest: windows of other sticks in which it hardly moved, and between."""
    is_quiet = np.ones(len(channels.at_s), dtype=np.bool_)
    pulses = channels.of(channel)
    for n, other in enumerate(asked):
        inside = smoothed(pulses[other.samples])
        if n == row or np.nanmax(inside) - np.nanmin(inside) > MOVED.value:
            is_quiet[other.samples] = False
    return is_quiet & np.isfinite(pulses)


def _plateau(pulses: FloatArray, *, is_high: bool) -> float:
    """Return the level at which the stick was held at one end: the middle of the values near the farthest."""
    low, high = float(np.nanmin(pulses)), float(np.nanmax(pulses))
    near = 0.03 * (high - low)
    held = pulses[pulses >= high - near] if is_high else pulses[pulses <= low + near]
    return float(np.median(held))


def _visits(at_s: FloatArray, pulses: FloatArray, *, rest: float, stick: Stick, lowest: float, highest: float) -> str:
    """Return where the stick was, in order: `U` near the larger pulse, `L` near the smaller, `M` between.

    A stick that rests in the middle has to go `ONE_END` to a side for that side to count.
    """
    middle = (lowest + highest) / 2 if stick is Stick.THRUST else rest
    up, down = highest - middle, middle - lowest
    place, since, path = _place(float(np.median(pulses[:5])) - middle, "M", up=up, down=down), at_s[0], []
    for moment, pulse in zip(at_s, pulses, strict=True):
        now = _place(pulse - middle, place, up=up, down=down)
        if now != place:
            if moment - since >= SHORTEST_VISIT.value:
                path.append(place)
            place, since = now, moment
    path.append(place)
    return _without_repeats(path)


def _place(offset: float, place: str, *, up: float, down: float) -> str:
    high = NEAR.value if place == "U" else FAR.value
    low = NEAR.value if place == "L" else FAR.value
    if up >= ONE_END.value and offset > high * up:
        return "U"
    if down >= ONE_END.value and -offset > low * down:
        return "L"
    return "M"


def _without_repeats(path: Iterable[str]) -> str:
    kept = ""
    for one in path:
        if one not in kept[-1:]:
            kept += one
    return kept


def _direction(stick: Stick, visits: str) -> bool | None:
    """Return whether the stick is reversed, from where it was in turn; None where that is not clear."""
    ends = visits.replace("M", "")
    ends = _without_repeats(ends)
    if stick is Stick.THRUST and visits[:1] != "M":
        return {"LUL": False, "ULU": True}.get(ends)
    return {"UL": False, "LU": True}.get(ends)


def _unclear_direction(answer: StickAnswer) -> Finding:
    words = (
        f"The {answer.stick} stick was not moved to its one end, to its other and back to rest, "
        f"so it is not clear whether channel {answer.channel} is the right way round."
    )
    return missing("direction-not-clear", words, _move_words(answer.stick))


def standing_still(channels: Channels, windows: Sequence[StickWindow]) -> Finding | None:
    """Return what an end of all changes before the end of the windows means, or None if there is none."""
    columns = np.array(channels.present) - 1
    is_change = np.any(np.diff(channels.pulses_us[:, columns], axis=0) != 0, axis=1)
    changes = np.flatnonzero(is_change)
    if len(changes) == 0:
        words = "Not one channel changed at all. Either no stick was moved, or the receiver hears nothing."
        return missing(
            "nothing-changes", words, "See that transmitter and receiver are on and bound, then move a stick."
        )
    stopped_s = float(channels.at_s[changes[-1] + 1])
    late = [
        one
        for one in windows
        if one.end_s <= channels.at_s[-1] + 1 and one.end_s - stopped_s > 0.8 * (one.end_s - one.start_s)
    ]
    if channels.at_s[-1] - stopped_s < FROZEN.value or not late:
        return None
    words = f"From {stopped_s:.1f} s on no channel changed at all, although sticks were asked for until the end."
    advice = "The receiver froze, or no stick was moved. See that the transmitter is on and near, and do it once more."
    was_noisy = _had_noise_at_rest(channels, stopped_s)
    return Finding("receiver-frozen", words, advice, is_dangerous=was_noisy, is_missing=not was_noisy)


def _had_noise_at_rest(channels: Channels, until_s: float) -> bool:
    """Answer whether before `until_s` some channel kept changing by a little all the time, as live sticks do."""
    columns = np.array(channels.present) - 1
    end = int(np.searchsorted(channels.at_s, until_s))
    steps = np.abs(np.diff(channels.pulses_us[:end, columns], axis=0))
    size = max(1, round(FROZEN.value / channels.step_s))
    count = len(steps) // size
    if count < 2:
        return False
    blocks = np.any(steps[: count * size].reshape(count, size, -1) > 0, axis=(1, 2))
    return bool(np.mean(blocks) > 0.95)


def straightness(one: FloatArray, other: FloatArray) -> float:
    """Return the squared correlation of two channels, 0 where one of them stands still."""
    a, b = one - np.mean(one), other - np.mean(other)
    scale = float((a @ a) * (b @ b))
    return float((a @ b) ** 2 / scale) if scale > 0 else 0.0
