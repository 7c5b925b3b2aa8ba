"""Laws of the interval arithmetic: against brute force over every tick and what lies between two ticks."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.bench.arming import ArmingSetup, judge_arming
from rotorwright.bench.arming_logic import REST_MARGIN_US
from rotorwright.bench.switches import Switching, SwitchPosition, on_at, stretches

ends = st.integers(850, 2150).map(float) | st.integers(1700, 4300).map(lambda half: half / 2)
ranges = st.builds(Switching, st.sampled_from(["arming", "level", "height", "home"]), st.integers(0, 3), ends, ends)
TICKS = [800 + half / 2 for half in range(2 * 1400 + 1)]


@settings(deadline=None, max_examples=40)
@given(st.lists(ranges, max_size=7), st.integers(1, 3))
def test_every_tick_and_every_half_lies_in_one_stretch_with_what_is_on_there(
    switchings: list[Switching], channel: int
) -> None:
    parts = stretches(switchings, channel)
    index = 0
    for pulse in TICKS:
        while not parts[index].holds(pulse):
            index += 1
        by_hand = {
            one.function for one in switchings if one.channel == channel and one.lowest_us <= pulse <= one.highest_us
        }
        assert set(parts[index].on) == by_hand == set(on_at(switchings, SwitchPosition(channel, pulse)))
        assert sum(part.holds(pulse) for part in parts) == 1


@settings(deadline=None, max_examples=100)
@given(st.lists(ranges, max_size=7), st.integers(1, 3))
def test_stretches_meet_without_a_gap_and_differ_from_their_neighbours(
    switchings: list[Switching], channel: int
) -> None:
    parts = stretches(switchings, channel)
    assert parts[0].lowest_us == 800
    assert parts[-1].highest_us == 2200
    for one, other in pairwise(parts):
        assert one.highest_us == other.lowest_us
        assert one.has_highest != other.has_lowest
        assert one.on != other.on


@settings(deadline=None, max_examples=200)
@given(ends, ends, st.integers(850, 2150))
def test_arming_is_dangerous_just_where_its_range_meets_the_margin_around_the_rest(
    lowest: float, highest: float, rest: int
) -> None:
    setup = ArmingSetup(
        Switching("arming", 5, lowest, highest),
        (),
        channels=8,
        rest_us={5: float(rest)},
        failsafe_stops_motors=True,
        asks_thrust_low=True,
        start_output_percent=5,
    )
    kinds = {one.kind for one in judge_arming(setup).findings}
    pulses = [rest - REST_MARGIN_US + step / 2 for step in range(int(4 * REST_MARGIN_US) + 1)]
    meets = any(lowest <= pulse <= highest for pulse in pulses)
    assert bool(kinds & {"armed-at-power-up", "arm-range-near-rest"}) == meets
    assert ("armed-at-power-up" in kinds) == (lowest <= rest <= highest)
