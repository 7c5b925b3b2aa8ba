"""What the hangar knows of aircraft and changeovers, as plain facts."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.hangar.files import KeptFile


class ReadBy(StrEnum):
    """How settings were read. A console gives texts where MAVLink gives typed values, so the two are kept apart."""

    MAVLINK = "mavlink"
    CONSOLE = "console"


@dataclass(frozen=True, slots=True)
class AircraftRow:
    """An aircraft as it was last seen. `unique_id` is 24 lower-case hex digits; times are ISO 8601 UTC."""

    unique_id: str
    family: str
    release: str
    board: str
    airframe: str
    first_seen_at: str
    last_seen_at: str


@dataclass(frozen=True, slots=True)
class ChangeoverRow:
    """A changeover: its id (`c0001`, counting up), the aircraft, and when it began (ISO 8601 UTC)."""

    id: str
    unique_id: str
    started_at: str


@dataclass(frozen=True, slots=True)
class DefaultsRow:
    """One capture of the defaults of a release fresh on a board.

    Args:
        number: counts up from 1; a larger one was added later.
        family: firmware family, as the aircraft said.
        release: the exact release, `5.2.0`.
        board: name of the board in the words of that release.
        build: git hash of the build, or nothing.
        read_by: how it was read.
        unique_id: of the aircraft that it was read from.
        captured_at: when, ISO 8601 in UTC.
        settings_count: how many settings it has.
        snapshot_sha256: digest of the snapshot, its time left out.
        values_sha256: digest of names, types and values alone; equal where two aircraft gave the same.
        file: the snapshot.
        catalogue_file: the catalogue that the aircraft gave, if it gave one.
    """

    number: int
    family: str
    release: str
    board: str
    build: str
    read_by: ReadBy
    unique_id: str
    captured_at: str
    settings_count: int
    snapshot_sha256: str
    values_sha256: str
    file: KeptFile
    catalogue_file: KeptFile | None
