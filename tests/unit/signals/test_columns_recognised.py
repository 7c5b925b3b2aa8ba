"""Columns without a map: what they are taken for, in which unit, why, and when nobody can tell."""

from __future__ import annotations

import re

import numpy as np
import pytest
from tests.unit.signals.flight_columns import made_flight, plain_columns

from rotorwright.signals.column_map import Place, read_column_map
from rotorwright.signals.columns import columns_of_flight, flight_from_columns, take_flight
from rotorwright.signals.recording_errors import (
    ColumnsMissingError,
    ColumnsUnclearError,
    RecordingError,
    RecordingTimeError,
    RecordingTooShortError,
    RecordingUnitError,
)


def test_usual_names_in_usual_units_become_a_flight_in_ours() -> None:
    flight, said = flight_from_columns(plain_columns(), source="log")
    made = made_flight()
    assert np.allclose(flight.at_s, made.at_s)
    assert np.allclose(flight.rate_rad_s, made.rate_rad_s)
    assert flight.wanted_rate_rad_s is not None
    assert made.wanted_rate_rad_s is not None
    assert np.allclose(flight.wanted_rate_rad_s, made.wanted_rate_rad_s)
    assert flight.motors is not None
    assert made.motors is not None
    assert np.allclose(flight.motors, made.motors)
    assert flight.force_m_s2 is not None
    assert made.force_m_s2 is not None
    assert np.allclose(flight.force_m_s2, made.force_m_s2)
    assert flight.throttle is not None
    assert made.throttle is not None
    assert np.allclose(flight.throttle, made.throttle)
    assert flight.raw_rate_rad_s is None
    assert flight.source == "log"
    words = r"gyro_x, gyro_y, gyro_z are taken for the rate roll, pitch, yaw, in deg/s: by name; values up to"
    assert any(re.match(words, each) for each in said)
    assert any("time is taken for the time, in us" in each and "1000 rows a second" in each for each in said)


@pytest.mark.parametrize(("unit", "factor"), [("s", 1e-6), ("ms", 1e-3), ("us", 1.0)])
@pytest.mark.parametrize("rate_hz", [25.0, 500.0, 4000.0])
def test_the_unit_of_the_time_is_told_by_the_size_of_its_step(unit: str, factor: float, rate_hz: float) -> None:
    columns = plain_columns()
    columns["time"] = np.arange(4000.0) * (1e6 / rate_hz * factor)
    _, _, column_map = take_flight(columns)
    assert column_map[Place("time")].unit == unit


def test_a_step_of_no_recorder_is_refused_with_its_size() -> None:
    columns = plain_columns()
    columns["time"] = np.arange(4000.0) * 3.6e6
    with pytest.raises(RecordingUnitError, match=r"counts up by 3.6e\+06 a row"):
        flight_from_columns(columns)


@pytest.mark.parametrize(
    ("name", "unit"),
    [("gyro_{} (deg/s)", "deg/s"), ("gyro{}_dps", "deg/s"), ("Gyro {} [rad/s]", "rad/s"), ("rate_{}_rad_s", "rad/s")],
)
def test_a_unit_in_the_name_goes_before_the_size_of_the_values(name: str, unit: str) -> None:
    columns = plain_columns()
    for axis in "xyz":
        columns[name.format(axis)] = columns.pop(f"gyro_{axis}") / 10
    _, said, column_map = take_flight(columns)
    assert {column_map[Place("rate", axis)].unit for axis in ("roll", "pitch", "yaw")} == {unit}
    assert any("the unit stands beside the name" in each for each in said)


def test_rates_that_could_be_of_either_unit_are_refused_not_guessed() -> None:
    columns = {name: values / 8 for name, values in plain_columns().items() if name.startswith("gyro")}
    columns["time"] = plain_columns()["time"]
    with pytest.raises(RecordingUnitError, match=r"gyro_x, gyro_y, gyro_z\) cannot be told"):
        flight_from_columns(columns)


def test_a_name_with_rad_s_over_values_in_deg_s_is_refused_with_the_likely_unit() -> None:
    columns = plain_columns()
    for axis in "xyz":
        columns[f"gyro_{axis}_rad_s"] = columns.pop(f"gyro_{axis}") * 5
    with pytest.raises(RecordingUnitError, match=r"gyro_x_rad_s \(rate roll\) cannot be in rad/s") as caught:
        flight_from_columns(columns)
    assert "In deg/s they could be." in caught.value.why


def test_two_columns_that_fit_one_axis_are_refused_by_name() -> None:
    columns = plain_columns()
    columns["rate_roll"] = columns["gyro_x"] * 1.01
    with pytest.raises(ColumnsUnclearError, match=r"fit rate roll equally well: gyro_x, rate_roll"):
        flight_from_columns(columns)


def test_two_throttles_are_refused_by_name() -> None:
    columns = plain_columns()
    columns["throttle_stick"] = columns["throttle"]
    with pytest.raises(ColumnsUnclearError, match="the throttle equally well: throttle, throttle_stick"):
        flight_from_columns(columns)


