"""Spectra, bands and rotor lines against Parseval's theorem, textbook levels, Harris' windows and scipy.

Sources: beside each check; the bandwidths of the windows also computed with scipy 1.17.1.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals.bands import BANDS, Band, band_rms, band_weights
from rotorwright.signals.harmonics import rotor_lines
from rotorwright.signals.spectra import (
    density_factors,
    framed,
    hann,
    noise_bandwidth_bins,
    squared,
    throttle_map,
    transformed,
    welch_spectrum,
)

# F. J. Harris, "On the use of windows for harmonic analysis with the DFT", Proc. IEEE 66 (1978) 51-83; bins.
BANDWIDTHS = {"boxcar": 1.0, "hann": 1.5, "hamming": 1.362826, "blackman": 1.726757, "flattop": 3.770246}
RATE_HZ = 1000.0


def noise(seed: int, rows: int = 200_000, sigma: float = 0.7) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.random.default_rng(seed).normal(scale=sigma, size=rows)


def test_power_over_all_frequencies_is_the_mean_square() -> None:
    # Parseval's theorem: a boxcar without overlap and without taking off the mean.
    samples = noise(1, rows=64_000)
    spectrum = welch_spectrum(samples, RATE_HZ, frame=1000, window="boxcar", overlap=0, is_detrended=False)
    assert spectrum.power.sum() * spectrum.step_hz == pytest.approx(np.mean(samples**2), rel=1e-12)


def test_white_noise_is_level_at_its_variance_over_half_the_rate() -> None:
    # Textbook: the one-sided density of white noise is sigma^2 / (fs / 2).
    spectrum = welch_spectrum(noise(2), RATE_HZ, frame=512)
    assert spectrum.power[2:-2].mean() == pytest.approx(0.7**2 / (RATE_HZ / 2), rel=0.02)


def test_sine_on_a_bin_has_half_its_squared_amplitude() -> None:
    # Textbook: A^2/2 as power, and A^2/2 over 1.5 bins as density under a Hann window.
    amplitude, frame = 3.0, 500
    samples = amplitude * np.sin(2 * np.pi * 100.0 * np.arange(50_000) / RATE_HZ)
    power = welch_spectrum(samples, RATE_HZ, frame=frame, scaling="spectrum")
    density = welch_spectrum(samples, RATE_HZ, frame=frame)
    assert power.power.max() == pytest.approx(amplitude**2 / 2, rel=1e-9)
    assert density.power.max() == pytest.approx(amplitude**2 / 2 / (1.5 * RATE_HZ / frame), rel=1e-9)


@pytest.mark.parametrize(("window", "bins"), BANDWIDTHS.items())
def test_noise_bandwidth_of_a_window_is_as_published(window: str, bins: float) -> None:
    assert noise_bandwidth_bins(window, 4096) == pytest.approx(bins, abs=1e-5)


def test_frames_of_single_precision_give_the_densities_of_scipy() -> None:
    samples, frame = noise(3, rows=20_000), 256
    block = samples.astype(np.float32)[None, :]
    power = squared(transformed(framed(block, frame=frame, hop=frame // 2), hann(frame)))[0]
    ours = power.mean(axis=0) * density_factors(hann(frame), RATE_HZ)
    _, theirs = signal.welch(samples, RATE_HZ, nperseg=frame)
    assert ours == pytest.approx(theirs, rel=1e-4)


def test_noise_in_a_band_is_that_of_white_noise() -> None:
    # Arithmetic: white noise spreads its variance evenly up to half the rate.
    spectrum = welch_spectrum(noise(4), RATE_HZ, frame=1000)
    expected = 0.7 * np.sqrt(70.0 / (RATE_HZ / 2))
    assert band_rms(spectrum, Band(30, 100)) == pytest.approx(expected, rel=0.02)


def test_bands_side_by_side_hold_each_frequency_once() -> None:
    at_hz = np.asarray(np.fft.rfftfreq(1024, 1 / 4000), np.float64)
    weights = band_weights(at_hz, BANDS)
    assert weights.sum(axis=0) == pytest.approx([one.high_hz - one.low_hz for one in BANDS], rel=1e-5)
    assert (weights.sum(axis=1) <= at_hz[1] * (1 + 1e-6)).all()


@pytest.mark.parametrize("aside_hz", [0.0, 0.9, 1.8])
def test_amplitude_of_a_rotor_line_is_that_of_the_sine(aside_hz: float) -> None:
    # A sine of known amplitude (textbook: its mean square is A^2/2), also between two bins of the transform.
    rows, speed = 20_000, 148.0 + aside_hz
    at_s = np.arange(rows) / RATE_HZ
    lines = [0.5 * np.sin(2 * np.pi * speed * at_s), 0.2 * np.sin(2 * np.pi * 2 * speed * at_s), 0 * at_s]
    told = np.full((rows, 4), speed)
    found = rotor_lines(np.stack(lines, axis=1), told, RATE_HZ)
    assert found.amplitude[:, :2] == pytest.approx(np.array([[0.5, 0.0], [0.0, 0.2], [0.0, 0.0]]), abs=0.01)
    assert found.speed_hz == pytest.approx(speed, rel=1e-6)


def test_line_is_followed_while_the_rotors_speed_up() -> None:
    rows = 40_000
    speed = np.linspace(80, 220, rows)
    line = 0.4 * np.sin(2 * np.pi * np.cumsum(speed) / RATE_HZ)
    found = rotor_lines(np.stack([line] * 3, axis=1), speed[:, None], RATE_HZ)
    assert found.amplitude[:, 0] == pytest.approx(0.4, rel=0.03)


def test_map_by_throttle_shows_each_level_at_its_throttle() -> None:
    rows = 60_000
    throttle = np.where(np.arange(rows) < rows // 2, 0.22, 0.62)
    samples = noise(5, rows) * np.where(throttle < 0.5, 1.0, 2.0)
    found = throttle_map(samples, throttle, RATE_HZ)
    level = found.density[:, 5:-5].mean(axis=1) / (0.7**2 / (RATE_HZ / 2))
    assert level[4] == pytest.approx(1.0, rel=0.05)
    assert level[12] == pytest.approx(4.0, rel=0.05)
    assert np.isnan(level[[0, 19]]).all()
