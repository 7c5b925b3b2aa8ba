"""Which column is what, without a column map: by the words in its name and by its values, always with the reason.

The order of the columns never matters, and nothing is chosen between two columns that fit equally well. Values are
looked at in a thinned sample, so a long recording costs no more than a short one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.signals.column_map import AXES, GROUPS, ColumnMap, Entry, Kind, Place
from rotorwright.signals.column_units import guess_rate_unit, guess_unit, time_unit
from rotorwright.signals.column_words import Label, label_of
from rotorwright.signals.recording_errors import ColumnsMissingError, ColumnsUnclearError, RecordingUnitError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rotorwright.signals.flight import FloatArray

SAMPLE_ROWS = 20_000
LEAST_SHARE_OF_EVEN_STEPS = 0.9  # no source: a recorder that drops more than a tenth of its rows is no clock
EVEN_STEP = 0.3  # a step within 30 % of the usual one is even; no source
LEAST_CORRELATION = 0.5  # of a rate with what was wanted; an aircraft that follows at all reaches far more; no source
THROTTLE_CORRELATION = 0.8  # of the throttle with the mean of the motors; no source
FEWEST_MOTORS, MOST_MOTORS = 3, 8
SIGNS_WORDS = (
    "The signs are taken for forward, right, down: roll to the right, nose up and nose to the right positive. "
    "They cannot be checked here; where they are others, a column map turns them with sign = -1."
)
RATE_GROUPS = ("rate", "wanted", "raw")


@dataclass(slots=True)
class _Search:
    """The recording while it is looked through; what is found is moved from `left` to `found`."""

    columns: Mapping[str, FloatArray]
    labels: Mapping[str, Label]
    left: list[str]
    found: ColumnMap
    said: list[str]
    row_step: int

    def sample(self, name: str) -> FloatArray:
        """The thinned values of a column: a view, every `row_step`th row."""
        return self.columns[name][:: self.row_step]

    def take(self, place: Place, name: str, unit: str, why: str) -> None:
        self.found[place] = Entry(name, unit, why=why)
        self.left.remove(name)

    def named(self, group: str) -> list[str]:
        return [name for name in self.left if self.labels[name].group == group]


def recognise_columns(
    columns: Mapping[str, FloatArray], units: Mapping[str, str] | None = None
) -> tuple[ColumnMap, tuple[str, ...]]:
    """Return which column is what, and what a person should know besides the reasons in the entries.

    Args:
        columns: name to (n,) values.
        units: units that the file states beside the names.

    Raises:
        ColumnsMissingError: there is no time or no three rates.
        ColumnsUnclearError: two columns fit equally well.
        RecordingUnitError: the unit of the time or the rates cannot be told.
    """
    rows = min((len(values) for values in columns.values()), default=0)
    names = sorted(columns)
    search = _Search(
        columns,
        {name: _label(name, units or {}) for name in names},
        [name for name in names if _is_alive(columns[name])],
        {},
        [],
        max(1, rows // SAMPLE_ROWS),
    )
    _find_time(search)
    _find_rates(search)
    _find_force(search)
    _find_motors_and_rotors(search)
    _find_throttle(search)
    search.said.append(SIGNS_WORDS)
    return search.found, tuple(search.said)


def _label(name: str, units: Mapping[str, str]) -> Label:
    label = label_of(name)
    return label._replace(unit=units[name]) if units.get(name) else label


def _is_alive(values: FloatArray) -> bool:
    return bool(np.isfinite(values[:: max(1, len(values) // SAMPLE_ROWS)]).any())


def _finite(values: FloatArray) -> FloatArray:
    return values[np.isfinite(values)]


# --- time


def _find_time(search: _Search) -> None:
    steady = {name: step for name in search.left if (step := _even_step(search, name)) is not None}
    named = [name for name in steady if search.labels[name].group == "time"]
    candidates = named or [
        name for name in steady if not search.labels[name].is_other and not search.labels[name].group
    ]
    if not candidates:
        raise _missing(
            "the time",
            "A time column counts up in even steps, and none does.",
        )
    _refuse_two("the time", candidates)
    name = candidates[0]
    by = "by name, and it counts up in even steps" if named else "it alone counts up in even steps"
    unit, why = time_unit(steady[name], stated=search.labels[name].unit, column=name)
    search.take(Place("time"), name, unit, f"{by}; {why}")


def _even_step(search: _Search, name: str) -> float | None:
    """Return the usual step of a column per row, if it counts up evenly; else nothing."""
    steps = np.diff(search.sample(name))
    steps = _finite(steps)
    if not len(steps):
        return None
    usual = float(np.median(steps))
    if usual <= 0 or float(np.mean(np.abs(steps - usual) <= EVEN_STEP * usual)) < LEAST_SHARE_OF_EVEN_STEPS:
        return None
    return usual / search.row_step


# --- rates


def _find_rates(search: _Search) -> None:
    groups = {group: _by_axis(search, group, search.named(group)) for group in RATE_GROUPS}
    groups = _split_filtered(search, groups)
    reasons = dict.fromkeys(RATE_GROUPS, "by name")
    if not groups["rate"] and groups["raw"]:
        groups["rate"], groups["raw"] = groups["raw"], {}
        reasons["rate"] = "by name; no filtered rates are there"
    if not groups["rate"] or not groups["wanted"]:
        _pair_by_content(search, groups, reasons)
    if len(groups["rate"]) < len(AXES):
        raise _missing(
            "the rates",
            f"Found for {_listed(AXES[axis] for axis in groups['rate']) or 'no axis'}; roll, pitch and yaw are needed.",
        )
    _take_rates(search, groups, reasons)


def _by_axis(search: _Search, group: str, names: Sequence[str]) -> dict[int, str]:
    """Return the column of each axis; filtered ones go before others (see `_split_filtered`)."""
    if any(search.labels[name].is_filtered for name in names):
        names = [name for name in names if search.labels[name].is_filtered]
    found: dict[int, str] = {}
    for name, axis in _axes_of(search, names):
        if axis in found:
            raise unclear_error(f"{GROUPS[group].words} {AXES[axis]}", [found[axis], name])
        found[axis] = name
    return found


def _axes_of(search: _Search, names: Sequence[str]) -> list[tuple[str, int]]:
    by_word = [(name, axis) for name in names if (axis := search.labels[name].axis) is not None]
    if by_word:
        return by_word
    numbers = sorted({number for name in names if (number := search.labels[name].number) is not None})
    if numbers not in ([0, 1, 2], [1, 2, 3]):
        return []
    return [(name, number - numbers[0]) for name in names if (number := search.labels[name].number) is not None]


def _split_filtered(search: _Search, groups: dict[str, dict[int, str]]) -> dict[str, dict[int, str]]:
    """Take plain rates for the unfiltered ones where others beside them are called filtered."""
    is_filtered = any(search.labels[name].is_filtered for name in groups["rate"].values())
    if is_filtered and not groups["raw"]:
        plain = [name for name in search.named("rate") if not search.labels[name].is_filtered]
        groups["raw"] = _by_axis(search, "raw", plain)
    return groups


def _pair_by_content(search: _Search, groups: dict[str, dict[int, str]], reasons: dict[str, str]) -> None:
    """Find rate and wanted rate among columns that only name an axis: they go together, the smoother was wanted."""
    for axis in range(len(AXES)):
        names = [
            name
            for name in search.left
            if (label := search.labels[name]).axis == axis and not label.group and not label.is_other
        ]
        for group, name in _told_apart(search, axis, names, groups).items():
            groups[group][axis] = name
            reasons[group] = (
                "the name has the axis; it moves as what was wanted does, and is rougher"
                if group == "rate"
                else "the name has the axis; it moves as the rate does, and is smoother"
            )
    for group in ("rate", "wanted"):
        if group == "wanted" and 0 < len(groups[group]) < len(AXES):
            search.said.append(f"No wanted rates are taken: found only for {_listed(groups[group].values())}.")
            groups[group] = {}


def _told_apart(
    search: _Search, axis: int, names: Sequence[str], groups: Mapping[str, Mapping[int, str]]
) -> dict[str, str]:
    known = groups["rate"].get(axis)
    if known is not None:
        alike = [name for name in names if _correlation(search, name, known) >= LEAST_CORRELATION]
        if not groups["wanted"].get(axis):
            _refuse_two(f"the wanted rate {AXES[axis]}", alike)
            return {"wanted": alike[0]} if alike else {}
        return {}
    pairs = [
        (one, other)
        for index, one in enumerate(names)
        for other in names[index + 1 :]
        if _correlation(search, one, other) >= LEAST_CORRELATION
    ]
    if len(pairs) > 1:
        raise unclear_error(f"the rate {AXES[axis]}", names)
    if not pairs:
        return {}
    rougher, smoother = sorted(pairs[0], key=lambda name: -_roughness(search, name))
    return {"rate": rougher, "wanted": smoother}


def _correlation(search: _Search, one: str, other: str) -> float:
    a, b = search.sample(one), search.sample(other)
    both = np.isfinite(a) & np.isfinite(b)
    a, b = a[both], b[both]
    if len(a) < 3 or np.ptp(a) == 0 or np.ptp(b) == 0:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])


def _roughness(search: _Search, name: str) -> float:
    """Return how much of the motion is from one row to the next: near 0 for a smooth course, 1.4 for noise alone."""
    values = _finite(search.columns[name][:SAMPLE_ROWS])
    spread = float(np.std(values)) if len(values) else 0.0
    return float(np.std(np.diff(values))) / spread if spread else 0.0


def _take_rates(search: _Search, groups: Mapping[str, Mapping[int, str]], reasons: Mapping[str, str]) -> None:
    spread_rad_s = 0.0
    for group in RATE_GROUPS:
        names = groups[group]
        if len(names) < len(AXES):
            if names:
                search.said.append(
                    f"No {GROUPS[group].words}s are taken: {_listed(names.values())} fit, but an axis is missing."
                )
            continue
        values = np.concatenate([_finite(search.sample(name)) for name in names.values()])
        stated = _one_unit(search, group, list(names.values()))
        unit, why = guess_rate_unit(values, stated=stated, spread_rad_s=spread_rad_s, columns=list(names.values()))
        if group == "rate":
            spread_rad_s = float(np.std(values)) * (1.0 if unit == "rad/s" else np.pi / 180)
        for axis, name in sorted(names.items()):
            search.take(Place(group, AXES[axis]), name, unit, f"{reasons[group]}; {why}")


def _one_unit(search: _Search, group: str, names: Sequence[str]) -> str:
    """Return the unit that the names say; nothing where they say none."""
    units = {search.labels[name].unit for name in names} - {""}
    if len(units) > 1:
        raise RecordingUnitError(
            f"The columns {_listed(names)} fit {GROUPS[group].words}, but name two units: {_listed(sorted(units))}.",
            why="The columns of one quantity are expected in one unit.",
            todo="Write a column map that says the unit of each; docs/reference/column-map.md shows how.",
        )
    return units.pop() if units else ""


# --- specific force


def _find_force(search: _Search) -> None:
    names = _by_axis(search, "force", search.named("force"))
    if len(names) < len(AXES):
        return
    ordered = [names[axis] for axis in range(len(AXES))]
    size = np.sqrt(np.sum(np.square([search.sample(name) for name in ordered]), axis=0))
    unit, why = guess_unit(Kind.FORCE, _finite(size), stated=_one_unit(search, "force", ordered))
    if not unit:
        search.said.append(f"The specific force ({_listed(ordered)}) is left out: {why}.")
        return
    for part, name in zip(GROUPS["force"].parts, ordered, strict=True):
        search.take(Place("force", part), name, unit, f"by name; {why}")


# --- motors, rotors, throttle


def _find_motors_and_rotors(search: _Search) -> None:
    _take_numbered(search, "rotor", _in_order(search, "rotor", search.named("rotor")), "by name")
    motors = _in_order(search, "motor", search.named("motor"))
    if motors:
        _take_numbered(search, "motor", motors, "by name")
    else:
        _motors_by_content(search)


def _in_order(search: _Search, group: str, names: Sequence[str]) -> list[str]:
    """Return numbered columns in the order of their numbers; nothing where they are not numbered one after another."""
    numbered: dict[int, str] = {}
    for name in names:
        number = search.labels[name].number
        if number is None:
            search.said.append(f"{name} is left out: it fits {GROUPS[group].words}, but says not of which one.")
            continue
        if number in numbered:
            raise unclear_error(f"{GROUPS[group].words} {number}", [numbered[number], name])
        numbered[number] = name
    order = sorted(numbered)
    if order and (order[0] not in {0, 1} or any(b - a != 1 for a, b in pairwise(order))):
        search.said.append(
            f"No {GROUPS[group].words}s are taken: {_listed(numbered.values())} are not numbered one after another."
        )
        return []
    return [numbered[number] for number in order]


def _take_numbered(search: _Search, group: str, names: Sequence[str], by: str) -> None:
    if not names:
        return
    kind = GROUPS[group].kind
    values = np.concatenate([_finite(search.sample(name)) for name in names])
    unit, why = guess_unit(kind, values, stated=_one_unit(search, group, names))
    if not unit:
        search.said.append(f"The {GROUPS[group].words}s ({_listed(names)}) are left out: {why}.")
        return
    for number, name in enumerate(names, start=1):
        search.take(Place(group, str(number)), name, unit, f"{by}; {why}")


def _motors_by_content(search: _Search) -> None:
    """Take a family of numbered columns within the range of motor outputs, where there is exactly one such family."""
    families: dict[tuple[str, ...], list[str]] = {}
    for name in search.left:
        label = search.labels[name]
        if not label.group and not label.is_other and label.axis is None and label.number is not None:
            families.setdefault(label.stem, []).append(name)
    fitting = [
        ordered
        for names in families.values()
        if FEWEST_MOTORS <= len(names) <= MOST_MOTORS
        and _is_fraction(np.concatenate([_finite(search.sample(name)) for name in names]))
        and (ordered := _in_order(replace(search, said=[]), "motor", names))
    ]
    _refuse_two("the motor outputs", [_listed(names) for names in fitting])
    if fitting:
        _take_numbered(search, "motor", fitting[0], "the only numbered columns in the range of motor outputs")


def _is_fraction(values: FloatArray) -> bool:
    return bool(guess_unit(Kind.FRACTION, values, stated="")[0])


def _find_throttle(search: _Search) -> None:
    named = search.named("throttle")
    by, names = "by name", named
    if not named:
        by, names = "it moves as the mean of the motors does, within the range of a throttle", _like_motors(search)
    _refuse_two("the throttle", names)
    if not names:
        return
    name = names[0]
    unit, why = guess_unit(Kind.FRACTION, _finite(search.sample(name)), stated=search.labels[name].unit)
    if unit:
        search.take(Place("throttle"), name, unit, f"{by}; {why}")
    else:
        search.said.append(f"{name} fits the throttle, but is left out: {why}.")


def _like_motors(search: _Search) -> list[str]:
    motors = [entry.column for place, entry in search.found.items() if place.group == "motor"]
    if not motors:
        return []
    mean = np.mean([search.sample(name) for name in motors], axis=0)
    found = []
    for name in search.left:
        label = search.labels[name]
        values = search.sample(name)
        if label.group or label.is_other or label.axis is not None or not _is_fraction(_finite(values)):
            continue
        both = np.isfinite(values) & np.isfinite(mean)
        if both.sum() > 2 and np.ptp(values[both]) and np.ptp(mean[both]):
            correlation = float(np.corrcoef(values[both], mean[both])[0, 1])
            found += [name] if correlation >= THROTTLE_CORRELATION else []
    return found


# --- errors


def _refuse_two(what: str, names: Sequence[str]) -> None:
    if len(names) > 1:
        raise unclear_error(what, names)


def unclear_error(what: str, names: Sequence[str]) -> ColumnsUnclearError:
    """Return the error of columns that fit equally well."""
    return ColumnsUnclearError(
        f"These columns fit {what} equally well: {_listed(names)}.",
        why="Neither their names nor their values tell which is meant, and nothing is guessed between them.",
        todo="Name the right one in a column map and say the same again with --columns MAP.toml; "
        "docs/reference/column-map.md shows its form.",
        columns=_listed(names),
    )


def _missing(what: str, why: str) -> ColumnsMissingError:
    return ColumnsMissingError(
        f"No columns can be taken for {what}.",
        why=why,
        todo="Name the columns in a column map and say the same again with --columns MAP.toml; "
        "docs/reference/column-map.md shows its form.",
    )


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)
