"""What a record shows of the orientation, as numbers: which poses, which rotation, how the gyro counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.mountings import RIGHT_ANGLES, nearest_of
from rotorwright.bench.orientation_fits import (
    down_of,
    fit_directions,
    fit_force,
    fit_gyro,
    level_apart_from_table,
    moves_between,
)
from rotorwright.bench.orientation_poses import FLAT, TIPPED, Pose, angle_deg, recognise
from rotorwright.bench.stillness import find_holds, resting_rate_rad_s, step_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.bench.mountings import Nearest
    from rotorwright.bench.orientation_fits import ForceFit, GyroFit, VectorFit
    from rotorwright.bench.records import FloatArray, MotionRecord
    from rotorwright.bench.stillness import Hold

LEVEL_WEIGHT = 2.0  # a level pose is surer than a tip; common practice, no source
TREMOR_BELOW_HZ = 13.0  # a hand trembles below this; what is above is noise; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What the poses showed. Axes are those that the aircraft reports unless said otherwise.

    Args:
        record: what was judged.
        poses: the poses that were seen, in order, and `holds`, how they were held.
        downs: (3,) unit direction of gravity in each of them, without the accelerometer's likely offset.
        level_down: (3,) the same while level.
        tilts_deg: how far each pose was from level.
        fit: rotation from true axes to reported ones.
        nearest: of the 24 mountings the nearest to it (to its mirror image if the axes are mirrored).
        level_lean_rad: (2,) how far down leans forward and right while level, in true axes by the nearest mounting.
        aside_deg: how far each tip went beside the asked axis, to the right; empty without tips.
        gyro: sign and scale of the gyro, None if no move showed them.
        turned_rad: turn about down since level as the gyro says it, NaN without such a pose.
        rest_rad_s: (3,) gyro at rest.
        noise_rad_s, noise_m_s2: (3,) noise of gyro and accelerometer.
        force: offset and scale of the accelerometer.
    """

    record: MotionRecord
    poses: tuple[Pose, ...]
    holds: tuple[Hold, ...]
    downs: tuple[FloatArray, ...]
    level_down: FloatArray
    tilts_deg: tuple[float, ...]
    fit: VectorFit
    nearest: Nearest
    level_lean_rad: FloatArray
    aside_deg: tuple[float, ...]
    gyro: GyroFit | None
    turned_rad: float
    rest_rad_s: FloatArray
    noise_rad_s: FloatArray
    noise_m_s2: FloatArray
    force: ForceFit

    @property
    def is_mirrored(self) -> bool:
        """Whether the reported accelerations are a mirror image of what the poses ask for."""
        return self.fit.is_mirrored

    @property
    def mounting(self) -> FloatArray:
        """(3, 3) signed right-angle rotation from true axes to reported ones; improper if mirrored."""
        rotation: FloatArray = -self.nearest.rotation if self.is_mirrored else self.nearest.rotation
        return rotation

    @property
    def is_level_on_table(self) -> bool:
        """Whether every flat pose lay on something rather than in hands."""
        flat = [hold.is_on_table for pose, hold in zip(self.poses, self.holds, strict=True) if pose in FLAT]
        return bool(flat) and all(flat)

    @property
    def down_axis(self) -> int:
        """Which reported axis points down or up while level."""
        return int(np.argmax(np.abs(self.mounting[:, 2])))


def gather(record: MotionRecord, poses: Sequence[Pose]) -> tuple[Evidence | None, int]:
    """Return what a whole record shows and how many of the asked poses were held; None if too few of them."""
    holds = find_holds(record)
    seen = recognise(record, holds, poses)
    named = tuple(poses[: len(seen.holds)])
    if not _is_enough(named):
        return None, len(named)
    return _evidence(record, holds, named, seen.holds, seen.turned_rad), len(named)


def known_direction(pose: Pose, tilt_rad: float) -> FloatArray:
    """Return (3,) where down points in true axes in a pose that is so far from level."""
    if pose is Pose.INVERTED:
        return np.array([0.0, 0.0, -1.0])
    if pose in FLAT:
        return np.array([0.0, 0.0, 1.0])
    forward, right = TIPPED[pose]
    return np.array([forward * np.sin(tilt_rad), right * np.sin(tilt_rad), np.cos(tilt_rad)])


def _is_enough(poses: tuple[Pose, ...]) -> bool:
    """Return whether three axes are told apart: level, one tip fore or aft, one tip to a side."""
    is_along = any(pose in poses for pose in (Pose.NOSE_DOWN, Pose.NOSE_UP))
    return Pose.LEVEL in poses and is_along and any(pose in poses for pose in (Pose.LEFT_DOWN, Pose.RIGHT_DOWN))


