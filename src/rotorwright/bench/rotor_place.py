"""Where the turning rotor sits, from the phase between the ripple of the yaw rate and the acceleration in the plane.

A force F in the plane of the rotors at (x, y) from the centre of gravity (forward, right) gives

    a = F / M,   dr/dt = (x F_y - y F_x) / Iz = (M / Iz) (x a_y - y a_x)

so the real regression of the narrow band of dr/dt on (a_y, -a_x) gives (M / Iz) (x, y): the bearing of the motor, and
how far out it sits in units that need neither mass nor inertia. Because the force circles, a lag p of the gyro behind
the accelerometer turns that bearing by s p, s the sense of the circle; so the lag has to be known. The same force acts
at a height h over the centre of gravity:

    dp/dt = (h / Ix) F_y,   dq/dt = - (h / Iy) F_x

which says nothing about the place, but its phase is that lag, whether the rotors sit above or below the centre (half a
turn is divided out). Without such a ripple the lag is fitted with the bearings of all motors together, within what
filters of the trade do. Gravity plays no part: at rotor frequency the body tilts by some millionths of a radian.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.rotor_spectrum import band_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rotorwright.bench.rotor_spectrum import ComplexArray, Line, Spectrum

# Limits: value, unit. Common practice, no source.
CIRCLE = 0.5  # least circularity of the force
SHAPE_DEG = 6.0  # degrees: centre of gravity and sensor are not quite in the middle
MARGIN = 2.6  # standard deviations to the border between two places
MOST_SIGMA_DEG = 14.0  # degrees, of the bearing's noise alone
MOST_LEFT = 0.3  # part of the ripple that one rotor must not leave unexplained
LAG_DEG = 15.0  # degrees at rotor frequency: what a gyro usually lags behind the accelerometer
LAG_SPREAD_DEG = 20.0  # degrees: how far that may be off
LAG_RANGE_DEG = (-35.0, 75.0)  # degrees: what is thought possible
LAG_MEASURED_DEG = 25.0  # degrees: a ripple of roll and pitch that tells the lag less well is not used
TILT_DEG = 6.0  # degrees: an imbalance along the shaft turns the ripple of roll and pitch a little
NOISE_WIDENED = 1.25  # neighbouring bins under a Hann window are alike: noise bandwidth 1.5 bins, its root


@dataclass(frozen=True, slots=True)
class Bearing:
    """Where one rotor sits, before the lag is taken out.

    Args:
        raw_deg: bearing from the nose, clockwise seen from above, turned by `sense` times the lag.
        sigma_deg: standard deviation of the noise.
        reach: (M / Iz) times the distance, in 1/m.
        sense: +1 or -1, way in which the force circles.
        left: part of the ripple that is not explained beyond the noise.
        tilt: ripple of roll and pitch against the acceleration (complex; its phase is minus the lag).
        tilt_sigma: standard deviation of `tilt`, each part.
    """

    raw_deg: float
    sigma_deg: float
    reach: float
    sense: int
    left: float
    tilt: complex
    tilt_sigma: float

    @property
    def is_usable(self) -> bool:
        """Whether the bearing means anything."""
        return self.sigma_deg <= MOST_SIGMA_DEG and self.left <= MOST_LEFT


@dataclass(frozen=True, slots=True)
class Lag:
    """Lag of the gyro behind the accelerometer at rotor frequency, in degrees, and whether it was measured."""

    degrees: float
    sigma_deg: float
    is_measured: bool


def bearing_of(spectrum: Spectrum, line: Line) -> Bearing | None:
    """Return the bearing of the rotor that writes `line`, or None if there is no clear circle."""
    if not line.is_clear or abs(line.sense) < CIRCLE:
        return None
    band = band_of(spectrum, line.hz)
    turn = 2j * np.pi * spectrum.hz[band]
    forward, right = spectrum.force[band, 0], spectrum.force[band, 1]
    spin = turn[:, None] * spectrum.rate[band]
    noise = _noise_of(spectrum, band) * NOISE_WIDENED * 2.0 * np.pi * line.hz
    out, sigma_out, left = _regressed(spin[:, 2], forward, right, noise[2])
    reach = float(np.hypot(*out))
    if reach <= 0.0:
        return None
    size = float((np.abs(forward) ** 2 + np.abs(right) ** 2).sum())
    tilt = complex((spin[:, 0] * right.conj() - spin[:, 1] * forward.conj()).sum() / size)
    force_part = float(_force_noise(spectrum, band)) / np.sqrt(max(size, 1e-18))
    return Bearing(
        float(np.degrees(np.arctan2(out[1], out[0]))),
        float(np.degrees(np.hypot(sigma_out / reach, force_part))),
        reach,
        1 if line.sense > 0 else -1,
        left,
        tilt,
        float(np.hypot(noise[0], noise[1]) / np.sqrt(2.0 * max(size, 1e-18))),
    )


def lag_of(bearings: Sequence[Bearing], places_deg: Sequence[float], *, told: Lag | None = None) -> Lag:
    """Return the common lag: told, else fitted with the bearings, from what the ripple of roll and pitch says on."""
    if told is not None:
        return told
    tilt = _tilt_lag(bearings)
    usable = [one for one in bearings if one.is_usable]
    grid = np.arange(LAG_RANGE_DEG[0], LAG_RANGE_DEG[1] + 0.5, 1.0)
    cost = ((grid - LAG_DEG) / LAG_SPREAD_DEG) ** 2
    if tilt is not None:
        # Half turns apart is the same: the rotors may sit above or below the centre of gravity.
        cost = cost + (((grid - tilt.degrees + 90.0) % 180.0 - 90.0) / tilt.sigma_deg) ** 2
    for one in usable:
        off = _off(one.raw_deg - one.sense * grid[:, None], np.asarray(places_deg)[None, :]).min(axis=1)
        cost = cost + (off / np.hypot(one.sigma_deg, SHAPE_DEG)) ** 2
    weight = np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    best = float(grid[int(np.argmin(cost))])
    return Lag(best, float(np.sqrt((weight * (grid - best) ** 2).sum())), is_measured=tilt is not None)


def nearest_place(bearing: Bearing, lag: Lag, places_deg: Sequence[float]) -> tuple[int | None, float, float]:
    """Return the index of the place (None: not shown), the bearing without lag, its standard deviation (degrees)."""
    degrees = float((bearing.raw_deg - bearing.sense * lag.degrees + 180.0) % 360.0 - 180.0)
    sigma = float(np.sqrt(bearing.sigma_deg**2 + lag.sigma_deg**2 + SHAPE_DEG**2))
    off = _off(degrees, np.asarray(places_deg))
    order = np.argsort(off)
    margin = float(off[order[1]] - off[order[0]]) / 2.0
    is_shown = bearing.is_usable and margin >= MARGIN * sigma
    return (int(order[0]) if is_shown else None), degrees, sigma


def _regressed(
    spin: ComplexArray, forward: ComplexArray, right: ComplexArray, noise: float
) -> tuple[tuple[float, float], float, float]:
    """Solve spin = x right - y forward for real x, y; return them, their standard deviation, the part left over."""
    rr, ff = float((np.abs(right) ** 2).sum()), float((np.abs(forward) ** 2).sum())
    rf = -float((right.conj() * forward).real.sum())
    r, f = float((right.conj() * spin).real.sum()), -float((forward.conj() * spin).real.sum())
    size = max(rr * ff - rf * rf, 1e-18)
    x, y = (ff * r - rf * f) / size, (rr * f - rf * r) / size
    # `noise` is the root of the mean square of the complex noise of a bin; half of it in each part.
    sigma = noise * np.sqrt(max(rr, ff) / size / 2.0)
    rest = float((np.abs(spin - x * right + y * forward) ** 2).sum())
    whole = max(float((np.abs(spin) ** 2).sum()), 1e-18)
    left = max(0.0, rest - 2.0 * noise * noise * len(spin)) / whole
    return (x, y), float(sigma), left


def _noise_of(spectrum: Spectrum, band: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return the root of the mean square of the rates' noise per bin, (3,), from the bins around."""
    quiet = ~band & (spectrum.hz > 35.0) & (spectrum.hz < 0.92 * spectrum.hz[-1])
    power = np.median(np.abs(spectrum.rate[quiet]) ** 2, axis=0) / np.log(2.0)
    return np.asarray(np.sqrt(power), dtype=np.float64)


