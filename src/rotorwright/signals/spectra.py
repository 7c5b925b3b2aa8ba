"""Power spectra by Welch's method, whole and by throttle, and the frames they are made of.

Densities are one-sided, in the square of the signal's unit per Hz. Source: P. D. Welch, "The use of fast Fourier
transform for the estimation of power spectra", IEEE Trans. Audio Electroacoust. 15 (1967) 70-73, as scipy.signal.welch
computes it. Long recordings are worked through in frames of single precision, some hundred at a time: the error of
about 1e-6 is far below any noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals.stretches import Stretch

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.signals.flight import FloatArray

Single: TypeAlias = NDArray[np.float32]
ComplexSingle: TypeAlias = NDArray[np.complex64]

BLOCK_SAMPLES = 1 << 15  # of each channel at a time: frames of it, made twice by the overlap, stay in the cache
FRAME_S = 0.256  # 3.9 Hz apart: fine enough to tell rotor lines, short enough to follow the throttle
LONG_FRAME_S = 2.0  # for the response: what lies below 6 Hz does not leak into the band above it
FOLDED_HZ = 1000.0  # long frames need no more samples per second: no craft answers at 500 Hz


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """A power spectrum: (f,) frequencies in Hz, and (..., f) density or power."""

    at_hz: FloatArray
    power: FloatArray

    @property
    def step_hz(self) -> float:
        """How far apart the frequencies are."""
        return float(self.at_hz[1] - self.at_hz[0])


@dataclass(frozen=True, slots=True, eq=False)
class ThrottleMap:
    """Spectra by throttle: (b + 1,) edges of the bins, (f,) frequencies, (b, f) density, NaN where never flown.

    `frames` tells how many frames each bin's spectrum is the mean of.
    """

    edges: FloatArray
    at_hz: FloatArray
    density: FloatArray
    frames: NDArray[np.int64]


def welch_spectrum(
    samples: FloatArray,
    rate_hz: float,
    *,
    frame: int,
    window: str = "hann",
    overlap: int | None = None,
    scaling: Literal["density", "spectrum"] = "density",
    is_detrended: bool = True,
) -> Spectrum:
    """Return the power spectrum of (n,) or (..., n) samples.

    Args:
        samples: even in time.
        rate_hz: samples per second.
        frame: samples in a frame; shortened to the number of samples.
        window: name of the window.
        overlap: samples by which frames overlap; half a frame if not given.
        scaling: "density" per Hz, or "spectrum" for the power of single lines.
        is_detrended: whether each frame's mean is taken off first.
    """
    at_hz, power = signal.welch(
        samples,
        rate_hz,
        window=window,
        nperseg=min(frame, np.shape(samples)[-1]),
        noverlap=overlap,
        scaling=scaling,
        detrend="constant" if is_detrended else False,
    )
    return Spectrum(at_hz, power)


def noise_bandwidth_bins(window: str, samples: int) -> float:
    """Return the equivalent noise bandwidth of a window in bins: n sum(w^2) / sum(w)^2.

    Source: F. J. Harris, "On the use of windows for harmonic analysis with the DFT", Proc. IEEE 66 (1978) 51-83.
    """
    weights = signal.get_window(window, samples)
    return float(samples * np.sum(weights**2) / np.sum(weights) ** 2)


def frame_samples(rate_hz: float, lasts_s: float = FRAME_S) -> int:
    """Return how many samples a frame of about this time has, even, and quick to transform."""
    return max(8, 2 * int(fft.next_fast_len(max(1, round(rate_hz * lasts_s / 2)), real=True)))


def blocks(stretches: Sequence[Stretch], frame: int, hop: int) -> Iterator[tuple[int, int]]:
    """Yield (first row, frames) of pieces to work on at a time; frames never reach over the end of a stretch."""
    at_once = max(1, BLOCK_SAMPLES // hop)
    for one in stretches:
        frames = max(0, (one.stop - one.start - frame) // hop + 1)
        for done in range(0, frames, at_once):
            yield one.start + done * hop, min(at_once, frames - done)


def block_of(columns: FloatArray, start: int, frames: int, *, frame: int, hop: int) -> Single:
    """Return the (channels, rows) samples under some frames, in single precision."""
    rows = columns[start : start + (frames - 1) * hop + frame]
    return np.ascontiguousarray(np.atleast_2d(rows.T), dtype=np.float32)


def framed(block: Single, *, frame: int, hop: int) -> Single:
    """Return a view of the (channels, frames, frame) overlapping frames of a (channels, rows) block."""
    return np.lib.stride_tricks.sliding_window_view(block, frame, axis=-1)[:, ::hop]


def frame_means(columns: FloatArray, start: int, frames: int, *, frame: int, hop: int) -> FloatArray:
    """Return the (channels, frames) mean of each frame over the rows that are numbers; NaN where none is."""
    rows = np.atleast_2d(columns[start : start + (frames - 1) * hop + frame].T)
    counted = np.isfinite(rows)
    sums, counts = (_frame_sums(one, frame=frame, hop=hop) for one in (np.where(counted, rows, 0.0), counted))
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)


def frame_counts(flags: NDArray[np.bool_], *, frame: int, hop: int) -> FloatArray:
    """Return how many of each frame's (channels, rows) flags are set."""
    return _frame_sums(flags, frame=frame, hop=hop)


