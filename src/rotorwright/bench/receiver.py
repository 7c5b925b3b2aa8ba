"""Receiver: which channel carries which stick, which way round, how far, how steadily.

A person moves one stick after the other. Which channel answers which stick is solved as an assignment over all sticks
at once: the pairing with the largest movement in all (Kuhn 1955, Munkres 1957; scipy.optimize.linear_sum_assignment).
A wrong map or a stick the wrong way round is dangerous. What was not seen is never taken for right.
"""

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
    missing,
    smoothed,
    timing_trouble,
    usable_channels,
)
from rotorwright.bench.receiver_frames import LOST, FrameTiming, frame_timing
from rotorwright.bench.receiver_sticks import STICK_ORDER, End, ReceiverSetup, Stick, StickWindow, stick_words
from rotorwright.bench.verdicts import CheckResult, Curve, Figure, Finding, Grid, Measured, judged, thinned

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from rotorwright.bench.records import ChannelRecord, FloatArray

__all__ = ["STICK_ORDER", "End", "ReceiverSetup", "Stick", "StickWindow", "judge_receiver", "stick_done", "stick_words"]

_PRACTICE = "common practice, no source"

MOVED = Limit(300.0, "us", _PRACTICE + ": a third of the usual travel of 1000 us")
BARELY = Limit(60.0, "us", _PRACTICE + ": more than noise and the sway of a gimbal")
CLEAR = Limit(0.6, "", _PRACTICE + ": the runner-up moves less than this part of the channel that answers")
SAME_STICK = Limit(0.92, "", _PRACTICE + ": two channels that move this alike carry the same stick")
ONE_END = Limit(150.0, "us", _PRACTICE)
FAR = Limit(0.6, "", _PRACTICE + ": part of the way to an end from which the stick counts as there")
NEAR = Limit(0.4, "", _PRACTICE + ": part of the way below which it counts as gone again")
SHORTEST_VISIT = Limit(0.08, "s", _PRACTICE)
END_SHORT = Limit(20.0, "us", _PRACTICE + ": 2 % of the travel, a hand that does not press against the stop")
CENTRE_OFF = Limit(12.0, "us", _PRACTICE + ": about 1 % of the travel; a wider dead zone allows more")
JITTER = Limit(5.0, "us", _PRACTICE + ": standard deviation at rest, 1 % of the way from the middle to an end")
JITTER_BLOCK = Limit(0.4, "s", _PRACTICE)
DEAD_ZONE_SPREADS = Limit(3.0, "", "three standard deviations, 99.7 % of normally distributed noise")
TOGETHER = Limit(
    0.4, "", _PRACTICE + ": a hand 10 degrees off its way moves the other axis by 18 %, 20 degrees by 36 %"
)
STRAIGHT = Limit(0.97, "", _PRACTICE + ": squared correlation of a channel that only copies another")
FROZEN = Limit(1.0, "s", _PRACTICE)
SETTLED = Limit(0.4, "s", _PRACTICE)
BACK = Limit(40.0, "us", _PRACTICE + ": how close to its rest a stick comes back")
OFF_MIDDLE = Limit(250.0, "us", _PRACTICE + ": a stick that rests farther from 1500 us rests at an end")

_MIDDLE_US = 1500.0


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """One stick's window with its samples."""

    stick: Stick
    samples: slice


@dataclass(frozen=True, slots=True)
class _Answer:
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
class _Reading:
    """Everything that was read out of the record."""

    answers: Mapping[Stick, _Answer]
    troubles: tuple[Finding, ...]
    windows: tuple[_Window, ...]


def stick_done(record: ChannelRecord, start_s: float) -> bool:
    """Answer whether the stick asked for at `start_s` was moved as asked and is back at rest.

    Meant to be asked again and again on the growing record. Which channel moves does not matter: one that rests near
    the middle must have been at both ends, one that rests at an end must have been at the other.
    """
    if timing_trouble(record) is not None:
        return False
    at_s = record.at_s
    since = int(np.searchsorted(at_s, start_s))
    before = slice(int(np.searchsorted(at_s, start_s - 0.5)), int(np.searchsorted(at_s, start_s + 0.15)))
    settled = int(np.searchsorted(at_s, at_s[-1] - SETTLED.value))
    is_there = np.all(np.isfinite(record.pulses_us[before.start :]), axis=0)
    if settled <= since or before.stop - before.start < 2 or settled >= len(at_s) - 2:
        return False
    return any(
        _is_moved_and_back(
            smoothed(record.pulses_us[since:, column]), record.pulses_us[before, column], settled - since
        )
        for column in np.flatnonzero(is_there)
    )


