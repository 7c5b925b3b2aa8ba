"""`compare-flights`: two recorded flights, what changed on each axis, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from rotorwright.cli.console import err, out, print_json
from rotorwright.cli.files import require_free_name
from rotorwright.cli.progress import shown_progress
from rotorwright.hangar.files import write_kept_file
from rotorwright.hangar.recordings import read_recording
from rotorwright.report.flights_html import CHANGE_MARKS, FlightSide, quantity_cells, render_flights
from rotorwright.signals.changes import Change
from rotorwright.signals.comparison import compare_flights

if TYPE_CHECKING:
    from rotorwright.hangar.recordings import ReadRecording
    from rotorwright.signals.changes import AxisComparison, FlightComparison


@dataclass(frozen=True, slots=True)
class FlightsRequest:
    """What is asked for: the two recordings, the column map, and a page to write."""

    before: Path
    after: Path
    columns: Path | None = None
    html: Path | None = None
    as_json: bool = False


def compare_recorded_flights(request: FlightsRequest) -> int:
    """Compare and say; 0: every axis is the same or better, 1: one is worse, or of one nobody can tell."""
    if request.html is not None:
        require_free_name(request.html)
    with shown_progress(err) as line:
        before = read_recording(request.before, column_map=request.columns, progress=line.show)
        after = read_recording(request.after, column_map=request.columns, progress=line.show)
        comparison = compare_flights(before.flight, after.flight, progress=line.show)
    if request.html is not None:
        page = render_flights(comparison, _side(request.before, before), _side(request.after, after))
        write_kept_file(request.html, page.encode())
    if request.as_json:
        print_json(_without_nan(_facts(request, before, after, comparison)))
    else:
        _print(request, before, after, comparison)
    return 0 if comparison.change in {Change.SAME, Change.BETTER} else 1


def _side(path: Path, read: ReadRecording) -> FlightSide:
    return FlightSide(path.name, read.said)


def _facts(
    request: FlightsRequest, before: ReadRecording, after: ReadRecording, comparison: FlightComparison
) -> dict[str, object]:
    return {
        "before": _read_facts(request.before, before),
        "after": _read_facts(request.after, after),
        "html": None if request.html is None else str(request.html),
        **comparison.as_json(),
    }


def _read_facts(path: Path, read: ReadRecording) -> dict[str, object]:
    return {
        "file": str(path),
        "rows": len(read.flight.at_s),
        "columns": [
            {
                "quantity": ".".join(filter(None, place)),
                "column": entry.column,
                "unit": entry.unit,
                "scale": entry.scale,
                "poles": entry.poles,
                "why": entry.why,
            }
            for place, entry in read.column_map.items()
        ],
        "said": list(read.said),
    }


def _without_nan(value: object) -> object:
    """Return plain data in which what is no number is null: JSON has no NaN."""
    if isinstance(value, dict):
        return {key: _without_nan(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _print(request: FlightsRequest, before: ReadRecording, after: ReadRecording, comparison: FlightComparison) -> None:
    _say(f"Before: {request.before}")
    for line in before.said:
        _say(f"  {line}")
    _say(f"After: {request.after}")
    known = set(before.said)
    again = sum(line in known for line in after.said)
    if again:
        _say(f"  As before: {again} of {len(after.said)} lines are word for word the same.")
    for line in after.said:
        if line not in known:
            _say(f"  {line}")
    for part in comparison.parts:
        _print_part(part)
    _say("")
    for line in comparison.said:
        _say(f"Note: {line}")
    if request.html is not None:
        _say(f"Page with figures: {request.html}")
    _say(f"Together: {comparison.change}.")


def _print_part(part: AxisComparison) -> None:
    _say("")
    _say(f"{CHANGE_MARKS[part.change].plain_sign} {part.axis}: {part.change}. {part.sentence}")
    if not part.quantities:
        return
    table = Table(box=None, pad_edge=False, show_edge=False)
    for column in ("quantity", "before", "after", "unit", "change (99 % interval)", "verdict"):
        table.add_column(column, overflow="fold", justify="right" if column in {"before", "after"} else "left")
    for quantity in part.quantities:
        cells = quantity_cells(quantity)
        row = (cells.name, cells.before, cells.after, cells.unit, cells.change, cells.mark.words)
        table.add_row(*(escape(each) for each in row))
    out.print(table)
    for quantity in part.quantities:
        if quantity.why:
            _say(f"  {quantity.name}: {quantity.why}")


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
