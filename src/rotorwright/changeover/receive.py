"""Stage receive: which aircraft is it, and a complete copy of what it holds."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.reading import read_catalogue_if_any, read_display_if_any, read_twice
from rotorwright.changeover.state import identity_facts
from rotorwright.errors import WrongAircraftError
from rotorwright.settings.catalogue import Catalogue, parse_catalogue, print_catalogue
from rotorwright.settings.snapshot import Snapshot, parse_snapshot, print_snapshot

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.hangar.files import KeptFile
    from rotorwright.hangar.journal import JsonValue
    from rotorwright.settings.identity import Identity


# A kept file never changes, so its content is the key: one job asks for the same ones many times.
_parse_catalogue = lru_cache(maxsize=4)(parse_catalogue)
_parse_snapshot = lru_cache(maxsize=8)(parse_snapshot)


def identify(shop: Workshop) -> None:
    """Hear which aircraft is on the port."""
    with shop.application() as link:
        identity = link.read_identity()
    shop.note(EventKind.AIRCRAFT_RECEIVED, **identity_facts(identity))
    shop.person.tell(f"{identity.board}, {identity.family} {identity.release}, id {identity.unique_id}")


def save(shop: Workshop) -> None:
    """Read every setting twice, compare, and keep the snapshot, the catalogue and the display characters.

    Raises:
        SnapshotReadsDifferError: the two readings differ in a setting that is no measured value.
    """
    with shop.application() as link:
        identity = link.read_identity()
        catalogue = read_catalogue_if_any(link)
        settings = read_twice(link, catalogue, shop.progress)
        display = read_display_if_any(link)
    snapshot = Snapshot(identity=identity, settings=settings, taken_at=shop.now())
    file = keep_snapshot(shop, "as-found", snapshot)
    known = None if catalogue is None else print_catalogue(catalogue)
    facts: dict[str, JsonValue] = {
        "file": kept_facts(file),
        "snapshot_sha256": snapshot.sha256,
        "settings": len(settings),
        "readings": 2,
        "catalogue": _kept_or_none(shop, "old-catalogue", "json", known),
        "display": _kept_or_none(shop, "old-display", "bin", display),
    }
    shop.note(EventKind.SNAPSHOT_SAVED, **facts)
    prove_copy(shop)


def prove_copy(shop: Workshop) -> Snapshot:
    """Read the as-found snapshot back from disk, check its digest, and note the gate.

    Raises:
        StorageError, SettingsError: the copy is damaged.
    """
    snapshot = as_found(shop)
    assert shop.state.as_found is not None
    shop.pass_measured(
        Gate.SNAPSHOT_ON_DISK,
        f"{len(snapshot.settings)} settings in {shop.state.as_found.name}, read twice, SHA-256 {snapshot.sha256[:16]}",
    )
    return snapshot


def snapshot_from(shop: Workshop, kept: KeptFile | None) -> Snapshot | None:
    """Return a kept snapshot."""
    return _parse_snapshot(shop.journal.fetch(kept), source=kept.name) if kept else None


def as_found(shop: Workshop) -> Snapshot:
    """Return the as-found snapshot from disk.

    Raises:
        WrongAircraftError: it is the snapshot of another aircraft.
    """
    kept, received = shop.state.as_found, shop.state.received
    assert kept is not None
    assert received is not None
    snapshot = _parse_snapshot(shop.journal.fetch(kept), source=kept.name)
    require_own_snapshot(received, snapshot, source=kept.name)
    return snapshot


def require_own_snapshot(received: Identity, snapshot: Snapshot, *, source: str) -> None:
    """Refuse a snapshot that was taken of another aircraft.

    Raises:
        WrongAircraftError: it was.
    """
    if snapshot.identity.unique_id == received.unique_id:
        return
    raise WrongAircraftError(
        f"{source} is the snapshot of {snapshot.identity.unique_id}; this changeover is for {received.unique_id}.",
        why="Settings of one aircraft, its calibration above all, do not belong on another.",
        todo="Save the settings of this aircraft, or connect the one that the snapshot was taken of.",
        expected=received.unique_id,
        found=snapshot.identity.unique_id,
    )


def keep_snapshot(shop: Workshop, name: str, snapshot: Snapshot) -> KeptFile:
    """Keep a snapshot under a name that tells its content, so a second reading never meets the first one's file."""
    data = print_snapshot(snapshot)
    return keep_content(shop, name, "json", data)


def keep_content(shop: Workshop, name: str, suffix: str, data: bytes) -> KeptFile:
    """Keep `data` as `name`-<first digits of its SHA-256>.`suffix`."""
    return shop.journal.keep(f"{name}-{hashlib.sha256(data).hexdigest()[:12]}.{suffix}", data)


def catalogue_from(shop: Workshop, kept: KeptFile | None) -> Catalogue | None:
    """Return a kept catalogue."""
    return _parse_catalogue(shop.journal.fetch(kept)) if kept else None


def _kept_or_none(shop: Workshop, name: str, suffix: str, data: bytes | None) -> dict[str, JsonValue] | None:
    return kept_facts(keep_content(shop, name, suffix, data)) if data else None
