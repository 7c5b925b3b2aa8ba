"""Forms of the database: fresh, reopened, of every old form, older than known, newer than known, not ours."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import inspect

from rotorwright.hangar.database import sqlite_engine
from rotorwright.hangar.defaults_library import DefaultsLibrary
from rotorwright.hangar.errors import HangarDamagedError, NewerHangarError
from rotorwright.hangar.schema import SHIPPED, Migrations, bring_sqlite_up_to_date
from rotorwright.hangar.store import Hangar
from rotorwright.hangar.tables import METADATA

DATA = Path(__file__).parent / "data"
UNIQUE_ID = "0f1e2d3c4b5a69788796a5b4"
COPY = f"hangar-{SHIPPED.newest}.bak"

REVISION_0003 = """
import os, signal
import sqlalchemy as sa
from alembic import op

revision, down_revision = "0003", "0002"

def upgrade():
    op.create_table("pilots", sa.Column("name", sa.Text))
    op.execute("INSERT INTO pilots VALUES ('first')")
    {end}
"""


def old_hangar(folder: Path, form: str = SHIPPED.newest) -> Path:
    folder.mkdir(exist_ok=True)
    return Path(shutil.copyfile(DATA / f"hangar-form-{form}.db", folder / "hangar.db"))


def one_more_form(folder: Path, end: str = "pass") -> Migrations:
    """Return the shipped migrations and one more, of tomorrow, that ends as told."""
    folder.mkdir()
    (folder / "revision_0003.py").write_text(REVISION_0003.format(end=end))
    return Migrations((*SHIPPED.revisions, "0003"), (*SHIPPED.folders, folder))


def migrate(database: Path, migrations: Migrations) -> None:
    engine = sqlite_engine(database)
    try:
        bring_sqlite_up_to_date(engine, database, migrations)
    finally:
        engine.dispose()


def rows(database: Path, statement: str) -> list[tuple[object, ...]]:
    with contextlib.closing(sqlite3.connect(database)) as connection:
        return connection.execute(statement).fetchall()


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


def test_the_known_forms_are_those_that_are_shipped() -> None:
    config = Config()
    config.set_main_option("script_location", str(SHIPPED.folders[0].parent))
    config.set_main_option("path_separator", "os")
    scripts = ScriptDirectory.from_config(config)
    assert [script.revision for script in scripts.walk_revisions()][::-1] == list(SHIPPED.revisions)
    assert scripts.get_heads() == [SHIPPED.newest]


def test_every_form_ever_shipped_has_its_stored_hangar() -> None:
    assert {path.stem.removeprefix("hangar-form-") for path in DATA.glob("*.db")} == set(SHIPPED.revisions)


def test_the_migrations_make_the_very_tables_that_the_store_uses(tmp_path: Path) -> None:
    Hangar.open(tmp_path / "migrated").close()
    migrated, declared = sqlite_engine(tmp_path / "migrated" / "hangar.db"), sqlite_engine(tmp_path / "declared.db")
    METADATA.create_all(declared)
    try:
        found, wanted = inspect(migrated), inspect(declared)
        assert set(found.get_table_names()) == {*wanted.get_table_names(), "alembic_version"}
        for table in wanted.get_table_names():
            assert str(found.get_columns(table)) == str(wanted.get_columns(table))
            assert found.get_pk_constraint(table) == wanted.get_pk_constraint(table)
            assert found.get_foreign_keys(table) == wanted.get_foreign_keys(table)
            assert found.get_indexes(table) == wanted.get_indexes(table)
    finally:
        migrated.dispose()
        declared.dispose()


@pytest.mark.parametrize("form", SHIPPED.revisions)
def test_a_hangar_of_every_form_opens_with_all_that_is_in_it(tmp_path: Path, form: str) -> None:
    old_hangar(tmp_path, form)
    with Hangar.open(tmp_path) as hangar:
        (aircraft,) = hangar.aircraft()
        assert (aircraft.unique_id, aircraft.release, aircraft.board) == (UNIQUE_ID, "6.0.0", "Corvane C405")
        assert [row.id for row in hangar.changeovers()] == ["c0001", "c0002"]
        assert [event.facts for event in hangar.events("c0001")] == [
            {"port": "/dev/example"},
            {"settings": 423, "ratio": 0.25},
            {"text": "über"},
        ]
        assert hangar.append("c0001", "later", {}, "2026-11-03T00:00:00Z").sequence == 4


def test_opening_an_up_to_date_hangar_changes_no_byte(tmp_path: Path) -> None:
    old_hangar(tmp_path, SHIPPED.newest)
    before = digests(tmp_path)
    Hangar.open(tmp_path).close()
    assert digests(tmp_path) == before


def test_an_older_hangar_is_copied_first_and_then_migrated(tmp_path: Path) -> None:
    database = old_hangar(tmp_path / "hangar")
    before = database.read_bytes()
    events = rows(database, "SELECT * FROM events")
    migrate(database, one_more_form(tmp_path / "more"))
    assert rows(database, "SELECT version_num FROM alembic_version") == [("0003",)]
    assert rows(database, "SELECT * FROM pilots") == [("first",)]
    assert rows(database, "SELECT * FROM events") == events
    copy = tmp_path / "hangar" / COPY
    assert rows(copy, "SELECT * FROM events") == events
    assert len(copy.read_bytes()) == len(before)


def test_what_is_only_in_the_write_ahead_log_is_in_the_copy_too(tmp_path: Path) -> None:
    database = old_hangar(tmp_path / "hangar")
    with Hangar.open(tmp_path / "hangar") as still_open:
        still_open.append("c0001", "late", {}, "2026-11-03T00:00:00Z")
        assert (tmp_path / "hangar" / "hangar.db-wal").stat().st_size > 0
        migrate(database, one_more_form(tmp_path / "more"))
    late = "SELECT count(*) FROM events WHERE kind = 'late'"
    assert rows(tmp_path / "hangar" / COPY, late) == [(1,)]
    assert rows(database, late) == [(1,)]


def test_the_first_form_shipped_becomes_the_newest_and_its_copy_keeps_the_old_one(tmp_path: Path) -> None:
    database = old_hangar(tmp_path, "0001")
    events = rows(database, "SELECT * FROM events")
    Hangar.open(tmp_path).close()
    assert rows(database, "SELECT version_num FROM alembic_version") == [(SHIPPED.newest,)]
    assert rows(database, "SELECT * FROM events") == events
    assert rows(tmp_path / "hangar-0001.bak", "SELECT version_num FROM alembic_version") == [("0001",)]


def test_captured_defaults_of_the_second_form_are_still_listed(tmp_path: Path) -> None:
    old_hangar(tmp_path, "0002")
    with Hangar.open(tmp_path) as hangar:
        (row,) = DefaultsLibrary(hangar).entries()
    assert (row.number, row.family, row.release, row.board, row.read_by) == (
        1,
        "Thornbill",
        "5.2.0",
        "Corvane One",
        "mavlink",
    )


def test_a_second_copy_takes_another_name(tmp_path: Path) -> None:
    database = old_hangar(tmp_path / "hangar")
    (tmp_path / "hangar" / COPY).write_text("an earlier copy")
    migrate(database, one_more_form(tmp_path / "more"))
    assert (tmp_path / "hangar" / COPY).read_text() == "an earlier copy"
    assert rows(tmp_path / "hangar" / f"hangar-{SHIPPED.newest}-2.bak", "SELECT version_num FROM alembic_version") == [
        (SHIPPED.newest,)
    ]


def test_a_migration_that_fails_leaves_the_old_form(tmp_path: Path) -> None:
    database = old_hangar(tmp_path / "hangar")
    with pytest.raises(ZeroDivisionError):
        migrate(database, one_more_form(tmp_path / "more", end="1 / 0"))
    assert rows(database, "SELECT version_num FROM alembic_version") == [(SHIPPED.newest,)]
    assert rows(database, "SELECT name FROM sqlite_master WHERE name = 'pilots'") == []
    Hangar.open(tmp_path / "hangar").close()


KILLED_MIGRATION = """
import sys
from pathlib import Path
from rotorwright.hangar.database import sqlite_engine
from rotorwright.hangar.schema import SHIPPED, Migrations, bring_sqlite_up_to_date
database, more = map(Path, sys.argv[1:])
forms = Migrations((*SHIPPED.revisions, "0003"), (*SHIPPED.folders, more))
bring_sqlite_up_to_date(sqlite_engine(database), database, forms)
"""


@pytest.mark.skipif(os.name == "nt", reason="needs a signal that nothing can catch")
def test_a_kill_inside_a_migration_leaves_the_old_form_and_the_next_start_finishes_it(tmp_path: Path) -> None:
    database = old_hangar(tmp_path / "hangar")
    one_more_form(tmp_path / "killing", end="os.kill(os.getpid(), signal.SIGKILL)")
    killed = subprocess.run(
        [sys.executable, "-c", KILLED_MIGRATION, str(database), str(tmp_path / "killing")], check=False, timeout=60
    )
    assert killed.returncode == -signal.SIGKILL
    assert rows(database, "SELECT version_num FROM alembic_version") == [(SHIPPED.newest,)]
    Hangar.open(tmp_path / "hangar").close()
    migrate(database, one_more_form(tmp_path / "more"))
    assert rows(database, "SELECT * FROM pilots") == [("first",)]


def test_a_newer_hangar_is_refused_in_words_and_nothing_is_touched(tmp_path: Path) -> None:
    folder = tmp_path / "hangar"
    database = old_hangar(folder)
    migrate(database, one_more_form(tmp_path / "more"))
    before = digests(folder)
    with pytest.raises(NewerHangarError) as caught:
        Hangar.open(folder)
    assert caught.value.facts["found"] == "0003"
    assert "knows 0001, 0002" in caught.value.what
    assert "nothing in the hangar was touched" in caught.value.state
    assert "newer Rotorwright" in caught.value.todo
    assert digests(folder) == before


def test_a_database_of_another_program_is_refused_and_not_touched(tmp_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / "hangar.db")) as connection, connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = digests(tmp_path)
    with pytest.raises(HangarDamagedError, match="not one of a hangar"):
        Hangar.open(tmp_path)
    assert digests(tmp_path) == before


@pytest.mark.parametrize("content", [b"x" * 5000, b"SQLite format 3\0" + b"\xff" * 5000], ids=["text", "head only"])
def test_a_file_that_is_no_database_is_refused_and_not_touched(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "hangar.db").write_bytes(content)
    with pytest.raises(HangarDamagedError) as caught:
        Hangar.open(tmp_path)
    assert "ROTORWRIGHT_HANGAR" in caught.value.todo
    assert (tmp_path / "hangar.db").read_bytes() == content


def test_an_empty_file_left_by_a_stop_at_the_very_start_is_taken_as_fresh(tmp_path: Path) -> None:
    (tmp_path / "hangar.db").touch()
    with Hangar.open(tmp_path) as hangar:
        assert hangar.new_changeover(UNIQUE_ID, "2026-11-03T00:00:00Z") == "c0001"


@pytest.mark.parametrize("length", range(1024, 32768, 1024))
def test_a_hangar_cut_short_is_refused_also_where_sqlite_reads_zeros_for_what_is_gone(
    tmp_path: Path, length: int
) -> None:
    database = old_hangar(tmp_path)
    os.truncate(database, length)
    before = digests(tmp_path)
    with pytest.raises(HangarDamagedError):
        Hangar.open(tmp_path)
    assert digests(tmp_path) == before


@pytest.mark.parametrize("page", range(1, 8))
def test_a_page_of_zeros_is_refused(tmp_path: Path, page: int) -> None:
    database = old_hangar(tmp_path)
    content = bytearray(database.read_bytes())
    content[4096 * page : 4096 * (page + 1)] = bytes(4096)
    database.write_bytes(content)
    with pytest.raises(HangarDamagedError) as caught:
        Hangar.open(tmp_path)
    assert "another disk" in caught.value.todo
