"""Step responses had by deconvolution against python-control's answers of known systems.

Sources: python-control's sampled systems and step_response; tests/outside/data/control_reference.json (closed forms).
Tolerances are those of a reference implementation over 20 seeds and two regularisations.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import control
import numpy as np
import pytest
from scipy import signal  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals.step_response import StepResponse, step_figures, step_response

REFERENCE = json.loads((Path(__file__).parent / "data" / "control_reference.json").read_text(encoding="utf-8"))
SECOND_ORDER = REFERENCE["second_order"]
RATE_HZ = 1000.0
Array = np.ndarray[tuple[int], np.dtype[np.float64]]


def system(zeta: float, natural_hz: float = 10.0) -> control.TransferFunction:
    w = 2 * np.pi * natural_hz
    return control.tf([w**2], [1, 2 * zeta * w, w**2])


def true_step(zeta: float, delay_s: float, at_s: Array) -> StepResponse:
    fine = np.arange(0, at_s[-1] + 1e-3, 1e-4)
    _, height = control.step_response(system(zeta), T=fine)
    return StepResponse(at_s, np.interp(at_s - delay_s, fine, height, left=0.0), 1.0)


@dataclass(frozen=True)
class Flown:
    wanted: Array
    rate: Array
    zeta: float
    delay_s: float


def flown(seed: int) -> Flown:
    """60 s of sticks of 400 deg/s, held at random, answered after 0 to 14 ms, with noise of 5 deg/s."""
    rng = np.random.default_rng(seed)
    rows = int(60 * RATE_HZ)
    wanted = np.zeros(rows)
    k = 0
    while k < rows:
        held = int(rng.uniform(0.15, 0.9) * RATE_HZ)
        wanted[k : k + held] = rng.uniform(-400, 400)
        k += held
    zeta = (0.3, 0.5, 0.7)[seed % 3]
    late = int(rng.integers(0, 15))
    discrete = control.sample_system(system(zeta), 1 / RATE_HZ, method="foh")  # exact for straight lines
    answer = signal.lfilter(discrete.num[0][0], discrete.den[0][0], wanted)
    rate = np.concatenate((np.zeros(late), answer[: rows - late])) + rng.normal(0, 5, rows)
    return Flown(np.radians(wanted), np.radians(rate), zeta, late / RATE_HZ)


@pytest.mark.parametrize("regularisation", [1e-5, 5e-5])
def test_step_of_a_known_system_is_had_back_from_ordinary_sticks(regularisation: float) -> None:
    for seed in range(20):
        case = flown(seed)
        found = step_response(case.wanted, case.rate, RATE_HZ, regularisation=regularisation)
        truth = true_step(case.zeta, case.delay_s, found.at_s)
        ours, theirs = step_figures(found), step_figures(truth)
        assert ours.overshoot == pytest.approx(theirs.overshoot, abs=0.03), seed
        assert ours.peak_s == pytest.approx(theirs.peak_s, abs=0.004), seed
        assert ours.t50_s == pytest.approx(theirs.t50_s, abs=0.001), seed
        assert np.abs(found.height - truth.height).max() < 0.07, seed
        assert 0.958 <= found.raw_plateau <= 1.0, seed


def test_figures_of_a_step_are_those_of_the_closed_form() -> None:
    at_s = np.arange(0, 0.5, 1 / 4000)
    found = step_figures(true_step(0.5, 0.0, at_s))
    assert found.overshoot == pytest.approx(SECOND_ORDER["overshoot"], abs=2e-5)
    assert found.peak_s == pytest.approx(SECOND_ORDER["peak_time_s"], abs=2e-5)
    assert found.t50_s * 1e3 == pytest.approx(SECOND_ORDER["t50_ms"], abs=2e-3)
    assert found.rise_s * 1e3 == pytest.approx(SECOND_ORDER["rise_10_90_ms"], abs=3e-3)


@pytest.mark.parametrize(("zeta", "overshoot"), REFERENCE["overshoot_by_zeta"].items())
def test_overshoot_is_that_of_the_damping(zeta: str, overshoot: float) -> None:
    # Textbook: exp(-pi zeta / sqrt(1 - zeta^2)).
    at_s = np.arange(0, 0.5, 1 / 4000)
    assert step_figures(true_step(float(zeta), 0.0, at_s)).overshoot == pytest.approx(overshoot, abs=5e-5)


def test_same_system_at_four_times_the_rate_has_the_same_step() -> None:
    case = flown(4)
    slow = step_response(case.wanted, case.rate, RATE_HZ)
    fine = np.arange(4 * len(case.wanted)) / 4
    wanted, rate = (np.interp(fine, np.arange(len(one)), one) for one in (case.wanted, case.rate))
    quick = step_figures(step_response(wanted, rate, 4 * RATE_HZ))
    assert quick.t50_s == pytest.approx(step_figures(slow).t50_s, abs=5e-4)
    assert quick.overshoot == pytest.approx(step_figures(slow).overshoot, abs=0.01)


def test_sticks_that_never_moved_have_no_step() -> None:
    found = step_response(np.zeros(60_000), np.random.default_rng(1).normal(size=60_000), RATE_HZ)
    assert np.isnan(step_figures(found).t50_s)
