"""What a bench check ends in: a verdict, the numbers behind it, what was found wrong and what to do about it.

A check that lacks what it needs is not shown. It never counts as passed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class Verdict(StrEnum):
    """How a check ended."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_SHOWN = "not shown"


@dataclass(frozen=True, slots=True)
class Measured:
    """One number of the evidence: unit, what it is held against in words, whether it holds (None: only told)."""

    name: str
    value: float
    unit: str
    limit: str = ""
    is_met: bool | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong, or that could not be seen.

    Args:
        kind: short stable word for it, e.g. `mounting-differs`.
        words: the sentence that a tired person needs.
        advice: what to do; with the setting's role and value where a setting is to be changed.
        is_dangerous: whether flying with it can hurt somebody.
        is_missing: whether it only says that something could not be seen; such a finding fails nothing.
        settings: new values by role, as text, where setting them is the whole repair.
    """

    kind: str
    words: str
    advice: str
    is_dangerous: bool = False
    is_missing: bool = False
    settings: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Curve:
    """One named line of a figure; `is_expected` for what it should be."""

    label: str
    points: tuple[tuple[float, float], ...]
    is_expected: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A small picture of what was measured."""

    title: str
    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    curves: tuple[Curve, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A small table of words: the first row names the columns."""

    title: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CheckResult:
    """How one check ended, with its evidence.

    Args:
        check: name of the check, e.g. `orientation`.
        verdict: follows from the findings; see `judged`.
        sentence: the one sentence that a person needs.
        measured: the numbers.
        findings: what is wrong or could not be seen, the most dangerous first.
        figures: at most a few, thinned to some hundred points each.
        grids: tables of words.
    """

    check: str
    verdict: Verdict
    sentence: str
    measured: tuple[Measured, ...] = ()
    findings: tuple[Finding, ...] = ()
    figures: tuple[Figure, ...] = ()
    grids: tuple[Grid, ...] = ()

    @property
    def is_dangerous(self) -> bool:
        """Whether something that can hurt somebody was found."""
        return any(one.is_dangerous and not one.is_missing for one in self.findings)

    def as_json(self) -> dict[str, Any]:
        """Return the result as plain data."""
        return {
            "check": self.check,
            "verdict": str(self.verdict),
            "sentence": self.sentence,
            "measured": [
                {"name": one.name, "value": _told(one.value), "unit": one.unit, "limit": one.limit, "met": one.is_met}
                for one in self.measured
            ],
            "findings": [
                {
                    "kind": one.kind,
                    "words": one.words,
                    "advice": one.advice,
                    "dangerous": one.is_dangerous,
                    "missing": one.is_missing,
                    "settings": dict(one.settings),
                }
                for one in self.findings
            ],
            "figures": [_figure_data(one) for one in self.figures],
            "grids": [{"title": one.title, "rows": [list(row) for row in one.rows]} for one in self.grids],
        }


def judged(
    check: str,
    *,
    sentence: str,
    measured: Iterable[Measured] = (),
    findings: Iterable[Finding] = (),
    figures: Iterable[Figure] = (),
    grids: Iterable[Grid] = (),
) -> CheckResult:
    """Return a result whose verdict follows from its findings.

    Anything found wrong fails the check. Else anything that could not be seen leaves it not shown. Else it passed. The
    sentence is that of a passed check; another verdict takes the words of its first finding.
    """
    ordered = sorted(findings, key=lambda one: (one.is_missing, not one.is_dangerous))
    return CheckResult(
        check,
        _verdict(ordered),
        ordered[0].words if ordered else sentence,
        tuple(measured),
        tuple(ordered),
        tuple(figures),
        tuple(grids),
    )


def missing(kind: str, words: str, advice: str) -> Finding:
    """Return a finding that only says that something could not be seen."""
    return Finding(kind, words, advice, is_missing=True)


def not_shown(check: str, kind: str, words: str, advice: str) -> CheckResult:
    """Return the result of a check of which nothing could be seen."""
    return judged(check, sentence="", findings=[missing(kind, words, advice)])


def thinned(points: Iterable[tuple[float, float]], *, most: int = 300) -> tuple[tuple[float, float], ...]:
    """Return at most `most` of the points, evenly chosen, as plain numbers."""
    every = [(float(x), float(y)) for x, y in points]
    step = max(1, -(-len(every) // most))
    return tuple(every[::step])


def _verdict(findings: list[Finding]) -> Verdict:
    if any(not one.is_missing for one in findings):
        return Verdict.FAILED
    return Verdict.NOT_SHOWN if findings else Verdict.PASSED


def _told(value: float) -> float | None:
    """Return a number as JSON can say it: nothing for one that is none."""
    return float(value) if math.isfinite(value) else None


def _figure_data(figure: Figure) -> dict[str, Any]:
    return {
        "title": figure.title,
        "x": [figure.x_label, figure.x_unit],
        "y": [figure.y_label, figure.y_unit],
        "curves": [
            {"label": one.label, "expected": one.is_expected, "points": [[_told(x), _told(y)] for x, y in one.points]}
            for one in figure.curves
        ],
    }
