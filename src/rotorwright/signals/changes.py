"""What a comparison of two flights says: quantities with confidence intervals, a verdict and a sentence per axis.

A quantity has changed when its whole confidence interval lies beyond `least`, the smallest difference that matters. It
is the same when its whole interval lies within `tolerated`. Otherwise nobody can tell. So noise is not called a
change, and a recording too short to show anything is not called the same.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any, TypeAlias

Points: TypeAlias = tuple[tuple[float, float], ...]


class Change(StrEnum):
    """How the aircraft after the change stands to the one before."""

    SAME = "same"
    BETTER = "better"
    WORSE = "worse"
    CANNOT_TELL = "cannot tell"


class Family(StrEnum):
    """What a quantity is about."""

    NOISE = "noise"
    RESPONSE = "response"


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity, before against after.

    Args:
        name: what it is, in words.
        family: noise or response.
        unit: unit of `before` and `after`.
        before: value before, NaN where it could not be had.
        after: value after, NaN where it could not be had.
        is_ratio: whether `difference`, `low`, `high` are after / before - 1; else they are after - before in `unit`.
        difference: how much it changed, NaN where it could not be had.
        low: lower end of the confidence interval of the difference.
        high: upper end of the confidence interval of the difference.
        change: the verdict on this quantity.
        is_missing: whether it was not recorded in one of the flights, or never occurred there.
        is_key: whether nothing is called the same without it.
        why: why it could not be told; empty where it was.
    """

    name: str
    family: Family
    unit: str
    before: float
    after: float
    is_ratio: bool
    difference: float
    low: float
    high: float
    change: Change
    is_missing: bool = False
    is_key: bool = False
    why: str = ""

    @property
    def words(self) -> str:
        """The quantity in words: its name, how much it changed, before and after."""
        if self.change is Change.CANNOT_TELL:
            return f"{self.name}: {self.why}"
        amount = f"{self.difference:+.0%}" if self.is_ratio else f"{self.difference:+.2g} {self.unit}".rstrip()
        return f"{self.name} {amount} ({self.before:.3g} to {self.after:.3g} {self.unit}".rstrip() + ")"


@dataclass(frozen=True, slots=True)
class AxisComparison:
    """The comparison of one axis, or of the motors.

    Args:
        axis: roll, pitch, yaw, or motors.
        change: the verdict.
        sentence: the one sentence that a person needs.
        quantities: everything that was compared, and what could not be.
    """

    axis: str
    change: Change
    sentence: str
    quantities: tuple[Quantity, ...] = ()


@dataclass(frozen=True, slots=True)
class ComparisonFigure:
    """A small picture: curves as (label, points)."""

    title: str
    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    curves: tuple[tuple[str, Points], ...]


@dataclass(frozen=True, slots=True)
class FlightComparison:
    """Two flights, compared.

    Args:
        axes: roll, pitch, yaw, in this order.
        motors: what is not of one axis: the share of time with a motor at its limit.
        figures: spectra and step responses, before and after.
        said: what a person should know about the recordings: what was left out, and why.
    """

    axes: tuple[AxisComparison, ...]
    motors: AxisComparison
    figures: tuple[ComparisonFigure, ...] = ()
    said: tuple[str, ...] = ()

    @property
    def parts(self) -> tuple[AxisComparison, ...]:
        """The three axes and the motors."""
        return (*self.axes, self.motors)

    @property
    def change(self) -> Change:
        """The verdict on the whole: the worst of its parts; missing motors alone do not make it unknown."""
        found = {one.change for one in self.axes}
        for one in (Change.WORSE, Change.CANNOT_TELL, Change.BETTER):
            if one in found or (one in {Change.WORSE, Change.BETTER} and self.motors.change is one):
                return one
        return Change.SAME

    def as_json(self) -> dict[str, Any]:
        """Return the comparison as plain data; numbers that could not be had are null."""
        return {
            "change": str(self.change),
            "parts": [_part_data(one) for one in self.parts],
            "figures": [asdict(one) for one in self.figures],
            "said": list(self.said),
        }


def _part_data(part: AxisComparison) -> dict[str, Any]:
    return {
        "axis": part.axis,
        "change": str(part.change),
        "sentence": part.sentence,
        "quantities": [
            {key: None if value != value else value for key, value in asdict(one).items()}  # noqa: PLR0124 -- NaN
            for one in part.quantities
        ],
    }
