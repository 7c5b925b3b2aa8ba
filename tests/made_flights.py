"""Made flights with known properties: sticks, a rate loop of known gain, rotors, filters, noise, human irregularity.

The loop is linear, so the rate is the wanted rate through a closed loop that the gain makes, plus disturbances. Wind
and sticks change from one part of a flight to the next, as they do: halves of one flight are not copies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from rotorwright.signals.flight import Flight

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Craft:
    """What a made aircraft is like.

    Args:
        gain: of the rate loop, in parts of the usual.
        vibration: amplitude at the rotors' frequency, in parts of the usual.
        added_delay_s: more delay between the raw and the filtered rate.
        noise: broadband noise, in parts of the usual.
        filter_hz: cutoff of the low pass between raw and filtered rate.
    """

    gain: float = 1.0
    vibration: float = 1.0
    added_delay_s: float = 0.0
    noise: float = 1.0
    filter_hz: float = 120.0


def made_flight(
    seed: int,
    *,
    lasts_s: float = 60.0,
    rate_hz: float = 1000.0,
    craft: Craft = Craft(),
    sticks: float = 1.0,
    lift: float = 0.35,
) -> Flight:
    """Return a flight of a made aircraft, all columns recorded.

    Args:
        seed: of the pilot, the wind and the noise.
        lasts_s: how long it is.
        rate_hz: rows per second.
        craft: the aircraft.
        sticks: how far the sticks are moved, in parts of the usual.
        lift: mean throttle.
    """
    rng = np.random.default_rng(seed)
    rows = int(lasts_s * rate_hz)
    at_s = np.arange(rows) / rate_hz
    throttle = np.clip(lift + 0.12 * _slow(rng, rows, rate_hz, 0.3), 0.12, 0.9)
    turns = 60 + 160 * np.sqrt(throttle)
    rotor_hz = np.stack([turns * (1 + 0.02 * _slow(rng, rows, rate_hz, 1.0)) for _ in range(4)], axis=1)
    wanted = np.radians(120) * sticks * np.stack([_sticks(rng, rows, rate_hz) for _ in range(3)], axis=1)
    wanted[:, 2] *= 0.6
    raw = np.stack([_raw(rng, wanted[:, k], rotor_hz, throttle, rate_hz, craft) for k in range(3)], axis=1)
    rate = np.apply_along_axis(_filtered, 0, raw, rate_hz, craft)
    spread = 0.06 * (wanted - rate)[:, [0, 1, 2, 0]] + 0.04 * rng.normal(size=(rows, 4))
    motors = np.clip(throttle[:, None] + spread, 0.0, 1.0)
    return Flight(at_s, rate, wanted, raw, throttle, motors, rotor_hz, source=f"made flight {seed}")


def _filtered(raw: FloatArray, rate_hz: float, craft: Craft) -> FloatArray:
    smooth = signal.lfilter(*signal.butter(1, craft.filter_hz, fs=rate_hz), raw)
    late = craft.added_delay_s * rate_hz
    return np.asarray(np.interp(np.arange(len(raw)) - late, np.arange(len(raw)), smooth))


def _raw(
    rng: np.random.Generator,
    wanted: FloatArray,
    rotor_hz: FloatArray,
    throttle: FloatArray,
    rate_hz: float,
    craft: Craft,
) -> FloatArray:
    crossing = 2 * np.pi * 9.0 * craft.gain  # rad/s at which the loop answers
    b, a = signal.bilinear([crossing**2], [1, 2 * 0.55 * np.sqrt(craft.gain) * crossing, crossing**2], rate_hz)
    moved = signal.lfilter(b, a, wanted)
    gusts = 0.15 * _slow(rng, len(wanted), rate_hz, 4.0) * (1 + 0.4 * _slow(rng, len(wanted), rate_hz, 0.1))
    shake = 0.04 * _coloured(rng, len(wanted), rate_hz, (25.0, 90.0)) * (0.4 + throttle)
    lines = np.zeros(len(wanted))
    for one in rotor_hz.T:
        phase = 2 * np.pi * np.cumsum(one) / rate_hz + rng.uniform(0, 2 * np.pi)
        strength = 0.10 * craft.vibration * (one / 150) ** 2
        lines += strength * (np.sin(phase) + 0.3 * np.sin(2 * phase))
    hiss = 0.03 * craft.noise * rng.normal(size=len(wanted))
    return np.asarray(moved + gusts + shake * craft.noise + lines + hiss + 0.01)


def _slow(rng: np.random.Generator, rows: int, rate_hz: float, cutoff_hz: float) -> FloatArray:
    """Noise below a cutoff with unit variance."""
    coarse = max(1, int(rate_hz / (20 * cutoff_hz)))
    b, a = signal.butter(2, cutoff_hz, fs=rate_hz / coarse)
    count = rows // coarse + 2
    settle = int(10 * rate_hz / coarse / cutoff_hz)
    values = signal.lfilter(b, a, rng.normal(size=count + settle))[settle:]
    power = 1.11 * 2 * cutoff_hz / (rate_hz / coarse)  # noise bandwidth of a second-order Butterworth
    found = np.interp(np.arange(rows) / coarse, np.arange(count), values / np.sqrt(power))
    return np.asarray(found)


def _coloured(rng: np.random.Generator, rows: int, rate_hz: float, band: tuple[float, float]) -> FloatArray:
    b, a = signal.butter(1, band, "bandpass", fs=rate_hz)
    values = signal.lfilter(b, a, rng.normal(size=rows))
    return np.asarray(values / values.std())


def _sticks(rng: np.random.Generator, rows: int, rate_hz: float) -> FloatArray:
    """Moves to random places in 40 to 200 ms, held for 0.1 to 1.2 s; some stretches with hardly any."""
    times, places = [0.0], [0.0]
    while times[-1] < rows / rate_hz:
        lively = rng.choice([0.25, 1.0, 1.6])
        place = float(rng.normal() * lively)
        moved_at = times[-1] + rng.uniform(0.1, 1.2)
        times += [moved_at, moved_at + rng.uniform(0.04, 0.2)]
        places += [places[-1], place]
    return np.interp(np.arange(rows) / rate_hz, times, places)
