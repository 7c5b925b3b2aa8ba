"""The journal of one changeover, as it stands in the hangar."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from rotorwright.hangar.files import KeptFile
    from rotorwright.hangar.journal import Event, JsonValue
    from rotorwright.hangar.store import Hangar


class HangarJournal:
    """One changeover's events and kept files. `now` gives the time of day, ISO 8601 UTC."""

    def __init__(self, hangar: Hangar, changeover_id: str, *, now: Callable[[], str]) -> None:
        self._hangar = hangar
        self._changeover_id = changeover_id
        self._now = now
        self._sequence = len(hangar.events(changeover_id))

    @property
    def changeover_id(self) -> str:
        """Name of the changeover in the hangar."""
        return self._changeover_id

    def events(self) -> Sequence[Event]:
        """Return every event so far, its chain checked."""
        return self._hangar.events(self._changeover_id)

    def append(self, kind: str, facts: Mapping[str, JsonValue]) -> Event:
        """Commit one event; refuses when somebody else wrote into the journal meanwhile."""
        event = self._hangar.append(
            self._changeover_id, str(kind), facts, self._now(), expected_sequence=self._sequence + 1
        )
        self._sequence = event.sequence
        return event

    def keep(self, name: str, data: bytes) -> KeptFile:
        """Write a file that is never overwritten, flushed and read back."""
        return self._hangar.keep(self._changeover_id, name, data)

    def fetch(self, kept: KeptFile) -> bytes:
        """Return a kept file, its digest checked."""
        return self._hangar.fetch(self._changeover_id, kept)

    def path_of(self, kept: KeptFile) -> Path:
        """Return where a kept file is."""
        return self._hangar.folder_of(self._changeover_id) / kept.name