def _is_moved_and_back(pulses: FloatArray, before: FloatArray, settled: int) -> bool:
    rest = float(np.median(before))
    up, down = float(pulses.max()) - rest, rest - float(pulses.min())
    if np.max(np.abs(pulses[settled:] - rest)) > BACK.value:
        return False
    if abs(rest - _MIDDLE_US) > OFF_MIDDLE.value:
        return max(up, down) >= 2 * MOVED.value
    return min(up, down) >= MOVED.value


def judge_receiver(
    record: ChannelRecord,
    windows: Sequence[StickWindow],
    setup: ReceiverSetup,
    *,
    as_found: ReceiverSetup | None = None,
) -> CheckResult:
    """Judge the channels against the settings.

    Args:
        record: channels while the sticks were moved, 50 to 100 samples a second.
        windows: when which stick was asked for; the last window of a stick counts.
        setup: what the settings say now.
        as_found: what they said before the changeover, to tell what became of it.
    """
    channels = usable_channels(record, setup.channel_of.values())
    if isinstance(channels, Finding):
        return judged("receiver", sentence="", findings=[*_impossible_map(setup, None), channels])
    still = _stands_still(channels, windows)
    if still is not None and still.is_missing:
        return judged("receiver", sentence="", findings=[*_impossible_map(setup, channels), still])
    reading = _read(channels, windows, setup)
    frames = frame_timing(_moves(channels, reading), step_s=channels.step_s)
    findings = [
        *_impossible_map(setup, channels),
        *_map_findings(reading.answers, setup, as_found),
        *_reversal_findings(reading.answers, setup, as_found),
        *_travel_findings(reading.answers, setup),
        *_mixing_findings(channels, reading),
        *_frame_findings(frames),
        *_signal_findings(channels, reading),
        *([still] if still is not None else []),
        *reading.troubles,
    ]
    return judged(
        "receiver",
        sentence=_passed_words(setup, as_found),
        measured=_measured(reading.answers, setup, frames, channels),
        findings=findings,
        figures=_figures(channels, reading),
        grids=[_grid(reading.answers, setup, as_found)],
    )


def _passed_words(setup: ReceiverSetup, as_found: ReceiverSetup | None) -> str:
    words = "Every stick is heard on its channel, the right way round, to both ends and back to its rest."
    if as_found is None:
        return words
    changed = [s for s in STICK_ORDER if setup.channel_of.get(s) != as_found.channel_of.get(s)]
    if not changed:
        return words + " The channels are those that were found."
    return (
        f"{words} {_names(changed)} had another channel when the aircraft was found; the transmitter was changed too."
    )


# What was moved, and what answered


def _read(channels: Channels, windows: Sequence[StickWindow], setup: ReceiverSetup) -> _Reading:
    asked, troubles = _usable_windows(channels, windows)
    if not asked:
        return _Reading({}, tuple(troubles), ())
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
    return _Reading(answers, tuple(troubles), tuple(asked))


def _usable_windows(channels: Channels, windows: Sequence[StickWindow]) -> tuple[list[_Window], list[Finding]]:
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
            usable.append(_Window(stick, slice(int(first), int(end))))
    return usable, troubles


def _longest_gap_s(channels: Channels, first: int, end: int) -> float:
    """Return the longest time between samples of a window, with the ones before and after it."""
    return float(np.max(np.diff(channels.at_s[max(0, first - 1) : end + 1])))


def _move_words(stick: Stick) -> str:
    steps = [stick_words(stick, end) for end in End]
    return f"Ask for it again: {steps[0]}, then {steps[1]}, then {steps[2]}."


def _movement(channels: Channels, window: _Window) -> FloatArray:
    """Return how far each present channel went within a window, (channels,)."""
    columns = np.array(channels.present) - 1
    pulses = smoothed(channels.pulses_us[window.samples][:, columns])
    return np.asarray(np.nanmax(pulses, axis=0) - np.nanmin(pulses, axis=0), dtype=np.float64)


