"""Histories of general-purpose software, as tasks for the search for successors.

Sources, each row of each file with its own evidence:

- `pg_settings_history.csv`, `setting_renames_postgresql.csv`: PostgreSQL 10 to 18, lists read from running servers,
  pairs from its release notes.
- `setting_renames_celery.csv`: Celery 3.1.25 to 4.4.7, its own table of old and new names.
- `setting_renames_redis_sshd.csv`: Redis and sshd, aliases that running servers answer to.
- `setting_renames_mavlink_common.csv`: the open MAVLink common message set, pymavlink 2.2.0 to 2.4.50; names of enum
  entries and fields only. The value of an entry is not used: entries of one value are not always successors.
- `setting_renames_airflow.csv`: Apache Airflow 1.10.15 to 2.6.3, made from the `config.yml` of both and the tables of
  deprecated options in 2.6.3 (Apache License 2.0; defaults cut at 60 characters).

The split is by software and release, and fixed: what is measured on the held-out part was never used to choose a
weight, a threshold or a calibration.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.settings.successors import Kind, SettingDescription

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

DATA = Path(__file__).parent / "data"

Row = dict[str, str]


class Part(StrEnum):
    """What a history may be used for."""

    TUNING = "tuning"
    HELD_OUT = "held out"


@dataclass(frozen=True, slots=True)
class History:
    """One step from release to release: what vanished, what arrived, and which is the successor of which.

    `truth` holds every vanished name; nothing means that it has no successor.
    """

    name: str
    part: Part
    vanished: tuple[SettingDescription, ...]
    arrived: tuple[SettingDescription, ...]
    truth: Mapping[str, str | None]
    old_listing: tuple[str, ...] = ()
    new_listing: tuple[str, ...] = ()


def histories(part: Part) -> tuple[History, ...]:
    """Return the histories of one part, in a fixed order."""
    return tuple(
        each for each in (*_postgresql(), _celery(), *_redis_sshd(), *_mavlink(), _airflow()) if each.part is part
    )


def rows_of(name: str) -> list[Row]:
    """Return the rows of a data file."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _postgresql() -> tuple[History, ...]:
    listed, renames = rows_of("pg_settings_history.csv"), rows_of("setting_renames_postgresql.csv")
    truth = {row["old_name"]: row["new_name"] for row in renames if row["kind"].startswith("rename")}
    return (
        _postgresql_step(listed, truth, 10, 14, Part.TUNING),
        _postgresql_step(listed, truth, 14, 18, Part.HELD_OUT),
    )


def _postgresql_step(listed: list[Row], truth: Mapping[str, str], old: int, new: int, part: Part) -> History:
    before, after = (
        {row["name"]: row for row in listed if int(row["first_major"]) <= major <= int(row["last_major"])}
        for major in (old, new)
    )
    vanished = [before[name] for name in before if name not in after]
    return History(
        name=f"PostgreSQL {old} to {new}",
        part=part,
        vanished=tuple(map(_postgresql_setting, vanished)),
        arrived=tuple(_postgresql_setting(after[name]) for name in after if name not in before),
        truth={row["name"]: truth.get(row["name"]) for row in vanished},
        old_listing=tuple(before),
        new_listing=tuple(after),
    )


def _postgresql_setting(row: Row) -> SettingDescription:
    return SettingDescription(
        name=row["name"],
        kind=_KINDS.get(row["type"], Kind.UNKNOWN),
        unit=row["unit"],
        default=row["default"] or None,
        minimum=float(row["min"]) if row["min"] else None,
        maximum=float(row["max"]) if row["max"] else None,
        choices=tuple(row["enum"].split("|")) if row["enum"] else (),
    )


def _celery() -> History:
    rows = rows_of("setting_renames_celery.csv")
    old, new = "old_name_3_1_25", "new_name_4_4_7"
    return _table("Celery 3.1.25 to 4.4.7", Part.HELD_OUT, rows, old, new)


