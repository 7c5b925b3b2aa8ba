"""How the aircraft answers a step of the wanted rate, had by regularised deconvolution.

A pilot hardly ever flies a clean step, but what was wanted and what came hold the answer: the transfer function is the
sum of conj(W) R over the sum of |W|^2 plus a little (Wiener deconvolution: N. Wiener, "Extrapolation, interpolation,
and smoothing of stationary time series", 1949), and the step response is the running sum of its inverse transform. The
little keeps noise out where nothing was wanted, and costs one to four hundredths of the plateau, so heights are told
in parts of the plateau at 300 to 450 ms.

| limit | value | source |
|---|---|---|
| frame | 2 s, half overlapping, Hann | common practice, no source |
| the little | 2e-5 of the largest power wanted | tried on known systems (tests/outside) |
| sticks move | 15 deg/s rms in a frame | common practice, no source |
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import fft  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals.spectra import LONG_FRAME_S, folded_frames, folding, frame_samples, hann
from rotorwright.signals.stretches import Stretch

if TYPE_CHECKING:
    from rotorwright.signals.flight import FloatArray

RESPONSE_S = 0.5
PLATEAU_S = (0.300, 0.450)
REGULARISATION = 2e-5
LEAST_WANTED_RAD_S = float(np.radians(15.0))
LEAST_PLATEAU = 0.3  # below it the plateau cannot carry a normalisation


@dataclass(frozen=True, slots=True, eq=False)
class StepResponse:
    """A step response: (k,) seconds and heights in parts of the plateau; `raw_plateau` is what it was divided by."""

    at_s: FloatArray
    height: FloatArray
    raw_plateau: float


@dataclass(frozen=True, slots=True)
class StepFigures:
    """What a step response comes down to; NaN where the curve does not show it.

    Args:
        overshoot: highest point over the plateau, as a part of it.
        peak_s: time of the highest point.
        t50_s: time at half the plateau.
        rise_s: time from a tenth to nine tenths.
    """

    overshoot: float
    peak_s: float
    t50_s: float
    rise_s: float


def response_from_spectra(
    wanted_power: FloatArray, cross: FloatArray, *, frame: int, rate_hz: float, regularisation: float = REGULARISATION
) -> StepResponse:
    """Return the step response from summed spectra.

    Args:
        wanted_power: (f,) sum of |W|^2.
        cross: (f,) complex sum of conj(W) R.
        frame: samples in a frame.
        rate_hz: samples per second.
        regularisation: the little that is added, as a part of the largest power wanted.
    """
    transfer = cross / (wanted_power + regularisation * max(float(wanted_power.max()), 1e-300))
    impulse = fft.irfft(transfer, frame)
    kept = int(RESPONSE_S * rate_hz)
    lead = frame // 20  # what the taper smears to before the step belongs to the curve's foot
    around = np.concatenate((impulse[-lead:], impulse[:kept]))
    whole = (np.cumsum(around) - around / 2)[lead:]  # trapezoids: a running sum alone is half a sample early
    at_s = np.arange(kept) / rate_hz
    plateau = float(whole[(at_s >= PLATEAU_S[0]) & (at_s <= PLATEAU_S[1])].mean())
    return StepResponse(at_s, whole / plateau if plateau > LEAST_PLATEAU else np.full(kept, np.nan), plateau)


def step_figures(response: StepResponse) -> StepFigures:
    """Return overshoot, peak time, t50 and rise time, found between the samples."""
    height, at_s = response.height, response.at_s
    if not np.isfinite(height).all():
        return StepFigures(*[float("nan")] * 4)
    peak = int(np.argmax(height))
    top, peak_s = _parabola(at_s, height, peak)
    low, half, high = (_first_crossing(at_s, height, level) for level in (0.1, 0.5, 0.9))
    return StepFigures(max(0.0, top - 1), peak_s, half, high - low)


def step_response(
    wanted: FloatArray,
    rate: FloatArray,
    rate_hz: float,
    *,
    regularisation: float = REGULARISATION,
    least_wanted: float = LEAST_WANTED_RAD_S,
) -> StepResponse:
    """Return the step response from (n,) wanted rate to (n,) rate; NaN heights where the sticks never moved.

    Args:
        wanted: in rad/s, even in time.
        rate: in rad/s, in the same rows.
        rate_hz: samples per second.
        regularisation: the little that is added, as a part of the largest power wanted.
        least_wanted: frames with less wanted, rms, do not count.
    """
    fold = folding(rate_hz)
    frame = frame_samples(rate_hz / fold, LONG_FRAME_S)
    power, cross = np.zeros(frame // 2 + 1), np.zeros(frame // 2 + 1, complex)
    columns = np.stack((wanted, rate), axis=1)
    window = hann(frame)
    for frames in folded_frames((columns,), (Stretch(0, len(columns)),), fold=fold, frame=frame):
        pair = frames[0]
        moved = np.sqrt(np.mean(np.square(pair[0]), axis=-1)) >= least_wanted
        spectra = fft.rfft(pair * window, axis=-1)[:, moved]
        power += np.nansum(np.abs(spectra[0]) ** 2, axis=0)
        cross += np.nansum(np.conj(spectra[0]) * spectra[1], axis=0)
    return response_from_spectra(power, cross, frame=frame, rate_hz=rate_hz / fold, regularisation=regularisation)


def _first_crossing(at_s: FloatArray, height: FloatArray, level: float) -> float:
    above = np.flatnonzero(height >= level)
    if not len(above):
        return float("nan")
    k = int(above[0])
    if k == 0:
        return float(at_s[0])
    part = (level - height[k - 1]) / (height[k] - height[k - 1])
    return float(at_s[k - 1] + part * (at_s[k] - at_s[k - 1]))


def _parabola(at_s: FloatArray, height: FloatArray, peak: int) -> tuple[float, float]:
    if not 0 < peak < len(height) - 1:
        return float(height[peak]), float(at_s[peak])
    left, middle, right = height[peak - 1 : peak + 2]
    bend = left - 2 * middle + right
    aside = 0.0 if bend >= 0 else float((left - right) / (2 * bend))
    return float(middle - (left - right) * aside / 4), float(at_s[peak] + aside * (at_s[1] - at_s[0]))
