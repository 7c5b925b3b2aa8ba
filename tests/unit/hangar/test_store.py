"""The store: what is put in is there again after a reopening, and nothing else."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from rotorwright.hangar.errors import (
    ChangeoverBusyError,
    ConcurrentChangeoverError,
    DamagedFileError,
    DiskError,
    EventFactsError,
    JournalDamagedError,
    KeptNameError,
    UnknownChangeoverError,
)
from rotorwright.hangar.files import KeptFile
from rotorwright.hangar.rows import AircraftRow, ChangeoverRow
from rotorwright.hangar.store import Hangar

ONE = "0f" * 12
OTHER = "a5" * 12


def at(second: int) -> str:
    return f"2026-11-24T12:00:{second:02d}Z"


@pytest.fixture
def hangar(tmp_path: Path) -> Iterator[Hangar]:
    with Hangar.open(tmp_path) as opened:
        yield opened


def tamper(folder: Path, *statements: str) -> None:
    """Write into the database as no program of ours does, past the triggers that refuse it."""
    with contextlib.closing(sqlite3.connect(folder / "hangar.db")) as connection, connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert connection.execute(statement).rowcount == 1


def test_the_folder_is_made_with_those_above_it(tmp_path: Path) -> None:
    folder = tmp_path / "not" / "yet 100%" / "there"
    with Hangar.open(folder) as hangar:
        assert hangar.aircraft() == ()
        assert hangar.changeovers() == ()
    assert (folder / "hangar.db").is_file()


def test_a_folder_that_is_a_file_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(DiskError) as caught:
        Hangar.open(tmp_path / "taken" / "hangar")
    assert "taken" in caught.value.what


def test_every_commit_reaches_the_disk(hangar: Hangar) -> None:
    # SQLite documentation, PRAGMA synchronous: 2 is FULL.
    with hangar.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_aircraft_are_known_as_last_seen(hangar: Hangar) -> None:
    facts = {"family": "Thornbill", "board": "Corvane One"}
    hangar.remember_aircraft(unique_id=ONE, release="5.2.0", at=at(1), airframe="Sandmartin 5", **facts)
    hangar.remember_aircraft(unique_id=OTHER, release="5.2.0", at=at(2), **facts)
    hangar.remember_aircraft(unique_id=ONE, release="6.0.0", at=at(3), **facts)
    assert hangar.aircraft() == (
        AircraftRow(ONE, "Thornbill", "6.0.0", "Corvane One", "Sandmartin 5", at(1), at(3)),
        AircraftRow(OTHER, "Thornbill", "5.2.0", "Corvane One", "", at(2), at(2)),
    )


def test_changeovers_count_up_also_over_a_reopening(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        assert hangar.new_changeover(ONE, at(1)) == "c0001"
        assert hangar.new_changeover(OTHER, at(2)) == "c0002"
    with Hangar.open(tmp_path) as hangar:
        assert hangar.new_changeover(ONE, at(3)) == "c0003"
        assert hangar.changeovers() == (
            ChangeoverRow("c0001", ONE, at(1)),
            ChangeoverRow("c0002", OTHER, at(2)),
            ChangeoverRow("c0003", ONE, at(3)),
        )


def test_events_come_back_equal_after_a_reopening_and_the_chain_goes_on(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        name = hangar.new_changeover(ONE, at(0))
        first = hangar.append(name, "received", {"port": "x", "volts": 16.0, "list": [1, None, "ü"]}, at(1))
        second = hangar.append(name, "saved", {}, at(2), expected_sequence=2)
    with Hangar.open(tmp_path) as hangar:
        assert hangar.events(name) == (first, second)
        third = hangar.append(name, "planned", {}, at(3), expected_sequence=3)
        assert third.previous_sha256 == second.sha256
        assert hangar.events(name) == (first, second, third)


def test_journals_of_two_changeovers_do_not_mix(hangar: Hangar) -> None:
    one, two = hangar.new_changeover(ONE, at(0)), hangar.new_changeover(ONE, at(0))
    hangar.append(one, "a", {}, at(1))
    hangar.append(two, "b", {}, at(1))
    hangar.append(one, "c", {}, at(2))
    assert [event.kind for event in hangar.events(one)] == ["a", "c"]
    assert [event.kind for event in hangar.events(two)] == ["b"]


def test_refused_facts_add_nothing(hangar: Hangar) -> None:
    name = hangar.new_changeover(ONE, at(0))
    with pytest.raises(EventFactsError):
        hangar.append(name, "a", {"x": float("nan")}, at(1))
    assert hangar.events(name) == ()


@pytest.mark.parametrize("name", ["c0002", "c1", "c00001", "C0001", "", "../c0001", "c0001\n", "c0000", "c99999999999"])
def test_a_changeover_that_is_not_there_is_told_so(hangar: Hangar, name: str) -> None:
    hangar.new_changeover(ONE, at(0))
    for ask in (hangar.events, hangar.folder_of, lambda name: hangar.append(name, "a", {}, at(1))):
        with pytest.raises(UnknownChangeoverError):
            ask(name)


def test_the_second_of_two_writers_is_told_and_adds_nothing(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as mine, Hangar.open(tmp_path) as theirs:
        name = mine.new_changeover(ONE, at(0))
        mine.append(name, "a", {}, at(1), expected_sequence=1)
        kept = theirs.append(name, "b", {}, at(2), expected_sequence=2)
        with pytest.raises(ConcurrentChangeoverError) as caught:
            mine.append(name, "c", {}, at(3), expected_sequence=2)
        assert caught.value.facts == {"changeover": name, "expected": 2, "found": 3}
        assert f"rotorwright resume {name}" in caught.value.todo
        assert mine.events(name)[-1] == kept


def test_many_writers_at_once_wait_for_each_other_and_none_is_lost(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        name = hangar.new_changeover(ONE, at(0))

    def write_fifty(writer: int) -> None:
        with Hangar.open(tmp_path) as mine:
            for number in range(50):
                mine.append(name, "noted", {"writer": writer, "number": number}, at(1))

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write_fifty, range(4)))
    with Hangar.open(tmp_path) as hangar:
        events = hangar.events(name)
    assert len(events) == 200
    for writer in range(4):
        assert [e.facts["number"] for e in events if e.facts["writer"] == writer] == list(range(50))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET facts = '{\"n\":9}' WHERE sequence = 2",
        "UPDATE events SET facts = '{\"n\":' WHERE sequence = 2",
        "UPDATE events SET facts = '[]' WHERE sequence = 2",
        "UPDATE events SET kind = 'other' WHERE sequence = 2",
        "UPDATE events SET kind = x'00ff' WHERE sequence = 2",
        "UPDATE events SET at = '' WHERE sequence = 2",
        "UPDATE events SET sha256 = previous_sha256 WHERE sequence = 2",
        "DELETE FROM events WHERE sequence = 2",
        "UPDATE events SET sequence = 9 WHERE sequence = 2",
    ],
)
def test_one_changed_row_is_found_and_named(tmp_path: Path, statement: str) -> None:
    with Hangar.open(tmp_path) as hangar:
        name = hangar.new_changeover(ONE, at(0))
        for number in (1, 2, 3):
            hangar.append(name, "noted", {"n": number}, at(number))
    tamper(tmp_path, statement)
    with Hangar.open(tmp_path) as hangar, pytest.raises(JournalDamagedError) as caught:
        hangar.events(name)
    assert caught.value.facts["sequence"] == 2
    assert "another disk" in caught.value.todo


def test_a_journal_moved_to_another_changeover_is_found(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        one, two = hangar.new_changeover(ONE, at(0)), hangar.new_changeover(OTHER, at(0))
        hangar.append(one, "noted", {}, at(1))
    tamper(tmp_path, "UPDATE events SET changeover = 2")
    with Hangar.open(tmp_path) as hangar, pytest.raises(JournalDamagedError, match="another changeover"):
        hangar.events(two)


def test_nothing_is_bound_to_a_damaged_event(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        name = hangar.new_changeover(ONE, at(0))
        hangar.append(name, "noted", {"n": 1}, at(1))
    tamper(tmp_path, "UPDATE events SET facts = '{\"n\":2}'")
    with Hangar.open(tmp_path) as hangar, pytest.raises(JournalDamagedError):
        hangar.append(name, "noted", {"n": 2}, at(2))


@pytest.mark.parametrize("table", ["sightings", "changeovers", "events"])
def test_the_database_itself_refuses_to_change_or_remove_a_row(tmp_path: Path, table: str) -> None:
    with Hangar.open(tmp_path) as hangar:
        hangar.remember_aircraft(unique_id=ONE, family="f", release="1.0.0", board="b", at=at(0))
        hangar.append(hangar.new_changeover(ONE, at(0)), "noted", {}, at(1))
    column = {"sightings": "board", "changeovers": "unique_id", "events": "kind"}[table]
    with contextlib.closing(sqlite3.connect(tmp_path / "hangar.db")) as connection:
        for statement in (f"UPDATE {table} SET {column} = 'x'", f"DELETE FROM {table}"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                connection.execute(statement)


def test_files_are_kept_in_the_folder_of_their_changeover(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        name = hangar.new_changeover(ONE, at(0))
        kept = hangar.keep(name, "as-found.json", b"{}")
        assert hangar.folder_of(name) == tmp_path / "changeovers" / name
    with Hangar.open(tmp_path) as hangar:
        assert hangar.fetch(name, kept) == b"{}"


def test_a_kept_file_cannot_leave_its_folder_nor_take_the_place_of_the_lock(hangar: Hangar) -> None:
    name = hangar.new_changeover(ONE, at(0))
    for bad in (".in-use", "..", ""):
        with pytest.raises(KeptNameError):
            hangar.keep(name, bad, b"")


@pytest.mark.parametrize("depth", ["../../", "sub/", "ABSOLUTE/"])
def test_a_kept_name_with_folders_in_it_leads_nowhere(hangar: Hangar, tmp_path: Path, depth: str) -> None:
    name = hangar.new_changeover(ONE, at(0))
    bad = depth.replace("ABSOLUTE", str(tmp_path)) + "escaped"
    for act in (
        lambda: hangar.keep(name, bad, b""),
        lambda: hangar.fetch(name, KeptFile(bad, "0" * 64, 0)),
        lambda: hangar.set_aside(name, bad),
    ):
        with pytest.raises(KeptNameError):
            act()
    assert list(tmp_path.rglob("escaped")) == []


def test_a_damaged_kept_file_can_be_set_aside_and_kept_anew(hangar: Hangar) -> None:
    name = hangar.new_changeover(ONE, at(0))
    kept = hangar.keep(name, "image.hex", b":00000001FF")
    (hangar.folder_of(name) / "image.hex").write_bytes(b":000")
    with pytest.raises(DamagedFileError):
        hangar.fetch(name, kept)
    assert hangar.set_aside(name, "image.hex").read_bytes() == b":000"
    assert hangar.keep(name, "image.hex", b":00000001FF") == kept


def test_one_at_a_time_works_on_a_changeover(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as mine, Hangar.open(tmp_path) as theirs:
        one, two = mine.new_changeover(ONE, at(0)), mine.new_changeover(OTHER, at(0))
        with mine.lock(one):
            with pytest.raises(ChangeoverBusyError) as caught, theirs.lock(one):
                pytest.fail("two held the lock")
            with theirs.lock(two):
                pass
        assert caught.value.exit_code == 7
        with theirs.lock(one):
            pass


def test_the_lock_is_given_back_when_the_work_fails(hangar: Hangar) -> None:
    name = hangar.new_changeover(ONE, at(0))
    with pytest.raises(ZeroDivisionError), hangar.lock(name):
        _ = 1 // 0
    with hangar.lock(name):
        pass


def test_closing_twice_is_harmless(tmp_path: Path) -> None:
    hangar = Hangar.open(tmp_path)
    hangar.close()
    hangar.close()
