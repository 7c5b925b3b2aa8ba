"""What the evidence on the orientation means: which fault it shows, what else could explain it, what to set or do."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.mountings import (
    EIGHTH_TURNS,
    RIGHT_ANGLES,
    angles_of_rotation,
    name_of_rotation,
    nearest_of,
    rotation_of_angles,
)
from rotorwright.bench.orientation_poses import FLAT, angle_deg
from rotorwright.bench.verdicts import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.bench.orientation_evidence import Evidence
    from rotorwright.bench.records import FloatArray
    from rotorwright.bench.stillness import Hold

# From where on something is called wrong. All: common practice, no source, unless said beside it.
ROUGHEST_FIT_DEG = 20.0  # poses that fit no set of axes better than this are not judged
ASIDE_TOLD_DEG = 18.0  # hands tip beside the axis up to here
AT_AN_ANGLE_DEG = 30.0  # from here on the mounting itself is at an angle
EIGHTH_WITHIN_DEG = 12.0
TRIM_ON_TABLE_DEG = 3.0
TRIM_IN_HANDS_DEG = 12.0
SIGN_DOUBT = 25.0  # five times what chance does, squared
DOWN_SIGN_DOUBT = 50.0
TURN_UP_TO_DEG = 160.0  # nobody takes this for a quarter
GYRO_MISFIT_DEG = 15.0
SCALE_WITHIN = 0.12
SCALE_TIMES_ERROR = 4.0
SCALE_DANGEROUS = 0.5
ATTITUDE_LEVEL_DEG = 10.0
ATTITUDE_TIPPED_DEG = 15.0
LARGEST_PITCH_RAD = 1.65  # pitch never goes beyond a quarter turn

AXES = ("forward", "right", "down")
BOARD_ROLES = ("sensor.board.roll", "sensor.board.pitch", "sensor.board.yaw")
_SIDES = MappingProxyType(
    {(0, 1): "nose", (0, -1): "tail", (1, 1): "right side", (1, -1): "left side", (2, 1): "underside", (2, -1): "top"}
)
_NO_SETTING = (
    "No mounting setting repairs this. Do not fly: update or replace what reads the sensor, then repeat the poses."
)
_OTHERWISE = "If you stood at another side of the aircraft or tipped it otherwise than asked, repeat the poses first."


@dataclass(frozen=True, slots=True)
class SensorClass:
    """Limits of a kind of motion sensor, for what is seen at rest.

    Args:
        gyro_bias_deg_s: rate at rest.
        gyro_noise_deg_s: root mean square from sample to sample.
        force_offset_m_s2: offset of the accelerometer.
        force_noise_m_s2: its noise.
        force_scale_part: error of its scale, as a part.
        source: where the numbers come from.
    """

    gyro_bias_deg_s: float
    gyro_noise_deg_s: float
    force_offset_m_s2: float
    force_noise_m_s2: float
    force_scale_part: float
    source: str


CONSUMER = "consumer six-axis"
SENSOR_CLASSES: Mapping[str, SensorClass] = MappingProxyType(
    {
        CONSUMER: SensorClass(
            gyro_bias_deg_s=10.0,
            gyro_noise_deg_s=3.0,
            force_offset_m_s2=1.2,
            force_noise_m_s2=1.0,
            force_scale_part=0.05,
            source="typical data sheets of this class, from memory, unconfirmed, widened",
        ),
        "unknown": SensorClass(20.0, 6.0, 2.0, 2.0, 0.1, "common practice, no source"),
    }
)
"""Data sheet classes by name. From memory and unconfirmed, so wide: they tell a broken sensor, not a good one."""


@dataclass(frozen=True, slots=True, eq=False)
class Configured:
    """What the aircraft's settings say: (3, 3) rotation of the chip, angles of the board, level trim. None: unknown."""

    chip: FloatArray | None
    board_deg: tuple[float, float, float] | None
    level_trim_deg: tuple[float, float] | None


