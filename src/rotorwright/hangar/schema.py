"""Bring the database of a hangar to the newest form, or refuse one that is newer than known.

Alembic is loaded only when there is something to do. An older SQLite database is copied beside itself first; the
migration then runs in one transaction, so a stop at any place leaves the old form or the new one.
"""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import func, inspect, select, text

from rotorwright.hangar.database import for_writing
from rotorwright.hangar.errors import HangarDamagedError, NewerHangarError
from rotorwright.hangar.files import publish_part, sync_folder

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

_MIGRATION_LOCK = 0x526F746F72  # any number will do as long as every Rotorwright takes the same
_SCRIPTS = Path(__file__).parent / "migrations"


@dataclass(frozen=True, slots=True)
class Migrations:
    """The forms that are known, oldest first, and the folders of the modules that lead to them."""

    revisions: tuple[str, ...]
    folders: tuple[Path, ...]

    @property
    def newest(self) -> str:
        """The form that this Rotorwright works with."""
        return self.revisions[-1]


SHIPPED = Migrations(revisions=("0001", "0002"), folders=(_SCRIPTS / "versions",))


def bring_sqlite_up_to_date(engine: Engine, database: Path, migrations: Migrations = SHIPPED) -> None:
    """Make, migrate or just accept the SQLite file `database`, which `engine` leads to.

    Raises:
        NewerHangarError, HangarDamagedError: refused; nothing was touched.
        sqlite3.Error, sqlalchemy.exc.DBAPIError: the database refused.
        OSError: the copy could not be written; the database is as it was.
    """
    found = _stored_in_file(database)
    _refuse_unknown(found, str(database), migrations)
    if found == migrations.newest:
        return
    if found is not None:
        _copy_aside(database, found)
    _migrate(engine, migrations)
    sync_folder(database.parent)


def bring_postgresql_up_to_date(engine: Engine, place: str, migrations: Migrations = SHIPPED) -> None:
    """Make, migrate or just accept the tables that `engine` leads to; copies are the database keeper's.

    Raises:
        NewerHangarError, HangarDamagedError: refused; nothing was touched.
        sqlalchemy.exc.DBAPIError: the database refused.
    """
    with engine.connect() as connection:
        found = _stored_behind(connection)
    _refuse_unknown(found, place, migrations)
    if found != migrations.newest:
        _migrate(engine, migrations)


def _stored_in_file(database: Path) -> str | None:
    """Return the form of the file, None when there is none yet. The file is not written to, whatever it is."""
    if not database.exists():
        return None
    with contextlib.closing(_open_to_look(database)) as connection:
        connection.execute("BEGIN")
        _refuse_damaged(connection, database)
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not tables:
            return None
        if "alembic_version" not in tables:
            raise _not_a_hangar(str(database))
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        return row[0] if row else None


def _refuse_damaged(connection: sqlite3.Connection, database: Path) -> None:
    """Look through the whole file: a lost page would else show as events that never were.

    6 ms for a hangar of 100 changeovers with 150 events each (7.9 MB, measured 2026-11 on a 2-core machine).
    """
    found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(3)")]
    if found != ["ok"]:
        raise HangarDamagedError(
            f"The hangar {database} is damaged: {'; '.join(found)}.",
            why="The disk is failing, a copy was cut short, or another program wrote into the file.",
            state="Nothing was sent to the aircraft, and nothing was touched. The kept files of the changeovers"
            " beside it have digests of their own and may be good.",
            todo="Copy the whole folder to another disk, then choose an empty hangar folder with ROTORWRIGHT_HANGAR.",
            place=str(database),
        )


def _open_to_look(database: Path) -> sqlite3.Connection:
    # A reader of a write-ahead log makes side files that it cannot remove: without a log we go round it. What a stop
    # left in a rollback journal only a writer may undo.
    log, journal = (database.with_name(f"{database.name}-{kind}") for kind in ("wal", "journal"))
    way = "mode=rw" if journal.exists() else "mode=ro" if log.exists() else "immutable=1"
    return sqlite3.connect(f"{database.absolute().as_uri()}?{way}", uri=True, isolation_level=None)


def _stored_behind(connection: Connection) -> str | None:
    tables = set(inspect(connection).get_table_names())
    if "alembic_version" not in tables:
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def _refuse_unknown(found: str | None, place: str, migrations: Migrations) -> None:
    if found is None or found in migrations.revisions:
        return
    raise NewerHangarError(
        f"The hangar {place} has form {found}; this Rotorwright knows {', '.join(migrations.revisions)}.",
        why="A newer Rotorwright made or changed it, and an older one could not read it truly.",
        state="Nothing was sent to the aircraft, and nothing in the hangar was touched.",
        todo="Use the newer Rotorwright, or choose another hangar folder with ROTORWRIGHT_HANGAR.",
        place=place,
        found=found,
        newest_known=migrations.newest,
    )


def _not_a_hangar(place: str) -> HangarDamagedError:
    return HangarDamagedError(
        f"{place} is a database, but not one of a hangar.",
        why="Another program made it, or it was damaged.",
        state="Nothing was sent to the aircraft, and nothing in the file was touched.",
        todo="Choose another hangar folder with ROTORWRIGHT_HANGAR.",
        place=place,
    )


def _copy_aside(database: Path, revision: str) -> Path:
    """Copy the database, its write-ahead log included, to a name that is free, and let the copy reach the disk."""
    part = database.with_name(f".{database.name}.{revision}.part")
    part.unlink(missing_ok=True)  # half a copy of an earlier try; the database itself was not changed by it
    with contextlib.closing(_open_to_look(database)) as source, contextlib.closing(sqlite3.connect(part)) as target:
        source.backup(target)
    return publish_part(part, _free_copy_name(database, revision))


def _free_copy_name(database: Path, revision: str) -> Path:
    copy = database.with_name(f"{database.stem}-{revision}.bak")
    number = 1
    while copy.exists():
        number += 1
        copy = database.with_name(f"{database.stem}-{revision}-{number}.bak")
    return copy


def _migrate(engine: Engine, migrations: Migrations) -> None:
    from alembic import command  # noqa: PLC0415 - most starts have nothing to migrate and need not load it
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", _escaped(_SCRIPTS))
    config.set_main_option("path_separator", "newline")
    config.set_main_option("version_locations", "\n".join(_escaped(folder) for folder in migrations.folders))
    with for_writing(engine).begin() as connection:
        if connection.dialect.name == "postgresql":  # where a writer is not alone by itself
            connection.execute(select(func.pg_advisory_xact_lock(_MIGRATION_LOCK)))
        config.attributes["connection"] = connection
        command.upgrade(config, migrations.newest)


def _escaped(path: Path) -> str:
    return str(path).replace("%", "%%")
