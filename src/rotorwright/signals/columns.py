"""Columns of numbers become a flight: by a column map or by recognition, and it is always said what was taken for what.

Nothing is repaired: gaps, jumps and NaN stay, and are said. Only what cannot be a flight is refused.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.signals.column_map import AXES, GROUPS, ColumnMap, Entry, Kind, Place, column_map_error, to_flight_unit
from rotorwright.signals.column_recognition import recognise_columns
from rotorwright.signals.column_units import check_possible, check_step, reach
from rotorwright.signals.flight import Flight
from rotorwright.signals.recording_errors import ColumnMapError, RecordingTimeError, RecordingTooShortError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, MutableMapping, Sequence

    from rotorwright.signals.flight import FloatArray

FEWEST_ROWS = 50  # common practice, no source: nothing about a flight can be worked out from fewer
GAP = 3.0  # a step of more than this many usual steps is a gap; no source
LATE_CLOCK_S = 1e6  # a clock beyond this counts from a date; its first row becomes 0, to keep the digits
MOST_FALLING = 0.5  # share of steps that do not count up, from which on it is no time at all


def flight_from_columns(
    columns: Mapping[str, FloatArray],
    *,
    column_map: ColumnMap | None = None,
    units: Mapping[str, str] | None = None,
    source: str = "",
) -> tuple[Flight, tuple[str, ...]]:
    """Return the flight that columns hold, and in sentences what was taken for what and what is odd.

    Args:
        columns: name to (n,) values, all of one length; only read.
        column_map: which column is what; recognised by names and values where it is not given.
        units: units that the file itself states, by name of the column; a column map goes before them.
        source: what it was read from, for people.

    Raises:
        RecordingError: one of the errors of recording_errors.py.
    """
    flight, said, _ = take_flight(dict(columns), column_map=column_map, units=units, source=source)
    return flight, said


def take_flight(
    columns: MutableMapping[str, FloatArray],
    *,
    column_map: ColumnMap | None = None,
    units: Mapping[str, str] | None = None,
    source: str = "",
) -> tuple[Flight, tuple[str, ...], ColumnMap]:
    """Do as `flight_from_columns`, and return the column map too. Columns leave `columns` as they are used up."""
    with np.errstate(all="ignore"):  # infinite and absurd values are said or refused below, not warned of
        return _take_flight(columns, column_map, units or {}, source)


def _take_flight(
    columns: MutableMapping[str, FloatArray], column_map: ColumnMap | None, units: Mapping[str, str], source: str
) -> tuple[Flight, tuple[str, ...], ColumnMap]:
    rows = _rows(columns, source)
    notes: tuple[str, ...] = ()
    if column_map is None:
        column_map, notes = recognise_columns(columns, units)
    else:
        _check_present(column_map, columns)
    said = [*_taken(column_map), *notes]
    at_s = _take_time(columns, column_map[Place("time")], said)
    groups = {name: _take_group(columns, column_map, name, rows, said) for name in GROUPS if name != "time"}
    if columns:
        said.append(f"Not used: {', '.join(sorted(columns))}.")
    rate = groups["rate"]
    assert rate is not None
    throttle = groups["throttle"]
    flight = Flight(
        at_s=at_s,
        rate_rad_s=rate,
        wanted_rate_rad_s=groups["wanted"],
        raw_rate_rad_s=groups["raw"],
        throttle=None if throttle is None else throttle[:, 0],
        motors=groups["motor"],
        rotor_hz=groups["rotor"],
        force_m_s2=groups["force"],
        source=source,
    )
    return flight, tuple(said), column_map


def _rows(columns: Mapping[str, FloatArray], source: str) -> int:
    rows = min((len(values) for values in columns.values()), default=0)
    if rows < FEWEST_ROWS:
        raise RecordingTooShortError(
            f"{source or 'The recording'} has {rows} row{'' if rows == 1 else 's'} of values.",
            why=f"Nothing about a flight can be worked out from fewer than {FEWEST_ROWS}.",
            todo="Record longer, half a minute at the least, or choose another file.",
            rows=rows,
        )
    return rows


def _check_present(column_map: ColumnMap, columns: Mapping[str, FloatArray]) -> None:
    for place, entry in column_map.items():
        if entry.column not in columns:
            raise missing_column_error(place, entry, sorted(columns))


def missing_column_error(place: Place, entry: Entry, names: Sequence[str]) -> ColumnMapError:
    """Return the error of a column that the map names and the file lacks."""
    return column_map_error(
        "for this recording",
        f"there is no column {entry.column!r} for the {place.words}; the numeric columns are {', '.join(names)}",
    )


def _taken(column_map: ColumnMap) -> Iterator[str]:
    """One sentence for all columns of a group that were taken for the same reason."""
    for (group, unit_words, why), entries in groupby(
        column_map.items(), key=lambda one: (one[0].group, one[1].unit_words, one[1].why)
    ):
        pairs = list(entries)
        columns, parts = [entry.column for _, entry in pairs], [place.part for place, _ in pairs]
        verb = "is" if len(pairs) == 1 else "are"
        quantity = f"{GROUPS[group].words} {', '.join(parts)}".rstrip()
        yield f"{', '.join(columns)} {verb} taken for the {quantity}, in {unit_words}: {why}."


def _take_time(columns: MutableMapping[str, FloatArray], entry: Entry, said: list[str]) -> FloatArray:
    values = columns.pop(entry.column)
    steps = np.diff(values)
    finite = steps[np.isfinite(steps)]
    usual = float(np.median(finite)) if len(finite) else 0.0
    falling = float(np.count_nonzero(~(steps > 0)))
    if not usual > 0 or falling > MOST_FALLING * len(steps):
        raise RecordingTimeError(
            f"The time column {entry.column} does not count up: {falling:.0f} of {len(steps)} steps do not.",
            why="It is another quantity, it stands still, or the rows are not in the order of time.",
            todo="Name the right column for the time in a column map; docs/reference/column-map.md shows how.",
            column=entry.column,
        )
    check_step(usual, entry)
    first = float(values[np.isfinite(values)][0])
    factor = float(to_flight_unit(np.array([1.0]), Kind.TIME, entry)[0])
    if abs(first * factor) > LATE_CLOCK_S:
        values = values - first
        said.append(f"The clock of {entry.column} counts from a date; the first row is taken for 0 s.")
    at_s = to_flight_unit(values, Kind.TIME, entry)
    said += _clock_words(at_s, steps, usual, factor)
    said += _odd_values(entry, values)
    return at_s


def _clock_words(at_s: FloatArray, steps: FloatArray, usual: float, factor: float) -> Iterator[str]:
    back = np.flatnonzero(steps < 0)
    if len(back):
        worst = back[np.argmin(steps[back])]
        yield (
            f"The clock jumps back {_times(len(back))}, most by {-steps[worst] * factor:.4g} s in row {worst + 2}, "
            f"at {at_s[worst]:.4g} s."
        )
    still = np.count_nonzero(steps == 0)
    if still:
        yield f"The clock stands still {_times(int(still))} from one row to the next."
    gaps = np.flatnonzero(steps > GAP * usual)
    if len(gaps):
        longest = gaps[np.argmax(steps[gaps])]
        yield (
            f"The time has {len(gaps)} gap{'' if len(gaps) == 1 else 's'}, the longest of "
            f"{steps[longest] * factor:.4g} s after {at_s[longest]:.4g} s; the usual step is {usual * factor:.4g} s."
        )


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _take_group(
    columns: MutableMapping[str, FloatArray], column_map: ColumnMap, name: str, rows: int, said: list[str]
) -> FloatArray | None:
    """Return (n, parts) values in the units of `Flight`; each part lies in one piece of memory."""
    entries = sorted(
        ((place, entry) for place, entry in column_map.items() if place.group == name), key=lambda one: _rank(one[0])
    )
    if not entries:
        return None
    found = np.empty((len(entries), rows))
    for index, (place, entry) in enumerate(entries):
        values = columns.pop(entry.column)
        spikes = check_possible(place, entry, values)
        said += [spikes] if spikes else []
        said += _odd_values(entry, values)
        found[index] = to_flight_unit(values, place.kind, entry)
    return found.T


def _rank(place: Place) -> int:
    parts = GROUPS[place.group].parts
    return parts.index(place.part) if parts else int(place.part)


def _odd_values(entry: Entry, values: FloatArray) -> Iterator[str]:
    odd = 0 if np.isfinite([values.min(), values.max()]).all() else int(np.count_nonzero(~np.isfinite(values)))
    if odd:
        yield f"{entry.column} has {odd} of {len(values)} values that are missing or infinite; they stay as they are."
    low, high = reach(values)
    if odd == len(values):
        yield f"{entry.column} has no value at all."
    elif low == high:
        yield f"{entry.column} never changes: it is always {low:.6g}."


def columns_of_flight(flight: Flight) -> dict[str, FloatArray]:
    """Return a flight as columns with names of our own, which recognition reads back; (n,) each, units in the names."""
    found: dict[str, FloatArray] = {"time_s": flight.at_s}
    for stem, unit, rates in (
        ("rate", "rad_s", flight.rate_rad_s),
        ("wanted_rate", "rad_s", flight.wanted_rate_rad_s),
        ("raw_rate", "rad_s", flight.raw_rate_rad_s),
    ):
        if rates is not None:
            found |= {f"{stem}_{axis}_{unit}": rates[:, index] for index, axis in enumerate(AXES)}
    if flight.throttle is not None:
        found["throttle"] = flight.throttle
    for stem, unit, values in (("motor", "", flight.motors), ("rotor", "_hz", flight.rotor_hz)):
        if values is not None:
            found |= {f"{stem}_{index + 1}{unit}": values[:, index] for index in range(values.shape[1])}
    if flight.force_m_s2 is not None:
        parts = GROUPS["force"].parts
        found |= {f"force_{part}_m_s2": flight.force_m_s2[:, index] for index, part in enumerate(parts)}
    return found