def _frame_sums(rows: FloatArray | NDArray[np.bool_], *, frame: int, hop: int) -> FloatArray:
    sums = np.zeros((rows.shape[0], rows.shape[1] + 1))
    np.cumsum(rows, axis=1, out=sums[:, 1:])
    return np.asarray(sums[:, frame::hop] - sums[:, :-frame:hop])


def transformed(frames: Single, window: Single) -> ComplexSingle:
    """Return the transforms of frames, each without its mean and under the window."""
    tapered = frames - frames.mean(axis=-1, keepdims=True)
    tapered *= window
    result: ComplexSingle = fft.rfft(tapered, axis=-1, overwrite_x=True)
    return result


def density_factors(window: Single, rate_hz: float) -> Single:
    """Return by what squared transforms are multiplied to become one-sided densities, (f,)."""
    frame = len(window)
    factors = np.full(frame // 2 + 1, 2.0 / (rate_hz * float(np.sum(window.astype(np.float64) ** 2))), np.float32)
    factors[0] /= 2
    factors[-1] /= 2  # frames are even, so the last is the Nyquist frequency
    return factors


def hann(frame: int) -> Single:
    """Return the Hann window as scipy makes it for spectra."""
    weights: Single = signal.get_window("hann", frame).astype(np.float32)
    return weights


def squared(transforms: ComplexSingle) -> Single:
    """Return the squared magnitudes."""
    power: Single = np.square(transforms.real)
    power += np.square(transforms.imag)
    return power


def folding(rate_hz: float) -> int:
    """Return how many neighbours are taken together."""
    return max(1, round(rate_hz / FOLDED_HZ))


def folded_frames(
    arrays: Sequence[FloatArray], stretches: Sequence[Stretch], *, fold: int, frame: int
) -> Iterator[tuple[Single, ...]]:
    """Yield, a few at a time, the (channels, frames, frame) half overlapping frames of (n, channels) arrays.

    Args:
        arrays: with the same rows.
        stretches: the usable stretches of their rows.
        fold: how many rows are taken together, by their mean.
        frame: samples in a frame, after that.
    """
    hop = frame // 2
    at_once = max(1, BLOCK_SAMPLES // hop)
    for one in stretches:
        total = ((one.stop - one.start) // fold - frame) // hop + 1
        for done in range(0, max(0, total), at_once):
            count = min(at_once, total - done)
            first = one.start + done * hop * fold
            last = first + ((count - 1) * hop + frame) * fold
            yield tuple(framed(_folded(array[first:last], fold), frame=frame, hop=hop) for array in arrays)


def _folded(rows: FloatArray, fold: int) -> Single:
    columns = np.ascontiguousarray(rows.T, dtype=np.float32)
    if fold == 1:
        return columns
    total = columns[:, ::fold].copy()
    for k in range(1, fold):
        total += columns[:, k::fold]
    return total / np.float32(fold)


def throttle_map(
    samples: FloatArray,
    throttle: FloatArray,
    rate_hz: float,
    *,
    bins: int = 20,
    stretches: Sequence[Stretch] | None = None,
) -> ThrottleMap:
    """Return spectra by throttle of one (n,) channel. Frames with NaN count in no bin.

    Args:
        samples: the channel, even in time within each stretch.
        throttle: (n,) 0 to 1.
        rate_hz: samples per second.
        bins: bins of throttle from 0 to 1.
        stretches: the usable stretches; all of it if not given.
    """
    frame = frame_samples(rate_hz)
    hop, window = frame // 2, hann(frame)
    total = np.zeros((bins, frame // 2 + 1))
    counts = np.zeros(bins, np.int64)
    for start, frames in blocks(stretches or (Stretch(0, len(samples)),), frame, hop):
        loads = frame_means(throttle, start, frames, frame=frame, hop=hop)[0]
        block = block_of(samples, start, frames, frame=frame, hop=hop)
        power = squared(transformed(framed(block, frame=frame, hop=hop), window))[0]
        good = np.isfinite(power[:, 0]) & np.isfinite(loads)
        chosen = np.clip((loads[good] * bins).astype(np.int64), 0, bins - 1)
        member = (chosen == np.arange(bins)[:, None]).astype(np.float32)
        total += member @ power[good]
        counts += member.sum(axis=1).astype(np.int64)
    density = np.where(counts[:, None] > 0, total / np.maximum(counts, 1)[:, None], np.nan)
    return ThrottleMap(
        np.linspace(0, 1, bins + 1),
        fft.rfftfreq(frame, 1 / rate_hz),
        density * density_factors(window, rate_hz),
        counts,
    )