def _airflow() -> History:
    rows = rows_of("setting_renames_airflow.csv")
    old, new = "old_name_1_10_15", "new_name_2_6_3"
    found = _table("Airflow 1.10.15 to 2.6.3", Part.TUNING, [row for row in rows if row["kind"] != "kept"], old, new)
    places = [(int(row["old_place"] or -1), int(row["new_place"] or -1), row) for row in rows]
    return History(
        name=found.name,
        part=found.part,
        vanished=found.vanished,
        arrived=found.arrived,
        truth=found.truth,
        old_listing=tuple(row[old] for place, _, row in sorted(places, key=lambda each: each[0]) if place >= 0),
        new_listing=tuple(row[new] for _, place, row in sorted(places, key=lambda each: each[1]) if place >= 0),
    )


def _table(name: str, part: Part, rows: Sequence[Row], old: str, new: str) -> History:
    arrived = {row[new]: _table_setting(row, new, "new") for row in rows if row[new]}
    return History(
        name=name,
        part=part,
        vanished=tuple(_table_setting(row, old, "old") for row in rows if row[old]),
        arrived=tuple(arrived.values()),
        truth={row[old]: row[new] or None for row in rows if row[old]},
    )


def _table_setting(row: Row, column: str, side: str) -> SettingDescription:
    name = row[column]
    group, dot, _ = name.partition(".")
    kind = _KINDS.get(row[f"{side}_type"], Kind.UNKNOWN)
    return SettingDescription(name=name, kind=kind, default=row[f"{side}_default"] or None, group=group if dot else "")


def _redis_sshd() -> tuple[History, ...]:
    rows = rows_of("setting_renames_redis_sshd.csv")
    parts = (("redis", "4/5", Part.TUNING), ("redis", "6/7", Part.HELD_OUT), ("sshd", "", Part.TUNING))
    return tuple(
        _names_only(
            f"{program} {between}".strip(),
            part,
            [
                (r["old_name"], r["new_name"] or None)
                for r in rows
                if r["program"] == program and between in r["between"]
            ],
        )
        for program, between, part in parts
    )


def _mavlink() -> tuple[History, ...]:
    rows = [row for row in rows_of("setting_renames_mavlink_common.csv") if row["kind"] != "unit label"]
    found = []
    for release in dict.fromkeys(row["to_pymavlink"] for row in rows):
        here = [row for row in rows if row["to_pymavlink"] == release]
        pairs = [(row["old"], row["new"] if row["reading"] in _SAME_MEANING else None) for row in here]
        part = Part.HELD_OUT if release == "2.4.50" else Part.TUNING
        groups = {row[side]: row["where"] for row in here for side in ("old", "new")}
        found.append(_names_only(f"MAVLink common to {release}", part, pairs, groups, [row["new"] for row in here]))
    return tuple(found)


def _names_only(
    name: str,
    part: Part,
    pairs: Iterable[tuple[str, str | None]],
    groups: Mapping[str, str] | None = None,
    arrived: Sequence[str] | None = None,
) -> History:
    truth = dict(pairs)
    news = arrived if arrived is not None else [new for new in truth.values() if new]
    group = groups or {}
    return History(
        name=name,
        part=part,
        vanished=tuple(SettingDescription(each, group=group.get(each, "")) for each in truth),
        arrived=tuple(SettingDescription(each, group=group.get(each, "")) for each in dict.fromkeys(news)),
        truth=truth,
    )


_SAME_MEANING = frozenset({"name changed, same meaning", "same place and type", "meaning widened"})
_KINDS = {
    "bool": Kind.FLAG,
    "boolean": Kind.FLAG,
    "integer": Kind.WHOLE,
    "int": Kind.WHOLE,
    "real": Kind.REAL,
    "float": Kind.REAL,
    "enum": Kind.CHOICE,
    "string": Kind.TEXT,
    "str": Kind.TEXT,
}
