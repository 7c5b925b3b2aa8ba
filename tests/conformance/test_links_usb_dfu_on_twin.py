"""The client for the bootloader on USB against the virtual one, in memory: two machines written apart, one standard.

Sources: DFU 1.1 (USB-IF, 2004), ST AN3156. An independent client drives the virtual one in tests/outside.
"""

from __future__ import annotations

import contextlib

import pytest
from tests.unit.links.usb_bench import NEW, OLD, PART, SECTORS, START, UNIQUE_ID, UsbBench, image

from rotorwright.errors import RotorwrightError
from rotorwright.firmware.mcu import Sector, microcontrollers
from rotorwright.links.rom_uart.errors import (
    BlockTornError,
    ReadoutProtectedError,
    SectorNotWrittenError,
    UnalignedAddressError,
)
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.errors import (
    DfuDeviceMissingError,
    DfuDevicesSeveralError,
    DfuGoneError,
    DfuRefusedError,
    DfuSilentError,
    SectorNotInLayoutError,
)
from rotorwright.links.usb_dfu.spec import TRIES
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.twin.aircraft import Mode
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.rom_uart import OptionBytes
from rotorwright.twin.usb_backend import DirectCarrier, TwinUsbBackend
from rotorwright.twin.usb_dfu import DfuQuirks, DfuState
from rotorwright.twin.usb_port import Transfer, TransferEnd, TransferFault, UsbPort

MOMENTS = list(CutMoment)


def _clean() -> UsbBench:
    bench = UsbBench()
    bench.write()
    return bench


CLEAN = _clean()
OPERATIONS = CLEAN.aircraft.flash.operations
REQUESTS = CLEAN.port.requests


# What it does when all is well


def test_an_image_is_written_and_read_back() -> None:
    bench = UsbBench()
    report = bench.write()
    assert bench.holds()
    assert report.bytes_verified == NEW.size_bytes
    assert bench.loader().read(START, NEW.size_bytes) == NEW.segments[0].data
    assert bench.aircraft.flash.refusals == []


def test_what_is_right_already_is_not_erased_again() -> None:
    bench = UsbBench(old=NEW)
    assert bench.write().written == ()
    assert bench.aircraft.flash.operations == 0


def test_only_sectors_that_differ_are_touched_and_the_first_one() -> None:
    bench = UsbBench(old=NEW)
    at = SECTORS[2].address - START
    bench.memories.flash[at] ^= 1
    assert bench.write().written == (0, 2)
    assert bench.aircraft.flash.touched_sectors == {0, 2}
    assert bench.holds()


def test_nothing_beyond_the_sectors_of_the_image_is_touched() -> None:
    bench = UsbBench(old=image(PART.flash_size_bytes, 3))
    before = bytes(bench.memories.flash)
    bench.write()
    beyond = SECTORS[-1].end - START
    assert bytes(bench.memories.flash)[beyond:] == before[beyond:]


@pytest.mark.parametrize("part", [part.name for part in microcontrollers() if part.name.startswith("STM32")])
def test_every_part_of_the_table_is_described_as_it_is(part: str) -> None:
    bench = UsbBench(part=part, old=None)
    places = [(sector.address, sector.size_bytes) for sector in bench.loader().layout.sectors]
    assert places == [(sector.address, sector.size_bytes) for sector in bench.aircraft.mcu.sectors]


def test_leaving_starts_the_application() -> None:
    bench = UsbBench()
    bench.loader().go(START)
    bench.clock.sleep_s(1)
    assert bench.aircraft.usb_bootloader(bench.clock.now_s()) is None
    assert bench.aircraft.mode is Mode.SILENT  # this bench's flash holds no firmware that anybody knows


def test_pauses_that_the_device_asks_for_are_waited_on_the_clock() -> None:
    bench = UsbBench()
    loader = bench.loader()
    before_s = bench.clock.now_s()
    loader.erase_sectors([PART.sectors[11]])
    assert bench.clock.now_s() - before_s >= PART.erase_typical_s[PART.sectors[11].size_bytes]


def test_reading_goes_on_block_by_block_without_setting_the_address_again() -> None:
    bench = UsbBench()
    loader = bench.loader()
    before = bench.port.requests
    loader.read(START, 16 * 2048)
    assert bench.port.requests - before <= 16 + 4  # set address, its statuses, abort


def test_blocks_that_are_not_whole_are_followed_by_the_right_address() -> None:
    bench = UsbBench(old=None)
    loader = bench.loader()
    for offset in range(0, 64, 8):
        loader.write_block(START + offset, bytes(range(offset, offset + 8)))
    assert bytes(bench.memories.flash[:64]) == bytes(range(64))
    assert b"".join(loader.read_block(START + offset, 16) for offset in range(0, 64, 16)) == bytes(range(64))


