"""Receiver: which channel carries which stick, which way round, how far, how steadily.

A person moves one stick after the other. Which channel answers which stick is solved as an assignment over all sticks
at once: the pairing with the largest movement in all (Kuhn 1955, Munkres 1957; scipy.optimize.linear_sum_assignment).
A wrong map or a stick the wrong way round is dangerous. What was not seen is never taken for right.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.receiver_answers import CLEAR, MOVED, Reading, StickAnswer, read_sticks, standing_still
from rotorwright.bench.receiver_evidence import Channels, Limit, smoothed, timing_trouble, usable_channels
from rotorwright.bench.receiver_findings import (
    CENTRE_OFF,
    END_SHORT,
    JITTER,
    dead_zone_need,
    frame_findings,
    impossible_map,
    map_findings,
    mixing_findings,
    reversal_findings,
    signal_findings,
    travel_findings,
)
from rotorwright.bench.receiver_frames import LOST, FrameTiming, frame_timing
from rotorwright.bench.receiver_sticks import (
    STICK_ORDER,
    End,
    ReceiverSetup,
    Stick,
    StickWindow,
    stick_names,
    stick_words,
)
from rotorwright.bench.verdicts import CheckResult, Curve, Figure, Finding, Grid, Measured, judged, thinned

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.bench.records import ChannelRecord, FloatArray

__all__ = ["STICK_ORDER", "End", "ReceiverSetup", "Stick", "StickWindow", "judge_receiver", "stick_done", "stick_words"]

_PRACTICE = "common practice, no source"

SETTLED = Limit(0.4, "s", _PRACTICE)
BACK = Limit(40.0, "us", _PRACTICE + ": how close to its rest a stick comes back")
OFF_MIDDLE = Limit(250.0, "us", _PRACTICE + ": a stick that rests farther from 1500 us rests at an end")

_MIDDLE_US = 1500.0


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
        return judged("receiver", sentence="", findings=[*impossible_map(setup, None), channels])
    still = standing_still(channels, windows)
    if still is not None and still.is_missing:
        return judged("receiver", sentence="", findings=[*impossible_map(setup, channels), still])
    reading = read_sticks(channels, windows, setup)
    frames = frame_timing(_moves(channels, reading), step_s=channels.step_s)
    findings = [
        *impossible_map(setup, channels),
        *map_findings(reading.answers, setup, as_found),
        *reversal_findings(reading.answers, setup, as_found),
        *travel_findings(reading.answers, setup),
        *mixing_findings(channels, reading),
        *frame_findings(frames),
        *signal_findings(channels, reading),
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
    named = stick_names(changed)
    return f"{words} Another channel than when the aircraft was found: {named}; the transmitter was changed too."


# What is shown


def _moves(channels: Channels, reading: Reading) -> list[tuple[FloatArray, FloatArray]]:
    return [
        (channels.at_s[one.samples], channels.of(reading.answers[one.stick].channel)[one.samples])
        for one in reading.windows
        if one.stick in reading.answers
    ]


def _measured(
    answers: Mapping[Stick, StickAnswer], setup: ReceiverSetup, frames: FrameTiming, channels: Channels
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


def _measured_stick(answer: StickAnswer, setup: ReceiverSetup) -> list[Measured]:
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
        rows.append(Measured(f"{name}: dead zone needed to each side", dead_zone_need(answer, setup), "us", need))
    limit = f"at most {JITTER.value:.0f} us"
    rows.append(Measured(f"{name}: jitter at rest", answer.jitter_us, "us", limit, answer.jitter_us <= JITTER.value))
    return rows


def _grid(answers: Mapping[Stick, StickAnswer], setup: ReceiverSetup, as_found: ReceiverSetup | None) -> Grid:
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


def _figures(channels: Channels, reading: Reading) -> list[Figure]:
    curves = []
    for stick in STICK_ORDER:
        if stick in reading.answers:
            channel = reading.answers[stick].channel
            points = thinned(zip(channels.at_s, channels.of(channel), strict=True))
            curves.append(Curve(f"{stick} (channel {channel})", points))
    if not curves:
        return []
    return [Figure("Sticks as the aircraft hears them", "time", "s", "pulse", "us", tuple(curves))]
