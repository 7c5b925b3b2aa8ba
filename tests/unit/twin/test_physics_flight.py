"""Recorded flights of the virtual aircraft."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import control
import numpy as np
import pytest
from scipy.signal import csd, lfilter, welch

from rotorwright.signals.flight import Flight
from rotorwright.twin.physics.arithmetic import FloatArray
from rotorwright.twin.physics.flight import FlightSpec, _Loop, record_flight

USUAL = FlightSpec()


def told(values: FloatArray | None) -> FloatArray:
    assert values is not None
    return values


def answer_at(flight: Flight, hertz: float, axis: int = 0) -> complex:
    """Return the answer of the rate to what was wanted, near a frequency."""
    wanted, rate = told(flight.wanted_rate_rad_s)[:, axis], flight.rate_rad_s[:, axis]
    grid, power = welch(wanted, 1000.0, nperseg=4096)
    _, cross = csd(wanted, rate, 1000.0, nperseg=4096)
    near = np.argmin(np.abs(grid - hertz))
    return complex(cross[near - 1 : near + 2].sum() / power[near - 1 : near + 2].sum())


def test_the_closed_loop_answers_a_step_as_a_loop_of_continuous_parts_does() -> None:
    # Source: python-control, the same loop written with continuous transfer functions; ours steps at 8 kHz.
    s = control.tf("s")
    spec = USUAL
    plant = spec.effect_rad_s2[0] / ((spec.rotor_lag_s * s + 1) * (s + spec.damping_per_s[0]))
    lag = 1
    for cutoff in spec.gyro_cutoffs_hz:
        lag = lag / (s / (2 * math.pi * cutoff) + 1)
    slope = s / (s / (2 * math.pi * spec.derivative_cutoff_hz) + 1)
    forward = spec.gain_p[0] + spec.gain_i[0] / s
    whole = plant * forward / (1 + plant * lag * (forward + spec.gain_d[0] * slope))
    at_s = np.arange(4000) / 8000.0
    _, expected = control.step_response(whole, at_s)
    flown = _Loop.of(spec, 1 / 8000.0).run(np.ones((4000, 3)), np.zeros((4000, 3)))
    assert flown.rate[:, 0] == pytest.approx(expected, abs=0.003)


def test_what_the_loop_sees_is_the_raw_rate_behind_its_low_passes() -> None:
    # Source: scipy.signal.lfilter, first-order lags with k = 1 - exp(-2 pi fc dt).
    flight = record_flight(USUAL, 2, duration_s=3.0)
    seen = told(flight.raw_rate_rad_s)
    for cutoff in USUAL.gyro_cutoffs_hz:
        keep = math.exp(-2 * math.pi * cutoff / 1000.0)
        seen = lfilter([1 - keep], [1, -keep], seen, axis=0)
    assert flight.rate_rad_s == pytest.approx(seen, abs=1e-9)


def test_the_rates_follow_what_the_pilot_wants() -> None:
    flight = record_flight(USUAL, 1)
    wanted = told(flight.wanted_rate_rad_s)
    for axis in range(3):
        assert abs(answer_at(flight, 1.0, axis)) == pytest.approx(1.0, abs=0.12)
        assert np.std(wanted[:, axis]) > 0.2
    assert flight.at_s.shape == (30_000,)
    assert np.mean((told(flight.motors) <= 0) | (told(flight.motors) >= 1)) < 0.01


def test_a_slower_filter_comes_later_and_a_lower_gain_follows_less() -> None:
    usual = record_flight(USUAL, 3)
    slow = record_flight(replace(USUAL, gyro_cutoffs_hz=(60.0, 90.0)), 3)
    half = {name: tuple(0.5 * part for part in getattr(USUAL, name)) for name in ("gain_p", "gain_i", "gain_d")}
    weak = record_flight(replace(USUAL, **half), 3)  # type: ignore[arg-type]
    lag_usual, lag_slow = (_filter_delay_s(each) for each in (usual, slow))
    expected = sum(1 / (2 * math.pi * cutoff) for cutoff in (60.0, 90.0))
    assert lag_slow == pytest.approx(expected, rel=0.25)
    assert lag_slow > 2 * lag_usual
    late_usual, late_weak = (-np.angle(answer_at(each, 5.0)) for each in (usual, weak))
    assert late_weak > 1.2 * late_usual


def _filter_delay_s(flight: Flight) -> float:
    raw, seen = told(flight.raw_rate_rad_s)[:, 0], flight.rate_rad_s[:, 0]
    grid, cross = csd(raw, seen, 1000.0, nperseg=2048)
    near = (grid > 2) & (grid < 12)
    return float(np.median(-np.angle(cross[near]) / (2 * math.pi * grid[near])))


def test_vibration_sits_at_the_rotor_frequency_and_its_harmonics() -> None:
    flight = record_flight(replace(USUAL, gyro_noise_rad_s=1e-4), 4)
    speeds = told(flight.rotor_hz)
    raw = told(flight.raw_rate_rad_s)[:, 0]
    power = {}
    for order in (1.0, 1.5):  # with the rotor, and beside it
        phase = 2 * np.pi * order * np.cumsum(speeds, axis=0) / 1000.0
        power[order] = max(abs(np.mean(raw * np.exp(-1j * phase[:, number]))) for number in range(4))
    assert power[1.0] > 10 * power[1.5]


def test_more_vibration_is_more_vibration_and_the_slow_motion_stays() -> None:
    usual, rough = record_flight(USUAL, 5), record_flight(replace(USUAL, vibration_rad_s=3 * USUAL.vibration_rad_s), 5)
    levels = []
    for flight in (usual, rough):
        grid, power = welch(told(flight.raw_rate_rad_s)[:, 1], 1000.0, nperseg=1024)
        levels.append((power[grid > 120].sum(), power[grid < 5].sum()))
    assert levels[1][0] > 4 * levels[0][0]
    assert levels[1][1] == pytest.approx(levels[0][1], rel=0.1)


def test_more_throttle_turns_the_rotors_faster_and_lifts_more() -> None:
    flight = record_flight(USUAL, 6)
    throttle = told(flight.throttle)
    low, high = throttle < np.quantile(throttle, 0.2), throttle > np.quantile(throttle, 0.8)
    assert told(flight.rotor_hz)[high].mean() > told(flight.rotor_hz)[low].mean() + 20
    assert told(flight.force_m_s2)[high, 2].mean() < told(flight.force_m_s2)[low, 2].mean() - 2


def test_the_same_seed_flies_the_same_flight() -> None:
    first, again, other = (record_flight(USUAL, seed, duration_s=2.0) for seed in (1, 1, 2))
    assert np.array_equal(first.rate_rad_s, again.rate_rad_s)
    assert not np.allclose(first.rate_rad_s, other.rate_rad_s)


def test_a_loop_that_is_too_slow_is_refused() -> None:
    with pytest.raises(ValueError, match="too slow"):
        record_flight(USUAL, 1, rate_hz=100.0)


def test_half_a_minute_at_a_thousand_hertz_takes_less_than_a_second() -> None:
    best = math.inf
    for seed in range(3):
        begin = time.perf_counter()
        record_flight(USUAL, seed)
        best = min(best, time.perf_counter() - begin)
    assert best < 1.0
