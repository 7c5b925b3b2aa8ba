"""What one flight says, frame by frame: in short frames for noise, in long ones for response and delay.

Memory does not grow with the recording but for a few hundred numbers for each frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import fft  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals import delay, harmonics, spectra
from rotorwright.signals.bands import band_weights
from rotorwright.signals.tracking import all_told, motor_at_limit

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from rotorwright.signals.bands import Band
    from rotorwright.signals.flight import Flight, FloatArray
    from rotorwright.signals.spectra import ComplexSingle, Single
    from rotorwright.signals.stretches import Usable

RESPONSE_HZ = 150.0  # what is kept of the transforms for the step response: beyond it no craft answers
PINNED_SHARE = 0.98  # of the largest value seen
PINNED_RAD_S = 4.0  # below the smallest full scale in use, 250 deg/s = 4.36 rad/s (gyro data sheets)
PINNED_ROWS = 3  # neighbours that stay equal at the largest value, in one frame


@dataclass(frozen=True, slots=True, eq=False)
class SignalFrames:
    """Short frames of one (n, 3) signal.

    Args:
        bands: (3, frames, b) mean square in each band, NaN where the frame cannot be used.
        lines: (3, frames, k) mean square near the rotors' lines, or None where no speeds were recorded.
        is_still: (3, frames) every value of the frame is the same.
        is_pinned: (3, frames) the sensor stands at its end.
        is_lost: (3, frames) it cannot be used, for these or because it holds what is no number.
        density: (3, f) mean density over the frames that can be used.
    """

    bands: FloatArray
    lines: FloatArray | None
    is_still: NDArray[np.bool_]
    is_pinned: NDArray[np.bool_]
    is_lost: NDArray[np.bool_]
    density: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class NoiseFrames:
    """Short frames of a flight: noise of the filtered and the raw rate.

    Args:
        at_hz: (f,) frequencies.
        rate: the rate that the loop sees.
        raw: the rate before the filters.
        largest_rad_s: (3,) largest magnitude of the rate.
        load: (frames,) throttle, or mean motor output, or NaN.
    """

    at_hz: FloatArray
    rate: SignalFrames
    raw: SignalFrames | None
    largest_rad_s: FloatArray
    load: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ResponseFrames:
    """Long frames of what was wanted and what came. Spectra reach up to `RESPONSE_HZ`.

    Args:
        frame: samples in a frame.
        rate_hz: samples per second of it.
        wanted: (3, frames) rms of the wanted rate; NaN where the frame cannot be used.
        error: (3, frames) rms of rate - wanted.
        wanted_power: (3, frames, f) |W|^2.
        cross: (3, frames, f) conj(W) R.
        load: (frames,) throttle, or mean motor output, or NaN.
    """

    frame: int
    rate_hz: float
    wanted: FloatArray
    error: FloatArray
    wanted_power: Single
    cross: ComplexSingle
    load: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class DelayFrames:
    """Long frames of the raw and the filtered rate, in the band of motion.

    Args:
        at_hz: (q,) frequencies.
        cross: (3, frames, q) conj(raw) times filtered.
        raw_power: (3, frames, q).
        rate_power: (3, frames, q).
        load: (frames,) throttle, or mean motor output, or NaN.
    """

    at_hz: FloatArray
    cross: ComplexSingle
    raw_power: Single
    rate_power: Single
    load: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MotorFrames:
    """Short frames of the motors: (frames,) share of the rows with any motor at its limit, and the load."""

    share: FloatArray
    load: FloatArray


def largest(columns: FloatArray) -> FloatArray:
    """Return the (channels,) largest magnitude among the rows that are numbers."""
    top = np.zeros(columns.shape[1])
    for start in range(0, len(columns), spectra.BLOCK_SAMPLES):
        part = np.abs(np.ascontiguousarray(columns[start : start + spectra.BLOCK_SAMPLES].T))
        most = part.max(axis=1)
        if not np.isfinite(most).all():
            most = np.where(np.isfinite(part), part, 0).max(axis=1)
        np.maximum(top, most, out=top)
    return top


def noise_frames(
    usable: Usable, bands: tuple[Band, ...], *, top_hz: float, step: Callable[[float], None]
) -> NoiseFrames:
    """Return the short frames of a flight.

    Args:
        usable: its usable stretches.
        bands: the bands of noise.
        top_hz: the highest frequency that can be used.
        step: told now and then what part is done.
    """
    flight = usable.flight
    plan = _Plan(usable.rate_hz, bands, top_hz)
    signals = [one for one in (flight.rate_rad_s, flight.raw_rate_rad_s) if one is not None]
    tops = [largest(one) for one in signals]
    pieces = list(spectra.blocks(usable.stretches, plan.frame, plan.hop))
    kept: list[list[_Piece]] = [[] for _ in signals]
    loads = []
    for k, (start, frames) in enumerate(pieces):
        loads.append(_load(flight, start, frames, plan))
        speeds = _speeds(flight, start, frames, plan)
        for collected, columns, top in zip(kept, signals, tops, strict=True):
            collected.append(_piece(plan.block(columns, start, frames), plan, speeds, top))
        step((k + 1) / len(pieces))
    joined = [_joined(one) for one in kept]
    raw = joined[1] if len(joined) > 1 else None
    return NoiseFrames(plan.at_hz, joined[0], raw, tops[0], np.concatenate(loads))


def response_frames(usable: Usable) -> ResponseFrames | None:
    """Return the long frames of what was wanted and what came, or nothing where no rates were wanted."""
    flight = usable.flight
    if flight.wanted_rate_rad_s is None:
        return None
    rate_hz, frame, window, fold = _long_plan(usable)
    top = int(RESPONSE_HZ * frame / rate_hz) + 1
    sizes, powers, crosses, loads = [], [], [], []
    arrays = (flight.wanted_rate_rad_s, flight.rate_rad_s, *_load_columns(flight))
    for wanted, rate, *load in spectra.folded_frames(arrays, usable.stretches, fold=fold, frame=frame):
        ask, answer = (fft.rfft(part * window, axis=-1)[..., :top] for part in (wanted, rate))
        sizes.append(np.stack((_rms(wanted), _rms(np.asarray(rate - wanted)))))
        powers.append(spectra.squared(ask))
        crosses.append(np.conj(ask) * answer)
        loads.append(_long_load(load, wanted.shape[1]))
    size, load_all = np.concatenate(sizes, axis=2), np.concatenate(loads)
    power, cross = np.concatenate(powers, axis=1), np.concatenate(crosses, axis=1)
    return ResponseFrames(frame, rate_hz, size[0], size[1], power, cross, load_all)


def delay_frames(usable: Usable) -> DelayFrames | None:
    """Return the long frames of the raw and the filtered rate, or nothing where no raw rate was recorded."""
    flight = usable.flight
    if flight.raw_rate_rad_s is None:
        return None
    rate_hz, frame, window, fold = _long_plan(usable)
    band = delay.delay_bins(frame, rate_hz)
    found, loads = [], []
    arrays = (flight.raw_rate_rad_s, flight.rate_rad_s, *_load_columns(flight))
    for before, after, *load in spectra.folded_frames(arrays, usable.stretches, fold=fold, frame=frame):
        raw, rate = (np.array(spectra.transformed(one, window)[..., band]) for one in (before, after))
        found.append((np.conj(raw) * rate, spectra.squared(raw), spectra.squared(rate)))
        loads.append(_long_load(load, before.shape[1]))
    cross, raw_power, rate_power = (np.concatenate(one, axis=1) for one in zip(*found, strict=True))
    at_hz = np.asarray(fft.rfftfreq(frame, 1 / rate_hz))[band]
    return DelayFrames(at_hz, cross, raw_power, rate_power, np.concatenate(loads))


def _load_columns(flight: Flight) -> tuple[FloatArray, ...]:
    if flight.throttle is not None:
        return (flight.throttle[:, None],)
    return () if flight.motors is None else (flight.motors,)


def _long_load(load: list[Single], frames: int) -> FloatArray:
    """Return the mean over rows and columns of each long frame, where there is a load."""
    return load[0].mean(axis=(0, 2), dtype=np.float64) if load else np.full(frames, np.nan)


def _long_plan(usable: Usable) -> tuple[float, int, Single, int]:
    fold = spectra.folding(usable.rate_hz)
    rate_hz = usable.rate_hz / fold
    frame = spectra.frame_samples(rate_hz, spectra.LONG_FRAME_S)
    return rate_hz, frame, spectra.hann(frame), fold


def motor_frames(usable: Usable) -> MotorFrames | None:
    """Return the share of each short frame in which any motor is at its limit; nothing where none was recorded."""
    motors = usable.flight.motors
    if motors is None:
        return None
    plan = _Plan(usable.rate_hz)
    frame = plan.frame
    shares, loads = [], []
    for start, frames in spectra.blocks(usable.stretches, frame, plan.hop):
        rows = slice(start, start + (frames - 1) * plan.hop + frame)
        counted = spectra.frame_counts(motor_at_limit(motors[rows])[None, :], frame=frame, hop=plan.hop)[0]
        told = spectra.frame_counts(all_told(motors[rows])[None, :], frame=frame, hop=plan.hop)[0]
        shares.append(np.where(told > 0, counted / np.maximum(told, 1), np.nan))
        loads.append(_load(usable.flight, start, frames, plan))
    return MotorFrames(np.concatenate(shares), np.concatenate(loads)) if shares else None


class _Plan:
    """How a flight is framed."""

    def __init__(self, rate_hz: float, bands: tuple[Band, ...] = (), top_hz: float = 0.0) -> None:
        self.top_hz = top_hz
        frame = spectra.frame_samples(rate_hz)
        self.rate_hz, self.frame, self.hop = rate_hz, frame, frame // 2
        self.window = spectra.hann(frame)
        self.factors = spectra.density_factors(self.window, rate_hz)
        self.at_hz = np.asarray(fft.rfftfreq(frame, 1 / rate_hz))
        self.weights = band_weights(self.at_hz, bands) * self.factors[:, None]

    def block(self, columns: FloatArray, start: int, frames: int) -> Single:
        return spectra.block_of(columns, start, frames, frame=self.frame, hop=self.hop)


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    bands: Single
    lines: Single | None
    is_still: NDArray[np.bool_]
    is_pinned: NDArray[np.bool_]
    is_lost: NDArray[np.bool_]
    total: FloatArray


def _piece(block: Single, plan: _Plan, speeds: FloatArray | None, top: FloatArray) -> _Piece:
    is_same = np.asarray(block[:, 1:] == block[:, :-1])
    same = spectra.frame_counts(is_same, frame=plan.frame - 1, hop=plan.hop)
    is_still = np.asarray(same >= plan.frame - 1)
    is_pinned = np.zeros(is_still.shape, bool)
    for axis in np.flatnonzero(top >= PINNED_RAD_S):
        at_end = is_same[axis] & (np.abs(block[axis, 1:]) >= PINNED_SHARE * top[axis])
        if at_end.any():
            counts = spectra.frame_counts(at_end[None, :], frame=plan.frame - 1, hop=plan.hop)[0]
            is_pinned[axis] = counts >= PINNED_ROWS
    transforms = spectra.transformed(spectra.framed(block, frame=plan.frame, hop=plan.hop), plan.window)
    power = spectra.squared(transforms)
    bad = is_still | is_pinned | ~np.isfinite(power[..., 0])
    if bad.any():
        power[bad] = 0
    bands = power @ plan.weights
    bands[bad] = np.nan
    lines = None
    if speeds is not None:
        lines = harmonics.line_powers(power * plan.factors, speeds, rate_hz=plan.rate_hz, top_hz=plan.top_hz)
        lines[bad] = np.nan
    total = power.sum(axis=1, dtype=np.float32).astype(np.float64) * plan.factors
    return _Piece(bands, lines, is_still, is_pinned, bad, total)


def _joined(pieces: list[_Piece]) -> SignalFrames:
    lines = [one.lines for one in pieces if one.lines is not None]
    is_lost = np.concatenate([one.is_lost for one in pieces], axis=1)
    used = np.maximum((~is_lost).sum(axis=1), 1)
    return SignalFrames(
        np.concatenate([one.bands for one in pieces], axis=1).astype(np.float64),
        np.concatenate(lines, axis=1).astype(np.float64) if lines else None,
        np.concatenate([one.is_still for one in pieces], axis=1),
        np.concatenate([one.is_pinned for one in pieces], axis=1),
        is_lost,
        np.sum([one.total for one in pieces], axis=0) / used[:, None],
    )


def _load(flight: Flight, start: int, frames: int, plan: _Plan) -> FloatArray:
    columns = flight.throttle if flight.throttle is not None else flight.motors
    if columns is None:
        return np.full(frames, np.nan)
    return np.asarray(spectra.frame_means(columns, start, frames, frame=plan.frame, hop=plan.hop).mean(axis=0))


def _speeds(flight: Flight, start: int, frames: int, plan: _Plan) -> FloatArray | None:
    if flight.rotor_hz is None:
        return None
    return spectra.frame_means(flight.rotor_hz, start, frames, frame=plan.frame, hop=plan.hop)


def _rms(frames: Single) -> FloatArray:
    return np.asarray(np.sqrt(np.mean(np.square(frames), axis=-1, dtype=np.float64)))
