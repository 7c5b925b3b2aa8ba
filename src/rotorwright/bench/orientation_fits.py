"""Rotations from pairs of directions, and what gyro and accelerometer say of each other. Arrays in, numbers out.

The vector-pair problem: find the rotation that turns known directions into measured ones with the least sum of squared
distances. Source: G. Wahba, A least squares estimate of satellite attitude, SIAM Review 7 (1965); solved by singular
values as in F. L. Markley, Journal of the Astronautical Sciences 36 (1988).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.records import GRAVITY_M_S2
from rotorwright.bench.stillness import step_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.bench.records import FloatArray, MotionRecord
    from rotorwright.bench.stillness import Hold

# How moves are integrated and compared. All: common practice, no source.
INTEGRATED_HZ = 60.0  # rates are averaged down to about this before they are integrated
LONGEST_MOVE_S = 6.0
NEAR_HOLD_S = 0.4  # the part of a hold next to the move
LEAST_TURN_RAD = 0.12  # moves in which gravity turned less than this say nothing of the gyro
SIGMA_RAD = 0.05  # how well gravity and gyro agree over one move of a hand, one axis
SCALE_STEP = 0.02
SCALE_ROUNDS = 3
SCALE_BOUNDS = (0.2, 5.0)
POOR_MISFIT_RAD = 0.12  # from here on other scales are tried too: a wrong range is off by halves or doubles
OTHER_SCALES = (0.5, 2.0)
HAND_M_S2 = 0.1  # what hands leave in the mean of a hold
USUAL_OFFSET_M_S2 = 0.3

SIGNS: FloatArray = np.array(list(itertools.product((1.0, -1.0), repeat=3)))
"""(8, 3): each way in which the three axes of a gyro can count, that with all of them right first."""


@dataclass(frozen=True, slots=True, eq=False)
class VectorFit:
    """The best rotation between pairs of directions.

    Args:
        rotation: (3, 3) proper rotation with measured = rotation @ known.
        free: (3, 3) the same without asking that it be proper: its determinant is -1 for mirrored axes.
        residual_rad: root of the weighted mean squared distance with `rotation`.
        free_residual_rad: the same with `free`.
    """

    rotation: FloatArray
    free: FloatArray
    residual_rad: float
    free_residual_rad: float

    @property
    def is_mirrored(self) -> bool:
        """Whether a mirrored set of axes fits better than any rotation."""
        return bool(np.linalg.det(self.free) < 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Moves between holds.

    Args:
        before, after: (m, 3) unit directions of gravity at both ends.
        turns: (m, n, 3) rotation vectors of the small steps between, from the gyro; zero after the end of a move. n is
            a power of two.
    """

    before: FloatArray
    after: FloatArray
    turns: FloatArray

    def __len__(self) -> int:
        return len(self.before)


@dataclass(frozen=True, slots=True, eq=False)
class GyroFit:
    """How the gyro counts, as gravity shows it, along the axes that the aircraft reports.

    Args:
        signs: (3,) +1 or -1 for each axis.
        scale: (3,) factor that the gyro's rates need, with its sign.
        scale_error: (3,) standard error of it; infinite where no move showed it.
        misfit_rad: root mean square of what remains over the moves.
        doubt: (3,) how much worse the moves fit with the sign of that axis turned, in units of chance squared; a small
            number says that gravity did not show it.
    """

    signs: FloatArray
    scale: FloatArray
    scale_error: FloatArray
    misfit_rad: float
    doubt: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ForceFit:
    """Offset and scale of the accelerometer, as the poses show them.

    Args:
        offset_m_s2: (3,) along the axes that the aircraft reports.
        likely_m_s2: (3,) the same, held back towards none where the poses show it poorly.
        scale: factor of all axes; NaN unless upside down was held too (else it cannot be told from the offset).
    """

    offset_m_s2: FloatArray
    likely_m_s2: FloatArray
    scale: float


def down_of(force: FloatArray) -> FloatArray:
    """Return the (3,) unit direction of gravity that a (3,) specific force tells."""
    down: FloatArray = -force / max(float(np.linalg.norm(force)), 1e-9)
    return down