def _assigned(
    movement: FloatArray, asked: Sequence[_Window], channels: Channels, setup: ReceiverSetup
) -> NDArray[np.intp]:
    """Return for each window the column of the channel that answers, by the largest movement in all.

    A channel that moves in every window alike is no stick, so what it moves in the quietest window is taken off. Where
    two channels carry the same stick, the one that the settings name is as good as the other and comes first.
    """
    score = movement - (movement.min(axis=0) if len(asked) > 1 else 0.0)
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
    asked: Sequence[_Window],
) -> _Answer | Finding:
    window, stick = asked[row], asked[row].stick
    moved = movement[row]
    if column >= len(moved) or moved[column] < MOVED.value:
        return _not_moved(channels, movement, row, column, asked)
    others = np.delete(moved, column)
    margin = float(others.max() / moved[column]) if len(others) else 0.0
    channel = channels.present[column]
    if margin > CLEAR.value and not _others_are_copies(channels, window, column, moved):
        also = [channels.present[n] for n in np.flatnonzero(moved > CLEAR.value * moved[column])]
        words = (
            f"{channel_words(also)} moved when the {stick} stick was asked for, so it is not clear which carries it."
        )
        return missing("stick-not-clear", words, "Move one stick at a time. " + _move_words(stick))
    return _measured_answer(channels, asked, row, channel, margin)


def _others_are_copies(channels: Channels, window: _Window, column: int, moved: FloatArray) -> bool:
    mine = channels.of(channels.present[column])[window.samples]
    rivals = [n for n in np.flatnonzero(moved > CLEAR.value * moved[column]) if n != column]
    return all(_straightness(mine, channels.of(channels.present[n])[window.samples]) > STRAIGHT.value for n in rivals)


def _not_moved(channels: Channels, movement: FloatArray, row: int, column: int, asked: Sequence[_Window]) -> Finding:
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


def _measured_answer(channels: Channels, asked: Sequence[_Window], row: int, channel: int, margin: float) -> _Answer:
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
    return _Answer(
        window.stick,
        channel,
        margin,
        _direction(window.stick, visits),
        lowest,
        highest,
        rest,
        float(np.median(spreads)) if len(spreads) else float("nan"),
    )


def _quiet_samples(channels: Channels, asked: Sequence[_Window], row: int, channel: int) -> NDArray[np.bool_]:
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


def _unclear_direction(answer: _Answer) -> Finding:
    words = (
        f"The {answer.stick} stick was not moved to its one end, to its other and back to rest, "
        f"so it is not clear whether channel {answer.channel} is the right way round."
    )
    return missing("direction-not-clear", words, _move_words(answer.stick))


def _stands_still(channels: Channels, windows: Sequence[StickWindow]) -> Finding | None:
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


# What is wrong


def _impossible_map(setup: ReceiverSetup, channels: Channels | None) -> list[Finding]:
    """Return what is wrong with the map by itself, whatever was moved."""
    findings = []
    named = [setup.channel_of[stick] for stick in STICK_ORDER if stick in setup.channel_of]
    twice = sorted({one for one in named if named.count(one) > 1})
    if twice:
        words = f"{channel_words(twice)} is set for two sticks at once."
        findings.append(Finding("channel-set-twice", words, "Give each stick a channel of its own.", is_dangerous=True))
    unset = [stick for stick in STICK_ORDER if stick not in setup.channel_of]
    if unset:
        words = f"The settings do not say which channel carries {_names(unset)}."
        findings.append(missing("map-not-known", words, "Look the channels up in the settings."))
    if channels is not None:
        absent = sorted({one for one in named if one not in channels.present})
        if absent:
            words = f"{channel_words(absent)} is set for a stick, but the receiver has no such channel."
            advice = "Set the channels that carry the sticks; this check finds them when all four are moved."
            findings.append(Finding("channel-absent", words, advice, is_dangerous=True))
    return findings


