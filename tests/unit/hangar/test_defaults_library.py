"""The library of captured defaults: what is put in is found again, and what the captures disagree on is said."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests.unit.hangar.test_store import tamper
from tests.unit.settings.builders import IDENTITY, NOON, UINT8, catalogue, setting

from rotorwright.hangar.defaults_library import DefaultsLibrary
from rotorwright.hangar.errors import (
    DamagedDefaultsError,
    DefaultsNotUsableError,
    DiskError,
    UnknownDefaultsError,
)
from rotorwright.hangar.store import Hangar
from rotorwright.settings.catalogue import CatalogueError, print_catalogue
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import SettingType, Value

ONE, TWO, THREE = "0f" * 12, "a5" * 12, "c3" * 12
CATALOGUE = print_catalogue(catalogue(setting("A", UINT8, 1)))
OTHER_CATALOGUE = print_catalogue(catalogue(setting("A", UINT8, 2)))


def fresh(unique_id: str = ONE, *, at: str = NOON, **numbers: int) -> Snapshot:
    settings = {name: Value.of(UINT8, number) for name, number in ({"A": 1, "B": 2} | numbers).items()}
    return Snapshot(replace(IDENTITY, unique_id=unique_id), settings, at)


@pytest.fixture
def hangar(tmp_path: Path) -> Iterator[Hangar]:
    with Hangar.open(tmp_path) as opened:
        yield opened


@pytest.fixture
def library(hangar: Hangar) -> DefaultsLibrary:
    return DefaultsLibrary(hangar)


def kept_files(folder: Path) -> list[Path]:
    return sorted((folder / "defaults").glob("*.json"))


def test_what_was_added_is_found_after_a_reopening_bit_for_bit(tmp_path: Path) -> None:
    odd = {
        "NAN": Value(SettingType.FLOAT, 0x7F800001),
        "ZERO": Value(SettingType.FLOAT, 0x80000000),
        "WORDS": Value.of_text("über, nine\nlines"),
        "EMPTY": Value.of_text(""),
        "LONG": Value.of(SettingType.UINT64, 2**64 - 1),
    }
    snapshot = Snapshot(IDENTITY, odd, NOON)
    with Hangar.open(tmp_path) as hangar:
        DefaultsLibrary(hangar).add(snapshot, catalogue=CATALOGUE, read_by="console")
    with Hangar.open(tmp_path) as hangar:
        found = DefaultsLibrary(hangar).find("Thornbill", "5.2.0", "Corvane One", read_by="console")
    assert found is not None
    assert found.settings == snapshot.settings
    assert found.varying == ()
    assert found.catalogue_data == CATALOGUE
    assert found.catalogue is not None
    assert found.catalogue.names == ("A",)
    assert (found.row.unique_id, found.row.captured_at, found.row.build) == (IDENTITY.unique_id, NOON, "cafe01")
    assert found.row.settings_count == 5


@pytest.mark.parametrize(
    ("family", "release", "board", "read_by"),
    [
        ("Thornbill", "5.2.1", "Corvane One", "mavlink"),
        ("Thornbill", "5.2.0", "Corvane H7", "mavlink"),
        ("Thornbill", "5.2.0", "Corvane One", "console"),
        ("thornbill", "5.2.0", "Corvane One", "mavlink"),
    ],
    ids=["other patch", "other board", "read otherwise", "other family"],
)
def test_only_the_very_release_board_and_way_of_reading_is_found(
    library: DefaultsLibrary, family: str, release: str, board: str, read_by: str
) -> None:
    library.add(fresh(), catalogue=None, read_by="mavlink")
    assert library.find(family, release, board, read_by=read_by) is None
    assert library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink") is not None


def test_the_same_content_again_is_no_second_entry_whenever_it_was_read(library: DefaultsLibrary) -> None:
    first = library.add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
    again = library.add(fresh(at="2026-05-02T12:00:00Z"), catalogue=CATALOGUE, read_by="mavlink")
    assert again.row == first.row
    assert library.entries() == (first.row,)


def test_other_content_for_the_same_key_is_kept_too_the_newest_first(library: DefaultsLibrary) -> None:
    first = library.add(fresh(), catalogue=None, read_by="mavlink").row
    second = library.add(fresh(A=9), catalogue=None, read_by="mavlink").row
    with_catalogue = library.add(fresh(A=9), catalogue=CATALOGUE, read_by="mavlink").row
    by_console = library.add(fresh(A=9), catalogue=CATALOGUE, read_by="console").row
    assert library.entries() == (by_console, with_catalogue, second, first)
    assert library.entry(first.number)[1].settings["A"].number == 1


def test_names_on_which_aircraft_disagree_are_varying_and_have_no_default(library: DefaultsLibrary) -> None:
    library.add(fresh(ONE, CAL=5, ONLY_THERE=1), catalogue=None, read_by="mavlink")
    library.add(fresh(TWO, CAL=6), catalogue=None, read_by="mavlink")
    library.add(fresh(THREE, CAL=6, ONLY_HERE=1), catalogue=None, read_by="mavlink")
    found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.varying == ("CAL", "ONLY_HERE", "ONLY_THERE")
    assert set(found.settings) == {"A", "B"}
    assert found.aircraft == (ONE, TWO, THREE)


def test_a_default_of_another_type_is_another_default(library: DefaultsLibrary) -> None:
    library.add(fresh(ONE), catalogue=None, read_by="mavlink")
    other = fresh(TWO)
    settings = {**other.settings, "A": Value.of(SettingType.UINT16, 1)}
    library.add(Snapshot(other.identity, settings, NOON), catalogue=None, read_by="mavlink")
    found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.varying == ("A",)


def test_the_newest_catalogue_that_an_aircraft_gave_is_the_one(library: DefaultsLibrary) -> None:
    library.add(fresh(ONE), catalogue=CATALOGUE, read_by="mavlink")
    library.add(fresh(TWO), catalogue=OTHER_CATALOGUE, read_by="mavlink")
    library.add(fresh(THREE), catalogue=None, read_by="mavlink")
    found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.catalogue_data == OTHER_CATALOGUE


@pytest.mark.parametrize(
    "snapshot",
    [
        Snapshot(IDENTITY, {}, NOON),
        Snapshot(replace(IDENTITY, board=""), fresh().settings, NOON),
        Snapshot(replace(IDENTITY, release=""), fresh().settings, NOON),
        Snapshot(replace(IDENTITY, family=""), fresh().settings, NOON),
    ],
    ids=["no settings", "no board", "no release", "no family"],
)
def test_a_snapshot_that_could_not_be_found_again_is_refused(library: DefaultsLibrary, snapshot: Snapshot) -> None:
    with pytest.raises(DefaultsNotUsableError) as caught:
        library.add(snapshot, catalogue=None, read_by="mavlink")
    assert "reset to defaults" in caught.value.todo
    assert library.entries() == ()


def test_an_unknown_way_of_reading_is_refused_with_those_there_are(library: DefaultsLibrary) -> None:
    with pytest.raises(DefaultsNotUsableError, match="mavlink, console"):
        library.add(fresh(), catalogue=None, read_by="telepathy")
    with pytest.raises(DefaultsNotUsableError):
        library.find("Thornbill", "5.2.0", "Corvane One", read_by="")


def test_a_catalogue_that_is_none_is_refused_before_anything_is_kept(library: DefaultsLibrary, tmp_path: Path) -> None:
    with pytest.raises(CatalogueError):
        library.add(fresh(), catalogue=b"{", read_by="mavlink")
    assert library.entries() == ()
    assert kept_files(tmp_path) == []


def test_a_number_that_is_not_there_is_told(library: DefaultsLibrary) -> None:
    with pytest.raises(UnknownDefaultsError, match="number 7"):
        library.entry(7)


def damage(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


@pytest.mark.parametrize("harm", [damage, Path.unlink], ids=["changed", "gone"])
def test_an_entry_whose_file_is_not_as_kept_is_told_and_half_the_evidence_is_not_used(
    library: DefaultsLibrary, tmp_path: Path, harm: object
) -> None:
    assert callable(harm)
    library.add(fresh(ONE, CAL=5), catalogue=None, read_by="mavlink")
    (path,) = kept_files(tmp_path)
    library.add(fresh(TWO, CAL=6), catalogue=None, read_by="mavlink")
    harm(path)
    with pytest.raises(DamagedDefaultsError) as caught:
        library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert caught.value.facts["number"] == 1
    assert "reset" in caught.value.todo
    with pytest.raises(DamagedDefaultsError):
        library.entry(1)
    assert library.entry(2)[1].settings["CAL"].number == 6


def test_a_damaged_entry_does_no_harm_where_another_aircraft_gave_the_same(
    library: DefaultsLibrary, tmp_path: Path
) -> None:
    library.add(fresh(ONE), catalogue=CATALOGUE, read_by="mavlink")
    files = set(kept_files(tmp_path))
    library.add(fresh(TWO), catalogue=CATALOGUE, read_by="mavlink")
    (newer,) = set(kept_files(tmp_path)) - files
    damage(newer)
    found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.settings == fresh().settings


def test_adding_the_same_again_heals_a_damaged_entry(library: DefaultsLibrary, tmp_path: Path) -> None:
    library.add(fresh(), catalogue=None, read_by="mavlink")
    (path,) = kept_files(tmp_path)
    damage(path)
    library.add(fresh(), catalogue=None, read_by="mavlink")
    assert len(library.entries()) == 1
    assert path.with_name(f"{path.name}.damaged-1").exists(), "nothing is deleted"
    assert library.entry(1)[1] == fresh()


def test_reading_it_again_at_another_time_heals_a_damaged_entry_too(library: DefaultsLibrary, tmp_path: Path) -> None:
    library.add(fresh(), catalogue=None, read_by="mavlink")
    damage(kept_files(tmp_path)[0])
    library.add(fresh(at="2026-05-02T12:00:00Z"), catalogue=None, read_by="mavlink")
    found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.settings == fresh().settings


def test_a_damaged_catalogue_is_told(library: DefaultsLibrary, tmp_path: Path) -> None:
    library.add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
    damage(next((tmp_path / "defaults").glob("catalogue-*.json")))
    with pytest.raises(DamagedDefaultsError):
        library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")


def test_adding_the_same_again_heals_a_damaged_catalogue(library: DefaultsLibrary, tmp_path: Path) -> None:
    library.add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
    damage(next((tmp_path / "defaults").glob("catalogue-*.json")))
    library.add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
    found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.catalogue_data == CATALOGUE


def test_a_row_that_another_program_changed_to_another_board_is_refused(tmp_path: Path) -> None:
    with Hangar.open(tmp_path) as hangar:
        DefaultsLibrary(hangar).add(fresh(), catalogue=None, read_by="mavlink")
    tamper(tmp_path, "UPDATE captured_defaults SET board = 'Corvane H7'")
    with Hangar.open(tmp_path) as hangar, pytest.raises(DamagedDefaultsError, match="not those of"):
        DefaultsLibrary(hangar).find("Thornbill", "5.2.0", "Corvane H7", read_by="mavlink")


def test_sqlite_itself_refuses_to_change_or_remove_an_entry(library: DefaultsLibrary, hangar: Hangar) -> None:
    library.add(fresh(), catalogue=None, read_by="mavlink")
    for statement in ("UPDATE captured_defaults SET board = 'x'", "DELETE FROM captured_defaults"):
        with pytest.raises(Exception, match="only ever added"), hangar.writing() as connection:
            connection.exec_driver_sql(statement)


def test_a_disk_that_refuses_the_file_leaves_no_entry(
    library: DefaultsLibrary, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", refuse)
        with pytest.raises(DiskError):
            library.add(fresh(), catalogue=None, read_by="mavlink")
    assert library.entries() == ()


ADDING = """
import os, signal, sys
from pathlib import Path
from rotorwright.hangar import defaults_library
from rotorwright.hangar.store import Hangar
from tests.unit.hangar.test_defaults_library import CATALOGUE, fresh

