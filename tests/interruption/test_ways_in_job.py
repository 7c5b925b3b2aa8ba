"""The whole job by each way of writing: the same aircraft at the end, the right board before, the way back after."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import BenchPerson, BenchRun, VirtualBench

from rotorwright.changeover.errors import (
    DrivesSeveralError,
    ImageBoardMismatchError,
    OldImageMissingError,
    OldImageOtherReleaseError,
    SectorsDifferError,
)
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.journal import HangarJournal
from rotorwright.changeover.roll_back import give_old_image
from rotorwright.changeover.state import fold
from rotorwright.changeover.ways import WriteWay
from rotorwright.errors import RotorwrightError, WrongAircraftError
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.mcu import Microcontroller, microcontroller
from rotorwright.hangar.store import Hangar
from rotorwright.links.errors import PortUnusableError
from rotorwright.links.rom_uart.errors import ReadoutProtectedError
from rotorwright.links.usb_dfu.errors import DfuDevicesSeveralError
from rotorwright.links.wire import LineSettings, Parity, Port, Wire
from rotorwright.report.from_changeover import report_of
from rotorwright.report.html import render_report
from rotorwright.report.words import outcome_sentence
from rotorwright.twin import memories, usb_dfu
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.assembly import MemoryBytes, build_aircraft
from rotorwright.twin.faults import CutMoment, FaultPlan, MemoryKind, PowerCut
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.usb_dfu import DfuQuirks
from rotorwright.twin.usb_port import UsbPort

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.hangar.journal import Event
    from rotorwright.twin.aircraft import VirtualAircraft

SMALL_BYTES = 36 * 1024
WAYS = [WriteWay.USB, WriteWay.DRIVE]


@cache
def _fresh() -> VirtualBench:
    return VirtualBench(Path(mkdtemp(prefix="rotorwright-ways-")), size_bytes=SMALL_BYTES)


def _bench(folder: Path, way: WriteWay) -> VirtualBench:
    bench = _fresh().copy(folder)
    bench.write_by(way)
    return bench


def _cut_in_write(bench: VirtualBench, operation: int = 3) -> BenchRun:
    cut = PowerCut(operation, CutMoment.AFTER, MemoryKind.FLASH)
    run = bench.run(faults=FaultPlan(power_cut=cut), stays=False)
    assert run.aircraft.condition.cut_happened
    return run


def _kinds(bench: VirtualBench) -> list[str]:
    return [event.kind for event in bench.events()]


def _last(bench: VirtualBench, kind: EventKind) -> Event:
    return [event for event in bench.events() if event.kind == kind][-1]


@cache
def _by_uart() -> tuple[bytes, bytes, bytes]:
    bench = _bench(Path(mkdtemp(prefix="rotorwright-ways-uart-")), WriteWay.UART)
    assert bench.run().error is None
    return bytes(bench.memories.flash), bytes(bench.memories.settings), bytes(bench.memories.display)


@pytest.mark.parametrize("way", [*WAYS, WriteWay.AUTO])
def test_the_aircraft_is_the_same_whatever_the_way(way: WriteWay, tmp_path: Path) -> None:
    bench = _bench(tmp_path, way)
    assert bench.run().error is None
    flash, settings, display = _by_uart()
    assert bytes(bench.memories.flash)[:SMALL_BYTES] == flash[:SMALL_BYTES]
    assert bytes(bench.memories.flash)[0x10000:] == flash[0x10000:]
    assert bytes(bench.memories.settings) == settings
    assert bytes(bench.memories.display) == display


def test_left_to_itself_the_job_takes_the_way_that_the_bootloader_shows(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    bench.way = WriteWay.AUTO
    assert bench.run().error is None
    assert _last(bench, EventKind.BOOTLOADER_ANSWERED).facts["way"] == "drive"


def test_what_usb_leaves_unproved_stands_in_journal_and_report(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    assert bench.run().error is None
    verified = _last(bench, EventKind.IMAGE_VERIFIED)
    assert verified.facts["bytes"] == SMALL_BYTES
    assert any("microcontroller" in str(words) for words in verified.facts["unproved"])  # type: ignore[union-attr]
    with Hangar.open(bench.folder / "hangar") as hangar:
        report = report_of(HangarJournal(hangar, bench.changeover_id, now=lambda: ""))
    assert any(
        remark.startswith("Not proved by the way of writing: Which microcontroller") for remark in report.remarks
    )


def test_a_drive_proves_no_byte_and_the_record_says_so(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    run = bench.run()
    assert run.state is not None
    assert run.state.is_image_written
    assert not run.state.is_image_verified
    assert EventKind.IMAGE_VERIFIED not in _kinds(bench)
    assert any("Not proved: The flash cannot be read back" in str(words) for words in run.person.heard)


def test_a_bootloader_without_unique_id_counts_when_its_application_was_just_asked(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    bench.usb_quirks = DfuQuirks(hides_identity=True)
    run = bench.run()
    assert run.error is None
    assert Gate.SAME_BOARD_SEEN not in run.person.heard
    gates = [event.facts for event in bench.events() if event.kind == EventKind.GATE_PASSED]
    assert any(g["gate"] == "same-aircraft" and "which tells none" in str(g["evidence"]) for g in gates)


def test_a_bootloader_without_unique_id_that_was_there_before_needs_a_persons_word(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    bench.usb_quirks = DfuQuirks(hides_identity=True)
    _cut_in_write(bench)
    before = bytes(bench.memories.flash)
    refused = bench.run(refuses=frozenset({"same-board-seen"}))
    assert isinstance(refused.error, NotConfirmedError)
    assert bytes(bench.memories.flash) == before
    assert bench.run().error is None


def test_a_bootloader_that_is_back_after_a_pulled_cable_needs_a_persons_word(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    bench.usb_quirks = DfuQuirks(hides_identity=True)
    assert bench.run(refuses=frozenset({"propellers-off"})).error is not None

    def replug(shop: Workshop) -> None:  # the battery keeps the board in its bootloader meanwhile
        person = shop.person
        assert isinstance(person, BenchPerson)
        person.aircraft.plug_battery(person.clock.now_s())
        usual = person.go_on_after

        def go_on_after(error: RotorwrightError) -> bool:
            person.aircraft.plug_cable(person.clock.now_s())
            return usual(error)

        person.go_on_after = go_on_after  # type: ignore[method-assign]

    run = bench.run(faults=FaultPlan(cable_pull_after_bytes=60_000), patience=3, prepare=replug)
    assert run.aircraft.condition.pulled_by_plan
    assert run.error is None
    kinds = _kinds(bench)
    pulled_at = len(kinds) - 1 - kinds[::-1].index(EventKind.INTERRUPTED)
    assert EventKind.BOOTLOADER_ANSWERED in kinds[:pulled_at]
    assert Gate.SAME_BOARD_SEEN in run.person.heard
    assert kinds.count(EventKind.BOOTLOADER_WANTED) == 1


def test_another_bootloader_that_was_there_first_is_left_alone(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    other = MemoryBytes.fresh(_part())
    bench.usb_neighbours = (UsbPort(_in_bootloader(bench, other)),)
    assert bench.run().error is None
    assert bytes(other.flash) == bytes(MemoryBytes.fresh(_part()).flash)


def test_among_several_bootloaders_that_were_there_before_none_is_taken(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    _cut_in_write(bench)
    others = [_in_bootloader(bench, MemoryBytes.fresh(_part())) for _ in range(2)]
    bench.usb_neighbours = tuple(UsbPort(other) for other in others)
    before = bytes(bench.memories.flash)
    run = bench.run()
    assert isinstance(run.error, DfuDevicesSeveralError)
    assert bytes(bench.memories.flash) == before


def test_another_aircraft_in_its_bootloader_on_usb_is_refused(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    _cut_in_write(bench)
    before = bytes(bench.memories.flash)
    run = bench.run(faults=FaultPlan(wrong_board=True))
    assert isinstance(run.error, WrongAircraftError)
    assert bytes(bench.memories.flash) == before


def test_a_flash_that_describes_itself_otherwise_than_the_plan_is_not_touched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    monkeypatch.setattr(usb_dfu, "memory_string", lambda _mcu: "@Internal Flash  /0x08000000/512*002Kg")
    before = bytes(bench.memories.flash)
    run = bench.run()
    assert isinstance(run.error, SectorsDifferError)
    assert bytes(bench.memories.flash) == before


def test_two_drives_are_not_chosen_from(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    _cut_in_write(bench)

    def with_second(shop: Workshop) -> None:
        one = shop.drives
        shop.drives = lambda: one() * 2

    run = bench.run(prepare=with_second)
    assert isinstance(run.error, DrivesSeveralError)


def test_without_a_way_back_nothing_is_written_unless_a_person_has_the_old_image(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    before = bytes(bench.memories.flash)
    run = bench.run(refuses=frozenset({"no-old-image"}))
    assert isinstance(run.error, NotConfirmedError)
    assert bytes(bench.memories.flash) == before
    assert EventKind.ERASE_ALLOWED not in _kinds(bench)


def test_the_way_back_from_a_drive_asks_for_the_old_image_and_says_how(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    _cut_in_write(bench)
    run = bench.run(roll_back=True)
    assert isinstance(run.error, OldImageMissingError)
    assert f"rotorwright roll-back {bench.changeover_id} --image FILE" in run.error.todo


@pytest.mark.parametrize("at", [3, 60])
def test_the_way_back_from_a_drive_leads_to_the_aircraft_as_it_was_found(at: int, tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    flash = bytes(bench.memories.flash)
    _cut_in_write(bench, at)
    old = write_intel_hex(bench.old_image)
    run = bench.run(roll_back=True, prepare=lambda shop: give_old_image(shop, old, name="old.hex"))
    assert run.error is None
    assert run.state is not None
    assert run.state.is_rolled_back
    assert bytes(bench.memories.flash)[:SMALL_BYTES] == flash[:SMALL_BYTES]
    back = _last(bench, EventKind.OLD_SETTINGS_VERIFIED).facts  # it compares each with as-found before it says so
    assert back["verified"] == 474  # of 485 as found, the measured ones left out


@pytest.mark.parametrize(("release", "board"), [("6.0", "C405"), ("6.0", "H7")])
def test_an_image_of_another_release_or_board_is_no_way_back(release: str, board: str, tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.DRIVE)
    _cut_in_write(bench)
    other = write_intel_hex(build_image(release, board))
    run = bench.run(roll_back=True, prepare=lambda shop: give_old_image(shop, other, name="other.hex"))
    assert isinstance(run.error, OldImageOtherReleaseError)
    assert EventKind.OLD_IMAGE_GIVEN not in _kinds(bench)


def test_over_usb_the_old_image_is_kept_and_brought_back(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    flash = bytes(bench.memories.flash)
    _cut_in_write(bench, 20)
    run = bench.run(roll_back=True)
    assert run.error is None
    assert bytes(bench.memories.flash) == flash


def test_a_card_from_before_there_was_a_choice_is_written_over_the_uart(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.USB)
    assert bench.run(refuses=frozenset({"propellers-off"})).error is not None
    first = bench.events()[0]
    assert fold([first]).way is WriteWay.USB
    without = {name: value for name, value in first.facts.items() if name != "way"}
    assert fold([replace(first, facts=without)]).way is WriteWay.UART


@pytest.mark.parametrize("way", [WriteWay.UART, WriteWay.USB])
def test_a_microcontroller_that_says_it_has_too_little_flash_is_not_written(
    way: WriteWay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = memories._identity_pages

    def with_little_flash(mcu: Microcontroller, unique_id: bytes) -> dict[int, bytes]:
        pages = usual(mcu, unique_id)
        start = mcu.flash_size_address - mcu.flash_size_address % 16
        at = next(page for page in pages if page <= start < page + len(pages[page]))
        offset = mcu.flash_size_address - at
        pages[at] = pages[at][:offset] + (16).to_bytes(2, "little") + pages[at][offset + 2 :]
        return pages

    monkeypatch.setattr(memories, "_identity_pages", with_little_flash)
    bench = _bench(tmp_path, way)
    before = bytes(bench.memories.flash)
    run = bench.run()
    assert isinstance(run.error, ImageBoardMismatchError)
    assert "16 KiB" in run.error.why
    assert bytes(bench.memories.flash) == before


def test_what_only_a_checksum_says_is_not_called_read_back(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.UART)
    bench.loader_version = 0x33
    new = bench.new_image.read(bench.new_image.start, SMALL_BYTES)

    def most_is_there(_shop: Workshop) -> None:  # once the old image was kept, as after a job cut short
        bench.memories.flash[16 * 1024 : SMALL_BYTES] = new[16 * 1024 :]

    assert bench.run(refuses=frozenset({"propellers-off"})).error is not None
    run = bench.run(prepare=most_is_there)
    assert run.error is None
    assert _last(bench, EventKind.IMAGE_VERIFIED).facts["bytes_by_checksum"] == SMALL_BYTES - 16 * 1024
    with Hangar.open(bench.folder / "hangar") as hangar:
        report = report_of(HangarJournal(hangar, bench.changeover_id, now=lambda: ""))
    entries = {one.label: one.value for card in report.stages for one in card.entries}
    assert entries["image read back"] == 16 * 1024
    assert entries["right by the bootloader's checksum"] == SMALL_BYTES - 16 * 1024


class HeardUpTo:
    """A port behind an adapter that garbles everything above a rate when the bootloader is spoken to."""

    def __init__(self, inner: Port, most: int) -> None:
        self._inner = inner
        self._most = most
        self.rates: list[int] = []

    @property
    def name(self) -> str:
        return self._inner.name

    def is_present(self) -> bool:
        return self._inner.is_present()

    def open(self, line: LineSettings) -> Wire:
        if line.parity is Parity.EVEN:
            self.rates.append(line.baud)
            if line.baud > self._most:
                raise PortUnusableError.named(self.name, detail="garbled")
        return self._inner.open(line)


def test_a_rate_that_does_not_hold_is_stepped_down_with_the_next_press_of_the_button(tmp_path: Path) -> None:
    bench = _bench(tmp_path, WriteWay.UART)
    heard: list[HeardUpTo] = []

    def slow(shop: Workshop) -> None:
        heard.append(HeardUpTo(shop.port, 115_200))
        shop.port = heard[0]

    run = bench.run(prepare=slow)
    assert run.error is None
    assert heard[0].rates[:4] == [921_600, 921_600, 115_200, 115_200]
    assert set(heard[0].rates[2:]) == {115_200}
    assert any("115200 baud" in str(words) for words in run.person.heard)


def test_a_protected_chip_stops_the_job_and_goes_on_when_the_lock_and_everything_with_it_is_gone(
    tmp_path: Path,
) -> None:
    bench = _bench(tmp_path, WriteWay.UART)
    bench.papers = replace(bench.papers, read_out_protected=True)
    before = bytes(bench.memories.flash)
    run = bench.run()
    assert isinstance(run.error, ReadoutProtectedError)
    assert "rotorwright unprotect" in run.error.todo
    assert "as-found settings are safe" in run.error.state
    assert bytes(bench.memories.flash) == before
    bench.papers = replace(bench.papers, read_out_protected=False)
    bench.memories.flash[:] = b"\xff" * len(bench.memories.flash)  # what taking the lock off does
    again = bench.run()
    assert again.error is None
    assert Gate.NO_OLD_IMAGE in again.person.heard
    assert bytes(bench.memories.flash)[:SMALL_BYTES] == bench.new_image.read(bench.new_image.start, SMALL_BYTES)


def _part() -> Microcontroller:
    return microcontroller("STM32F405xG")


def _in_bootloader(bench: VirtualBench, memories_of_other: MemoryBytes) -> VirtualAircraft:
    """Return another aircraft with nothing in its flash, its button held when power came."""
    papers = replace(bench.papers, unique_id="ff" * 12)
    aircraft = build_aircraft(papers, memories_of_other, start_from_flash)
    aircraft.power_off(0.0)
    aircraft.power_on(0.0, button=True)
    return aircraft


def test_the_head_of_the_card_claims_no_reading_that_a_drive_did_not_allow(tmp_path: Path) -> None:
    heads = []
    for way in (WriteWay.USB, WriteWay.DRIVE):
        (tmp_path / way).mkdir()
        bench = _bench(tmp_path / way, way)
        assert bench.run().error is None
        with Hangar.open(bench.folder / "hangar") as hangar:
            report = report_of(HangarJournal(hangar, bench.changeover_id, now=lambda: ""))
        assert outcome_sentence(report) in render_report(report)
        heads.append(outcome_sentence(report))
    assert "written, read back, proved" in heads[0]
    assert "could not be read back" in heads[1]
