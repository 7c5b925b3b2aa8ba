"""The whole job with no release book at all: the aircraft teaches the tool, and comes back the same."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest
from tests.virtual_bench import VirtualBench

from rotorwright.changeover.errors import DecisionMissingError, PartUnknownError, PlanNotAcceptedError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.state import fold
from rotorwright.cli.demo_owner import KnowingOwner
from rotorwright.cli.demo_person import usual_choice
from rotorwright.errors import RotorwrightError
from rotorwright.firmware.descriptor import MAGIC
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.hangar.store import Hangar
from rotorwright.settings.policies import PolicySettingError
from rotorwright.settings.sheet import CarryOverSheet, parse_sheet
from rotorwright.settings.values import Value
from rotorwright.twin.faults import MemoryKind
from rotorwright.twin.kept_memory import KeptMemory
from rotorwright.twin.settings_memory import load_settings

SMALL_BYTES = 36 * 1024


@cache
def _fresh() -> VirtualBench:
    bench = VirtualBench(Path(mkdtemp(prefix="rotorwright-bookless-")), size_bytes=SMALL_BYTES)
    bench.book = None
    return bench


@cache
def with_book() -> VirtualBench:
    """Return a bench after a job with the release book, its held lines decided as a careful owner does."""
    bench = VirtualBench(Path(mkdtemp(prefix="rotorwright-booked-")), size_bytes=SMALL_BYTES)
    bench.answers = usual_choice
    assert bench.run().error is None
    return bench


def truth() -> CarryOverSheet:
    """Return what the release book makes of the settings of the demo aircraft."""
    return sheet_of(with_book())


def sheet_of(bench: VirtualBench) -> CarryOverSheet:
    """Return the sheet of the job as it stands."""
    kept = fold(bench.events()).sheet
    assert kept is not None
    with Hangar.open(bench.folder / "hangar") as hangar:
        return parse_sheet(hangar.fetch(bench.changeover_id, kept), source=kept.name)


def settings_of(bench: VirtualBench) -> Mapping[str, Value]:
    """Return what the aircraft has in its settings memory."""
    stored = load_settings(KeptMemory(MemoryKind.SETTINGS, bench.memories.settings))
    assert stored is not None
    return stored.settings


def _kinds(bench: VirtualBench) -> list[str]:
    return [event.kind for event in bench.events()]


def test_the_job_ends_signed_without_a_book(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run()
    assert run.error is None, run.error
    assert run.state is not None
    assert run.state.signed_by == "tester"
    kinds = _kinds(bench)
    assert kinds.index(EventKind.WRITE_ACCEPTED) < kinds.index(EventKind.ERASE_ALLOWED)
    assert (
        kinds.index(EventKind.DEFAULTS_READ) < kinds.index(EventKind.SHEET_MADE) < kinds.index(EventKind.PLAN_ACCEPTED)
    )
    assert EventKind.OLD_DEFAULTS_WANTED not in kinds  # its own catalogue tells them: no reset is needed
    # Nobody knows which characters the release needs, so nothing is shown of the display.
    assert {one.check for one in run.state.proved if not one.is_shown} == {"display"}


def test_with_an_owner_who_knows_the_aircraft_is_the_same_as_with_a_book(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.answers = KnowingOwner(truth()).answer
    run = bench.run()
    assert run.error is None, run.error
    assert _kinds(bench).count(EventKind.PLAN_ACCEPTED) == 1  # nothing new came up, so nobody is asked twice
    now, with_a_book = settings_of(bench), settings_of(with_book())
    differing = [name for name in with_a_book if now[name] != with_a_book[name]]
    # Without a book nobody knows that this one belongs to the board, so what its owner had set is kept.
    assert differing == ["PIN_CAMERA"]
    assert now["PIN_CAMERA"] == settings_of(_fresh())["PIN_CAMERA"]


def test_by_console_without_a_book_the_defaults_are_learnt_by_a_reset_and_the_job_ends_signed(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.speak_by_console()
    run = bench.run()
    assert run.error is None, run.error
    assert run.state is not None
    assert run.state.signed_by == "tester"
    kinds = _kinds(bench)
    assert kinds.index(EventKind.SNAPSHOT_SAVED) < kinds.index(EventKind.OLD_DEFAULTS_WANTED)
    assert kinds.index(EventKind.OLD_DEFAULTS_KNOWN) < kinds.index(EventKind.ERASE_ALLOWED)
    # Nobody knows which values the new release allows: what it does not take comes back to the person.
    assert EventKind.SETTINGS_REFUSED in kinds
    assert kinds.count(EventKind.PLAN_ACCEPTED) == 2


def test_by_console_without_a_book_an_owner_who_knows_gets_the_same_aircraft(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.speak_by_console()
    bench.answers = KnowingOwner(truth()).answer
    run = bench.run()
    assert run.error is None, run.error
    now, with_a_book = settings_of(bench), settings_of(with_book())
    assert [name for name in with_a_book if now[name] != with_a_book[name]] == ["PIN_CAMERA"]


def test_by_console_with_a_book_the_aircraft_is_the_very_same_as_by_messages(tmp_path: Path) -> None:
    bench = VirtualBench(tmp_path, size_bytes=SMALL_BYTES)
    bench.answers = usual_choice
    bench.speak_by_console()
    run = bench.run()
    assert run.error is None, run.error
    assert settings_of(bench) == settings_of(with_book())
    assert bytes(bench.memories.display) == bytes(with_book().memories.display)


@pytest.mark.parametrize("by_console", [False, True], ids=["by messages", "by console"])
def test_each_held_line_has_a_usable_way_even_where_nothing_is_known(by_console: bool, tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    if by_console:
        bench.speak_by_console()
    assert isinstance(bench.run(refuses=frozenset({"held"})).error, DecisionMissingError)
    held = sheet_of(bench).held
    assert len(held) > len(sheet_of(with_book()).held)
    for each in held:
        # Either it writes something, or it takes a new setting whose default is that very value.
        assert any(option.writes or option.key.startswith("to-") for option in each.options), each.found


def test_nothing_is_written_unless_a_person_vouches_for_an_image_that_nobody_can_be_sure_of(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run(refuses=frozenset({str(Gate.IMAGE_VOUCHED)}))
    assert isinstance(run.error, NotConfirmedError)
    assert bytes(bench.memories.flash) == bytes(_fresh().memories.flash)
    assert EventKind.BOOTLOADER_WANTED not in _kinds(bench)


def _without_descriptor(bench: VirtualBench) -> None:
    chunks = [(one.address, one.data.replace(MAGIC, bytes(len(MAGIC)))) for one in bench.new_image.segments]
    bench.image_file = write_intel_hex(Image.of(chunks))


def test_an_image_that_says_nothing_needs_a_person_who_says_which_part_the_board_has(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    _without_descriptor(bench)
    error = bench.run().error
    assert isinstance(error, PartUnknownError)
    assert "--part" in error.todo
    assert "Corvane One" in error.what
    assert bytes(bench.memories.flash) == bytes(_fresh().memories.flash)


def test_with_the_part_named_the_image_still_needs_a_person_who_vouches_for_it(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    _without_descriptor(bench)
    bench.part = "STM32F405xG"
    run = bench.run(refuses=frozenset({"plan"}))
    assert isinstance(run.error, PlanNotAcceptedError)
    assert str(Gate.IMAGE_VOUCHED) in fold(bench.events()).gates
    told = " ".join(str(heard) for heard in run.person.heard)
    assert "The image carries no descriptor" in told


def test_a_part_that_nobody_makes_is_refused_in_words(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    _without_descriptor(bench)
    bench.part = "STM32F405xZ"
    error = bench.run().error
    assert isinstance(error, RotorwrightError)
    assert "STM32F405xZ" in error.what


def test_a_policy_for_a_setting_that_nobody_knows_stops_the_job_before_anything_is_changed(tmp_path: Path) -> None:
    """Decided after the write, it would stop the job where there is no way on."""
    bench = _fresh().copy(tmp_path)
    bench.policy = "careful; set.POSE_ROLL_PUSH=take-new-default"
    assert isinstance(bench.run().error, PolicySettingError)
    assert EventKind.IMAGE_CHOSEN not in _kinds(bench)
    assert bytes(bench.memories.flash) == bytes(_fresh().memories.flash)


def test_a_policy_for_a_setting_of_the_aircraft_holds_without_a_book_too(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.policy = "careful; set.TURN_YAW_PUSH=take-new-default"
    assert bench.run().error is None
    assert not any("TURN_YAW_PUSH" in held.found for held in sheet_of(bench).held)
