"""The poses that a person is asked for, in words for the hands, and how they are recognised in a record.

A pose is recognised by how it lies to the others (opposite, square, back to the first), never by an axis of the
aircraft: a wrong mounting turns all of them alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.stillness import find_holds, resting_rate_rad_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.bench.records import FloatArray, MotionRecord
    from rotorwright.bench.stillness import Hold


class Pose(StrEnum):
    """How a person is asked to hold the aircraft."""

    LEVEL = "level"
    NOSE_DOWN = "nose-down"
    NOSE_UP = "nose-up"
    LEFT_DOWN = "left-down"
    RIGHT_DOWN = "right-down"
    NOSE_RIGHT = "nose-right"
    INVERTED = "inverted"


USUAL_POSES = (
    Pose.LEVEL,
    Pose.NOSE_DOWN,
    Pose.NOSE_UP,
    Pose.LEFT_DOWN,
    Pose.RIGHT_DOWN,
    Pose.LEVEL,
    Pose.NOSE_RIGHT,
)
"""What is asked for when nothing else is said, in this order."""

TIPPED = MappingProxyType(
    {
        Pose.NOSE_DOWN: (1.0, 0.0),
        Pose.NOSE_UP: (-1.0, 0.0),
        Pose.RIGHT_DOWN: (0.0, 1.0),
        Pose.LEFT_DOWN: (0.0, -1.0),
    }
)
"""Where down leans to in each tipped pose: forward, right."""

FLAT = frozenset({Pose.LEVEL, Pose.NOSE_RIGHT})

# How poses are told apart. All: common practice, no source.
LEVEL_WITHIN_DEG = 15.0
TIP_FROM_DEG = 14.0
TIP_UP_TO_DEG = 80.0
TIP_ASIDE_DEG = 45.0  # how far a tip may be from where the earlier tips say that it should be
INVERTED_FROM_DEG = 130.0
TURN_FROM_DEG = 40.0  # "about a quarter" begins here
TIP_ENOUGH_DEG = 45.0  # of several holds in one pose the one that is tipped further is taken, up to here
MOST_STARTS = 3  # the first hold need not be the level one: somebody may still carry the aircraft
MOST_ROWS = 3  # rows of holds of each length that are followed further

_WORDS = MappingProxyType(
    {
        Pose.LEVEL: "Set it down level, nose away from you, and let it rest.",
        Pose.NOSE_DOWN: "Tip the nose down by about a third of a right angle and hold it still.",
        Pose.NOSE_UP: "Tip the nose up by about a third of a right angle and hold it still.",
        Pose.LEFT_DOWN: "Tip it to the left, left rotors low, by about a third of a right angle and hold it still.",
        Pose.RIGHT_DOWN: "Tip it to the right, right rotors low, by about a third of a right angle and hold it still.",
        Pose.NOSE_RIGHT: "Keep it flat and turn the nose to the right, clockwise seen from above, by about a quarter; "
        "then let it rest.",
        Pose.INVERTED: "Turn it over onto its back and hold it still.",
    }
)


@dataclass(frozen=True, slots=True, eq=False)
class PosesSeen:
    """Which asked poses were held, in order.

    Args:
        holds: the hold of each asked pose, as far as they were recognised, from the first.
        turned_rad: for each of them (3,) what the gyro summed up since the pose before.
    """

    holds: tuple[Hold, ...] = ()
    turned_rad: tuple[FloatArray, ...] = ()


def poses_words(pose: Pose) -> str:
    """Return what a person does with the hands for a pose."""
    return _WORDS[pose]


def recognise(record: MotionRecord, holds: tuple[Hold, ...], poses: Sequence[Pose]) -> PosesSeen:
    """Return which of the asked poses were held, each after the one before it. The record must be whole.

    Holds that fit no asked pose are passed over: a person may rest on the way or correct a tip.
    """
    if not holds or not poses:
        return PosesSeen()
    summed = _summed_turn(record, resting_rate_rad_s(holds))
    sums = summed[[_middle(hold) for hold in holds]]
    downs = np.array([hold.down for hold in holds])
    best = _Chosen((), 0.0)
    for start in range(min(MOST_STARTS, len(holds))):
        best = max(best, _matched(_Lies.around(downs, sums, start), poses, start), key=lambda one: len(one.holds))
        if len(best.holds) == len(poses):
            break
    return _seen(holds, best.holds, summed)


def poses_held(record: MotionRecord, poses: Sequence[Pose]) -> int:
    """Return how many of the asked poses were held in a whole record."""
    return len(recognise(record, find_holds(record), poses).holds)


def angle_deg(first: FloatArray, second: FloatArray) -> float:
    """Return the angle between two (3,) unit directions."""
    a, b, c = first.tolist()
    d, e, f = second.tolist()
    across = math.hypot(b * f - c * e, c * d - a * f, a * e - b * d)
    return math.degrees(math.atan2(across, a * d + b * e + c * f))


@dataclass(frozen=True, slots=True)
class _Chosen:
    """Holds chosen for the first poses, and how well they suit (the more the better)."""

    holds: tuple[int, ...]
    suits: float


@dataclass(frozen=True, slots=True)
class _Lies:
    """How each hold lies when one of them is taken for level: tilt, bearing of the lean, and the gyro's sum there."""

    tilt_deg: list[float]
    bearing_deg: list[float]
    level: tuple[float, float, float]
    summed_rad: list[list[float]]

    @classmethod
    def around(cls, downs: FloatArray, sums: FloatArray, start: int) -> _Lies:
        level = downs[start]
        first = np.eye(3)[int(np.argmin(np.abs(level)))]
        along = first - (first @ level) * level
        along /= np.linalg.norm(along)
        sideways = np.cross(level, along)
        bearings = np.degrees(np.arctan2(downs @ sideways, downs @ along))
        tilts = np.degrees(np.arccos(np.clip(downs @ level, -1.0, 1.0)))
        a, b, c = level.tolist()
        return cls(tilts.tolist(), bearings.tolist(), (a, b, c), sums.tolist())

    def apart_deg(self, first: int, second: int) -> float:
        """Return the angle between the leans of two holds, seen from above."""
        return abs((self.bearing_deg[first] - self.bearing_deg[second] + 180.0) % 360.0 - 180.0)

    def turned_deg(self, before: int, after: int, *, is_flat: bool) -> float:
        """Return how far it turned in between: about any axis between flat holds, else about down only."""
        turn = [b - a for a, b in zip(self.summed_rad[before], self.summed_rad[after], strict=True)]
        about_down = sum(a * b for a, b in zip(turn, self.level, strict=True))
        return math.degrees(math.hypot(*turn) if is_flat else abs(about_down))


