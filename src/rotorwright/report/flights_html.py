"""Two flights compared, as one HTML file that needs nothing else, in the look of the job card."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import rotorwright
from rotorwright.report.data import Plot, Trace
from rotorwright.report.html import page_environment
from rotorwright.report.words import BAD, CAUTIONS, DOUBT, GOOD, QUIET, Mark
from rotorwright.signals.changes import Change

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.signals.changes import ComparisonFigure, FlightComparison, Quantity

CHANGE_MARKS: dict[Change, Mark] = {
    Change.SAME: Mark("=", "[==]", "same", GOOD),
    Change.BETTER: Mark("\N{CHECK MARK}", "[ok]", "better", GOOD),
    Change.WORSE: Mark("\N{MULTIPLICATION X}", "[!!]", "worse", BAD),
    Change.CANNOT_TELL: Mark("?", "[??]", "cannot tell", DOUBT),
}
NOT_RECORDED = Mark("\N{MIDDLE DOT}", "[  ]", "not there", QUIET)
NO_VALUE = "\N{EN DASH}"


@dataclass(frozen=True, slots=True)
class FlightSide:
    """One of the two flights, for people: the file, and what was taken for what and is odd about it."""

    file: str
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class QuantityCells:
    """One quantity as the cells of a table.

    Args:
        name: what it is.
        before: its value before, without the unit.
        after: its value after.
        change: how much it changed, with the confidence interval.
        unit: of before and after.
        mark: the verdict.
        why: why nobody can tell; empty where somebody can.
    """

    name: str
    before: str
    after: str
    change: str
    unit: str
    mark: Mark
    why: str


def quantity_cells(quantity: Quantity) -> QuantityCells:
    """Return a quantity as text, with three figures and its confidence interval."""
    return QuantityCells(
        quantity.name,
        _value(quantity.before),
        _value(quantity.after),
        _change(quantity),
        quantity.unit,
        NOT_RECORDED if quantity.is_missing else CHANGE_MARKS[quantity.change],
        quantity.why,
    )


def _value(value: float) -> str:
    return f"{value:.3g}" if math.isfinite(value) else NO_VALUE


def _change(quantity: Quantity) -> str:
    if not math.isfinite(quantity.difference):
        return NO_VALUE
    middle, *ends = (_step(quantity, value) for value in (quantity.difference, quantity.low, quantity.high))
    return f"{middle} ({ends[0]} to {ends[1]})"


def _step(quantity: Quantity, value: float) -> str:
    if not math.isfinite(value):
        return "not known"
    return f"{value:+.1%}".replace("%", " %") if quantity.is_ratio else f"{value:+.2g}"


def render_flights(comparison: FlightComparison, before: FlightSide, after: FlightSide) -> str:
    """Return a complete HTML page. The same comparison gives the same text."""
    return (
        page_environment()
        .get_template("flights.html.j2")
        .render(
            comparison=comparison,
            stamp=CHANGE_MARKS[comparison.change],
            marks=CHANGE_MARKS,
            parts=[(part, [quantity_cells(each) for each in part.quantities]) for part in comparison.parts],
            plots=_plots(comparison.figures),
            sides=(("before", before), ("after", after)),
            first_flight=dict(CAUTIONS)["First flight"],
            made_by=f"Rotorwright {rotorwright.__version__}",
        )
    )


def _plots(figures: Sequence[ComparisonFigure]) -> list[Plot]:
    return [
        Plot(
            title=figure.title,
            x_label=figure.x_label,
            x_unit=figure.x_unit,
            y_label=figure.y_label,
            y_unit=figure.y_unit,
            traces=tuple(
                Trace(label=label, points=points, is_expected=index == 0)
                for index, (label, points) in enumerate(figure.curves)
            ),
        )
        for figure in figures
    ]
