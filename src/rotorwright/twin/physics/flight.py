"""A short flight of the virtual aircraft, recorded: rate control of a rigid body, pilot, vibration of the rotors.

Each axis is a rotor lag and an integrator under a PID loop (proportional on the error, derivative on the measurement)
that sees the gyro through first-order low-passes. The loop is linear, so it is one matrix, stepped once for each
sample; vibration is added to the gyro in a second pass, at the rotor speeds of the first. Motor outputs are cut at
their ends in the record, but the body does not feel the cut: this pilot keeps the sticks small enough that it is rare.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import chirp, lfilter

from rotorwright.signals.flight import Flight
from rotorwright.twin.physics import constants

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.twin.physics.arithmetic import FloatArray

_SLOWEST_HZ = 500.0
_AXES = 3
_COMMAND, _RATE, _OWN = 3, 5, 6  # where they stand in the state of an axis, and how many come before the low-passes
_NYQUIST_PART = 0.45  # above this part of the sample rate the sensor's own filter leaves nothing


@dataclass(frozen=True, slots=True)
class FlightSpec:
    """What flies: all made up, of the size that a quadcopter with 0.13 m propellers has. Triples: roll, pitch, yaw.

    Args:
        effect_rad_s2: angular acceleration for a command of 1 on that axis.
        rotor_lag_s: time constant of rotor and air.
        damping_per_s: by which the air brakes the turning.
        gain_p, gain_i, gain_d: of the rate loop, in commands per rad/s, per rad, per rad/s2.
        gyro_cutoffs_hz: of the first-order low-passes that the gyro goes through, one after another.
        derivative_cutoff_hz: of the low-pass before the derivative.
        vibration_rad_s: swing of the gyro at one turn of the rotor, at 200 turns per second; grows with the square.
        harmonics: of the vibration: first, second, third.
        gyro_noise_rad_s: spread of each sample.
        hover: throttle that holds the height.
        idle_hz, full_hz: rotor speeds at no and at full output.
        unlike: how much quicker or slower each rotor turns than its output says; no two motors are quite alike.
        build: seed of how each rotor's vibration reaches each axis: of the aircraft, the same in all its flights.
    """

    effect_rad_s2: tuple[float, float, float] = (700.0, 600.0, 220.0)
    rotor_lag_s: float = 0.025
    damping_per_s: tuple[float, float, float] = (2.0, 2.0, 1.0)
    gain_p: tuple[float, float, float] = (0.150, 0.175, 0.250)
    gain_i: tuple[float, float, float] = (0.30, 0.35, 0.50)
    gain_d: tuple[float, float, float] = (0.0030, 0.0035, 0.0020)
    gyro_cutoffs_hz: tuple[float, ...] = (250.0, 400.0)
    derivative_cutoff_hz: float = 120.0
    vibration_rad_s: float = 0.03
    harmonics: tuple[float, ...] = (1.0, 0.4, 0.2)
    gyro_noise_rad_s: float = 0.006
    hover: float = 0.35
    idle_hz: float = 60.0
    full_hz: float = 420.0
    unlike: tuple[float, ...] = (0.006, -0.009, 0.011, -0.004)
    build: int = 0


# Commands of roll, pitch and yaw to the motors front right, rear right, rear left, front left: signs of r x F.
_MIX = np.array([[-1.0, 1.0, 1.0], [-1.0, -1.0, -1.0], [1.0, -1.0, 1.0], [1.0, 1.0, -1.0]])


def record_flight(spec: FlightSpec, seed: int, *, duration_s: float = 30.0, rate_hz: float = 1000.0) -> Flight:
    """Return the record of one flight.

    Args:
        spec: what flies.
        seed: of pilot and noise.
        duration_s: length of the record.
        rate_hz: samples per second, which is also the rate of the loop; at least 500.

    Raises:
        ValueError: the rate is too low for the loop.
    """
    if rate_hz < _SLOWEST_HZ:
        raise ValueError(f"a loop of {rate_hz:g} Hz is too slow; {_SLOWEST_HZ:g} Hz is the least")
    chance = np.random.default_rng([seed, 71])
    at_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    wanted, throttle = _pilot(at_s, chance, spec)
    loop = _Loop.of(spec, 1.0 / rate_hz)
    rotor_hz = _rotor_speeds(spec, _motors(throttle, loop.run(wanted, np.zeros_like(wanted)).command), rate_hz)
    phases = 2.0 * math.pi * (np.cumsum(rotor_hz, axis=0) / rate_hz + chance.uniform(0.0, 1.0, 4))
    shaken = spec.gyro_noise_rad_s * chance.standard_normal(wanted.shape)
    shaken += spec.vibration_rad_s * _vibration(spec, rotor_hz, phases, chance, rate_hz=rate_hz)
    flown = loop.run(wanted, shaken)
    motors = _motors(throttle, flown.command)
    force = 0.15 * chance.standard_normal(wanted.shape)
    force += 10.0 * spec.vibration_rad_s * _vibration(spec, rotor_hz, phases, chance, rate_hz=rate_hz)
    lift = np.mean(((rotor_hz - spec.idle_hz) / (spec.full_hz - spec.idle_hz)) ** 2, axis=1) / spec.hover
    force[:, 2] -= constants.GRAVITY_M_S2 * lift
    return Flight(
        at_s=at_s,
        rate_rad_s=flown.seen,
        wanted_rate_rad_s=wanted,
        raw_rate_rad_s=flown.rate + shaken,
        throttle=throttle,
        motors=motors,
        rotor_hz=rotor_hz,
        force_m_s2=force,
        source=f"virtual flight {seed}",
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Flown:
    """(n, 3) each: true rates, rates behind the filters, commands."""

    rate: FloatArray
    seen: FloatArray
    command: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Loop:
    """The closed loop as one matrix for each axis: state' = own state + from_wanted * wanted + from_shaken * shaken."""

    own: FloatArray
    from_wanted: FloatArray
    from_shaken: FloatArray

    @classmethod
    def of(cls, spec: FlightSpec, step_s: float) -> _Loop:
        """Return the loop of `spec`: the rule of one step, asked with each unit state in turn."""
        size = _OWN + len(spec.gyro_cutoffs_hz)
        own = np.zeros((_AXES * size, _AXES * size))
        from_wanted, from_shaken = np.zeros(_AXES * size), np.zeros(_AXES * size)
        for axis in range(_AXES):
            step = _one_step(spec, axis, step_s)
            here = slice(axis * size, (axis + 1) * size)
            nothing = np.zeros(size)
            own[here, here] = np.stack([step(unit, 0.0, 0.0) for unit in np.eye(size)], axis=1)
            from_wanted[here] = step(nothing, 1.0, 0.0)
            from_shaken[here] = step(nothing, 0.0, 1.0)
        return cls(own, from_wanted, from_shaken)

    def run(self, wanted: FloatArray, shaken: FloatArray) -> _Flown:
        """Return what (n, 3) wanted rates and what the gyro is shaken by make of the flight."""
        size = len(self.from_wanted) // _AXES
        states = np.repeat(wanted, size, axis=1) * self.from_wanted + np.repeat(shaken, size, axis=1) * self.from_shaken
        state = np.zeros(_AXES * size)
        own = self.own
        for row in states:  # each row becomes the state after its sample
            row += own @ state  # noqa: PLW2901 - in place, so that the loop stays quick
            state = row
        found = states.reshape(len(states), _AXES, size)
        return _Flown(found[:, :, _RATE].copy(), found[:, :, -1].copy(), found[:, :, _COMMAND].copy())


