"""Noise in bands: the root mean square of what a signal holds between two frequencies.

| band | why | source |
|---|---|---|
| 30 to 100 Hz | frame and propeller wash, above what a pilot does | common practice, no source |
| 100 to 400 Hz | rotors of small craft, 6000 to 24000 turns per minute | arithmetic and common practice |
| 400 to 1000 Hz | harmonics of the rotors, bearings | common practice, no source |
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from rotorwright.signals.flight import FloatArray
    from rotorwright.signals.spectra import Single, Spectrum

USABLE_SHARE = 0.45  # of the sample rate: above it the converters' and loggers' own filters begin
LEAST_OCTAVE = 1.5  # a band cut off at the top has to reach at least this many times its lower end


@dataclass(frozen=True, slots=True)
class Band:
    """From `low_hz` to `high_hz`."""

    low_hz: float
    high_hz: float

    @property
    def words(self) -> str:
        """The band in words."""
        return f"{self.low_hz:.0f} to {self.high_hz:.0f} Hz"


BANDS = (Band(30, 100), Band(100, 400), Band(400, 1000))


def usable_bands(top_hz: float) -> tuple[Band, ...]:
    """Return the bands below the highest frequency that can be used, the last cut off there."""
    cut = (Band(one.low_hz, min(one.high_hz, top_hz)) for one in BANDS)
    return tuple(one for one in cut if one.high_hz >= LEAST_OCTAVE * one.low_hz)


def band_weights(at_hz: FloatArray, bands: tuple[Band, ...]) -> Single:
    """Return (f, b): how many Hz of each bin lie in each band; density times this is the mean square in the band."""
    step = float(at_hz[1] - at_hz[0])
    low, high = at_hz[:, None] - step / 2, at_hz[:, None] + step / 2
    lows, highs = np.array([one.low_hz for one in bands]), np.array([one.high_hz for one in bands])
    weights = np.clip(np.minimum(high, highs) - np.maximum(low, lows), 0, None)
    return np.asarray(weights, np.float32)


def band_rms(spectrum: Spectrum, band: Band) -> FloatArray:
    """Return the root mean square within a band, in the signal's unit, of a spectrum of densities."""
    weights = band_weights(spectrum.at_hz, (band,)).astype(np.float64)[:, 0]
    return np.sqrt(np.asarray(spectrum.power @ weights))
