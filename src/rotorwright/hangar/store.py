"""The hangar: which aircraft there are, their changeovers, each with its journal and its kept files.

A folder holds it all: `hangar.db` (SQLite, each commit durable before the call returns) and one folder per changeover
under `changeovers/`. Importing this module loads the database library; faces import it inside their commands.
"""

from __future__ import annotations

import contextlib
import re
from typing import TYPE_CHECKING, NoReturn, Self

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError

from rotorwright.hangar.database import database_errors, for_writing, postgresql_engine, sqlite_engine
from rotorwright.hangar.errors import (
    ChangeoverBusyError,
    ConcurrentChangeoverError,
    UnknownChangeoverError,
)
from rotorwright.hangar.files import (
    KeptFile,
    check_kept_name,
    disk_error,
    read_kept_file,
    set_aside,
    sync_folder,
    write_kept_file,
)
from rotorwright.hangar.journal import (
    Event,
    JsonValue,
    canonical_json,
    chain_start,
    damaged_journal,
    next_event,
    parse_facts,
    verify_chain,
    verify_event,
)
from rotorwright.hangar.lock import locked_file
from rotorwright.hangar.rows import AircraftRow, ChangeoverRow
from rotorwright.hangar.schema import bring_postgresql_up_to_date, bring_sqlite_up_to_date
from rotorwright.hangar.tables import CHANGEOVERS, EVENTS, SIGHTINGS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path
    from types import TracebackType

    from sqlalchemy import Connection, Engine, Row

__all__ = ["AircraftRow", "ChangeoverRow", "Hangar", "KeptFile"]

DATABASE_NAME = "hangar.db"
CHANGEOVERS_FOLDER = "changeovers"
LOCK_NAME = ".in-use"  # begins with a dot, so no kept file can have this name

_CHANGEOVER_ID = re.compile(r"c([0-9]{4,9})\Z")


