"""Laws of the suggestions, on any names and any order."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.settings.successors import Kind, SettingDescription, likeliest_successors, touches_danger

WORDS = st.sampled_from(
    ["gyro", "lamp", "rate", "rates", "min", "max", "1", "2", "motor", "arm", "delay", "dly", "x", "y"]
)
NAMES = st.one_of(st.lists(WORDS, min_size=1, max_size=4).map("_".join), st.text(max_size=8))
NUMBERS = st.none() | st.floats(allow_nan=False, allow_infinity=False, width=32)
SETTINGS = st.builds(
    SettingDescription,
    NAMES,
    st.sampled_from(Kind),
    unit=st.sampled_from(["", "Hz", "s", "ms", "8kB"]),
    default=st.none() | st.sampled_from(["0", "1", "on", "off", "nan", "inf", "1e400", ""]),
    minimum=NUMBERS,
    maximum=NUMBERS,
    choices=st.lists(st.sampled_from(["a", "b", "c"]), unique=True).map(tuple),
    group=st.sampled_from(["", "Lamp", "Gyro"]),
    value=st.none() | st.sampled_from(["0", "7", "x"]),
)
RELEASES = st.lists(SETTINGS, max_size=8, unique_by=lambda each: each.name)


@given(RELEASES, RELEASES)
@settings(max_examples=80, deadline=None)
def test_each_vanished_setting_gets_one_suggestion_and_each_arrived_one_goes_once(
    vanished: list[SettingDescription], arrived: list[SettingDescription]
) -> None:
    found = likeliest_successors(vanished, arrived, at_least=0.0)
    assert [each.old for each in found] == [each.name for each in vanished]
    given_away = [each.new for each in found if each.new is not None]
    assert len(set(given_away)) == len(given_away)
    assert set(given_away) <= {each.name for each in arrived}
    assert all(0.0 <= each.probability <= 1.0 for each in found)
    assert all(each.evidence for each in found if each.new is None)


@given(RELEASES, RELEASES, st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_suggestions_do_not_depend_on_the_order_of_input(
    vanished: list[SettingDescription], arrived: list[SettingDescription], chance: random.Random
) -> None:
    expected = {each.old: each for each in likeliest_successors(vanished, arrived)}
    chance.shuffle(vanished)
    chance.shuffle(arrived)
    assert {each.old: each for each in likeliest_successors(vanished, arrived)} == expected


@given(RELEASES, RELEASES)
@settings(max_examples=60, deadline=None)
def test_what_touches_danger_is_never_offered_first(
    vanished: list[SettingDescription], arrived: list[SettingDescription]
) -> None:
    by_name = {each.name: each for each in arrived}
    for old, each in zip(vanished, likeliest_successors(vanished, arrived, at_least=0.0), strict=True):
        if each.new is None:
            assert not each.may_be_offered_first
        else:
            assert each.may_be_offered_first is not (touches_danger(old) or touches_danger(by_name[each.new]))


@given(RELEASES, RELEASES, st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=60, deadline=None)
def test_asking_for_more_certainty_only_takes_suggestions_away(
    vanished: list[SettingDescription], arrived: list[SettingDescription], one: float, other: float
) -> None:
    few, many = (
        likeliest_successors(vanished, arrived, at_least=limit) for limit in (max(one, other), min(one, other))
    )
    for strict, loose in zip(few, many, strict=True):
        assert strict.new is None or strict == loose
        assert strict.new is None or strict.probability >= max(one, other)
