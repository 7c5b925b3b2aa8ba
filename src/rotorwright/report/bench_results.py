"""Bench checks on the job card: from the result that was kept beside the journal to words, numbers and small plots."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from rotorwright.bench.verdicts import Verdict as BenchVerdict
from rotorwright.report.data import Evidence, Plot, Proof, Trace, Verdict

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

MOST_ENTRIES = 24
"""Numbers shown of one check; the kept file has all of them."""

_VERDICTS = {
    BenchVerdict.PASSED: Verdict.PASSED,
    BenchVerdict.FAILED: Verdict.FAILED,
    BenchVerdict.NOT_SHOWN: Verdict.UNSURE,
}


def proof_of(data: bytes, *, name: str) -> Proof:
    """Return a kept result as the job card shows it."""
    result: Mapping[str, Any] = json.loads(data)
    more = [finding for finding in result["findings"] if finding["words"] != result["sentence"]]
    return Proof(
        name=name,
        verdict=_VERDICTS[BenchVerdict(result["verdict"])],
        words=" ".join([result["sentence"], *(finding["words"] for finding in more)]),
        entries=tuple(_entries(result["measured"]))[:MOST_ENTRIES],
        plots=tuple(_plot(figure) for figure in result["figures"]),
    )


def _entries(measured: Iterable[Mapping[str, Any]]) -> Iterable[Evidence]:
    for one in measured:
        if one["value"] is None:
            continue
        met = {True: Verdict.PASSED, False: Verdict.FAILED}.get(one["met"])
        limit = f" ({one['limit']})" if one["limit"] else ""
        yield Evidence(label=one["name"] + limit, value=_shown(one["value"]), unit=one["unit"], verdict=met)


def _shown(value: float) -> int | str:
    """Return a number as a person reads it: four digits are more than any of these has."""
    return int(value) if value == int(value) and abs(value) < 1e9 else f"{value:.4g}"


def _plot(figure: Mapping[str, Any]) -> Plot:
    x_label, x_unit = figure["x"]
    y_label, y_unit = figure["y"]
    return Plot(
        title=figure["title"],
        x_label=x_label,
        x_unit=x_unit,
        y_label=y_label,
        y_unit=y_unit,
        traces=tuple(
            Trace(
                label=curve["label"],
                points=tuple((x, y) for x, y in curve["points"] if x is not None and y is not None),
                is_expected=curve["expected"],
            )
            for curve in figure["curves"]
        ),
    )