def _names(sticks: Iterable[Stick]) -> str:
    names = [str(one) for one in sticks]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _map_findings(
    answers: Mapping[Stick, _Answer], setup: ReceiverSetup, as_found: ReceiverSetup | None
) -> list[Finding]:
    wrong = [
        s for s in STICK_ORDER if s in answers and answers[s].channel != setup.channel_of.get(s, answers[s].channel)
    ]
    if not wrong:
        return []
    told = "; ".join(f"{s} comes on channel {answers[s].channel}, set is {setup.channel_of[s]}" for s in wrong)
    right = {**setup.channel_of, **{stick: one.channel for stick, one in answers.items()}}
    is_whole = len(set(right.values())) == len(right)
    values = {f"receiver.channel.{stick}": str(answers[stick].channel) for stick in wrong} if is_whole else {}
    advice = "If the sticks were moved as asked, set " + ", ".join(
        f"{s} to channel {answers[s].channel}" for s in wrong
    )
    advice += "." if is_whole else ", after the sticks that were not shown have been shown too."
    if as_found is not None:
        advice += _as_found_words(all(as_found.channel_of.get(s) == answers[s].channel for s in wrong), "channels")
    return [
        Finding(
            "channel-map-differs",
            f"Sticks are on other channels than the settings say: {told}.",
            advice + " Do not arm before this is right.",
            is_dangerous=True,
            settings=values,
        )
    ]


def _as_found_words(is_as_found: bool, what: str) -> str:  # noqa: FBT001
    if is_as_found:
        return f" These {what} are the ones that the aircraft was found with."
    return " The aircraft was found set otherwise: see that the right model is chosen at the transmitter."


def _reversal_findings(
    answers: Mapping[Stick, _Answer], setup: ReceiverSetup, as_found: ReceiverSetup | None
) -> list[Finding]:
    seen = {s: a.is_reversed for s, a in answers.items() if a.is_reversed is not None}
    wrong = [s for s in STICK_ORDER if s in seen and seen[s] != setup.is_reversed.get(s, False)]
    if not wrong:
        return []
    right = {s: seen.get(s, setup.is_reversed.get(s, False)) for s in Stick}
    bits = setup.reversed_bits({s: bool(turned) for s, turned in right.items()})
    turned = [s for s in STICK_ORDER if right[s]]
    advice = (
        "If the sticks were moved as asked, positive end first, set as turned round: "
        f"{_names(turned) if turned else 'none'} (value {bits}); or turn the channel at the transmitter, not both."
    )
    if as_found is not None:
        advice += _as_found_words(all(as_found.is_reversed.get(s, False) == seen[s] for s in wrong), "directions")
    return [
        Finding(
            "stick-reversed",
            f"The wrong way round: {_names(wrong)}. The aircraft would go the other way than the stick.",
            advice + " Do not arm before this is right.",
            is_dangerous=True,
            settings={"receiver.reversed": str(bits)},
        )
    ]


def _travel_findings(answers: Mapping[Stick, _Answer], setup: ReceiverSetup) -> list[Finding]:
    findings = []
    for stick in STICK_ORDER:
        if stick in answers:
            findings += _end_findings(answers[stick], setup)
            findings += _rest_findings(answers[stick], setup)
    return findings


def _end_findings(answer: _Answer, setup: ReceiverSetup) -> list[Finding]:
    short = []
    if answer.lowest_us > setup.low_us + END_SHORT.value:
        short.append(f"down to {answer.lowest_us:.0f} us only, {setup.low_us:.0f} is needed")
    if answer.highest_us < setup.high_us - END_SHORT.value:
        short.append(f"up to {answer.highest_us:.0f} us only, {setup.high_us:.0f} is needed")
    if not short:
        return []
    words = f"The {answer.stick} stick does not reach its end: it goes {' and '.join(short)}."
    advice = (
        f"Press it against the stop and do it again. If it stays, widen the travel of channel {answer.channel} at the "
        f"transmitter until its ends reach {setup.low_us:.0f} and {setup.high_us:.0f} us."
    )
    at_low = answer.highest_us if answer.is_reversed else answer.lowest_us
    need = setup.high_us - END_SHORT.value if answer.is_reversed else setup.low_us + END_SHORT.value
    is_thrust_up = answer.stick is Stick.THRUST and (at_low < need if answer.is_reversed else at_low > need)
    return [Finding("end-short", words, advice, is_dangerous=is_thrust_up)]


