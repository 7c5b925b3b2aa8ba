"""Stop at every single operation, start again from disk and aircraft alone, and end with the same aircraft.

One clean run counts the operations of each memory of the aircraft and the events of the journal. Then, for each of
them, the power is cut before, torn in the middle of, or after the operation; or the tool dies before or after the event
is committed. Every object is thrown away; what is left is the bytes of the aircraft's memories and the hangar's folder.

The walk over every operation of the demo's own image is `make check-all` (marker full_walk); a shortened one over a
small image and a sample of the large one run in every check.
"""

from __future__ import annotations

import itertools
import random
import shutil
from dataclasses import dataclass
from enum import Enum
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import BenchRun, VirtualBench

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.state import fold
from rotorwright.changeover.ways import WriteWay
from rotorwright.firmware.mcu import microcontroller
from rotorwright.hangar.store import Hangar
from rotorwright.settings.snapshot import parse_snapshot
from rotorwright.twin.delivery import MAKERS_PAGE_SECTOR
from rotorwright.twin.faults import CutMoment, FaultPlan, MemoryKind, PowerCut

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.changeover.state import ChangeoverState
    from rotorwright.hangar.files import KeptFile
    from rotorwright.hangar.journal import Event
    from rotorwright.settings.snapshot import Snapshot

SMALL_BYTES = 36 * 1024  # three sectors of 16 KiB, the last one not full
CHUNKS = 16
SAMPLE = 12


class Way(Enum):
    """How the job is done: with a release book, without any, without any by the text console; or written otherwise."""

    BOOK = "with a book"
    NO_BOOK = "without a book"
    CONSOLE = "without a book, by console"
    USB = "written over USB"
    DRIVE = "written onto a drive"


WRITES = {Way.USB: WriteWay.USB, Way.DRIVE: WriteWay.DRIVE}


@dataclass(frozen=True)
class CleanRun:
    """What a job without any fault did, to be counted along and compared with."""

    start: VirtualBench
    before_write: VirtualBench
    operations: dict[MemoryKind, int]
    events: int
    alike: frozenset[int]
    as_found: Snapshot
    as_left: Snapshot
    flash: bytes
    display: bytes


@cache
def clean_run(size_bytes: int | None, way: Way = Way.BOOK) -> CleanRun:
    """Do one clean job on an image of this size (None: the demo's own) and remember where it passed."""
    start = VirtualBench(_folder(), size_bytes=size_bytes)
    if way in WRITES:
        start.write_by(WRITES[way])
    if way in {Way.NO_BOOK, Way.CONSOLE}:
        start.book = None
    if way is Way.CONSOLE:
        start.speak_by_console()
    before_write = start.copy(_folder())
    assert before_write.run(refuses=frozenset({"propellers-off"})).error is not None
    bench = before_write.copy(_folder())
    run = bench.run()
    assert run.error is None
    assert run.state is not None
    assert run.state.signed_by == "tester"
    operations = {
        MemoryKind.FLASH: run.aircraft.flash.operations,
        MemoryKind.SETTINGS: run.aircraft.settings.operations,
        MemoryKind.DISPLAY: run.aircraft.display.operations,
    }
    idle = {memory for memory, count in operations.items() if not count}
    assert idle == (
        {MemoryKind.DISPLAY} if way in {Way.NO_BOOK, Way.CONSOLE} else set()
    )  # no book, no characters of the new release
    whole = start.copy(_folder())
    assert whole.run().error is None
    return CleanRun(
        start=start,
        before_write=before_write,
        operations=operations,
        events=len(whole.events()),
        alike=_alike(whole.events(), way),
        as_found=_snapshot(bench, run.state.as_found),
        as_left=_snapshot(bench, run.state.as_left),
        flash=bytes(bench.memories.flash),
        display=bytes(bench.memories.display),
    )


_OTHERWISE_WITHOUT_BOOK = {
    EventKind.IMAGE_CHOSEN,
    EventKind.WRITE_ACCEPTED,
    EventKind.OLD_DEFAULTS_WANTED,
    EventKind.OLD_DEFAULTS_KNOWN,
    EventKind.BOOTLOADER_WANTED,
    EventKind.DEFAULTS_WANTED,
    EventKind.DEFAULTS_READ,
    EventKind.SHEET_MADE,
    EventKind.PLAN_ACCEPTED,
    EventKind.SETTINGS_WANTED,
    EventKind.SETTINGS_REFUSED,
    EventKind.SETTINGS_VERIFIED,
}


_OTHERWISE_BY_WAY = {
    EventKind.BOOTLOADER_WANTED,
    EventKind.BOOTLOADER_ANSWERED,
    EventKind.OLD_IMAGE_SAVED,
    EventKind.OLD_IMAGE_UNREADABLE,
    EventKind.ERASE_ALLOWED,
    EventKind.IMAGE_VERIFIED,
    EventKind.IMAGE_WRITTEN,
    EventKind.APPLICATION_WANTED,
    EventKind.APPLICATION_ANSWERED,
}


