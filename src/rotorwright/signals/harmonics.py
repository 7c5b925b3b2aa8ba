"""The rotors' fundamental and its harmonics, followed from the speeds that the motor controllers tell.

In each frame the mean speed of each rotor says where its line is. What lies within two bins of any rotor's line is
taken together, so rotors that turn alike are not counted twice. Two bins hold a line of a Hann window even when the
speed told is half a bin off (arithmetic: its main lobe is two bins to each side).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.signals.bands import USABLE_SHARE
from rotorwright.signals.spectra import (
    block_of,
    blocks,
    density_factors,
    frame_means,
    frame_samples,
    framed,
    hann,
    squared,
    transformed,
)
from rotorwright.signals.stretches import Stretch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.signals.flight import FloatArray
    from rotorwright.signals.spectra import Single

HARMONICS = (1, 2, 3)
BINS_ASIDE = 2
LEAST_HZ = 20.0  # slower rotors do not carry anything


@dataclass(frozen=True, slots=True, eq=False)
class RotorLines:
    """Amplitudes at the rotors' frequency and its harmonics.

    Args:
        harmonics: (k,) which: 1 is the fundamental.
        amplitude: (3, k) amplitude per axis in the signal's unit, NaN where never seen.
        speed_hz: mean speed of the rotors.
    """

    harmonics: tuple[int, ...]
    amplitude: FloatArray
    speed_hz: float


def line_powers(power: Single, speeds_hz: FloatArray, *, rate_hz: float, top_hz: float) -> Single:
    """Return (axes, frames, k) the mean square near the lines of (axes, frames, f) densities.

    NaN where not every rotor's line can be seen.

    Args:
        power: one-sided densities of frames.
        speeds_hz: (m, frames) mean speed of each rotor in each frame.
        rate_hz: samples per second.
        top_hz: the highest frequency that can be used.
    """
    frames, size = power.shape[1:]
    step_hz = rate_hz / (2 * (size - 1))
    result = np.full((power.shape[0], frames, len(HARMONICS)), np.nan, np.float32)
    offsets = np.arange(-BINS_ASIDE, BINS_ASIDE + 1)
    rows = np.arange(frames)[None, :, None]
    for k, harmonic in enumerate(HARMONICS):
        line = harmonic * speeds_hz
        seen = (speeds_hz >= LEAST_HZ) & (line <= top_hz)
        bins = np.clip(np.rint(np.where(seen, line, 0) / step_hz).astype(np.int64), BINS_ASIDE, size - 1 - BINS_ASIDE)
        mask = np.zeros((frames, size), bool)
        near = np.broadcast_to(seen[:, :, None], (*bins.shape, len(offsets)))
        mask[np.broadcast_to(rows, near.shape)[near], (bins[:, :, None] + offsets)[near]] = True
        all_seen = seen.all(axis=0)
        result[:, all_seen, k] = np.einsum("afb,fb->af", power, mask, dtype=np.float32)[:, all_seen] * step_hz
    return result


def rotor_lines(
    rates: FloatArray, rotor_hz: FloatArray, rate_hz: float, *, stretches: Sequence[Stretch] | None = None
) -> RotorLines:
    """Return the amplitude per axis of (n, 3) rates at the frequency of the rotors and its harmonics.

    Noise within two bins of the lines counts as well: an amplitude says nothing where no line stands out.

    Args:
        rates: even in time within each stretch.
        rotor_hz: (n, m) turns per second of each rotor.
        rate_hz: samples per second.
        stretches: the usable stretches; all of it if not given.
    """
    frame = frame_samples(rate_hz)
    hop, window = frame // 2, hann(frame)
    factors = density_factors(window, rate_hz)
    found, speeds = [], []
    for start, frames in blocks(stretches or (Stretch(0, len(rates)),), frame, hop):
        told = frame_means(rotor_hz, start, frames, frame=frame, hop=hop)
        block = block_of(rates, start, frames, frame=frame, hop=hop)
        power = squared(transformed(framed(block, frame=frame, hop=hop), window)) * factors
        found.append(line_powers(power, told, rate_hz=rate_hz, top_hz=USABLE_SHARE * rate_hz))
        speeds.append(told)
    if not found:
        return RotorLines(HARMONICS, np.full((3, len(HARMONICS)), np.nan), float("nan"))
    every = np.concatenate(found, axis=1).astype(np.float64)
    counted = np.isfinite(every)
    mean = np.where(counted, every, 0).sum(axis=1) / np.where(counted.any(axis=1), counted.sum(axis=1), np.nan)
    told_all = np.concatenate(speeds, axis=1)
    told_all = told_all[np.isfinite(told_all)]
    return RotorLines(HARMONICS, np.sqrt(2 * mean), float(told_all.mean()) if len(told_all) else float("nan"))
