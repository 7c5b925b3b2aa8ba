"""Refitted stick curves as drawings: how fast the aircraft turned, will turn, and would with the new defaults."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.refitting import curves_of
from rotorwright.report.data import Plot, Trace
from rotorwright.report.plot import draw_plot

if TYPE_CHECKING:
    from rotorwright.changeover.refitting import RefitCurves
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.note_entries import ChangeNotes
    from rotorwright.settings.sheet import CarryOverSheet


def refit_figure(curves: RefitCurves) -> str:
    """Return an `<svg>` element with the old, the refitted and the new default curve over half the stick.

    The old curve is dashed, so that it shows where the refit covers it.
    """
    traces = [
        Trace(label="new default", points=curves.default),
        Trace(label="refit", points=curves.refit),
        Trace(label="before", points=curves.old, is_expected=True),
    ]
    return draw_plot(
        Plot(
            title=f"Rate of turn over the stick: {', '.join(curves.names)}",
            x_label="stick",
            x_unit="%",
            y_label="rate of turn",
            y_unit="deg/s",
            traces=tuple(traces if curves.refit != curves.default else traces[::2]),
        )
    )


def refit_drawings(
    sheet: CarryOverSheet,
    *,
    notes: ChangeNotes | None,
    old_catalogue: Catalogue | None = None,
    new_catalogue: Catalogue | None = None,
) -> dict[str, str]:
    """Return the drawings of all refitted stick curves of a sheet, by the first found name of their line."""
    drawn = {}
    for decision in sheet.decisions:
        curves = curves_of(sheet, decision, notes=notes, old_catalogue=old_catalogue, new_catalogue=new_catalogue)
        if curves is not None:
            drawn[decision.found[0]] = refit_figure(curves)
    return drawn
