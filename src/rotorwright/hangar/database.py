"""The database of the hangar: how it is reached, how safely it writes, and what its refusals mean.

SQLite, for the very commit: write-ahead log, and `synchronous=FULL`, which syncs that log at every commit (SQLite
documentation, "PRAGMA synchronous" and "Write-Ahead Logging"), so an event that was acknowledged outlives a power cut.
"""

from __future__ import annotations

import contextlib
import sqlite3
from typing import TYPE_CHECKING

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError

from rotorwright.hangar.errors import (
    DatabaseUrlError,
    DiskError,
    DiskFullError,
    HangarDamagedError,
    HangarNotOpenedError,
    NoPermissionError,
    ReadOnlyPlaceError,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from rotorwright.errors import StorageError

BUSY_TIMEOUT_MS = 5000  # how long one writer waits for another; a commit takes about a millisecond

_WRITES = "rotorwright_writes"


def sqlite_engine(database: Path) -> Engine:
    """Return the way to this SQLite file. Nothing is opened yet."""
    engine = create_engine(URL.create("sqlite+pysqlite", database=str(database)))
    event.listen(engine, "connect", _set_up_connection)
    event.listen(engine, "begin", _begin)
    return engine


def postgresql_engine(url: str) -> Engine:
    """Return the way to this PostgreSQL database. Nothing is opened yet.

    Raises:
        DatabaseUrlError: no PostgreSQL URL, or the driver package is not installed.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise _bad_url("This is no database URL.", "It could not be read as one.") from error
    shown = parsed.render_as_string(hide_password=True)
    if parsed.get_backend_name() not in {"postgresql", "postgres"}:
        raise _bad_url(
            f"{shown} names no PostgreSQL database.", "Only PostgreSQL is reached by URL; SQLite needs none."
        )
    try:
        return create_engine(parsed.set(drivername="postgresql+psycopg"))
    except ModuleNotFoundError as error:
        raise DatabaseUrlError(
            f"{shown} cannot be reached: the package psycopg is not installed.",
            why="PostgreSQL needs a driver, which most people never need, so it does not come with Rotorwright.",
            todo='Run: pip install "psycopg[binary]>=3", then say it again.',
            url=shown,
        ) from error
    except (ArgumentError, NoSuchModuleError) as error:
        raise _bad_url(f"{shown} cannot be used.", str(error)) from error


def for_writing(engine: Engine) -> Engine:
    """Return the same way, but each transaction is the only writer from its very start."""
    return engine.execution_options(**{_WRITES: True})


@contextlib.contextmanager
def database_errors(place: str) -> Iterator[None]:
    """Turn what the database layer raises into errors that a person can act on; `place` is named in them.

    A broken constraint passes through: only the caller knows what it means.
    """
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as error:
        raise _explained(place, error.orig) from error
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise _explained(place, error) from error


def _set_up_connection(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # transactions begin where we say so, and tables are made inside them
    connection.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


_BY_SQLITE_CODE: dict[int, tuple[type[StorageError], str, str]] = {
    sqlite3.SQLITE_FULL: (
        DiskFullError,
        "The disk, or this user's share of it, is full.",
        "Free some space, then say it again.",
    ),
    sqlite3.SQLITE_PERM: (
        NoPermissionError,
        "This user may not use the file.",
        "Give this user the right to the folder, or choose another with ROTORWRIGHT_HANGAR, then say it again.",
    ),
    sqlite3.SQLITE_READONLY: (
        ReadOnlyPlaceError,
        "The file, its folder or the disk is read-only for this user.",
        "Give this user the right to the folder, or choose another with ROTORWRIGHT_HANGAR, then say it again.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        NoPermissionError,
        "The file or its folder is not there, or this user may not open it.",
        "Check the folder and the rights to it, or choose another with ROTORWRIGHT_HANGAR, then say it again.",
    ),
    sqlite3.SQLITE_BUSY: (
        HangarNotOpenedError,
        f"Another program has been writing to it for more than {BUSY_TIMEOUT_MS // 1000} seconds.",
        "Let the other one finish, then say it again.",
    ),
    sqlite3.SQLITE_IOERR: (
        DiskError,
        "The disk refused to read or write; it may be failing, full or gone.",
        "Check that the disk is there and sound, then say it again.",
    ),
    sqlite3.SQLITE_CORRUPT: (
        HangarDamagedError,
        "The file is damaged: the disk is failing, or another program wrote into it.",
        "Copy the whole folder to another disk, then choose an empty hangar folder with ROTORWRIGHT_HANGAR.",
    ),
    sqlite3.SQLITE_NOTADB: (
        HangarDamagedError,
        "The file is no database: it is damaged, or another program's.",
        "Copy the whole folder to another disk, then choose an empty hangar folder with ROTORWRIGHT_HANGAR.",
    ),
}
"""Primary result code -> error, why, what to do. Codes: SQLite documentation, "Result and Error Codes", section 4."""


_NO_REASON: tuple[type[StorageError], str, str] = (
    HangarNotOpenedError,
    "The database gave no other reason.",
    "Check that the database runs, then say it again.",
)


def _explained(place: str, error: BaseException | None) -> StorageError:
    code = getattr(error, "sqlite_errorcode", None)
    if code is None and isinstance(error, sqlite3.OperationalError | UnicodeDecodeError):
        code = (
            sqlite3.SQLITE_CORRUPT
        )  # the library refuses text that is not UTF-8 without a code; we write no such text
    kind, why, todo = (
        _NO_REASON if code is None else _BY_SQLITE_CODE.get(code & 0xFF, _NO_REASON)
    )  # section 2: low byte
    return kind(
        f"The hangar {place} cannot be used: {error}.",
        why=why,
        state="Nothing was sent to the aircraft for this. What was written to the hangar before is as it was.",
        todo=todo,
        place=place,
        sqlite_code=code,
    )


def _bad_url(what: str, why: str) -> DatabaseUrlError:
    return DatabaseUrlError(
        what, why=why, todo="Give a URL like postgresql://user@host/name, or none at all for SQLite."
    )