def _evidence(
    record: MotionRecord,
    every_hold: tuple[Hold, ...],
    poses: tuple[Pose, ...],
    holds: tuple[Hold, ...],
    turned: tuple[FloatArray, ...],
) -> Evidence:
    force = fit_force(holds, has_inverted=Pose.INVERTED in poses)
    downs = [down_of(hold.force_m_s2 - force.likely_m_s2) for hold in holds]
    level = down_of(-np.mean([down for pose, down in zip(poses, downs, strict=True) if pose in FLAT], axis=0))
    tilts = tuple(angle_deg(down, level) for down in downs)
    fit = _fit(poses, downs, level, tilts)
    nearest = nearest_of(-fit.free if fit.is_mirrored else fit.rotation, RIGHT_ANGLES)
    mounting = -nearest.rotation if fit.is_mirrored else nearest.rotation
    rest = resting_rate_rad_s(every_hold)
    turns = [float(turn @ level) for pose, turn in zip(poses, turned, strict=True) if pose is Pose.NOSE_RIGHT]
    noise_rates, noise_forces = _noise(record, holds)
    return Evidence(
        record=record,
        poses=poses,
        holds=holds,
        level_down=level,
        tilts_deg=tilts,
        fit=fit,
        nearest=nearest,
        downs=tuple(downs),
        level_lean_rad=_level_lean(poses, holds, [mounting.T @ down for down in downs], turns),
        aside_deg=tuple(
            _aside_deg(pose, mounting.T @ down) for pose, down in zip(poses, downs, strict=True) if pose in TIPPED
        ),
        gyro=fit_gyro(moves_between(record, every_hold, rest, force.likely_m_s2)),
        turned_rad=turns[-1] if turns else float("nan"),
        rest_rad_s=rest,
        noise_rad_s=noise_rates,
        noise_m_s2=noise_forces,
        force=force,
    )


def _fit(poses: tuple[Pose, ...], downs: list[FloatArray], level: FloatArray, tilts: tuple[float, ...]) -> VectorFit:
    known = [known_direction(pose, np.radians(tilt)) for pose, tilt in zip(poses, tilts, strict=True)]
    weights = [LEVEL_WEIGHT if pose in FLAT else 1.0 for pose in poses]
    # Upside down is asked for roughly: its direction would only blur the others.
    used = [index for index, pose in enumerate(poses) if pose is not Pose.INVERTED]
    measured = [level if poses[index] in FLAT else downs[index] for index in used]
    return fit_directions(
        np.array([known[index] for index in used]), np.array(measured), np.array([weights[index] for index in used])
    )


def _aside_deg(pose: Pose, down: FloatArray) -> float:
    """Return by how much a tip went beside its axis, seen from above, clockwise positive."""
    forward, right = TIPPED[pose]
    along, across = forward * down[0] + right * down[1], forward * down[1] - right * down[0]
    return float(np.degrees(np.arctan2(across, along)))


def _level_lean(
    poses: tuple[Pose, ...], holds: tuple[Hold, ...], true_downs: list[FloatArray], turns: list[float]
) -> FloatArray:
    """Return (2,) lean while level; without the slope of the table if it was turned on one."""
    flat = [
        (pose, hold.is_on_table, down[:2])
        for pose, hold, down in zip(poses, holds, true_downs, strict=True)
        if pose in FLAT
    ]
    turned = [lean for pose, _, lean in flat if pose is Pose.NOSE_RIGHT]
    if turned and all(is_on_table for _, is_on_table, _ in flat):
        before = [lean for pose, _, lean in flat if pose is Pose.LEVEL]
        return level_apart_from_table(before[-1], turned[-1], abs(turns[-1]))
    every: FloatArray = np.mean([lean for _, _, lean in flat], axis=0)
    return every


def _noise(record: MotionRecord, holds: tuple[Hold, ...]) -> tuple[FloatArray, FloatArray]:
    """Return the noise of gyro and accelerometer, (3,) each, while still: from a table if it lay on one.

    NaN if it was always in hands and the record is too slow to tell noise from tremor.
    """
    step = step_s(record.at_s)
    chosen = [hold for hold in holds if hold.is_on_table] or list(holds)
    above_hz = 0.0 if chosen[0].is_on_table else TREMOR_BELOW_HZ
    pieces = [
        np.hstack((record.rate_rad_s[hold.first : hold.last], record.force_m_s2[hold.first : hold.last]))
        for hold in chosen
    ]
    if above_hz > 0.0:
        pieces, step = _told_anew(pieces, step)
    levels = [level for level in (_white_level(piece, step, above_hz) for piece in pieces) if level is not None]
    noise = np.sqrt(np.mean(levels, axis=0)) if levels else np.full(6, np.nan)
    return noise[:3], noise[3:]


def _told_anew(pieces: list[FloatArray], step: float) -> tuple[list[FloatArray], float]:
    """Return the pieces without samples that only repeat the one before, and the time between those that are left.

    A stream that repeats its samples makes steps of a tremor, which look like noise.
    """
    kept = [piece[np.r_[True, (np.diff(piece, axis=0) != 0.0).any(axis=1)]] for piece in pieces]
    return kept, step * sum(map(len, pieces)) / sum(map(len, kept))


def _white_level(values: FloatArray, step: float, above_hz: float) -> FloatArray | None:
    """Return the variance (per column) that white noise must have to be as strong as what is above a frequency."""
    window = np.hanning(len(values) + 2)[1:-1, None]
    power = np.abs(np.fft.rfft((values - values.mean(axis=0)) * window, axis=0)) ** 2 / (window**2).sum()
    # The first two lines of the spectrum hold what the window smears of the mean.
    chosen = (np.fft.rfftfreq(len(values), step) > above_hz) & (np.arange(len(power)) > 2)
    level: FloatArray | None = power[chosen].mean(axis=0) if chosen.any() else None
    return level