def _seen(holds: tuple[Hold, ...], chosen: tuple[int, ...], summed: FloatArray) -> PosesSeen:
    found = tuple(holds[index] for index in chosen)
    befores = (found[0], *found[:-1]) if found else ()
    turned = tuple(summed[_middle(now)] - summed[_middle(before)] for before, now in zip(befores, found, strict=True))
    return PosesSeen(found, turned)


def _summed_turn(record: MotionRecord, rest: FloatArray) -> FloatArray:
    steps = np.diff(record.at_s)[:, None]
    rates = record.rate_rad_s - rest
    summed: FloatArray = np.concatenate((np.zeros((1, 3)), np.cumsum((rates[1:] + rates[:-1]) / 2.0 * steps, axis=0)))
    return summed


def _middle(hold: Hold) -> int:
    return (hold.first + hold.last) // 2


def _matched(lies: _Lies, poses: Sequence[Pose], start: int) -> _Chosen:
    """Return the longest row of holds that fits the first poses, of the longest the most suitable."""
    by_length: list[list[_Chosen]] = [[] for _ in range(len(poses) + 1)]
    by_length[1] = [_Chosen((start,), 0.0)]
    for index in range(start + 1, len(lies.tilt_deg)):
        for done in range(len(poses) - 1, 0, -1):
            longer = [_longer(lies, poses, chosen, index) for chosen in by_length[done]]
            found = [*by_length[done + 1], *(one for one in longer if one is not None)]
            by_length[done + 1] = sorted(found, key=lambda one: -one.suits)[:MOST_ROWS]
    return next(rows[0] for rows in reversed(by_length) if rows)


def _longer(lies: _Lies, poses: Sequence[Pose], chosen: _Chosen, index: int) -> _Chosen | None:
    """Return the row with one more hold, None if that hold does not fit the next pose."""
    suits = _suits(lies, poses, chosen.holds, index)
    return None if suits is None else _Chosen((*chosen.holds, index), chosen.suits + suits)


def _suits(lies: _Lies, poses: Sequence[Pose], earlier: tuple[int, ...], index: int) -> float | None:
    pose, tilt = poses[len(earlier)], lies.tilt_deg[index]
    if pose is Pose.INVERTED:
        return 0.0 if tilt >= INVERTED_FROM_DEG else None
    if pose is Pose.LEVEL:
        return -tilt if tilt <= LEVEL_WITHIN_DEG else None
    if pose is Pose.NOSE_RIGHT:
        turned = lies.turned_deg(earlier[-1], index, is_flat=poses[len(earlier) - 1] in FLAT)
        return min(turned, 90.0) if tilt <= LEVEL_WITHIN_DEG and turned >= TURN_FROM_DEG else None
    if not TIP_FROM_DEG <= tilt <= TIP_UP_TO_DEG:
        return None
    aside = _tip_aside_deg(lies, poses, earlier, index)
    return min(tilt, TIP_ENOUGH_DEG) - aside if aside <= TIP_ASIDE_DEG else None


def _tip_aside_deg(lies: _Lies, poses: Sequence[Pose], earlier: tuple[int, ...], index: int) -> float:
    """Return how far a tip is from lying opposite or square to the earlier tips, as it should."""
    forward, right = TIPPED[poses[len(earlier)]]
    aside = 0.0
    for pose, hold in zip(poses, earlier, strict=False):
        if pose in TIPPED:
            along = forward * TIPPED[pose][0] + right * TIPPED[pose][1]
            aside = max(aside, abs(lies.apart_deg(index, hold) - math.degrees(math.acos(along))))
    return aside