class Hangar:
    """An open hangar. Use as a context, or call `close`."""

    def __init__(self, folder: Path, engine: Engine, *, place: str) -> None:
        self._folder = folder
        self._engine = engine
        self._place = place
        self._starts: dict[int, str] = {}

    @classmethod
    def open(cls, folder: Path, *, database_url: str | None = None) -> Hangar:
        """Open the hangar in `folder`, made when missing; its database is brought to the newest form, a copy kept.

        With `database_url`, rows go to that PostgreSQL database; kept files and locks stay in `folder`.

        Raises:
            NewerHangarError, HangarDamagedError, DatabaseUrlError: refused; nothing was touched.
            HangarNotOpenedError, DiskError: the database or the folder cannot be used now.
        """
        try:
            _make_folder(folder)
            return cls._open_sqlite(folder) if database_url is None else cls._open_postgresql(folder, database_url)
        except OSError as error:
            raise disk_error(error, folder, act="opened") from error

    @classmethod
    def _open_sqlite(cls, folder: Path) -> Hangar:
        database = folder / DATABASE_NAME
        engine = sqlite_engine(database)
        with _closed_on_error(engine), database_errors(str(database)):
            bring_sqlite_up_to_date(engine, database)
        return cls(folder, engine, place=str(database))

    @classmethod
    def _open_postgresql(cls, folder: Path, url: str) -> Hangar:
        engine = postgresql_engine(url)
        place = engine.url.render_as_string(hide_password=True)
        with _closed_on_error(engine), database_errors(place):
            bring_postgresql_up_to_date(engine, place)
        return cls(folder, engine, place=place)

    def close(self) -> None:
        """Give the database back; harmless when closed already."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def folder(self) -> Path:
        """The folder that holds it all."""
        return self._folder

    def remember_aircraft(
        self, *, unique_id: str, family: str, release: str, board: str, at: str, airframe: str = ""
    ) -> None:
        """Note that this aircraft was seen; an empty `airframe` leaves the name it had."""
        sighting = {
            "unique_id": unique_id,
            "family": family,
            "release": release,
            "board": board,
            "airframe": airframe,
            "seen_at": at,
        }
        with self.writing() as connection:
            connection.execute(insert(SIGHTINGS).values(sighting))

    def aircraft(self) -> tuple[AircraftRow, ...]:
        """Return every aircraft as last seen, in the order of their first arrival."""
        with self.reading() as connection:
            sightings = connection.execute(select(SIGHTINGS).order_by(SIGHTINGS.c.number)).all()
        known: dict[str, AircraftRow] = {}
        for sighting in sightings:
            known[sighting.unique_id] = _seen_again(known.get(sighting.unique_id), sighting)
        return tuple(known.values())

    def new_changeover(self, unique_id: str, at: str) -> str:
        """Begin a changeover of this aircraft and return its id."""
        with self.writing() as connection:
            new = insert(CHANGEOVERS).values(unique_id=unique_id, started_at=at).returning(CHANGEOVERS.c.number)
            number = connection.execute(new).scalar_one()
        return changeover_id_of(number)

    def changeovers(self) -> tuple[ChangeoverRow, ...]:
        """Return every changeover, oldest first."""
        with self.reading() as connection:
            rows = connection.execute(select(CHANGEOVERS).order_by(CHANGEOVERS.c.number)).all()
        return tuple(ChangeoverRow(changeover_id_of(row.number), row.unique_id, row.started_at) for row in rows)

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
            JournalDamagedError: the last event there is not as it was written; nothing was added.
            EventFactsError: the facts are not canonical JSON; nothing was added.
            UnknownChangeoverError: no such changeover.
            HangarNotOpenedError, DiskError: the database refused; nothing was acknowledged.
        """
        number = self._number(changeover_id)
        try:
            with self.writing() as connection:
                start = self._start(connection, number)
                last = _last_event(connection, number)
                event = next_event(last, kind, facts, at, start=start)
                if expected_sequence not in {None, event.sequence}:
                    _refuse_second_writer(changeover_id, expected=expected_sequence, found=event.sequence)
                connection.execute(insert(EVENTS).values(_event_columns(number, event)))
        except IntegrityError:  # PostgreSQL lets two writers look at the same last event; one of them fails here
            _refuse_second_writer(changeover_id, expected=expected_sequence, found=None)
        return event

    def events(self, changeover_id: str) -> tuple[Event, ...]:
        """Return the journal, its chain verified.

        Raises:
            JournalDamagedError: names the first event that does not fit.
            UnknownChangeoverError: no such changeover.
        """
        number = self._number(changeover_id)
        wanted = select(EVENTS).where(EVENTS.c.changeover == number).order_by(EVENTS.c.sequence)
        with self.reading() as connection:
            start = self._start(connection, number)
            events = tuple(event_of(row) for row in connection.execute(wanted))
        verify_chain(events, start=start)
        return events

    def kept_folder(self, name: str) -> Path:
        """Return the folder `name` of the hangar, for files that belong to no changeover; it exists.

        Raises:
            KeptNameError: the name could lead elsewhere.
            DiskError: the folder cannot be made.
        """
        check_kept_name(name)
        return _made_folder(self._folder / name)

    def folder_of(self, changeover_id: str) -> Path:
        """Return the folder for the files of this changeover; it exists.

        Raises:
            UnknownChangeoverError: no such changeover.
            DiskError: the folder cannot be made.
        """
        number = self._number(changeover_id)
        with self.reading() as connection:
            self._start(connection, number)
        return _made_folder(self._folder / CHANGEOVERS_FOLDER / changeover_id_of(number))

    def keep(self, changeover_id: str, name: str, data: bytes) -> KeptFile:
        """Keep `data` under `name` in the changeover's folder; see `files.write_kept_file`."""
        return write_kept_file(self._kept_path(changeover_id, name), data)

    def fetch(self, changeover_id: str, kept: KeptFile) -> bytes:
        """Return the content of a kept file, its digest checked; see `files.read_kept_file`."""
        return read_kept_file(self._kept_path(changeover_id, kept.name), kept.sha256)

    def set_aside(self, changeover_id: str, name: str) -> Path:
        """Give a damaged kept file another name, so that it can be kept anew, and return that name."""
        return set_aside(self._kept_path(changeover_id, name))

    @contextlib.contextmanager
    def lock(self, changeover_id: str) -> Iterator[None]:
        """Let nobody else work on this changeover while the context lasts; a dead process holds nothing.

        Raises:
            ChangeoverBusyError: another process, or another place in this one, works on it.
            DiskError: the place cannot be locked.
        """
        path = self.folder_of(changeover_id) / LOCK_NAME
        with contextlib.ExitStack() as stack:
            try:
                holder = stack.enter_context(locked_file(path))
            except OSError as error:
                raise disk_error(error, path, act="locked") from error
            if holder is not None:
                raise _busy(changeover_id, holder)
            yield

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """Hand out a connection for one transaction that reads. For the modules of the hangar."""
        with database_errors(self._place), self._engine.begin() as connection:
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """Hand out a connection for one transaction that writes, committed when the block ends."""
        with database_errors(self._place), for_writing(self._engine).begin() as connection:
            yield connection

    def _kept_path(self, changeover_id: str, name: str) -> Path:
        check_kept_name(name)  # before it becomes a path: `..` and `/` must not lead out of the folder
        return self.folder_of(changeover_id) / name

    def _number(self, changeover_id: str) -> int:
        match = _CHANGEOVER_ID.match(changeover_id)
        if match is None or changeover_id_of(int(match[1])) != changeover_id:
            raise _unknown(changeover_id, self._place)
        return int(match[1])

    def _start(self, connection: Connection, number: int) -> str:
        """Return what the first event of this changeover is bound to; the row never changes, so it is read once."""
        if number not in self._starts:
            row = connection.execute(select(CHANGEOVERS).where(CHANGEOVERS.c.number == number)).first()
            if row is None:
                raise _unknown(changeover_id_of(number), self._place)
            self._starts[number] = chain_start(
                changeover_id_of(number), unique_id=row.unique_id, started_at=row.started_at
            )
        return self._starts[number]


