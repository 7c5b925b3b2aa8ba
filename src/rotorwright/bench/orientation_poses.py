"""The poses that a person is asked for, in words for the hands, and how they are recognised in a record.

A pose is recognised by how it lies to the others (opposite, square, back to the first), never by an axis of the
aircraft: a wrong mounting turns all of them alike.
"""

from __future__ import annotations

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
TIP_FROM_DEG = 15.0
TIP_UP_TO_DEG = 80.0
TIP_ASIDE_DEG = 45.0  # how far a tip may be from where the earlier tips say that it should be
INVERTED_FROM_DEG = 130.0
TURN_FROM_DEG = 40.0  # "about a quarter" begins here
CLEARLY_MORE_DEG = 5.0  # a hold that goes this much further in the same pose takes its place
MOST_STARTS = 4  # the first hold need not be the level one: somebody may still carry the aircraft

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
    """Return which of the asked poses were held, each after the one before it. The record must be whole."""
    if not holds or not poses:
        return PosesSeen()
    summed = _summed_turn(record, resting_rate_rad_s(holds))
    best: tuple[int, ...] = ()
    for start in range(min(MOST_STARTS, len(holds))):
        found = _matched(holds, poses, summed, start)
        if len(found) > len(best):
            best = found
        if len(best) == len(poses):
            break
    return _seen(holds, best, summed)


def poses_held(record: MotionRecord, poses: Sequence[Pose]) -> int:
    """Return how many of the asked poses were held in a whole record."""
    return len(recognise(record, find_holds(record), poses).holds)


def angle_deg(first: FloatArray, second: FloatArray) -> float:
    """Return the angle between two (3,) unit directions."""
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(first, second)), np.dot(first, second))))


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


def _matched(holds: tuple[Hold, ...], poses: Sequence[Pose], summed: FloatArray, start: int) -> tuple[int, ...]:
    """Return the hold of each pose, as far as they come, when `start` is taken for the first pose."""
    level = holds[start].down
    chosen = [start]
    for index in range(start + 1, len(holds)):
        done = len(chosen)
        earlier = [(pose, holds[one].down) for pose, one in zip(poses, chosen, strict=False)]
        turned = summed[_middle(holds[index])] - summed[_middle(holds[chosen[-1]])]
        if done < len(poses) and _fits(poses[done], holds[index], level, earlier, turned):
            chosen.append(index)
        elif _goes_further(poses[done - 1], holds[index], holds[chosen[-1]], level, earlier[:-1]):
            chosen[-1] = index
    return tuple(chosen)


def _fits(
    pose: Pose, hold: Hold, level: FloatArray, earlier: Sequence[tuple[Pose, FloatArray]], turned: FloatArray
) -> bool:
    tilt = angle_deg(hold.down, level)
    if pose is Pose.INVERTED:
        return tilt >= INVERTED_FROM_DEG
    if pose is Pose.NOSE_RIGHT:
        about_down = float(np.linalg.norm(turned)) if earlier[-1][0] in FLAT else abs(float(turned @ level))
        return tilt <= LEVEL_WITHIN_DEG and np.degrees(about_down) >= TURN_FROM_DEG
    if pose is Pose.LEVEL:
        return tilt <= LEVEL_WITHIN_DEG
    return TIP_FROM_DEG <= tilt <= TIP_UP_TO_DEG and _lies_right(pose, hold.down, level, earlier)


def _lies_right(pose: Pose, down: FloatArray, level: FloatArray, earlier: Sequence[tuple[Pose, FloatArray]]) -> bool:
    """Return whether a tip is opposite or square to the earlier tips, as it should be."""
    leaning = _leaning(down, level)
    for other, other_down in earlier:
        if other not in TIPPED:
            continue
        expected = np.degrees(np.arccos(np.dot(TIPPED[pose], TIPPED[other])))
        if abs(angle_deg(leaning, _leaning(other_down, level)) - expected) > TIP_ASIDE_DEG:
            return False
    return True


def _leaning(down: FloatArray, level: FloatArray) -> FloatArray:
    flat = down - np.dot(down, level) * level
    unit: FloatArray = flat / max(float(np.linalg.norm(flat)), 1e-9)
    return unit


def _goes_further(
    pose: Pose, hold: Hold, before: Hold, level: FloatArray, earlier: Sequence[tuple[Pose, FloatArray]]
) -> bool:
    """Return whether a hold is the same tip once more, and clearly further."""
    if pose not in TIPPED:
        return False
    tilt = angle_deg(hold.down, level)
    is_same = angle_deg(_leaning(hold.down, level), _leaning(before.down, level)) <= TIP_ASIDE_DEG
    further = tilt > angle_deg(before.down, level) + CLEARLY_MORE_DEG and tilt <= TIP_UP_TO_DEG
    return is_same and further and _lies_right(pose, hold.down, level, earlier)
