"""As-found snapshots of the aircraft that came through: the newest of each, and what is damaged stops nobody."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests.unit.hangar.test_store import tamper
from tests.unit.settings.builders import IDENTITY, NOON, UINT8

from rotorwright.hangar.as_found import FoundSnapshots, as_found_snapshots
from rotorwright.hangar.errors import DamagedFileError, JournalDamagedError, MissingFileError
from rotorwright.hangar.files import KeptFile
from rotorwright.hangar.journal import JsonValue
from rotorwright.hangar.store import Hangar
from rotorwright.settings.snapshot import Snapshot, print_snapshot
from rotorwright.settings.values import Value

ONE, TWO, THREE = "0f" * 12, "a5" * 12, "c3" * 12
SAVED = "snapshot-saved"


@pytest.fixture
def hangar(tmp_path: Path) -> Iterator[Hangar]:
    with Hangar.open(tmp_path) as opened:
        yield opened


def snapshot(unique_id: str, number: int, *, release: str = "5.2.0", family: str = "Thornbill") -> Snapshot:
    identity = replace(IDENTITY, unique_id=unique_id, release=release, family=family)
    return Snapshot(identity, {"A": Value.of(UINT8, number)}, NOON)


def saved(hangar: Hangar, found: Snapshot, *, of: str = "") -> Path:
    """Keep `found` as a changeover of its aircraft does, and return its file."""
    changeover = hangar.new_changeover(of or found.identity.unique_id, NOON)
    kept = hangar.keep(changeover, "as-found.json", print_snapshot(found))
    hangar.append(changeover, "noted", {"file": "no file at all"}, NOON)
    hangar.append(changeover, SAVED, facts(kept), NOON)
    return hangar.folder_of(changeover) / kept.name


def facts(kept: KeptFile) -> dict[str, JsonValue]:
    return {"file": {"name": kept.name, "sha256": kept.sha256, "bytes": kept.size_bytes}}


def look(hangar: Hangar, release: str = "5.2.0", most: int = 10) -> FoundSnapshots:
    return as_found_snapshots(hangar, "Thornbill", release, saved_kind=SAVED, most=most)


def test_each_aircraft_is_there_once_with_its_newest_snapshot_the_latest_first(hangar: Hangar) -> None:
    saved(hangar, snapshot(ONE, 1))
    saved(hangar, snapshot(TWO, 2))
    saved(hangar, snapshot(ONE, 3))
    assert look(hangar) == FoundSnapshots((snapshot(ONE, 3), snapshot(TWO, 2)))


def test_of_one_changeover_that_saved_twice_the_later_one_counts(hangar: Hangar) -> None:
    saved(hangar, snapshot(ONE, 1))
    kept = hangar.keep("c0001", "as-found-again.json", print_snapshot(snapshot(ONE, 2)))
    hangar.append("c0001", SAVED, facts(kept), NOON)
    assert look(hangar).snapshots == (snapshot(ONE, 2),)


def test_other_releases_and_families_are_left_out_and_do_not_hide_an_older_one(hangar: Hangar) -> None:
    saved(hangar, snapshot(ONE, 1))
    saved(hangar, snapshot(ONE, 2, release="6.0.0"))
    saved(hangar, snapshot(TWO, 3, family="Otherbill"))
    saved(hangar, snapshot(THREE, 4, release="5.2.1"))
    assert look(hangar).snapshots == (snapshot(ONE, 1),)
    assert look(hangar, "6.0.0").snapshots == (snapshot(ONE, 2, release="6.0.0"),)


def test_a_damaged_or_missing_file_is_listed_and_an_older_snapshot_stands_for_it(hangar: Hangar) -> None:
    saved(hangar, snapshot(ONE, 1))
    damaged, gone = saved(hangar, snapshot(ONE, 2)), saved(hangar, snapshot(TWO, 3))
    damaged.write_bytes(damaged.read_bytes().replace(b'"value":"2"', b'"value":"9"'))
    gone.unlink()
    found = look(hangar)
    assert found.snapshots == (snapshot(ONE, 1),)
    assert [type(error) for error in found.unread] == [MissingFileError, DamagedFileError]


def test_an_event_that_was_changed_or_names_no_file_or_another_aircrafts_is_listed(
    hangar: Hangar, tmp_path: Path
) -> None:
    saved(hangar, snapshot(ONE, 1))
    saved(hangar, snapshot(TWO, 2), of=THREE)
    changeover = hangar.new_changeover(TWO, NOON)
    hangar.append(changeover, SAVED, {"file": {"name": 1}}, NOON)
    tamper(tmp_path, f"UPDATE events SET at = 'never' WHERE changeover = 1 AND kind = '{SAVED}'")
    found = look(hangar)
    assert found.snapshots == ()
    assert [type(error) for error in found.unread] == [JournalDamagedError] * 3


def test_only_so_many_aircraft_are_looked_at_and_it_says_so(hangar: Hangar) -> None:
    for unique_id in (ONE, TWO, THREE):
        saved(hangar, snapshot(unique_id, 1))
    found = look(hangar, most=2)
    assert [each.identity.unique_id for each in found.snapshots] == [THREE, TWO]
    assert not found.all_read
    assert look(hangar, most=3).all_read


def test_the_kind_that_the_job_writes_is_the_one_that_is_read_here() -> None:
    # The hangar must not know the job, so the job hands the kind in; this holds the two together.
    from rotorwright.changeover.events import EventKind  # noqa: PLC0415
    from rotorwright.changeover.kept import kept_facts  # noqa: PLC0415

    kept = KeptFile("as-found.json", "0" * 64, 3)
    assert str(EventKind.SNAPSHOT_SAVED) == SAVED
    assert {"file": kept_facts(kept)} == facts(kept)