def test_filtered_and_plain_rates_side_by_side_are_the_filtered_and_the_unfiltered() -> None:
    columns = plain_columns()
    for axis in "xyz":
        columns[f"gyro_filtered_{axis}"] = columns[f"gyro_{axis}"] * 0.5
    _, _, column_map = take_flight(columns)
    assert column_map[Place("rate", "pitch")].column == "gyro_filtered_y"
    assert column_map[Place("raw", "pitch")].column == "gyro_y"


def test_unfiltered_rates_alone_are_taken_for_the_rates_and_it_is_said() -> None:
    columns = plain_columns()
    for axis in "xyz":
        columns[f"raw_gyro_{axis}"] = columns.pop(f"gyro_{axis}")
    flight, said = flight_from_columns(columns)
    assert flight.raw_rate_rad_s is None
    assert any("no filtered rates are there" in each for each in said)


def test_without_words_the_rougher_of_a_pair_is_the_rate_and_the_smoother_was_wanted() -> None:
    columns = {"b0": plain_columns()["time"]}
    for axis, word in zip("xyz", ("roll", "pitch", "yaw"), strict=True):
        columns[f"{word}_one"] = plain_columns()[f"setpoint_{axis}"]
        columns[f"{word}_two"] = plain_columns()[f"gyro_{axis}"]
    _, said, column_map = take_flight(columns)
    assert column_map[Place("rate", "yaw")].column == "yaw_two"
    assert column_map[Place("wanted", "yaw")].column == "yaw_one"
    assert column_map[Place("time")].column == "b0"
    assert any("it alone counts up in even steps" in each for each in said)


def test_three_columns_of_one_axis_that_all_go_together_are_refused() -> None:
    columns = {"b0": plain_columns()["time"]}
    for axis, word in zip("xyz", ("roll", "pitch", "yaw"), strict=True):
        for number, name in enumerate(("one", "two", "three")):
            columns[f"{word}_{name}"] = plain_columns()[f"gyro_{axis}"] * (1 + number / 10)
    with pytest.raises(ColumnsUnclearError, match="the rate roll equally well"):
        flight_from_columns(columns)


def test_motors_and_throttle_are_found_by_their_range_where_no_word_says_so() -> None:
    columns = plain_columns()
    columns["lever"] = columns.pop("throttle")
    for number in range(4):
        columns[f"out{number}"] = columns.pop(f"motor{number}")
    _, _, column_map = take_flight(columns)
    assert column_map[Place("motor", "3")].column == "out2"
    assert column_map[Place("motor", "3")].unit == "us"
    assert column_map[Place("throttle")].column == "lever"
    assert "moves as the mean of the motors" in column_map[Place("throttle")].why


def test_two_families_in_the_range_of_motors_are_refused() -> None:
    columns = plain_columns()
    for number in range(4):
        columns[f"out{number}"] = columns.pop(f"motor{number}")
        columns[f"bar{number}"] = columns[f"out{number}"]
    with pytest.raises(ColumnsUnclearError, match="the motor outputs equally well"):
        flight_from_columns(columns)


def test_two_columns_that_count_up_without_a_word_are_refused() -> None:
    columns = plain_columns()
    columns["a"] = columns.pop("time")
    columns["b"] = columns["a"] / 1000
    with pytest.raises(ColumnsUnclearError, match="the time equally well: a, b"):
        flight_from_columns(columns)


@pytest.mark.parametrize("name", ["row", "loop_iteration", "index"])
def test_a_count_of_rows_is_not_taken_for_the_time(name: str) -> None:
    columns = plain_columns()
    columns["a"] = columns.pop("time")
    columns[name] = np.arange(4000.0)
    _, _, column_map = take_flight(columns)
    assert column_map[Place("time")].column == "a"


def test_electrical_speed_is_left_out_without_the_count_of_poles_and_it_is_said() -> None:
    columns = plain_columns()
    for number in range(4):
        columns[f"erpm{number}"] = 30_000 + columns[f"motor{number}"]
    flight, said = flight_from_columns(columns)
    assert flight.rotor_hz is None
    assert any("erpm0, erpm1, erpm2, erpm3) are left out: electrical turns need" in each for each in said)


def test_speeds_in_rpm_are_told_by_their_size() -> None:
    columns = plain_columns()
    for number in range(4):
        columns[f"rotor_{number + 1}"] = 12_000.0 + columns[f"motor{number}"]
    flight, _ = flight_from_columns(columns)
    assert flight.rotor_hz is not None
    assert np.allclose(flight.rotor_hz[:, 0] * 60, columns["rotor_1"])


def test_motors_whose_numbers_have_a_hole_are_left_out_and_it_is_said() -> None:
    columns = plain_columns()
    del columns["motor1"]
    flight, said = flight_from_columns(columns)
    assert flight.motors is None
    assert any("not numbered one after another" in each for each in said)


