"""The first hover proved: its recording against one from before the update."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.bench.verdicts import CheckResult, Curve, Figure, Finding, Measured, Verdict, judged, missing
from rotorwright.changeover.errors import NotReadyToProveError
from rotorwright.changeover.proving.settling import failed, note_result
from rotorwright.signals.changes import Change
from rotorwright.signals.comparison import compare_flights

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.signals.changes import AxisComparison, FlightComparison
    from rotorwright.signals.flight import Flight

CHECK = "flight"


def prove_flights(
    shop: Workshop, before: Flight, after: Flight, *, progress: Callable[[str, int, int], None]
) -> CheckResult:
    """Compare two recordings and note how it ended.

    Raises:
        BenchCheckFailedError: an axis is worse than before.
        NotReadyToProveError: the settings are not back yet, so nobody should have flown.
    """
    require_ready(shop)
    result = result_of(compare_flights(before, after, progress=progress), before=before.source, after=after.source)
    note_result(shop, result)
    if result.verdict is Verdict.FAILED:
        raise failed(result)
    return result


def require_ready(shop: Workshop) -> None:
    """Let nothing be proved before the settings are back.

    Raises:
        NotReadyToProveError: they are not.
    """
    if shop.state.as_left is None:
        raise NotReadyToProveError(
            "There is nothing to prove yet: the settings of the plan are not back on the aircraft.",
            why="A check of an aircraft that is half-way would prove nothing about the one that flies.",
            todo=f"Go on with the job: `rotorwright resume {shop.journal.changeover_id}`.",
        )


def result_of(comparison: FlightComparison, *, before: str = "", after: str = "") -> CheckResult:
    """Return a comparison of two flights as a bench check's result: worse fails it, what nobody can tell is missing."""
    findings = [finding for part in comparison.parts if (finding := _finding(part)) is not None]
    told = " ".join(part.sentence for part in comparison.axes)
    return judged(
        CHECK,
        sentence=f"{told} Compared: {before or 'before'} with {after or 'after'}.",
        measured=[
            Measured(
                f"{part.axis}: {one.name}, after",
                one.after,
                one.unit,
                f"{one.before:.3g} before",
                None if one.change is Change.CANNOT_TELL else one.change is not Change.WORSE,
            )
            for part in comparison.parts
            for one in part.quantities
            if not one.is_missing
        ],
        findings=findings,
        figures=[
            Figure(
                one.title,
                one.x_label,
                one.x_unit,
                one.y_label,
                one.y_unit,
                tuple(Curve(label, points) for label, points in one.curves),
            )
            for one in comparison.figures
        ],
    )


def _finding(part: AxisComparison) -> Finding | None:
    if part.change is Change.WORSE:
        advice = "Look for a bent propeller, a loose motor or stack, and at the filters and gains of that axis."
        return Finding(f"{part.axis}-worse", part.sentence, advice)
    if part.change is Change.CANNOT_TELL:
        return missing(f"{part.axis}-cannot-tell", part.sentence, "Record a longer flight as before.")
    return None
