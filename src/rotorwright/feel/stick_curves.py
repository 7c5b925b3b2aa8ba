"""Stick curves: how fast the aircraft is asked to turn at each position of a stick.

A law is a formula of the stick position `stick` (-1 to 1) and of settings, with a result in deg/s. A curve is a law
with values for its settings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.errors import SettingsError
from rotorwright.feel.formula_arrays import evaluate_arrays
from rotorwright.feel.formulas import Formula, FormulaNameError, parse_formula

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.feel.formula_arrays import Array

STICK = "stick"
_FLOAT32_MAX = float(np.finfo(np.float32).max)


class CurveLawError(SettingsError):
    """A stick-curve law contradicts itself: its range, its step, or its names."""

    id = "settings.curve-law"


@dataclass(frozen=True)
class Parameter:
    """One setting that a law may choose: its range and, unless it is a 32-bit float, its step.

    With a step the allowed values are minimum, minimum + step, ... up to the maximum, each as the exact decimal that
    the numbers are written as; a whole-number setting has a step of at least 1. Without one, any 32-bit float in range.
    """

    name: str
    minimum: float
    maximum: float
    step: float | None = None
    default: float | None = None

    def __post_init__(self) -> None:
        limits = (self.minimum, self.maximum)
        if not all(map(math.isfinite, limits)) or self.minimum > self.maximum or max(map(abs, limits)) > _FLOAT32_MAX:
            raise law_error(f"{self.name} has the range {self.minimum:g} to {self.maximum:g}, which is none.")
        if self.step is not None and not (math.isfinite(self.step) and self.step > 0):
            raise law_error(f"{self.name} has the step {self.step:g}; a step is larger than zero.")

    @cached_property
    def last_index(self) -> int:
        """How many steps there are from the minimum to the highest allowed value."""
        if self.step is None:
            return 0
        return math.floor((_decimal(self.maximum) - _decimal(self.minimum)) / _decimal(self.step))

    def at_index(self, index: int) -> float:
        """Return the allowed value that is `index` steps above the minimum."""
        return float(_decimal(self.minimum) + index * _decimal(self.step or 0))

    def nearest_index(self, number: float) -> int:
        """Return how many steps above the minimum the allowed value nearest to `number` is."""
        index = round((_decimal(number) - _decimal(self.minimum)) / _decimal(self.step or 1))
        return min(max(index, 0), self.last_index)

    def nearest(self, number: float) -> float:
        """Return the allowed value nearest to `number`."""
        if self.step is not None:
            return self.at_index(self.nearest_index(number))
        nearest = float(np.float32(min(max(number, self.minimum), self.maximum)))
        # The float32 nearest to a limit may lie beyond it; the setting at its limit is the limit, as it is written.
        if nearest <= np.float32(self.minimum):
            return self.minimum
        return self.maximum if nearest >= np.float32(self.maximum) else nearest

    def allows(self, number: float) -> bool:
        """Whether `number` is one of the allowed values; a number that stands for the same 32-bit float is the same."""
        return math.isfinite(number) and bool(np.float32(self.nearest(number)) == np.float32(number))


@dataclass(frozen=True, slots=True)
class CurveLaw:
    """A formula with a result in deg/s, and the settings in it that may be chosen."""

    formula: Formula
    parameters: tuple[Parameter, ...] = ()

    @classmethod
    def of(cls, text: str, *parameters: Parameter) -> CurveLaw:
        """Return the law that `text` writes in `stick` and the names of the parameters.

        Raises:
            FormulaError: the text is no formula, or it uses another name.
            CurveLawError: two parameters have one name, one is called `stick`, or one is not in the formula.
        """
        names = [parameter.name for parameter in parameters]
        formula = parse_formula(text, known={STICK, *names})
        if STICK in names or len(set(names)) < len(names):
            raise law_error(f"The names {', '.join(names)} must differ from each other and from {STICK!r}.")
        if unused := set(names) - formula.names:
            raise law_error(f"The formula does not use {', '.join(sorted(unused))}.")
        return cls(formula, parameters)

    def rates_dps(self, values: Mapping[str, Array | float], sticks: Array) -> Array:
        """Return the rates of turn in deg/s at the stick positions `sticks`.

        Raises:
            FormulaNameError: a setting has no value.
            FormulaResultError: there is no finite rate somewhere.
        """
        return evaluate_arrays(self.formula, {**values, STICK: sticks})


@dataclass(frozen=True, slots=True)
class Curve:
    """A law with a value for each of its settings."""

    law: CurveLaw
    values: Mapping[str, float]

    def __post_init__(self) -> None:
        for name in sorted(self.law.formula.names - {STICK}):
            if name not in self.values:
                raise FormulaNameError(
                    f"The stick curve needs {name}, which has no value.",
                    why=f"The settings with a value are: {', '.join(sorted(self.values)) or 'none'}.",
                    todo="Give the setting its value, or correct the law in the release book.",
                    name=name,
                )

    def rates_dps(self, sticks: Sequence[float] | Array) -> Array:
        """Return the rates of turn in deg/s at these stick positions."""
        positions = np.asarray(sticks, dtype=np.float64)
        rates = self.law.rates_dps(self.values, positions)
        return np.broadcast_to(rates, positions.shape)


@dataclass(frozen=True, slots=True)
class SampledCurve:
    """A curve as points to be drawn: stick positions from -1 to 1 and rates in deg/s."""

    sticks: tuple[float, ...]
    rates_dps: tuple[float, ...]


def stick_positions(points: int) -> Array:
    """Return `points` evenly spaced stick positions from -1 to 1; an odd number includes the exact centre."""
    return np.asarray(np.arange(points) * 2 - (points - 1), dtype=np.float64) / (points - 1)


def sample_curve(curve: Curve, *, points: int = 201) -> SampledCurve:
    """Return the curve as points to be drawn."""
    sticks = stick_positions(points)
    return SampledCurve(tuple(sticks.tolist()), tuple(curve.rates_dps(sticks).tolist()))


def _decimal(number: float) -> Fraction:
    # The shortest decimal that stands for the float: a step of 0.01 is one hundredth here, not its binary neighbour.
    return Fraction(repr(float(number)))


def law_error(what: str) -> CurveLawError:
    """Return the error for a law that cannot be meant as it is written."""
    return CurveLawError(
        what,
        why="The law of a stick curve comes from a release book, and this one cannot be meant so.",
        todo="Correct the law in the release book.",
    )
