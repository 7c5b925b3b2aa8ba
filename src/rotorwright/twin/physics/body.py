"""The body of the aircraft: held by a hand or lying on something soft, pushed and shaken by its rotors.

All of it is linear and small but the hand's turns, so the answers to each rotor add up. Attitude is the hand's, turned
on by the swing of the rotors' reaction. The ripple of unbalanced rotors (some micro-rad) is left out of the attitude;
it is in rates and accelerations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import Maths, Number, Quaternion, Triple, maths_of, product, to_body

if TYPE_CHECKING:
    from rotorwright.twin.physics.hand_motion import HandMotion
    from rotorwright.twin.physics.rotors import RotorMoment, Rotors, RotorSpec
    from rotorwright.twin.physics.support import Support

_TURNING_RAD_S = 1.0  # a slower rotor shakes nothing
_ROUGH_AT_RAD_S = 2.0 * math.pi * 100.0


@dataclass(frozen=True, slots=True)
class BodySpec:
    """The body without its rotors' turning.

    Args:
        mass_kg: of the whole aircraft.
        inertia_kg_m2: about the roll, pitch and yaw axis.
        sensor_m: where the motion sensor is, forward and right of the centre of mass.
    """

    mass_kg: float
    inertia_kg_m2: tuple[float, float, float]
    sensor_m: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class BodyMoment:
    """The true motion at one moment, or at (n,) moments.

    Args:
        turned: quaternion from body to ground axes.
        rate_rad_s: body rates.
        force_m_s2: specific force where the sensor is, body axes.
        roughness_m_s2: spread of the broadband shaking of the bearings.
    """

    turned: Quaternion
    rate_rad_s: Triple
    force_m_s2: Triple
    roughness_m_s2: Number


class Body:
    """The aircraft as a rigid body.

    Args:
        spec: mass and inertia.
        support: what it rests on, or how softly the hand holds it.
        hand: how it is held.
        rotors: what turns on it.
    """

    def __init__(self, spec: BodySpec, support: Support, hand: HandMotion, rotors: Rotors) -> None:
        self.spec = spec
        self.support = support
        self.hand = hand
        self.rotors = rotors

    def moment(self, at_s: Number, *, cutoff_hz: float = math.inf) -> BodyMoment:
        """Return the motion at `at_s`: a float, or an array of (n,) times in any order.

        The ripple of the rotors is told as it is behind a first-order low-pass of `cutoff_hz`, without its delay.
        """
        maths = maths_of(at_s)
        held = self.hand.moment(at_s)
        swing: Number = 0.0
        swing_rate: Number = 0.0
        rough: Number = 0.0
        ripple = _Ripple()
        for number, spec in enumerate(self.rotors.specs):
            if not self.rotors.ever_turned(number):
                continue
            rotor = self.rotors.moment(number, at_s)
            swing += rotor.swing_rad
            swing_rate += rotor.swing_rate_rad_s
            share = spec.roughness_m_s2 * rotor.speed_rad_s / _ROUGH_AT_RAD_S
            rough += share * share
            if isinstance(at_s, np.ndarray) or rotor.speed_rad_s > _TURNING_RAD_S:
                self._shake(ripple, spec, rotor, cutoff_hz, maths)
        around = (maths.cos(0.5 * swing), 0.0, 0.0, maths.sin(0.5 * swing))
        turned = product(held.turned, around)
        roll, pitch, yaw = to_body(around, held.rate_rad_s)
        north, east, down = held.push_m_s2
        x, y, z = to_body(turned, (north, east, down - constants.GRAVITY_M_S2))
        return BodyMoment(
            turned,
            (roll + ripple.roll, pitch + ripple.pitch, yaw + swing_rate + ripple.yaw),
            (x + ripple.forward, y + ripple.right, z),
            maths.sqrt(rough),
        )

    def _shake(self, ripple: _Ripple, spec: RotorSpec, rotor: RotorMoment, cutoff_hz: float, maths: Maths) -> None:
        """Add the answer to one rotor's imbalance, harmonic by harmonic."""
        turning = rotor.speed_rad_s > _TURNING_RAD_S
        speed = maths.within(rotor.speed_rad_s, _TURNING_RAD_S, math.inf)
        for order, part in enumerate((1.0, *spec.harmonics), start=1):
            if part == 0.0:
                continue
            at = order * speed
            behind = at / (2.0 * math.pi * cutoff_hz)
            size = turning * part * spec.imbalance_kg_m * speed * speed / maths.sqrt(1.0 + behind * behind)
            phase = order * (rotor.angle_rad + spec.imbalance_at_rad)
            self._push(ripple, spec, (size * maths.cos(phase), size * maths.sin(phase)), at)

    def _push(self, ripple: _Ripple, spec: RotorSpec, force: tuple[Number, Number], at: Number) -> None:
        """Add the answer to a force that turns with the rotor: (cos, sin) parts in N, `at` rad/s."""
        cos, sin = force
        way = float(spec.direction)
        real, late = self.support.follow(at, self.support.shift_rad_s)
        forward, right = real * cos - late * sin, way * (real * sin + late * cos)
        real, late = self.support.follow(at, self.support.turn_rad_s)
        turned = (real * cos - late * sin, real * sin + late * cos)
        x, y, height = spec.forward_m, spec.right_m, constants.ROTOR_HEIGHT_M
        for_roll, for_pitch, for_yaw = self.spec.inertia_kg_m2
        # Moments of the force (turned[0], way * turned[1], 0) at (x, y, height), and their integrals over time.
        ripple.roll += height * way * turned[0] / (for_roll * at)
        ripple.pitch += height * turned[1] / (for_pitch * at)
        ripple.yaw += (-x * way * turned[0] - y * turned[1]) / (for_yaw * at)
        spin = (x * way * turned[1] - y * turned[0]) / for_yaw
        sensor_x, sensor_y = self.spec.sensor_m
        ripple.forward += forward / self.spec.mass_kg - spin * sensor_y
        ripple.right += right / self.spec.mass_kg + spin * sensor_x


@dataclass(slots=True)
class _Ripple:
    """What the rotors' imbalances add up to: rates in rad/s, accelerations in m/s2."""

    roll: Number = 0.0
    pitch: Number = 0.0
    yaw: Number = 0.0
    forward: Number = 0.0
    right: Number = 0.0
