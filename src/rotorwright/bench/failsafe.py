"""Failsafe: what the aircraft does when the transmitter falls silent, after how long, and when it is heard again.

The transmitter is switched off by hand on request, propellers off, sticks at rest. An aircraft that does not notice
flies on with the last command; so nothing noticed, motors still armed, or thrust handed over above low is dangerous.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.receiver import ReceiverSetup, Stick
from rotorwright.bench.receiver_evidence import (
    HIGHEST_PULSE,
    LONGEST_GAP,
    LOWEST_PULSE,
    SHARE_PRESENT,
    Limit,
    readable_pulses,
    timing_trouble,
)
from rotorwright.bench.verdicts import CheckResult, Curve, Figure, Finding, Measured, judged, missing, thinned

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rotorwright.bench.records import AnswerRecord, ChannelRecord, FloatArray

_PRACTICE = "common practice, no source"

RECEIVER_NOTICES = Limit(1.0, "s", _PRACTICE + ": receivers call the link lost after up to a second without a frame")
HAND = Limit(1.0, "s", _PRACTICE + ": between the word and the moment in which the transmitter is silent")
LONGEST_WAIT = Limit(1.0, "s", _PRACTICE + ": taken where no setting tells the wait")
WATCHED_AFTER = Limit(0.5, "s", _PRACTICE + ": how long the end state must have been seen")
RECOVERY = Limit(6.0, "s", _PRACTICE + ": a receiver finds its transmitter again within seconds")
BEFORE = Limit(0.5, "s", _PRACTICE)
STEP = Limit(25.0, "us", _PRACTICE + ": more than noise and trim")
SWAY = Limit(120.0, "us", _PRACTICE + ": a stick that moves so far to and fro is moved by somebody")
ANSWER_GAP = Limit(2.0, "s", _PRACTICE + ": such answers come once a second or oftener")
ABOVE_LOW = Limit(20.0, "us", _PRACTICE + ": 2 % of the travel")

_LET_IT_TELL = "Let the aircraft tell all the time whether it is armed, and do it once more."
_SET_RECEIVER = (
    "Set the receiver's failsafe to send nothing, or to say that the signal is lost; "
    "do this once more, and do not fly before."
)


class Reaction(StrEnum):
    """What became of the channels after the transmitter fell silent."""

    PRESET = "went to preset values"
    HELD = "stayed at their last values"
    GONE = "were gone"
    LIVE = "went on changing"


@dataclass(frozen=True, slots=True)
class _Seen:
    """What was seen after the switching off; times in seconds after it, None where it did not happen."""

    reaction: Reaction
    changed_after_s: float | None
    said_after_s: float | None
    disarmed_after_s: float | None
    mode_after_s: float | None
    is_said_at_end: bool
    is_stirring: bool
    is_moved_by_hand: bool
    is_armed_at_end: bool
    silent_s: float
    before: FloatArray
    after: FloatArray

    @property
    def noticed_after_s(self) -> float | None:
        """When the aircraft first showed that it knows: it said so, disarmed, changed its mode, or has no channels."""
        gone = self.changed_after_s if self.reaction is Reaction.GONE else None
        said = self.said_after_s if self.is_said_at_end else None
        if self.reaction is Reaction.LIVE:
            return said
        told = [one for one in (said, self.disarmed_after_s, self.mode_after_s, gone) if one is not None]
        return min(told) if told else None


def judge_failsafe(
    record: ChannelRecord,
    answers: AnswerRecord | None,
    *,
    off_at_s: float,
    on_again_s: float | None,
    setup: ReceiverSetup,
    was_armed: bool,
) -> CheckResult:
    """Judge what happened when the transmitter was switched off.

    Args:
        record: channels from a second before to some seconds after; NaN where the aircraft told none.
        answers: what the aircraft said of itself, over the same time; None if it says nothing.
        off_at_s: when the transmitter was switched off, on the record's clock.
        on_again_s: when it was switched on again; None if it was not.
        setup: what the settings say of channels, wait and action.
        was_armed: whether the motors were armed (propellers off).
    """
    limit_s = _limit_s(setup)
    was_armed = was_armed or _is_armed_at(answers, off_at_s)
    until_s = float("inf") if on_again_s is None else on_again_s
    trouble = _trouble(record, answers, off_at_s=off_at_s, until_s=until_s, limit_s=limit_s, was_armed=was_armed)
    if trouble is not None:
        return judged("failsafe", sentence="", findings=[trouble])
    seen = _seen(record, answers, off_at_s=off_at_s, until_s=until_s)
    findings = _findings(seen, setup, limit_s=limit_s, was_armed=was_armed)
    recovery, recovered_s = _recovery(record, answers, on_again_s, was_disarmed=seen.disarmed_after_s is not None)
    return judged(
        "failsafe",
        sentence=_passed_words(seen, setup, was_armed=was_armed),
        measured=_measured(seen, setup, limit_s, recovered_s),
        findings=[*findings, *recovery],
        figures=_figures(record, setup, off_at_s, on_again_s),
    )


def _limit_s(setup: ReceiverSetup) -> float:
    wait_s = LONGEST_WAIT.value if setup.wait_s is None else setup.wait_s
    return wait_s + RECEIVER_NOTICES.value + HAND.value


# Whether the record can carry a verdict


def _trouble(
    record: ChannelRecord,
    answers: AnswerRecord | None,
    *,
    off_at_s: float,
    until_s: float,
    limit_s: float,
    was_armed: bool,
) -> Finding | None:
    again = "Do it once more: sticks at rest, transmitter off when asked, and wait."
    timing = timing_trouble(record)
    if timing is not None:
        return timing
    if not np.isfinite(off_at_s):
        return missing("switching-off-not-known", "It is not known when the transmitter was switched off.", again)
    at_s, end_s = record.at_s, min(float(record.at_s[-1]), until_s)
    first, off = np.searchsorted(at_s, [off_at_s - BEFORE.value, off_at_s])
    if off - first < 5:
        return missing("before-not-recorded", "Nothing was recorded before the transmitter was switched off.", again)
    if end_s < off_at_s + limit_s + WATCHED_AFTER.value:
        need_s = limit_s + WATCHED_AFTER.value
        words = f"Only {max(0.0, end_s - off_at_s):.1f} s without transmitter were recorded; {need_s:.1f} s are needed."
        return missing("too-short", words, again)
    return _content_trouble(record, off=int(off), off_at_s=off_at_s, end_s=end_s) or _answer_trouble(
        answers, off_at_s=off_at_s, end_s=end_s, was_armed=was_armed
    )


def _content_trouble(record: ChannelRecord, *, off: int, off_at_s: float, end_s: float) -> Finding | None:
    watched = record.at_s[(record.at_s >= off_at_s - BEFORE.value) & (record.at_s <= end_s)]
    gap_s = float(np.max(np.diff(watched)))
    if gap_s > LONGEST_GAP.value:
        words = f"The record has a gap of {gap_s:.1f} s, so what happened in it was not seen."
        return missing("gap-in-time", words, "Do it once more; look at the cable if it comes again.")
    pulses = readable_pulses(record)
    before = pulses[max(0, off - 20) : off]
    there = np.mean(np.isfinite(before), axis=0) > SHARE_PRESENT.value
    if not np.any(there):
        words = "There were no channels even before the transmitter was switched off."
        return missing("no-channels", words, "Switch transmitter and receiver on; see that they are bound.")
    if np.nanmin(pulses[:, there]) < LOWEST_PULSE.value or np.nanmax(pulses[:, there]) > HIGHEST_PULSE.value:
        words = "The channels are no pulses in microseconds."
        return missing("not-microseconds", words, "Read the channels in microseconds, and do it once more.")
    if record.is_signal is not None and np.mean(record.is_signal[max(0, off - 20) : off] < 0.5) > 0.5:
        words = "The aircraft had no signal even before the transmitter was switched off."
        return missing(
            "no-signal-before", words, "Switch the transmitter on, see that it is bound, and do it once more."
        )
    return None


def _answer_trouble(answers: AnswerRecord | None, *, off_at_s: float, end_s: float, was_armed: bool) -> Finding | None:
    if answers is None or len(answers.at_s) == 0:
        words = "The motors were armed, but the aircraft did not say whether they stayed so."
        return missing("no-answers", words, _LET_IT_TELL) if was_armed else None
    if not _is_in_order(answers):
        words = "What the aircraft said of itself cannot be put in order of time."
        return missing("answers-unusable", words, _LET_IT_TELL)
    return _armed_trouble(answers, off_at_s=off_at_s, end_s=end_s) if was_armed else None


def _is_in_order(answers: AnswerRecord) -> bool:
    is_even = answers.at_s.shape == answers.is_armed.shape == answers.mode_bits.shape
    is_told = bool(np.all(np.isfinite(answers.at_s)) and np.all(np.isfinite(answers.is_armed)))
    return is_even and is_told and bool(np.all(np.diff(answers.at_s) >= 0))


def _armed_trouble(answers: AnswerRecord, *, off_at_s: float, end_s: float) -> Finding | None:
    before = answers.is_armed[answers.at_s < off_at_s]
    silent = answers.at_s[(answers.at_s >= off_at_s) & (answers.at_s <= end_s)]
    longest_s = float(np.max(np.diff(np.concatenate([[off_at_s], silent, [end_s]]))))
    if len(before) == 0 or longest_s > ANSWER_GAP.value:
        return missing("no-answers", "The aircraft did not say all the time whether it is armed.", _LET_IT_TELL)
    if before[-1] < 0.5:
        words = "The motors should have been armed, but the aircraft said that they were not."
        return missing("was-not-armed", words, "Arm it, propellers off, and do it once more.")
    return None


# What happened


def _seen(record: ChannelRecord, answers: AnswerRecord | None, *, off_at_s: float, until_s: float) -> _Seen:
    at_s, pulses = record.at_s, readable_pulses(record)
    first, off = np.searchsorted(at_s, [off_at_s - BEFORE.value, off_at_s])
    silent = (at_s >= off_at_s) & (at_s < until_s)
    last = silent & (at_s >= min(float(at_s[-1]), until_s) - WATCHED_AFTER.value)
    there = np.mean(np.isfinite(pulses[first:off]), axis=0) > SHARE_PRESENT.value
    before, after = _middles(pulses[first:off], there), _middles(pulses[last], there)
    reaction = _reaction(pulses, before, after, silent=silent, last=last, there=there)
    elsewhere = ~(np.abs(pulses[silent] - before) <= STEP.value) & there
    said = None if record.is_signal is None else record.is_signal < 0.5
    return _Seen(
        reaction,
        _first_s(at_s[silent], np.any(elsewhere, axis=1), off_at_s),
        _last_turn_s(at_s[silent], said[silent], off_at_s) if said is not None and said[last].all() else None,
        _disarmed_after_s(answers, off_at_s, until_s),
        _mode_after_s(answers, off_at_s, until_s),
        said is not None and bool(np.all(said[last])),
        _is_stirring(pulses[last][:, there]),
        bool(np.any(np.ptp(pulses[last][:, there], axis=0) > SWAY.value)),
        _is_armed_at(answers, until_s),
        min(float(at_s[-1]), until_s) - off_at_s,
        before,
        after,
    )


def _middles(pulses: FloatArray, there: NDArray[np.bool_]) -> FloatArray:
    """Return the (c,) middle value of each channel, NaN for one that mostly is not there."""
    values = np.full(pulses.shape[1], np.nan)
    told = there & (np.mean(np.isfinite(pulses), axis=0) > 0.5)
    values[told] = np.nanmedian(pulses[:, told], axis=0)
    return values


def _reaction(
    pulses: FloatArray,
    before: FloatArray,
    after: FloatArray,
    *,
    silent: NDArray[np.bool_],
    last: NDArray[np.bool_],
    there: NDArray[np.bool_],
) -> Reaction:
    if np.any(np.isnan(after[there])):
        return Reaction.GONE
    if np.any(np.abs(after[there] - before[there]) > STEP.value):
        return Reaction.PRESET
    return Reaction.LIVE if _is_stirring(pulses[last][:, there]) else Reaction.HELD


def _is_stirring(pulses: FloatArray) -> bool:
    steps = np.diff(pulses, axis=0)
    return bool(np.any(steps[np.isfinite(steps)] != 0))


def _first_s(at_s: FloatArray, is_so: NDArray[np.bool_], zero_s: float) -> float | None:
    """Return when it was first so, in seconds after `zero_s`."""
    where = np.flatnonzero(is_so)
    return float(at_s[where[0]] - zero_s) if len(where) else None


def _disarmed_after_s(answers: AnswerRecord | None, off_at_s: float, until_s: float) -> float | None:
    if answers is None or len(answers.at_s) == 0:
        return None
    before = answers.is_armed[answers.at_s < off_at_s]
    silent = (answers.at_s >= off_at_s) & (answers.at_s < until_s)
    if len(before) == 0 or before[-1] < 0.5 or not np.any(silent) or answers.is_armed[silent][-1] >= 0.5:
        return None
    return _last_turn_s(answers.at_s[silent], answers.is_armed[silent] < 0.5, off_at_s)


def _last_turn_s(at_s: FloatArray, is_so: NDArray[np.bool_], zero_s: float) -> float:
    """Return since when it is so without a break to the end, in seconds after `zero_s`; it is so at the end."""
    breaks = np.flatnonzero(~is_so)
    since = int(breaks[-1]) + 1 if len(breaks) else 0
    return float(at_s[since] - zero_s)


def _mode_after_s(answers: AnswerRecord | None, off_at_s: float, until_s: float) -> float | None:
    if answers is None or len(answers.at_s) == 0:
        return None
    before = answers.mode_bits[answers.at_s < off_at_s]
    silent = (answers.at_s >= off_at_s) & (answers.at_s < until_s)
    if len(before) == 0 or not np.any(silent) or answers.mode_bits[silent][-1] == before[-1]:
        return None
    return _last_turn_s(answers.at_s[silent], answers.mode_bits[silent] != before[-1], off_at_s)


def _is_armed_at(answers: AnswerRecord | None, until_s: float) -> bool:
    if answers is None or len(answers.at_s) == 0:
        return False
    said = answers.is_armed[answers.at_s < until_s]
    return bool(len(said) and said[-1] >= 0.5)


# What is wrong


def _findings(seen: _Seen, setup: ReceiverSetup, *, limit_s: float, was_armed: bool) -> list[Finding]:
    findings = _thrust_findings(seen, setup)
    arm = _arm_switch_finding(seen, setup)
    if arm is not None:
        findings.append(arm)
    if seen.noticed_after_s is None:
        findings += _unnoticed(seen, setup, has_other=bool(findings), limit_s=limit_s)
    elif seen.noticed_after_s > limit_s:
        findings.append(_late("noticed that the signal was gone", seen.noticed_after_s, setup, limit_s))
    if was_armed and setup.stops_motors:
        findings += _still_armed(seen, setup, limit_s)
    if was_armed and setup.stops_motors is False:
        findings += _goes_on(seen, setup, limit_s)
    if was_armed and setup.stops_motors is None and seen.is_armed_at_end:
        words = "The motors stayed armed, and no setting says what the failsafe has to do."
        findings.append(
            missing("action-not-known", words, "Look up in the settings what it has to do without a signal.")
        )
    return findings


def _late(what: str, after_s: float, setup: ReceiverSetup, limit_s: float) -> Finding:
    wait = "" if setup.wait_s is None else f" The settings say {setup.wait_s:.1f} s."
    words = f"The aircraft {what} only {after_s:.1f} s after the transmitter was switched off.{wait}"
    advice = (
        f"At most {limit_s:.1f} s are allowed, a second each for the hand and the receiver. Shorten the receiver's own "
        "hold time, and see that the wait was taken over as set; then do it once more."
    )
    return Finding("failsafe-late", words, advice, is_dangerous=True)


def _still_armed(seen: _Seen, setup: ReceiverSetup, limit_s: float) -> list[Finding]:
    if seen.disarmed_after_s is None:
        words = f"The motors stayed armed without a transmitter, although the settings say: {setup.action}."
        advice = "Do not fly. See that the failsafe's action is set, and that the receiver does not go on sending."
        return [Finding("failsafe-stays-armed", words, advice, is_dangerous=True)]
    if seen.disarmed_after_s > limit_s:
        return [_late("switched its motors off", seen.disarmed_after_s, setup, limit_s)]
    return []


def _goes_on(seen: _Seen, setup: ReceiverSetup, limit_s: float) -> list[Finding]:
    """Judge an action that does not stop the motors at once, such as a landing: it has to end with them off."""
    if seen.disarmed_after_s is not None and setup.landing_s is None:
        return []
    if setup.landing_s is None:
        words = f"Without a transmitter the motors went on, and no setting ends that ({setup.action})."
        advice = "Do not fly. Set a failsafe that stops the motors, at once or after a landing."
        return [Finding("failsafe-never-ends", words, advice, is_dangerous=True)]
    if seen.disarmed_after_s is None and seen.silent_s < limit_s + setup.landing_s:
        words = f"The motors were still armed when watching ended, {seen.silent_s:.0f} s after the signal was gone."
        advice = (
            f"Leave the transmitter off for {limit_s + setup.landing_s:.0f} s, propellers off; then do it once more."
        )
        return [missing("landing-not-awaited", words, advice)]
    return _still_armed(seen, setup, limit_s + setup.landing_s)


def _thrust_us(values: FloatArray, setup: ReceiverSetup) -> float:
    channel = setup.channel_of.get(Stick.THRUST, 0)
    return float(values[channel - 1]) if 1 <= channel <= len(values) else float("nan")


def _is_above_low(thrust_us: float, setup: ReceiverSetup) -> bool:
    if setup.is_reversed.get(Stick.THRUST, False):
        return thrust_us < setup.high_us - ABOVE_LOW.value
    return thrust_us > setup.low_us + ABOVE_LOW.value


def _thrust_findings(seen: _Seen, setup: ReceiverSetup) -> list[Finding]:
    before, after = _thrust_us(seen.before, setup), _thrust_us(seen.after, setup)
    if np.isnan(before):
        words = "The channel that the settings name for thrust was not there."
        return [missing("thrust-not-seen", words, "Check the receiver first: which channel carries which stick.")]
    if np.isnan(after):
        return []
    is_moved = abs(after - before) > STEP.value
    if _is_above_low(after, setup) and (is_moved or not seen.is_said_at_end):
        low_us = setup.high_us if setup.is_reversed.get(Stick.THRUST, False) else setup.low_us
        words = f"Without a transmitter the receiver hands over thrust at {after:.0f} us; low is {low_us:.0f}."
        return [Finding("failsafe-thrust-high", words, _SET_RECEIVER, is_dangerous=True)]
    if _is_above_low(before, setup):
        words = f"Thrust was at {before:.0f} us, not low, when the transmitter was switched off."
        return [missing("thrust-was-not-low", words, "Do it once more with the thrust stick fully down.")]
    return []


def _is_arm_on(values: FloatArray, setup: ReceiverSetup) -> bool | None:
    channel = setup.arming_channel
    if not 1 <= channel <= len(values) or np.isnan(values[channel - 1]):
        return None
    return bool(setup.arming_lowest_us <= values[channel - 1] <= setup.arming_highest_us)


def _arm_switch_finding(seen: _Seen, setup: ReceiverSetup) -> Finding | None:
    if seen.reaction is not Reaction.PRESET or not _is_arm_on(seen.after, setup):
        return None
    if seen.is_said_at_end and _is_arm_on(seen.before, setup):
        return None
    words = f"Without a transmitter the receiver hands over the arming switch as on (channel {setup.arming_channel})."
    return Finding("failsafe-arm-on", words, _SET_RECEIVER, is_dangerous=True)


def _unnoticed(seen: _Seen, setup: ReceiverSetup, *, has_other: bool, limit_s: float) -> list[Finding]:
    if seen.is_moved_by_hand:
        words = "Sticks or switches still moved the channels after the transmitter should have been off."
        return [missing("transmitter-still-on", words, "Switch it off, see that it is dark, and do it once more.")]
    if seen.reaction is Reaction.LIVE:
        words = "Nothing happened: the channels went on as before, as if the transmitter were still on."
        advice = (
            "See that it really was off, and that no second transmitter is bound. If it was off, do not fly: the "
            "aircraft would not notice. " + _SET_RECEIVER
        )
        return [Finding("failsafe-none", words, advice, is_dangerous=True)]
    if seen.reaction is Reaction.HELD:
        words = "The receiver keeps handing over the last values, and the aircraft does not notice the loss."
        return [
            Finding(
                "failsafe-hold", words, _SET_RECEIVER + " It would fly on with the last command.", is_dangerous=True
            )
        ]
    return _preset_findings(seen, setup, has_other=has_other, limit_s=limit_s)


def _preset_findings(seen: _Seen, setup: ReceiverSetup, *, has_other: bool, limit_s: float) -> list[Finding]:
    """Return what is wrong with preset values that the aircraft takes for a living transmitter's."""
    findings = []
    if seen.changed_after_s is not None and seen.changed_after_s > limit_s:
        findings.append(_late("was handed other channels", seen.changed_after_s, setup, limit_s))
    if has_other:
        return findings
    is_arm_taken_back = bool(_is_arm_on(seen.before, setup)) and _is_arm_on(seen.after, setup) is False
    if not is_arm_taken_back or seen.is_stirring:
        words = "The receiver handed over other values than before; it was not seen that they stop the motors."
        advice = (
            "Set the receiver to send nothing when the signal is lost; or do it once more with the arming switch on, "
            "propellers off, and its channel known."
        )
        return [*findings, missing("preset-not-judged", words, advice)]
    if setup.action is not None and setup.stops_motors is False:
        words = (
            f"The receiver hands over preset values that stop the motors, so the aircraft never gets to what is set: "
            f"{setup.action}."
        )
        findings.append(Finding("failsafe-action-differs", words, _SET_RECEIVER, is_dangerous=True))
    return findings


