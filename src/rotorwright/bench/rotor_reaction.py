"""Which way a rotor turns, from the push that its spinning up and down gives to the body.

While the motor speeds its rotor up with the moment I dw/dt, the body gets the same moment the other way. On foam, a
spring with a damper, its yaw rate r then follows

    dr/dt = - c r - k (integral of r) - s (I / Iz) dw/dt

with s = +1 for a rotor turning clockwise seen from above (positive about down). Integrated once, and with a gyro bias,

    r = b0 + b1 t + b2 t² - c (integral of r) - k (double integral of r) - J q(t),   J = s (I / Iz) w

where q goes from 0 to 1 with the speed of the rotor: linear in everything but the shape of q. So the foam needs no
model of its own: for each shape (time constants of spin-up and spin-down, delay of the command) one linear fit gives
the step J of the spin-up and of the spin-down, with their uncertainty. Both must say the same.
Derivation: docs/explanation/how-motors-are-proved.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from rotorwright.bench.records import FloatArray
    from rotorwright.bench.rotor_record import Stretch

# The grid of the fit: value, unit. Ranges of small craft without propellers; common practice, no source.
STEP_S = 0.01  # s: time step of the fit
SMOOTH_S = 0.009  # s: Gaussian that takes the ripple of the turning rotor out (1 % left at 60 Hz)
SPIN_S = (0.025, 0.04, 0.055, 0.075, 0.1, 0.14, 0.2)  # s: time constants of spin-up and spin-down
DELAYS_S = (-0.01, 0.0, 0.01, 0.02, 0.03, 0.045, 0.06, 0.075, 0.09, 0.11)  # s: from command to torque
# Limits: common practice, no source.
LEAST_SIGNIFICANCE = 4.5  # standard deviations, for each of spin-up and spin-down
LEAST_WITH_CIRCLE = 2.5  # standard deviations, where the circle of the shaking says the same direction
LEAST_EXPLAINED = 0.5  # part of what the foam alone does not explain that the rotor must explain
CLEAR_CIRCLE = 0.8  # 1 is a perfect circle
MOST_UNLIKE = 3.0  # ratio of spin-up to spin-down step, or its inverse


@dataclass(frozen=True, slots=True)
class Reaction:
    """Push of one pulse on the body about its down axis.

    Args:
        up_rad_s: step J of the spin-up, positive for a rotor turning clockwise seen from above.
        down_rad_s: the same from the spin-down.
        sigma_rad_s: standard deviation of either.
        explained: part of what the foam alone does not explain that the rotor does, 0 to 1.
    """

    up_rad_s: float
    down_rad_s: float
    sigma_rad_s: float
    explained: float

    @property
    def step_rad_s(self) -> float:
        """Mean of both."""
        return (self.up_rad_s + self.down_rad_s) / 2.0

    @property
    def significance(self) -> float:
        """The weaker of both in standard deviations."""
        return min(abs(self.up_rad_s), abs(self.down_rad_s)) / self.sigma_rad_s

    @property
    def is_seen(self) -> bool:
        """Whether the body was pushed at all, whichever way."""
        largest = max(abs(self.up_rad_s), abs(self.down_rad_s)) / self.sigma_rad_s
        return largest > 1.5 * LEAST_SIGNIFICANCE and self.explained > LEAST_EXPLAINED

    def direction(self, sense: float = 0.0) -> int:
        """Return +1 clockwise seen from above, -1 counter-clockwise, 0 not shown.

        Args:
            sense: how the force of the imbalance circles, -1 to 1, 0 for not known; a weaker push then suffices.
        """
        same = self.up_rad_s * self.down_rad_s > 0
        if not same or self.explained < LEAST_EXPLAINED:
            return 0
        if not 1.0 / MOST_UNLIKE < self.up_rad_s / self.down_rad_s < MOST_UNLIKE:
            return 0
        turns = 1 if self.up_rad_s > 0 else -1
        is_backed = sense * turns > CLEAR_CIRCLE
        return turns if self.significance >= (LEAST_WITH_CIRCLE if is_backed else LEAST_SIGNIFICANCE) else 0


def reaction_of(stretch: Stretch, start_s: float, end_s: float) -> Reaction:
    """Fit the yaw rate of a stretch around one pulse (rest before it, the pulse, at least 0.2 s after it)."""
    at_s, yaw = _smoothed(stretch)
    foam = _foam_columns(at_s, yaw)
    shapes = [_turning(at_s, edge_s) for edge_s in (start_s, end_s)]
    left = yaw - foam @ (foam.T @ yaw)
    ups, downs = (shape - (shape @ foam) @ foam.T for shape in shapes)
    return _best_fit(left, ups, -downs)


def _foam_columns(at_s: FloatArray, yaw: FloatArray) -> FloatArray:
    """Return an orthonormal base of what foam and gyro bias may do, (time, 5)."""
    span = at_s - at_s.mean()
    once = np.cumsum(yaw) * STEP_S
    columns = np.stack((np.ones(len(at_s)), span, span * span, once, np.cumsum(once) * STEP_S), axis=1)
    base, _ = np.linalg.qr(columns / np.maximum(np.linalg.norm(columns, axis=0), 1e-12))
    return np.asarray(base, dtype=np.float64)


def _best_fit(yaw: FloatArray, ups: FloatArray, downs: FloatArray) -> Reaction:
    """Take the best of all pairs of one spin-up and one spin-down (delay, spin time, time) with the same delay."""
    uu = np.einsum("gtn,gtn->gt", ups, ups)[:, :, None]
    dd = np.einsum("gtn,gtn->gt", downs, downs)[:, None, :]
    ud = ups @ downs.transpose(0, 2, 1)
    uy, dy = (ups @ yaw)[:, :, None], (downs @ yaw)[:, None, :]
    size = np.maximum(uu * dd - ud * ud, 1e-12)
    up, down = (dd * uy - ud * dy) / size, (uu * dy - ud * uy) / size
    whole = float(yaw @ yaw)
    best = np.unravel_index(int(np.argmin(whole - up * uy - down * dy)), up.shape)
    delay, rise, fall = (int(one) for one in best)
    residual = yaw - up[best] * ups[delay, rise] - down[best] * downs[delay, fall]
    sigma = _sigma(residual, max(float(dd[delay, 0, fall]), float(uu[delay, rise, 0])) / float(size[best]))
    explained = 1.0 - float(residual @ residual) / whole if whole > 0 else 0.0
    return Reaction(-float(up[best]), -float(down[best]), sigma, explained)


def _sigma(residual: FloatArray, spread: float) -> float:
    """Return the standard deviation, widened for a residual whose neighbours are alike."""
    power = float(residual @ residual)
    alike = min(0.95, max(0.0, float(residual[1:] @ residual[:-1]) / power)) if power > 0 else 0.0
    noise = power / max(1, len(residual) - 11) * (1.0 + alike) / (1.0 - alike)
    return float(np.sqrt(max(noise * spread, 1e-18)))


def _smoothed(stretch: Stretch) -> tuple[FloatArray, FloatArray]:
    """Return times and yaw rate on the grid of the fit, the ripple of the rotor taken out."""
    half = max(1, round(3.0 * SMOOTH_S / stretch.step_s))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) * stretch.step_s / SMOOTH_S) ** 2)
    yaw = np.convolve(stretch.rate_rad_s[:, 2], kernel / kernel.sum(), mode="valid")
    own = stretch.at_s[half:-half]
    at_s = np.arange(own[0], own[-1], STEP_S)
    return at_s, np.interp(at_s, own, yaw)


def _turning(at_s: FloatArray, edge_s: float) -> FloatArray:
    """Return the rise from 0 to 1 after an edge, smoothed like the yaw rate: (delay, spin time, time)."""
    spread = np.arange(-2.0, 2.01, 0.5) * SMOOTH_S
    weight = np.exp(-0.5 * (spread / SMOOTH_S) ** 2)
    since = at_s - edge_s - np.asarray(DELAYS_S)[:, None]
    late = np.maximum(0.0, since[:, None, :, None] - spread)
    rise = 1.0 - np.exp(-late / np.asarray(SPIN_S)[None, :, None, None])
    return np.asarray(np.einsum("dtnk,k->dtn", rise, weight / weight.sum()), dtype=np.float64)
