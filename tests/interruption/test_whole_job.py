"""The whole job on the aircraft in memory: gates, refusals, wrong aircraft, lost cable, and the way back."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import VirtualBench

from rotorwright.changeover.errors import (
    AttitudeNotUnderstoodError,
    DecisionMissingError,
    ImageBoardMismatchError,
    OpenChangeoverError,
    PlanNotAcceptedError,
    RollBackNotPossibleError,
)
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import GateShutError, NotConfirmedError
from rotorwright.changeover.person import PlanSummary, TiltRequest
from rotorwright.changeover.sign import NotSignedError
from rotorwright.changeover.state import fold
from rotorwright.errors import LinkError, RotorwrightError, StorageError, WrongAircraftError
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.mcu import microcontroller
from rotorwright.hangar.book_pack import pack_book
from rotorwright.hangar.store import Hangar
from rotorwright.settings.snapshot import parse_snapshot
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import characters

if TYPE_CHECKING:
    from rotorwright.settings.snapshot import Snapshot

SMALL_BYTES = 36 * 1024
OTHER_ID = "00112233445566778899aabb"


@cache
def _fresh() -> VirtualBench:
    return VirtualBench(Path(mkdtemp(prefix="rotorwright-job-")), size_bytes=SMALL_BYTES)


@cache
def _before_write() -> VirtualBench:
    bench = _fresh().copy(Path(mkdtemp(prefix="rotorwright-job-")))
    assert isinstance(bench.run(refuses=frozenset({"propellers-off"})).error, NotConfirmedError)
    return bench


def _kinds(bench: VirtualBench) -> list[str]:
    return [event.kind for event in bench.events()]


def _as_found(bench: VirtualBench) -> Snapshot:
    kept = fold(bench.events()).as_found
    assert kept is not None
    with Hangar.open(bench.folder / "hangar") as hangar:
        return parse_snapshot(hangar.fetch(bench.changeover_id, kept), source=kept.name)


def _require_four_answers(error: Exception | None) -> RotorwrightError:
    assert isinstance(error, RotorwrightError), error
    assert error.what
    assert error.why
    assert error.state
    assert error.todo
    assert "Traceback" not in str(error)
    return error


def _require_nothing_written(bench: VirtualBench, before: VirtualBench) -> None:
    assert bytes(bench.memories.flash) == bytes(before.memories.flash)
    assert bytes(bench.memories.settings) == bytes(before.memories.settings)
    assert bytes(bench.memories.display) == bytes(before.memories.display)


def test_a_clean_job_ends_signed_with_everything_proved(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run()
    assert run.error is None
    assert run.shop is not None
    state = run.shop.state
    assert state.signed_by == "tester"
    catalogue = run.shop.book().catalogue("6.0", "Corvane C405")
    assert catalogue is not None
    assert state.settings_verified == sum(not catalogue[name].volatile for name in catalogue.names)
    assert {one.check for one in state.proved} == {"release", "settings", "display", "attitude"}
    size = bench.new_image.size_bytes
    assert bench.memories.flash[:size] == bench.new_image.read(bench.new_image.start, size)


def test_only_the_sectors_of_the_plan_are_touched(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    run = bench.run()
    assert run.error is None
    assert run.state is not None
    assert run.state.image is not None
    part = microcontroller("STM32F405xG")
    for sector in part.sectors:
        if sector.number not in run.state.image.sectors:
            piece = slice(sector.address - part.flash_start, sector.end - part.flash_start)
            assert bench.memories.flash[piece] == _fresh().memories.flash[piece]


@pytest.mark.parametrize(
    ("refused", "error", "exit_code"),
    [
        ("held", DecisionMissingError, 7),
        ("plan", PlanNotAcceptedError, 7),
        ("propellers-off", NotConfirmedError, 7),
    ],
)
def test_what_a_person_refuses_before_the_write_leaves_the_aircraft_untouched(
    refused: str, error: type[RotorwrightError], exit_code: int, tmp_path: Path
) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run(refuses=frozenset({refused}))
    assert isinstance(run.error, error)
    assert _require_four_answers(run.error).exit_code == exit_code
    assert "Nothing was changed" in run.error.state
    _require_nothing_written(bench, _fresh())
    assert bench.run().error is None


def test_propellers_are_asked_for_again_in_each_run(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    run = bench.run(faults=FaultPlan(power_cut=PowerCut(5, CutMoment.AFTER)), stays=False)
    assert run.error is not None
    again = bench.run(refuses=frozenset({"propellers-off"}))
    assert isinstance(again.error, NotConfirmedError)


def test_without_a_battery_the_display_is_not_written_and_resume_goes_on(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    run = bench.run(faults=FaultPlan(battery_absent=True))
    assert isinstance(run.error, GateShutError)
    assert "do not fly" in run.error.state
    assert bytes(bench.memories.display) == bytes(_fresh().memories.display)
    assert bench.run().error is None


def test_propellers_are_asked_for_before_the_aircraft_is_taken_into_the_hands(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    first = bench.run(stays=True, refuses=frozenset({"tilt"}))
    assert isinstance(first.error, AttitudeNotUnderstoodError)
    again = bench.run(refuses=frozenset({"propellers-off"}))
    assert isinstance(again.error, NotConfirmedError)
    assert not any(isinstance(heard, TiltRequest) for heard in again.person.heard)


def test_a_second_job_is_refused_while_the_first_one_is_half_way(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    assert bench.run(faults=FaultPlan(battery_absent=True)).error is not None
    first, bench.changeover_id = bench.changeover_id, ""
    error = _require_four_answers(bench.run().error)
    assert isinstance(error, OpenChangeoverError)
    assert first in error.todo
    bench.changeover_id = first
    assert bench.run().error is None
    bench.changeover_id = ""
    assert isinstance(bench.run(refuses=frozenset({"plan"})).error, RotorwrightError)


def test_where_the_aircrafts_own_defaults_differ_from_the_book_the_plan_is_made_anew_and_asked_for_again(
    tmp_path: Path,
) -> None:
    bench = _fresh().copy(tmp_path)
    bench.book = _book_with_other_defaults(bench, tmp_path)
    run = bench.run()
    assert run.error is None
    assert sum(isinstance(heard, PlanSummary) for heard in run.person.heard) == 2
    assert _kinds(bench).count(EventKind.SHEET_MADE) == 2
    sheets = [event for event in bench.events() if event.kind == EventKind.SHEET_MADE]
    assert "not those expected" in str(sheets[1].facts["because"])
    assert bytes(bench.memories.display) == characters("6.0")


def _book_with_other_defaults(bench: VirtualBench, folder: Path) -> bytes:
    book = folder / "other-book"
    with zipfile.ZipFile(io.BytesIO(bench.book or b"")) as archive:
        archive.extractall(book)
    path = book / "catalogues" / "6.0" / "corvane-c405.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    yaw = next(entry for entry in document["parameters"] if entry["name"] == "TURN_YAW_PUSH")
    yaw["default"] = 0.0625
    path.write_text(json.dumps(document), encoding="utf-8")
    return pack_book(book)


def test_an_unsigned_job_is_proved_and_waits_for_a_name(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    assert isinstance(bench.run(refuses=frozenset({"sign"})).error, NotSignedError)
    run = bench.run()
    assert run.error is None
    assert _kinds(bench).count(EventKind.SETTINGS_VERIFIED) == 1


@pytest.mark.parametrize("point", ["before the write", "in the write", "before the proof"])
def test_another_aircraft_on_the_port_is_refused_and_nothing_is_written(point: str, tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    if point == "in the write":
        bench.run(faults=FaultPlan(power_cut=PowerCut(20, CutMoment.TORN)), stays=False)
    if point == "before the proof":
        bench.run(faults=FaultPlan(battery_absent=True))
    bench.papers = replace(bench.papers, unique_id=OTHER_ID)
    before = bench.copy(tmp_path / "before")
    run = bench.run()
    error = _require_four_answers(run.error)
    assert isinstance(error, WrongAircraftError)
    assert error.exit_code == 9
    assert OTHER_ID in error.what
    _require_nothing_written(bench, before)


def test_an_image_of_another_board_is_refused_before_anything_is_asked(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.image_file = write_intel_hex(build_image("6.0", "H7"))
    run = bench.run()
    assert isinstance(run.error, ImageBoardMismatchError)
    assert _require_four_answers(run.error).exit_code == 5
    _require_nothing_written(bench, _fresh())


def test_a_board_with_another_chip_is_refused_before_anything_is_erased(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run(faults=FaultPlan(wrong_board=True))
    assert isinstance(run.error, ImageBoardMismatchError)
    assert "0x450" in run.error.why
    _require_nothing_written(bench, _fresh())


def test_a_damaged_copy_of_the_settings_shuts_the_gate_before_the_write(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    kept = fold(bench.events()).as_found
    assert kept is not None
    path = next(bench.folder.rglob(kept.name))
    path.chmod(0o600)
    path.write_bytes(path.read_bytes().replace(b"0", b"1", 1))
    run = bench.run()
    assert isinstance(run.error, StorageError)
    assert _require_four_answers(run.error).exit_code == 8
    _require_nothing_written(bench, _before_write())


@pytest.mark.parametrize("after_bytes", [300, 5_000, 30_000, 100_000])
def test_a_cable_pulled_anywhere_stops_with_words_and_resume_goes_on(after_bytes: int, tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run(faults=FaultPlan(cable_pull_after_bytes=after_bytes), refuses=frozenset({"hands"}))
    assert run.aircraft.condition.pulled_by_plan
    assert isinstance(run.error, LinkError)
    assert _require_four_answers(run.error).exit_code == 3
    assert bench.run().error is None


def test_settings_are_saved_complete_and_exact_with_a_fifth_of_the_frames_lost(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run(faults=FaultPlan(loss_rate=0.2, seed=3), refuses=frozenset({"plan"}), baud=115_200)
    assert isinstance(run.error, PlanNotAcceptedError)
    assert _as_found(bench).settings == _as_found(_before_write()).settings


@pytest.mark.parametrize("operation", [1, 2, 3, 4, 40, 120, 147])
def test_roll_back_from_an_interrupted_write_brings_the_very_aircraft_back(operation: int, tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    bench.run(faults=FaultPlan(power_cut=PowerCut(operation, CutMoment.TORN)), stays=False)
    run = bench.run(roll_back=True)
    _require_as_found(bench, run.error)


@pytest.mark.parametrize("refused", ["hands", "sign"])
def test_roll_back_from_later_stages_brings_the_very_aircraft_back(refused: str, tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    assert bench.run(refuses=frozenset({refused})).error is not None
    run = bench.run(roll_back=True)
    _require_as_found(bench, run.error)
    assert fold(bench.events()).is_over


def _require_as_found(bench: VirtualBench, error: Exception | None) -> None:
    assert error is None, error
    assert fold(bench.events()).is_rolled_back
    assert bytes(bench.memories.flash) == bytes(_fresh().memories.flash)
    assert bytes(bench.memories.display) == bytes(_fresh().memories.display)
    again = VirtualBench.copy(bench, bench.folder / "again")
    again.changeover_id = ""
    again.run(refuses=frozenset({"plan"}))
    assert _as_found(again).settings == _as_found(bench).settings


def test_a_roll_back_that_is_cut_goes_on_and_ends(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    bench.run(refuses=frozenset({"sign"}))
    for operation in (1, 3, 60, 150):
        cut = FaultPlan(power_cut=PowerCut(operation, CutMoment.TORN))
        run = bench.run(faults=cut, roll_back=True, stays=False)
        assert run.error is not None or fold(bench.events()).is_rolled_back
    if not fold(bench.events()).is_rolled_back:
        assert bench.run().error is None
    _require_as_found(bench, None)


def test_there_is_no_way_back_from_nothing(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    run = bench.run(roll_back=True)
    assert isinstance(run.error, RollBackNotPossibleError)
    assert _require_four_answers(run.error).exit_code == 7
    _require_nothing_written(bench, _before_write())


def test_there_is_no_way_back_from_a_signed_job(tmp_path: Path) -> None:
    bench = _before_write().copy(tmp_path)
    assert bench.run().error is None
    assert isinstance(bench.run(roll_back=True).error, RollBackNotPossibleError)
