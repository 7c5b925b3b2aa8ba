"""How a sensor can sit in an aircraft: the open list of mounting codes, rotations from angles, and the way back.

A mounting is a rotation that turns what the sensor feels into axes forward, right, down. Rotations are (3, 3) arrays,
angles are degrees: R = Rz(yaw) Ry(pitch) Rx(roll).
"""

from __future__ import annotations

import csv
import itertools
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.errors import RotorwrightError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.bench.records import FloatArray

LEVERED_PITCH = 1.0 - 1e-9  # sine of the pitch from which roll and yaw turn about one axis; arithmetic, no source


class MountingCodeUnknownError(RotorwrightError):
    """A mounting code is not in the list that we know."""

    id = "bench.mounting-code-unknown"


@dataclass(frozen=True, slots=True)
class MountingCode:
    """One row of the open list: number, name in that list, angles in degrees."""

    code: int
    name: str
    roll_deg: float
    pitch_deg: float
    yaw_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """Which of some rotations is nearest to a measured one.

    Args:
        rotation: (3, 3) the nearest.
        away_deg: angle from it to the measured one.
        margin_deg: how much further the second nearest is.
    """

    rotation: FloatArray
    away_deg: float
    margin_deg: float


def rotation_of_angles(roll_deg: float, pitch_deg: float, yaw_deg: float) -> FloatArray:
    """Return the (3, 3) rotation Rz(yaw) Ry(pitch) Rx(roll); multiples of 90 degrees are exact."""
    (cr, sr), (cp, sp), (cy, sy) = (_cosine_and_sine(angle) for angle in (roll_deg, pitch_deg, yaw_deg))
    return np.array(
        [
            [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
            [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
            [-sp, cp * sr, cp * cr],
        ]
    )


def angles_of_rotation(rotation: FloatArray) -> tuple[float, float, float]:
    """Return roll, pitch, yaw in degrees, each within -180 to 180, of a (3, 3) rotation.

    Of the two ways to say a rotation, the one with the smaller angles. Nose straight up or down: roll is 0.
    """
    sine = float(np.clip(-rotation[2, 0], -1.0, 1.0))
    if abs(sine) > LEVERED_PITCH:
        yaw_deg = float(np.degrees(np.arctan2(-rotation[0, 1], rotation[1, 1])))
        return 0.0, float(np.copysign(90.0, sine)), yaw_deg + 0.0
    roll, pitch, yaw = (
        float(np.degrees(angle))
        for angle in (
            np.arctan2(rotation[2, 1], rotation[2, 2]),
            np.arcsin(sine),
            np.arctan2(rotation[1, 0], rotation[0, 0]),
        )
    )
    other = (_within_half_turn(roll + 180.0), _within_half_turn(180.0 - pitch), _within_half_turn(yaw + 180.0))
    return min((roll, pitch, yaw), other, key=lambda angles: sum(map(abs, angles)))


def angle_between_deg(first: FloatArray, second: FloatArray) -> float:
    """Return the angle in degrees of the rotation that leads from one (3, 3) rotation to another."""
    trace = float(np.sum(first * second))
    return float(np.degrees(np.arccos(np.clip((trace - 1.0) / 2.0, -1.0, 1.0))))


def nearest_of(measured: FloatArray, rotations: FloatArray) -> Nearest:
    """Return which of (n, 3, 3) rotations is nearest to the measured (3, 3) one. All must be of one handedness."""
    traces = np.einsum("nij,ij->n", rotations, measured)
    away = np.degrees(np.arccos(np.clip((traces - 1.0) / 2.0, -1.0, 1.0)))
    first, second = np.argsort(away, kind="stable")[:2]
    return Nearest(rotations[first], float(away[first]), float(away[second] - away[first]))


def rotation_of_code(code: int) -> FloatArray:
    """Return the (3, 3) rotation of a mounting code.

    Raises:
        MountingCodeUnknownError: the code is not in the list.
    """
    try:
        row = mounting_codes()[code]
    except KeyError:
        raise MountingCodeUnknownError(
            what=f"Mounting code {code} is not in the list of sensor orientations.",
            why="It is newer than our copy of the open list, or a firmware's own.",
            state="Nothing was sent to the aircraft.",
            todo="Say the mounting by its roll, pitch and yaw angles instead.",
        ) from None
    return rotation_of_angles(row.roll_deg, row.pitch_deg, row.yaw_deg)


def name_of_rotation(rotation: FloatArray) -> str:
    """Return a right-angle or other mounting in words: its angles, none of them if it changes nothing."""
    said = [
        f"{name} {angle:.4g}"
        for name, angle in zip(("roll", "pitch", "yaw"), angles_of_rotation(rotation), strict=True)
        if abs(angle) >= 0.05  # less than a tenth of a degree is not worth a word
    ]
    return ", ".join(said) + " degrees" if said else "no turn"


@cache
def mounting_codes() -> Mapping[int, MountingCode]:
    """Return the open list of mounting codes, by number."""
    text = resources.files(__package__).joinpath("sensor_orientations.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return MappingProxyType({code.code: code for code in map(_mounting_code, rows)})


def _mounting_code(row: dict[str, str]) -> MountingCode:
    return MountingCode(
        int(row["code"]), row["name"], float(row["roll_deg"]), float(row["pitch_deg"]), float(row["yaw_deg"])
    )


def _cosine_and_sine(angle_deg: float) -> tuple[float, float]:
    quarter, rest = divmod(angle_deg, 90.0)
    if rest == 0.0:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    return float(np.cos(np.radians(angle_deg))), float(np.sin(np.radians(angle_deg)))


def _within_half_turn(angle_deg: float) -> float:
    return (angle_deg + 180.0) % 360.0 - 180.0


def _multiples_of(step_deg: int) -> FloatArray:
    angles = range(0, 360, step_deg)
    found: dict[tuple[float, ...], FloatArray] = {}
    for roll, pitch, yaw in itertools.product(angles, repeat=3):
        rotation = rotation_of_angles(roll, pitch, yaw)
        found.setdefault(tuple(np.round(rotation, 6).ravel() + 0.0), rotation)
    return np.array(list(found.values()))


RIGHT_ANGLES = _multiples_of(90)
"""(24, 3, 3): every way to mount by right angles, that without any turn first."""

EIGHTH_TURNS = _multiples_of(45)
"""(n, 3, 3): every way to mount by eighths of a turn, that without any turn first."""

for _table in (RIGHT_ANGLES, EIGHTH_TURNS):
    _table.flags.writeable = False