def _rest_findings(answer: _Answer, setup: ReceiverSetup) -> list[Finding]:
    findings = []
    off = answer.rest_us - setup.middle_us
    if answer.stick is not Stick.THRUST and abs(off) > max(CENTRE_OFF.value, setup.dead_us):
        words = f"The {answer.stick} stick rests at {answer.rest_us:.0f} us, {off:+.0f} us from the middle."
        advice = (
            f"The aircraft would turn by itself. Set trim to none and the middle of channel {answer.channel} to "
            f"{setup.middle_us:.0f} us at the transmitter."
        )
        findings.append(Finding("centre-off", words, advice))
    if answer.jitter_us > JITTER.value:
        words = (
            f"Channel {answer.channel} ({answer.stick}) trembles by {answer.jitter_us:.0f} us while nobody touches it."
        )
        advice = (
            "Look for a worn stick, a loose plug or radio noise beside the receiver. "
            f"A dead zone would have to be {_dead_zone_need(answer, setup):.0f} us wide to each side to hide it."
        )
        findings.append(Finding("jitter", words, advice))
    elif np.isnan(answer.jitter_us):
        words = f"Nothing was recorded of channel {answer.channel} ({answer.stick}) at rest."
        findings.append(missing("rest-not-seen", words, "Record all four sticks, one after the other."))
    return findings


def _dead_zone_need(answer: _Answer, setup: ReceiverSetup) -> float:
    off = 0.0 if answer.stick is Stick.THRUST else abs(answer.rest_us - setup.middle_us)
    return off + DEAD_ZONE_SPREADS.value * answer.jitter_us


def _straightness(one: FloatArray, other: FloatArray) -> float:
    """Return the squared correlation of two channels, 0 where one of them stands still."""
    a, b = one - np.mean(one), other - np.mean(other)
    scale = float((a @ a) * (b @ b))
    return float((a @ b) ** 2 / scale) if scale > 0 else 0.0


def _mixing_findings(channels: Channels, reading: _Reading) -> list[Finding]:
    """Return sticks that move the channel of another stick along with their own."""
    findings = []
    for window in reading.windows:
        answer = reading.answers.get(window.stick)
        if answer is None:
            continue
        mine = channels.of(answer.channel)[window.samples]
        along = [
            other
            for other in reading.answers.values()
            if other.stick is not window.stick and _moves_along(mine, channels.of(other.channel)[window.samples])
        ]
        if along:
            named = _names(one.stick for one in along)
            words = (
                f"The {window.stick} stick moves {named} along with it ({_share_words(channels, window, mine, along)})."
            )
            advice = "Take mixing out of the model at the transmitter: the aircraft does its own. Then do this again."
            findings.append(Finding("channels-mixed", words, advice, is_dangerous=True))
    return findings


def _moves_along(mine: FloatArray, other: FloatArray) -> bool:
    travel = float(np.ptp(smoothed(mine)))
    return float(np.ptp(smoothed(other))) > TOGETHER.value * travel and _straightness(mine, other) > STRAIGHT.value


def _share_words(channels: Channels, window: _Window, mine: FloatArray, along: Sequence[_Answer]) -> str:
    travel = float(np.ptp(smoothed(mine)))
    shares = [float(np.ptp(smoothed(channels.of(one.channel)[window.samples]))) / travel for one in along]
    return ", ".join(f"{100 * share:.0f} %" for share in shares)


def _frame_findings(frames: FrameTiming) -> list[Finding]:
    findings = []
    radio = "See to the aerials, the distance and other transmitters nearby; then do this again."
    if frames.freezes:
        longest = max(end - start for start, end in frames.freezes)
        times = "once" if len(frames.freezes) == 1 else f"{len(frames.freezes)} times"
        words = f"The channels stood still while a stick was moving, {times}, for up to {longest:.1f} s."
        findings.append(Finding("receiver-froze", words, radio, is_dangerous=True))
    if frames.has_lost_many:
        words = f"About {100 * frames.lost_share:.0f} % of the receiver's frames were lost."
        findings.append(Finding("frames-lost", words, radio))
    return findings


def _signal_findings(channels: Channels, reading: _Reading) -> list[Finding]:
    if channels.is_signal is None:
        return []
    findings = []
    for window in reading.windows:
        share = float(np.mean(channels.is_signal[window.samples] < 0.5))
        if share > 0.5:
            words = f"The aircraft said that it had no signal while the {window.stick} stick was asked for."
            findings.append(missing("no-signal", words, "Switch the transmitter on; see that it is bound."))
        elif share * (window.samples.stop - window.samples.start) * channels.step_s > 0.1:
            words = f"The signal broke off while the {window.stick} stick was moved."
            advice = "See to the aerials, the distance and other transmitters nearby; then do this again."
            findings.append(Finding("signal-broke-off", words, advice))
    return findings


