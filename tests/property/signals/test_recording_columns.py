"""Laws of recordings: order and company of columns do not matter, and units lead there and back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.unit.signals.flight_columns import made_flight, plain_columns

from rotorwright.hangar.recording_text import is_number
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
from rotorwright.signals.column_words import label_of
from rotorwright.signals.columns import columns_of_flight, flight_from_columns, take_flight

PLAIN = plain_columns(300)
FLIGHT = made_flight(300)

KINDS = st.sampled_from(list(Kind))
SCALES = st.floats(1e-3, 1e3) | st.floats(-1e3, -1e-3)


@st.composite
def entries(draw: st.DrawFn, kind: Kind, column: str) -> Entry:
    unit = draw(st.sampled_from(list(UNITS[kind])))
    poles = 2 * draw(st.integers(1, 20)) if unit == "erpm" else None
    return Entry(column, unit, draw(SCALES), poles)


@given(order=st.permutations(list(PLAIN)))
def test_the_order_of_the_columns_does_not_matter(order: list[str]) -> None:
    flight, said = flight_from_columns({name: PLAIN[name] for name in order})
    expected, expected_said = flight_from_columns(PLAIN)
    assert said == expected_said
    for name in flight.__slots__:
        if name != "source":
            assert np.array_equal(getattr(flight, name), getattr(expected, name)), name


@given(
    names=st.lists(
        st.sampled_from(["battery volts", "current", "mode", "error_x", "attitude roll", "height", "note"]), unique=True
    ),
    seed=st.integers(0, 50),
)
def test_columns_of_other_things_change_nothing_of_the_flight(names: list[str], seed: int) -> None:
    random = np.random.default_rng(seed)
    others = {name: random.normal(-20.0, 3.0, 300) for name in names}
    flight, said = flight_from_columns({**others, **PLAIN})
    expected, _ = flight_from_columns(PLAIN)
    for name in flight.__slots__:
        if name != "source":
            assert np.array_equal(getattr(flight, name), getattr(expected, name)), name
    assert not names or f"Not used: {', '.join(sorted(names))}." in said


@given(data=st.data(), kind=KINDS, value=st.floats(-1e6, 1e6))
def test_units_lead_there_and_back(data: st.DataObject, kind: Kind, value: float) -> None:
    entry = data.draw(entries(kind, "c"))
    there = to_flight_unit(np.array([value]), kind, entry)
    back = from_flight_unit(there, kind, entry)[0]
    offset = abs(UNITS[kind][entry.unit].offset / entry.scale)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-9 * (1 + offset))


@given(
    time=st.sampled_from(["s", "ms", "us"]),
    rate=st.sampled_from(["rad/s", "deg/s"]),
    share=st.sampled_from(["0..1", "%", "us"]),
    turns=st.sampled_from(["Hz", "rpm", "erpm"]),
    force=st.sampled_from(["m/s2", "g"]),
    sign=st.sampled_from([1.0, -1.0]),
)
def test_a_flight_stored_by_any_map_is_the_same_flight_when_read_by_it(
    time: str, rate: str, share: str, turns: str, force: str, sign: float
) -> None:
    unit = {Kind.TIME: time, Kind.RATE: rate, Kind.FRACTION: share, Kind.TURNS: turns, Kind.FORCE: force}
    stored, column_map = {}, {}
    _, _, places = take_flight(columns_of_flight(FLIGHT))
    values = columns_of_flight(FLIGHT)
    for number, (place, found) in enumerate(places.items()):
        scale = sign if place.kind in {Kind.RATE, Kind.FORCE} else 1.0
        poles = 14 if unit[place.kind] == "erpm" else None
        entry = Entry(f"c{number}", unit[place.kind], scale, poles)
        column_map[place] = entry
        stored[entry.column] = from_flight_unit(values[found.column], place.kind, entry)
    read_back = read_column_map(column_map_text(column_map), source="map")
    flight, _ = flight_from_columns(stored, column_map=read_back)
    for name in flight.__slots__:
        if name != "source":
            assert np.allclose(getattr(flight, name), getattr(FLIGHT, name), rtol=1e-9, atol=1e-9), name


@given(text=st.text(max_size=30))
def test_any_name_of_a_column_can_be_looked_at(text: str) -> None:
    label = label_of(text)
    assert label.group in {"", *GROUPS}
    assert not label.is_other or not label.group


@given(name=st.text(min_size=1, max_size=30))
def test_any_name_of_a_column_survives_the_text_of_a_map(name: str) -> None:
    column_map = {Place("time"): Entry("t", "s")}
    column_map |= {
        Place("rate", axis): Entry(f"{name}{axis}", "deg/s", why="made") for axis in ("roll", "pitch", "yaw")
    }
    assert {
        place: entry.column for place, entry in read_column_map(column_map_text(column_map), source="map").items()
    } == {place: entry.column for place, entry in column_map.items()}


@given(value=st.floats(allow_nan=False))
def test_every_number_that_is_written_is_known_for_one(value: float) -> None:
    assert is_number(repr(value))
