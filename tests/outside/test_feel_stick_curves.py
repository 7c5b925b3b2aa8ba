"""Stick curves against figures and closed forms from outside."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import differential_evolution  # type: ignore[import-untyped, unused-ignore]

from rotorwright.feel.stick_curves import Curve, CurveLaw, Parameter, stick_positions
from rotorwright.feel.stick_refit import refit_stick

# Source: tests/outside/data/stick_expo_reference.csv (transmitter handbooks; arithmetic checked).
TABLE = Path(__file__).parent / "data" / "stick_expo_reference.csv"
EXPO = CurveLaw.of("(1 - expo) * stick + expo * stick ^ 3", Parameter("expo", 0, 1))


def rows(start: str) -> list[tuple[float, dict[str, str]]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        found = [row for row in csv.DictReader(file) if row["quantity"].startswith(start)]
    return [(float(re.sub(r".*e=", "", row["quantity"])), row) for row in found]


@pytest.mark.parametrize(("expo", "row"), rows("cubic expo (1-e)x+e x^3"))
def test_cubic_expo_has_the_tabled_values(expo: float, row: dict[str, str]) -> None:
    found = Curve(EXPO, {"expo": expo}).rates_dps([float(row["input"])])[0]
    assert found == pytest.approx(float(row["expected"]), abs=1e-6)  # the table has six decimals


@pytest.mark.parametrize(("expo", "row"), rows("cubic expo centre slope"))
def test_cubic_expo_has_the_tabled_slopes(expo: float, row: dict[str, str]) -> None:
    curve = Curve(EXPO, {"expo": expo})
    step = 1e-6
    low, high, before_end, end = curve.rates_dps([-step, step, 1 - step, 1])
    centre_slope, end_slope = map(float, row["expected"].split(" / "))
    assert (high - low) / (2 * step) == pytest.approx(centre_slope, abs=1e-5)
    assert (end - before_end) / step == pytest.approx(end_slope, abs=1e-5)


def test_the_line_closest_to_a_cube_is_the_one_of_chebyshev() -> None:
    # Source: T3(x) = 4 x^3 - 3 x deviates least from zero among cubics 4 x^3 + ... (Abramowitz and Stegun, table 22.3
    # from memory, and the minimax property): the closest line to x^3 on [-1, 1] is 3/4 x, 1/4 away.
    refit = refit_stick(Curve(CurveLaw.of("1000 * stick ^ 3"), {}), CurveLaw.of("r * stick", Parameter("r", 0, 2000)))
    assert refit.values["r"] == pytest.approx(750, abs=0.5)
    assert refit.deviation_dps == pytest.approx(250, rel=1e-3)


def test_the_odd_cubic_closest_to_a_fifth_power_is_the_one_of_chebyshev() -> None:
    # Source: T5(x) = 16 x^5 - 20 x^3 + 5 x (Abramowitz and Stegun, table 22.3): x^5 is (20 x^3 - 5 x)/16, 1/16 away.
    law = CurveLaw.of("a * stick ^ 3 + b * stick", Parameter("a", -3000, 3000), Parameter("b", -3000, 3000))
    refit = refit_stick(Curve(CurveLaw.of("1600 * stick ^ 5"), {}), law)
    assert refit.values["a"] == pytest.approx(2000, rel=3e-3)
    assert refit.values["b"] == pytest.approx(-500, rel=1e-2)
    assert refit.deviation_dps == pytest.approx(100, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "parameters"),
    [
        ("base * stick / (1 - abs(stick) * boost)", (Parameter("base", 1, 2000), Parameter("boost", 0, 0.95))),
        ("most * sign(stick) * abs(stick) ^ power", (Parameter("most", 1, 2000), Parameter("power", 1, 6))),
        (
            "most * sign(stick) * (exp(k * abs(stick)) - 1) / (exp(k) - 1)",
            (Parameter("most", 1, 2000), Parameter("k", 0.1, 6)),
        ),
    ],
)
def test_a_general_optimiser_finds_nothing_closer(text: str, parameters: tuple[Parameter, ...]) -> None:
    # Source: scipy.optimize.differential_evolution, a global search of another kind, as the oracle.
    old = Curve(CurveLaw.of("700 * (0.6 * stick + 0.4 * stick ^ 5)"), {})
    law = CurveLaw.of(text, *parameters)
    sticks = stick_positions(201)
    wanted = old.rates_dps(sticks)
    names = [each.name for each in parameters]

    def deviation(numbers: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
        rates = law.rates_dps(dict(zip(names, numbers.tolist(), strict=True)), sticks)
        return float(np.abs(rates - wanted).max())

    bounds = [(each.minimum, each.maximum) for each in parameters]
    oracle = differential_evolution(deviation, bounds, rng=1, tol=1e-8, maxiter=300, polish=False)
    assert refit_stick(old, law).deviation_dps <= oracle.fun * 1.002