def test_an_erase_in_between_does_not_mislead_the_next_block() -> None:
    bench = UsbBench(old=None)
    loader = bench.loader()
    loader.write_block(START, bytes(2048))
    loader.erase([5])
    loader.write_block(START + 2048, bytes(2048))
    assert bytes(bench.memories.flash[:4096]) == bytes(4096)
    assert bench.aircraft.flash.refusals == []


@pytest.mark.parametrize("fault", [TransferFault.REQUEST_LOST, TransferFault.ANSWER_LOST])
def test_a_block_whose_answer_is_lost_is_written_once(fault: TransferFault) -> None:
    bench = UsbBench(old=None)
    loader = bench.loader()
    bench.port.faults[bench.port.requests + 4] = fault  # behind the address and its two statuses
    loader.write_block(START, b"once")
    assert bytes(bench.memories.flash[:4]) == b"once"
    assert bench.aircraft.flash.operations == 1


def test_a_torn_block_is_told_and_its_sector_done_again() -> None:
    bench = UsbBench(old=None)
    bench.memories.flash[:4] = b"\x00\xff\x00\xff"
    with pytest.raises(BlockTornError):
        bench.loader().write_block(START, b"once")


def test_a_last_word_that_is_not_full_is_filled_with_erased_bytes() -> None:
    bench = UsbBench(old=None)
    bench.loader().write(START, b"abcde")
    assert bytes(bench.memories.flash[:9]) == b"abcde\xff\xff\xff\xff"


def test_a_block_beside_a_word_is_a_mistake_of_ours_and_not_sent() -> None:
    bench = UsbBench(old=None)
    loader = bench.loader()
    before = bench.port.requests
    with pytest.raises(UnalignedAddressError):
        loader.write_block(START + 2, b"ab")
    assert bench.port.requests == before


def test_a_sector_that_the_device_does_not_have_is_not_erased_by_its_number() -> None:
    bench = UsbBench()
    with pytest.raises(SectorNotInLayoutError):
        bench.loader().erase([1, 12])
    assert bench.aircraft.flash.operations == 0


# Who it is


def test_the_unique_id_is_read_where_the_device_gives_it_and_the_chip_id_never() -> None:
    loader = UsbBench().loader()
    assert loader.read_unique_id(PART.unique_id_address) == UNIQUE_ID
    assert loader.chip_id() is None
    said = loader.unproved(unique_id=UNIQUE_ID)
    assert len(said) == 1
    assert "microcontroller" in said[0]


def test_a_hidden_unique_id_is_none_and_it_is_said_what_stays_unproved() -> None:
    bench = UsbBench(quirks=DfuQuirks(hides_identity=True))
    loader = bench.loader()
    assert loader.read_unique_id(PART.unique_id_address) is None
    assert any("unique id" in line for line in loader.unproved(unique_id=None))
    assert loader.read(START, 16) == OLD.segments[0].data[:16]  # it is ready for more


def _two() -> TwinUsbBackend:
    clock = VirtualClock()
    benches = [UsbBench(), UsbBench()]
    benches[1].aircraft._unique_id = bytes(range(12))
    clock.sleep_s(1)
    return TwinUsbBackend(DirectCarrier([UsbPort(bench.aircraft) for bench in benches], clock))


def test_several_devices_are_listed_and_none_is_guessed() -> None:
    with pytest.raises(DfuDevicesSeveralError) as caught:
        UsbBus(_two()).find()
    assert "1-1" in caught.value.what
    assert "1-2, serial number 000102030405" in caught.value.what


@pytest.mark.parametrize("wanted", ["1-2", "000102030405"])
def test_one_of_several_is_found_by_its_place_or_serial_number(wanted: str) -> None:
    assert UsbBus(_two()).find(wanted).address == 2


def test_a_device_of_another_name_is_not_taken_instead() -> None:
    with pytest.raises(DfuDeviceMissingError, match="1-7"):
        UsbBus(_two()).find("1-7")


def test_an_application_that_runs_is_no_bootloader() -> None:
    bench = UsbBench()
    bench.aircraft.power_off(bench.clock.now_s())
    bench.aircraft.power_on(bench.clock.now_s())
    bench.clock.sleep_s(1)
    with pytest.raises(DfuDeviceMissingError):
        bench.loader()


# What it refuses


