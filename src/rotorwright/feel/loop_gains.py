"""Gains of the rate controller: from the units and the loop rate of one release to those of another.

Every release stores the same three gains in some units. In plain units, the output is a share of the full turning
command (1 is full), the rate error is in rad/s, and time is in seconds:

    output = p * error + i * integral of error + d * slope of error

All arithmetic is in exact fractions, so a conversion there and back gives the very same numbers; pi stands in it as the
64-bit float nearest to it, and cancels whenever both releases use degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from rotorwright.errors import SettingsError

_RAD_PER_DEG = Fraction(math.pi) / 180


class GainsError(SettingsError):
    """Gains have no equal in other units, or the units contradict themselves."""

    id = "settings.gains"


class AngleUnit(StrEnum):
    """The unit in which a controller sees the rate error (per second)."""

    DEGREE = "deg"
    RADIAN = "rad"


class TimeBase(StrEnum):
    """What the integral and the slope count: seconds, or turns of the loop."""

    SECOND = "second"
    LOOP = "loop"


class Structure(StrEnum):
    """How the three numbers act together (textbook names).

    Parallel: three gains p, i, d. Standard: a gain p, an integral time and a derivative time, with i = p / integral
    time and d = p * derivative time; an integral time of zero stands for no integral part.
    """

    PARALLEL = "parallel"
    STANDARD = "standard"


@dataclass(frozen=True, slots=True)
class Gains:
    """Three numbers of a controller; in plain units, or as settings hold them."""

    p: Fraction
    i: Fraction = Fraction(0)
    d: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class GainUnits:
    """The units in which a release stores the gains of one axis.

    Args:
        angle: unit of the rate error.
        full_output: the number that stands for the full turning command: 1, 100, 1000, ...
        time: what the integral and the slope count.
        loop_hz: the rate at which the controller runs; needed where they count loops.
        structure: how the three numbers act together.
        stored_per_gain: by which number each gain was multiplied to be stored.
    """

    angle: AngleUnit = AngleUnit.RADIAN
    full_output: Fraction = Fraction(1)
    time: TimeBase = TimeBase.SECOND
    loop_hz: Fraction | None = None
    structure: Structure = Structure.PARALLEL
    stored_per_gain: Gains = Gains(Fraction(1), Fraction(1), Fraction(1))

    def __post_init__(self) -> None:
        scales = self.stored_per_gain
        if min(self.full_output, scales.p, scales.i, scales.d) <= 0:
            raise _gains_error("Full output and stored numbers per gain must be above zero.")
        if self.loop_hz is not None and self.loop_hz <= 0:
            raise _gains_error(f"A loop cannot run at {float(self.loop_hz):g} Hz.")
        if self.time is TimeBase.LOOP and self.loop_hz is None:
            raise _gains_error("Gains that count loops need the loop rate.")

    def to_plain(self, stored: Gains) -> Gains:
        """Return the gains in plain units that the settings `stored` stand for."""
        scales, per = self.stored_per_gain, self._plain_per_unit
        gain, integral, slope = stored.p / scales.p, stored.i / scales.i, stored.d / scales.d
        if self.structure is Structure.STANDARD:
            integral, slope = gain / integral if integral else Fraction(0), gain * slope
        return Gains(gain * per, integral * per * self._loops_per_s, slope * per / self._loops_per_s)

    def to_stored(self, plain: Gains) -> Gains:
        """Return what the settings have to hold for gains in plain units; not rounded to any type.

        Raises:
            GainsError: the standard structure has no times for gains without a proportional part.
        """
        per, scales = self._plain_per_unit, self.stored_per_gain
        gain, integral, slope = plain.p / per, plain.i / per / self._loops_per_s, plain.d / per * self._loops_per_s
        if self.structure is Structure.STANDARD:
            if not gain and (integral or slope):
                raise _gains_error("Without a proportional gain there are no integral and derivative times.")
            integral, slope = gain / integral if integral else Fraction(0), slope / gain if gain else Fraction(0)
        return Gains(gain * scales.p, integral * scales.i, slope * scales.d)

    @property
    def _plain_per_unit(self) -> Fraction:
        per_angle = 1 / _RAD_PER_DEG if self.angle is AngleUnit.DEGREE else Fraction(1)
        return per_angle / self.full_output

    @property
    def _loops_per_s(self) -> Fraction:
        return self.loop_hz if self.time is TimeBase.LOOP and self.loop_hz else Fraction(1)


def convert_gains(stored: Gains, *, old: GainUnits, new: GainUnits) -> Gains:
    """Return what the settings of the new release have to hold for the gains `stored` in the old one.

    The result is exact and not rounded to the type of any setting. It has the same effect as long as both loops are
    fast; `nominal_craft` shows what a slower or faster loop does to it.

    Raises:
        GainsError: there are no equal gains in the new units.
    """
    return new.to_stored(old.to_plain(stored))


def _gains_error(what: str) -> GainsError:
    return GainsError(
        what,
        why="The units of the gains come from a release book, and the gains from the settings.",
        todo="Correct the units in the release book, or set the new gains by hand.",
    )
