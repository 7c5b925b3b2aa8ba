"""What the judgement of motors stands on: the push on foam, the bearing from the ripple, the line in the spectrum."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from rotorwright.bench.records import FloatArray
from rotorwright.bench.rotor_place import Lag, bearing_of, lag_of, nearest_place
from rotorwright.bench.rotor_reaction import reaction_of
from rotorwright.bench.rotor_record import Stretch
from rotorwright.bench.rotor_spectrum import find_line, likely_magnets, roughness_of, spectrum_of

STEP_S = 1.0 / 450.0
PLACES_DEG = (45.0, 135.0, -135.0, -45.0)


def _quiet(at_s: FloatArray, seed: int = 0) -> tuple[FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    return rng.normal(0.0, 0.05, (len(at_s), 3)), rng.normal(0.0, 0.003, (len(at_s), 3))


def _circling(
    bearing_deg: float,
    *,
    sense: int = 1,
    lag_deg: float = 0.0,
    hz: float = 100.0,
    size: float = 1.0,
    height: float = 0.0,
) -> Stretch:
    """A force of 1 m/s² that circles at a bearing: yaw acceleration 8 per metre of reach, late by `lag_deg`."""
    at_s = np.arange(0.0, 0.6, STEP_S)
    force, rate = _quiet(at_s)
    turn, late = 2.0 * np.pi * hz, np.radians(lag_deg)
    angle = turn * at_s + 0.7
    force[:, 0] += size * np.cos(angle)
    force[:, 1] += size * sense * np.sin(angle)
    x, y = 8.0 * np.cos(np.radians(bearing_deg)), 8.0 * np.sin(np.radians(bearing_deg))
    # Integrals of x a_y - y a_x, of h a_y and of -h a_x over time.
    rate[:, 2] += size * (-x * sense * np.cos(angle - late) - y * np.sin(angle - late)) / turn
    rate[:, 0] += size * height * -sense * np.cos(angle - late) / turn
    rate[:, 1] += size * -height * np.sin(angle - late) / turn
    return Stretch(STEP_S, at_s, force, rate)


@pytest.mark.parametrize("foam_hz", [0.5, 2.0, 5.0])
@pytest.mark.parametrize("turns", [1, -1])
def test_the_push_is_that_of_an_integrated_body_on_foam(foam_hz: float, turns: int) -> None:
    """Truth by scipy.integrate.solve_ivp (Dormand-Prince), not by formulas of ours."""
    step, spin_s, w = 0.3, 0.07, 2.0 * np.pi * foam_hz
    start_s, end_s = 0.3, 1.3
    at_s = np.arange(0.0, 2.0, STEP_S)

    def gain(now_s: float) -> float:
        up = np.exp(-(now_s - start_s) / spin_s) / spin_s if now_s >= start_s else 0.0
        return float(up - (np.exp(-(now_s - end_s) / spin_s) / spin_s if now_s >= end_s else 0.0))

    def body(now_s: float, state: FloatArray) -> list[float]:
        return [float(state[1]), float(-turns * step * gain(now_s) - w * w * state[0] - 0.5 * w * state[1])]

    body_rate = solve_ivp(body, (0.0, 2.0), [0.0, 0.0], t_eval=at_s, max_step=0.002, rtol=1e-8).y[1]
    force, rate = _quiet(at_s)
    rate[:, 2] += body_rate + 0.02
    found = reaction_of(Stretch(STEP_S, at_s, force, rate), start_s, end_s)
    assert found.direction() == turns
    assert found.step_rad_s == pytest.approx(turns * step, rel=0.08)


def test_no_push_has_no_direction() -> None:
    at_s = np.arange(0.0, 2.0, STEP_S)
    for seed in range(40):
        found = reaction_of(Stretch(STEP_S, at_s, *_quiet(at_s, seed)), 0.3, 1.3)
        assert found.direction() == 0
        assert not found.is_seen


@settings(max_examples=60, deadline=None)
@given(st.floats(-180.0, 180.0), st.sampled_from([1, -1]), st.floats(-30.0, 60.0), st.floats(62.0, 138.0))
def test_any_bearing_is_felt_turned_by_the_lag(bearing_deg: float, sense: int, lag_deg: float, hz: float) -> None:
    spectrum = spectrum_of(_circling(bearing_deg, sense=sense, lag_deg=lag_deg, hz=hz))
    found = bearing_of(spectrum, find_line(spectrum))
    assert found is not None
    assert found.sense == sense
    assert found.reach == pytest.approx(8.0, rel=0.1)
    assert abs((found.raw_deg - sense * lag_deg - bearing_deg + 180.0) % 360.0 - 180.0) < 5.0 * max(
        1.0, found.sigma_deg
    )


@pytest.mark.parametrize("height", [3.0, -3.0])
@pytest.mark.parametrize("lag_deg", [-25.0, 0.0, 30.0])
def test_the_ripple_of_roll_and_pitch_tells_the_lag_above_and_below_the_centre(height: float, lag_deg: float) -> None:
    bearings = []
    for place, sense in zip(PLACES_DEG, (-1, 1, -1, 1), strict=True):
        spectrum = spectrum_of(_circling(place, sense=sense, lag_deg=lag_deg, height=height))
        bearings.append(bearing_of(spectrum, find_line(spectrum)))
    known = [one for one in bearings if one is not None]
    lag = lag_of(known, PLACES_DEG)
    assert lag.is_measured
    assert lag.degrees == pytest.approx(lag_deg, abs=5.0)
    assert [nearest_place(one, lag, PLACES_DEG)[0] for one in known] == [0, 1, 2, 3]


def test_a_bearing_between_two_places_is_not_shown() -> None:
    spectrum = spectrum_of(_circling(90.0))
    found = bearing_of(spectrum, find_line(spectrum))
    assert found is not None
    assert nearest_place(found, Lag(0.0, 2.0, is_measured=True), PLACES_DEG)[0] is None


def test_a_ripple_below_the_noise_has_no_place() -> None:
    spectrum = spectrum_of(_circling(45.0, size=0.01))
    assert bearing_of(spectrum, find_line(spectrum)) is None


def test_line_has_frequency_and_size_of_what_was_put_in() -> None:
    line = find_line(spectrum_of(_circling(45.0, hz=97.3, size=0.8)))
    assert line.is_clear
    assert line.hz == pytest.approx(97.3, abs=0.3)
    assert line.amplitude_m_s2 == pytest.approx(0.8, rel=0.03)


def test_roughness_is_that_of_the_added_noise_and_lost_samples_do_not_raise_it() -> None:
    rng = np.random.default_rng(3)
    clean = _circling(45.0, size=3.0)
    keep = rng.uniform(size=len(clean.at_s)) > 0.02
    lossy = Stretch(STEP_S, clean.at_s[keep], clean.force_m_s2[keep], clean.rate_rad_s[keep])
    rest = Stretch(STEP_S, clean.at_s[:120], *_quiet(clean.at_s[:120], 9))
    assert roughness_of(lossy, rest, 100.0) < 0.05
    rough = Stretch(
        STEP_S, lossy.at_s, lossy.force_m_s2 + rng.normal(0.0, 0.3, lossy.force_m_s2.shape), lossy.rate_rad_s
    )
    assert roughness_of(rough, rest, 100.0) == pytest.approx(0.3 * np.sqrt(3.0), rel=0.15)


def test_magnets_are_even_and_agree_with_all_motors() -> None:
    assert likely_magnets(14, [100.0, 101.0], [100.2, 100.8]) == 14
    assert likely_magnets(14, [85.7, 86.0], [100.0, 100.4]) == 12
    assert likely_magnets(14, [85.7, 100.0], [100.0, 100.0]) is None
    assert likely_magnets(14, [107.1], [100.0]) is None