# What is shown


def _moves(channels: Channels, reading: _Reading) -> list[tuple[FloatArray, FloatArray]]:
    return [
        (channels.at_s[one.samples], channels.of(reading.answers[one.stick].channel)[one.samples])
        for one in reading.windows
        if one.stick in reading.answers
    ]


def _measured(
    answers: Mapping[Stick, _Answer], setup: ReceiverSetup, frames: FrameTiming, channels: Channels
) -> list[Measured]:
    told = []
    for stick in STICK_ORDER:
        if stick in answers:
            told += _measured_stick(answers[stick], setup)
    stream_hz = 1 / channels.step_s
    if frames.is_bound_by_stream:
        words = f"not shown: a stream of {stream_hz:.0f} Hz can show no more"
    else:
        words = f"as a stream of {stream_hz:.0f} Hz shows it"
    told.append(Measured("receiver frames, at least", frames.rate_hz, "Hz", words))
    if not np.isnan(frames.lost_share):
        limit = f"at most {100 * LOST.value:.0f} %"
        told.append(Measured("receiver frames lost", 100 * frames.lost_share, "%", limit, not frames.has_lost_many))
    return told


def _measured_stick(answer: _Answer, setup: ReceiverSetup) -> list[Measured]:
    name, off = answer.stick, abs(answer.rest_us - setup.middle_us)
    named = setup.channel_of.get(answer.stick)
    centre = max(CENTRE_OFF.value, setup.dead_us)
    rows = [
        Measured(f"{name}: channel", float(answer.channel), "", f"settings: {named}", answer.channel == named),
        Measured(
            f"{name}: movement of the next channel", 100 * answer.margin, "%", f"at most {100 * CLEAR.value:.0f} %"
        ),
        Measured(
            f"{name}: low end",
            answer.lowest_us,
            "us",
            f"at most {setup.low_us:.0f} us, {END_SHORT.value:.0f} allowed",
            answer.lowest_us <= setup.low_us + END_SHORT.value,
        ),
        Measured(
            f"{name}: high end",
            answer.highest_us,
            "us",
            f"at least {setup.high_us:.0f} us, {END_SHORT.value:.0f} allowed",
            answer.highest_us >= setup.high_us - END_SHORT.value,
        ),
    ]
    if answer.stick is not Stick.THRUST:
        limit = f"within {centre:.0f} us of {setup.middle_us:.0f}"
        rows.append(Measured(f"{name}: rest", answer.rest_us, "us", limit, off <= centre))
        need = f"the settings have {setup.dead_us:.0f}"
        rows.append(Measured(f"{name}: dead zone needed to each side", _dead_zone_need(answer, setup), "us", need))
    limit = f"at most {JITTER.value:.0f} us"
    rows.append(Measured(f"{name}: jitter at rest", answer.jitter_us, "us", limit, answer.jitter_us <= JITTER.value))
    return rows


def _grid(answers: Mapping[Stick, _Answer], setup: ReceiverSetup, as_found: ReceiverSetup | None) -> Grid:
    rows = [("stick", "heard on", "set", "as found", "way round", "set", "as found")]
    for stick in STICK_ORDER:
        answer = answers.get(stick)
        rows.append(
            (
                str(stick),
                "not shown" if answer is None else str(answer.channel),
                str(setup.channel_of.get(stick, "not known")),
                "" if as_found is None else str(as_found.channel_of.get(stick, "not known")),
                _way_words(None if answer is None else answer.is_reversed),
                _way_words(setup.is_reversed.get(stick, False)),
                "" if as_found is None else _way_words(as_found.is_reversed.get(stick, False)),
            )
        )
    return Grid("Sticks and channels", tuple(rows))


def _way_words(is_reversed: bool | None) -> str:  # noqa: FBT001
    return "not shown" if is_reversed is None else "turned round" if is_reversed else "straight"


def _figures(channels: Channels, reading: _Reading) -> list[Figure]:
    curves = []
    for stick in STICK_ORDER:
        if stick in reading.answers:
            channel = reading.answers[stick].channel
            points = thinned(zip(channels.at_s, channels.of(channel), strict=True))
            curves.append(Curve(f"{stick} (channel {channel})", points))
    if not curves:
        return []
    return [Figure("Sticks as the aircraft hears them", "time", "s", "pulse", "us", tuple(curves))]