def fit_directions(known: FloatArray, measured: FloatArray, weights: FloatArray | None = None) -> VectorFit:
    """Solve the vector-pair problem for (n, 3) unit directions: measured = rotation @ known.

    Args:
        known: (n, 3) directions in the axes that are right.
        measured: (n, 3) the same directions as they are reported.
        weights: (n,) of each pair; equal if None.
    """
    parts = np.ones(len(known)) if weights is None else weights
    parts = parts / parts.sum()
    left, _, right = np.linalg.svd((measured * parts[:, None]).T @ known)
    free = left @ right
    proper = left @ np.diag([1.0, 1.0, float(np.sign(np.linalg.det(free)))]) @ right
    return VectorFit(proper, free, _distance(proper, known, measured, parts), _distance(free, known, measured, parts))


def moves_between(
    record: MotionRecord, holds: Sequence[Hold], rest_rad_s: FloatArray, offset_m_s2: FloatArray
) -> Moves:
    """Return the moves between holds that follow each other, rest of gyro and offset of accelerometer taken off."""
    step = step_s(record.at_s)
    near = max(2, round(NEAR_HOLD_S / step))
    block = max(1, round(1.0 / (INTEGRATED_HZ * step)))
    found = []
    for before, after in itertools.pairwise(holds):
        start, end = max(before.first, before.last - near), min(after.last, after.first + near)
        middle_start, middle_end = (start + before.last) // 2, (after.first + end) // 2
        if record.at_s[middle_end] - record.at_s[middle_start] > LONGEST_MOVE_S:
            continue
        ends = (
            down_of(record.force_m_s2[start : before.last].mean(axis=0) - offset_m_s2),
            down_of(record.force_m_s2[after.first : end].mean(axis=0) - offset_m_s2),
        )
        found.append((*ends, _steps(record, middle_start, middle_end, rest_rad_s, block)))
    if not found:
        return Moves(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 1, 3)))
    longest = 1 << (max(len(turns) for _, _, turns in found) - 1).bit_length()
    padded = np.zeros((len(found), longest, 3))
    for row, (_, _, turns) in zip(padded, found, strict=True):
        row[: len(turns)] = turns
    return Moves(np.array([one for one, _, _ in found]), np.array([one for _, one, _ in found]), padded)


def foretold(moves: Moves, factors: FloatArray) -> FloatArray:
    """Return (h, m, 3) where gravity must point after each move if the gyro is multiplied by each of (h, 3) factors."""
    vectors = moves.turns[None] * factors[:, None, None, :]
    angles = np.sqrt(np.einsum("hmnk,hmnk->hmn", vectors, vectors))
    half = np.sinc(angles / (2.0 * np.pi)) / 2.0
    parts = (np.cos(angles / 2.0), *(vectors[..., axis] * half for axis in range(3)))
    while parts[0].shape[-1] > 1:
        parts = _product(tuple(one[..., 0::2] for one in parts), tuple(one[..., 1::2] for one in parts))
    scalar = parts[0][..., 0][..., None]
    vector = np.stack([one[..., 0] for one in parts[1:]], axis=-1)
    start = np.broadcast_to(moves.before, vector.shape)
    # Gravity stands still, so the body sees it turn the other way: the turn of the conjugate.
    across = 2.0 * np.cross(-vector, start)
    turned: FloatArray = start + scalar * across + np.cross(-vector, across)
    return turned


def fit_gyro(moves: Moves) -> GyroFit | None:
    """Find sign and scale of each gyro axis such that its turns lead gravity from hold to hold; None without moves."""
    useful = np.linalg.norm(moves.after - moves.before, axis=1) > LEAST_TURN_RAD
    if useful.sum() < 2:  # one turn about one axis leaves the other open
        return None
    chosen = Moves(moves.before[useful], moves.after[useful], moves.turns[useful])
    costs, factor = _costs(chosen, SIGNS), 1.0
    if costs.min() > POOR_MISFIT_RAD**2 * len(chosen):
        tried = {other: _costs(chosen, SIGNS * other) for other in OTHER_SCALES} | {factor: costs}
        factor = min(tried, key=lambda one: float(tried[one].min()))
        costs = tried[factor]
    best = int(costs.argmin())
    signs = SIGNS[best]
    doubt = np.array([costs[SIGNS[:, axis] != signs[axis]].min() for axis in range(3)]) - costs[best]
    scale, error, misfit = _fit_scale(chosen, signs, factor)
    return GyroFit(signs, scale, error, misfit, doubt / SIGMA_RAD**2)


