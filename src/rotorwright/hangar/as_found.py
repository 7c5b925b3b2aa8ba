"""As-found settings of the aircraft that came through: what may be compared to learn what belongs to a board."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from rotorwright.errors import RotorwrightError, SettingsError, StorageError
from rotorwright.hangar.files import KeptFile
from rotorwright.hangar.journal import damaged_journal, verify_event
from rotorwright.hangar.store import changeover_id_of, event_of
from rotorwright.hangar.tables import CHANGEOVERS, EVENTS
from rotorwright.settings.snapshot import parse_snapshot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Row

    from rotorwright.hangar.journal import JsonValue
    from rotorwright.hangar.store import Hangar
    from rotorwright.settings.snapshot import Snapshot

MOST_AIRCRAFT = 200
"""How many aircraft are looked at, the latest first: reading one takes some milliseconds. Our choice, no source."""


@dataclass(frozen=True, slots=True)
class FoundSnapshots:
    """As-found snapshots, the newest of each aircraft.

    Args:
        snapshots: the latest aircraft first.
        unread: what could not be read, one error each; an older snapshot of the same aircraft may stand for it.
        all_read: whether every aircraft there is was looked at.
    """

    snapshots: tuple[Snapshot, ...]
    unread: tuple[RotorwrightError, ...] = ()
    all_read: bool = True


def as_found_snapshots(
    hangar: Hangar, family: str, release: str, *, saved_kind: str, most: int = MOST_AIRCRAFT
) -> FoundSnapshots:
    """Return the newest as-found snapshot of this exact release for each aircraft that has one.

    A damaged file of one aircraft does not stop the work on another: it is listed in `unread`.

    Args:
        hangar: where they are kept.
        family: firmware family.
        release: exact release.
        saved_kind: kind of the journal events whose fact `file` names an as-found snapshot; the job knows it.
        most: how many aircraft to return at most, the latest first.

    Raises:
        StorageError: the database cannot be read.
    """
    found: dict[str, Snapshot] = {}
    unread: list[RotorwrightError] = []
    for row in _saved(hangar, saved_kind):
        if row.unique_id in found:
            continue
        if len(found) == most:
            return FoundSnapshots(tuple(found.values()), tuple(unread), all_read=False)
        try:
            snapshot = _snapshot(hangar, row)
        except (StorageError, SettingsError) as error:
            unread.append(error)
            continue
        if (snapshot.identity.family, snapshot.identity.release) == (family, release):
            found[row.unique_id] = snapshot
    return FoundSnapshots(tuple(found.values()), tuple(unread))


def _saved(hangar: Hangar, kind: str) -> Sequence[Row[tuple[object, ...]]]:
    """Return the events of this kind, each with the aircraft of its changeover, the newest first."""
    wanted = (
        select(EVENTS, CHANGEOVERS.c.unique_id)
        .join(CHANGEOVERS, EVENTS.c.changeover == CHANGEOVERS.c.number)
        .where(EVENTS.c.kind == kind)
        .order_by(EVENTS.c.changeover.desc(), EVENTS.c.sequence.desc())
    )
    with hangar.reading() as connection:
        return connection.execute(wanted).all()


def _snapshot(hangar: Hangar, row: Row[tuple[object, ...]]) -> Snapshot:
    event = event_of(row)
    verify_event(event)
    kept = _kept(event.facts.get("file"), event.sequence)
    snapshot = parse_snapshot(hangar.fetch(changeover_id_of(row.changeover), kept), source=kept.name)
    if snapshot.identity.unique_id != row.unique_id:
        raise damaged_journal(
            event.sequence, f"{kept.name} is of {snapshot.identity.unique_id}, not of {row.unique_id}"
        )
    return snapshot


def _kept(fact: JsonValue, sequence: int) -> KeptFile:
    """Return the kept file that the event names, in the form {"name": ..., "sha256": ..., "bytes": ...}."""
    match fact:
        case {"name": str(name), "sha256": str(digest), "bytes": int(size)}:
            return KeptFile(name, digest, size)
        case _:
            raise damaged_journal(sequence, f"event {sequence} names no kept file")
