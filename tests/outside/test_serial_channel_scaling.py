"""Ticks of serial receiver links against tabled values from outside."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from rotorwright.bench.serial_scaling import ELEVEN_BITS

# Source: tests/outside/data/serial_channel_scaling.csv: end points 172/992/1811 and 988/1500/2012 us, in use by the
# common 11-bit serial receiver links (from memory); everything between is arithmetic.
TABLE = Path(__file__).parent / "data" / "serial_channel_scaling.csv"


def rows(unit: str) -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["unit"] == unit]


@pytest.mark.parametrize("row", rows("us"), ids=lambda row: row["input"])
def test_ticks_have_the_tabled_pulses(row: dict[str, str]) -> None:
    assert ELEVEN_BITS.pulse_us(int(row["input"])) == pytest.approx(float(row["expected"]), abs=1e-9)


@pytest.mark.parametrize("row", rows("tick"), ids=lambda row: row["input"])
def test_pulses_have_the_tabled_ticks(row: dict[str, str]) -> None:
    assert ELEVEN_BITS.tick_of(float(row["input"])) == int(row["expected"])


def test_the_table_was_read() -> None:
    assert (len(rows("us")), len(rows("tick"))) == (6, 5)


def test_the_usual_ends_are_the_tabled_ones() -> None:
    assert ELEVEN_BITS.pulse_us([ELEVEN_BITS.lowest_tick, 992, ELEVEN_BITS.highest_tick]) == pytest.approx(
        [987.5, 1500.0, 2011.875]
    )
