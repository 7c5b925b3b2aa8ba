"""Which column of a recording is which quantity of a flight, in which unit; and the text form of that.

Pure: a column map comes in as the text of a TOML file, see docs/reference/column-map.md.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from rotorwright.signals.recording_errors import ColumnMapError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.signals.flight import FloatArray

COLUMN_MAP_FORMAT = "rotorwright-column-map"
COLUMN_MAP_VERSION = 1

# Standard gravity: exactly 9.80665 m/s2, 3rd General Conference on Weights and Measures (1901), resolution 2.
STANDARD_GRAVITY_M_S2 = 9.80665
# Pulse widths of a servo signal for nothing and for all: common practice, no source.
LOW_PULSE_US, PULSE_SPAN_US = 1000.0, 1000.0

MOST_ROTORS = 16


class Kind(StrEnum):
    """What is measured, whatever it is measured on. Each kind has units of its own."""

    TIME = "time"
    RATE = "turning rate"
    FRACTION = "share of full power"
    TURNS = "rotor speed"
    FORCE = "specific force"


class Unit(NamedTuple):
    """A unit: value in the unit of `Flight` = (value + offset) * factor."""

    factor: float
    offset: float = 0.0


# The first unit of each kind is the one of `Flight`. `erpm` also needs the number of magnet poles of the rotor.
UNITS: dict[Kind, dict[str, Unit]] = {
    Kind.TIME: {"s": Unit(1.0), "ms": Unit(1e-3), "us": Unit(1e-6)},
    Kind.RATE: {"rad/s": Unit(1.0), "deg/s": Unit(math.pi / 180)},
    Kind.FRACTION: {"0..1": Unit(1.0), "%": Unit(0.01), "us": Unit(1 / PULSE_SPAN_US, -LOW_PULSE_US)},
    Kind.TURNS: {"Hz": Unit(1.0), "rpm": Unit(1 / 60), "erpm": Unit(1 / 60)},
    Kind.FORCE: {"m/s2": Unit(1.0), "g": Unit(STANDARD_GRAVITY_M_S2)},
}

AXES = ("roll", "pitch", "yaw")


class Group(NamedTuple):
    """A quantity of `Flight`: its kind, what it is called in sentences, its parts (none: numbered from 1)."""

    kind: Kind
    words: str
    parts: tuple[str, ...]


GROUPS: dict[str, Group] = {
    "time": Group(Kind.TIME, "time", ("",)),
    "rate": Group(Kind.RATE, "rate", AXES),
    "wanted": Group(Kind.RATE, "wanted rate", AXES),
    "raw": Group(Kind.RATE, "unfiltered rate", AXES),
    "throttle": Group(Kind.FRACTION, "throttle", ("",)),
    "motor": Group(Kind.FRACTION, "motor output", ()),
    "rotor": Group(Kind.TURNS, "rotor speed", ()),
    "force": Group(Kind.FORCE, "specific force", ("forward", "right", "down")),
}


class Place(NamedTuple):
    """One column's worth of a flight: the group and its part, for example ("rate", "roll") or ("motor", "1")."""

    group: str
    part: str = ""

    @property
    def kind(self) -> Kind:
        """What is measured here."""
        return GROUPS[self.group].kind

    @property
    def words(self) -> str:
        """The quantity as a person calls it."""
        return f"{GROUPS[self.group].words} {self.part}".rstrip()


@dataclass(frozen=True, slots=True)
class Entry:
    """A column for a place.

    Args:
        column: name of the column.
        unit: one of `UNITS` for the kind.
        scale: the column's numbers times this are in `unit`; negative turns the sign.
        poles: magnet poles of the rotor, for `erpm`.
        why: how it is known, for people.
    """

    column: str
    unit: str
    scale: float = 1.0
    poles: int | None = None
    why: str = "the column map says so"

    @property
    def unit_words(self) -> str:
        """The unit, with what else changes the numbers."""
        poles = f" of a rotor with {self.poles} poles" if self.poles else ""
        return f"{self.unit}{poles}" + ("" if self.scale == 1.0 else f" times {self.scale:g}")


ColumnMap = dict[Place, Entry]


def to_flight_unit(values: FloatArray, kind: Kind, entry: Entry) -> FloatArray:
    """Return the column's values in the unit of `Flight`; any shape, the same shape."""
    factor, offset = _line(kind, entry)
    return values * factor + offset


def from_flight_unit(values: FloatArray, kind: Kind, entry: Entry) -> FloatArray:
    """Return values of `Flight` as the column holds them."""
    factor, offset = _line(kind, entry)
    return (values - offset) / factor


def _line(kind: Kind, entry: Entry) -> tuple[float, float]:
    unit = UNITS[kind][entry.unit]
    pole_pairs = (entry.poles or 2) / 2  # the field turns once for each pair of poles: definition of electrical speed
    factor = unit.factor / (pole_pairs if entry.unit == "erpm" else 1.0)
    return entry.scale * factor, unit.offset * factor


