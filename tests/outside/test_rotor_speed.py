"""Rotor speed from electrical turns and magnets: n = 120 f / P (synchronous speed of an AC machine, P poles)."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from rotorwright.bench.rotor_spectrum import rotor_hz

TABLE = Path(__file__).parent / "data" / "rotor_speed_reference.csv"


def _rows() -> list[tuple[float, int, float]]:
    with TABLE.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    found = []
    for row in rows:
        magnets = re.search(r"with (\d+) poles", row["quantity"])
        hz = re.search(r"([\d.]+) Hz", row["expected"])
        assert magnets
        assert hz
        found.append((float(row["input"]), int(magnets[1]), float(hz[1])))
    return found


@pytest.mark.parametrize(("erpm", "magnets", "hz"), _rows())
def test_rotor_speed_is_that_of_the_reference(erpm: float, magnets: int, hz: float) -> None:
    assert rotor_hz(erpm, magnets) == pytest.approx(hz, abs=5e-5)


def test_the_reference_holds_the_usual_motors() -> None:
    assert (140000.0, 14, 333.3333) in _rows()
    assert len(_rows()) >= 4