def test_a_plan_for_another_layout_is_refused_before_anything_is_erased() -> None:
    bench = UsbBench()
    with pytest.raises(SectorNotInLayoutError):
        bench.loader().erase_sectors([PART.sectors[5], Sector(1, START + 0x4000, 32 * 1024)])
    assert bench.aircraft.flash.operations == 0


def test_read_protection_is_explained_and_left_alone() -> None:
    options = OptionBytes(read_out_protected=True)
    bench = UsbBench(options=options)
    with pytest.raises(ReadoutProtectedError, match="protected"):
        bench.write()
    with pytest.raises(ReadoutProtectedError):
        bench.loader().erase([1])
    assert options.read_out_protected
    assert bench.aircraft.flash.operations == 0


def test_an_address_that_is_nowhere_is_refused_after_all_tries() -> None:
    with pytest.raises(DfuRefusedError, match=f"{TRIES.count} times"):
        UsbBench().loader().read(0x5000_0000, 16)


def test_a_write_protected_sector_is_found_by_reading_back() -> None:
    bench = UsbBench(faults=FaultPlan(protected_sectors=(1,)))
    with pytest.raises(SectorNotWrittenError):
        bench.write()


def test_everything_is_erased_only_when_asked() -> None:
    bench = UsbBench(old=image(PART.flash_size_bytes, 3))
    bench.write()
    assert len(bench.aircraft.flash.touched_sectors) == len(SECTORS)
    bench.loader().erase_everything(timeout_s=60)
    assert not bytes(bench.memories.flash).strip(b"\xff")


class _Deaf(UsbDfuLoader):
    @property
    def can_read(self) -> bool:
        return False

    def read_block(self, address: int, length: int) -> bytes:
        raise AssertionError(f"{length} bytes read at {address:#x}")


def test_a_device_that_gives_nothing_back_is_written_and_nothing_is_called_proved() -> None:
    bench = UsbBench()
    opened = _Deaf.open(UsbBus(bench.backend), bench.clock)
    report = write_sectors(opened, NEW, SECTORS, mcu=PART)
    assert bench.holds()
    assert report.bytes_verified == 0
    assert opened.read_unique_id(PART.unique_id_address) is None
    assert any("holds the image" in line for line in opened.unproved(unique_id=None))


def test_without_reading_back_a_lost_answer_makes_a_block_count_as_torn() -> None:
    bench = UsbBench(old=None)
    loader = _Deaf.open(UsbBus(bench.backend), bench.clock)
    bench.port.faults[bench.port.requests + 4] = TransferFault.ANSWER_LOST
    with pytest.raises(BlockTornError):
        loader.write_block(START, b"once")


# Devices of several kinds, and in any state


def test_a_device_that_is_deaf_for_seconds_is_waited_for_and_not_asked_to_erase_twice() -> None:
    bench = UsbBench(quirks=DfuQuirks(understates_pause=True))
    bench.loader().erase_everything(timeout_s=60)
    assert bench.clock.now_s() > 5
    assert bench.aircraft.flash.operations == len(PART.sectors)


@pytest.mark.parametrize(
    "quirks",
    [DfuQuirks(needs_clear=True), DfuQuirks(understates_pause=True), DfuQuirks(needs_clear=True, hides_identity=True)],
)
def test_devices_with_habits_of_their_own_are_written(quirks: DfuQuirks) -> None:
    bench = UsbBench(quirks=quirks)
    bench.write()
    assert bench.holds()


def test_a_device_that_is_well_never_gets_a_needless_clear_status() -> None:
    bench = UsbBench()
    seen: list[int] = []
    real = bench.aircraft.usb_request

    def request(transfer: Transfer, now_s: float) -> TransferEnd:
        seen.append(transfer.request)
        return real(transfer, now_s)

    bench.aircraft.usb_request = request  # type: ignore[method-assign]
    bench.write()
    assert seen
    assert 4 not in seen


@pytest.mark.parametrize("stop", range(1, REQUESTS, 7))
def test_a_client_that_dies_after_any_request_leaves_a_device_that_the_next_one_finishes(stop: int) -> None:
    _die_and_go_on(stop)


@pytest.mark.full_walk
def test_a_client_may_die_after_every_single_request() -> None:
    for stop in range(1, REQUESTS):
        _die_and_go_on(stop)


def _die_and_go_on(stop: int) -> None:
    class Dead(BaseException):
        pass

    bench = UsbBench()
    real = bench.port.transfer

    def until_dead(transfer: Transfer, now_s: float) -> TransferEnd:
        if bench.port.requests >= stop:
            raise Dead
        return real(transfer, now_s)

    bench.port.transfer = until_dead  # type: ignore[method-assign]
    with pytest.raises(Dead):
        bench.write()
    bench.port.transfer = real  # type: ignore[method-assign]
    bench.write()
    assert bench.holds()


