"""Cell voltages against what cell makers practise (data/cell_volts.csv; common practice, no document at hand)."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from rotorwright.bench import power
from rotorwright.bench.power import judge_power, refuse_pack

ROWS = {
    row["state"]: (float(row["volts"]), float(row["tolerance"]))
    for row in csv.DictReader(
        (Path(__file__).parent / "data" / "cell_volts.csv").read_text(encoding="utf-8").splitlines()
    )
}
OURS = {
    "full": power.FULL_V,
    "full-high-voltage": power.FULL_HV_V,
    "storage-low": power.STORAGE_V,
    "warn": power.WARN_V,
    "stop": power.STOP_V,
    "floor": power.FLOOR_V,
}


@pytest.mark.parametrize("state", OURS)
def test_our_limits_are_those_of_the_cell_makers(state: str) -> None:
    volts, tolerance = ROWS[state]
    assert OURS[state] == pytest.approx(volts, abs=tolerance)


@pytest.mark.parametrize("cells", range(1, 9))
def test_packs_in_the_states_of_the_table_are_not_refused_and_those_outside_are(cells: int) -> None:
    full, tolerance = ROWS["full"]
    for state in ("full", "storage-low", "storage-high", "warn", "stop", "floor"):
        assert refuse_pack(cells * ROWS[state][0], cells) is None, state
    assert refuse_pack(cells * (full + tolerance + 0.01), cells) is not None
    assert refuse_pack(cells * (ROWS["floor"][0] - 0.01), cells) is not None
    high = ROWS["full-high-voltage"][0]
    assert refuse_pack(cells * high, cells) is not None
    assert refuse_pack(cells * high, cells, full_v=high) is None


def test_the_thresholds_of_the_table_are_in_order_for_us() -> None:
    result = judge_power(
        volts=np.full(20, 4 * ROWS["storage-high"][0]),
        amperes=np.full(20, 0.4),
        cells_set=4,
        full_v=ROWS["full"][0],
        warn_v=ROWS["warn"][0],
        land_v=ROWS["stop"][0],
        meter_v=4 * ROWS["storage-high"][0],
        scale=11.0,
    )
    assert result.findings == ()
