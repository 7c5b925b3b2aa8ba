"""What the hangar knows of aircraft and changeovers, as plain facts."""

from __future__ import annotations

from dataclasses import dataclass


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
