"""Four rotors without propellers: they run up and down, their imbalance shakes, their inertia turns the body.

A rotor follows its command with a first-order lag, one time constant for running up and one for running down, so speed
and angle are closed formulas between commands. Without propellers nothing pushes the air: the only moment on the body
about its down axis is the reaction to the rotor's change of speed, against its direction while it runs up. (The drag of
bell and bearing at constant speed is left out; the bearing's is a force between body and rotor anyway.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.twin.physics.arithmetic import Number, Timeline, maths_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.twin.physics.support import Support

_LONG_AGO_S = -1e9
_TURNS = 2.0 * math.pi


class RotorPlace(StrEnum):
    """Where the four rotors are, clockwise seen from above."""

    FRONT_RIGHT = "front-right"
    REAR_RIGHT = "rear-right"
    REAR_LEFT = "rear-left"
    FRONT_LEFT = "front-left"


SIDES = {  # signs of forward and right
    RotorPlace.FRONT_RIGHT: (1.0, 1.0),
    RotorPlace.REAR_RIGHT: (-1.0, 1.0),
    RotorPlace.REAR_LEFT: (-1.0, -1.0),
    RotorPlace.FRONT_LEFT: (1.0, -1.0),
}


@dataclass(frozen=True, slots=True)
class RotorSpec:
    """One motor with its rotor.

    Args:
        place: which of the four.
        forward_m, right_m: where its axis is, from the centre of mass.
        direction: +1 clockwise seen from above (positive about down), -1 counter-clockwise.
        inertia_kg_m2: of what turns.
        spin_up_s, spin_down_s: time constants.
        start_hz, full_hz: turns per second at a command just above nothing and at full command.
        imbalance_kg_m: mass times its distance from the axis.
        imbalance_at_rad: where on the rotor that mass is.
        harmonics: second, third, ... against the first.
        roughness_m_s2: broadband shaking at 100 turns per second (spread), grows with speed.
        magnets: poles of the bell, twice the pairs of poles.
        is_dead: it never turns.
        keeps_turning: an end of command is not heard.
    """

    place: RotorPlace
    forward_m: float
    right_m: float
    direction: int
    inertia_kg_m2: float
    spin_up_s: float
    spin_down_s: float
    start_hz: float
    full_hz: float
    imbalance_kg_m: float
    imbalance_at_rad: float
    harmonics: tuple[float, ...] = ()
    roughness_m_s2: float = 0.0
    magnets: int = 14
    is_dead: bool = False
    keeps_turning: bool = False

    def speed_at(self, command: float) -> float:
        """Return the turns per second that a command (0 to 1) leads to in the end."""
        if command <= 0.0 or self.is_dead:
            return 0.0
        return self.start_hz + (self.full_hz - self.start_hz) * min(1.0, command)


@dataclass(frozen=True, slots=True)
class RotorMoment:
    """One rotor at one moment, or at (n,) moments.

    Args:
        speed_rad_s, angle_rad: of the rotor in its own direction, never negative.
        gain_rad_s2: change of speed.
        swing_rad, swing_rate_rad_s: what its reaction has made of the body's yaw.
    """

    speed_rad_s: Number
    angle_rad: Number
    gain_rad_s2: Number
    swing_rad: Number
    swing_rate_rad_s: Number


class Rotors:
    """The rotors of one aircraft and the commands that they got.

    Args:
        specs: one for each output of the wiring.
        output_of: which output each place is wired to, the first is 1. That is the truth, whatever the settings say.
        yaw_inertia_kg_m2: of the body.
        support: what the body rests on.
    """

    def __init__(
        self,
        specs: Sequence[RotorSpec],
        output_of: Mapping[RotorPlace, int],
        *,
        yaw_inertia_kg_m2: float,
        support: Support,
    ) -> None:
        self.specs = tuple(specs)
        self.output_of = dict(output_of)
        self._support = support
        self._push = [each.direction * each.inertia_kg_m2 / yaw_inertia_kg_m2 for each in self.specs]
        # Columns: start, speed, angle, target speed, 1 / time constant, swing, swing rate
        self._runs = [Timeline((_LONG_AGO_S, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0)) for _ in self.specs]
        self._number_at = {self.output_of[each.place]: number for number, each in enumerate(self.specs)}

    def command(self, output: int, value: float, at_s: float, until_s: float | None = None) -> None:
        """Run the motor at `output` with `value` (0 to 1) from `at_s` on, and let it stop at `until_s`.

        A later command for the same output takes the place of what was planned. An output with no motor does nothing.
        """
        number = self._number_at.get(output)
        if number is None:
            return
        self._aim(number, value, at_s)
        if until_s is not None:
            self._aim(number, 0.0, max(until_s, at_s))

    def stop(self, at_s: float) -> None:
        """Tell all motors to stop."""
        for number in range(len(self.specs)):
            self._aim(number, 0.0, at_s)

    def cut_power(self, at_s: float) -> None:
        """Take the battery out: every motor stops, also one that does not listen."""
        for number in range(len(self.specs)):
            self._put(number, 0.0, at_s)

    def moment(self, number: int, at_s: Number) -> RotorMoment:
        """Return rotor `number` (place in `specs`) at `at_s`, a float or an (n,) array."""
        maths = maths_of(at_s)
        start_s, speed, angle, target, fades, swing, swing_rate = self._runs[number].at(at_s)
        after_s = at_s - start_s
        lead = speed - target
        gone = maths.exp(-fades * after_s)
        push = self._push[number] * fades * lead
        yaw, yaw_rate = self._support.swing(after_s, push=push, fades=fades, angle=swing, rate=swing_rate, maths=maths)
        return RotorMoment(
            target + lead * gone,
            angle + target * after_s + lead * (1.0 - gone) / fades,
            -fades * lead * gone,
            yaw,
            yaw_rate,
        )

    def speed_hz(self, output: int, at_s: Number) -> Number:
        """Return the turns per second of what is wired to `output`."""
        return self.moment(self._number_at[output], at_s).speed_rad_s / _TURNS

    def reaction_n_m(self, at_s: Number) -> Number:
        """Return the moment of all rotors on the body about its down axis."""
        total: Number = 0.0 * at_s
        for number, spec in enumerate(self.specs):
            total = total - spec.direction * spec.inertia_kg_m2 * self.moment(number, at_s).gain_rad_s2
        return total

    def ever_turned(self, number: int) -> bool:
        """Answer whether this rotor was ever told to turn, and did."""
        return len(self._runs[number]) > 1

    def turning(self, at_s: float) -> int:
        """Return how many rotors turn, or are about to."""
        return sum(
            bool(run.at(at_s)[3] > 0.0 or self.moment(number, at_s).speed_rad_s > 1.0)
            for number, run in enumerate(self._runs)
        )

    def is_turning(self, at_s: float) -> bool:
        """Answer whether any rotor turns, or is about to."""
        return self.turning(at_s) > 0

    def _aim(self, number: int, value: float, at_s: float) -> None:
        spec = self.specs[number]
        if value <= 0.0 and spec.keeps_turning:
            return
        target = _TURNS * spec.speed_at(value)
        run = self._runs[number]
        run.cut(at_s)
        if run.last[3] != target:
            self._put(number, target, at_s)

    def _put(self, number: int, target: float, at_s: float) -> None:
        spec = self.specs[number]
        now = self.moment(number, at_s)
        over_s = spec.spin_up_s if target > now.speed_rad_s else spec.spin_down_s
        row = (now.speed_rad_s, now.angle_rad, target, 1.0 / over_s, now.swing_rad, now.swing_rate_rad_s)
        self._runs[number].put((at_s, *row))