before, where = sys.argv[2], getattr(defaults_library, sys.argv[2])
calls = 0

def killed(*arguments, **named):
    global calls
    calls += 1
    if calls == int(sys.argv[3]):
        os.kill(os.getpid(), signal.SIGKILL)
    return where(*arguments, **named)

setattr(defaults_library, before, killed)
library = defaults_library.DefaultsLibrary(Hangar.open(Path(sys.argv[1])))
library.add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
"""


@pytest.mark.skipif(os.name == "nt", reason="needs a signal that nothing can catch")
@pytest.mark.parametrize(("before", "call"), [("write_kept_file", 1), ("write_kept_file", 2), ("insert", 1)])
def test_a_kill_at_any_step_leaves_no_entry_and_the_next_run_adds_it(tmp_path: Path, before: str, call: int) -> None:
    root = Path(__file__).parents[3]
    killed = subprocess.run(
        [sys.executable, "-c", ADDING, str(tmp_path), before, str(call)], check=False, timeout=60, cwd=root
    )
    assert killed.returncode == -signal.SIGKILL
    with Hangar.open(tmp_path) as hangar:
        library = DefaultsLibrary(hangar)
        assert library.entries() == ()
        library.add(fresh(), catalogue=CATALOGUE, read_by="mavlink")
        found = library.find("Thornbill", "5.2.0", "Corvane One", read_by="mavlink")
    assert found is not None
    assert found.settings == fresh().settings


def test_a_second_process_that_was_faster_is_met_with_its_own_entry(
    hangar: Hangar, monkeypatch: pytest.MonkeyPatch
) -> None:
    library, other = DefaultsLibrary(hangar), DefaultsLibrary(hangar)
    with monkeypatch.context() as patch:
        patch.setattr(library, "_sound_entry", lambda *_: None)  # it looked before the other one wrote
        first = other.add(fresh(), catalogue=None, read_by="mavlink")
        assert library.add(fresh(), catalogue=None, read_by="mavlink").row == first.row
    assert len(library.entries()) == 1