def axes_findings(seen: Evidence, configured: Configured, *, are_all_tipped: bool) -> list[Finding]:
    """Return what is wrong with axes: signs of single axes first, else the mounting.

    While asked tips are missing, the ones that were seen may be others than asked: then the mounting is not judged.
    """
    if np.degrees(seen.fit.free_residual_rad) > ROUGHEST_FIT_DEG:
        return [
            _missing(
                "poses-unclear",
                "The poses fit no set of axes: they differ from what was asked by "
                f"{np.degrees(seen.fit.free_residual_rad):.0f} degrees.",
                "Repeat the poses as they are asked for, each held still for a second.",
            )
        ]
    signs = _sign_findings(seen)
    if not are_all_tipped:
        return [one for one in signs if not one.is_missing]
    return signs or _mounting_findings(seen, configured)


def gyro_findings(seen: Evidence) -> list[Finding]:
    """Return what is wrong with the scale of the gyro; nothing if its signs are wrong already."""
    if seen.gyro is None:
        return []
    factors = abs(seen.gyro.scale)
    wrong = abs(factors - 1.0) > np.maximum(SCALE_WITHIN, SCALE_TIMES_ERROR * seen.gyro.scale_error)
    return [
        Finding(
            "gyro-scale",
            f"The gyro says {1.0 / factors[axis]:.2f} times the true rate on the {AXES[axis]} axis.",
            "Look at the range that the gyro is set to; a wrong one makes every control gain wrong.",
            is_dangerous=bool(abs(np.log(factors[axis])) > np.log(1.0 + SCALE_DANGEROUS)),
        )
        for axis in np.flatnonzero(wrong).tolist()
    ]


def rest_findings(seen: Evidence, limits: SensorClass) -> list[Finding]:
    """Return what is outside the limits of the sensor's class at rest."""
    bias = float(abs(np.degrees(seen.rest_rad_s)).max())
    noise = float(np.degrees(seen.noise_rad_s).max())  # NaN, which no limit holds against, if not shown
    offset = float(abs(seen.force.offset_m_s2).max())
    shaking = float(seen.noise_m_s2.max())
    scale = abs(seen.force.scale - 1.0)
    found = []
    if bias > limits.gyro_bias_deg_s:
        found.append(
            Finding(
                "gyro-bias",
                f"At rest the gyro says up to {bias:.1f} deg/s; up to {limits.gyro_bias_deg_s:g} is usual.",
                "Let it stand still while it starts, and calibrate the gyro; if it stays, the sensor is damaged.",
                is_dangerous=True,
            )
        )
    if noise > limits.gyro_noise_deg_s or shaking > limits.force_noise_m_s2:
        found.append(
            Finding(
                "sensor-noise",
                f"At rest the sensor is noisy: gyro {noise:.2f} deg/s, accelerometer {shaking:.2f} m/s².",
                "Look for a loose board, a fan or a bad supply; if it stays, the sensor is damaged.",
            )
        )
    if offset > limits.force_offset_m_s2 or scale > limits.force_scale_part:
        found.append(
            Finding(
                "accelerometer-offset",
                f"The accelerometer is off by {offset:.2f} m/s²"
                + (f" and its scale by {scale:.1%}." if np.isfinite(scale) else "."),
                "Calibrate the accelerometer as the firmware asks for it, then repeat.",
            )
        )
    return found


