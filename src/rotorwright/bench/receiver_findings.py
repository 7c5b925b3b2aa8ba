"""What is wrong with the way in which the sticks were answered, and what to set or do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.receiver_answers import STRAIGHT, Reading, SampledWindow, StickAnswer, straightness
from rotorwright.bench.receiver_evidence import Channels, Limit, channel_words, smoothed
from rotorwright.bench.receiver_sticks import STICK_ORDER, ReceiverSetup, Stick, stick_names
from rotorwright.bench.verdicts import Finding, missing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.bench.receiver_frames import FrameTiming
    from rotorwright.bench.records import FloatArray

_PRACTICE = "common practice, no source"

END_SHORT = Limit(20.0, "us", _PRACTICE + ": 2 % of the travel, a hand that does not press against the stop")
CENTRE_OFF = Limit(12.0, "us", _PRACTICE + ": about 1 % of the travel; a wider dead zone allows more")
JITTER = Limit(5.0, "us", _PRACTICE + ": standard deviation at rest, 1 % of the way from the middle to an end")
DEAD_ZONE_SPREADS = Limit(3.0, "", "three standard deviations, 99.7 % of normally distributed noise")
TOGETHER = Limit(
    0.4, "", _PRACTICE + ": a hand 10 degrees off its way moves the other axis by 18 %, 20 degrees by 36 %"
)


def impossible_map(setup: ReceiverSetup, channels: Channels | None) -> list[Finding]:
    """Return what is wrong with the map by itself, whatever was moved."""
    findings = []
    named = [setup.channel_of[stick] for stick in STICK_ORDER if stick in setup.channel_of]
    twice = sorted({one for one in named if named.count(one) > 1})
    if twice:
        words = f"{channel_words(twice)} is set for two sticks at once."
        findings.append(Finding("channel-set-twice", words, "Give each stick a channel of its own.", is_dangerous=True))
    unset = [stick for stick in STICK_ORDER if stick not in setup.channel_of]
    if unset:
        words = f"The settings do not say which channel carries {stick_names(unset)}."
        findings.append(missing("map-not-known", words, "Look the channels up in the settings."))
    if channels is not None:
        absent = sorted({one for one in named if one not in channels.present})
        if absent:
            words = f"{channel_words(absent)} is set for a stick, but the receiver has no such channel."
            advice = "Set the channels that carry the sticks; this check finds them when all four are moved."
            findings.append(Finding("channel-absent", words, advice, is_dangerous=True))
    return findings


def map_findings(
    answers: Mapping[Stick, StickAnswer], setup: ReceiverSetup, as_found: ReceiverSetup | None
) -> list[Finding]:
    """Return sticks that come on another channel than is set; dangerous."""
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


def reversal_findings(
    answers: Mapping[Stick, StickAnswer], setup: ReceiverSetup, as_found: ReceiverSetup | None
) -> list[Finding]:
    """Return sticks that are the other way round than is set; dangerous."""
    seen = {s: a.is_reversed for s, a in answers.items() if a.is_reversed is not None}
    wrong = [s for s in STICK_ORDER if s in seen and seen[s] != setup.is_reversed.get(s, False)]
    if not wrong:
        return []
    right = {s: seen.get(s, setup.is_reversed.get(s, False)) for s in Stick}
    bits = setup.reversed_bits({s: bool(turned) for s, turned in right.items()})
    turned = [s for s in STICK_ORDER if right[s]]
    advice = (
        "If the sticks were moved as asked, positive end first, set as turned round: "
        f"{stick_names(turned) if turned else 'none'} (value {bits}); or turn the channel at the transmitter, not both."
    )
    if as_found is not None:
        advice += _as_found_words(all(as_found.is_reversed.get(s, False) == seen[s] for s in wrong), "directions")
    return [
        Finding(
            "stick-reversed",
            f"The wrong way round: {stick_names(wrong)}. The aircraft would go the other way than the stick.",
            advice + " Do not arm before this is right.",
            is_dangerous=True,
            settings={"receiver.reversed": str(bits)},
        )
    ]


def travel_findings(answers: Mapping[Stick, StickAnswer], setup: ReceiverSetup) -> list[Finding]:
    """Return ends that are not reached, middles that are off, and noise at rest."""
    findings = []
    for stick in STICK_ORDER:
        if stick in answers:
            findings += _end_findings(answers[stick], setup)
            findings += _rest_findings(answers[stick], setup)
    return findings


def _end_findings(answer: StickAnswer, setup: ReceiverSetup) -> list[Finding]:
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


def _rest_findings(answer: StickAnswer, setup: ReceiverSetup) -> list[Finding]:
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
            f"A dead zone would have to be {dead_zone_need(answer, setup):.0f} us wide to each side to hide it."
        )
        findings.append(Finding("jitter", words, advice))
    elif np.isnan(answer.jitter_us):
        words = f"Nothing was recorded of channel {answer.channel} ({answer.stick}) at rest."
        findings.append(missing("rest-not-seen", words, "Record all four sticks, one after the other."))
    return findings


def dead_zone_need(answer: StickAnswer, setup: ReceiverSetup) -> float:
    """Return how wide, to each side in microseconds, a dead zone must be to hide a stick's offset and noise."""
    off = 0.0 if answer.stick is Stick.THRUST else abs(answer.rest_us - setup.middle_us)
    return off + DEAD_ZONE_SPREADS.value * answer.jitter_us


def mixing_findings(channels: Channels, reading: Reading) -> list[Finding]:
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
            named = stick_names(one.stick for one in along)
            words = (
                f"The {window.stick} stick moves {named} along with it ({_share_words(channels, window, mine, along)})."
            )
            advice = "Take mixing out of the model at the transmitter: the aircraft does its own. Then do this again."
            findings.append(Finding("channels-mixed", words, advice, is_dangerous=True))
    return findings


def _moves_along(mine: FloatArray, other: FloatArray) -> bool:
    travel = float(np.ptp(smoothed(mine)))
    return float(np.ptp(smoothed(other))) > TOGETHER.value * travel and straightness(mine, other) > STRAIGHT.value


def _share_words(channels: Channels, window: SampledWindow, mine: FloatArray, along: Sequence[StickAnswer]) -> str:
    travel = float(np.ptp(smoothed(mine)))
    shares = [float(np.ptp(smoothed(channels.of(one.channel)[window.samples]))) / travel for one in along]
    return ", ".join(f"{100 * share:.0f} %" for share in shares)


def frame_findings(frames: FrameTiming) -> list[Finding]:
    """Return stretches in which the receiver stood still, and too many lost frames."""
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


def signal_findings(channels: Channels, reading: Reading) -> list[Finding]:
    """Return when the aircraft itself said that it had no signal."""
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
