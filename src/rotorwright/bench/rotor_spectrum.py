"""The line that a turning rotor writes into the spectrum of the body's motion: frequency, imbalance, roughness.

An imbalance of u = m e (kilogram metres) pulls with the force u w² that turns with the rotor; the body's mass M answers
with the acceleration u w² / M, forward and right a quarter turn apart. A worn bearing is heard between the lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.bench.records import FloatArray
    from rotorwright.bench.rotor_record import Stretch

ComplexArray: TypeAlias = NDArray[np.complex128]

# Limits: value, unit. Common practice, no source.
LOWEST_HZ = 40.0  # Hz: slower rotors than that are not looked for
HIGHEST_HZ = 190.0  # Hz: nor faster ones, at a low command
NYQUIST_PART = 0.46  # of the sampling rate: above it the sensor's own filter and mirrored lines stand
CLEAR_LINE = 14.0  # power of a line over the mean noise of a bin, when its frequency is not known
CLEAR_NEAR_LINE = 8.0  # the same near a told rotor speed
NEAR_PART = 0.06  # how near
BAND_BINS = 2.5  # half width of a line in bins of the spectrum (Hann window: the main lobe is 2)
BAND_PART = 0.02  # and in parts of its frequency: the rotor may still speed up a little
ROUGH_FROM_HZ = 30.0  # Hz: below it the craft rocks on its foam
HARMONICS = (1, 2, 3)  # that are taken away before roughness is measured
RIDGE = 1e-9
ROUGH_SIDES = (-3.2, -2.4, -1.6, -0.8, 0.0, 0.8, 1.6, 2.4, 3.2)  # lines fitted around each, over the length in s
LEAST_FREE = 30  # samples more than what is fitted
MAGNET_TOLERANCE = 0.025  # part by which told and felt speed may differ
MAGNETS = range(2, 49, 2)  # a rotor has an even number of magnets


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Spectrum of a stretch under a Hann window.

    Args:
        hz: (k,) frequencies.
        force: (k, 3) of the specific force, scaled such that the summed squares of a line are its amplitude squared.
        rate: (k, 3) of the body rates, scaled alike.
        sample_hz: samples per second.
    """

    hz: FloatArray
    force: ComplexArray
    rate: ComplexArray
    sample_hz: float

    @property
    def bin_hz(self) -> float:
        """Width of a bin."""
        return float(self.hz[1] - self.hz[0])


@dataclass(frozen=True, slots=True)
class Line:
    """What the imbalance of one rotor writes.

    Args:
        hz: its frequency.
        amplitude_m_s2: amplitude of the acceleration in the plane of the rotors (radius of its circle).
        strength: its power over the mean noise of a bin.
        is_clear: whether it stands above the noise.
        sense: +1.0 the force circles clockwise seen from above, -1.0 counter-clockwise, between: no clear circle.
        second_hz: frequency of another line nearly as strong that is no harmonic, 0.0 for none.
    """

    hz: float
    amplitude_m_s2: float
    strength: float
    is_clear: bool
    sense: float
    second_hz: float = 0.0


def spectrum_of(stretch: Stretch) -> Spectrum:
    """Return the one-sided spectrum of a stretch."""
    columns = np.concatenate((stretch.force_m_s2, stretch.rate_rad_s), axis=1)
    columns = columns - columns.mean(axis=0)
    window = np.hanning(len(columns))
    # Parseval: the squares of the main lobe of a line of amplitude A sum up to A² n (sum of window²) / 4.
    scale = 2.0 / np.sqrt(len(columns) * float(window @ window))
    lines = np.fft.rfft(columns * window[:, None], axis=0) * scale
    hz = np.asarray(np.fft.rfftfreq(len(columns), stretch.step_s), dtype=np.float64)
    return Spectrum(hz, lines[:, :3], lines[:, 3:], 1.0 / stretch.step_s)


def band_of(spectrum: Spectrum, hz: float) -> NDArray[np.bool_]:
    """Return which bins belong to a line."""
    half = BAND_BINS * spectrum.bin_hz + BAND_PART * hz
    return np.asarray(np.abs(spectrum.hz - hz) <= half)


def find_line(spectrum: Spectrum, *, near_hz: float | None = None) -> Line:
    """Return the strongest line in the plane of the rotors; near a told speed if none stands out elsewhere."""
    line = _strongest(spectrum, LOWEST_HZ, _highest(spectrum), CLEAR_LINE)
    if line.is_clear or near_hz is None:
        return line
    return _strongest(spectrum, near_hz * (1.0 - NEAR_PART), near_hz * (1.0 + NEAR_PART), CLEAR_NEAR_LINE)


def amplitude_at(spectrum: Spectrum, hz: float, *, spread: float = 0.0) -> tuple[float, float]:
    """Return the amplitude in the plane near a frequency, and its power over the mean noise of a bin."""
    power, searched = _plane(spectrum)
    near = searched & (np.abs(spectrum.hz - hz) <= BAND_BINS * spectrum.bin_hz + spread * hz)
    if not near.any() or (searched & ~near).sum() < 8:
        return 0.0, 0.0
    noise = _noise(power[searched & ~near])
    return float(np.sqrt(max(0.0, power[near].sum() - noise * near.sum()) / 2.0)), float(power[near].max() / noise)