def _one_step(spec: FlightSpec, axis: int, step_s: float) -> Callable[[FloatArray, float, float], FloatArray]:
    """Return the rule of one sample for one axis.

    State: acceleration, rate after the sample, integral, command, the derivative's low-pass, rate at the sample, then
    the low-passes of the gyro. The command acts one sample after it was computed.
    """
    follow = 1.0 - math.exp(-step_s / spec.rotor_lag_s)
    smooth = 1.0 - math.exp(-2.0 * math.pi * spec.derivative_cutoff_hz * step_s)
    lags = [1.0 - math.exp(-2.0 * math.pi * cutoff * step_s) for cutoff in spec.gyro_cutoffs_hz]

    def step(state: FloatArray, wanted: float, shaken: float) -> FloatArray:
        push, rate, total, command, slow = state[:5]
        read = rate + shaken
        seen = []
        for lag, before in zip(lags, state[-len(lags) :], strict=True):
            read = before + lag * (read - before)
            seen.append(read)
        slower = slow + smooth * (read - slow)
        error = wanted - read
        total += error * step_s
        change = (slower - slow) / step_s
        new = spec.gain_p[axis] * error + spec.gain_i[axis] * total - spec.gain_d[axis] * change
        push += follow * (spec.effect_rad_s2[axis] * command - push)
        after = rate + step_s * (push - spec.damping_per_s[axis] * rate)
        return np.array([push, after, total, new, slower, rate, *seen])

    return step


