"""How much later the filtered rate is than the raw one, by cross-correlation.

Both signals are whitened within the band of motion and correlated there; the peak is found between the samples by
trying lags and a parabola through the best three. Whitening makes the delay a property of the filter and not of what
was flown. Source: C. H. Knapp, G. C. Carter, "The generalized correlation method for estimation of time delay", IEEE
Trans. Acoust. Speech Signal Process. 24 (1976) 320-327.

| limit | value | source |
|---|---|---|
| band | 6 to 50 Hz | common practice, no source: what a craft does to its pilot's sticks and to gusts |
| lags tried | -2 to 25 ms | common practice, no source |
| least coherence | 0.5 | common practice, no source |
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.signals.spectra import (
    LONG_FRAME_S,
    folded_frames,
    folding,
    frame_samples,
    hann,
    squared,
    transformed,
)
from rotorwright.signals.stretches import Stretch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.signals.flight import FloatArray

LOW_HZ = 6.0
HIGH_HZ = 50.0
HIGH_SHARE = 0.4  # of the sample rate
LEAST_BINS = 4
LEAST_COHERENCE = 0.5
LAG_STEP_S = 2e-4
LAGS_S = np.arange(-2e-3, 25e-3, LAG_STEP_S)


def delay_bins(frame: int, rate_hz: float) -> slice:
    """Return the bins of a frame's transform that lie in the band of motion."""
    step = rate_hz / frame
    high = min(HIGH_HZ, HIGH_SHARE * rate_hz)
    return slice(int(np.ceil(LOW_HZ / step)), int(high / step) + 1)


def delay_from_spectra(at_hz: FloatArray, cross: FloatArray, raw: FloatArray, filtered: FloatArray) -> FloatArray:
    """Return the delay in seconds from summed spectra; NaN where they hardly belong together or no lag fits.

    Args:
        at_hz: (q,) frequencies of the band.
        cross: (..., q) complex sums of conj(raw) times filtered.
        raw: (..., q) sums of the squared raw transforms.
        filtered: (..., q) sums of the squared filtered transforms.
    """
    size = np.abs(cross)
    with np.errstate(divide="ignore", invalid="ignore"):
        coherence = size**2 / (raw * filtered)
        whitened = cross / size * coherence / at_hz**2
    whitened = np.where(np.isfinite(whitened), whitened, 0)
    angles = 2 * np.pi * at_hz[:, None] * LAGS_S
    correlation = np.einsum("...q,ql->...l", whitened.real, np.cos(angles))
    correlation -= np.einsum("...q,ql->...l", whitened.imag, np.sin(angles))
    highest = np.argmax(correlation, axis=-1)
    best = np.clip(highest, 1, len(LAGS_S) - 2)  # at an end of the lags tried it is no peak
    left, middle, right = (np.take_along_axis(correlation, (best + k)[..., None], axis=-1)[..., 0] for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    aside = np.where(bend < 0, (left - right) / (2 * np.where(bend < 0, bend, 1)), 0)
    delays = LAGS_S[best] + np.clip(aside, -1, 1) * LAG_STEP_S
    is_shown = (
        (len(at_hz) >= LEAST_BINS) & (highest == best) & (np.nan_to_num(coherence).mean(axis=-1) >= LEAST_COHERENCE)
    )
    return np.where(is_shown, delays, np.nan)


def filter_delay(
    raw: FloatArray, filtered: FloatArray, rate_hz: float, *, stretches: Sequence[Stretch] | None = None
) -> FloatArray:
    """Return the (channels,) delay in seconds of (n, channels) filtered against raw; frames with NaN do not count.

    Args:
        raw: before the filters, even in time within each stretch.
        filtered: after them, in the same rows.
        rate_hz: samples per second.
        stretches: the usable stretches; all of it if not given.
    """
    fold = folding(rate_hz)
    frame = frame_samples(rate_hz / fold, LONG_FRAME_S)
    window, band = hann(frame), delay_bins(frame, rate_hz / fold)
    at_hz = np.arange(frame // 2 + 1)[band] * rate_hz / fold / frame
    sums = [np.zeros((raw.shape[1], len(at_hz)), kind) for kind in (complex, float, float)]
    for pair in folded_frames((raw, filtered), stretches or (Stretch(0, len(raw)),), fold=fold, frame=frame):
        first, second = (transformed(one, window)[..., band] for one in pair)
        for k, part in enumerate((np.conj(first) * second, squared(first), squared(second))):
            sums[k] += np.where(np.isfinite(part), part, 0).sum(axis=1)
    return delay_from_spectra(at_hz, sums[0], sums[1], sums[2])