def fit_force(holds: Sequence[Hold], *, has_inverted: bool) -> ForceFit:
    """Find offset (and scale, if an upside-down hold is among them) of the accelerometer from how much it felt.

    The offset that is taken off elsewhere is held back: small tips show it poorly.
    """
    forces = np.array([hold.force_m_s2 for hold in holds])
    sizes = np.linalg.norm(forces, axis=1)
    design = forces / sizes[:, None]
    if has_inverted:
        design = np.column_stack((design, np.full(len(sizes), GRAVITY_M_S2)))
    solved = np.linalg.lstsq(design, sizes - GRAVITY_M_S2, rcond=None)[0]
    held_back = np.eye(3, design.shape[1]) * (HAND_M_S2 / USUAL_OFFSET_M_S2)
    likely = np.linalg.lstsq(
        np.vstack((design, held_back)), np.concatenate((sizes - GRAVITY_M_S2, np.zeros(3))), rcond=None
    )[0]
    return ForceFit(solved[:3], likely[:3], 1.0 + float(solved[3]) if has_inverted else float("nan"))


def level_apart_from_table(first: FloatArray, second: FloatArray, turned_rad: float) -> FloatArray:
    """Return (2,) how far down leans forward and right in the aircraft itself, the slope of the table taken out.

    Args:
        first: (2,) how far down leans forward and right as it lay first.
        second: (2,) the same after it was turned.
        turned_rad: by how much it was turned to the right on the same table.
    """
    cosine, sine = np.cos(turned_rad), np.sin(turned_rad)
    slope_turned = np.array([[cosine, sine], [-sine, cosine]])
    solved: FloatArray = np.linalg.solve(np.eye(2) - slope_turned, second - slope_turned @ first)
    return solved


def _distance(rotation: FloatArray, known: FloatArray, measured: FloatArray, parts: FloatArray) -> float:
    return float(np.sqrt(parts @ ((measured - known @ rotation.T) ** 2).sum(axis=1)))


def _steps(record: MotionRecord, first: int, last: int, rest: FloatArray, block: int) -> FloatArray:
    rates = record.rate_rad_s[first : last + 1] - rest
    turns = (rates[1:] + rates[:-1]) / 2.0 * np.diff(record.at_s[first : last + 1])[:, None]
    steps: FloatArray = np.add.reduceat(turns, np.arange(0, len(turns), block), axis=0)
    return steps


def _product(first: Sequence[FloatArray], second: Sequence[FloatArray]) -> tuple[FloatArray, ...]:
    a, b, c, d = first
    e, f, g, h = second
    return (
        a * e - b * f - c * g - d * h,
        a * f + b * e + c * h - d * g,
        a * g - b * h + c * e + d * f,
        a * h + b * g - c * f + d * e,
    )


def _costs(moves: Moves, factors: FloatArray) -> FloatArray:
    costs: FloatArray = ((foretold(moves, factors) - moves.after) ** 2).sum(axis=(1, 2))
    return costs


def _fit_scale(moves: Moves, signs: FloatArray, factor: float) -> tuple[FloatArray, FloatArray, float]:
    """Return scale, its standard error and the misfit, by steps of least squares from a scale of `factor`."""
    scale = signs * factor
    for _ in range(SCALE_ROUNDS):
        seen = foretold(moves, np.vstack((scale, scale + np.diag(SCALE_STEP * signs))))
        slopes = ((seen[1:] - seen[0]) / SCALE_STEP).reshape(3, -1).T * signs
        wanted = (moves.after - seen[0]).ravel()
        known = slopes.T @ slopes
        # An axis that no move showed keeps the scale of the start: a prior as weak as a single poor move.
        weak = np.eye(3) * (LEAST_TURN_RAD / 2.0) ** 2
        scale = scale + np.linalg.solve(known + weak, slopes.T @ wanted + weak @ (signs * factor - scale))
        scale = signs * np.clip(scale * signs, *SCALE_BOUNDS)
    remaining = foretold(moves, scale[None])[0] - moves.after
    misfit = float(np.sqrt((remaining**2).sum(axis=1).mean()))
    chance = max(misfit, SIGMA_RAD / 2.0)
    error = chance * np.sqrt(np.diag(np.linalg.inv(known + weak)))
    error[np.diag(known) < np.diag(weak) * 4.0] = np.inf
    return scale, error, misfit