def _recovery(
    record: ChannelRecord, answers: AnswerRecord | None, on_again_s: float | None, *, was_disarmed: bool
) -> tuple[list[Finding], float | None]:
    """Return what is wrong with the recovery, and after how many seconds the signal was back."""
    if on_again_s is None:
        return [], None
    later = record.at_s >= on_again_s
    back_s = _back_after_s(record, on_again_s)
    findings = []
    if back_s is None and record.at_s[-1] - on_again_s < RECOVERY.value:
        words = "The record ends before the signal could be back."
        findings.append(missing("recovery-not-seen", words, "Record some seconds more after switching on again."))
    elif back_s is None or back_s > RECOVERY.value:
        seen_s = float(record.at_s[later][-1] - on_again_s) if np.any(later) else 0.0
        words = f"{seen_s:.0f} s after the transmitter was switched on again there was no signal."
        findings.append(
            Finding("no-recovery", words, "See that both are bound and powered. Do not fly before it is back.")
        )
    if was_disarmed and answers is not None and np.any(answers.is_armed[answers.at_s >= on_again_s] >= 0.5):
        words = "The motors armed again by themselves when the transmitter came back."
        advice = "Do not fly, keep hands away. Arming must need a new switching on; move the switch to off before."
        findings.append(Finding("rearms-by-itself", words, advice, is_dangerous=True))
    return findings, back_s


