"""Faults of arming that the settings alone show, each beside its healthy twin."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from tests.unit.bench.switch_hands import FUNCTIONS, HEALTHY

from rotorwright.bench.arming import ArmingSetup, Switching, judge_arming
from rotorwright.bench.arming_logic import logic_findings
from rotorwright.bench.verdicts import Verdict


def changed(**changes: Any) -> ArmingSetup:
    return replace(HEALTHY, **changes)


def arming(lowest_us: float, highest_us: float, channel: int = 5) -> ArmingSetup:
    return changed(arming=Switching("arming", channel, lowest_us, highest_us))


def with_function(function: str, channel: int, lowest_us: float, highest_us: float) -> ArmingSetup:
    return changed(functions=(*FUNCTIONS, Switching(function, channel, lowest_us, highest_us)))


def kinds(setup: ArmingSetup) -> set[str]:
    return {one.kind for one in logic_findings(setup)}


DANGEROUS = [
    ("armed-at-power-up", arming(900, 1300)),
    ("armed-at-power-up", changed(rest_us={**HEALTHY.rest_us, 5: 2000.0})),
    ("arm-range-near-rest", arming(1030, 1300)),
    ("arm-range-near-rest", changed(rest_us={**HEALTHY.rest_us, 5: 1660.0})),
    ("no-way-to-disarm", arming(900, 2100)),
    ("no-way-to-disarm", arming(1000, 2000)),
    ("no-way-to-disarm", arming(1020, 1990)),
    ("arming-given-twice", with_function("arming", 8, 1700, 2100)),
    ("exclusive-overlap", with_function("right itself", 5, 1500, 1800)),
    ("exclusive-at-rest", with_function("right itself", 7, 900, 1200)),
    ("no-such-channel", arming(1700, 2100, channel=14)),
    ("no-such-channel", arming(1700, 2100, channel=-1)),
    ("function-on-stick", arming(1700, 2100, channel=3)),
    ("function-on-stick", with_function("lights", 4, 1700, 2100)),
    ("failsafe-keeps-motors", changed(failsafe_action="hold", failsafe_stops_motors=False)),
    ("thrust-low-not-asked", changed(asks_thrust_low=False)),
    ("thrust-rests-high", changed(asks_thrust_low=False, rest_us={**HEALTHY.rest_us, 3: 1500.0})),
    ("start-output-high", changed(start_output_percent=14.0)),
]
WRONG = [
    ("arm-range-empty", arming(1700, 1300)),
    ("arm-range-beyond", arming(2050, 2100)),
    ("arm-range-beyond", arming(850, 950)),
    ("arm-range-narrow", arming(1700, 1710)),
    ("arm-range-narrow", arming(2000, 2100)),
    ("no-arming", arming(1700, 2100, channel=0)),
    ("no-such-channel", with_function("lights", 13, 1700, 2100)),
    ("function-given-twice", with_function("height", 8, 1700, 2100)),
    ("function-never-on", with_function("lights", 8, 2050, 2150)),
    ("function-never-on", with_function("lights", 8, 1700, 1300)),
    ("exclusive-overlap", changed(exclusive=(("level", "height"),), functions=(
        Switching("level", 6, 900, 1400), Switching("height", 6, 1300, 1700)))),
    ("exclusive-at-rest", changed(exclusive=(("level", "height"),), functions=(
        Switching("level", 6, 900, 1400), Switching("height", 7, 900, 1300)))),
    ("thrust-rests-high", changed(rest_us={**HEALTHY.rest_us, 3: 1500.0})),
]  # fmt: skip
UNKNOWN = [
    ("rest-unknown", changed(rest_us={3: 990.0})),
    ("rest-unknown", changed(rest_us={3: 990.0, 5: math.nan})),
    ("range-unreadable", arming(math.nan, 2100)),
    ("failsafe-unknown", changed(failsafe_stops_motors=None)),
    ("thrust-low-unknown", changed(asks_thrust_low=None)),
    ("start-output-unknown", changed(start_output_percent=None)),
    ("start-output-unknown", changed(start_output_percent=math.nan)),
    ("start-output-unknown", changed(start_output_percent=-5.0)),
]
HEALTHY_TWINS = [
    HEALTHY,
    changed(arming=Switching("arming", 5, 900, 1300), rest_us={**HEALTHY.rest_us, 5: 2000.0}),
    arming(1300, 1700),
    arming(1075, 2100),
    arming(1700, 2012),
    changed(functions=(*FUNCTIONS[:2], Switching("right itself", 5, 1300, 1690))),
    with_function("height", 6, 1900, 2100),
    with_function("lights", 8, 900, 900),
    with_function("lights", 0, 900, 2100),
    with_function("lights", 12, 1700, 2100),
    changed(exclusive=(("level", "height"),)),
    changed(exclusive=(("level", "somewhere else"), ("level", "level"))),
    changed(failsafe_action="motors off"),
    changed(start_output_percent=7.0),
    changed(start_output_percent=0.0),
    changed(rest_us={**HEALTHY.rest_us, 3: 1040.0}),
    changed(arms_by_stick=True),
]


@pytest.mark.parametrize(("kind", "setup"), DANGEROUS, ids=[kind for kind, _ in DANGEROUS])
def test_a_dangerous_fault_is_found_by_its_kind_and_fails(kind: str, setup: ArmingSetup) -> None:
    found = [one for one in logic_findings(setup) if one.kind == kind]
    assert found
    assert all(one.is_dangerous and not one.is_missing and one.words and one.advice for one in found)
    result = judge_arming(setup)
    assert result.verdict is Verdict.FAILED
    assert result.is_dangerous


@pytest.mark.parametrize(("kind", "setup"), WRONG, ids=[kind for kind, _ in WRONG])
def test_a_fault_that_hurts_nobody_fails_too(kind: str, setup: ArmingSetup) -> None:
    found = [one for one in logic_findings(setup) if one.kind == kind]
    assert found
    assert not any(one.is_dangerous or one.is_missing for one in found)
    assert judge_arming(setup).verdict is Verdict.FAILED


@pytest.mark.parametrize(("kind", "setup"), UNKNOWN, ids=[kind for kind, _ in UNKNOWN])
def test_what_is_not_known_is_not_shown(kind: str, setup: ArmingSetup) -> None:
    assert {(one.kind, one.is_missing) for one in logic_findings(setup)} == {(kind, True)}
    assert judge_arming(setup).verdict is Verdict.NOT_SHOWN


@pytest.mark.parametrize("setup", HEALTHY_TWINS)
def test_a_healthy_twin_has_no_finding(setup: ArmingSetup) -> None:
    assert kinds(setup) == set()


def test_every_kind_has_words_of_its_own() -> None:
    words = {one.kind: one.words for _, setup in DANGEROUS + WRONG for one in logic_findings(setup)}
    assert len(set(words.values())) == len(words)


def test_the_settings_alone_do_not_pass() -> None:
    result = judge_arming(HEALTHY)
    assert result.verdict is Verdict.NOT_SHOWN
    assert [one.kind for one in result.findings] == ["not-measured"]


def test_the_most_dangerous_finding_gives_the_sentence() -> None:
    result = judge_arming(replace(arming(900, 1300), failsafe_stops_motors=None))
    assert result.sentence.startswith("The arming switch rests at 1000 µs, inside its range")


def test_the_near_rest_words_say_how_near() -> None:
    assert "only 30 µs from its range" in judge_arming(arming(1030, 1300)).sentence


def test_two_ranges_that_cannot_both_be_meant_are_told_with_their_pulses() -> None:
    found = next(one for one in logic_findings(with_function("right itself", 5, 1500, 1800)))
    assert "1700 to 1800 µs of channel 5" in found.words


def test_the_truth_table_says_what_is_on_everywhere() -> None:
    grid = judge_arming(HEALTHY).grids[0]
    assert ("5", "1700 to 2100", "arming", "") in grid.rows
    assert ("5", "800 to below 1700", "nothing", "rests here") in grid.rows
    assert ("6", "1300", "level, height", "") in grid.rows
    assert len({len(row) for row in grid.rows}) == 1


def test_arming_by_the_sticks_stands_in_the_table() -> None:
    rows = judge_arming(changed(arms_by_stick=True)).grids[0].rows
    assert rows[-1][0] == "sticks"
