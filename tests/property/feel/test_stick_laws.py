"""The laws of the refit of stick curves on generated settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.feel.stick_curves import Curve, CurveLaw, Parameter, stick_positions
from rotorwright.feel.stick_refit import refit_stick

EXPO = CurveLaw.of(
    "full * ((1 - expo) * stick + expo * stick ^ 3)", Parameter("full", 50, 2000, 1), Parameter("expo", 0, 1, 0.01)
)
curves = st.builds(
    lambda full, expo: Curve(EXPO, {"full": full, "expo": expo / 100}), st.integers(50, 2000), st.integers(0, 100)
)
few = settings(deadline=None, max_examples=25)
steps = st.sampled_from([None, 0.5, 1.0, 7.0, 25.0])


@few
@given(curves)
def test_the_same_law_keeps_the_very_same_values(old: Curve) -> None:
    refit = refit_stick(old, EXPO)
    assert dict(refit.values) == dict(old.values)
    assert refit.deviation_dps == 0
    assert refit.is_exact


@few
@given(curves)
def test_a_law_that_only_renames_and_rescales_is_refitted_exactly(old: Curve) -> None:
    law = CurveLaw.of(
        "turns * 360 * ((1 - curve / 100) * stick + curve / 100 * stick ^ 3)",
        Parameter("turns", 0, 10),
        Parameter("curve", 0, 100, 1),
    )
    refit = refit_stick(old, law)
    assert refit.is_exact
    assert refit.values["turns"] * 360 == pytest.approx(old.values["full"], rel=1e-6)


@few
@given(curves, steps, steps)
def test_the_values_are_allowed_and_the_deviation_is_true(
    old: Curve, first: float | None, second: float | None
) -> None:
    law = CurveLaw.of(
        "centre * stick + (most - centre) * stick ^ 3",
        Parameter("centre", 10, 1500, first),
        Parameter("most", 20, 1800, second),
    )
    refit = refit_stick(old, law)
    assert all(each.allows(refit.values[each.name]) for each in law.parameters)
    sticks = stick_positions(777)
    apart = np.abs(old.rates_dps(sticks) - Curve(law, refit.values).rates_dps(sticks))
    assert apart.max() <= refit.deviation_dps * (1 + 1e-4) + 1e-9
    assert refit.unstepped_dps <= refit.deviation_dps
    assert max(refit.centre_deviation_dps, refit.full_deviation_dps) <= refit.deviation_dps


@few
@given(curves, st.integers(100, 1500))
def test_a_wider_range_never_makes_the_best_line_worse(old: Curve, most: int) -> None:
    narrow, wide = (
        refit_stick(old, CurveLaw.of("rate * stick", Parameter("rate", 0, limit))) for limit in (most, most * 1.3)
    )
    assert wide.deviation_dps <= narrow.deviation_dps * 1.002 + 1e-3