def _back_after_s(record: ChannelRecord, on_again_s: float) -> float | None:
    """Return when the aircraft said it has a signal again; where it says nothing, when the channels stirred again."""
    later = record.at_s >= on_again_s
    if np.count_nonzero(later) < 3:
        return None
    if record.is_signal is not None:
        return _first_s(record.at_s[later], record.is_signal[later] >= 0.5, on_again_s)
    pulses = np.nan_to_num(readable_pulses(record)[later], nan=0.0)
    stirs = np.any(np.diff(pulses, axis=0) != 0, axis=1)
    return _first_s(record.at_s[later][1:], stirs, on_again_s)


# What is shown


def _passed_words(seen: _Seen, setup: ReceiverSetup, *, was_armed: bool) -> str:
    words = f"Without a transmitter the channels {seen.reaction}"
    if seen.noticed_after_s is not None:
        words += f", and the aircraft noticed it after {seen.noticed_after_s:.1f} s"
    words += "."
    if seen.disarmed_after_s is not None:
        return f"{words} Its motors were off after {seen.disarmed_after_s:.1f} s."
    if not was_armed and setup.action is not None:
        words += f" It was not armed, so what it does then ({setup.action}) was not seen."
    return words


def _measured(seen: _Seen, setup: ReceiverSetup, limit_s: float, recovered_s: float | None) -> list[Measured]:
    limit = f"at most {limit_s:.1f} s" + ("" if setup.wait_s is None else f" (settings: {setup.wait_s:.1f} s)")
    told: list[Measured] = []
    if seen.changed_after_s is not None:
        told.append(Measured("channels changed after", seen.changed_after_s, "s"))
    if seen.noticed_after_s is not None:
        is_met = seen.noticed_after_s <= limit_s
        told.append(Measured("loss noticed after", seen.noticed_after_s, "s", limit, is_met))
    if seen.disarmed_after_s is not None:
        is_fit = seen.disarmed_after_s <= limit_s if setup.stops_motors else None
        told.append(Measured("motors off after", seen.disarmed_after_s, "s", limit, is_fit))
    thrust_us = _thrust_us(seen.after, setup)
    if not np.isnan(thrust_us):
        told.append(Measured("thrust without transmitter", thrust_us, "us", f"low is {setup.low_us:.0f} us"))
    if recovered_s is not None:
        is_met = recovered_s <= RECOVERY.value
        told.append(Measured("signal back after", recovered_s, "s", f"at most {RECOVERY.value:.0f} s", is_met))
    return told


def _figures(record: ChannelRecord, setup: ReceiverSetup, off_at_s: float, on_again_s: float | None) -> list[Figure]:
    pulses = readable_pulses(record)
    curves = []
    for stick, channel in setup.channel_of.items():
        if 1 <= channel <= pulses.shape[1] and np.any(np.isfinite(pulses[:, channel - 1])):
            is_there = np.isfinite(pulses[:, channel - 1])
            points = zip(record.at_s[is_there] - off_at_s, pulses[is_there, channel - 1], strict=True)
            curves.append(Curve(f"{stick} (channel {channel})", thinned(points)))
    if not curves:
        return []
    back = "" if on_again_s is None else f", on again at {on_again_s - off_at_s:.1f} s"
    return [Figure(f"Transmitter off at 0 s{back}", "time", "s", "pulse", "us", tuple(curves))]
