"""Whatever is recorded, a verdict comes out, and nothing dangerous passes."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from tests.unit.bench.switch_hands import ARMING, BITS, HEALTHY, arms_by, record_moves

from rotorwright.bench.arming import ArmingSetup, Switching, judge_arming, truth_picture_svg
from rotorwright.bench.records import AnswerRecord, ChannelRecord
from rotorwright.bench.verdicts import Verdict

numbers = st.sampled_from([0.0, 1.0, -1.0, 990.0, 1000.0, 1500.0, 2000.0, 65535.0, math.nan, math.inf, 1e-3])
sizes = st.integers(0, 12)


def lists(size: int, *more: int) -> st.SearchStrategy[Any]:
    return arrays.arrays(np.float64, (size, *more), elements=numbers)


@settings(deadline=None, max_examples=150)
@given(st.data(), sizes, sizes, sizes, st.integers(0, 8))
def test_rubbish_is_never_an_exception_and_never_a_pass(
    data: st.DataObject, rows: int, times: int, answers: int, columns: int
) -> None:
    channels = ChannelRecord(
        data.draw(lists(times) | st.just(np.linspace(0, 5, times))),
        data.draw(lists(rows, columns)),
        data.draw(st.none() | lists(rows)),
    )
    said = AnswerRecord(
        data.draw(lists(answers) | st.just(np.linspace(0, 5, answers))),
        data.draw(lists(answers)),
        data.draw(arrays.arrays(np.int64, answers)),
    )
    result = judge_arming(HEALTHY, channels=channels, answers=said, mode_bit_of=BITS)
    assert result.verdict is not Verdict.PASSED
    assert all(one.words for one in result.findings)


pulses = st.integers(900, 2100).map(float)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10**6), pulses, pulses)
def test_an_aircraft_that_arms_by_another_range_passes_only_if_no_position_shown_tells_them_apart(
    seed: int, lowest: float, highest: float
) -> None:
    truth = Switching("arming", 5, lowest, highest)
    session = record_moves(seed, armed=arms_by(truth))
    result = judge_arming(HEALTHY, channels=session.channels, answers=session.answers, mode_bit_of=BITS)
    is_armed_at_rest, is_armed_at_far = truth.is_on(1000), truth.is_on(2000)
    is_clear = all(abs(end - place) > 20 for end in (lowest, highest) for place in (1000, 2000))
    if is_clear and (is_armed_at_rest or not is_armed_at_far):
        assert result.verdict is not Verdict.PASSED
    if is_clear and is_armed_at_rest:
        assert result.is_dangerous


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10**6), st.integers(900, 2100), st.integers(0, 600))
def test_no_range_that_arms_at_the_rest_of_the_switch_passes_whatever_was_measured(
    seed: int, lowest: int, width: int
) -> None:
    arming = Switching("arming", 5, float(lowest), float(lowest + width))
    session = record_moves(seed, armed=arms_by(arming))
    setup = replace(HEALTHY, arming=arming)
    result = judge_arming(setup, channels=session.channels, answers=session.answers, mode_bit_of=BITS)
    if arming.is_on(setup.rest_us[5]):
        assert result.verdict is Verdict.FAILED
        assert result.is_dangerous


setups = st.builds(
    ArmingSetup,
    st.builds(Switching, st.just("arming"), st.integers(-2, 20), numbers, numbers),
    st.lists(st.builds(Switching, st.sampled_from("abc"), st.integers(-2, 20), numbers, numbers), max_size=4).map(
        tuple
    ),
    channels=st.integers(0, 16),
    rest_us=st.dictionaries(st.integers(0, 16), numbers, max_size=4),
    failsafe_stops_motors=st.none() | st.booleans(),
    arms_by_stick=st.booleans(),
    thrust_channel=st.integers(-1, 20),
    thrust_low_us=numbers,
    asks_thrust_low=st.none() | st.booleans(),
    start_output_percent=st.none() | numbers,
    exclusive=st.lists(st.tuples(st.sampled_from("abc"), st.just("arming")), max_size=2).map(tuple),
)


@settings(deadline=None, max_examples=150)
@given(setups)
def test_whatever_the_settings_say_the_verdict_is_plain_data(setup: ArmingSetup) -> None:
    session = record_moves(1)
    result = judge_arming(setup, channels=session.channels, answers=session.answers, mode_bit_of={"a": 0})
    assert json.loads(json.dumps(result.as_json(), allow_nan=False))["check"] == "arming"
    ET.fromstring(truth_picture_svg(setup))
    if None in {setup.failsafe_stops_motors, setup.asks_thrust_low, setup.start_output_percent}:
        assert result.verdict is not Verdict.PASSED


def test_the_healthy_setup_passes_so_that_the_laws_above_can_fail() -> None:
    session = record_moves(1, armed=arms_by(ARMING))
    result = judge_arming(HEALTHY, channels=session.channels, answers=session.answers, mode_bit_of=BITS)
    assert result.verdict is Verdict.PASSED
