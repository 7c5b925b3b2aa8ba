"""The failsafe check: each dangerous way to go on without a transmitter is found, a sound one passes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pytest
from tests.unit.bench.receiver_hands import SETUP, STRAIGHT, with_setup

from rotorwright.bench.failsafe import judge_failsafe
from rotorwright.bench.receiver import ReceiverSetup, Stick
from rotorwright.bench.records import AnswerRecord, ChannelRecord
from rotorwright.bench.verdicts import CheckResult, Finding, Verdict

OFF_S = 2.0
ON_S = 8.0
END_S = 15.0
ARM_ON, ARM_OFF, LOW = 1900.0, 1000.0, 989.0
LAND = "Land"


@dataclass(frozen=True)
class Loss:
    """How aircraft and receiver behave without a transmitter; times in seconds after it is silent."""

    preset: Mapping[int, float] | None = None
    preset_after_s: float = 0.7
    gone_after_s: float | None = None
    said_after_s: float | None = 0.6
    disarmed_after_s: float | None = 0.9
    mode_after_s: float | None = None
    live: bool = False
    thrust_us: float = LOW
    is_armed: bool = True
    noise_us: float = 0.6
    tells_signal: bool = True
    back_after_s: float | None = 1.0
    rearms: bool = False
    moved_by_hand: bool = False


def drill(seed: int, loss: Loss, *, stream_hz: float = 50.0) -> tuple[ChannelRecord, AnswerRecord]:
    """Return what is recorded while the transmitter is switched off at 2 s (the hand a little later) and on at 8 s."""
    rng = np.random.default_rng(seed)
    at_s = np.arange(0, END_S, 1 / stream_hz) + rng.uniform(-0.2, 0.2, int(np.ceil(END_S * stream_hz))) / stream_hz
    off_s, back_s = OFF_S + rng.uniform(0, 0.4), ON_S + (1e9 if loss.back_after_s is None else loss.back_after_s)
    rest = np.array([1500.0, 1501, loss.thrust_us, 1499, ARM_ON if loss.is_armed else ARM_OFF, 1500, 1000, 2000])
    pulses = np.round(rest + rng.normal(0, loss.noise_us, (len(at_s), 8)))
    is_silent = (at_s >= off_s) & (at_s < back_s)
    if not loss.live:
        pulses[is_silent] = pulses[~is_silent & (at_s < off_s)][-1]
    if loss.moved_by_hand:
        pulses[:, 1] += 300 * np.sin(5 * at_s)
    for channel, pulse in (loss.preset or {}).items():
        pulses[is_silent & (at_s >= off_s + loss.preset_after_s), channel - 1] = pulse
    if loss.gone_after_s is not None:
        pulses[is_silent & (at_s >= off_s + loss.gone_after_s)] = np.nan
    signal = np.ones(len(at_s))
    if loss.said_after_s is not None:
        signal[is_silent & (at_s >= off_s + loss.said_after_s)] = 0
    told_s = np.arange(0, END_S, 0.2)
    armed = np.full(len(told_s), float(loss.is_armed))
    if loss.disarmed_after_s is not None:
        armed[told_s >= off_s + loss.disarmed_after_s] = 0
    if loss.rearms:
        armed[told_s >= back_s + 0.3] = 1
    modes = np.full(len(told_s), 1, dtype=np.int64)
    if loss.mode_after_s is not None:
        modes[(told_s >= off_s + loss.mode_after_s) & (told_s < back_s)] = 9
    return ChannelRecord(at_s, pulses, signal if loss.tells_signal else None), AnswerRecord(told_s, armed, modes)


def judge(loss: Loss, seed: int = 1, setup: ReceiverSetup = SETUP, *, on_again_s: float | None = ON_S) -> CheckResult:
    record, answers = drill(seed, loss)
    return judge_failsafe(record, answers, off_at_s=OFF_S, on_again_s=on_again_s, setup=setup, was_armed=loss.is_armed)


def found(result: CheckResult, kind: str) -> Finding:
    kinds = [one.kind for one in result.findings]
    assert kind in kinds, (result.verdict, kinds)
    return result.findings[kinds.index(kind)]


ENDLESS = with_setup(action=LAND, action_stops_motors=False)
LANDING = replace(ENDLESS, landing_s=2.0)
SILENT = with_setup(wait_s=None, action=None)
DISARMED = Loss(is_armed=False, disarmed_after_s=None)

SOUND: Mapping[str, tuple[Loss, ReceiverSetup]] = {
    "says it, motors off": (Loss(), SETUP),
    "says it, values held, not armed": (DISARMED, SETUP),
    "channels gone, signal never told": (Loss(gone_after_s=0.5, said_after_s=None, tells_signal=False), SETUP),
    "channels gone, not armed": (replace(DISARMED, gone_after_s=0.5, said_after_s=None, tells_signal=False), SETUP),
    "lands": (Loss(disarmed_after_s=2.4, mode_after_s=0.8), LANDING),
    "preset that takes the arming switch back": (
        Loss(said_after_s=None, tells_signal=False, preset={3: 980.0, 5: 1000.0}),
        SETUP,
    ),
    "preset as well as said": (Loss(preset={3: 988.0, 5: 1000.0}), SETUP),
    "preset thrust as well as said, switch held on": (Loss(preset={3: 960.0}), SETUP),
    "settings that say nothing": (DISARMED, SILENT),
    "long wait that is set": (Loss(said_after_s=2.2, disarmed_after_s=2.5), with_setup(wait_s=2.0)),
    "digital link without noise": (replace(DISARMED, noise_us=0.0), SETUP),
    "thrust turned round": (
        Loss(thrust_us=2011.0),
        with_setup(is_reversed={**STRAIGHT, Stick.THRUST: True}),
    ),
}


@pytest.mark.parametrize("name", list(SOUND))
def test_a_sound_failsafe_passes(name: str) -> None:
    loss, setup = SOUND[name]
    for seed in range(40):
        result = judge(loss, seed, setup)
        assert result.verdict is Verdict.PASSED, (seed, [one.words for one in result.findings])


def test_a_passed_check_tells_what_happened_and_when() -> None:
    result = judge(Loss())
    assert "stayed at their last values" in result.sentence
    told = {one.name: one.value for one in result.measured}
    assert 0.5 < told["loss noticed after"] < 1.3
    assert 0.8 < told["motors off after"] < 1.6
    assert 0.9 < told["signal back after"] < 1.2
    assert "was not seen" in judge(DISARMED).sentence
    assert len(result.figures) == 1


HELD = Loss(said_after_s=None, disarmed_after_s=None)

DANGEROUS: Mapping[str, tuple[Loss, ReceiverSetup, str]] = {
    "nothing happens": (replace(HELD, live=True), SETUP, "failsafe-none"),
    "nothing happens, not armed": (replace(HELD, live=True, is_armed=False), SETUP, "failsafe-none"),
    "last values held": (HELD, SETUP, "failsafe-hold"),
    "last values held, not armed": (replace(HELD, is_armed=False), SETUP, "failsafe-hold"),
    "last values held, signal never told": (replace(HELD, is_armed=False, tells_signal=False), SETUP, "failsafe-hold"),
    "last values held, no noise": (replace(HELD, is_armed=False, noise_us=0.0), SETUP, "failsafe-hold"),
    "last values held, thrust up": (replace(HELD, thrust_us=1400.0), SETUP, "failsafe-thrust-high"),
    "held where the settings say land": (HELD, LANDING, "failsafe-hold"),
    "late": (Loss(said_after_s=4.0, disarmed_after_s=4.3), SETUP, "failsafe-late"),
    "late, not armed": (replace(DISARMED, said_after_s=4.0), SETUP, "failsafe-late"),
    "motors late": (Loss(said_after_s=0.5, disarmed_after_s=4.3), SETUP, "failsafe-late"),
    "preset with thrust high": (Loss(preset={3: 1500.0}), SETUP, "failsafe-thrust-high"),
    "preset with thrust high, not said": (
        replace(HELD, is_armed=False, preset={3: 1500.0}),
        SETUP,
        "failsafe-thrust-high",
    ),
    "preset with the arming switch on": (
        replace(HELD, preset={3: 980.0, 1: 1600.0}),
        SETUP,
        "failsafe-arm-on",
    ),
    "preset that arms": (replace(DISARMED, preset={5: 1900.0}), SETUP, "failsafe-arm-on"),
    "stays armed though it says motors off": (Loss(disarmed_after_s=None), SETUP, "failsafe-stays-armed"),
    "stays armed with channels gone": (
        Loss(disarmed_after_s=None, gone_after_s=0.4),
        SETUP,
        "failsafe-stays-armed",
    ),
    "stops where it should land": (
        Loss(said_after_s=None, disarmed_after_s=None, preset={3: 980.0, 5: 1000.0}),
        LANDING,
        "failsafe-action-differs",
    ),
    "preset late": (
        replace(HELD, is_armed=True, disarmed_after_s=4.2, preset={3: 960.0, 5: 1000.0}, preset_after_s=4.0),
        SETUP,
        "failsafe-late",
    ),
    "preset late, arming refused": (
        replace(HELD, preset={3: 960.0, 5: 1000.0}, preset_after_s=4.0),
        replace(SILENT, wait_s=0.3),
        "failsafe-late",
    ),
    "disarmed, but the channels live on": (replace(HELD, live=True, disarmed_after_s=0.8), SETUP, "failsafe-none"),
    "arms again by itself": (Loss(rearms=True), SETUP, "rearms-by-itself"),
    "thrust turned round and high": (
        replace(HELD, is_armed=False, preset={3: 1500.0}, thrust_us=2011.0),
        with_setup(is_reversed={**STRAIGHT, Stick.THRUST: True}),
        "failsafe-thrust-high",
    ),
}


@pytest.mark.parametrize("name", list(DANGEROUS))
def test_each_dangerous_failsafe_is_found(name: str) -> None:
    loss, setup, kind = DANGEROUS[name]
    for seed in range(20):
        result = judge(loss, seed, setup)
        assert result.verdict is Verdict.FAILED, (seed, result.sentence)
        finding = found(result, kind)
        assert finding.is_dangerous
        assert not finding.is_missing
        assert finding.advice


def test_a_signal_that_does_not_come_back_is_found() -> None:
    result = judge(Loss(back_after_s=None))
    assert result.verdict is Verdict.FAILED
    assert not found(result, "no-recovery").is_dangerous
    assert judge(Loss(back_after_s=None), on_again_s=None).verdict is Verdict.PASSED


def cut(record: ChannelRecord, end_s: float) -> ChannelRecord:
    keep = record.at_s < end_s
    return ChannelRecord(
        record.at_s[keep], record.pulses_us[keep], None if record.is_signal is None else record.is_signal[keep]
    )


def judged(record: ChannelRecord, answers: AnswerRecord | None, **changes: object) -> CheckResult:
    facts = {"off_at_s": OFF_S, "on_again_s": None, "setup": SETUP, "was_armed": True, **changes}
    return judge_failsafe(record, answers, **facts)  # type: ignore[arg-type]


def test_what_was_not_seen_is_not_shown() -> None:
    record, answers = drill(1, Loss())
    assert judged(cut(record, 3.5), answers).findings[0].kind == "too-short"
    assert judged(record, answers, off_at_s=0.01).findings[0].kind == "before-not-recorded"
    assert judged(record, answers, off_at_s=float("nan")).findings[0].kind == "switching-off-not-known"
    assert judged(record, None).findings[0].kind == "no-answers"
    assert judged(record, AnswerRecord(answers.at_s[:12], answers.is_armed[:12], answers.mode_bits[:12])).findings
    assert judged(*drill(1, DISARMED)).findings[0].kind == "was-not-armed"
    assert judged(cut(record, 8.5), answers, on_again_s=ON_S).findings[0].kind == "recovery-not-seen"
    no_signal = replace(record, is_signal=np.zeros(len(record.at_s)))
    assert judged(no_signal, answers).findings[0].kind == "no-signal-before"
    for result in (judged(cut(record, 3.5), answers), judged(record, None), judged(no_signal, answers)):
        assert result.verdict is Verdict.NOT_SHOWN


def test_sticks_that_still_move_show_that_the_transmitter_was_not_off() -> None:
    result = judge(replace(HELD, live=True, is_armed=False, moved_by_hand=True))
    assert result.verdict is not Verdict.PASSED
    assert found(result, "transmitter-still-on").is_missing


def test_a_preset_whose_effect_on_the_motors_was_not_seen_is_not_shown() -> None:
    preset = Loss(said_after_s=None, disarmed_after_s=None, is_armed=False, preset={3: 930.0})
    assert found(judge(preset), "preset-not-judged").is_missing
    assert judge(preset).verdict is Verdict.NOT_SHOWN


def test_thrust_that_was_not_low_before_is_not_shown() -> None:
    result = judge(Loss(thrust_us=1300.0))
    assert result.verdict is Verdict.NOT_SHOWN
    assert found(result, "thrust-was-not-low").is_missing


def test_other_values_that_still_stir_do_not_show_that_the_transmitter_was_off() -> None:
    preset = Loss(said_after_s=None, disarmed_after_s=0.9, live=True, preset={3: 960.0, 5: 1000.0})
    record, answers = drill(1, preset)
    # Nobody says that the motors were armed, and no answer tells it: only the arming switch was taken back.
    silent = AnswerRecord(answers.at_s, np.zeros(len(answers.at_s)), answers.mode_bits)
    result = judged(record, silent, was_armed=False, on_again_s=ON_S)
    assert result.verdict is Verdict.NOT_SHOWN
    assert found(result, "preset-not-judged").is_missing


def test_the_aircraft_s_own_word_that_it_is_armed_counts() -> None:
    result = judged(*drill(1, Loss(disarmed_after_s=None)), was_armed=False)
    assert found(result, "failsafe-stays-armed").is_dangerous


def test_answers_that_pause_are_not_shown() -> None:
    record, answers = drill(1, Loss())
    keep = (answers.at_s < 2.4) | (answers.at_s > 6)
    paused = AnswerRecord(answers.at_s[keep], answers.is_armed[keep], answers.mode_bits[keep])
    assert [one.kind for one in judged(record, paused).findings] == ["no-answers"]


def test_armed_motors_with_an_action_that_nobody_knows_are_not_shown() -> None:
    result = judge(Loss(disarmed_after_s=None), setup=SILENT)
    assert result.verdict is Verdict.NOT_SHOWN
    assert found(result, "action-not-known").is_missing


@pytest.mark.parametrize(
    ("action", "stops"),
    [("Motors off", True), ("Stop motors", True), ("Disarm", True), ("Land", False), ("Hold place, then land", False)],
)
def test_the_words_of_the_settings_tell_whether_the_motors_stop(action: str, stops: bool) -> None:
    assert with_setup(action=action).stops_motors is stops
    assert with_setup(action=action, action_stops_motors=not stops).stops_motors is not stops
    assert with_setup(action=None).stops_motors is None


Change = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


def _gap(at_s: np.ndarray, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    keep = (at_s < 2.4) | (at_s > 3.6)
    return at_s[keep], pulses[keep]


def _jump(at_s: np.ndarray, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    at_s[200:] -= 2
    return at_s, pulses


BAD: Mapping[str, Change] = {
    "gap": _gap,
    "clock jumps back": _jump,
    "empty": lambda at_s, pulses: (at_s[:0], pulses[:0]),
    "two rows": lambda at_s, pulses: (at_s[:2], pulses[:2]),
    "NaN from the start": lambda at_s, pulses: (at_s, pulses * np.nan),
    "NaN times": lambda at_s, pulses: (at_s * np.nan, pulses),
    "zeros": lambda at_s, pulses: (at_s, pulses * 0),
    "milliseconds": lambda at_s, pulses: (at_s, pulses / 1000),
    "ticks": lambda at_s, pulses: (at_s, np.round(992 + (pulses - 1500) * 1.6)),
    "times in milliseconds": lambda at_s, pulses: (at_s * 1000, pulses),
    "lengths that differ": lambda at_s, pulses: (at_s[:-1], pulses),
    "fewer channels than the settings name": lambda at_s, pulses: (at_s, pulses[:, :2]),
}


@pytest.mark.parametrize("name", list(BAD))
@pytest.mark.parametrize("loss", [Loss(), HELD])
def test_a_bad_record_is_never_a_pass(name: str, loss: Loss) -> None:
    record, answers = drill(1, loss)
    at_s, pulses = BAD[name](record.at_s.copy(), record.pulses_us.copy())
    result = judged(ChannelRecord(at_s, pulses), answers)
    assert result.verdict is not Verdict.PASSED
    assert result.sentence.endswith(".")
    if name != "fewer channels than the settings name":
        assert result.verdict is Verdict.NOT_SHOWN


def test_answers_out_of_order_are_not_shown() -> None:
    record, answers = drill(1, Loss())
    backwards = AnswerRecord(answers.at_s[::-1], answers.is_armed, answers.mode_bits)
    assert judged(record, backwards).findings[0].kind == "answers-unusable"
    uneven = AnswerRecord(answers.at_s[:-1], answers.is_armed, answers.mode_bits)
    assert judged(record, uneven).verdict is Verdict.NOT_SHOWN


def test_an_action_that_never_stops_the_motors_is_dangerous() -> None:
    for seed in range(20):
        result = judge(Loss(disarmed_after_s=None, mode_after_s=0.8), seed, ENDLESS)
        assert result.verdict is Verdict.FAILED
        assert [one.kind for one in result.findings] == ["failsafe-never-ends"]
        assert result.is_dangerous


def test_a_landing_that_was_not_awaited_is_not_shown() -> None:
    result = judge(Loss(disarmed_after_s=None, mode_after_s=0.8), 1, replace(ENDLESS, landing_s=60.0))
    assert result.verdict is Verdict.NOT_SHOWN
    assert result.findings[0].kind == "landing-not-awaited"


def test_a_landing_that_goes_on_beyond_its_limit_is_dangerous() -> None:
    result = judge(Loss(disarmed_after_s=None, mode_after_s=0.8), 1, replace(ENDLESS, landing_s=0.2))
    assert result.verdict is Verdict.FAILED
    assert result.findings[0].kind == "failsafe-stays-armed"
