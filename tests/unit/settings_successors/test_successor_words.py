"""Names taken apart, and what two words have in common. The examples are made up for these tests."""

from __future__ import annotations

import pytest

from rotorwright.settings.successors.units import factor
from rotorwright.settings.successors.words import is_short_for, sameness, squashed, told_apart, words_of


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("gyro_cutoff_hz", ("gyro", "cutoff", "hz")),
        ("GyroCutoffHz", ("gyro", "cutoff", "hz")),
        ("GYRO-CUTOFF.HZ", ("gyro", "cutoff", "hz")),
        ("filter2stage10", ("filter", "2", "stage", "10")),
        ("batteries", ("battery",)),
        ("channels", ("channel",)),
        ("gps_loss", ("gps", "loss")),
        ("Überlauf_µs", ("überlauf", "µs")),
        ("", ()),
        ("___", ()),
    ],
)
def test_a_name_falls_into_words_however_it_is_spelled(name: str, words: tuple[str, ...]) -> None:
    assert words_of(name) == words


def test_a_name_without_its_separators_and_capitals_is_one_run_of_letters() -> None:
    assert squashed("Gyro-Cutoff_hz.1") == "gyrocutoffhz1"


@pytest.mark.parametrize(("short", "long"), [("calib", "calibration"), ("vltg", "voltage"), ("cutoff", "cutoffs")])
def test_a_start_or_its_consonants_is_short_for_a_word(short: str, long: str) -> None:
    assert is_short_for(short, long)
    assert sameness(short, long) == sameness(long, short) == 0.8


@pytest.mark.parametrize(("one", "other"), [("ca", "calibration"), ("gain", "rate"), ("tge", "voltage"), ("10", "100")])
def test_other_words_are_not_the_same(one: str, other: str) -> None:
    assert not is_short_for(one, other)
    assert sameness(one, other) == 0.0


def test_a_spelling_mistake_is_nearly_the_same_word() -> None:
    assert 0.8 <= sameness("manoeuver", "maneuver") < 1.0


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        ("gain_roll", "gain_pitch", True),
        ("rate_min", "rate_max", True),
        ("filter_1", "filter_2", True),
        ("gain_x", "gain_z", True),
        ("filter_1", "filter", False),
        ("rate_min_max", "rate_max_min", False),
        ("gain_roll", "rate_roll", False),
    ],
)
def test_siblings_are_told_apart(one: str, other: str, *, apart: bool) -> None:
    assert told_apart(words_of(one), words_of(other)) is apart


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("s", "ms", 1000.0),
        ("ms", "s", 0.001),
        ("deg/s", "deg/s", 1.0),
        ("8kB", "B", 8192.0),  # PostgreSQL counts some memory in pages of 8 kB
        ("V", "mV", 1000.0),
        ("parrots", "parrots", 1.0),
        ("Hz", "ms", None),
        ("", "Hz", None),
        ("parrots", "V", None),
    ],
)
def test_units_of_the_same_kind_convert(old: str, new: str, expected: float | None) -> None:
    found = factor(old, new)
    assert found == (None if expected is None else pytest.approx(expected))