# Power


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("operation", sorted({1, 2, 3, OPERATIONS // 2, OPERATIONS - 1, OPERATIONS}))
def test_a_power_cut_at_an_operation_is_made_good_by_writing_again(operation: int, moment: CutMoment) -> None:
    _cut_and_go_on(operation, moment)


@pytest.mark.full_walk
def test_a_power_cut_at_every_operation_and_again_while_it_is_made_good(capsys: pytest.CaptureFixture[str]) -> None:
    points = 0
    for operation in range(1, OPERATIONS + 1):
        for moment in MOMENTS:
            _cut_and_go_on(operation, moment)
            points += 1
            for again in (1, 2, 5):
                _cut_and_go_on(operation, moment, FaultPlan(power_cut=PowerCut(again, CutMoment.TORN)))
                points += 1
    with capsys.disabled():
        print(f"\nUSB DFU: {points} points of interruption, {OPERATIONS} operations")  # noqa: T201


def _cut_and_go_on(operation: int, moment: CutMoment, second: FaultPlan | None = None) -> None:
    bench = UsbBench(faults=FaultPlan(power_cut=PowerCut(operation, moment)))
    with pytest.raises(DfuGoneError):
        bench.write()
    assert bench.aircraft.flash.cut_happened
    if second is not None:
        bench.restart(second)
        with contextlib.suppress(DfuGoneError):  # there may be fewer operations left than that
            bench.write()
    bench.restart()
    bench.write()
    assert bench.holds()
    assert bench.aircraft.flash.touched_sectors <= {sector.number for sector in SECTORS}


@pytest.mark.parametrize("after", [1, 6, 100, 5000, 60_000])
def test_a_cable_pulled_in_the_middle_is_told_and_made_good(after: int) -> None:
    bench = UsbBench(faults=FaultPlan(cable_pull_after_bytes=after))
    with pytest.raises(DfuGoneError, match="went away"):
        bench.write()
    bench.restart()
    bench.write()
    assert bench.holds()


# Transfers

FAULTS = list(TransferFault)


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("number", [*range(1, 24), *range(24, REQUESTS + 1, 9)])
def test_a_transfer_that_goes_wrong_is_made_good(number: int, fault: TransferFault) -> None:
    _disturb(number, fault)


@pytest.mark.full_walk
def test_every_transfer_may_go_wrong_in_every_way() -> None:
    for number in range(1, REQUESTS + 1):
        for fault in FAULTS:
            _disturb(number, fault)


def _disturb(number: int, fault: TransferFault) -> None:
    bench = UsbBench(transfers={number: fault})
    report = bench.write()
    assert bench.port.requests >= number
    assert bench.holds()
    assert report.bytes_verified == NEW.size_bytes
    assert bench.aircraft.flash.touched_sectors <= {sector.number for sector in SECTORS}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("number", range(1, 12))
def test_leaving_survives_a_transfer_that_goes_wrong(number: int, fault: TransferFault) -> None:
    bench = UsbBench(transfers={number: fault})
    bench.loader().go(START)
    bench.clock.sleep_s(1)
    assert bench.aircraft.usb_bootloader(bench.clock.now_s()) is None


@pytest.mark.parametrize("words", ["lose=0.05", "damage=0.05", "double=0.05", "lose=0.03,damage=0.03,double=0.03"])
def test_a_bad_bus_ends_in_the_right_image_or_in_words(words: str) -> None:
    plan = FaultPlan.parse(words)
    bench = UsbBench(faults=plan)
    failures = []
    for _ in range(30):
        try:
            bench.write()
            break
        except RotorwrightError as error:
            failures.append(error)
            bench.restart(plan)
    assert all(error.todo for error in failures)
    assert bench.holds()


def test_answers_that_are_late_but_in_time_change_nothing() -> None:
    bench = UsbBench(faults=FaultPlan(late_s=0.4))
    bench.write()
    assert bench.holds()
    assert bench.clock.now_s() > 0.4 * REQUESTS


def test_answers_that_always_come_too_late_end_in_words() -> None:
    bench = UsbBench(faults=FaultPlan(late_s=1.5))
    with pytest.raises(DfuSilentError):
        bench.write()


def test_a_bench_begins_in_idle() -> None:
    dfu = UsbBench().aircraft.usb_bootloader(1.0)
    assert dfu is not None
    assert dfu.state is DfuState.IDLE
