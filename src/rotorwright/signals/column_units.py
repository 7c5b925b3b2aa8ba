"""In which unit the values of a column can be: guessed from their size where nobody says it, doubted where impossible.

Each guess has a range in which it is made and gaps between the ranges in which it is not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from rotorwright.signals.column_map import UNITS, Entry, Kind, Place, to_flight_unit
from rotorwright.signals.recording_errors import RecordingUnitError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.signals.flight import FloatArray


class Span(NamedTuple):
    """From `low` (with it) to `high` (without it)."""

    low: float
    high: float


# From 20 Hz to 20 kHz of recording. The spans of the units touch and do not overlap. Common practice, no source.
STEP_OF_UNIT = {"s": Span(5e-5, 0.05), "ms": Span(0.05, 50.0), "us": Span(50.0, 50_000.0)}

# What a quantity can be at all, in the unit of `Flight`.
POSSIBLE = {
    Kind.TIME: Span(-np.inf, np.inf),
    # 4000 deg/s: the largest full scale on data sheets of sensors of this class, from memory; with a margin of 1 %.
    Kind.RATE: Span(-70.5, 70.5),
    Kind.FRACTION: Span(-0.1, 1.1),  # common practice, no source: end points a little beyond the nominal ones
    Kind.TURNS: Span(-1.0, 2500.0),  # 150,000 turns a minute: beyond any small rotor; common practice, no source
    Kind.FORCE: Span(-330.0, 330.0),  # 32 g: the largest full scale on data sheets of this class, from memory
}
MOST_IMPOSSIBLE = 0.001  # share of values that may be spikes

# Rates: at most this in rad/s is a gentle flight (344 deg/s), in deg/s it would be an aircraft that hardly turns.
GENTLE_RAD_S = 6.0
MOST_RAD_S = POSSIBLE[Kind.RATE].high
PEAK_SHARE = 0.995  # the size of a column: this share of its values is smaller; spikes do not count

# Sizes of the values (smallest and largest, spikes not counted) by which a unit is guessed. Common practice, no source.
FRACTION_SPANS = (("0..1", Span(-0.05, 1.05)), ("%", Span(-5.0, 105.0)), ("us", Span(850.0, 2250.0)))
LEAST_PERCENT = 5.0  # a column that never passes 5 % is not known to be percent
TURNS_SPANS = (("Hz", Span(30.0, 900.0)), ("rpm", Span(2500.0, 60_000.0)))
FORCE_SPANS = (("g", Span(0.5, 2.0)), ("m/s2", Span(5.0, 20.0)))


def time_unit(step: float, *, stated: str, column: str) -> tuple[str, str]:
    """Return the unit of a time column and why, from its usual step per row.

    Raises:
        RecordingUnitError: no unit makes this step the one of a recorder.
    """
    fitting = [unit for unit, span in STEP_OF_UNIT.items() if span.low <= step < span.high]
    if stated in UNITS[Kind.TIME]:
        check_step(step, Entry(column, stated))
        return stated, "the unit stands beside the name"
    if not fitting:
        raise RecordingUnitError(
            f"The unit of the time column {column} cannot be told: it counts up by {step:.6g} a row.",
            why="In s, ms or us that is not within 20 to 20,000 rows a second, where recorders of flights are.",
            todo="State the unit in a column map; docs/reference/column-map.md shows how.",
            column=column,
            step=step,
        )
    rate_hz = 1 / (step * UNITS[Kind.TIME][fitting[0]].factor)
    return fitting[0], f"a step of {step:.6g} is taken for {fitting[0]}, so {rate_hz:.6g} rows a second"


def check_step(step: float, entry: Entry) -> None:
    """Doubt a stated unit of the time that makes a recorder impossible.

    Raises:
        RecordingUnitError: less than one row in ten seconds, or more than a million in one second.
    """
    step_s = step * UNITS[Kind.TIME][entry.unit].factor * entry.scale
    if 1e-6 <= step_s <= 10.0:
        return
    raise RecordingUnitError(
        f"The time column {entry.column} cannot be in {entry.unit_words}: its rows would be {step_s:.3g} s apart.",
        why="Recordings of flights have from 20 to 20,000 rows a second.",
        todo="Correct the unit, if need be with a column map; docs/reference/column-map.md shows how.",
        column=entry.column,
        unit=entry.unit,
    )


def guess_rate_unit(values: FloatArray, *, stated: str, spread_rad_s: float, columns: Sequence[str]) -> tuple[str, str]:
    """Return the unit of rates and why.

    Args:
        values: (k,) finite values of all axes.
        stated: the unit in their names; empty for none.
        spread_rad_s: standard deviation of the rates that go with them, in rad/s; 0 where there are none yet.
        columns: their names.

    Raises:
        RecordingUnitError: it cannot be told.
    """
    if stated in UNITS[Kind.RATE]:
        return stated, "the unit stands beside the name"
    spread = float(np.std(values)) if len(values) else 0.0
    if spread_rad_s and spread:
        unit = min(
            UNITS[Kind.RATE], key=lambda each: abs(np.log(spread * UNITS[Kind.RATE][each].factor / spread_rad_s))
        )
        return unit, f"in {unit} it is about as large as the rates"
    peak = float(np.quantile(np.abs(values), PEAK_SHARE)) if len(values) else 0.0
    if peak > MOST_RAD_S:
        return "deg/s", f"values up to {peak:.4g} are beyond any sensor in rad/s, so deg/s"
    if 0 < peak <= GENTLE_RAD_S:
        return "rad/s", f"values up to {peak:.3g} would hardly be a flight in deg/s, so rad/s"
    raise RecordingUnitError(
        f"The unit of the rates ({', '.join(columns)}) cannot be told: nearly all values are up to {peak:.3g}.",
        why=f"Up to {GENTLE_RAD_S:g} they would be rad/s, beyond {MOST_RAD_S:.0f} deg/s; between, both could be.",
        todo='Say the unit in the names ("... (deg/s)") or in a column map; docs/reference/column-map.md shows how.',
        peak=peak,
    )


def guess_unit(kind: Kind, values: FloatArray, *, stated: str) -> tuple[str, str]:
    """Return the unit of shares, rotor speeds or sizes of specific forces, and why; no unit where nobody can tell.

    Args:
        kind: fraction, turns or force.
        values: (k,) finite values.
        stated: the unit in their names; empty for none.
    """
    if stated == "erpm":
        return "", "electrical turns need the number of magnet poles, which only a column map can say"
    if stated in UNITS[kind]:
        return stated, "the unit stands beside the name"
    if not len(values):
        return "", "there are no values"
    low, high = (float(value) for value in np.quantile(values, [1 - PEAK_SHARE, PEAK_SHARE]))
    if kind is Kind.FRACTION:
        unit = next((unit for unit, span in FRACTION_SPANS if span.low <= low and high < span.high), "")
        unit = "" if unit == "%" and high < LEAST_PERCENT else unit
    elif kind is Kind.TURNS:
        unit = next((unit for unit, span in TURNS_SPANS if span.low <= high < span.high), "")
    else:
        middle = float(np.median(values))
        unit = next((unit for unit, span in FORCE_SPANS if span.low <= middle < span.high), "")
    words = f"values from {low:.4g} to {high:.4g}"
    return (unit, f"{words} fit {unit}") if unit else ("", f"{words} fit no unit of a {kind}")


def check_possible(place: Place, entry: Entry, values: FloatArray) -> str:
    """Doubt a unit that makes values impossible. Return a sentence for spikes; empty where there are none.

    Args:
        place: what the column is taken for.
        entry: the column with its unit.
        values: (n,) as the file has them.

    Raises:
        RecordingUnitError: more than one value in a thousand is impossible in this unit.
    """
    kind = place.kind
    if kind is Kind.TIME:
        return ""
    share = impossible_share(kind, entry, values)
    if share == 0.0:
        return ""
    low, high = reach(values)
    if share <= MOST_IMPOSSIBLE:
        count = round(share * len(values))
        span = f"from {low:.4g} to {high:.4g}"
        return f"{entry.column} has {count} values ({span}) that no {kind} in {entry.unit_words} has."
    others = [
        unit
        for unit in UNITS[kind]
        if unit not in {entry.unit, "erpm"}
        and impossible_share(kind, Entry(entry.column, unit, entry.scale), values) <= MOST_IMPOSSIBLE
    ]
    hint = f" In {' or '.join(others)} they could be." if others else ""
    possible = POSSIBLE[kind]
    raise RecordingUnitError(
        f"{entry.column} ({place.words}) cannot be in {entry.unit_words}: its values go from {low:.4g} to {high:.4g}.",
        why=f"A {kind} is within {possible.low:g} to {possible.high:g} {next(iter(UNITS[kind]))} at the most.{hint}",
        todo="Correct the unit in the column map; if there is none, write one: docs/reference/column-map.md shows how.",
        column=entry.column,
        unit=entry.unit,
        low=low,
        high=high,
    )


def reach(values: FloatArray) -> tuple[float, float]:
    """Return the smallest and the largest finite value; zeros where there is none."""
    low, high = float(values.min()), float(values.max())
    if np.isfinite([low, high]).all():  # NaN would have come out, too: no copy of the finite values is needed
        return low, high
    finite = values[np.isfinite(values)]
    return (float(finite.min()), float(finite.max())) if len(finite) else (0.0, 0.0)


def impossible_share(kind: Kind, entry: Entry, values: FloatArray) -> float:
    """Return the share of values, 0 to 1, that no such quantity has in this unit; NaN and infinity do not count."""
    if not len(values):
        return 0.0
    low, high = reach(values)
    ends = to_flight_unit(np.array([low, high]), kind, entry)
    span = POSSIBLE[kind]
    if span.low <= ends.min() and ends.max() <= span.high:  # the usual case, without arrays as long as the recording
        return 0.0
    found = to_flight_unit(values[np.isfinite(values)], kind, entry)
    return float(np.count_nonzero((found < span.low) | (found > span.high))) / len(values)
