"""The bootloader client against the virtual bootloader, in memory: two machines written by different hands, one note.

Source of the protocol: ST AN3155. The virtual bootloader itself is checked by independent clients in tests/outside.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from rotorwright.errors import LinkError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Sector, microcontroller, sectors_for
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.errors import LoaderSilentError, ReadoutProtectedError, SectorNotWrittenError
from rotorwright.links.rom_uart.flash_writer import read_region, write_sectors
from rotorwright.links.rom_uart.spec import LINE_BITS_PER_BYTE
from rotorwright.links.wire import LineSettings, Parity, Port, Wire
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.rom_uart import OptionBytes
from rotorwright.twin.state import Papers
from rotorwright.twin.wire import DirectPort

PART = microcontroller("STM32F405xG")
UNIQUE_ID = "3a0027001351383438343933"
START = PART.flash_start
EVEN = LineSettings(115_200, Parity.EVEN)


def _image(size: int, seed: int) -> Image:
    return Image.of([(START, random.Random(seed).randbytes(size))])


OLD, NEW = _image(40_000, 1), _image(41_002, 2)
SECTORS = sectors_for(NEW, PART)


class Bench:
    """One aircraft in its bootloader, and a fresh client each time that one is asked for."""

    def __init__(
        self,
        *,
        faults: FaultPlan | None = None,
        options: OptionBytes | None = None,
        loader_version: int = 0x31,
        line: LineSettings = EVEN,
    ) -> None:
        self.memories = MemoryBytes.fresh(PART)
        self.memories.flash[: OLD.size_bytes] = OLD.segments[0].data
        self.clock = VirtualClock()
        self.aircraft = build_aircraft(
            Papers(unique_id=UNIQUE_ID, board="C405", microcontroller=PART.name),
            self.memories,
            lambda _flash, _hardware: None,
            circumstances=Circumstances(faults=faults or FaultPlan(), loader_version=loader_version),
            options=options,
        )
        self.port: Port = DirectPort(self.aircraft, self.clock)
        self.line = line
        self._wire: Wire | None = None
        self.press_the_button()

    def press_the_button(self) -> None:
        now_s = self.clock.now_s()
        self.aircraft.power_off(now_s)
        if not self.aircraft.is_connected:
            self.aircraft.plug_cable(now_s)
        self.aircraft.power_on(now_s, button=True)
        self.clock.sleep_s(0.5)

    def connect(self) -> RomUartLoader:
        if self._wire is not None:
            self._wire.close()
        self._wire = self.port.open(self.line)
        return RomUartLoader(self._wire, self.clock)

    def holds(self, image: Image) -> bool:
        return bytes(self.memories.flash[: image.size_bytes]) == image.segments[0].data

    def write(self, before_erase: Callable[[Sector], None] | None = None) -> None:
        write_sectors(self.connect(), NEW, SECTORS, mcu=PART, before_erase=before_erase)


@pytest.mark.parametrize("baud", [9_600, 57_600, 115_200, 921_600])
def test_the_bootloader_is_found_and_says_what_it_is(baud: int) -> None:
    bench = Bench(line=LineSettings(baud, Parity.EVEN))
    loader = bench.connect()
    loader.synchronise()
    assert loader.info().version == loader.version() == "3.1"
    assert loader.chip_id() == PART.boot_id
    assert loader.read_unique_id(PART.unique_id_address) == UNIQUE_ID


def test_an_image_is_written_verified_and_nothing_else_touched() -> None:
    bench = Bench()
    bench.memories.flash[-131_072:] = b"\x5a" * 131_072
    loader = bench.connect()
    assert read_region(loader, START, 40_000, twice=True) == OLD.segments[0].data
    report = write_sectors(loader, NEW, SECTORS, mcu=PART)
    assert report.written == (0, 1, 2)
    assert bench.holds(NEW)
    assert bytes(bench.memories.flash[-131_072:]) == b"\x5a" * 131_072
    loader.go(START)


@pytest.mark.parametrize("baud", [115_200, 921_600])
def test_writing_takes_at_most_a_seventh_longer_than_line_and_flash_allow(baud: int) -> None:
    bench = Bench(line=LineSettings(baud, Parity.EVEN))
    loader = bench.connect()
    loader.synchronise()
    started = bench.clock.now_s()
    loader.erase([sector.number for sector in SECTORS])
    loader.write(START, NEW.segments[0].data)
    took_s = bench.clock.now_s() - started
    limit_s = NEW.size_bytes * LINE_BITS_PER_BYTE / baud
    limit_s += sum(PART.erase_typical_s[sector.size_bytes] for sector in SECTORS)
    limit_s += NEW.size_bytes / 4 * PART.program_word_typical_s
    assert 1.0 < took_s / limit_s <= 1.15


def test_an_older_bootloader_is_erased_by_its_older_command() -> None:
    bench = Bench(loader_version=0x22)
    bench.write()
    assert bench.holds(NEW)


def test_a_locked_board_is_refused_and_stays_as_it_was() -> None:
    bench = Bench(options=OptionBytes(read_out_protected=True))
    before = bytes(bench.memories.flash)
    with pytest.raises(ReadoutProtectedError):
        bench.write()
    assert bytes(bench.memories.flash) == before


def test_a_sector_that_takes_a_write_and_changes_nothing_is_found_by_reading_back() -> None:
    bench = Bench(faults=FaultPlan(protected_sectors=(1,)))
    with pytest.raises(SectorNotWrittenError) as caught:
        bench.write()
    assert caught.value.facts["sector"] == 1
    assert bytes(bench.memories.flash[:16_384]) == b"\xff" * 16_384, "without its vector table the mixture cannot start"


def test_another_board_answers_with_another_chip_and_id() -> None:
    loader = Bench(faults=FaultPlan(wrong_board=True)).connect()
    assert loader.chip_id() != PART.boot_id
    assert loader.read_unique_id(PART.unique_id_address) != UNIQUE_ID


@pytest.mark.parametrize(
    "faults",
    [
        FaultPlan(loss_rate=0.01, seed=1),
        FaultPlan(loss_rate=0.03, seed=2),
        FaultPlan(damage_rate=0.01, seed=3),
        FaultPlan(damage_rate=0.03, seed=4),
        FaultPlan(late_s=0.05),
        FaultPlan(loss_rate=0.01, damage_rate=0.01, late_s=0.01, seed=5),
    ],
    ids=lambda faults: faults.words(),
)
def test_a_bad_line_costs_time_and_nothing_else(faults: FaultPlan) -> None:
    bench = Bench(faults=faults)
    erased: list[int] = []
    bench.write(before_erase=lambda sector: erased.append(sector.number))
    assert bench.holds(NEW)
    assert set(erased) == {0, 1, 2}


def _operations_of_a_clean_run() -> int:
    bench = Bench()
    bench.write()
    return bench.aircraft.flash.operations


@pytest.mark.parametrize("moment", CutMoment)
def test_a_power_cut_is_mended_by_writing_again(moment: CutMoment) -> None:
    """A sample of all operations here; the exhaustive walk over the whole job is in tests/interruption."""
    last = _operations_of_a_clean_run()
    assert last > 160
    for operation in [1, 2, 3, 4, 5, *range(6, last, 23), last]:
        bench = Bench(faults=FaultPlan(power_cut=PowerCut(operation, moment)))
        with pytest.raises(LinkError):
            bench.write()
        assert bench.aircraft.condition.cut_happened
        bench.press_the_button()
        bench.write()
        assert bench.holds(NEW), f"{moment} {operation}"


def test_a_cable_pulled_anywhere_is_mended_by_writing_again() -> None:
    for after_bytes in [1, 2, 3, 20, 40, 100, *range(1_000, 90_000, 7_001)]:
        bench = Bench(faults=FaultPlan(cable_pull_after_bytes=after_bytes))
        with pytest.raises(LinkError):
            bench.write()
        assert not bench.port.is_present()
        bench.press_the_button()
        bench.write()
        assert bench.holds(NEW), f"after {after_bytes} bytes"


def test_a_board_without_power_is_told_as_silent() -> None:
    bench = Bench()
    loader = bench.connect()
    bench.aircraft.power_off(bench.clock.now_s())
    with pytest.raises(LoaderSilentError):
        loader.synchronise()