def roughness_of(steady: Stretch, rest: Stretch, hz: float) -> float:
    """Return the acceleration (m/s², root of mean square, all axes) between the harmonics of `hz`, less that at rest.

    Slow motion and a band around each harmonic are fitted to the samples at their own times and taken away, so lost
    samples do no harm and harmonics above half the sampling rate need no mirroring.
    """
    loud = _left_over(steady, [hz * order for order in HARMONICS])
    return float(np.sqrt(max(0.0, loud - _left_over(rest, []))))


def _left_over(samples: Stretch, lines_hz: Sequence[float]) -> float:
    """Return the mean square of the force, summed over the axes, that slow motion and lines leave; NaN if too short."""
    since = samples.at_s - samples.at_s[0]
    length_s = float(since[-1])
    slow = np.cos(np.pi * np.arange(int(2.0 * ROUGH_FROM_HZ * length_s) + 1) * since[:, None] / length_s)
    near = np.array([hz + side / length_s for hz in lines_hz for side in ROUGH_SIDES])
    turns = 2.0 * np.pi * near * since[:, None]
    columns = np.concatenate((slow, np.cos(turns), np.sin(turns)), axis=1)
    free = len(since) - columns.shape[1]
    if free < LEAST_FREE:
        return float("nan")
    # Sums and a small system: many small calls of threaded algebra stall on a busy computer. Harmonics that fall onto
    # each other make it singular, hence the ridge.
    square = np.einsum("nk,nl->kl", columns, columns) + RIDGE * len(since) * np.eye(columns.shape[1])
    fitted = np.linalg.solve(square, np.einsum("nk,na->ka", columns, samples.force_m_s2))
    left = samples.force_m_s2 - np.einsum("nk,ka->na", columns, fitted)
    return float((left * left).sum() / free)


def harmonic_part(spectrum: Spectrum, line: Line) -> float:
    """Return the second harmonic's amplitude over the line's own, NaN where it cannot be sampled."""
    if line.hz * 2.0 > NYQUIST_PART * spectrum.sample_hz or line.amplitude_m_s2 <= 0:
        return float("nan")
    return amplitude_at(spectrum, 2.0 * line.hz)[0] / line.amplitude_m_s2


def rotor_hz(erpm: float, magnets: int) -> float:
    """Return turns per second from electrical turns per minute: n = 120 f / P (synchronous speed), P magnets."""
    return erpm / (magnets / 2.0) / 60.0


def likely_magnets(magnets: int, told_hz: Sequence[float], felt_hz: Sequence[float]) -> int | None:
    """Return the number of magnets with which told and felt speeds agree; None if no even number makes them agree."""
    ratios = np.asarray(told_hz, dtype=np.float64) / np.asarray(felt_hz, dtype=np.float64)
    off = np.abs(ratios[None, :] * magnets / np.asarray(MAGNETS)[:, None] - 1.0).max(axis=1)
    best = int(np.argmin(off))
    return MAGNETS[best] if off[best] <= MAGNET_TOLERANCE else None


def _highest(spectrum: Spectrum) -> float:
    return min(HIGHEST_HZ, NYQUIST_PART * spectrum.sample_hz)


def _plane(spectrum: Spectrum) -> tuple[FloatArray, NDArray[np.bool_]]:
    power = (np.abs(spectrum.force[:, :2]) ** 2).sum(axis=1)
    return power, (spectrum.hz >= LOWEST_HZ) & (spectrum.hz <= _highest(spectrum))


def _noise(power: FloatArray) -> float:
    # Each bin is the sum of two exponential powers; the median of that is 0.839 of its mean.
    return max(float(np.median(power)) / 0.839, 1e-18)


def _strongest(spectrum: Spectrum, low_hz: float, high_hz: float, clear: float) -> Line:
    power, searched = _plane(spectrum)
    asked = searched & (spectrum.hz >= low_hz) & (spectrum.hz <= high_hz)
    if not asked.any():
        return Line(0.0, 0.0, 0.0, is_clear=False, sense=0.0)
    peak = int(np.argmax(np.where(asked, power, -1.0)))
    near = np.abs(np.arange(len(power)) - peak) <= 2
    hz = float((power[near] * spectrum.hz[near]).sum() / power[near].sum())
    band = band_of(spectrum, hz)
    noise = _noise(power[searched & ~band]) if (searched & ~band).sum() >= 8 else float(power[searched].mean())
    strength = float(power[peak]) / noise
    amplitude = float(np.sqrt(max(0.0, power[band].sum() - noise * band.sum()) / 2.0))
    second = _second(spectrum, power, searched & ~band, hz)
    is_strong_second = second is not None and power[second] > max(0.25 * power[peak], clear * noise)
    return Line(
        hz,
        amplitude,
        strength,
        is_clear=strength >= clear,
        sense=_sense(spectrum.force[band]),
        second_hz=float(spectrum.hz[second]) if second is not None and is_strong_second else 0.0,
    )


def _second(spectrum: Spectrum, power: FloatArray, allowed: NDArray[np.bool_], hz: float) -> int | None:
    top = spectrum.sample_hz
    for harmonic in (0.5, 2.0, 3.0, 4.0):
        mirrored = abs((hz * harmonic + top / 2.0) % top - top / 2.0)
        allowed = allowed & ~band_of(spectrum, mirrored)
    return int(np.argmax(np.where(allowed, power, -1.0))) if allowed.any() else None


def _sense(force: ComplexArray) -> float:
    """Return how the force circles: forward leads right by a quarter turn when clockwise seen from above."""
    forward, right = force[:, 0], force[:, 1]
    size = float((np.abs(forward) ** 2 + np.abs(right) ** 2).sum())
    return float(2.0 * (forward * right.conj()).imag.sum() / size) if size > 0 else 0.0
