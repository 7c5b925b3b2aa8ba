"""The aircraft's own answers as its switches are moved by hand."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.unit.bench.switch_hands import (
    ARMING,
    BITS,
    EVERY_SWITCH,
    FUNCTIONS,
    HEALTHY,
    Session,
    arms_by,
    never_arms,
    record_moves,
    stays_armed_once,
)

from rotorwright.bench.arming import ArmingSetup, Switching, judge_arming
from rotorwright.bench.records import AnswerRecord, ChannelRecord
from rotorwright.bench.verdicts import CheckResult, Verdict

SEEDS = range(25)  # 300 of each fault and 1500 healthy records gave no miss and no false alarm either


def judge(session: Session, setup: ArmingSetup = HEALTHY) -> CheckResult:
    return judge_arming(setup, channels=session.channels, answers=session.answers, mode_bit_of=BITS)


def kinds(result: CheckResult) -> list[str]:
    return [one.kind for one in result.findings]


def test_a_healthy_aircraft_passes_whatever_the_hands_and_the_link() -> None:
    verdicts = [judge(record_moves(seed)).verdict for seed in range(100)]
    assert verdicts.count(Verdict.FAILED) == 0
    assert verdicts.count(Verdict.PASSED) >= 95


def test_short_holds_never_fail_a_healthy_aircraft() -> None:
    results = [judge(record_moves(seed, holds_s=(0.3, 1.0))) for seed in range(50)]
    assert {one.verdict for one in results} <= {Verdict.PASSED, Verdict.NOT_SHOWN}
    assert any(one.verdict is Verdict.NOT_SHOWN for one in results)


FAULTS: dict[str, tuple[str, dict[str, Any]]] = {
    "arms everywhere": ("arms-outside-range", {"armed": arms_by(Switching("arming", 5, 800, 2200))}),
    "arms at the other end": ("arms-outside-range", {"armed": arms_by(Switching("arming", 5, 900, 1300))}),
    "arms by another switch": ("arms-outside-range", {"armed": arms_by(Switching("arming", 7, 1700, 2100))}),
    "arms by both": ("arms-outside-range", {"armed": arms_by(ARMING, Switching("arming", 6, 1300, 1700))}),
    "never disarms": ("stays-armed", {"armed": stays_armed_once(ARMING)}),
    "never arms": ("never-armed", {"armed": never_arms}),
    "one function missing": ("function-not-on", {"functions": FUNCTIONS[:2]}),
    "one function always on": (
        "function-on-outside",
        {"functions": (*FUNCTIONS[:2], Switching("right itself", 7, 800, 2200))},
    ),
    "one function by another switch": (
        "function-on-outside",
        {"functions": (*FUNCTIONS[:2], Switching("right itself", 6, 1700, 2100))},
    ),
}
DANGEROUS = ("arms-outside-range", "stays-armed", "function-on-outside")


@pytest.mark.parametrize("name", FAULTS)
def test_an_aircraft_that_does_not_do_what_its_settings_say_is_found_every_time(name: str) -> None:
    kind, fault = FAULTS[name]
    for seed in SEEDS:
        result = judge(record_moves(seed, **fault))
        assert kind in kinds(result), (seed, result.sentence)
        assert result.verdict is (Verdict.NOT_SHOWN if kind == "never-armed" else Verdict.FAILED)
        assert result.is_dangerous == (kind in DANGEROUS)


def test_a_position_in_the_range_where_it_never_arms_is_found() -> None:
    setup = replace(HEALTHY, arming=Switching("arming", 5, 1300, 2100))
    moves = ((5, 1500), (5, 1000), (5, 2000), (5, 1000), (5, 1500), (5, 1000), *EVERY_SWITCH[2:7])
    for seed in SEEDS:
        result = judge(record_moves(seed, moves, armed=arms_by(ARMING)), setup)
        assert result.verdict is Verdict.FAILED
        assert kinds(result)[0] == "does-not-arm", (seed, result.sentence)
        whole = judge(record_moves(seed, moves, armed=arms_by(setup.arming)), setup)
        assert "does-not-arm" not in kinds(whole)


def test_one_refusal_is_not_shown_rather_than_failed() -> None:
    tries = iter([False, True])

    class ArmsTheSecondTime:
        def __init__(self) -> None:
            self.was_on = False
            self.does = False

        def __call__(self, pulses_us: Any, _was: bool) -> bool:
            is_on = ARMING.is_on(pulses_us[4])
            if is_on and not self.was_on:
                self.does = next(tries)
            self.was_on = is_on
            return is_on and self.does

    result = judge(record_moves(7, ((5, 2000), (5, 1000), (5, 2000), (5, 1000)), armed=ArmsTheSecondTime()))
    assert "armed-not-every-time" in kinds(result)
    assert result.verdict is Verdict.NOT_SHOWN


def test_one_refusal_at_a_position_that_was_tried_once_is_not_shown_either() -> None:
    setup = replace(HEALTHY, arming=Switching("arming", 5, 1300, 2100))
    moves = ((5, 1500), (5, 1000), (5, 2000), (5, 1000), *EVERY_SWITCH[2:7])
    result = judge(record_moves(8, moves, armed=arms_by(ARMING)), setup)
    assert kinds(result) == ["armed-not-every-time"]


def test_a_range_that_can_never_arm_is_not_told_a_second_time() -> None:
    setup = replace(HEALTHY, arming=Switching("arming", 5, 2050, 2150))
    assert kinds(judge(record_moves(8, armed=never_arms), setup)) == ["arm-range-beyond"]
    armed = judge(record_moves(8), setup)
    assert kinds(armed) == ["arms-outside-range", "arm-range-beyond"]


def test_a_switch_that_was_on_from_the_start_shows_no_arming() -> None:
    session = record_moves(9, (*EVERY_SWITCH[:7],), holds_s=(2.0, 2.0))
    later = session.channels.at_s > session.channels.at_s[0] + 3.0
    channels = ChannelRecord(session.channels.at_s[later], session.channels.pulses_us[later])
    assert channels.pulses_us[0, 4] > 1900
    assert kinds(judge(Session(channels, session.answers))) == ["arm-range-not-reached"]


def test_a_move_within_the_range_shows_no_arming() -> None:
    setup = replace(HEALTHY, arming=Switching("arming", 5, 1300, 2100))
    moves = ((5, 1500), (5, 2000), (5, 1000), *EVERY_SWITCH[2:7])
    session = record_moves(9, moves, armed=arms_by(setup.arming), holds_s=(2.0, 2.0))
    later = session.channels.at_s > session.channels.at_s[0] + 2.5
    channels = ChannelRecord(session.channels.at_s[later], session.channels.pulses_us[later])
    assert kinds(judge(Session(channels, session.answers), setup)) == ["arm-range-not-reached"]


def test_thrust_that_is_not_low_is_named_as_the_reason_not_to_arm() -> None:
    result = judge(record_moves(3, armed=never_arms, thrust_us=1400.0))
    assert "The thrust stick was not low" in result.sentence
    low = judge(record_moves(3, armed=never_arms))
    assert "may refuse for another reason" in low.sentence


@pytest.mark.parametrize(
    ("moves", "kind"),
    [
        (EVERY_SWITCH[2:7], "switch-not-moved"),
        (EVERY_SWITCH[:2], "function-not-moved"),
        (((5, 1500), (5, 1000), *EVERY_SWITCH[2:7]), "arm-range-not-reached"),
        ((*EVERY_SWITCH[2:7], (5, 2000)), "disarm-not-seen"),
        ((), "switch-not-moved"),
    ],
)
def test_what_was_not_moved_is_not_shown(moves: tuple[tuple[int, float], ...], kind: str) -> None:
    result = judge(record_moves(1, moves))
    assert kind in kinds(result)
    assert result.verdict is Verdict.NOT_SHOWN


def test_a_function_whose_bit_is_not_known_is_not_shown() -> None:
    session = record_moves(1)
    for bits in ({}, {**BITS, "height": 63}, {**BITS, "height": -1}):
        result = judge_arming(HEALTHY, channels=session.channels, answers=session.answers, mode_bit_of=bits)
        assert set(kinds(result)) == {"function-not-told"}
        assert result.verdict is Verdict.NOT_SHOWN


def test_a_position_near_an_end_of_its_range_is_found() -> None:
    moves = ((5, 1708), (5, 1000), *EVERY_SWITCH[2:7])
    result = judge(record_moves(2, moves))
    assert "position-near-edge" in kinds(result)
    assert result.is_dangerous
    assert "position-near-edge" not in kinds(judge(record_moves(2, ((5, 1760), *moves[1:]))))


def test_arming_outside_the_range_may_have_been_the_sticks_where_they_arm_too() -> None:
    session = record_moves(4, armed=arms_by(Switching("arming", 7, 1700, 2100)))
    result = judge(session, replace(HEALTHY, arms_by_stick=True))
    assert "armed-without-switch" in kinds(result)
    assert result.verdict is Verdict.NOT_SHOWN


def test_an_aircraft_without_any_way_to_arm_that_is_armed_is_dangerous() -> None:
    setup = replace(HEALTHY, arming=Switching("arming", 0, 1700, 2100))
    result = judge(record_moves(4), setup)
    assert result.verdict is Verdict.FAILED
    assert result.is_dangerous
    by_stick = judge(record_moves(4), replace(setup, arms_by_stick=True))
    assert by_stick.verdict is Verdict.NOT_SHOWN


def test_an_answer_that_is_only_late_is_not_shown_and_one_that_never_comes_fails() -> None:
    session = record_moves(5, holds_s=(2.5, 3.0))
    late = replace(session, answers=replace_times(session.answers, 0.7))
    assert "answers-late" in kinds(judge(late))
    assert "stays-armed" not in kinds(judge(late))


def test_a_clock_of_the_answers_that_is_a_little_early_fails_nothing() -> None:
    for seed in SEEDS:
        session = record_moves(seed)
        early = replace(session, answers=replace_times(session.answers, -0.15))
        assert judge(early).verdict is not Verdict.FAILED


def test_what_the_aircraft_does_without_a_signal_is_not_compared() -> None:
    session = record_moves(6, (*EVERY_SWITCH, (6, 1500), (6, 1500), (6, 1500)))
    lost_s = session.channels.at_s[-1] - 3.0
    is_signal = (session.channels.at_s < lost_s).astype(float)
    # The receiver repeats its last pulses, and the aircraft has left the function for its failsafe.
    bits = np.where(session.answers.at_s < lost_s, session.answers.mode_bits, 0)
    answers = AnswerRecord(session.answers.at_s, session.answers.is_armed, bits)
    lost = Session(ChannelRecord(session.channels.at_s, session.channels.pulses_us, is_signal), answers)
    assert judge(lost).verdict is Verdict.PASSED
    assert "function-not-on" in kinds(judge(Session(session.channels, answers)))


def replace_times(answers: AnswerRecord, later_s: float) -> AnswerRecord:
    return AnswerRecord(answers.at_s + later_s, answers.is_armed, answers.mode_bits)


GOOD = record_moves(11)
Damage = Callable[[ChannelRecord, AnswerRecord], tuple[ChannelRecord, AnswerRecord]]


def floats(bits: Any) -> Any:
    return bits.astype(float)


def times_of(change: Callable[[Any], Any]) -> Damage:
    return lambda heard, said: (ChannelRecord(change(heard.at_s), heard.pulses_us), said)


def pulses_of(change: Callable[[Any], Any]) -> Damage:
    return lambda heard, said: (ChannelRecord(heard.at_s, change(heard.pulses_us)), said)


def answers_of(change: Callable[[AnswerRecord], AnswerRecord]) -> Damage:
    return lambda heard, said: (heard, change(said))


def jumped_back(at_s: Any) -> Any:
    changed = at_s.copy()
    changed[len(changed) // 2 :] -= 3.0
    return changed


BAD: dict[str, Damage] = {
    "empty channels": lambda heard, said: (ChannelRecord(heard.at_s[:0], heard.pulses_us[:0]), said),
    "two rows": lambda heard, said: (ChannelRecord(heard.at_s[:2], heard.pulses_us[:2]), said),
    "one number": lambda heard, said: (ChannelRecord(np.array(1.0), np.array(1500.0)), said),
    "flat pulses": pulses_of(lambda pulses: pulses[:, 4]),
    "fewer times": lambda heard, said: (ChannelRecord(heard.at_s[:-1], heard.pulses_us), said),
    "more signal marks": lambda heard, said: (ChannelRecord(heard.at_s, heard.pulses_us, np.ones(3)), said),
    "clock jumps back": times_of(jumped_back),
    "times no numbers": times_of(lambda at_s: at_s * math.nan),
    "times in milliseconds": times_of(lambda at_s: at_s * 1000),
    "times stand still": times_of(lambda at_s: at_s * 0),
    "pulses no numbers": pulses_of(lambda pulses: pulses * math.nan),
    "pulses in milliseconds": pulses_of(lambda pulses: pulses / 1000),
    "pulses in receiver steps": pulses_of(lambda pulses: (pulses - 1500) * 1.6 + 992),
    "pulses from -1 to 1": pulses_of(lambda pulses: (pulses - 1500) / 500),
    "pulses constant": pulses_of(lambda pulses: pulses * 0 + 1500),
    "too few channels": pulses_of(lambda pulses: pulses[:, :4]),
    "no signal": lambda heard, said: (
        ChannelRecord(heard.at_s, heard.pulses_us, np.zeros(len(heard.at_s))),
        said,
    ),
    "long silence": lambda heard, said: (ChannelRecord(heard.at_s[::400], heard.pulses_us[::400]), said),
    "answers at another time": times_of(lambda at_s: at_s + 1e6),
    "no answers": answers_of(lambda said: AnswerRecord(said.at_s[:0], said.is_armed[:0], said.mode_bits[:0])),
    "answers of another length": answers_of(lambda said: AnswerRecord(said.at_s, said.is_armed[:-1], said.mode_bits)),
    "answers no numbers": answers_of(lambda said: AnswerRecord(said.at_s, said.is_armed * math.nan, said.mode_bits)),
    "answers neither yes nor no": answers_of(lambda said: AnswerRecord(said.at_s, said.is_armed + 0.5, said.mode_bits)),
    "answers in milliseconds": answers_of(lambda said: AnswerRecord(said.at_s * 1000, said.is_armed, said.mode_bits)),
    "bits not whole": answers_of(lambda said: AnswerRecord(said.at_s, said.is_armed, floats(said.mode_bits + 0.5))),
    "bits no numbers": answers_of(
        lambda said: AnswerRecord(said.at_s, said.is_armed, (said.mode_bits * math.nan).astype(float))
    ),
}


USED_AS_FAR_AS_IT_GOES = {"too few channels", "no signal", "answers at another time"}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_not_shown_with_a_clear_sentence(name: str) -> None:
    channels, answers = BAD[name](GOOD.channels, GOOD.answers)
    result = judge_arming(HEALTHY, channels=channels, answers=answers, mode_bit_of=BITS)
    assert result.verdict is Verdict.NOT_SHOWN, result.findings
    assert len(result.sentence) > 20
    is_used = name in USED_AS_FAR_AS_IT_GOES
    assert (kinds(result) == ["record-unusable"]) != is_used, result.findings
    assert all(one.advice for one in result.findings)


def test_the_good_input_that_was_damaged_passes() -> None:
    assert judge(GOOD).verdict is Verdict.PASSED


def test_bits_that_came_through_a_table_of_floats_are_taken_where_they_are_whole() -> None:
    said = AnswerRecord(GOOD.answers.at_s, GOOD.answers.is_armed, floats(GOOD.answers.mode_bits * 1.0))
    assert judge(Session(GOOD.channels, said)).verdict is Verdict.PASSED


def test_bad_input_hides_no_fault_of_the_settings() -> None:
    channels, answers = BAD["clock jumps back"](GOOD.channels, GOOD.answers)
    setup = replace(HEALTHY, failsafe_stops_motors=False)
    result = judge_arming(setup, channels=channels, answers=answers, mode_bit_of=BITS)
    assert result.verdict is Verdict.FAILED


def test_the_evidence_is_small_and_plain() -> None:
    result = judge(GOOD)
    assert all(len(curve.points) <= 300 for figure in result.figures for curve in figure.curves)
    assert json.loads(json.dumps(result.as_json(), allow_nan=False))["verdict"] == "passed"
    assert {one.title for one in result.grids} >= {"The arming switch as it was moved"}
    slowest = next(one for one in result.measured if one.name.startswith("slowest answer"))
    assert 0 < slowest.value < 0.5
