"""The hands that hold the aircraft: they tip it from pose to pose, never quite as asked, and they tremble.

Every act is one or two minimum-jerk turns (the shape of practised movements of a hand: Flash and Hogan 1985; used here
only as a smooth curve) and a hold. What comes out is a function of time: attitude, body rates as its exact derivative,
and the small acceleration of the hand. Nothing depends on when or how often it is asked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import (
    FLOATS,
    Maths,
    Number,
    Quaternion,
    Timeline,
    Triple,
    angles_of,
    from_angles,
    maths_of,
    product,
    to_body,
    turn,
)


class HandPose(StrEnum):
    """What a person can be asked to do with the aircraft; the side that is named goes down, but for the last two."""

    LEVEL = "level"
    NOSE_DOWN = "nose-down"
    NOSE_UP = "nose-up"
    LEFT_DOWN = "left-down"
    RIGHT_DOWN = "right-down"
    NOSE_RIGHT = "nose-right"
    INVERTED = "inverted"


_TILT_AXIS = {  # in axes forward, right of the level aircraft
    HandPose.NOSE_DOWN: (0.0, -1.0),
    HandPose.NOSE_UP: (0.0, 1.0),
    HandPose.LEFT_DOWN: (-1.0, 0.0),
    HandPose.RIGHT_DOWN: (1.0, 0.0),
    HandPose.INVERTED: (1.0, 0.0),
}
_ON_BENCH = (HandPose.LEVEL, HandPose.NOSE_RIGHT)
_LONG_AGO_S = -1e9
_SINES = 3  # of the tremor of each axis


@dataclass(frozen=True, slots=True)
class HandMoment:
    """How the hand holds the aircraft at one moment, or at (n,) moments.

    Args:
        turned: quaternion from body to ground axes, scalar first.
        rate_rad_s: body rates: roll right, nose up, nose right are positive.
        push_m_s2: acceleration of the hand in ground axes (north, east, down).
    """

    turned: Quaternion
    rate_rad_s: Triple
    push_m_s2: Triple

    @property
    def angles_rad(self) -> Triple:
        """Roll, pitch, yaw."""
        return angles_of(self.turned, maths_of(self.turned[0]))

    @property
    def force_m_s2(self) -> Triple:
        """Specific force in body axes: level at rest is (0, 0, -9.81)."""
        north, east, down = self.push_m_s2
        return to_body(self.turned, (north, east, down - constants.GRAVITY_M_S2))


class HandMotion:
    """Hands, and the aircraft in them or on the bench.

    Args:
        seed: of everything irregular; another seed is another person.
        level_yaw: heading of the nose on the bench, in rad.
        pace: all durations are multiplied by it; 0.5 is a hand twice as quick.
        bench_slope_deg: largest slope of the bench.
    """

    def __init__(
        self,
        seed: int,
        level_yaw: float = 0.0,
        *,
        pace: float = 1.0,
        bench_slope_deg: float = constants.BENCH_SLOPE_DEG,
    ) -> None:
        self._seed = seed
        self._pace = pace
        self._heading = level_yaw
        self._acts = 0
        fixed = np.random.default_rng([seed, 0])
        self._tremor = _tremor_of(fixed)
        slope = np.radians(fixed.uniform(-bench_slope_deg, bench_slope_deg, 2))
        self._bench = (float(slope[0]), float(slope[1]))
        self._is_held = False
        rest = from_angles(*self._bench, level_yaw, FLOATS)
        self._turns = Timeline(_row(_LONG_AGO_S, 1.0, rest, ((0.0, 0.0, 1.0), 0.0)))

    @property
    def still_from_s(self) -> float:
        """When the last movement that was asked for ends, and the hold begins."""
        return self._turns.last[0] + self._turns.last[1]

    def tip(self, pose: str, at_s: float, *, in_hand: bool = False) -> None:
        """Start to bring the aircraft into `pose` at `at_s`, or as soon as the movement before has ended.

        Level and nose-right end flat on the bench, where nothing trembles; with `in_hand` they are held in the air.

        Raises:
            ValueError: no such pose.
        """
        wanted = HandPose(pose)
        self._acts += 1
        chance = np.random.default_rng([self._seed, self._acts])
        start_s = max(at_s, self.still_from_s)
        lands = wanted in _ON_BENCH and not in_hand
        passes_level = self._is_held and wanted in _TILT_AXIS and chance.random() < constants.VIA_LEVEL_PART
        target = self._target(wanted, chance, lands=lands)
        if passes_level:
            level = _nearly_level(chance, self._heading)
            start_s = self._turn_to(level, start_s, chance, holds=True)
        self._turn_to(target, start_s, chance, holds=not lands)

    def put_down(self, at_s: float) -> None:
        """Put the aircraft flat on the bench."""
        self.tip(HandPose.LEVEL, at_s)

    def moment(self, at_s: Number) -> HandMoment:
        """Return how the aircraft is held at `at_s`: a float, or an array of (n,) times in any order."""
        maths = maths_of(at_s)
        row = self._turns.at(at_s)
        start_s, over_s, q0, q1, q2, q3, x, y, z, angle, held_from, held_change, *shift = row
        part = maths.within((at_s - start_s) / over_s, 0.0, 1.0)
        rest = 1.0 - part
        done = part * part * part * (10.0 - 15.0 * part + 6.0 * part * part)
        speed = 30.0 * part * part * rest * rest / over_s
        surge = 60.0 * part * rest * (1.0 - 2.0 * part) / (over_s * over_s)
        turned = product((q0, q1, q2, q3), turn((x, y, z), angle * done, maths))
        rate = angle * speed
        held, held_rate = held_from + held_change * done, held_change * speed
        small, swing, shake = self._trembling(at_s, held, held_rate, maths)
        push = (shift[0] * surge + shake[0], shift[1] * surge + shake[1], shift[2] * surge + shake[2])
        through = to_body(small, (x * rate, y * rate, z * rate))
        return HandMoment(
            product(turned, small), (through[0] + swing[0], through[1] + swing[1], through[2] + swing[2]), push
        )

    def _target(self, pose: HandPose, chance: np.random.Generator, *, lands: bool) -> Quaternion:
        wander = math.radians(float(np.clip(chance.normal(0.0, constants.HEADING_WANDER_DEG), -8.0, 8.0)))
        if pose is HandPose.NOSE_RIGHT:
            wander = math.radians(chance.uniform(*constants.QUARTER_TURN_DEG))
        self._heading += wander if pose is not HandPose.LEVEL else 0.3 * wander
        if lands:
            return from_angles(*self._bench, self._heading, FLOATS)
        facing = from_angles(0.0, 0.0, self._heading, FLOATS)
        if pose in _ON_BENCH:
            return _nearly_level(chance, self._heading)
        limits = constants.UPSIDE_DOWN_DEG if pose is HandPose.INVERTED else constants.TILT_DEG
        tilt = math.radians(chance.uniform(*limits))
        off = math.radians(chance.uniform(-constants.OFF_AXIS_DEG, constants.OFF_AXIS_DEG))
        x, y = _TILT_AXIS[pose]
        axis = (x * math.cos(off) - y * math.sin(off), x * math.sin(off) + y * math.cos(off), 0.0)
        return product(facing, turn(axis, tilt, FLOATS))

    def _turn_to(self, target: Quaternion, start_s: float, chance: np.random.Generator, *, holds: bool) -> float:
        before = self._turns.last
        start = product(before[2:6], turn(before[6:9], before[9], FLOATS))  # type: ignore[arg-type]
        held = before[10] + before[11]
        over_s = chance.uniform(*constants.MOVE_S) * self._pace
        shift = chance.uniform(-constants.MOVE_SHIFT_M, constants.MOVE_SHIFT_M, 3) * min(1.0, over_s)
        way = _way(start, target)
        self._turns.put(
            _row(start_s, over_s, start, way, held=(held, float(holds) - held), shift_m=tuple(shift.tolist()))
        )
        self._is_held = holds
        return start_s + over_s

    def _trembling(
        self, at_s: Number, held: Number, held_rate: Number, maths: Maths
    ) -> tuple[Quaternion, Triple, Triple]:
        """Return the small turn of the tremor, its body rates, and how it shakes the aircraft (m/s2)."""
        if not isinstance(at_s, np.ndarray) and held == 0.0:
            return (1.0, 0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)
        angles, speeds, shakes = [], [], []
        for sines in self._tremor:
            angle: Number = 0.0
            speed: Number = 0.0
            shake: Number = 0.0
            for size, turns, phase in sines:
                at = turns * at_s + phase
                wave = size * maths.sin(at)
                angle += wave
                speed += size * turns * maths.cos(at)
                shake -= turns * turns * wave
            angles.append(held * angle)
            speeds.append(held * speed + held_rate * angle)
            shakes.append(held * constants.TREMOR_LEVER_M * shake)
        roll, pitch, yaw = angles
        small = from_angles(roll, pitch, yaw, maths)
        sin_r, cos_r, sin_p, cos_p = maths.sin(roll), maths.cos(roll), maths.sin(pitch), maths.cos(pitch)
        rates = (  # Euler rates into body rates, exact
            speeds[0] - speeds[2] * sin_p,
            speeds[1] * cos_r + speeds[2] * sin_r * cos_p,
            speeds[2] * cos_r * cos_p - speeds[1] * sin_r,
        )
        return small, rates, (shakes[0], shakes[1], shakes[2])


def _row(
    start_s: float,
    over_s: float,
    start: Quaternion,
    way: tuple[Triple, float],
    *,
    held: tuple[float, float] = (0.0, 0.0),
    shift_m: tuple[float, ...] = (0.0, 0.0, 0.0),
) -> tuple[float, ...]:
    """Return the numbers of one turn; `held` is how firmly a hand holds first (1: whole tremor), and its change."""
    axis, angle = way
    return (start_s, over_s, *start, *axis, angle, *held, *shift_m)


def _nearly_level(chance: np.random.Generator, heading: float) -> Quaternion:
    roll, pitch = np.radians(chance.uniform(-constants.UNLEVEL_DEG, constants.UNLEVEL_DEG, 2)).tolist()
    return from_angles(roll, pitch, heading, FLOATS)


def _tremor_of(chance: np.random.Generator) -> tuple[tuple[tuple[float, float, float], ...], ...]:
    """Return (size in rad, turns in rad/s, phase) of the sines of each axis; the sizes add up to the largest swing."""
    axes = []
    for _ in range(3):
        whole = math.radians(chance.uniform(*constants.TREMOR_DEG))
        parts = chance.dirichlet([2.0] * _SINES) * whole
        turns = 2.0 * math.pi * chance.uniform(*constants.TREMOR_HZ, _SINES)
        phases = chance.uniform(0.0, 2.0 * math.pi, _SINES)
        axes.append(tuple(zip(parts.tolist(), turns.tolist(), phases.tolist(), strict=True)))
    return tuple(axes)


def _way(start: Quaternion, target: Quaternion) -> tuple[Triple, float]:
    """Return the unit axis (body axes of `start`) and the angle of the shortest turn between two attitudes."""
    w, x, y, z = start
    part, *arrow = product((w, -x, -y, -z), target)
    size = math.sqrt(sum(each * each for each in arrow))
    if size < 1e-12:
        return (0.0, 0.0, 1.0), 0.0
    sign = 1.0 if part >= 0 else -1.0
    angle = 2.0 * math.atan2(size, abs(part))
    return (sign * arrow[0] / size, sign * arrow[1] / size, sign * arrow[2] / size), angle
