"""One suite for every way to write: what a bootloader has to do for the job, whatever the wire.

`FACTS` says where a way cannot have a property, and why; a test below shows that each of these is so.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import DrivesFiles, LookingClock

from rotorwright.changeover.bootloaders import Bootloader, DriveBootloader, FlashBootloader, Written
from rotorwright.changeover.ways import WriteWay
from rotorwright.errors import LinkError, RotorwrightError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Sector, microcontroller, sectors_for
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.errors import ImageOutsidePlanError
from rotorwright.links.uf2_drive.finding import find_drives
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.state import Papers
from rotorwright.twin.usb_backend import DirectCarrier, TwinUsbBackend
from rotorwright.twin.usb_port import UsbPort
from rotorwright.twin.wire import DirectPort

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rotorwright.twin.aircraft import Hardware

PART = microcontroller("STM32F405xG")
START = PART.flash_start
UNIQUE_ID = "3a0027001351383438343933"
WAYS = [WriteWay.UART, WriteWay.USB, WriteWay.DRIVE]


@dataclass(frozen=True)
class Facts:
    """What a way can show. A drive takes whole files and gives nothing out: it can neither look nor be asked."""

    tells_chip: bool
    tells_unique_id: bool
    gives_flash: bool


FACTS = {
    WriteWay.UART: Facts(tells_chip=True, tells_unique_id=True, gives_flash=True),
    WriteWay.USB: Facts(tells_chip=False, tells_unique_id=True, gives_flash=True),
    WriteWay.DRIVE: Facts(tells_chip=False, tells_unique_id=False, gives_flash=False),
}


def _image(seed: int, size: int = 40_000) -> Image:
    return Image.of([(START, random.Random(seed).randbytes(size))])


OLD, NEW = _image(1), _image(2)
SECTORS = sectors_for(NEW, PART)


class Idle:
    """An application that runs and says nothing."""

    wants = None

    def start(self, _now_s: float) -> None:
        return

    def receive(self, _data: bytes, _now_s: float) -> None:
        return

    def transmit(self, _now_s: float) -> list[bytes]:
        return []

    def next_event_s(self) -> float | None:
        return None


class WayBench:
    """A board whose flash outlives everything else, reached by one way."""

    def __init__(self, way: WriteWay, folder: Path) -> None:
        self.way = way
        self.folder = folder / "drive"
        self.wanted = NEW
        self.memories = MemoryBytes.fresh(PART)
        self.memories.flash[: OLD.size_bytes] = OLD.segments[0].data
        self.rest = b"\x5a" * (PART.flash_end - SECTORS[-1].end)
        self.memories.flash[SECTORS[-1].end - START :] = self.rest

    def _boot(self, flash: bytes, _hardware: Hardware) -> Idle | None:
        return Idle() if flash[: self.wanted.size_bytes] == self.wanted.segments[0].data else None

    def enter(self, faults: FaultPlan | None = None) -> Bootloader:
        """Return the bootloader of the board, its power just switched on with the button held."""
        self.clock = LookingClock()
        papers = Papers(UNIQUE_ID, "C405", PART.name, drive=self.way is WriteWay.DRIVE)
        how = Circumstances(baud=0, faults=faults or FaultPlan(), drive_folder=self.folder)
        self.aircraft = build_aircraft(papers, self.memories, self._boot, circumstances=how)
        self.clock.aircraft = self.aircraft
        self.aircraft.power_off(0.0)
        self.aircraft.power_on(0.0, button=True)
        self.clock.sleep_s(1.0)
        match self.way:
            case WriteWay.UART:
                wire = DirectPort(self.aircraft, self.clock).open(LineSettings(115_200, Parity.EVEN))
                loader = RomUartLoader(wire, self.clock)
                loader.synchronise()
                return FlashBootloader(loader, self.way, "UART", lambda _id: ())
            case WriteWay.USB:
                bus = UsbBus(TwinUsbBackend(DirectCarrier([UsbPort(self.aircraft)], self.clock)))
                usb = UsbDfuLoader.open(bus, self.clock)
                layout = tuple(usb.layout.sectors)
                return FlashBootloader(usb, self.way, "USB", lambda found: usb.unproved(unique_id=found), layout)
        (drive,) = find_drives([self.folder])
        return DriveBootloader(drive, self.clock, lambda: find_drives([self.folder]), DrivesFiles())

    def write(
        self,
        image: Image = NEW,
        *,
        faults: FaultPlan | None = None,
        before_erase: Callable[[Sector], None] = lambda _sector: None,
        told: list[tuple[int, int]] | None = None,
        pull_at: int = 0,
        sectors: tuple[Sector, ...] | None = None,
    ) -> Written:
        self.wanted = image
        boot = self.enter(faults)

        calls = 0

        def progress(done: int, total: int) -> None:
            nonlocal calls
            calls += 1
            if calls == pull_at:
                self.aircraft.pull_cable(self.clock.now_s())
            if told is not None:
                told.append((done, total))
            if self.way is WriteWay.DRIVE:
                self.clock.sleep_s(0.1)

        sectors = sectors_for(image, PART) if sectors is None else sectors
        return boot.write(image, sectors, part=PART, before_erase=before_erase, progress=progress)

    def holds(self, image: Image = NEW) -> bool:
        return bytes(self.memories.flash[: image.size_bytes]) == image.segments[0].data

    def is_untouched_elsewhere(self) -> bool:
        return bytes(self.memories.flash[SECTORS[-1].end - START :]) == self.rest


@pytest.fixture(params=WAYS, ids=lambda way: way.value)
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> WayBench:
    way: WriteWay = request.param
    return WayBench(way, tmp_path)


def test_the_image_is_written_and_nothing_else_is_touched(bench: WayBench) -> None:
    bench.write()
    assert bench.holds()
    assert bench.is_untouched_elsewhere()


def test_each_way_shows_what_its_facts_say_and_no_more(bench: WayBench) -> None:
    facts, boot = FACTS[bench.way], bench.enter()
    assert boot.chip_id() == (PART.boot_id if facts.tells_chip else None)
    assert boot.unique_id(PART) == (UNIQUE_ID if facts.tells_unique_id else None)
    assert boot.flash_kib(PART) == (1024 if facts.gives_flash else None)
    kept = boot.keep(SECTORS, lambda _done, _total: None)
    assert kept == (bytes(bench.memories.flash[: SECTORS[-1].end - START]) if facts.gives_flash else None)


def test_what_is_called_proved_is_proved_and_the_rest_is_said(bench: WayBench) -> None:
    facts, written = FACTS[bench.way], bench.write()
    assert written.bytes_verified == (NEW.size_bytes if facts.gives_flash else 0)
    said = " ".join(written.unproved)
    assert ("cannot be read back" in said) == (not facts.gives_flash)
    assert bool(said) == (not facts.tells_chip)


def test_the_same_image_again_changes_nothing_where_that_can_be_seen(bench: WayBench) -> None:
    bench.write()
    erased: list[int] = []
    again = bench.write(before_erase=lambda sector: erased.append(sector.number))
    assert bench.holds()
    if FACTS[bench.way].gives_flash:
        assert (again.sectors, erased) == ((), [])
    else:
        assert erased == [sector.number for sector in SECTORS]  # it cannot look, and each erase is told all the same


def test_an_image_that_differs_in_one_sector_costs_that_sector_and_the_first(bench: WayBench) -> None:
    bench.write()
    data = bytearray(NEW.segments[0].data)
    data[SECTORS[2].address - START + 5] ^= 1
    changed = Image.of([(START, bytes(data))])
    erased: list[int] = []
    bench.write(changed, before_erase=lambda sector: erased.append(sector.number))
    assert bench.holds(changed)
    assert sorted(erased) == ([0, 2] if FACTS[bench.way].gives_flash else [0, 1, 2])


def test_each_sector_is_told_before_it_is_erased_and_is_left_alone_if_that_is_refused(bench: WayBench) -> None:
    class NotAllowedError(Exception):
        pass

    def refuse(_sector: Sector) -> None:
        raise NotAllowedError

    before = bytes(bench.memories.flash)
    with pytest.raises(NotAllowedError):
        bench.write(before_erase=refuse)
    assert bytes(bench.memories.flash) == before


def test_progress_never_goes_back_and_ends_at_its_total(bench: WayBench) -> None:
    told: list[tuple[int, int]] = []
    bench.write(told=told)
    done = [one for one, _ in told]
    assert done == sorted(done)
    assert told[-1][0] == told[-1][1]
    assert len({total for _, total in told}) == 1


def test_a_sector_that_does_not_take_what_is_written_is_an_error_in_words(bench: WayBench) -> None:
    with pytest.raises(RotorwrightError) as caught:
        bench.write(faults=FaultPlan(protected_sectors=(1,)))
    assert all((caught.value.what, caught.value.why, caught.value.todo))
    bench.write()
    assert bench.holds()


@pytest.mark.parametrize("operation", [1, 2, 8, 15])
@pytest.mark.parametrize("moment", list(CutMoment))
def test_a_power_cut_is_an_error_of_the_link_and_a_second_write_finishes(
    bench: WayBench, operation: int, moment: CutMoment
) -> None:
    with pytest.raises(LinkError) as caught:
        bench.write(faults=FaultPlan(power_cut=PowerCut(operation, moment)))
    assert bench.aircraft.condition.cut_happened
    assert all((caught.value.what, caught.value.why, caught.value.todo))
    assert bench.is_untouched_elsewhere()
    bench.write()
    assert bench.holds()
    assert bench.is_untouched_elsewhere()


@pytest.mark.parametrize("where", [0.0, 0.5, 0.9])
def test_a_cable_pulled_at_any_time_is_an_error_of_the_link_and_a_second_write_finishes(
    bench: WayBench, where: float
) -> None:
    told: list[tuple[int, int]] = []
    before = bytes(bench.memories.flash)
    bench.write(told=told)
    bench.memories.flash[:] = before
    at = max(1, int(where * (len(told) - 1)))  # a drive that goes with the last call has got all of it
    with pytest.raises(LinkError) as caught:
        bench.write(pull_at=at)
    assert all((caught.value.what, caught.value.why, caught.value.todo))
    assert bench.is_untouched_elsewhere()
    bench.write()
    assert bench.holds()


def test_an_image_that_reaches_beyond_the_plan_is_refused_before_anything_is_erased(bench: WayBench) -> None:
    before = bytes(bench.memories.flash)
    with pytest.raises(ImageOutsidePlanError):
        bench.write(sectors=SECTORS[:2])
    assert bytes(bench.memories.flash) == before


def test_a_sector_that_the_board_does_not_have_is_refused_where_the_board_says_what_it_has(tmp_path: Path) -> None:
    boot = WayBench(WriteWay.USB, tmp_path).enter()
    boot.require_sectors(SECTORS)
    with pytest.raises(RotorwrightError, match="no sector of 2 KiB"):
        boot.require_sectors([Sector(0, START, 2048)])


def test_erased_ranges_of_the_image_are_not_sent(bench: WayBench) -> None:
    image = Image.of([(START, b"\x11" * 256 + b"\xff" * 32_000 + b"\x22" * 256)])
    bench.write(image)
    assert bench.holds(image)
    erases = len(sectors_for(image, PART))
    assert bench.aircraft.flash.operations - erases <= 4  # of 127 blocks of 256 bytes
