"""The job card as one HTML file that needs nothing else: no script, no font, no picture, no network.

Everything variable is escaped, and characters that steer are made visible. A content policy in the page forbids what
the page does not use, so even a mistake here could not run or fetch anything.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from rotorwright.report import words
from rotorwright.report.plain import moment, number, visible
from rotorwright.report.plot import draw_plot

if TYPE_CHECKING:
    from jinja2 import Environment

    from rotorwright.report.data import ReportData

# Groups longer than this start folded: the few lines that a person decided come before hundreds that stayed the same.
FOLDED_FROM_LINES = 24


def render_report(data: ReportData) -> str:
    """Return the job card of one changeover as a complete HTML page. The same data gives the same text."""
    return page_environment().get_template("job_card.html.j2").render(data=data)


@cache
def page_environment() -> Environment:
    """Return what every page is made with: all texts escaped, characters that steer made visible."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - only a report needs it

    environment = Environment(
        loader=PackageLoader("rotorwright.report"),
        autoescape=True,
        finalize=_finalize,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(number=number, moment=moment, plot=_plot)
    environment.globals.update(
        verdict_marks=words.VERDICT_MARKS,
        stage_marks=words.STAGE_MARKS,
        outcome_marks=words.OUTCOME_MARKS,
        outcome_sentence=words.outcome_sentence,
        cautions=words.CAUTIONS,
        folded_from_lines=FOLDED_FROM_LINES,
    )
    return environment


def _finalize(value: object) -> object:
    # Markup is a str too, but it is what the template itself made and is already clean.
    return visible(value) if type(value) is str else value


def _plot(plot: object) -> object:
    from markupsafe import Markup  # noqa: PLC0415 - comes with jinja2

    from rotorwright.report.data import Plot  # noqa: PLC0415

    assert isinstance(plot, Plot)
    return Markup(draw_plot(plot))  # noqa: S704 - every text in it went through html.escape