def _alike(events: Sequence[Event], way: Way) -> frozenset[int]:
    """Return the events where a kill says nothing that another one does not say.

    Of dozens of answers to held settings the first two and the last say enough; without a book, what is done as with
    one is left to the walk with a book and to the full walk.
    """
    answers = [event.sequence for event in events if event.kind == EventKind.HELD_DECIDED]
    if way is Way.BOOK:
        return frozenset(answers[2:-1]) if len(answers) > 10 else frozenset()
    needed = {*answers[:2], *answers[-1:]}
    otherwise = _OTHERWISE_BY_WAY if way in WRITES else _OTHERWISE_WITHOUT_BOOK
    needed |= {event.sequence for event in events if event.kind in otherwise}
    return frozenset(event.sequence for event in events) - needed


def _folder() -> Path:
    return Path(mkdtemp(prefix="rotorwright-walk-"))


def _snapshot(bench: VirtualBench, kept: KeptFile | None) -> Snapshot:
    assert kept is not None
    with Hangar.open(bench.folder / "hangar") as hangar:
        return parse_snapshot(hangar.fetch(bench.changeover_id, kept), source=kept.name)


def _require_nothing_lost(bench: VirtualBench, clean: CleanRun) -> ChangeoverState:
    """Require what holds at any moment: the journal is whole, the as-found snapshot readable and equal."""
    state = fold(bench.events())
    if state.as_found is not None:
        assert _snapshot(bench, state.as_found).sha256 == clean.as_found.sha256
    else:
        assert not state.is_flash_touched
    return state


def _require_same_aircraft(bench: VirtualBench, run: BenchRun, clean: CleanRun) -> None:
    """Require what holds at the end: signed, and every memory as after a job without any fault."""
    assert run.error is None, run.error
    assert run.state is not None
    assert run.state.signed_by is not None
    assert _snapshot(bench, run.state.as_left).settings == clean.as_left.settings
    assert bytes(bench.memories.flash) == clean.flash
    assert bytes(bench.memories.display) == clean.display
    page = microcontroller("STM32F405xG").sectors[MAKERS_PAGE_SECTOR]
    offset = page.address - 0x0800_0000
    assert bench.memories.flash[offset:] == clean.start.memories.flash[offset:]


def _cut_and_go_on(clean: CleanRun, folder: Path, cut: PowerCut) -> None:
    bench = clean.before_write.copy(folder)
    first = bench.run(faults=FaultPlan(power_cut=cut), stays=False)
    assert first.aircraft.condition.cut_happened, f"the cut did not happen: {cut}"
    assert first.error is not None, f"the job did not notice the cut: {cut}"
    _require_nothing_lost(bench, clean)
    second = bench.run()
    _require_same_aircraft(bench, second, clean)


def _kill_and_go_on(clean: CleanRun, folder: Path, *, at: int, before: bool) -> None:
    bench = clean.start.copy(folder)
    first = bench.run(kill_at=at, kill_before=before)
    assert first.was_killed, f"the tool was not killed at event {at}"
    assert len(bench.events()) == at - int(before)
    _require_nothing_lost(bench, clean)
    second = bench.run()
    _require_same_aircraft(bench, second, clean)


def _cuts(clean: CleanRun, memory: MemoryKind) -> Iterator[PowerCut]:
    for operation, moment in itertools.product(range(1, clean.operations[memory] + 1), CutMoment):
        yield PowerCut(operation, moment, memory)


def _walk(clean: CleanRun, cuts: list[PowerCut], tmp_path: Path) -> None:
    assert cuts, "nothing was cut"
    for number, cut in enumerate(cuts):
        folder = tmp_path / str(number)
        folder.mkdir()
        _cut_and_go_on(clean, folder, cut)
        shutil.rmtree(folder)  # thousands of hangars would fill a disk; one that failed stays to be looked at


@pytest.mark.parametrize("memory", list(MemoryKind))
def test_a_sample_of_cuts_in_the_demo_image_loses_nothing_and_ends_with_the_same_aircraft(
    memory: MemoryKind, tmp_path: Path
) -> None:
    clean = clean_run(None)
    cuts = list(_cuts(clean, memory))
    chosen = random.Random(20260101).sample(cuts, SAMPLE)
    _walk(clean, [cuts[0], *chosen, cuts[-1]], tmp_path)


