"""Stick curves of a refit as they stand in the sheet."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

from tests.unit.changeover.test_refitting import FIFTH, NEW, OLD, STICK
from tests.unit.settings.builders import Pair, about, notes

from rotorwright.changeover.refitting import RefitCurves, curves_of, refit_sheet
from rotorwright.report.refit_figure import refit_drawings, refit_figure
from rotorwright.report.sheet_html import render_sheet
from rotorwright.settings.sheet import CarryOverSheet

LINE = ((0.0, 0.0), (100.0, 600.0))
CURVES = RefitCurves(("BEND", "TOP"), LINE, ((0.0, 0.0), (100.0, 500.0)), ((0.0, 0.0), (100.0, 400.0)))


def names_drawn(svg: str) -> list[str]:
    return re.findall(r'<text class="name [^>]*>([^<]*)</text>', svg)


def refitted(text: str) -> tuple[Pair, CarryOverSheet]:
    pair = Pair(OLD, NEW, notes(text))
    made = pair.sheet(TOP=1200, BEND=60)
    return pair, refit_sheet(made, notes=pair.notes, old_catalogue=OLD, new_catalogue=NEW)


def test_the_three_curves_are_drawn_and_named_with_units() -> None:
    svg = refit_figure(CURVES)
    ET.fromstring(svg)
    assert names_drawn(svg) == ["new default", "refit", "before"]
    assert svg.count("<polyline") == 3
    assert svg.count("expected") == 1
    for words in ("stick (%)", "rate of turn (deg/s)", "BEND, TOP"):
        assert words in svg


def test_where_nothing_could_be_refitted_the_old_and_the_default_curve_are_drawn() -> None:
    assert names_drawn(refit_figure(replace(CURVES, refit=CURVES.default))) == ["new default", "before"]


def test_the_curve_is_drawn_in_the_line_of_the_sheet_whether_decided_or_held() -> None:
    for text in (STICK, FIFTH):
        pair, sheet = refitted(text)
        drawings = refit_drawings(sheet, notes=pair.notes, old_catalogue=OLD, new_catalogue=NEW)
        assert list(drawings) == ["BEND"]
        curves = curves_of(sheet, about(sheet, "TOP"), notes=pair.notes, old_catalogue=OLD, new_catalogue=NEW)
        assert curves is not None
        assert drawings["BEND"] == refit_figure(curves)
        page = render_sheet(sheet, old=OLD, new=NEW, drawings=drawings)
        assert page.count("<polyline") == 3


def test_a_sheet_without_refits_has_no_drawings() -> None:
    pair = Pair(OLD, NEW)
    assert refit_drawings(pair.sheet(TOP=1200), notes=pair.notes, new_catalogue=NEW) == {}
