"""Recordings that nobody can tell much from: the comparison says so, and never calls them the same."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.made_flights import Craft, made_flight

from rotorwright.signals.changes import Change, FlightComparison, Quantity
from rotorwright.signals.comparison import compare_flights
from rotorwright.signals.flight import Flight, FloatArray

RATE_HZ = 500.0


@cache
def before() -> Flight:
    return made_flight(1, rate_hz=RATE_HZ)


@cache
def after() -> Flight:
    return made_flight(2, rate_hz=RATE_HZ)


def with_rate(change: FloatArray | float, rows: slice, axis: int = 0, *, column: str = "rate_rad_s") -> Flight:
    array = np.array(getattr(after(), column))
    array[rows, axis] = change
    changed: dict[str, Any] = {column: array}
    return replace(after(), **changed)


def kept(mask: NDArray[np.bool_]) -> Flight:
    """The flight after with only some of its rows."""
    names = ("at_s", "rate_rad_s", "wanted_rate_rad_s", "raw_rate_rad_s", "throttle", "motors", "rotor_hz")
    changed: dict[str, Any] = {name: getattr(after(), name)[mask] for name in names}
    return replace(after(), **changed)


def quantity(found: FlightComparison, start: str, axis: int = 0) -> Quantity:
    return next(one for one in found.parts[axis].quantities if one.name.startswith(start))


def all_unknown(found: FlightComparison) -> bool:
    return {one.change for one in found.parts} == {Change.CANNOT_TELL}


# --- nothing can be computed -----------------------------------------------------------------------------------------


def empty_of(rows: int) -> Flight:
    return Flight(np.arange(rows, dtype=np.float64) / RATE_HZ, np.zeros((rows, 3)))


HOPELESS = {
    "empty": (empty_of(0), "fewer than three rows"),
    "two rows": (empty_of(2), "fewer than three rows"),
    "five seconds": (empty_of(2500), "10 s are needed"),
    "wrong shape": (
        Flight(np.arange(9000, dtype=np.float64) / RATE_HZ, np.zeros((9000, 2))),
        "three values in each row",
    ),
    "other length": (
        Flight(np.arange(9000, dtype=np.float64) / RATE_HZ, np.zeros((8000, 3))),
        "three values in each row",
    ),
    "no times": (Flight(np.full(9000, np.nan), np.zeros((9000, 3))), "not numbers"),
    "clock stands": (Flight(np.zeros(9000), np.zeros((9000, 3))), "mostly repeat"),
    "milliseconds": (
        Flight(np.arange(9000, dtype=np.float64) * 2.0, np.zeros((9000, 3))),
        "time stamps are in seconds",
    ),
    "ten a second": (Flight(np.arange(9000, dtype=np.float64) / 10, np.zeros((9000, 3))), "are needed"),
}


@pytest.mark.parametrize("name", HOPELESS)
def test_recording_that_holds_nothing_is_said_to(name: str) -> None:
    flown, words = HOPELESS[name]
    for found in (compare_flights(before(), flown), compare_flights(flown, before())):
        assert all_unknown(found)
        assert words in found.axes[0].sentence


def test_which_flight_holds_nothing_is_said() -> None:
    assert "the flight after: it has fewer" in compare_flights(before(), empty_of(2)).axes[0].sentence


# --- some of it cannot -----------------------------------------------------------------------------------------------


def test_sound_twin_of_all_these_is_the_same() -> None:
    found = compare_flights(before(), after())
    assert {one.change for one in found.parts} == {Change.SAME}
    assert found.change is Change.SAME
    assert found.said == ()


def test_gaps_and_jumps_back_cost_only_what_they_touch() -> None:
    at_s = np.array(after().at_s)
    at_s[9_000:] += 5.0
    at_s[20_000:] -= 12.0
    found = compare_flights(before(), replace(after(), at_s=at_s))
    assert {one.change for one in found.axes} == {Change.SAME}
    assert "1 gaps in time, 1 time stamps that repeat or jump back" in found.said[0]


def test_gaps_every_second_leave_nothing_to_tell() -> None:
    at_s = after().at_s + 3.0 * np.floor(after().at_s)
    found = compare_flights(before(), replace(after(), at_s=at_s))
    assert all_unknown(found)
    assert "gaps or jumps" in found.axes[0].sentence


def test_rows_missing_all_over_are_bridged_and_said() -> None:
    mask = np.random.default_rng(3).random(len(after().at_s)) > 0.03
    found = compare_flights(before(), kept(mask))
    assert any("even grid" in one for one in found.said)
    assert not {Change.WORSE, Change.BETTER} & {one.change for one in found.axes}
    assert quantity(found, "filter delay").change is Change.SAME


def test_uneven_time_stamps_are_brought_onto_an_even_grid() -> None:
    jitter = np.random.default_rng(4).uniform(-0.45, 0.45, len(after().at_s)) / RATE_HZ
    found = compare_flights(before(), replace(after(), at_s=after().at_s + jitter))
    assert any("even grid" in one for one in found.said)
    assert Change.BETTER not in {one.change for one in found.axes}


def test_constant_rate_is_no_quiet_rate() -> None:
    found = compare_flights(before(), with_rate(0.25, slice(None)))
    assert [one.change for one in found.axes] == [Change.CANNOT_TELL, Change.SAME, Change.SAME]
    assert "stands still" in found.axes[0].sentence
    assert found.change is Change.CANNOT_TELL


def test_constant_raw_rate_is_no_quiet_rate() -> None:
    found = compare_flights(before(), with_rate(0.0, slice(None), column="raw_rate_rad_s"))
    assert found.axes[0].change is Change.CANNOT_TELL
    assert "raw rate" in found.axes[0].sentence


def test_sensor_at_its_end_is_seen() -> None:
    raw = np.clip(np.asarray(after().raw_rate_rad_s) * 6, -8.7, 8.7)
    found = compare_flights(before(), replace(after(), raw_rate_rad_s=raw))
    assert Change.SAME not in {one.change for one in found.axes}
    assert "end of its sensor's range" in found.axes[0].sentence


def test_few_frames_at_the_end_of_the_sensor_are_left_out_and_said() -> None:
    found = compare_flights(before(), with_rate(17.45, slice(5000, 5040)))
    assert found.axes[0].change is Change.SAME
    assert any("end of the sensor's range" in one for one in found.said)


def test_few_values_that_are_not_numbers_are_left_out_and_said() -> None:
    found = compare_flights(before(), with_rate(np.nan, slice(5000, 5700)))
    assert found.axes[0].change is Change.SAME
    assert any("not numbers" in one for one in found.said)


def test_endless_values_are_left_out_too() -> None:
    found = compare_flights(before(), with_rate(np.inf, slice(5000, 5003)))
    assert found.axes[0].change is Change.SAME


def test_rate_that_is_hardly_ever_a_number_cannot_be_told() -> None:
    found = compare_flights(before(), with_rate(np.nan, slice(0, 25_000)))
    assert found.axes[0].change is Change.CANNOT_TELL
    assert "not numbers" in found.axes[0].sentence


def test_degrees_taken_for_radians_are_seen() -> None:
    wild = {name: np.degrees(getattr(after(), name)) for name in ("rate_rad_s", "raw_rate_rad_s", "wanted_rate_rad_s")}
    found = compare_flights(before(), replace(after(), **wild))
    assert {one.change for one in found.axes} == {Change.CANNOT_TELL}
    gentle = {name: column * 0.1 for name, column in wild.items()}
    quiet = {name: getattr(before(), name) * 0.1 for name in wild}
    found = compare_flights(replace(before(), **quiet), replace(after(), **gentle))
    assert {one.change for one in found.axes} == {Change.CANNOT_TELL}
    assert "degrees" in found.axes[0].sentence


# --- something was not recorded --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "name", "words"),
    [
        ("raw_rate_rad_s", "filter delay", "no raw rate was recorded in the flight after"),
        ("wanted_rate_rad_s", "t50", "no wanted rate was recorded in the flight after"),
        ("rotor_hz", "vibration", "no speed of the rotors was recorded in the flight after"),
    ],
)
def test_what_was_not_recorded_is_said(column: str, name: str, words: str) -> None:
    without: dict[str, Any] = {column: None}
    found = compare_flights(before(), replace(after(), **without))
    one = quantity(found, name)
    assert one.is_missing
    assert one.change is Change.CANNOT_TELL
    assert one.why == words


def test_without_what_was_wanted_nobody_can_tell_the_response() -> None:
    found = compare_flights(replace(before(), wanted_rate_rad_s=None), replace(after(), wanted_rate_rad_s=None))
    assert {one.change for one in found.axes} == {Change.CANNOT_TELL}
    assert "no wanted rate was recorded" in found.axes[0].sentence


def test_stick_that_never_moved_tells_no_response() -> None:
    wanted = np.array(after().wanted_rate_rad_s)
    wanted[:, 2] = 0
    found = compare_flights(before(), replace(after(), wanted_rate_rad_s=wanted))
    assert found.axes[2].change is Change.CANNOT_TELL
    assert "hardly moved" in found.axes[2].sentence


def test_without_raw_rate_and_rotors_the_rest_still_tells() -> None:
    bare = [replace(one, raw_rate_rad_s=None, rotor_hz=None, motors=None) for one in (before(), after())]
    found = compare_flights(bare[0], bare[1])
    assert {one.change for one in found.axes} == {Change.SAME}
    assert "not told: noise before the filters" in found.axes[0].sentence
    assert found.motors.change is Change.CANNOT_TELL


def test_throttle_in_microseconds_is_not_taken_for_throttle() -> None:
    column = 1000 + 1000 * np.asarray(after().throttle)
    found = compare_flights(before(), replace(after(), throttle=column))
    assert any("no throttle from 0 to 1" in one for one in found.said)


def test_flights_that_share_no_throttle_cannot_be_compared_in_noise() -> None:
    high = np.asarray(after().throttle) * 0.05 + 0.9
    found = compare_flights(before(), replace(after(), throttle=high))
    assert found.axes[0].change is Change.CANNOT_TELL
    assert "hardly share any throttle" in found.axes[0].sentence


def with_ground(flown: Flight, shaken_rad_s: float) -> Flight:
    """The flight after a minute on the ground, motors off: the aircraft is carried, the sticks are tried."""
    rng = np.random.default_rng(5)
    ground = 30_000
    shaken = shaken_rad_s * rng.normal(size=(ground, 3))
    sticks = np.repeat(10 * shaken_rad_s * rng.normal(size=(ground // 250, 3)), 250, axis=0)
    return Flight(
        np.arange(ground + len(flown.at_s), dtype=np.float64) / RATE_HZ,
        np.concatenate((shaken, flown.rate_rad_s)),
        np.concatenate((sticks, np.asarray(flown.wanted_rate_rad_s))),
        np.concatenate((shaken, np.asarray(flown.raw_rate_rad_s))),
        np.concatenate((np.zeros(ground), np.asarray(flown.throttle))),
    )


def test_what_is_done_on_the_ground_does_not_count_as_flight() -> None:
    found = compare_flights(with_ground(before(), 0.01), with_ground(after(), 0.3))
    assert {one.change for one in found.axes} == {Change.SAME}


def test_motors_at_their_limit_are_found() -> None:
    motors = np.array(after().motors)
    rows = np.random.default_rng(6).random(len(motors)) < 0.1
    motors[rows, 2] = 1.0
    found = compare_flights(before(), replace(after(), motors=motors))
    assert found.motors.change is Change.WORSE
    assert found.change is Change.WORSE
    assert "The motors are worse: time with a motor at its limit" in found.motors.sentence


# --- what comes out --------------------------------------------------------------------------------------------------


def test_result_is_plain_data_and_small() -> None:
    found = compare_flights(before(), replace(after(), raw_rate_rad_s=None))
    data = found.as_json()
    assert data["parts"][0]["axis"] == "roll"
    assert next(one for one in data["parts"][0]["quantities"] if one["is_missing"])["before"] is None
    assert all(len(points) <= 300 for one in found.figures for _, points in one.curves)
    assert [one.title for one in found.figures][::3] == ["noise of roll", "step response of roll"]


def test_progress_rises_to_its_end() -> None:
    told: list[tuple[str, int, int]] = []
    compare_flights(before(), after(), progress=lambda doing, done, of: told.append((doing, done, of)))
    assert [one[1] for one in told] == sorted(one[1] for one in told)
    assert told[-1] == ("reading the flight after", 200, 200)


def test_noise_too_small_to_matter_is_the_same_however_much_it_grew() -> None:
    crafts = [Craft(vibration=0, noise=part, filter_hz=60) for part in (0.01, 0.03)]
    small = [made_flight(seed, rate_hz=RATE_HZ, craft=one) for seed, one in enumerate(crafts)]
    found = quantity(compare_flights(small[0], small[1]), "noise after the filters, 100")
    assert found.difference > 0.5
    assert found.after < 0.05
    assert found.change is Change.SAME