@pytest.mark.parametrize("way", [Way.NO_BOOK, Way.CONSOLE], ids=lambda way: way.value)
def test_a_cut_while_the_defaults_are_learnt_or_the_settings_come_back_loses_nothing(way: Way, tmp_path: Path) -> None:
    clean = clean_run(SMALL_BYTES, way)
    cuts = list(_cuts(clean, MemoryKind.SETTINGS))
    _walk(clean, [*cuts[:3], *random.Random(20260102).sample(cuts, SAMPLE // 2), cuts[-1]], tmp_path)


@pytest.mark.parametrize("way", list(WRITES), ids=lambda way: way.value)
def test_a_cut_of_the_power_while_it_is_written_over_usb_or_onto_a_drive_loses_nothing(
    way: Way, tmp_path: Path
) -> None:
    clean = clean_run(SMALL_BYTES, way)
    cuts = list(_cuts(clean, MemoryKind.FLASH))
    _walk(clean, [*cuts[:6], *random.Random(20260103).sample(cuts, SAMPLE), *cuts[-3:]], tmp_path)


@pytest.mark.parametrize("moment", list(CutMoment))
def test_a_cut_at_every_erase_and_every_fourth_block_of_a_small_image_loses_nothing(
    moment: CutMoment, tmp_path: Path
) -> None:
    clean = clean_run(SMALL_BYTES)
    every = [cut for cut in _cuts(clean, MemoryKind.FLASH) if cut.moment is moment]
    _walk(clean, [cut for cut in every if cut.operation < 6 or cut.operation % 4 == 0], tmp_path)


@pytest.mark.parametrize("way", list(Way), ids=lambda way: way.value)
@pytest.mark.parametrize("before", [True, False], ids=["before", "after"])
def test_the_tool_killed_at_every_journal_event_goes_on_where_things_stand(
    way: Way, before: bool, tmp_path: Path
) -> None:
    clean = clean_run(SMALL_BYTES, way)
    assert clean.events > 25
    last = clean.events + 1 if before else clean.events
    for at in [at for at in range(2, last) if at not in clean.alike]:
        folder = tmp_path / str(at)
        folder.mkdir()
        _kill_and_go_on(clean, folder, at=at, before=before)
        shutil.rmtree(folder)


def test_a_tool_killed_after_the_last_event_has_nothing_left_to_do(tmp_path: Path) -> None:
    clean = clean_run(SMALL_BYTES)
    bench = clean.start.copy(tmp_path)
    assert bench.run(kill_at=clean.events).was_killed
    assert _require_nothing_lost(bench, clean).is_over
    assert bench.events()[-1].kind == EventKind.SIGNED


def test_a_recovery_that_is_cut_as_well_still_ends_with_the_same_aircraft(tmp_path: Path) -> None:
    clean = clean_run(SMALL_BYTES)
    chance = random.Random(7)
    for number in range(8):
        folder = tmp_path / str(number)
        folder.mkdir()
        bench = clean.before_write.copy(folder)
        for _ in range(3):
            operation = chance.randint(1, 40)
            cut = PowerCut(operation, chance.choice(list(CutMoment)))
            run = bench.run(faults=FaultPlan(power_cut=cut), stays=False)
            _require_nothing_lost(bench, clean)
            if not run.aircraft.condition.cut_happened:
                break
        _require_same_aircraft(bench, bench.run() if run.error else run, clean)


def test_a_cut_is_survived_within_one_run_when_the_person_presses_the_button(tmp_path: Path) -> None:
    clean = clean_run(SMALL_BYTES)
    bench = clean.before_write.copy(tmp_path)
    run = bench.run(faults=FaultPlan(power_cut=PowerCut(30, CutMoment.TORN)), patience=3)
    assert run.aircraft.condition.cut_happened
    assert run.state is not None
    assert run.state.interruptions
    _require_same_aircraft(bench, run, clean)


@pytest.mark.full_walk
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_full_walk_over_every_flash_operation_of_the_demo_image(chunk: int, tmp_path: Path) -> None:
    clean = clean_run(None)
    _walk(clean, list(_cuts(clean, MemoryKind.FLASH))[chunk::CHUNKS], tmp_path)


@pytest.mark.full_walk
@pytest.mark.parametrize("way", list(WRITES), ids=lambda way: way.value)
def test_full_walk_over_every_flash_operation_by_the_other_ways(way: Way, tmp_path: Path) -> None:
    clean = clean_run(SMALL_BYTES, way)
    cuts = list(_cuts(clean, MemoryKind.FLASH))
    print(f"\nThe job {way.value}: {len(cuts)} points at which the power goes")  # noqa: T201 - figure for the record
    _walk(clean, cuts, tmp_path)


@pytest.mark.full_walk
@pytest.mark.parametrize("memory", [MemoryKind.SETTINGS, MemoryKind.DISPLAY])
def test_full_walk_over_every_write_of_the_other_memories(memory: MemoryKind, tmp_path: Path) -> None:
    clean = clean_run(None)
    _walk(clean, list(_cuts(clean, memory)), tmp_path)


@pytest.mark.full_walk
@pytest.mark.parametrize("way", list(Way), ids=lambda way: way.value)
@pytest.mark.parametrize("before", [True, False], ids=["before", "after"])
def test_full_walk_over_every_journal_event_of_the_demo_image(way: Way, before: bool, tmp_path: Path) -> None:
    clean = clean_run(None, way)
    for at in range(2, clean.events):
        folder = tmp_path / str(at)
        folder.mkdir()
        _kill_and_go_on(clean, folder, at=at, before=before)
        shutil.rmtree(folder)