@contextlib.contextmanager
def _closed_on_error(engine: Engine) -> Iterator[None]:
    try:
        yield
    except BaseException:
        engine.dispose()
        raise


def _made_folder(folder: Path) -> Path:
    try:
        _make_folder(folder)
    except OSError as error:
        raise disk_error(error, folder, act="made") from error
    return folder


def _make_folder(folder: Path) -> None:
    """Make `folder` and those above it, and let their names reach the disk."""
    if folder.is_dir():
        return
    _make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def changeover_id_of(number: int) -> str:
    """Return the name of a changeover, `c0001` for 1."""
    return f"c{number:04d}"


def _seen_again(before: AircraftRow | None, sighting: Row[tuple[object, ...]]) -> AircraftRow:
    return AircraftRow(
        unique_id=sighting.unique_id,
        family=sighting.family,
        release=sighting.release,
        board=sighting.board,
        airframe=sighting.airframe or (before.airframe if before else ""),
        first_seen_at=before.first_seen_at if before else sighting.seen_at,
        last_seen_at=sighting.seen_at,
    )


def _last_event(connection: Connection, number: int) -> Event | None:
    wanted = select(EVENTS).where(EVENTS.c.changeover == number).order_by(EVENTS.c.sequence.desc()).limit(1)
    row = connection.execute(wanted).first()
    if row is None:
        return None
    last = event_of(row)
    verify_event(last)  # nothing is bound to an event that is damaged
    return last


def _event_columns(number: int, event: Event) -> dict[str, object]:
    return {
        "changeover": number,
        "sequence": event.sequence,
        "kind": event.kind,
        "facts": canonical_json(event.facts).decode(),
        "at": event.at,
        "previous_sha256": event.previous_sha256,
        "sha256": event.sha256,
    }


def event_of(row: Row[tuple[object, ...]]) -> Event:
    """Return the event in a row, not verified.

    Raises:
        JournalDamagedError: its facts cannot be read.
    """
    try:
        facts = parse_facts(row.facts)
    except (ValueError, TypeError, RecursionError) as error:
        raise damaged_journal(row.sequence, f"the facts of event {row.sequence} cannot be read") from error
    return Event(row.sequence, row.kind, facts, row.at, row.previous_sha256, row.sha256)


def _refuse_second_writer(changeover_id: str, *, expected: int | None, found: int | None) -> NoReturn:
    raise ConcurrentChangeoverError(
        f"Somebody else added to the journal of changeover {changeover_id}: this event was to be number {expected}, "
        f"but the next one is number {found}.",
        why="Two programs work on the same changeover; two people may hold the same aircraft. What it did is unknown.",
        state="Nothing was sent to the aircraft for this event, and it was not added.",
        todo=f"Find the other one and let only one go on; then run: rotorwright resume {changeover_id}",
        changeover=changeover_id,
        expected=expected,
        found=found,
    )


def _busy(changeover_id: str, holder: int) -> ChangeoverBusyError:
    who = f"process {holder}" if holder else "another process"
    return ChangeoverBusyError(
        f"Changeover {changeover_id} is being worked on by {who}.",
        why="Only one at a time may work on a changeover, or both would write to the same aircraft.",
        state="Nothing was sent to the aircraft from here. The other one goes on undisturbed.",
        todo=f"Let the other one finish, or end it; then run: rotorwright resume {changeover_id}",
        changeover=changeover_id,
        process=holder,
    )


def _unknown(changeover_id: str, place: str) -> UnknownChangeoverError:
    return UnknownChangeoverError(
        f"There is no changeover {changeover_id!r} in the hangar {place}.",
        why="The name is misspelled, or the changeover is in another hangar.",
        todo="Check the name; if there is another hangar folder, name it with ROTORWRIGHT_HANGAR.",
        changeover=changeover_id,
        place=place,
    )
