"""The step response of the nominal craft against python-control and the closed form of a second-order system.

Sources: python-control as installed; tests/outside/data/control_reference.json (python-control 0.10.2 on a 4 kHz grid
and root finding on the closed form, which agree).
"""

from __future__ import annotations

import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import control  # type: ignore[import-untyped, unused-ignore]
import numpy as np
import pytest

from rotorwright.feel.filters import Chain, Filter, FilterKind, Section
from rotorwright.feel.loop_gains import Gains
from rotorwright.feel.nominal_craft import NominalCraft, RateController, step_response

TABLE = json.loads((Path(__file__).parent / "data" / "control_reference.json").read_text(encoding="utf-8"))


def fast_loop(wn_hz: float, zeta: float) -> tuple[RateController, NominalCraft]:
    """Return a loop whose closed form is 1/(s^2/wn^2 + 2 zeta s/wn + 1) when it runs infinitely fast.

    By hand: a gain K before 1/(s (T s + 1)) closes to K/(T s^2 + s + K), so wn^2 = K/T and 2 zeta wn = 1/T.
    """
    wn = 2 * math.pi * wn_hz
    lag_s = 1 / (2 * zeta * wn)
    return RateController(Gains(Fraction(wn * wn * lag_s)), 64_000), NominalCraft(1, lag_s)


@pytest.mark.parametrize(("zeta", "overshoot"), TABLE["overshoot_by_zeta"].items())
def test_overshoot_is_that_of_the_textbook(zeta: str, overshoot: float) -> None:
    controller, craft = fast_loop(10, float(zeta))
    # The command is held between loops, which is half a loop of delay: 8 us of 16 ms at 64 kHz.
    assert step_response(controller, craft, duration_s=0.2).overshoot == pytest.approx(overshoot, abs=1e-3)


def test_times_of_the_step_are_those_of_the_closed_form() -> None:
    expected = TABLE["second_order"]
    response = step_response(*fast_loop(expected["wn_hz"], expected["zeta"]), duration_s=0.2)
    assert response.peak_s == pytest.approx(expected["peak_time_s"], rel=2e-3)
    assert response.half_s == pytest.approx(expected["t50_ms"] / 1e3, rel=1e-3)
    assert response.rise_s == pytest.approx(expected["rise_10_90_ms"] / 1e3, rel=1e-3)


def as_control(sections: tuple[Section, ...], step_s: float) -> Any:
    """Return sections as a python-control system."""
    system = control.ss([], [], [], [[1.0]], step_s)
    for section in sections:
        order = max(len(section.a), len(section.b))
        b, a = (list(each) + [0.0] * (order - len(each)) for each in (section.b, section.a))
        system = control.series(system, control.ss(control.tf(b, a, step_s)))
    return system


FILTERS = (Filter(FilterKind.LAG_MATCHED, 150), Filter(FilterKind.NOTCH, 180, q=3))
SLOPE_FILTERS = (Filter(FilterKind.LOWPASS, 90),)


@pytest.mark.parametrize("late_loops", [0, 1, 3])
@pytest.mark.parametrize(("p", "i", "d"), [(0.05, 0, 0), (0.04, 0.3, 0), (0.05, 0.2, 0.0004)])
def test_the_sampled_loop_is_that_of_python_control(late_loops: int, p: float, i: float, d: float) -> None:
    step_s, craft_numbers = 1e-3, (800.0, 0.02)
    gains = Gains(Fraction(p), Fraction(i), Fraction(d))
    controller = RateController(gains, 1 / step_s, FILTERS, SLOPE_FILTERS, slope_of_error=True)
    found = step_response(controller, NominalCraft(*craft_numbers, late_loops * step_s), duration_s=0.3)

    acceleration, lag_s = craft_numbers
    body = control.sample_system(control.ss(control.tf([acceleration], [lag_s, 1, 0])), step_s, "zoh")
    late = as_control((Section((0.0,) * late_loops + (1.0,), (1.0,)),), step_s)
    integral = control.ss(control.tf([i * step_s, 0], [1, -1], step_s))
    slope = control.ss(control.tf([d / step_s, -d / step_s], [1, 0], step_s))
    slope = control.series(slope, as_control(Chain(SLOPE_FILTERS, 1 / step_s).sections, step_s))
    command = control.parallel(control.ss([], [], [], [[p]], step_s), integral, slope)
    forward = control.series(command, late, body)
    closed = control.feedback(forward, as_control(Chain(FILTERS, 1 / step_s).sections, step_s))
    expected = control.step_response(closed, T=np.arange(len(found.rates)) * step_s).outputs
    assert found.rates == pytest.approx(np.squeeze(expected), abs=1e-9)


def test_a_delay_between_two_loops_lies_between_the_whole_ones() -> None:
    # With almost no gain the command is a step that arrives half a loop late: python-control's forced response of the
    # body at twice the loop rate, where that is one whole loop.
    step_s, late_s = 1e-3, 0.5e-3
    tiny = 1e-9
    controller = RateController(Gains(Fraction(tiny)), 1 / step_s)
    found = step_response(controller, NominalCraft(300.0, 0.02, late_s), duration_s=0.1)
    body = control.sample_system(control.ss(control.tf([300.0], [0.02, 1, 0])), step_s / 2, "zoh")
    times = np.arange(2 * (len(found.rates) - 1) + 1) * step_s / 2
    commands = np.where(times >= late_s, 1.0, 0.0)
    expected = control.forced_response(body, T=times, inputs=commands).outputs[::2]
    assert [rate / tiny for rate in found.rates] == pytest.approx(expected, abs=1e-6)
