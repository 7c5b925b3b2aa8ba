"""The write: only what differs, the vector table away first and back last, safe to stop anywhere."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from tests.unit.links.fake_loader import FakeLoader, Faults
from tests.unit.links.simulated_wire import SimulatedWire

from rotorwright.errors import RotorwrightError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Sector, sectors_for
from rotorwright.links.errors import PortVanishedError
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.errors import (
    ImageDiffersError,
    ImageOutsidePlanError,
    ReadingsDifferError,
    SectorNotWrittenError,
    WriteCancelledError,
)
from rotorwright.links.rom_uart.flash_writer import (
    SectorState,
    compare_sectors,
    read_region,
    verify_sectors,
    write_sectors,
)
from rotorwright.twin.clock import VirtualClock

BASE = 0x0800_0000


def _noise(count: int, seed: int) -> bytes:
    return random.Random(seed).randbytes(count)


OLD = Image.of([(BASE, _noise(50_000, 1))])
NEW = Image.of([(BASE, _noise(52_001, 2))])


class Bench:
    """A board that holds an image, and a client."""

    def __init__(self, holds: Image | None = OLD, faults: Faults | None = None) -> None:
        self.device = FakeLoader(faults)
        for segment in holds.segments if holds is not None else ():
            self.device.flash[segment.address - BASE : segment.end - BASE] = segment.data
        self.connect()

    def connect(self) -> None:
        self.clock = VirtualClock()
        self.wire = SimulatedWire(self.device, self.clock)
        self.loader = RomUartLoader(self.wire, self.clock)

    def sectors(self, image: Image) -> tuple[Sector, ...]:
        return sectors_for(image, self.device.part)

    def holds(self, image: Image) -> bool:
        return all(self.device.holds(segment.address, segment.data) for segment in image.segments)

    def erases_and_first_writes(self) -> list[str]:
        """Return what was erased and which sectors were written, in order, runs of writes as one."""
        acts = [self._act(*line.split()[:2]) for line in self.device.log if not line.startswith("read")]
        return [act for act, before in zip(acts, ["", *acts], strict=False) if act != before]

    def _act(self, word: str, where: str) -> str:
        if word == "erase":
            return f"erase {where}"
        sector = self.device.part.sector_at(int(where, 16))
        assert sector is not None
        return f"write {sector.number}"


def test_a_new_image_replaces_the_old_one_with_its_vector_table_away_first_and_back_last() -> None:
    bench = Bench()
    report = write_sectors(bench.loader, NEW, bench.sectors(NEW), mcu=bench.device.part)
    assert bench.holds(NEW)
    assert bench.erases_and_first_writes() == [
        *("erase 0", "erase 1", "write 1", "erase 2", "write 2", "erase 3", "write 3", "write 0"),
    ]
    assert report.written == (0, 1, 2, 3)
    assert report.same == ()
    assert report.bytes_written == report.bytes_verified == NEW.size_bytes


def test_a_second_write_of_the_same_image_changes_nothing() -> None:
    bench = Bench(holds=NEW)
    report = write_sectors(bench.loader, NEW, bench.sectors(NEW))
    assert not bench.erases_and_first_writes()
    assert report.same == (0, 1, 2, 3)
    assert report.bytes_written == 0
    assert report.bytes_verified == NEW.size_bytes


def test_only_the_sector_that_differs_and_the_vector_table_are_written() -> None:
    bench = Bench(holds=NEW)
    bench.device.flash[0x8123] ^= 0x40
    report = write_sectors(bench.loader, NEW, bench.sectors(NEW))
    assert report.written == (0, 2)
    assert bench.erases_and_first_writes() == ["erase 0", "erase 2", "write 2", "write 0"]
    assert bench.holds(NEW)


def test_what_stands_outside_the_plan_stays() -> None:
    bench = Bench()
    page = _noise(131_072, 3)
    bench.device.flash[-131_072:] = page
    write_sectors(bench.loader, NEW, bench.sectors(NEW))
    assert bytes(bench.device.flash[-131_072:]) == page


def test_an_image_with_bytes_outside_the_plan_is_refused_before_anything_is_sent() -> None:
    bench = Bench()
    with pytest.raises(ImageOutsidePlanError) as caught:
        write_sectors(bench.loader, NEW, bench.sectors(NEW)[:-1])
    assert caught.value.facts["address"] == 0x0800_C000
    assert bench.wire.sent == []


def test_each_sector_is_told_before_it_is_erased_and_a_refusal_keeps_it() -> None:
    bench = Bench()
    told: list[int] = []

    def allow(sector: Sector) -> None:
        told.append(sector.number)
        assert f"erase {sector.number}" not in bench.device.log
        if sector.number == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_sectors(bench.loader, NEW, bench.sectors(NEW), before_erase=allow)
    assert told == [0, 1, 2]
    assert "erase 2" not in bench.device.log


@pytest.mark.parametrize("holds", [OLD, NEW, None])
def test_progress_counts_up_to_the_whole(holds: Image | None) -> None:
    bench = Bench(holds=holds)
    steps: list[tuple[int, int]] = []
    write_sectors(bench.loader, NEW, bench.sectors(NEW), progress=lambda *step: steps.append(step))
    total = 3 * NEW.size_bytes
    assert {of for _, of in steps} == {total}
    assert steps[-1][0] == total


def test_a_gap_in_the_image_is_not_written_and_shared_words_are_written_once() -> None:
    image = Image.of([(BASE, b"\x11" * 400), (BASE + 0x1001, b"\x22"), (BASE + 0x1003, b"\x33" * 300)])
    bench = Bench(holds=None)
    write_sectors(bench.loader, image, bench.sectors(image))
    assert bench.holds(image)
    assert bench.device.holds(BASE + 400, b"\xff" * (0x1001 - 400))
    assert bench.device.holds(BASE + 0x1000, b"\xff\x22\xff\x33")


def test_erased_blocks_of_the_image_are_not_sent() -> None:
    image = Image.of([(BASE, b"\x11" * 256 + b"\xff" * 4096 + b"\x22" * 256)])
    bench = Bench()
    write_sectors(bench.loader, image, bench.sectors(image))
    assert bench.holds(image)
    assert sum(line.startswith("write") for line in bench.device.log) == 2


def test_a_sector_known_to_be_erased_is_not_erased_again() -> None:
    bench = Bench(holds=None)
    write_sectors(bench.loader, NEW, bench.sectors(NEW), known_erased={0, 1, 2, 3})
    assert bench.holds(NEW)
    assert not any(line.startswith("erase") for line in bench.device.log)


def test_a_sector_wrongly_thought_erased_is_erased_after_all() -> None:
    bench = Bench()
    bench.device.flash[0x4000 : 0x4000 + 64] = b"\x00" * 64
    bench.device.strict_writes = False
    write_sectors(bench.loader, NEW, bench.sectors(NEW), known_erased={1})
    assert bench.holds(NEW)
    assert bench.device.log.count("erase 1") == 1


@pytest.mark.parametrize("seed", range(4))
def test_a_sector_that_does_not_keep_its_bytes_is_tried_three_times_and_named(seed: int) -> None:
    weak = BASE + 0x4000 + random.Random(seed).randrange(0x4000)
    bench = Bench(faults=Faults(weak_addresses={weak}))
    with pytest.raises(SectorNotWrittenError) as caught:
        write_sectors(bench.loader, NEW, bench.sectors(NEW))
    error = caught.value
    assert error.facts["sector"] == 1
    assert error.facts["address"] == weak & ~0xFF
    assert bench.device.log.count("erase 1") == 3
    assert bench.device.holds(BASE, b"\xff" * 0x4000), "without its vector table the mixture does not start"
    assert all((error.what, error.why, error.state, error.todo))


def test_a_stop_ends_between_two_blocks_and_the_next_write_goes_on() -> None:
    bench = Bench()
    asked = 0

    def stop() -> bool:
        nonlocal asked
        asked += 1
        return asked > 150

    with pytest.raises(WriteCancelledError):
        write_sectors(bench.loader, NEW, bench.sectors(NEW), should_stop=stop)
    done_before = bench.device.log.count("erase 1")
    write_sectors(bench.loader, NEW, bench.sectors(NEW))
    assert bench.holds(NEW)
    assert done_before == 1
    assert bench.device.log.count("erase 1") == 1, "a sector that was written and verified is left alone"


def test_a_pulled_cable_at_any_message_is_mended_by_writing_again() -> None:
    """A sample of the messages is enough here: the exhaustive walk is in tests/interruption."""
    clean = Bench()
    write_sectors(clean.loader, NEW, clean.sectors(NEW))
    cuts = 0
    for sends in range(1, len(clean.wire.sent), 97):
        bench = Bench()
        bench.wire.vanishes_after_sends = sends
        with pytest.raises(PortVanishedError):
            write_sectors(bench.loader, NEW, bench.sectors(NEW))
        cuts += 1
        bench.connect()
        write_sectors(bench.loader, NEW, bench.sectors(NEW))
        assert bench.holds(NEW)
    assert cuts > 10


def test_the_last_reading_of_the_whole_finds_what_changed_after_its_sector_was_verified() -> None:
    bench = Bench()
    sectors = bench.sectors(NEW)

    def spoil(sector: Sector) -> None:
        if sector.number == 3:
            bench.device.flash[0x4100] ^= 1

    with pytest.raises(ImageDiffersError) as caught:
        write_sectors(bench.loader, NEW, sectors, before_erase=spoil)
    assert caught.value.facts["sector"] == 1
    report = write_sectors(bench.loader, NEW, sectors)
    assert report.written == (0, 1)


def test_comparing_and_verifying_change_nothing() -> None:
    bench = Bench(holds=NEW)
    bench.device.flash[0x8000] ^= 1
    sectors = bench.sectors(NEW)
    states = compare_sectors(bench.loader, NEW, sectors)
    assert states == {0: SectorState.SAME, 1: SectorState.SAME, 2: SectorState.DIFFERS, 3: SectorState.SAME}
    with pytest.raises(ImageDiffersError):
        verify_sectors(bench.loader, NEW, sectors)
    bench.device.flash[0x8000] ^= 1
    assert verify_sectors(bench.loader, NEW, sectors) >= NEW.size_bytes
    assert not bench.erases_and_first_writes()


def test_the_old_image_is_read_whole() -> None:
    bench = Bench()
    steps: list[tuple[int, int]] = []
    data = read_region(bench.loader, BASE, 50_000, progress=lambda *step: steps.append(step))
    assert data == OLD.segments[0].data
    assert steps[-1] == (50_000, 50_000)


def test_a_region_read_twice_does_not_take_a_damaged_block() -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.damage_reads = [False, True, False, False]
    assert read_region(bench.loader, BASE, 512, twice=True) == OLD.segments[0].data[:512]
    bench.device.damage_reads = [True, False] * 10
    with pytest.raises(ReadingsDifferError) as caught:
        read_region(bench.loader, BASE, 256, twice=True)
    assert caught.value.facts["address"] == BASE
    assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))


LINE_FAULTS: dict[str, Callable[[FakeLoader, int], None]] = {
    "lost": lambda device, number: device.faults.lose_answers.add(number),
    "doubled": lambda device, number: device.faults.double_answers.add(number),
    "late": lambda device, number: device.faults.delay_s.update({number: 1.5}),
}


@pytest.mark.parametrize("fault", LINE_FAULTS)
def test_answers_lost_doubled_or_late_anywhere_do_no_harm(fault: str) -> None:
    small_old = Image.of([(BASE, _noise(600, 4)), (BASE + 0x4000, _noise(300, 5))])
    small_new = Image.of([(BASE, _noise(600, 6)), (BASE + 0x4000, _noise(300, 7))])
    clean = Bench(holds=small_old)
    write_sectors(clean.loader, small_new, clean.sectors(small_new))
    for number in range(clean.device.answers):
        bench = Bench(holds=small_old)
        LINE_FAULTS[fault](bench.device, number)
        try:
            write_sectors(bench.loader, small_new, bench.sectors(small_new))
        except RotorwrightError as error:
            pytest.fail(f"answer {number} {fault}: {error}")
        assert bench.holds(small_new)
        erased = {line for line in bench.device.log if line.startswith("erase")}
        assert erased == {"erase 0", "erase 1"}


@pytest.mark.parametrize("seed", range(5))
def test_bytes_lost_here_and_there_do_no_harm(seed: int) -> None:
    noise = random.Random(seed)
    bench = Bench(faults=Faults(lose_bytes={noise.randrange(20, 80_000) for _ in range(12)}))
    write_sectors(bench.loader, NEW, bench.sectors(NEW))
    assert bench.holds(NEW)
    assert {line for line in bench.device.log if line.startswith("erase")} == {f"erase {n}" for n in range(4)}
