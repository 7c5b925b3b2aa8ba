"""What the aircraft answers as its switches are moved, against what the settings say.

An answer is compared only where the switch has stood on one side of its range for the reaction time, so that neither a
slow answer nor a switch on its way counts as wrong. What was not moved, not heard or not answered is not shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from rotorwright.bench.arming_logic import can_arm_by_switch
from rotorwright.bench.switches import (
    ENDS_HIGH_US,
    ENDS_LOW_US,
    LONGEST_GAP_S,
    REACH_HIGH_US,
    REACH_LOW_US,
    SAME_PLACE_US,
    SURE_HIGH_US,
    SURE_LOW_US,
    Hold,
    Switching,
    holds_seen,
    stretches,
)
from rotorwright.bench.verdicts import Curve, Figure, Finding, Grid, Measured, thinned

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from rotorwright.bench.records import AnswerRecord, ChannelRecord, FloatArray
    from rotorwright.bench.switches import ArmingSetup

BitArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]

# All of them common practice, no source.
REACTION_S: Final = 0.5  # the aircraft has answered a move of a switch after it
EARLY_S: Final = 0.15  # so much the times of channels and answers may differ
EDGE_US: Final = 20.0  # a position nearer to an end of a range flickers when the receiver jitters or drifts
EDGE_HOLD_S: Final = 0.5
STRANGE_SHARE: Final = 0.02  # of samples outside 800 to 2200 microseconds, before the unit is doubted
LATE_S: Final = 1.5  # an answer that comes so late may be a slow link; later, the switch does not do it
SLOWEST_CHANNELS_S: Final = 0.5  # between two samples, middle value
SLOWEST_ANSWERS_S: Final = 2.0
HIGHEST_BIT: Final = 62


@dataclass(frozen=True, slots=True)
class AnswersCompared:
    """What came out of the comparison."""

    findings: tuple[Finding, ...]
    measured: tuple[Measured, ...] = ()
    figures: tuple[Figure, ...] = ()
    grids: tuple[Grid, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Said:
    """Cleaned answers: times, armed or not, bit field."""

    at_s: FloatArray
    is_armed: BoolArray
    mode_bits: BitArray


@dataclass(frozen=True, slots=True, eq=False)
class _Moved:
    """One hold of the arming switch: whether arming was expected, and what the aircraft said once it had settled."""

    hold: Hold
    is_expected: bool
    answers: int
    armed: int
    is_after_off: bool
    is_thrust_low: bool
    first_armed_s: float | None


def compare_answers(
    setup: ArmingSetup,
    channels: ChannelRecord | None,
    answers: AnswerRecord | None,
    *,
    mode_bit_of: Mapping[str, int],
    reaction_s: float = REACTION_S,
) -> AnswersCompared:
    """Return what the aircraft's own answers show.

    Args:
        setup: what the settings say.
        channels: the receiver's channels while the switches were moved; None if that was not done.
        answers: what the aircraft said meanwhile, on the same clock.
        mode_bit_of: number of the bit (0 is the lowest) of each function.
        reaction_s: time that the aircraft may take to answer a move.
    """
    if channels is None or answers is None:
        return AnswersCompared(
            (
                _missing(
                    "not-measured", "No switch was moved while the aircraft answered: only the settings are judged."
                ),
            )
        )
    trouble = _channel_trouble(channels, setup) or _answer_trouble(answers)
    if trouble:
        return AnswersCompared((_missing("record-unusable", trouble, advice="Measure again."),))
    said = _cleaned(answers)
    arming = _arming(setup, channels, said, reaction_s)
    functions = _functions(setup, channels, said, mode_bit_of, reaction_s)
    return AnswersCompared(
        (*arming.findings, *functions.findings, *_near_edges(setup, channels)),
        (*arming.measured, *functions.measured),
        arming.figures,
        (*arming.grids, *functions.grids),
    )


def _missing(kind: str, words: str, *, advice: str = "") -> Finding:
    usual = "Propellers off. Move each switch through its positions, hold each for two seconds, and back."
    return Finding(kind, words, advice or usual, is_missing=True)


# Whether the records can be used at all


def _time_trouble(at_s: FloatArray, *, what: str, slowest_s: float) -> str:
    if at_s.ndim != 1 or len(at_s) < 5:
        return f"The record of {what} has only {at_s.size} rows: nothing can be seen in it."
    if not np.all(np.isfinite(at_s)):
        return f"The record of {what} has times that are no numbers."
    steps = np.diff(at_s)
    if np.any(steps < 0):
        return f"The clock of the record of {what} jumps back at {at_s[int(np.argmax(steps < 0))]:.2f} s."
    middle = float(np.median(steps))
    if middle <= 0:
        return f"The times in the record of {what} stand still."
    if middle > slowest_s:
        return (
            f"In the record of {what} there are {middle:.3g} s between two rows: too slow (limit {slowest_s:g} s), "
            "or its times are not seconds."
        )
    return ""


def _channel_trouble(record: ChannelRecord, setup: ArmingSetup) -> str:
    at_s, pulses_us = np.asarray(record.at_s, dtype=float), np.asarray(record.pulses_us, dtype=float)
    if pulses_us.ndim != 2 or at_s.shape != pulses_us.shape[:1]:
        return "The record of the channels has not as many times as rows."
    if record.is_signal is not None and np.shape(record.is_signal) != at_s.shape:
        return "The record of the channels has not as many signal marks as rows."
    trouble = _time_trouble(at_s, what="the channels", slowest_s=SLOWEST_CHANNELS_S)
    return trouble or _pulse_trouble(pulses_us, setup)


def _pulse_trouble(pulses_us: FloatArray, setup: ArmingSetup) -> str:
    for channel in (one for one in setup.on_channels if 1 <= one <= pulses_us.shape[1]):
        column = pulses_us[:, channel - 1]
        heard = column[np.isfinite(column)]
        strange = heard[(heard < REACH_LOW_US) | (heard > REACH_HIGH_US)]
        if strange.size > STRANGE_SHARE * heard.size:
            return (
                f"Channel {channel} is recorded from {heard.min():g} to {heard.max():g}: these are no pulses in "
                f"microseconds ({REACH_LOW_US:g} to {REACH_HIGH_US:g})."
            )
    if not np.any(np.isfinite(pulses_us)):
        return "No channel has a pulse in any row: the receiver was not heard."
    if np.all((pulses_us == pulses_us[0]) | np.isnan(pulses_us)):
        return "Every channel stands still to the last digit: nothing was moved, or the record is frozen."
    return ""


def _answer_trouble(record: AnswerRecord) -> str:
    at_s = np.asarray(record.at_s, dtype=float)
    if np.shape(record.is_armed) != at_s.shape or np.shape(record.mode_bits) != at_s.shape:
        return "The record of the aircraft's answers has not as many answers as times."
    trouble = _time_trouble(at_s, what="the aircraft's answers", slowest_s=SLOWEST_ANSWERS_S)
    if trouble:
        return trouble
    if not np.any(_is_plain(record)):
        return "The aircraft's answers say neither armed nor disarmed."
    return ""


def _is_plain(record: AnswerRecord) -> BoolArray:
    armed = np.asarray(record.is_armed, dtype=float)
    bits = np.asarray(record.mode_bits)
    is_plain = (armed == 0.0) | (armed == 1.0)
    if bits.dtype.kind not in "iub":  # a bit field that came through a table of floats
        is_plain &= np.isfinite(bits) & (np.abs(bits) < 2.0**53) & (np.floor(bits) == bits)
    return np.asarray(is_plain, dtype=np.bool_)


def _cleaned(record: AnswerRecord) -> _Said:
    keep = _is_plain(record)
    return _Said(
        np.asarray(record.at_s, dtype=float)[keep],
        np.asarray(record.is_armed, dtype=float)[keep] > 0.5,
        np.asarray(record.mode_bits)[keep].astype(np.int64),
    )


# What the switches ask for at the time of each answer


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """What the switches ask for: (n,) times, 1.0 on, 0.0 off, NaN not known, and whether one of them just moved."""

    at_s: FloatArray
    is_on: FloatArray
    is_moved: BoolArray


def _asked(record: ChannelRecord, switchings: Sequence[Switching]) -> _Asked:
    at_s, pulses_us = np.asarray(record.at_s, dtype=float), np.asarray(record.pulses_us, dtype=float)
    asked, is_moved = np.zeros(len(at_s)), np.zeros(len(at_s), dtype=np.bool_)
    for one in switchings:
        if not 1 <= one.channel <= pulses_us.shape[1]:
            return _Asked(at_s, np.full(len(at_s), np.nan), is_moved)
        column = pulses_us[:, one.channel - 1]
        is_known = (column >= REACH_LOW_US) & (column <= REACH_HIGH_US)
        is_on = (column >= one.lowest_us) & (column <= one.highest_us)
        asked = np.where(is_known, np.maximum(asked, is_on), np.nan)
        is_moved |= _is_moved(column, is_known)
    if record.is_signal is not None:
        asked = np.where(np.asarray(record.is_signal, dtype=float) > 0.5, asked, np.nan)
    return _Asked(at_s, asked, is_moved)


def _is_moved(column: FloatArray, is_known: BoolArray) -> BoolArray:
    """Return where a channel is at another place than in the frame heard before."""
    moved = np.zeros(len(column), dtype=np.bool_)
    rows = np.flatnonzero(is_known)
    moved[rows[1:]] = np.abs(np.diff(column[rows])) > SAME_PLACE_US
    return moved


def _settled(asked: _Asked, at_s: FloatArray, reaction_s: float) -> FloatArray:
    """Return what is asked for at the time of each answer, NaN where the switch has not settled or was not heard.

    Settled: the same from `reaction_s` before the answer to the first frame after it and the allowed difference of the
    clocks, without a silence, and without a move: on its way the switch may have passed a range that no frame tells of.
    """
    heard = np.isfinite(asked.is_on)  # a frame in error is as if it had not come
    times, is_on = asked.at_s[heard], asked.is_on[heard]
    if not times.size:
        return np.full(len(at_s), np.nan)
    first = np.searchsorted(times, at_s - reaction_s, side="right") - 1
    last = np.searchsorted(times, at_s + EARLY_S, side="right")
    is_inside = (first >= 0) & (last < len(times))
    first, last = np.clip(first, 0, len(times) - 1), np.clip(last, 0, len(times) - 1)
    is_broken = asked.is_moved[heard] | np.concatenate([[False], np.diff(times) > LONGEST_GAP_S])
    on, broken = (np.concatenate([[0], np.cumsum(one)]) for one in (is_on == 1, is_broken))
    ons = on[last + 1] - on[first]
    is_inside &= broken[last + 1] == broken[first + 1]
    expected = np.where(ons == last + 1 - first, 1.0, np.where(ons == 0, 0.0, np.nan))
    return np.where(is_inside, expected, np.nan)


# Arming


def _arming(setup: ArmingSetup, channels: ChannelRecord, said: _Said, reaction_s: float) -> AnswersCompared:
    ranges = [one for one in setup.every if one.function == setup.arming.function and one.is_readable]
    if not ranges:
        return _arming_without_switch(setup, said)
    asked = _asked(channels, ranges)
    expected = _settled(asked, said.at_s, reaction_s)
    wrong = _armed_outside(setup, channels, asked.is_on, expected, said)
    figure = _arming_figure(asked, said)
    if not can_arm_by_switch(setup):  # that it cannot be armed is a finding of the settings already
        return AnswersCompared(tuple(wrong), figures=figure)
    holds = holds_seen(channels, setup.arming.channel)
    moved = list(_each_hold(setup, channels, holds, expected, said))
    findings = (*wrong, *_arming_seen(setup, moved, said, is_judged=bool(np.any(np.isfinite(expected)))))
    return AnswersCompared(
        findings, tuple(_arming_numbers(moved, reaction_s)), figure, tuple(_moves_grid(setup, moved))
    )


def _arming_without_switch(setup: ArmingSetup, said: _Said) -> AnswersCompared:
    if not np.any(said.is_armed):
        words = "Arming by the sticks was not seen." if setup.arms_by_stick else ""
        return AnswersCompared((_missing("never-armed", words),) if words else ())
    if setup.arms_by_stick:
        return AnswersCompared((_missing("armed-by-stick", "It armed without a switch: by the sticks, or by itself."),))
    words = "The aircraft says that it is armed, though no switch and no stick arms it by its settings."
    return AnswersCompared((Finding("arms-outside-range", words, _OUTSIDE_ADVICE, is_dangerous=True),))


_OUTSIDE_ADVICE: Final = (
    "Unplug the battery. Propellers stay off until the arming channel, its range and the receiver's channel map agree."
)


def _armed_outside(
    setup: ArmingSetup, channels: ChannelRecord, asked: FloatArray, expected: FloatArray, said: _Said
) -> Iterator[Finding]:
    wrong = np.flatnonzero((expected == 0) & said.is_armed)
    if not wrong.size:
        return
    moment = float(said.at_s[wrong[0]])
    where = _position_words(channels, setup.arming.channel, moment)
    if setup.arms_by_stick:
        yield _missing(
            "armed-without-switch",
            f"At {moment:.1f} s it was armed while {where}, outside its range. The sticks arm too: "
            "whether it was them is not shown.",
            advice="Measure again with hands off the sticks.",
        )
    elif _was_armed_before(channels, asked, said, moment):
        yield _stays_armed(channels, asked, said, wrong, where)
    else:
        yield Finding(
            "arms-outside-range",
            f"At {moment:.1f} s the aircraft was armed while {where}, where it must not be armed.",
            _OUTSIDE_ADVICE,
            is_dangerous=True,
        )


def _stays_armed(
    channels: ChannelRecord, asked: FloatArray, said: _Said, wrong: NDArray[np.intp], where: str
) -> Finding:
    """Say that it was armed when the switch left its range, and still is; or that it only answered late."""
    times = np.asarray(channels.at_s, dtype=float)
    on_s = times[asked == 1]
    before = np.searchsorted(on_s, said.at_s[wrong]) - 1
    late_s = float(np.max(np.where(before >= 0, said.at_s[wrong] - on_s[before], np.inf)))
    is_disarmed_after = wrong[-1] + 1 < len(said.at_s)
    if late_s <= LATE_S and is_disarmed_after:
        return _missing(
            "answers-late",
            f"It was still armed {late_s:.1f} s after its switch left the range, then disarmed. "
            "A slow link or a slow aircraft: which is not shown.",
            advice="Measure again over the cable, with nothing else on the link.",
        )
    return Finding(
        "stays-armed",
        f"The switch left its range, but the aircraft was still armed {late_s:.1f} s later while {where}: "
        "the switch does not stop the motors.",
        _OUTSIDE_ADVICE,
        is_dangerous=True,
    )


def _was_armed_before(channels: ChannelRecord, asked: FloatArray, said: _Said, moment: float) -> bool:
    """Say whether it was armed when the switch last left its range, and from then on."""
    times = np.asarray(channels.at_s, dtype=float)
    on = np.flatnonzero((asked == 1) & (times < moment))
    if not on.size:
        return False
    first = int(np.searchsorted(said.at_s, times[on[-1]], side="right")) - 1
    return bool(first >= 0 and np.all(said.is_armed[first : np.searchsorted(said.at_s, moment) + 1]))


def _position_words(channels: ChannelRecord, channel: int, moment: float) -> str:
    pulses_us = np.asarray(channels.pulses_us, dtype=float)
    if not 1 <= channel <= pulses_us.shape[1]:
        return f"channel {channel} is not there"
    row = int(np.searchsorted(np.asarray(channels.at_s, dtype=float), moment, side="right")) - 1
    return f"its switch (channel {channel}) stood at {pulses_us[max(0, row), channel - 1]:.0f} µs"


def _each_hold(
    setup: ArmingSetup, channels: ChannelRecord, holds: Sequence[Hold], expected: FloatArray, said: _Said
) -> Iterator[_Moved]:
    was_off = False
    for hold in holds:
        is_expected = setup.arming.is_on(hold.pulse_us)
        inside = (said.at_s >= hold.start_s) & (said.at_s <= hold.end_s)
        settled = inside & (expected == float(is_expected))
        armed = np.flatnonzero(inside & said.is_armed)
        yield _Moved(
            hold,
            is_expected,
            answers=int(settled.sum()),
            armed=int((settled & said.is_armed).sum()),
            is_after_off=was_off,
            is_thrust_low=_is_thrust_low(setup, channels, hold),
            first_armed_s=float(said.at_s[armed[0]]) - hold.start_s if armed.size else None,
        )
        was_off = was_off or not is_expected


def _is_thrust_low(setup: ArmingSetup, channels: ChannelRecord, hold: Hold) -> bool:
    pulses_us = np.asarray(channels.pulses_us, dtype=float)
    if not setup.asks_thrust_low or not 1 <= setup.thrust_channel <= pulses_us.shape[1]:
        return True
    times = np.asarray(channels.at_s, dtype=float)
    thrust_us = pulses_us[(times >= hold.start_s) & (times <= hold.end_s), setup.thrust_channel - 1]
    heard = thrust_us[np.isfinite(thrust_us)]
    return bool(not heard.size or np.any(heard <= setup.thrust_low_us))


def _arming_seen(setup: ArmingSetup, moved: Sequence[_Moved], said: _Said, *, is_judged: bool) -> Iterator[Finding]:
    channel = setup.arming.channel
    if not is_judged:
        words = f"Channel {channel} and the aircraft's answers were never heard together for long enough."
        yield _missing("nothing-to-compare", words)
        return
    tries = [one for one in moved if one.is_expected and one.is_after_off and one.answers]
    if not tries:
        yield _nothing_moved(setup, moved)
    elif not np.any(said.is_armed):
        yield _never_armed(tries)
    else:
        yield from _refused(tries)
        yield from _disarmed(moved)


def _nothing_moved(setup: ArmingSetup, moved: Sequence[_Moved]) -> Finding:
    channel = setup.arming.channel
    if any(one.is_expected and one.is_after_off for one in moved):
        words = f"The arming switch (channel {channel}) was not held long enough for the aircraft to answer."
        return _missing("held-too-short", words)
    if len(moved) < 2:
        return _missing("switch-not-moved", f"The arming switch (channel {channel}) was not moved.")
    words = f"The arming switch (channel {channel}) was moved, but never from outside its range into it."
    return _missing("arm-range-not-reached", words)


def _never_armed(tries: Sequence[_Moved]) -> Finding:
    times = "once" if len(tries) == 1 else f"{len(tries)} times"
    if not any(one.is_thrust_low for one in tries):
        reason = "The thrust stick was not low, and then arming is refused."
        todo = "Lower the thrust stick and move the switch again."
    else:
        reason = (
            "It may refuse for another reason: no battery, a sensor still settling, the aircraft leaning, or no "
            "satellites. Whether the switch arms is not shown."
        )
        todo = "Ask the aircraft for its reason not to arm, clear it, propellers off, and move the switch again."
    words = f"The switch went into the arming range {times}, and the aircraft said each time that it is not armed."
    return _missing("never-armed", f"{words} {reason}", advice=todo)


def _refused(tries: Sequence[_Moved]) -> Iterator[Finding]:
    fair = [one for one in tries if one.is_thrust_low]
    refused = [one for one in fair if not one.armed]
    if len(refused) == len(fair):  # armed only outside the range, or only where thrust hid the reason
        return
    for first in _first_of_each_place(refused):
        pulse_us = first.hold.pulse_us
        here = [one for one in fair if abs(one.hold.pulse_us - pulse_us) <= SAME_PLACE_US]
        if len(here) > 1 and not any(one.armed for one in here):
            yield Finding(
                "does-not-arm",
                f"At {pulse_us:.0f} µs the switch is inside the arming range, but the aircraft never armed there, "
                "though it armed elsewhere.",
                "Read the settings again: what the aircraft does is not what they say. Do not fly until it agrees.",
            )
        else:
            words = f"At {pulse_us:.0f} µs the aircraft did not arm, and at another time it did. Why is not shown."
            yield _missing("armed-not-every-time", words)


def _first_of_each_place(moved: Sequence[_Moved]) -> list[_Moved]:
    kept: list[_Moved] = []
    for one in moved:
        if all(abs(one.hold.pulse_us - other.hold.pulse_us) > SAME_PLACE_US for other in kept):
            kept.append(one)
    return kept


def _disarmed(moved: Sequence[_Moved]) -> Iterator[Finding]:
    armed = [one.hold.end_s for one in moved if one.is_expected and one.armed]
    if not armed:
        yield _missing("armed-not-seen", "The aircraft was armed, but not while its switch stood in the range.")
        return
    if not any(
        not one.is_expected and one.answers and one.hold.start_s > armed[0] - SLOWEST_CHANNELS_S for one in moved
    ):
        yield _missing(
            "disarm-not-seen", "The switch was not moved out of its range again: that it disarms is not shown."
        )


def _arming_numbers(moved: Sequence[_Moved], reaction_s: float) -> Iterator[Measured]:
    yield Measured("holds of the arming switch", float(len(moved)), "")
    armed = [one for one in moved if one.is_expected and one.armed]
    yield Measured("holds in which it armed", float(len(armed)), "")
    waits = [one.first_armed_s for one in armed if one.is_after_off and one.first_armed_s is not None]
    if waits:
        # Only told: an aircraft may wait on purpose before it arms, and a slow link adds to it.
        yield Measured("slowest answer to the arming switch", max(waits), "s", f"usual up to {reaction_s:g} s")


def _moves_grid(setup: ArmingSetup, moved: Sequence[_Moved]) -> Iterator[Grid]:
    rows = [("From (s)", "Channel", "Pulse (µs)", "By the settings", "The aircraft said")]
    for one in moved[:12]:
        expected = "armed" if one.is_expected else "not armed"
        answer = "nothing in time" if not one.answers else "armed" if one.armed else "not armed"
        start, pulse = f"{one.hold.start_s:.1f}", f"{one.hold.pulse_us:.0f}"
        rows.append((start, str(setup.arming.channel), pulse, expected, answer))
    if len(rows) > 1:
        yield Grid("The arming switch as it was moved", tuple(rows))


def _arming_figure(asked: _Asked, said: _Said) -> tuple[Figure, ...]:
    known = np.isfinite(asked.is_on)
    if not known.any() or not said.at_s.size:
        return ()
    wanted = Curve(
        "asked by the switch", thinned(zip(asked.at_s[known], asked.is_on[known], strict=True)), is_expected=True
    )
    answer = Curve("armed, says the aircraft", thinned(zip(said.at_s, said.is_armed.astype(float), strict=True)))
    return (
        Figure("The arming switch and the aircraft's answer", "time", "s", "armed", "1 yes, 0 no", (wanted, answer)),
    )


# The other functions


def _functions(
    setup: ArmingSetup, channels: ChannelRecord, said: _Said, mode_bit_of: Mapping[str, int], reaction_s: float
) -> AnswersCompared:
    findings: list[Finding] = []
    rows: list[tuple[str, ...]] = [("Function", "Answers while on", "of them on", "Answers while off", "of them on")]
    for name in dict.fromkeys(one.function for one in setup.functions if one.function != setup.arming.function):
        ranges = [one for one in setup.every if one.function == name and _is_judged(setup, one)]
        if not ranges:
            continue
        bit = mode_bit_of.get(name, -1)
        if not 0 <= bit <= HIGHEST_BIT:
            words = f"The release book does not say by which bit the aircraft tells that {name} is on."
            findings.append(_missing("function-not-told", words, advice=f"See by eye that {name} follows its switch."))
            continue
        expected = _settled(_asked(channels, ranges), said.at_s, reaction_s)
        is_on = (said.mode_bits >> bit) & 1 == 1
        findings += _function_findings(setup, name, ranges, expected, is_on)
        counts = [int(np.sum(part)) for part in _four(expected, is_on)]
        rows.append((name, *map(str, counts)))
    grids = (Grid("Functions: the aircraft's answers", tuple(rows)),) if len(rows) > 1 else ()
    return AnswersCompared(tuple(findings), grids=grids)


def _is_judged(setup: ArmingSetup, one: Switching) -> bool:
    is_there = one.is_readable and 1 <= one.channel <= setup.channels
    return is_there and one.lowest_us < one.highest_us and one.meets(ENDS_LOW_US, ENDS_HIGH_US)


def _four(expected: FloatArray, is_on: BoolArray) -> tuple[BoolArray, BoolArray, BoolArray, BoolArray]:
    asked, free = expected == 1, expected == 0
    return asked, asked & is_on, free, free & is_on


def _function_findings(
    setup: ArmingSetup, name: str, ranges: Sequence[Switching], expected: FloatArray, is_on: BoolArray
) -> Iterator[Finding]:
    asked, right, free, wrong = (int(np.sum(part)) for part in _four(expected, is_on))
    where = " or ".join(f"{one.lowest_us:g} to {one.highest_us:g} µs on channel {one.channel}" for one in ranges)
    is_with_arming = any(name in pair and setup.arming.function in pair for pair in setup.exclusive)
    if right < asked:
        yield Finding(
            "function-not-on",
            f"{name[:1].upper() + name[1:]} should be on at {where}; in {asked - right} of {asked} answers the "
            "aircraft said that it is off. It may have a reason of its own, as a function that needs satellites has.",
            "Ask the aircraft why; if it gives no reason, read the settings again: it does not do what they say.",
        )
    if wrong:
        yield Finding(
            "function-on-outside",
            f"{name[:1].upper() + name[1:]} should be on only at {where}; the aircraft said {wrong} times "
            "elsewhere that it is on.",
            "Look for another switch or a stick that switches it on, and at the receiver's channel map.",
            is_dangerous=is_with_arming,
        )
    if not asked or (not free and _has_off(ranges)):
        state = "on" if not asked else "off"
        yield _missing(
            "function-not-moved", f"The switch of {name} was not held where it is {state}: {where} is its range."
        )


def _has_off(ranges: Sequence[Switching]) -> bool:
    """Say whether some position that every switch reaches leaves the function off."""
    for channel in {one.channel for one in ranges}:
        parts = stretches(ranges, channel)
        if not any(not one.on and one.lowest_us < SURE_HIGH_US and one.highest_us > SURE_LOW_US for one in parts):
            return False
    return True


# Positions too near to an end of a range


def _near_edges(setup: ArmingSetup, channels: ChannelRecord) -> Iterator[Finding]:
    for one in setup.every:
        if not one.is_readable or one.lowest_us >= one.highest_us:
            continue
        for hold in holds_seen(channels, one.channel):
            gap = min(abs(hold.pulse_us - one.lowest_us), abs(hold.pulse_us - one.highest_us))
            if gap <= EDGE_US and hold.end_s - hold.start_s >= EDGE_HOLD_S:
                yield Finding(
                    "position-near-edge",
                    f"Channel {one.channel} stood at {hold.pulse_us:.0f} µs, only {gap:.0f} µs from an end of the "
                    f"range of {one.function} ({one.lowest_us:g} to {one.highest_us:g} µs): it may flicker in the air.",
                    f"Widen or move the range so that each position is at least {EDGE_US:g} µs from its ends.",
                    is_dangerous=one is setup.arming,
                )
                break
