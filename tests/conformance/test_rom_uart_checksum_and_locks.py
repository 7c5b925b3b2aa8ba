"""The bootloader's own checksum, its locks, its rates, and the one command that is never sent unasked."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

import pytest
from fastcrc import crc32
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.errors import ProtocolError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.codec import checksum_of
from rotorwright.links.rom_uart.consent import WipeConsent, consent_words
from rotorwright.links.rom_uart.errors import LoaderSilentError, ReadoutProtectedError, WipeConsentError
from rotorwright.links.rom_uart.flash_writer import WriteReport, write_sectors
from rotorwright.links.rom_uart.rates import SAFE_RATES, next_lower_rate
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.rom_uart import OptionBytes, RomUart, crc_of_words
from rotorwright.twin.state import Papers
from rotorwright.twin.wire import DirectPort

PART = microcontroller("STM32F405xG")
START = PART.flash_start
LINE = LineSettings(115_200, Parity.EVEN)
DATA = random.Random(5).randbytes(450_000)
IMAGE = Image.of([(START, DATA)])
SECTORS = sectors_for(IMAGE, PART)


@dataclass
class Board:
    """A board that is entered anew for each client, with or without the checksum command."""

    version: int = 0x33
    options: OptionBytes = field(default_factory=OptionBytes)
    memories: MemoryBytes = field(default_factory=lambda: MemoryBytes.fresh(PART))
    clock: VirtualClock = field(default_factory=VirtualClock)

    def connect(self, faults: FaultPlan | None = None) -> RomUartLoader:
        self.clock = VirtualClock()
        self.aircraft = build_aircraft(
            Papers("3a0027001351383438343933", "C405", PART.name),
            self.memories,
            lambda _flash, _hardware: None,
            circumstances=Circumstances(loader_version=self.version, faults=faults or FaultPlan()),
            options=self.options,
        )
        self.aircraft.power_off(0.0)
        self.aircraft.power_on(0.0, button=True)
        self.clock.sleep_s(1.0)
        return RomUartLoader(DirectPort(self.aircraft, self.clock).open(LINE), self.clock)

    def write(self, image: Image = IMAGE) -> tuple[WriteReport, float]:
        loader = self.connect()
        loader.synchronise()
        started_s = self.clock.now_s()
        report = write_sectors(loader, image, SECTORS, mcu=PART)
        return report, self.clock.now_s() - started_s

    def holds(self, image: Image = IMAGE) -> bool:
        return bytes(self.memories.flash[: image.size_bytes]) == image.segments[0].data


def _changed(at: int) -> Image:
    data = bytearray(DATA)
    data[at] ^= 0x40
    return Image.of([(START, bytes(data))])


@given(st.binary(min_size=4, max_size=400))
def test_both_ends_compute_alike_and_as_a_library_does(data: bytes) -> None:
    whole = data[: len(data) // 4 * 4]
    turned = b"".join(whole[at : at + 4][::-1] for at in range(0, len(whole), 4))
    assert checksum_of(whole) == crc_of_words(whole, 0x04C1_1DB7, 0xFFFF_FFFF) == crc32.mpeg_2(turned)


def test_with_its_checksum_a_small_change_costs_less_than_a_tenth_of_a_whole_write() -> None:
    board = Board()
    _, whole_s = board.write()
    report, small_s = board.write(_changed(0x5000))
    assert report.written == (0, 1)
    assert report.bytes_by_checksum > 0
    assert board.holds(_changed(0x5000))
    assert small_s < 0.1 * whole_s


def test_without_the_command_the_same_is_found_by_reading() -> None:
    board = Board(version=0x31)
    board.write()
    report, _ = board.write(_changed(0x5000))
    assert (report.written, report.bytes_by_checksum) == ((0, 1), 0)
    assert board.holds(_changed(0x5000))


@given(at=st.integers(0, len(DATA) - 1))
def test_a_change_anywhere_is_found_by_the_checksum(at: int) -> None:
    board = Board()
    board.memories.flash[: len(DATA)] = DATA
    report, _ = board.write(_changed(at))
    changed = next(sector.number for sector in SECTORS if sector.address <= START + at < sector.end)
    assert report.written == tuple(sorted({0, changed}))
    assert board.holds(_changed(at))


def test_a_bootloader_that_lists_the_command_and_answers_otherwise_is_read_instead(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(RomUart, "_checksum_words", lambda self, _message: self._next(_refused()))
    board = Board()
    board.write()
    report, _ = board.write(_changed(0x5000))
    assert (report.written, report.bytes_by_checksum) == ((0, 1), 0)
    assert board.holds(_changed(0x5000))


def _refused() -> object:
    from rotorwright.twin.rom_uart import NACK, Reaction  # noqa: PLC0415 - beside the one test that needs it

    return Reaction(NACK)


def test_taking_the_lock_off_erases_everything_and_the_board_can_be_written_then() -> None:
    board = Board(options=OptionBytes(read_out_protected=True))
    board.memories.flash[:] = b"\x5a" * len(board.memories.flash)
    loader = board.connect()
    with pytest.raises(ReadoutProtectedError, match="rotorwright unprotect") as caught:
        loader.read(START, 4)
    assert "settings" in caught.value.why
    consent = WipeConsent.typed("wipe chip 0x413", chip_id=loader.chip_id())
    loader.remove_readout_protection(consent)
    board.clock.sleep_s(1.0)
    assert board.connect().read(START, 4) == b"\xff" * 4
    board.write()
    assert board.holds()


@pytest.mark.parametrize("typed", ["", "yes", "wipe chip", "wipe chip 0x450", "WIPE CHIP 0X413"])
def test_other_words_than_those_asked_for_take_no_lock_off(typed: str) -> None:
    with pytest.raises(WipeConsentError, match="wipe chip 0x413"):
        WipeConsent.typed(typed, chip_id=0x413)


def test_a_consent_for_another_microcontroller_takes_no_lock_off() -> None:
    board = Board(options=OptionBytes(read_out_protected=True))
    with pytest.raises(WipeConsentError):
        board.connect().remove_readout_protection(WipeConsent.typed(consent_words(0x450), chip_id=0x450))
    assert board.options.read_out_protected
    assert board.aircraft.flash.operations == 0


@pytest.mark.parametrize("moment", list(CutMoment))
def test_power_lost_while_the_lock_is_taken_off_leaves_it_on_or_everything_erased(moment: CutMoment) -> None:
    count = len(PART.sectors)
    for operation in range(1, count + 1):
        board = Board(options=OptionBytes(read_out_protected=True))
        board.memories.flash[:] = b"\x5a" * len(board.memories.flash)
        loader = board.connect(FaultPlan(power_cut=PowerCut(operation, moment)))
        consent = WipeConsent.typed("wipe chip 0x413", chip_id=loader.chip_id())
        with pytest.raises(LoaderSilentError):
            loader.remove_readout_protection(consent)
        assert board.aircraft.condition.cut_happened
        is_empty = not bytes(board.memories.flash).strip(b"\xff")
        assert board.options.read_out_protected or is_empty
        again = board.connect()
        again.remove_readout_protection(WipeConsent.typed("wipe chip 0x413", chip_id=again.chip_id()))
        board.clock.sleep_s(1.0)
        assert board.connect().read(START, 4) == b"\xff" * 4


def test_write_protection_is_taken_off_without_erasing_anything() -> None:
    board = Board(options=OptionBytes(write_protected=frozenset({1})))
    board.memories.flash[:4] = b"\x11\x22\x33\x44"
    with pytest.raises(ProtocolError):
        board.write()
    board.connect().remove_write_protection()
    board.clock.sleep_s(1.0)
    assert not board.options.write_protected
    board.write()
    assert board.holds()


@given(seed=st.integers(0, 2**32))
def test_no_write_ever_sends_the_command_that_erases_everything(seed: int) -> None:
    chance = random.Random(seed)
    board = Board(version=chance.choice([0x22, 0x31, 0x33]))
    loader = board.connect(FaultPlan(loss_rate=0.05, damage_rate=0.05, double_rate=0.05, seed=seed))

    def never(_message: bytes) -> None:
        raise AssertionError("everything would have been erased")

    rom = board.aircraft._rom
    assert rom is not None
    rom._erase_everything = never  # type: ignore[assignment,method-assign]
    try:
        small = Image.of([(START, chance.randbytes(chance.randint(1, 3000)))])
        write_sectors(loader, small, sectors_for(small, PART), mcu=PART)
    except (ProtocolError, LoaderSilentError):
        pass  # a line as bad as this may end in words; what matters here is what was never sent


def test_rates_go_down_one_by_one_and_end() -> None:
    assert [next_lower_rate(rate) for rate in SAFE_RATES] == [*SAFE_RATES[1:], None]
    assert (next_lower_rate(921_600), next_lower_rate(100_000)) == (115_200, 57_600)
