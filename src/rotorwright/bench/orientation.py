"""Whether the aircraft knows how it lies: poses, mounting, signs and scale of the gyro, accelerometer, attitude.

The person tips the aircraft; nobody presses a button between. How far it was tipped is measured, not asked for: hands
are no protractor. How it is proved: docs/explanation/how-orientation-is-proved.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.mountings import name_of_rotation, rotation_of_angles
from rotorwright.bench.orientation_evidence import gather
from rotorwright.bench.orientation_findings import (
    AXES,
    CONSUMER,
    SENSOR_CLASSES,
    Configured,
    attitude_findings,
    axes_findings,
    gyro_findings,
    rest_findings,
    trim_findings,
)
from rotorwright.bench.orientation_input import whole_record
from rotorwright.bench.orientation_poses import TIPPED, USUAL_POSES, Pose, poses_held, poses_words
from rotorwright.bench.stillness import SMOOTHING_S, directions, smoothed, step_s
from rotorwright.bench.verdicts import Curve, Figure, Finding, Grid, Measured, judged

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.bench.orientation_evidence import Evidence
    from rotorwright.bench.orientation_findings import SensorClass
    from rotorwright.bench.records import FloatArray, MotionRecord
    from rotorwright.bench.verdicts import CheckResult

__all__ = ["SENSOR_CLASSES", "USUAL_POSES", "Pose", "held_so_far", "judge_orientation", "poses_words"]

CHECK = "orientation"
FIGURE_POINTS = 250


def held_so_far(record: MotionRecord, poses: Sequence[Pose]) -> int:
    """Return how many of the asked poses were held still so far, each after the one before it.

    Recognised without trusting the mounting: a tip by lying opposite or square to the tips before it, the flat turn by
    what the gyro sums up about down. A record that cannot be judged holds none. Meant to be called on a growing record.
    """
    whole, _ = whole_record(record)
    return 0 if whole is None else poses_held(whole, poses)


def judge_orientation(
    record: MotionRecord,
    poses: Sequence[Pose],
    *,
    chip: FloatArray | None,
    board_deg: tuple[float, float, float] | None,
    sensor: str = CONSUMER,
    level_trim_deg: tuple[float, float] | None = None,
    needs_attitude: bool = True,
) -> CheckResult:
    """Return whether the aircraft's axes are those of its body, with the evidence.

    Args:
        record: motion in the axes that the aircraft reports: body = R_board R_chip sensor.
        poses: what was asked, in order.
        chip: (3, 3) R_chip as it is set, None if not known. Only told.
        board_deg: roll, pitch, yaw of R_board as it is set, None if not known: then no new values are advised.
        sensor: name of the data sheet class, a key of `SENSOR_CLASSES`; another name is judged by the widest limits.
        level_trim_deg: roll and pitch of the level trim as it is set; the estimated attitude may differ by as much.
        needs_attitude: whether an aircraft that never says its attitude leaves the check not shown.
    """
    configured = Configured(chip, board_deg, level_trim_deg)
    limits = SENSOR_CLASSES.get(sensor, SENSOR_CLASSES["unknown"])
    whole, broken = whole_record(record)
    if whole is None:
        return judged(CHECK, sentence="", findings=broken)
    seen, held = gather(whole, poses)
    missed = _missed(poses, held)
    if seen is None:
        return judged(CHECK, sentence="", findings=missed)
    axes = axes_findings(seen, configured, are_all_tipped=not any(pose in TIPPED for pose in poses[held:]))
    findings = [*missed, *axes, *gyro_findings(seen), *rest_findings(seen, limits)]
    is_sign_wrong = any(finding.kind != "mounting-differs" for finding in axes)
    if not axes and not missed and not any(finding.kind == "accelerometer-offset" for finding in findings):
        findings += trim_findings(seen, configured)
    said, off = attitude_findings(seen, configured)
    findings += [one for one in said if not is_sign_wrong and (needs_attitude or not one.is_missing)]
    return judged(
        CHECK,
        sentence=f"The aircraft knows how it lies: {held} poses, none more than {max(map(abs, seen.aside_deg)):.0f} "
        "degrees beside its axis, and the gyro turns with gravity.",
        measured=_measured(seen, limits, off),
        findings=findings,
        figures=_figures(seen),
        grids=(_pose_grid(seen, off), _mounting_grid(seen, configured)),
    )


def _missed(poses: Sequence[Pose], held: int) -> list[Finding]:
    if held >= len(poses) > 0:
        return []
    if not poses:
        return [
            Finding("no-pose-asked", "No pose was asked for, so nothing is shown.", "Ask for poses.", is_missing=True)
        ]
    return [
        Finding(
            "pose-missing",
            f"Of {len(poses)} poses {held} were seen; {poses[held]} was not.",
            f"{poses_words(poses[held])} Then go on with the poses after it. If it was held so and not seen, the poses "
            "before it were other ones than asked: begin again.",
            is_missing=True,
        )
    ]


def _measured(seen: Evidence, limits: SensorClass, off: list[float]) -> list[Measured]:
    bias, noise = np.degrees(seen.rest_rad_s), np.degrees(seen.noise_rad_s)
    found = [
        Measured("residual of the poses", float(np.degrees(seen.fit.free_residual_rad)), "deg"),
        Measured("turn from the nearest right-angle mounting", seen.nearest.away_deg, "deg"),
        Measured("second nearest mounting is further by", seen.nearest.margin_deg, "deg"),
        Measured("lean while level", float(np.degrees(np.linalg.norm(seen.level_lean_rad))), "deg"),
    ]
    if np.isfinite(seen.turned_rad):
        found.append(Measured("flat turn to the right", float(np.degrees(seen.turned_rad)), "deg"))
    for axis, name in enumerate(AXES):
        found += [
            _limited(f"gyro at rest, {name}", bias[axis], "deg/s", limits.gyro_bias_deg_s),
            _limited(f"accelerometer offset, {name}", seen.force.offset_m_s2[axis], "m/s²", limits.force_offset_m_s2),
        ]
        if np.isfinite(noise[axis]):
            found.append(_limited(f"gyro noise, {name}", noise[axis], "deg/s", limits.gyro_noise_deg_s))
            found.append(
                _limited(f"accelerometer noise, {name}", seen.noise_m_s2[axis], "m/s²", limits.force_noise_m_s2)
            )
        if seen.gyro is not None and np.isfinite(seen.gyro.scale_error[axis]):
            found.append(Measured(f"true rate over gyro rate, {name}", float(seen.gyro.scale[axis]), ""))
    if seen.gyro is not None:
        found.append(Measured("gyro against gravity, what remains", float(np.degrees(seen.gyro.misfit_rad)), "deg"))
    if np.isfinite(seen.force.scale):
        found.append(_limited("accelerometer scale error", seen.force.scale - 1.0, "", limits.force_scale_part))
    if np.isfinite(off).any():
        found.append(Measured("attitude against gravity, worst pose", float(np.nanmax(off)), "deg"))
    return found


def _limited(name: str, value: float, unit: str, limit: float) -> Measured:
    return Measured(name, float(value), unit, f"at most {limit:g}", abs(float(value)) <= limit)


def _pose_grid(seen: Evidence, off: list[float]) -> Grid:
    aside = iter(seen.aside_deg)
    rows = [("pose", "tilted, deg", "beside its axis, deg", "attitude off, deg")]
    for index, (pose, tilt) in enumerate(zip(seen.poses, seen.tilts_deg, strict=True)):
        beside = f"{next(aside):.0f}" if pose in TIPPED else ""
        attitude = f"{off[index]:.1f}" if off and np.isfinite(off[index]) else ""
        rows.append((str(pose), f"{tilt:.0f}", beside, attitude))
    return Grid("Poses as they were held", tuple(rows))


def _mounting_grid(seen: Evidence, configured: Configured) -> Grid:
    board, chip = configured.board_deg, configured.chip
    rows = [
        ("mounting", "is"),
        ("chip on the board, as set", name_of_rotation(chip) if chip is not None else "not known"),
        ("board in the frame, as set", name_of_rotation(rotation_of_angles(*board)) if board else "not known"),
        (
            "still turned, as measured",
            "mirrored" if seen.is_mirrored else name_of_rotation(seen.nearest.rotation),
        ),
    ]
    return Grid("Mounting", tuple(rows))


def _figures(seen: Evidence) -> tuple[Figure, ...]:
    record = seen.record
    stride = -(-len(record.at_s) // FIGURE_POINTS)
    down = directions(smoothed(record.force_m_s2, round(SMOOTHING_S / step_s(record.at_s)))[::stride])
    tilt = np.degrees(np.arccos(np.clip(down @ seen.level_down, -1.0, 1.0)))
    at = record.at_s[::stride] - record.at_s[0]
    held = [
        ((hold.start_s + hold.end_s) / 2.0 - float(record.at_s[0]), angle)
        for hold, angle in zip(seen.holds, seen.tilts_deg, strict=True)
    ]
    leaned = [np.degrees(seen.mounting.T @ down)[:2] for down in seen.downs]
    asked = [
        np.degrees(np.sin(np.radians(tilt)) * np.array(TIPPED.get(pose, (0.0, 0.0))))
        for pose, tilt in zip(seen.poses, seen.tilts_deg, strict=True)
    ]
    return (
        Figure(
            "Tilt over time",
            "time",
            "s",
            "tilt",
            "deg",
            (
                Curve("tilt", tuple(zip(at.tolist(), tilt.tolist(), strict=True))),
                Curve("poses", tuple(held)),
            ),
        ),
        Figure(
            "Where down leaned to",
            "right",
            "deg",
            "forward",
            "deg",
            (
                Curve("held", tuple((float(one[1]), float(one[0])) for one in leaned)),
                Curve("asked", tuple((float(one[1]), float(one[0])) for one in asked), is_expected=True),
            ),
        ),
    )
