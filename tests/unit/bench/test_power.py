"""Cells, voltage against a meter, current at rest, warnings, and packs that must not be used."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from rotorwright.bench.power import LITHIUM_CAUTION, REFUSALS, cell_counts, judge_power, refuse_pack
from rotorwright.bench.verdicts import CheckResult, Verdict

GOOD: dict[str, Any] = {
    "volts": np.full(50, 15.9),
    "amperes": np.full(50, 0.5),
    "cells_set": 4,
    "full_v": 4.2,
    "warn_v": 3.5,
    "land_v": 3.35,
    "meter_v": 15.92,
    "scale": 11.0,
}


def judge(**changes: Any) -> CheckResult:
    return judge_power(**{**GOOD, **changes})


def pack(volts: float, **changes: Any) -> CheckResult:
    return judge(volts=np.full(50, volts), meter_v=volts, **changes)


def kinds(result: CheckResult) -> set[str]:
    return {one.kind for one in result.findings}


def noisy(seed: int) -> tuple[int, dict[str, Any]]:
    """Return a healthy battery as it is found on benches: cells, charge, sensor and meter within what is usual."""
    rng = np.random.default_rng(seed)
    cells = int(rng.choice([2, 3, 4, 6]))
    true_v = cells * rng.uniform(3.55, 4.2)
    sensed_v = true_v * rng.uniform(0.99, 1.01)
    warn_v = rng.uniform(3.4, 3.6)
    return cells, {
        "volts": sensed_v + rng.normal(0, 0.02, 80) + np.linspace(0, rng.uniform(-0.05, 0), 80),
        "amperes": rng.uniform(0.2, 1.5) + rng.normal(0, 0.05, 80),
        "cells_set": cells,
        "full_v": float(rng.choice([4.2, 4.2, 4.25, 4.35])),
        "warn_v": warn_v,
        "land_v": warn_v - rng.uniform(0.1, 0.25),
        "meter_v": round(true_v * rng.uniform(0.996, 1.004), 2),
        "scale": rng.uniform(9, 12),
    }


def test_a_battery_as_it_is_found_on_benches_passes() -> None:
    verdicts = [judge_power(**noisy(seed)[1]).verdict for seed in range(500)]
    assert verdicts.count(Verdict.PASSED) == 500


FAULTS: dict[str, tuple[str, Callable[[int, dict[str, Any]], dict[str, Any]]]] = {
    "sensor reads high": ("voltage-scale", lambda cells, one: {"volts": one["volts"] * 1.06}),
    "sensor reads low": ("voltage-scale", lambda cells, one: {"volts": one["volts"] * 0.94}),
    "one cell too few": ("cells-set-wrong", lambda cells, one: {"cells_set": cells - 1, "cells_said": cells}),
    "one cell too many": ("cells-set-wrong", lambda cells, one: {"cells_set": cells + 1, "cells_said": cells}),
    "half the cells": ("pack-over-full", lambda cells, one: {"cells_set": cells // 2}),
    "land above warning": ("warning-order", lambda cells, one: {"land_v": one["warn_v"] + 0.1}),
    "land below the floor": ("land-below-floor", lambda cells, one: {"land_v": 2.9}),
    "warning late": ("warning-late", lambda cells, one: {"warn_v": 3.2, "land_v": 3.1}),
    "warning early": ("warning-early", lambda cells, one: {"warn_v": one["full_v"] - 0.1}),
    "current offset": ("current-at-rest", lambda cells, one: {"amperes": one["amperes"] - 4}),
    "short circuit": ("current-at-rest", lambda cells, one: {"amperes": one["amperes"] + 15}),
    "too full": ("pack-over-full", lambda cells, one: {"volts": np.full(50, cells * 4.45), "meter_v": cells * 4.45}),
    "too empty": ("pack-too-empty", lambda cells, one: {"volts": np.full(50, cells * 2.8), "meter_v": cells * 2.8}),
    "uneven": ("pack-out-of-balance", lambda cells, one: {"cell_v": np.array([3.9] * (cells - 1) + [3.7])}),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_is_found_in_every_battery(name: str) -> None:
    kind, fault = FAULTS[name]
    for seed in range(100):
        cells, battery = noisy(seed)
        if kind == "warning-early" and battery["full_v"] > 4.3:
            continue
        result = judge_power(**{**battery, **fault(cells, battery)})
        assert kind in kinds(result), (seed, result.sentence)
        assert result.verdict is Verdict.FAILED


def test_the_new_scale_makes_the_aircraft_agree_with_the_meter() -> None:
    for seed in range(50):
        battery = noisy(seed)[1] | {"scale": 11.0}
        battery["volts"] = battery["volts"] * 1.09
        found = next(one for one in judge_power(**battery).findings if one.kind == "voltage-scale")
        new = float(found.settings["battery.voltage.scale"])
        after = judge_power(**{**battery, "volts": battery["volts"] * new / 11.0, "scale": new})
        assert after.verdict is Verdict.PASSED
        assert abs(np.median(battery["volts"]) * new / 11.0 / battery["meter_v"] - 1) < 1e-3


def test_a_sensor_that_reads_high_is_dangerous_and_one_that_reads_low_is_not() -> None:
    assert judge(meter_v=14.9).is_dangerous
    assert not judge(meter_v=16.9).is_dangerous
    assert judge(meter_v=14.9).verdict is judge(meter_v=16.9).verdict is Verdict.FAILED


def test_without_the_present_scale_the_factor_is_told() -> None:
    found = judge(meter_v=16.9, scale=None).findings[0]
    assert "1.0629" in found.advice
    assert not found.settings


def test_a_voltage_that_two_counts_explain_is_said() -> None:
    assert [(one.cells, round(one.cell_v, 2)) for one in cell_counts(12.6)] == [(3, 4.2), (4, 3.15)]
    assert [one.cells for one in cell_counts(16.8)] == [4, 5]
    assert cell_counts(4.9) == ()
    rows = judge().grids[0].rows
    assert rows[1] == ("4", "3.98", "half full or more", "settings")
    assert rows[2][0] == "5"


def test_an_aircraft_that_counts_cells_itself_is_not_shown_where_it_may_count_wrong() -> None:
    clear = pack(15.9, cells_set=0)
    assert clear.verdict is Verdict.PASSED
    doubtful = pack(25.2, cells_set=0)
    assert kinds(doubtful) == {"cells-ambiguous"}
    assert "6 cells of 4.20 V or 7 cells of 3.60 V" in doubtful.sentence
    assert "cells-ambiguous" in kinds(pack(12.6, cells_set=0, cells_said=4))


def test_too_few_cells_in_the_settings_are_dangerous_and_too_many_are_not() -> None:
    few = judge(cells_set=3, cells_said=4)
    assert few.is_dangerous
    assert few.findings[0].settings == {"battery.cells": "4"}
    many = judge(cells_set=5, cells_said=4)
    assert not many.is_dangerous
    assert many.verdict is Verdict.FAILED


def test_a_count_that_does_not_explain_the_voltage_stops_the_bench_and_names_the_other_count() -> None:
    result = judge(cells_set=3)
    assert kinds(result) == {"pack-over-full", "cells-set-wrong"}
    assert "label says another number of cells" in result.sentence
    assert any(one.settings == {"battery.cells": "4"} for one in result.findings)


@pytest.mark.parametrize(
    ("volts", "cells", "kind"),
    [
        (17.2, 4, "pack-over-full"),
        (11.9, 4, "pack-too-empty"),
        (4.9, None, "pack-no-count-fits"),
        (4.9, 0, "pack-no-count-fits"),
        (4.9, 4, "pack-too-empty"),
        (2.5, 1, "pack-too-empty"),
    ],
)
def test_a_pack_outside_safe_limits_is_refused_with_the_cautions(volts: float, cells: int | None, kind: str) -> None:
    found = refuse_pack(np.full(20, volts), cells)
    assert found is not None
    assert found.kind == kind
    assert kind in REFUSALS
    assert found.is_dangerous
    assert found.advice == LITHIUM_CAUTION
    for word in ("swollen", "burn", "maker's instructions"):
        assert word in found.advice


@pytest.mark.parametrize(
    ("volts", "cells", "full_v"),
    [(16.8, 4, 4.2), (12.0, 4, 4.2), (17.4, 4, 4.35), (16.9, None, 4.2), (0.1, 4, 4.2), (math.nan, 4, 4.2)],
)
def test_a_pack_within_limits_or_none_at_all_is_not_refused(volts: float, cells: int | None, full_v: float) -> None:
    assert refuse_pack(volts, cells, full_v=full_v) is None


def test_the_cable_is_named_where_it_may_be_all_that_feeds() -> None:
    found = refuse_pack(4.9, 4)
    assert found is not None
    assert "cable" in found.words


def test_a_full_high_voltage_pack_is_refused_unless_the_settings_know_such_cells() -> None:
    refused = pack(17.4)
    assert "pack-over-full" in kinds(refused)
    assert "4.35" in refused.sentence
    assert pack(17.4, full_v=4.35).verdict is Verdict.PASSED


def test_the_meter_is_believed_before_a_sensor_with_a_wrong_scale() -> None:
    result = judge(volts=np.full(50, 17.6), meter_v=15.9)
    assert kinds(result) == {"voltage-scale"}


def test_single_cells_are_looked_at_where_they_were_measured() -> None:
    assert judge(cell_v=np.array([3.97, 3.98, 3.98, 3.99])).verdict is Verdict.PASSED
    assert "pack-too-empty" in kinds(judge(cell_v=np.array([4.0, 4.0, 4.0, 2.9])))
    assert "pack-over-full" in kinds(judge(cell_v=np.array([3.9, 3.9, 3.9, 4.3])))
    assert any(one.title.startswith("Balance") for one in judge().grids)


def test_an_empty_pack_fails() -> None:
    assert "pack-empty" in kinds(pack(12.8))
    assert pack(12.8).verdict is Verdict.FAILED


def test_a_current_like_that_of_a_short_circuit_is_dangerous_and_an_offset_is_not() -> None:
    assert judge(amperes=np.full(50, 15.0)).is_dangerous
    offset = judge(amperes=np.full(50, -2.0))
    assert offset.verdict is Verdict.FAILED
    assert not offset.is_dangerous


def test_an_aircraft_without_a_current_sensor_misses_no_current() -> None:
    assert judge(amperes=None, has_current_sensor=False).verdict is Verdict.PASSED
    assert kinds(judge(amperes=None)) == {"no-current"}


BAD: dict[str, tuple[str, dict[str, Any]]] = {
    "empty": ("no-voltage", {"volts": np.empty(0)}),
    "two rows": ("no-voltage", {"volts": np.array([15.9, 15.9])}),
    "nothing but NaN": ("no-voltage", {"volts": np.full(50, math.nan)}),
    "a table": ("no-voltage", {"volts": np.full((50, 2), 15.9)}),
    "millivolts": ("voltage-unit", {"volts": np.full(50, 15900.0)}),
    "no battery": ("no-battery", {"volts": np.zeros(50)}),
    "negative": ("no-battery", {"volts": np.full(50, -3.0)}),
    "unsteady": ("voltage-unsteady", {"volts": np.linspace(13, 16, 50)}),
    "meter not asked": ("no-meter", {"meter_v": None}),
    "meter no number": ("meter-unread", {"meter_v": math.nan}),
    "meter in millivolts": ("meter-unread", {"meter_v": 15900.0}),
    "meter of one cell": ("meter-doubtful", {"meter_v": 3.98}),
    "cells not known": ("cells-unknown", {"cells_set": None}),
    "milliamperes": ("current-unit", {"amperes": np.full(50, 500.0)}),
    "current no number": ("no-current", {"amperes": np.full(50, math.nan)}),
    "warning not known": ("threshold-unknown", {"warn_v": None}),
    "landing no number": ("threshold-unknown", {"land_v": math.nan}),
    "full in hundredths": ("threshold-unit", {"full_v": 420.0}),
    "another chemistry": ("full-cell-low", {"full_v": 3.65, "warn_v": 3.3, "land_v": 3.1}),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_not_shown_with_a_clear_sentence(name: str) -> None:
    kind, changes = BAD[name]
    result = judge(**changes)
    assert kinds(result) == {kind}
    assert result.verdict is Verdict.NOT_SHOWN
    assert len(result.sentence) > 15
    assert all(one.advice for one in result.findings)


def test_some_readings_without_a_number_do_no_harm() -> None:
    volts = np.where(np.arange(50) % 7 == 0, math.nan, 15.9)
    assert judge(volts=volts).verdict is Verdict.PASSED


def test_a_missing_threshold_hides_no_refusal() -> None:
    assert "pack-over-full" in kinds(pack(17.4, warn_v=None))


def test_the_evidence_is_plain_data() -> None:
    data = json.loads(json.dumps(judge().as_json(), allow_nan=False))
    assert data["verdict"] == "passed"
    assert len(data["figures"][0]["curves"]) == 2
