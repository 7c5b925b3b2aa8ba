"""Laws of comparing flights: what must not change the verdict, and what must."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_flights import Craft, made_flight

from rotorwright.signals.changes import AxisComparison, Change, FlightComparison, Quantity
from rotorwright.signals.comparison import compare_flights
from rotorwright.signals.flight import Flight

RATE_HZ = 500.0
USUAL = Craft()
AXIAL = ("rate_rad_s", "wanted_rate_rad_s", "raw_rate_rad_s")


@cache
def flight(seed: int, craft: Craft = USUAL, lift: float = 0.35, sticks: float = 1.0) -> Flight:
    return made_flight(seed, rate_hz=RATE_HZ, craft=craft, lift=lift, sticks=sticks)


@cache
def usual() -> FlightComparison:
    return compare_flights(flight(1), flight(2))


def rows(flown: Flight, first: int, last: int) -> Flight:
    names = [one.name for one in fields(flown) if getattr(flown, one.name) is not None and one.name != "source"]
    return replace(flown, **{name: getattr(flown, name)[first:last] for name in names})


def turned_axes(flown: Flight, order: tuple[int, ...]) -> Flight:
    return replace(flown, **{name: getattr(flown, name)[:, order] for name in AXIAL})


def numbers(part: AxisComparison) -> list[tuple[str, float, float, float]]:
    return [(one.name, one.difference, one.low, one.high) for one in part.quantities]


def named(part: AxisComparison, start: str) -> Quantity:
    return next(one for one in part.quantities if one.name.startswith(start))


# --- what must not change the verdict --------------------------------------------------------------------------------


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_flight_against_itself_is_the_same_and_said_to_show_nothing(seed: int) -> None:
    flown = made_flight(seed, rate_hz=RATE_HZ, lasts_s=120)
    found = compare_flights(flown, flown)
    assert {one.change for one in found.parts} <= {Change.SAME, Change.CANNOT_TELL}
    assert found.axes[0].change is Change.SAME
    assert any("one and the same recording" in one for one in found.said)
    assert all(one.difference == 0 for part in found.parts for one in part.quantities if not one.is_missing)


@settings(max_examples=5, deadline=None)
@given(shift_s=st.floats(-1e5, 1e5))
def test_another_start_of_the_clock_changes_nothing(shift_s: float) -> None:
    late = replace(flight(2), at_s=flight(2).at_s + shift_s)
    for ours, theirs in zip(compare_flights(flight(1), late).parts, usual().parts, strict=True):
        assert ours.change is theirs.change
        for one, other in zip(numbers(ours), numbers(theirs), strict=True):
            assert one[1:] == pytest.approx(other[1:], abs=1e-3, nan_ok=True)


@pytest.mark.parametrize("order", [(1, 0, 2), (2, 0, 1), (1, 2, 0)])
def test_another_order_of_the_axes_is_another_order_of_the_verdicts(order: tuple[int, ...]) -> None:
    found = compare_flights(turned_axes(flight(1), order), turned_axes(flight(2), order))
    for ours, axis in zip(found.axes, order, strict=True):
        theirs = usual().axes[axis]
        assert ours.change is theirs.change
        for one, other in zip(numbers(ours), numbers(theirs), strict=True):
            assert one[1:] == pytest.approx(other[1:], rel=1e-4, abs=1e-6, nan_ok=True)


@settings(max_examples=5, deadline=None)
@given(factor=st.floats(0.3, 3.0))
def test_both_flights_scaled_alike_differ_as_before(factor: float) -> None:
    # Only the floor below which noise is harmless, and the least move of a stick, know of units.
    scaled = [replace(one, **{name: getattr(one, name) * factor for name in AXIAL}) for one in (flight(1), flight(2))]
    found = compare_flights(scaled[0], scaled[1])
    for ours, theirs in zip(found.axes, usual().axes, strict=True):
        for name in ("noise after", "noise before", "vibration", "filter delay"):
            assert named(ours, name).difference == pytest.approx(named(theirs, name).difference, abs=1e-3)


def test_flights_exchanged_turn_every_difference_round() -> None:
    back = compare_flights(flight(2), flight(1))
    for ours, theirs in zip(back.axes, usual().axes, strict=True):
        for one, other in zip(ours.quantities, theirs.quantities, strict=True):
            turned = 1 / (1 + other.difference) - 1 if other.is_ratio else -other.difference
            assert one.difference == pytest.approx(turned, rel=1e-6, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize(("lift", "sticks"), [(0.5, 1.0), (0.3, 0.6), (0.42, 1.5)])
def test_another_way_of_flying_is_not_a_change_of_the_aircraft(lift: float, sticks: float) -> None:
    # Vibration grows with the rotors' speed, so without equal throttle this would be much worse, or much better.
    for seed in range(3):
        found = compare_flights(flight(seed), flight(50 + seed, lift=lift, sticks=sticks))
        assert not {Change.WORSE, Change.BETTER} & {one.change for one in found.axes}, seed


def test_halves_of_one_flight_are_hardly_ever_called_a_change() -> None:
    # The same made process with new noise, sticks, wind and rotors in each half: 100 flights, 300 axes, at least 99 %.
    seen: Counter[Change] = Counter()
    for seed in range(100):
        flown = made_flight(1000 + seed, rate_hz=RATE_HZ, lasts_s=60)
        middle = len(flown.at_s) // 2
        found = compare_flights(rows(flown, 0, middle), rows(flown, middle, 2 * middle))
        seen.update(one.change for one in found.parts)
    assert seen[Change.SAME] + seen[Change.CANNOT_TELL] >= 0.99 * seen.total(), seen


# --- what must -------------------------------------------------------------------------------------------------------

CHANGES = {
    "a quarter less gain": (Craft(gain=0.75), "t50 of the step", 0.25),
    "more vibration of the rotors": (Craft(vibration=1.3), "vibration at", 0.30),
    "a millisecond more delay": (Craft(added_delay_s=1e-3), "filter delay", 1.0),
}


@pytest.mark.parametrize("change", CHANGES)
def test_real_change_is_found_on_every_axis(change: str) -> None:
    craft, name, size = CHANGES[change]
    missed: list[Change] = []
    for seed in range(6):
        found = compare_flights(flight(seed), flight(100 + seed, craft))
        missed += [one.change for one in found.axes if one.change is not Change.WORSE]
        assert Change.SAME not in missed
        for one in found.axes:
            assert named(one, name).low <= size * 1.15
            assert named(one, name).high >= size * 0.85
    assert len(missed) <= 1  # of 18


@pytest.mark.parametrize("change", CHANGES)
def test_real_change_taken_back_is_called_better(change: str) -> None:
    craft, name, _ = CHANGES[change]
    found = compare_flights(flight(3, craft), flight(4))
    seen = [named(one, name) for one in found.axes]
    assert Change.BETTER in {one.change for one in seen}
    assert all(one.high < 0 for one in seen)


def test_short_flight_of_a_weaker_loop_is_never_called_the_same() -> None:
    for seed in range(8):
        pair = made_flight(2 * seed, lasts_s=30), made_flight(2 * seed + 1, lasts_s=30, craft=Craft(gain=0.75))
        assert Change.SAME not in {one.change for one in compare_flights(*pair).axes}, seed