def read_column_map(text: str, *, source: str) -> ColumnMap:
    """Return the column map that a TOML text holds; `source` names it in error texts.

    Raises:
        ColumnMapError: it is no column map, or an entry cannot be used; the message says which and what is expected.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise column_map_error(source, f"it is no TOML: {error}") from error
    if data.pop("format", None) != COLUMN_MAP_FORMAT:
        raise column_map_error(source, f"it does not say format = {COLUMN_MAP_FORMAT!r}")
    if (version := data.pop("version", None)) != COLUMN_MAP_VERSION:
        raise column_map_error(source, f"version is {version!r}; this Rotorwright reads {COLUMN_MAP_VERSION}")
    found: ColumnMap = {}
    for group, value in data.items():
        found |= _read_group(group, value, source)
    _check_whole(found, source)
    return found


def _read_group(name: str, value: object, source: str) -> ColumnMap:
    if name not in GROUPS:
        raise column_map_error(source, f"there is no quantity {name!r}; there are {_listed(GROUPS)}")
    if not isinstance(value, dict):
        raise column_map_error(source, f"{name} is no table")
    if GROUPS[name].parts == ("",):
        return {Place(name): _read_entry(Place(name), value, source)}
    return {
        place: _read_entry(place, each, source)
        for place, each in ((_place(name, part, source), each) for part, each in value.items())
    }


def _place(group: str, part: str, source: str) -> Place:
    expected = GROUPS[group].parts or tuple(str(number) for number in range(1, MOST_ROTORS + 1))
    if part not in expected:
        words = _listed(GROUPS[group].parts) if GROUPS[group].parts else f"1 to {MOST_ROTORS}"
        raise column_map_error(source, f"{group} has no part {part!r}; there are {words}")
    return Place(group, part)


_ENTRY_KEYS = ("column", "unit", "scale", "sign", "poles")


def _read_entry(place: Place, value: object, source: str) -> Entry:
    where = ".".join(filter(None, place))
    if not isinstance(value, dict):
        raise column_map_error(source, f'{where} is no table such as {{ column = "...", unit = "..." }}')
    for key in value:
        if key not in _ENTRY_KEYS:
            raise column_map_error(
                source, f"{where} has a key {key!r} that means nothing; there are {_listed(_ENTRY_KEYS)}"
            )
    column, unit = value.get("column"), value.get("unit")
    if not isinstance(column, str) or not column:
        raise column_map_error(source, f"{where} does not say its column")
    if not isinstance(unit, str) or unit not in UNITS[place.kind]:
        said = "no unit" if unit is None else f"the unit {unit!r}"
        raise column_map_error(source, f"{where} has {said}; a {place.kind} is in one of {_listed(UNITS[place.kind])}")
    scale, sign, poles = value.get("scale", 1.0), value.get("sign", 1), value.get("poles")
    _check_numbers(scale, sign, poles, unit=unit, where=where, source=source)
    return Entry(column, unit, float(scale) * sign, poles)


def _check_numbers(scale: object, sign: object, poles: object, *, unit: str, where: str, source: str) -> None:
    is_number = isinstance(scale, int | float) and not isinstance(scale, bool)
    if not is_number or not math.isfinite(float(str(scale))) or not scale:
        raise column_map_error(source, f"{where}.scale is {scale!r}; a number other than 0 is expected")
    if isinstance(sign, bool) or sign not in {1, -1}:
        raise column_map_error(source, f"{where}.sign is {sign!r}; 1 or -1 is expected")
    if unit != "erpm" and poles is None:
        return
    if unit != "erpm":
        raise column_map_error(source, f"{where}.poles only has a meaning with the unit erpm")
    if isinstance(poles, bool) or not isinstance(poles, int) or poles < 2 or poles % 2:
        raise column_map_error(
            source, f"{where} is in erpm and needs poles, the count of magnets of the rotor: 2, 4, 6, ... not {poles!r}"
        )


def _check_whole(found: Mapping[Place, Entry], source: str) -> None:
    for needed in ("time", "rate"):
        if not any(place.group == needed for place in found):
            raise column_map_error(source, f"it has no {needed}; the time and the three rates are always needed")
    for name, group in GROUPS.items():
        parts = [place.part for place in found if place.group == name]
        expected = group.parts or tuple(str(number) for number in range(1, len(parts) + 1))
        missing = [part for part in expected if part not in parts]
        if parts and missing:
            raise column_map_error(source, f"{name} has {_listed(parts)}, but not {_listed(missing)}")
    columns = [entry.column for entry in found.values()]
    for column in columns:
        if columns.count(column) > 1:
            raise column_map_error(source, f"the column {column!r} is named for more than one quantity")


def column_map_text(column_map: Mapping[Place, Entry]) -> str:
    """Return the TOML text of a column map, with the reasons as comments. `read_column_map` reads it back."""
    lines = [f'format = "{COLUMN_MAP_FORMAT}"', f"version = {COLUMN_MAP_VERSION}"]
    for name in GROUPS:
        entries = {place: entry for place, entry in column_map.items() if place.group == name}
        if entries:
            lines += ["", f"[{name}]"]
        for place, entry in entries.items():
            facts = _entry_facts(entry)
            if place.part:
                lines.append(f"{place.part} = {{ {', '.join(facts)} }}")
            else:
                lines += facts
    return "\n".join(lines) + "\n"


def _entry_facts(entry: Entry) -> list[str]:
    facts = [f"column = {toml_text(entry.column)}", f"unit = {toml_text(entry.unit)}"]
    if entry.scale != 1.0:
        facts.append(f"scale = {entry.scale!r}")
    if entry.poles is not None:
        facts.append(f"poles = {entry.poles}")
    return facts


def toml_text(text: str) -> str:
    """Return `text` as a basic string of TOML 1.0."""
    escaped = "".join(
        f"\\{sign}" if sign in '"\\' else sign if sign.isprintable() else f"\\U{ord(sign):08x}" for sign in text
    )
    return f'"{escaped}"'


def column_map_error(source: str, fault: str) -> ColumnMapError:
    """Return the error of a column map that cannot be used."""
    return ColumnMapError(
        f"The column map {source} cannot be used: {fault}.",
        why="A column map says for each quantity its column and its unit; nothing in it is guessed.",
        todo="Correct the map; docs/reference/column-map.md shows its form.",
        source=source,
    )


def _listed(names: object) -> str:
    assert hasattr(names, "__iter__")
    return ", ".join(str(name) for name in names)