def attitude_findings(seen: Evidence, configured: Configured) -> tuple[list[Finding], list[float]]:
    """Return what is wrong with roll and pitch as the aircraft estimates them, and how far off each pose was."""
    attitude = seen.record.attitude_rad
    if attitude is None or attitude.shape != seen.record.rate_rad_s.shape or not np.isfinite(attitude[:, :2]).any():
        return [
            _missing("attitude-not-told", "The aircraft did not say its roll and pitch, so they are not shown.")
        ], []
    if float(np.nanmax(abs(attitude[:, 1]))) > LARGEST_PITCH_RAD:
        words = "The pitch that the aircraft says is more than a right angle: it looks like degrees, not radians."
        return [_missing("attitude-units", words)], []
    off = [attitude_off_deg(attitude, hold, down) for hold, down in zip(seen.holds, seen.downs, strict=True)]
    allowed = float(np.hypot(*configured.level_trim_deg)) if configured.level_trim_deg else 0.0
    flat = [one for one, pose in zip(off, seen.poses, strict=True) if pose in FLAT and np.isfinite(one)]
    tipped = [one for one, pose in zip(off, seen.poses, strict=True) if pose not in FLAT and np.isfinite(one)]
    if not flat or not tipped:
        words = "The aircraft said its roll and pitch in too few poses, so they are not shown."
        return [_missing("attitude-not-told", words)], off
    many = sum(one > ATTITUDE_TIPPED_DEG + allowed for one in tipped)
    if float(np.median(flat)) > ATTITUDE_LEVEL_DEG + allowed or many >= 2:  # one may be a slip
        words = (
            f"Roll and pitch as the aircraft says them differ from gravity by up to {max(flat + tipped):.0f} degrees."
        )
        return [
            Finding(
                "attitude-differs",
                words,
                "Do not fly: calibrate the accelerometer, look at the level trim, then repeat the poses.",
                is_dangerous=True,
            )
        ], off
    return [], off