@pytest.mark.parametrize("kind", ["attitude", "magnetometer", "angle error"])
def test_columns_of_other_quantities_are_not_taken(kind: str) -> None:
    columns = plain_columns()
    columns |= {f"{kind}_{axis}": columns[f"gyro_{axis}"] for axis in "xyz"}
    _, said = flight_from_columns(columns)
    assert any(each.startswith("Not used:") and f"{kind}_x" in each for each in said)


def test_without_rates_it_is_said_which_axes_are_there() -> None:
    columns = plain_columns()
    del columns["gyro_y"]
    with pytest.raises(ColumnsMissingError) as caught:
        flight_from_columns(columns)
    assert caught.value.why == "Found for roll, yaw; roll, pitch and yaw are needed."


def test_without_a_time_nothing_is_taken() -> None:
    columns = plain_columns()
    columns["time"] = np.sin(columns["time"])
    with pytest.raises(ColumnsMissingError, match="for the time"):
        flight_from_columns(columns)


@pytest.mark.parametrize("rows", [0, 1, 2, 49])
def test_too_few_rows_are_refused_with_their_count(rows: int) -> None:
    with pytest.raises(RecordingTooShortError, match=rf"log has {rows} rows? of values"):
        flight_from_columns({name: values[:rows] for name, values in plain_columns().items()}, source="log")


def test_missing_and_infinite_values_stay_and_are_counted() -> None:
    columns = plain_columns()
    columns["gyro_x"][[7, 9]] = [np.nan, np.inf]
    flight, said = flight_from_columns(columns)
    assert np.isnan(flight.rate_rad_s[7, 0])
    assert np.isinf(flight.rate_rad_s[9, 0])
    assert "gyro_x has 2 of 4000 values that are missing or infinite; they stay as they are." in said


def test_a_gap_a_jump_back_and_a_clock_that_stands_are_said_and_left() -> None:
    columns = plain_columns()
    columns["time"][1000:] += 500_000
    columns["time"][2000:] -= 200_000
    columns["time"][3000] = columns["time"][2999]
    flight, said = flight_from_columns(columns)
    assert np.allclose(flight.at_s, columns["time"] * 1e-6)
    assert "The time has 1 gap, the longest of 0.501 s after 0.999 s; the usual step is 0.001 s." in said
    assert "The clock jumps back once, most by 0.199 s in row 2001, at 2.499 s." in said
    assert "The clock stands still once from one row to the next." in said


def test_a_healthy_recording_is_not_called_odd() -> None:
    _, said = flight_from_columns(plain_columns())
    assert [each for each in said if " taken for " not in each and not each.startswith("The signs")] == []


def test_a_column_that_never_changes_is_said() -> None:
    columns = plain_columns()
    columns["motor2"][:] = 1200.0
    _, said = flight_from_columns(columns)
    assert "motor2 never changes: it is always 1200." in said


def test_a_clock_with_a_date_begins_at_zero_and_keeps_its_digits() -> None:
    columns = plain_columns()
    columns["time"] += 1.7e15
    flight, said = flight_from_columns(columns)
    assert flight.at_s[0] == 0.0
    assert np.allclose(np.diff(flight.at_s), 0.001, atol=1e-6)
    assert any("counts from a date" in each for each in said)


def test_a_few_spikes_are_said_and_many_are_refused() -> None:
    columns = plain_columns()
    columns["motor1"][5] = 9000.0
    _, said = flight_from_columns(columns)
    assert any(each.startswith("motor1 has 1 values (from") for each in said)
    names = {f"motor{number}": f"motor{number} [%]" for number in range(4)}
    with pytest.raises(RecordingUnitError, match=r"motor0 \[%\] \(motor output 1\) cannot be in %"):
        flight_from_columns({names.get(name, name): values for name, values in columns.items()})


def test_a_named_time_that_mostly_falls_is_no_time() -> None:
    columns = plain_columns()
    columns["time"] = columns["time"][::-1].copy()
    text = 'format = "rotorwright-column-map"\nversion = 1\ntime = { column = "time", unit = "us" }\n[rate]\n'
    text += "".join(
        f'{word} = {{ column = "gyro_{axis}", unit = "deg/s" }}\n'
        for axis, word in zip("xyz", ("roll", "pitch", "yaw"), strict=True)
    )
    with pytest.raises(RecordingTimeError, match="3999 of 3999 steps do not"):
        flight_from_columns(columns, column_map=read_column_map(text, source="map"))


def test_our_own_columns_are_recognised_whole() -> None:
    made = made_flight()
    flight, said = flight_from_columns(columns_of_flight(made), source="made")
    for name in made.__slots__:
        if name != "source":
            assert np.array_equal(getattr(flight, name), getattr(made, name)), name
    assert not any("left out" in each or "Not used" in each for each in said)


@pytest.mark.parametrize("empty", ["gyro_x", "time"])
def test_a_column_without_any_value_is_never_taken(empty: str) -> None:
    columns = plain_columns()
    columns[empty][:] = np.nan
    with pytest.raises(RecordingError):
        flight_from_columns(columns)
