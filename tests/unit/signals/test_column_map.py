"""The column map: what it says is done, and what it says wrongly is named."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from tests.unit.signals.flight_columns import plain_columns

from rotorwright.signals.column_map import (
    GROUPS,
    UNITS,
    Entry,
    Kind,
    Place,
    column_map_text,
    from_flight_unit,
    read_column_map,
    to_flight_unit,
)
from rotorwright.signals.columns import flight_from_columns
from rotorwright.signals.recording_errors import ColumnMapError, RecordingUnitError

HEAD = 'format = "rotorwright-column-map"\nversion = 1\n'
TIME = '[time]\ncolumn = "time"\nunit = "us"\n'
RATE = """[rate]
roll = { column = "gyro_x", unit = "deg/s" }
pitch = { column = "gyro_y", unit = "deg/s", sign = -1 }
yaw = { column = "gyro_z", unit = "deg/s", scale = 0.5 }
"""


def test_sign_and_scale_of_the_map_are_applied_and_said() -> None:
    flight, said = flight_from_columns(plain_columns(), column_map=read_column_map(HEAD + TIME + RATE, source="map"))
    columns = plain_columns()
    assert np.allclose(flight.rate_rad_s[:, 1], -np.radians(columns["gyro_y"]))
    assert np.allclose(flight.rate_rad_s[:, 2], np.radians(columns["gyro_z"]) / 2)
    assert flight.motors is None
    assert "gyro_y is taken for the rate pitch, in deg/s times -1: the column map says so." in said
    assert not any("signs are taken" in each for each in said)


def test_a_map_that_says_the_wrong_unit_is_refused_by_the_values() -> None:
    text = HEAD + TIME + RATE.replace("deg/s", "rad/s")
    with pytest.raises(RecordingUnitError, match=r"gyro_x \(rate roll\) cannot be in rad/s"):
        flight_from_columns(plain_columns(), column_map=read_column_map(text, source="map"))


def test_a_map_that_says_the_wrong_unit_of_the_time_is_refused() -> None:
    text = HEAD + TIME.replace('"us"', '"s"') + RATE
    with pytest.raises(RecordingUnitError, match="its rows would be 1e\\+03 s apart"):
        flight_from_columns(plain_columns(), column_map=read_column_map(text, source="map"))


def test_a_map_that_names_a_column_that_is_not_there_is_refused_with_those_that_are() -> None:
    columns = plain_columns()
    del columns["gyro_z"]
    with pytest.raises(ColumnMapError, match=r"no column 'gyro_z' for the rate yaw; .*gyro_x, gyro_y"):
        flight_from_columns(columns, column_map=read_column_map(HEAD + TIME + RATE, source="map"))


# The numbers below follow from the definitions of the units. Standard gravity: 9.80665 m/s2 (3rd CGPM, 1901).
@pytest.mark.parametrize(
    ("kind", "entry", "stored", "expected"),
    [
        (Kind.TIME, Entry("c", "ms"), 1500.0, 1.5),
        (Kind.TIME, Entry("c", "us"), 1500.0, 0.0015),
        (Kind.RATE, Entry("c", "deg/s"), 180.0, math.pi),
        (Kind.RATE, Entry("c", "deg/s", scale=-0.1), 1800.0, -math.pi),
        (Kind.FRACTION, Entry("c", "%"), 25.0, 0.25),
        (Kind.FRACTION, Entry("c", "us"), 1500.0, 0.5),
        (Kind.FRACTION, Entry("c", "us", scale=10.0), 150.0, 0.5),
        (Kind.TURNS, Entry("c", "rpm"), 6000.0, 100.0),
        (Kind.TURNS, Entry("c", "erpm", poles=14), 42_000.0, 100.0),
        (Kind.FORCE, Entry("c", "g"), -1.0, -9.80665),
    ],
)
def test_values_come_into_the_units_of_a_flight(kind: Kind, entry: Entry, stored: float, expected: float) -> None:
    found = to_flight_unit(np.array([stored]), kind, entry)
    assert found[0] == pytest.approx(expected, rel=1e-12)
    assert from_flight_unit(found, kind, entry)[0] == pytest.approx(stored, rel=1e-12)


def test_the_first_unit_of_each_kind_is_the_one_of_a_flight() -> None:
    assert all(next(iter(units.values())).factor == 1.0 for units in UNITS.values())
    assert {group.kind for group in GROUPS.values()} == set(UNITS)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("no toml", "it is no TOML"),
        ("version = 1", "it does not say format"),
        ('format = "rotorwright-column-map"\nversion = 2', "version is 2"),
        (HEAD, "it has no time"),
        (HEAD + TIME, "it has no rate"),
        (HEAD + TIME + '[rate]\nroll = { column = "a", unit = "deg/s" }', "rate has roll, but not pitch, yaw"),
        (HEAD + TIME + RATE + "[speed]", "there is no quantity 'speed'"),
        (HEAD + "time = 3", "time is no table"),
        (HEAD + "[rate]\nroll = 3", "rate.roll is no table"),
        (HEAD + '[rate]\nup = { column = "a", unit = "deg/s" }', "rate has no part 'up'"),
        (HEAD + '[motor]\n0 = { column = "a", unit = "%" }', "motor has no part '0'; there are 1 to 16"),
        (HEAD + TIME + RATE + '[motor]\n2 = { column = "a", unit = "%" }', "motor has 2, but not 1"),
        (HEAD + '[time]\nunit = "s"', "time does not say its column"),
        (HEAD + '[time]\ncolumn = "t"', "time has no unit; a time is in one of s, ms, us"),
        (HEAD + '[time]\ncolumn = "t"\nunit = "min"', "time has the unit 'min'; a time is in one of s, ms, us"),
        (HEAD + '[throttle]\ncolumn = "t"\nunit = "rad/s"', "in one of 0..1, %, us"),
        (HEAD + '[time]\ncolumn = "t"\nunit = "s"\nfactor = 2', "a key 'factor' that means nothing"),
        (HEAD + '[time]\ncolumn = "t"\nunit = "s"\nscale = 0', "time.scale is 0"),
        (HEAD + '[time]\ncolumn = "t"\nunit = "s"\nscale = inf', "time.scale is inf"),
        (HEAD + '[time]\ncolumn = "t"\nunit = "s"\nscale = "2"', "time.scale is '2'"),
        (HEAD + '[time]\ncolumn = "t"\nunit = "s"\nsign = 2', "time.sign is 2"),
        (HEAD + '[rotor]\n1 = { column = "e", unit = "erpm" }', "needs poles"),
        (HEAD + '[rotor]\n1 = { column = "e", unit = "erpm", poles = 7 }', "needs poles"),
        (HEAD + '[rotor]\n1 = { column = "e", unit = "rpm", poles = 14 }', "only has a meaning with the unit erpm"),
        (HEAD + TIME + RATE.replace("gyro_y", "gyro_x"), "'gyro_x' is named for more than one quantity"),
    ],
)
def test_each_fault_of_a_map_is_named(text: str, fault: str) -> None:
    with pytest.raises(ColumnMapError) as caught:
        read_column_map(text, source="my.toml")
    assert caught.value.what.startswith("The column map my.toml cannot be used: ")
    assert fault in caught.value.what


def test_a_map_is_printed_and_read_back() -> None:
    column_map = read_column_map(HEAD + TIME + RATE, source="map")
    column_map[Place("rotor", "1")] = Entry('e "1"\t', "erpm", poles=14)
    assert read_column_map(column_map_text(column_map), source="again") == column_map


PAGE = Path(__file__).resolve().parents[3] / "docs" / "reference" / "column-map.md"


def test_the_example_of_the_page_is_a_column_map() -> None:
    text = PAGE.read_text(encoding="utf-8").split("```toml\n")[1].split("```")[0]
    found = read_column_map(text, source="page")
    assert found[Place("rate", "pitch")].scale == -1.0
    assert found[Place("rotor", "4")].poles == 14


def test_the_page_names_every_quantity_with_its_units() -> None:
    section = PAGE.read_text(encoding="utf-8").split("## Quantities\n")[1].split("\n## ")[0]
    rows = {line.split("|")[1].strip(" `"): line for line in section.splitlines() if line.startswith("|")}
    for name, group in GROUPS.items():
        assert all(f"`{unit}`" in rows[name] for unit in UNITS[group.kind]), name
        assert all(f"`{part}`" in rows[name] for part in group.parts if part), name