def attitude_off_deg(attitude_rad: FloatArray, hold: Hold, down: FloatArray) -> float:
    """Return how far roll and pitch are from gravity in the later half of a hold, NaN if they were not told.

    Gravity as the accelerometer says it, or as it is without the accelerometer's likely offset (`down`): an offset is
    not the estimate's fault.
    """
    rows = attitude_rad[(hold.first + hold.last) // 2 : hold.last, :2]
    rows = rows[np.isfinite(rows).all(axis=1)]
    if not len(rows):
        return float("nan")
    roll, pitch = rows.T
    said = np.array(
        [-np.sin(pitch).mean(), (np.sin(roll) * np.cos(pitch)).mean(), (np.cos(roll) * np.cos(pitch)).mean()]
    )
    said /= np.linalg.norm(said)
    return min(angle_deg(said, hold.down), angle_deg(said, down))


def trim_findings(seen: Evidence, configured: Configured) -> list[Finding]:
    """Return whether the board sits a little askew in the frame; only for a mounting that is right otherwise."""
    lean_deg = float(np.degrees(np.linalg.norm(seen.level_lean_rad)))
    limit = TRIM_ON_TABLE_DEG if seen.is_level_on_table else TRIM_IN_HANDS_DEG
    if lean_deg <= limit:
        return []
    forward, right = (float(angle) for angle in np.degrees(seen.level_lean_rad))
    where = f"{abs(forward):.1f} degrees nose {'low' if forward > 0 else 'high'}, "
    where += f"{abs(right):.1f} degrees {'right' if right > 0 else 'left'} side low"
    settings = _board_settings(_levelling(seen.level_lean_rad), configured, digits=1)
    advice = (
        f"Set {_said(settings)}, then repeat." if settings else "Set the level trim so that it says level, then repeat."
    )
    return [
        Finding(
            "level-trim",
            f"Lying level, the aircraft takes itself for tilted: {where}.",
            advice + " If it did not lie level, put it on a level table and repeat first.",
            settings=settings,
        )
    ]


def _missing(kind: str, words: str, advice: str = "Repeat the poses.", *, is_dangerous: bool = False) -> Finding:
    return Finding(kind, words, advice, is_dangerous=is_dangerous, is_missing=True)


def _sign_findings(seen: Evidence) -> list[Finding]:
    across = [axis for axis in range(3) if axis != seen.down_axis]
    gyro = seen.gyro
    if gyro is not None and np.degrees(gyro.misfit_rad) > GYRO_MISFIT_DEG:
        return [
            Finding(
                "sensors-disagree",
                "Gyro and accelerometer do not tell of the same turns: their axes are not the same, or one is broken.",
                _NO_SETTING,
                is_dangerous=True,
            )
        ]
    if gyro is None or min(gyro.doubt[across]) < SIGN_DOUBT:
        return [
            _missing(
                "gyro-not-shown",
                "The moves between the poses did not show how the gyro counts.",
                "Repeat the poses and go from one to the next without a long stop on the way.",
            )
        ]
    backward = [axis for axis in across if gyro.signs[axis] < 0.0]
    if len(backward) == 1:
        left = [_turned_left(seen.down_axis)] if seen.turned_rad < 0.0 else []
        return [_one_backward(seen, across, backward[0]), *left]
    return _both_backward(seen) if backward else _none_backward(seen)


def _one_backward(seen: Evidence, across: list[int], backward: int) -> Finding:
    if not seen.is_mirrored:
        return _mirrored("gyro", backward)
    return _mirrored("accelerometer", next(axis for axis in across if axis != backward))


def _both_backward(seen: Evidence) -> list[Finding]:
    if not seen.is_mirrored:
        words = "Gyro and accelerometer are turned half round against each other, or the accelerometer's down axis is"
        return [Finding("sensors-disagree", f"{words} mirrored.", _NO_SETTING, is_dangerous=True)]
    if seen.turned_rad > 0.0:
        words = "One axis of the whole sensor is mirrored, gyro and accelerometer alike: its axes are left-handed."
        return [Finding("sensor-mirrored", words, _NO_SETTING, is_dangerous=True)]
    return [_mirrored("accelerometer", seen.down_axis)]


def _none_backward(seen: Evidence) -> list[Finding]:
    if seen.is_mirrored:
        return [
            _missing(
                "tips-not-as-asked",
                "Left and right, or nose down and nose up, came the other way round than asked. Either the aircraft "
                "was tipped so, or all its axes are mirrored.",
                "Repeat the poses, nose away from you, each as it is asked for. If this comes again, do not fly: the "
                "sensor's axes are mirrored and no setting repairs that.",
                is_dangerous=True,
            )
        ]
    return _down_sign_findings(seen)


def _down_sign_findings(seen: Evidence) -> list[Finding]:
    """Judge the gyro axis that only a flat turn shows, with what gravity happened to show of it."""
    assert seen.gyro is not None
    axis = seen.down_axis
    is_shown = seen.gyro.doubt[axis] > DOWN_SIGN_DOUBT
    is_backward = seen.gyro.signs[axis] < 0.0
    if is_shown and is_backward and not seen.turned_rad > 0.0:
        return [_mirrored("gyro", axis)]
    if (is_shown and is_backward) or np.degrees(abs(seen.turned_rad)) > TURN_UP_TO_DEG:
        return [
            _missing(
                "turn-unclear",
                f"The flat turn came as one of {np.degrees(seen.turned_rad):.0f} degrees to the right, which goes "
                "neither with the other moves nor with a quarter.",
                "Repeat the poses; turn the nose to the right by about a quarter, clockwise seen from above.",
                is_dangerous=True,
            )
        ]
    if np.isnan(seen.turned_rad):
        return (
            [] if is_shown else [_missing("turn-not-shown", "No flat turn to the right was seen, so yaw is not shown.")]
        )
    if seen.turned_rad > 0.0:
        return []
    if is_shown:
        return [
            _missing(
                "turned-left",
                "The flat turn went to the left; to the right was asked.",
                "Repeat it: nose to the right, clockwise seen from above.",
            )
        ]
    return [_turned_left(axis)]


def _turned_left(axis: int) -> Finding:
    return Finding(
        "gyro-axis-mirrored",
        f"The flat turn came as one to the left: the gyro counts the wrong way on the axis that the aircraft calls "
        f"{AXES[axis]}, or it was turned to the left.",
        "Turn it once more, nose to the right, clockwise seen from above. If this comes again: " + _NO_SETTING,
        is_dangerous=True,
    )


def _mirrored(sensor: str, axis: int) -> Finding:
    name = AXES[axis]
    return Finding(
        f"{sensor}-axis-mirrored",
        f"The {sensor} counts the wrong way on the axis that the aircraft calls {name}.",
        _NO_SETTING,
        is_dangerous=True,
    )


def _mounting_findings(seen: Evidence, configured: Configured) -> list[Finding]:
    lean = angle_deg(seen.level_down, seen.mounting[:, 2])
    aside = float(np.mean(seen.aside_deg))
    if abs(aside) <= ASIDE_TOLD_DEG and lean <= ASIDE_TOLD_DEG:
        return [] if _is_identity(seen.nearest.rotation) else [_mounting_differs(seen.nearest.rotation, configured)]
    eighth = nearest_of(seen.fit.rotation, EIGHTH_TURNS)
    is_at_an_angle = max(abs(aside), lean) > AT_AN_ANGLE_DEG and eighth.away_deg < EIGHTH_WITHIN_DEG
    if is_at_an_angle and not _is_right_angled(eighth.rotation):
        return [_mounting_differs(eighth.rotation, configured)]
    return [
        _missing(
            "mounting-unclear",
            f"The poses lie {max(abs(aside), lean):.0f} degrees beside every mounting by right angles: either the "
            "aircraft was tipped askew, or the board sits at an angle that is not set.",
            "Repeat the poses along the aircraft's own axes. If this comes again, look how the board sits.",
            is_dangerous=True,
        )
    ]


def _mounting_differs(turn: FloatArray, configured: Configured) -> Finding:
    settings = _board_settings(turn.T, configured)
    todo = f"Set {_said(settings)}" if settings else f"Turn the set mounting by {name_of_rotation(turn.T)}"
    return Finding(
        "mounting-differs",
        f"The mounting is set wrong: {_taken_for(turn)}.",
        f"{todo}, then repeat the poses. {_OTHERWISE}",
        is_dangerous=True,
        settings=settings,
    )


def _levelling(lean: FloatArray) -> FloatArray:
    """Return the rotation without yaw that turns (2,) a lean forward and right back to straight down."""
    forward, right = lean
    below = np.sqrt(1.0 - forward**2 - right**2)
    roll, pitch = np.arctan2(right, below), -np.arctan2(forward, np.hypot(right, below))
    return rotation_of_angles(float(np.degrees(roll)), float(np.degrees(pitch)), 0.0)


def _board_settings(correction: FloatArray, configured: Configured, *, digits: int = 3) -> dict[str, str]:
    """Return the board angles that add a correction to those that are set; nothing if they are not known."""
    if configured.board_deg is None:
        return {}
    # A level trim stays as it is: what it leaves after a right-angle turn is found when the poses are repeated.
    angles = angles_of_rotation(correction @ rotation_of_angles(*configured.board_deg))
    return {role: _degrees(angle, digits) for role, angle in zip(BOARD_ROLES, angles, strict=True)}


def _degrees(angle: float, digits: int) -> str:
    return f"{round(angle, digits) + 0.0:.{digits}f}".rstrip("0").rstrip(".")


def _said(settings: Mapping[str, str]) -> str:
    roll, pitch, yaw = (settings[role] for role in BOARD_ROLES)
    return f"the board's angles to roll {roll}, pitch {pitch}, yaw {yaw} degrees"


def _taken_for(turn: FloatArray) -> str:
    """Return which side of itself the aircraft takes for its nose and underside, as far as it errs."""
    wrong = [
        f"takes for its {name} is {_side(turn[axis])}"
        for axis, name in ((0, "nose"), (2, "underside"))
        if turn[axis, axis] < 1.0 - 1e-6
    ]
    return "what the aircraft " + ", and what it ".join(wrong)


def _side(true_direction: FloatArray) -> str:
    """Return the side of the aircraft to which a direction in true axes points."""
    order = np.argsort(-abs(true_direction), kind="stable")
    first, second = (int(axis) for axis in order[:2])
    name = _SIDES[first, int(np.sign(true_direction[first]))]
    if abs(true_direction[second]) < 0.3:  # well apart from an eighth turn
        return f"its {name}"
    return f"the edge between its {name} and its {_SIDES[second, int(np.sign(true_direction[second]))]}"


def _is_identity(rotation: FloatArray) -> bool:
    return bool(np.allclose(rotation, np.eye(3), atol=1e-6))


def _is_right_angled(rotation: FloatArray) -> bool:
    return any(np.allclose(rotation, one, atol=1e-6) for one in RIGHT_ANGLES)
