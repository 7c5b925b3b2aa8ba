"""Laws of cells and scales."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.bench.power import FLOOR_V, FULL_V, REFUSALS, cell_counts, judge_power, refuse_pack
from rotorwright.bench.verdicts import Verdict

few = settings(deadline=None, max_examples=80)


@few
@given(st.integers(1, 12), st.floats(3.0, 4.2))
def test_the_true_number_of_cells_is_always_among_those_that_explain_the_voltage(cells: int, cell_v: float) -> None:
    counts = cell_counts(cells * cell_v)
    assert cells in {one.cells for one in counts}
    assert [one.cell_v for one in counts] == sorted((one.cell_v for one in counts), reverse=True)


@few
@given(st.integers(1, 12), st.floats(1.0, 6.0))
def test_a_pack_is_refused_just_outside_its_limits(cells: int, cell_v: float) -> None:
    volts = cells * cell_v
    is_outside = not FLOOR_V <= volts / cells <= FULL_V + 0.05
    assert (refuse_pack(volts, cells) is not None) == (is_outside and volts >= 2.0)


@few
@given(st.floats(0.6, 1.7).filter(lambda ratio: abs(1 / ratio - 1) > 0.021), st.floats(1.0, 30.0))
def test_the_new_scale_is_the_old_one_times_meter_over_sensor(ratio: float, scale: float) -> None:
    result = judge_power(
        volts=np.full(20, 15.2 / ratio), amperes=None, cells_set=4, full_v=4.2, warn_v=3.5, land_v=3.3, meter_v=15.2,
        scale=scale,
    )  # fmt: skip
    found = next(one for one in result.findings if one.kind == "voltage-scale")
    assert float(found.settings["battery.voltage.scale"]) == pytest.approx(scale * ratio, rel=6e-4)


anything = st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.floats(2.5, 5.0)


@few
@given(
    volts=st.lists(st.floats(-5, 20000) | st.just(math.nan) | st.just(math.inf), max_size=12),
    amperes=st.none() | st.lists(st.floats(allow_nan=True, allow_infinity=True, width=32), max_size=12),
    cells=st.none() | st.integers(-3, 300),
    said=st.none() | st.integers(0, 14),
    numbers=st.tuples(anything, anything, anything, anything, anything),
)
def test_whatever_comes_a_verdict_goes_out_and_a_refusal_never_passes(
    volts: list[float], amperes: list[float] | None, cells: int | None, said: int | None, numbers: tuple[Any, ...]
) -> None:
    full_v, warn_v, land_v, meter_v, scale = numbers
    result = judge_power(
        volts=np.array(volts),
        amperes=None if amperes is None else np.array(amperes),
        cells_set=cells,
        cells_said=said,
        full_v=full_v,
        warn_v=warn_v,
        land_v=land_v,
        meter_v=meter_v,
        scale=scale,
    )
    if {one.kind for one in result.findings} & REFUSALS:
        assert result.verdict is Verdict.FAILED
    if meter_v is None or warn_v is None or cells is None:
        assert result.verdict is not Verdict.PASSED