def _force_noise(spectrum: Spectrum, band: NDArray[np.bool_]) -> float:
    quiet = ~band & (spectrum.hz > 35.0) & (spectrum.hz < 0.92 * spectrum.hz[-1])
    return float(np.sqrt(np.median(np.abs(spectrum.force[quiet, :2]) ** 2) / np.log(2.0)))


def _tilt_lag(bearings: Sequence[Bearing]) -> Lag | None:
    """Return the lag from the ripple of roll and pitch of all motors, half turns divided out, or None if too weak."""
    strong = [one for one in bearings if abs(one.tilt) > 4.0 * one.tilt_sigma]
    if len(strong) < 2:
        return None
    weights = np.array([(abs(one.tilt) / one.tilt_sigma) ** 2 for one in strong])
    phases = np.array([-np.angle(one.tilt) for one in strong])
    mean = (weights * np.exp(2j * phases)).sum() / weights.sum()
    lag = 0.5 * float(np.angle(mean))
    # The spread of the motors tells what the model leaves out, such as a couple of an imbalance out of the plane.
    apart = np.degrees(0.5 * np.abs(np.angle(np.exp(2j * (phases - lag)))))
    sigma = float(np.hypot(max(np.degrees(1.0 / np.sqrt(weights.sum())), apart.max() / np.sqrt(len(strong))), TILT_DEG))
    degrees = float(np.degrees(lag))
    return Lag(degrees, sigma, is_measured=True) if sigma <= LAG_MEASURED_DEG else None


def _off(degrees: float | NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.abs((degrees - others + 180.0) % 360.0 - 180.0), dtype=np.float64)
