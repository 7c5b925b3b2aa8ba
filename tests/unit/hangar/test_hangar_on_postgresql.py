"""The same store on PostgreSQL. Needs an empty database and psycopg: name it in ROTORWRIGHT_TEST_POSTGRESQL_URL.

Not part of the usual run, which reports these as skipped.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text
from tests.unit.hangar.test_defaults_library import CATALOGUE, fresh

from rotorwright.hangar.database import postgresql_engine
from rotorwright.hangar.defaults_library import DefaultsLibrary
from rotorwright.hangar.errors import (
    ConcurrentChangeoverError,
    DamagedDefaultsError,
    HangarNotOpenedError,
    JournalDamagedError,
    NewerHangarError,
)
from rotorwright.hangar.schema import SHIPPED, Migrations, bring_postgresql_up_to_date
from rotorwright.hangar.store import Hangar

URL = os.environ.get("ROTORWRIGHT_TEST_POSTGRESQL_URL", "")
ONE = "0f" * 12
NOON = "2026-11-24T12:00:00Z"

pytestmark = pytest.mark.skipif(not URL, reason="ROTORWRIGHT_TEST_POSTGRESQL_URL names no database")


def run(*statements: str) -> None:
    engine = postgresql_engine(URL)
    try:
        with engine.begin() as connection:
            for statement in statements:
                connection.execute(text(statement))
    finally:
        engine.dispose()


@pytest.fixture(autouse=True)
def _empty() -> Iterator[None]:
    yield
    run("DROP TABLE IF EXISTS captured_defaults, events, changeovers, sightings, alembic_version")


def test_what_was_added_is_there_after_a_reopening(tmp_path: Path) -> None:
    with Hangar.open(tmp_path, database_url=URL) as hangar:
        hangar.remember_aircraft(unique_id=ONE, family="Thornbill", release="5.2.0", board="Corvane One", at=NOON)
        name = hangar.new_changeover(ONE, NOON)
        added = tuple(hangar.append(name, "noted", {"n": n, "text": "ü\0"}, NOON) for n in range(3))
        kept = hangar.keep(name, "a.bin", b"abc")
    with Hangar.open(tmp_path, database_url=URL) as hangar:
        assert name == "c0001"
        assert hangar.events(name) == added
        assert hangar.fetch(name, kept) == b"abc"
        assert [row.unique_id for row in hangar.aircraft()] == [ONE]
        assert hangar.append(name, "noted", {}, NOON, expected_sequence=4).sequence == 4


def test_of_two_that_add_at_the_same_moment_one_is_told(tmp_path: Path) -> None:
    with Hangar.open(tmp_path, database_url=URL) as mine, Hangar.open(tmp_path, database_url=URL) as theirs:
        name = mine.new_changeover(ONE, NOON)
        first = mine.append(name, "noted", {}, NOON)
        theirs.append(name, "noted", {}, NOON)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("rotorwright.hangar.store._last_event", lambda *_: first)  # both looked before either wrote
            with pytest.raises(ConcurrentChangeoverError):
                mine.append(name, "noted", {}, NOON, expected_sequence=2)
        assert len(mine.events(name)) == 2


def test_a_changed_row_is_found(tmp_path: Path) -> None:
    with Hangar.open(tmp_path, database_url=URL) as hangar:
        name = hangar.new_changeover(ONE, NOON)
        hangar.append(name, "noted", {"n": 1}, NOON)
        run("UPDATE events SET facts = '{}'")
        with pytest.raises(JournalDamagedError):
            hangar.events(name)


def test_captured_defaults_are_found_after_a_reopening_and_told_where_their_files_are_elsewhere(tmp_path: Path) -> None:
    with Hangar.open(tmp_path / "mine", database_url=URL) as hangar:
        added = DefaultsLibrary(hangar).add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
        assert DefaultsLibrary(hangar).add(fresh(), catalogue=CATALOGUE, read_by="mavlink").row == added.row
    with Hangar.open(tmp_path / "mine", database_url=URL) as hangar:
        found = DefaultsLibrary(hangar).find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found == added
    with Hangar.open(tmp_path / "theirs", database_url=URL) as hangar:
        library = DefaultsLibrary(hangar)
        with pytest.raises(DamagedDefaultsError, match="not there"):
            library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
        library.add(fresh(at="2026-05-02T12:00:00Z"), catalogue=CATALOGUE, read_by="mavlink")
        assert library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink") is not None


def test_the_first_form_becomes_the_newest(tmp_path: Path) -> None:
    engine = postgresql_engine(URL)
    try:
        first = Migrations(SHIPPED.revisions[:1], SHIPPED.folders)
        bring_postgresql_up_to_date(engine, "there", first)
        bring_postgresql_up_to_date(engine, "there")
    finally:
        engine.dispose()
    with Hangar.open(tmp_path, database_url=URL) as hangar:
        assert DefaultsLibrary(hangar).entries() == ()


def test_a_newer_form_is_refused(tmp_path: Path) -> None:
    Hangar.open(tmp_path, database_url=URL).close()
    run("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(NewerHangarError):
        Hangar.open(tmp_path, database_url=URL)


def test_a_server_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(HangarNotOpenedError):
        Hangar.open(tmp_path, database_url="postgresql://user@127.0.0.1:1/nothing")
