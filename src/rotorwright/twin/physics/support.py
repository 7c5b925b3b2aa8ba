"""What the aircraft rests on: soft foam, two hands, or nothing. A spring with a damper, in closed form.

About yaw, with natural frequency w0 and damping z, the body of inertia I follows

    r' + 2 z w0 r + w0^2 (integral of r) = T / I

and the torque of a rotor that runs up is one decaying exponential, so the answer is one too, plus a decaying swing. For
the ripple of an unbalanced rotor, far quicker than the support, the steady answer at the frequency of the moment is
taken; that is exact for a rotor of constant speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.twin.physics.arithmetic import Maths, Number


@dataclass(frozen=True, slots=True)
class Support:
    """Spring and damper between the aircraft and the ground.

    Args:
        turn_hz: natural frequency of turning about any axis; 0 for a body that floats freely.
        shift_hz: natural frequency of moving along any axis.
        damping: of critical, below 1.
    """

    turn_hz: float
    shift_hz: float
    damping: float

    @property
    def turn_rad_s(self) -> float:
        """Natural frequency of turning, in rad/s."""
        return 2.0 * math.pi * self.turn_hz

    @property
    def shift_rad_s(self) -> float:
        """Natural frequency of moving, in rad/s."""
        return 2.0 * math.pi * self.shift_hz

    def swing(
        self, after_s: Number, *, push: Number, fades: Number, angle: Number, rate: Number, maths: Maths
    ) -> tuple[Number, Number]:
        """Return angle (rad) and rate (rad/s), `after_s` seconds after they were `angle` and `rate`.

        `push` is torque over inertia at that moment, in rad/s2, which fades as exp(-fades t).
        """
        natural = self.turn_rad_s
        slow = self.damping * natural
        turns = max(natural * math.sqrt(1.0 - self.damping * self.damping), 1e-9)
        forced = push / (fades * fades - 2.0 * slow * fades + natural * natural)
        gone = maths.exp(-fades * after_s)
        free = maths.exp(-slow * after_s)
        wave_c, wave_s = maths.cos(turns * after_s), maths.sin(turns * after_s)
        first = angle - forced
        second = (rate + fades * forced + slow * first) / turns
        now = forced * gone + free * (first * wave_c + second * wave_s)
        speed = -fades * forced * gone + free * (
            (second * turns - slow * first) * wave_c - (first * turns + slow * second) * wave_s
        )
        return now, speed

    def follow(self, at_rad_s: Number, natural_rad_s: float) -> tuple[Number, Number]:
        """Return by how much, and how late (real and imaginary part), a force on the body accelerates it.

        1 is the answer of a free body; `at_rad_s` is the frequency of the force and must not be 0.
        """
        square = at_rad_s * at_rad_s
        ahead = square - natural_rad_s * natural_rad_s
        damped = 2.0 * self.damping * natural_rad_s * at_rad_s
        size = square / (ahead * ahead + damped * damped)
        return ahead * size, damped * size


FREE = Support(turn_hz=0.0, shift_hz=0.0, damping=0.0)
