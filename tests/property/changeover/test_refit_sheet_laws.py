"""The laws of refits in the sheet: what is written can be set, and what is told of it is true."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from tests.unit.changeover.test_refitting import DELAY, FIFTH, NEW, OLD, STICK, largest_deviation, refit, reported_dps
from tests.unit.settings.builders import Pair, about, notes

from rotorwright.feel.filters import Chain, Filter, FilterKind, butterworth
from rotorwright.settings.carry_over import DecisionKind

if TYPE_CHECKING:
    from rotorwright.settings.decisions import Decision, Write

a_search_takes_its_time = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
TOPS = st.integers(0, 2000) | st.just(600)
BENDS, CUTS = st.integers(0, 100), st.integers(0, 500)
ENTRIES = {"third": STICK, "fifth": FIFTH, "delay": DELAY}


def refits(decision: Decision) -> tuple[Write, ...]:
    return next((each.writes for each in decision.options if each.key == "refit"), decision.writes)


@a_search_takes_its_time
@given(st.sampled_from(sorted(ENTRIES)), TOPS, BENDS, CUTS)
def test_every_refit_is_within_type_range_and_steps_and_leaves_every_other_line_alone(
    entry: str, top: int, bend: int, cut: int
) -> None:
    pair = Pair(OLD, NEW, notes(ENTRIES[entry]))
    before = pair.sheet(TOP=top, BEND=bend, CUT=cut)
    after = refit(pair, before)
    assert [each.found for each in after.decisions] == [each.found for each in before.decisions]
    for was, now in zip(before.decisions, after.decisions, strict=True):
        if was.rule != "refit-wanted":
            assert now == was
            continue
        event(str(now.kind))
        assert (now.ours, now.new_names, now.theirs) == (was.ours, was.new_names, was.theirs)
        assert (now.kind is DecisionKind.REFIT) == (now.options == ())
        assert now.options in {(), was.options, (now.options[:1] + was.options)}
        for write in refits(now):
            setting = NEW[write.name]
            assert setting.refusal(write.value) is None
            assert write.value != setting.default
            assert setting.minimum is not None
            steps = (float(write.value.number) - setting.minimum.number) / (setting.increment or 1)
            assert steps == pytest.approx(round(steps), abs=1e-4)
    assert refit(pair, after) == after


@a_search_takes_its_time
@given(st.sampled_from([3, 5]), TOPS, BENDS)
def test_the_deviation_told_is_that_of_the_values_written_and_decides_who_decides(
    power: int, top: int, bend: int
) -> None:
    pair = Pair(OLD, NEW, notes(STICK if power == 3 else FIFTH))
    decision = about(refit(pair, pair.sheet(TOP=top, BEND=bend)), "TOP")
    if decision.kind is DecisionKind.ADOPT:
        return
    apart = largest_deviation(top, bend / 100, decision, power=power)
    event(f"{decision.kind}, exact: {apart < 1e-3}")
    if "that is the same curve" in decision.reason:
        assert apart < 1e-5 * max(top, 1)
    else:
        assert reported_dps(decision) == pytest.approx(apart, rel=0.06)
    assert (decision.kind is DecisionKind.REFIT) == (apart <= max(2.0, 0.01 * top) + 1e-9)


@a_search_takes_its_time
@given(st.integers(1, 200), BENDS)
def test_a_curve_that_can_be_set_equal_is_set_equal(tens: int, bend: int) -> None:
    pair = Pair(OLD, NEW, notes(STICK))
    decision = about(refit(pair, pair.sheet(TOP=10 * tens, BEND=bend)), "TOP")
    if decision.kind is not DecisionKind.ADOPT:
        assert decision.kind is DecisionKind.REFIT
        assert "that is the same curve" in decision.reason


@a_search_takes_its_time
@given(st.integers(10, 500))
def test_a_delay_taken_without_asking_is_equal_within_the_tolerance_and_lets_the_stick_through(cut: int) -> None:
    """Against the response of both filters, asked for here once more."""
    pair = Pair(OLD, NEW, notes(DELAY))
    decision = about(refit(pair, pair.sheet(CUT=cut)), "CUT")
    if decision.kind is not DecisionKind.REFIT:
        event(str(decision.kind))
        return
    event("taken")
    new_cut = next((float(each.value.number) for each in decision.writes), 100.0)
    old = Chain((Filter(FilterKind.LAG_EULER, cut),), 4000).response(20)
    new = Chain(butterworth(3, new_cut), 4000).response(20)
    assert abs(old.group_delay_s - new.group_delay_s) <= 0.05e-3
    assert new.gain > np.sqrt(0.5)
