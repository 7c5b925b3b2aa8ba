"""Made columns of a flight for the tests of recordings: seeded, with noise and a pilot who moves all sticks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.signals.flight import Flight

if TYPE_CHECKING:
    from rotorwright.signals.flight import FloatArray


def made_flight(rows: int = 4000, *, step_s: float = 0.001, seed: int = 3) -> Flight:
    """Return a flight whose rates follow what was wanted, with noise; gentle in rad/s, beyond 70 in deg/s."""
    random = np.random.default_rng(seed)
    at_s = np.arange(float(rows)) * step_s
    phase = random.uniform(0, 6, 3)
    wanted = 3.0 * np.sin(2 * np.pi * at_s[:, None] * np.array([0.7, 0.9, 1.1]) + phase)
    rate = wanted + random.normal(0, 0.1, (rows, 3))
    throttle = 0.5 + 0.2 * np.sin(2 * np.pi * 0.5 * at_s)
    motors = throttle[:, None] + random.normal(0, 0.02, (rows, 4))
    force = random.normal(0, 0.3, (rows, 3)) + np.array([0.0, 0.0, -9.81])
    return Flight(
        at_s=at_s,
        rate_rad_s=rate,
        wanted_rate_rad_s=wanted,
        raw_rate_rad_s=rate + random.normal(0, 0.1, (rows, 3)),
        throttle=throttle,
        motors=motors,
        rotor_hz=100 + 200 * motors,
        force_m_s2=force,
        source="made",
    )


def plain_columns(rows: int = 4000, *, seed: int = 3) -> dict[str, FloatArray]:
    """Return the columns of such a flight under usual names, in other units: us, deg/s, percent, g."""
    flight = made_flight(rows, seed=seed)
    assert flight.wanted_rate_rad_s is not None
    assert flight.motors is not None
    assert flight.throttle is not None
    assert flight.force_m_s2 is not None
    columns = {"time": flight.at_s * 1e6, "throttle": flight.throttle * 100}
    for index, axis in enumerate("xyz"):
        columns[f"gyro_{axis}"] = np.degrees(flight.rate_rad_s[:, index])
        columns[f"setpoint_{axis}"] = np.degrees(flight.wanted_rate_rad_s[:, index])
        columns[f"accel_{axis}"] = flight.force_m_s2[:, index] / 9.80665
    for index in range(4):
        columns[f"motor{index}"] = 1000 + 1000 * flight.motors[:, index]
    return columns