def _motors(throttle: FloatArray, command: FloatArray) -> FloatArray:
    motors: FloatArray = np.clip(throttle[:, None] + command @ _MIX.T, 0.0, 1.0)
    return motors


def _rotor_speeds(spec: FlightSpec, motors: FloatArray, rate_hz: float) -> FloatArray:
    keep = math.exp(-1.0 / (rate_hz * spec.rotor_lag_s))
    start = keep * motors[:1]
    smooth, _ = lfilter([1.0 - keep], [1.0, -keep], motors, axis=0, zi=start)
    speeds: FloatArray = spec.idle_hz + (spec.full_hz - spec.idle_hz) * np.sqrt(np.clip(smooth, 0.0, 1.0))
    alike: FloatArray = speeds * (1.0 + np.array(spec.unlike))
    return alike


def _vibration(
    spec: FlightSpec, rotor_hz: FloatArray, phases: FloatArray, chance: np.random.Generator, *, rate_hz: float
) -> FloatArray:
    """Return (n, 3) vibration of unit size: each rotor's harmonics, shared among the axes in its own way."""
    total = np.zeros((len(rotor_hz), _AXES))
    swing = (rotor_hz / 200.0) ** 2
    built = np.random.default_rng([spec.build, 72])
    for order, part in enumerate(spec.harmonics, start=1):
        passed = order * rotor_hz < _NYQUIST_PART * rate_hz
        shares = built.uniform(0.3, 0.7, (4, _AXES)) * built.choice([-1.0, 1.0], (4, _AXES))
        total += (part * swing * passed * np.sin(order * phases + chance.uniform(0.0, 6.28, 4))) @ shares
    return total


def _pilot(at_s: FloatArray, chance: np.random.Generator, spec: FlightSpec) -> tuple[FloatArray, FloatArray]:
    """Return (n, 3) wanted rates in rad/s and (n,) throttle: small steps and sweeps, axis after axis."""
    rate_hz = 1.0 / (at_s[1] - at_s[0])
    wanted = np.zeros((len(at_s), _AXES))
    clock = 0.5
    turn = 0
    while clock < at_s[-1]:
        axis = turn % _AXES
        over_s = chance.uniform(0.5, 1.1)
        here = (at_s >= clock) & (at_s < clock + over_s)
        size = chance.uniform(0.5, 1.3) * (0.6 if axis == 2 else 1.0)
        since = at_s[here] - clock
        if chance.random() < 0.35:  # a third are sweeps
            wanted[here, axis] += 0.6 * size * chirp(since, 0.5, over_s, 12.0)
        else:
            wanted[here, axis] += size * np.where(since < 0.5 * over_s, 1.0, -1.0)
        clock += 0.6 * over_s
        turn += 1
    wanted += 0.05 * np.sin(2.0 * math.pi * chance.uniform(0.3, 0.9, _AXES) * at_s[:, None])
    smooth = 1.0 - math.exp(-1.0 / (rate_hz * 0.012))
    sticks: FloatArray = lfilter([smooth], [1.0, smooth - 1.0], wanted, axis=0)
    knots = np.arange(0.0, at_s[-1] + 2.0, 1.5)
    heights = spec.hover + chance.uniform(-0.12, 0.25, len(knots))
    throttle: FloatArray = np.clip(np.interp(at_s, knots, heights), 0.0, 1.0)
    return sticks, throttle
