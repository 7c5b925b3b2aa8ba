"""The hangar: which aircraft there are, their changeovers, each with its journal and its kept files.

A folder holds it all: `hangar.db` (SQLite, each commit durable before the call returns) and one folder per changeover
under `changeovers/`. Importing this module loads the database library; faces import it inside their commands.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path
    from types import TracebackType

    from rotorwright.hangar.files import KeptFile
    from rotorwright.hangar.journal import Event, JsonValue

DATABASE_NAME = "hangar.db"


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


class Hangar:
    """An open hangar. Use as a context, or call `close`."""

    @classmethod
    def open(cls, folder: Path, *, database_url: str | None = None) -> Hangar:
        """Open the hangar in `folder`, made when missing; its database is brought to the newest form, a copy kept.

        With `database_url`, rows go to that PostgreSQL database; kept files and locks stay in `folder`.
        """
        raise NotImplementedError

    def close(self) -> None:
        """Give the database back; harmless when closed already."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def remember_aircraft(
        self, *, unique_id: str, family: str, release: str, board: str, at: str, airframe: str = ""
    ) -> None:
        """Note that this aircraft was seen; an empty `airframe` leaves the name it had."""
        raise NotImplementedError

    def aircraft(self) -> tuple[AircraftRow, ...]:
        """Return every aircraft as last seen, in the order of their first arrival."""
        raise NotImplementedError

    def new_changeover(self, unique_id: str, at: str) -> str:
        """Begin a changeover of this aircraft and return its id."""
        raise NotImplementedError

    def changeovers(self) -> tuple[ChangeoverRow, ...]:
        """Return every changeover, oldest first."""
        raise NotImplementedError

    def append(
        self,
        changeover_id: str,
        kind: str,
        facts: Mapping[str, JsonValue],
        at: str,
        *,
        expected_sequence: int | None = None,
    ) -> Event:
        """Add an event to the journal; it is on the disk when this returns.

        With `expected_sequence`, the number that the event must get.

        Raises:
            ConcurrentChangeoverError: the event would get another number; nothing was added.
            EventFactsError: the facts are not canonical JSON; nothing was added.
            UnknownChangeoverError: no such changeover.
            HangarNotOpenedError: the database refused; nothing was added.
        """
        raise NotImplementedError

    def events(self, changeover_id: str) -> tuple[Event, ...]:
        """Return the journal, its chain verified.

        Raises:
            JournalDamagedError: names the first event that does not fit.
            UnknownChangeoverError: no such changeover.
        """
        raise NotImplementedError

    def folder_of(self, changeover_id: str) -> Path:
        """Return the folder for the files of this changeover; it exists."""
        raise NotImplementedError

    def keep(self, changeover_id: str, name: str, data: bytes) -> KeptFile:
        """Keep `data` under `name` in the changeover's folder; see `files.write_kept_file`."""
        raise NotImplementedError

    def fetch(self, changeover_id: str, kept: KeptFile) -> bytes:
        """Return the content of a kept file, its digest checked; see `files.read_kept_file`."""
        raise NotImplementedError

    @contextlib.contextmanager
    def lock(self, changeover_id: str) -> Iterator[None]:
        """Let nobody else work on this changeover while the context lasts; a dead process holds nothing.

        Raises:
            ChangeoverBusyError: another process, or another place in this one, works on it.
        """
        raise NotImplementedError
        yield
