"""The bootloader client against a strict device, with everything that a line does to bytes."""

from __future__ import annotations

import contextlib

import pytest
from tests.unit.links.fake_loader import FakeLoader, Faults
from tests.unit.links.simulated_wire import SimulatedWire

from rotorwright.errors import RotorwrightError
from rotorwright.links.errors import PortVanishedError
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.errors import (
    BlockTornError,
    CommandMissingError,
    CommandRefusedError,
    LoaderSilentError,
    ReadoutProtectedError,
    UnalignedAddressError,
)
from rotorwright.twin.clock import VirtualClock

BASE = 0x0800_0000
BLOCK = bytes(range(256))


class Bench:
    """A client, the device it talks to, and the wire between."""

    def __init__(self, device: FakeLoader | None = None) -> None:
        self.device = device if device is not None else FakeLoader()
        self.clock = VirtualClock()
        self.wire = SimulatedWire(self.device, self.clock)
        self.loader = RomUartLoader(self.wire, self.clock)


def _answers_four_questions(error: RotorwrightError) -> bool:
    return all((error.what, error.why, error.state, error.todo))


def test_a_fresh_board_is_synchronised_and_says_what_it_is() -> None:
    bench = Bench()
    bench.loader.synchronise()
    assert bench.wire.sent == [b"\x7f", b"\x00\xff", b"\x00\xff"]
    assert bench.loader.info().version == "3.1"
    assert bench.loader.info().commands == frozenset(bench.device.commands)
    assert bench.loader.version() == "3.1"
    assert bench.loader.chip_id() == 0x413
    assert bench.loader.read_unique_id(0x1FFF_7A10) == "000102030405060708090a0b"


def test_a_board_that_was_synchronised_before_is_found_again() -> None:
    bench = Bench()
    bench.loader.synchronise()
    again = RomUartLoader(bench.wire, bench.clock)
    again.synchronise()
    assert again.chip_id() == 0x413


@pytest.mark.parametrize("left_after", range(1, 265))
def test_a_board_left_in_the_middle_of_a_write_is_found_again(left_after: int) -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.lose_bytes = set(range(bench.device.bytes_taken + left_after, 10_000))
    with pytest.raises(LoaderSilentError):
        bench.loader.write_block(BASE, BLOCK)
    bench.device.faults.lose_bytes.clear()
    again = RomUartLoader(bench.wire, bench.clock)
    again.synchronise()
    assert again.chip_id() == 0x413


def test_a_silent_board_is_told_from_one_that_chatters() -> None:
    silent = Bench(FakeLoader(Faults(dead=True)))
    with pytest.raises(LoaderSilentError) as nothing:
        silent.loader.synchronise()
    assert nothing.value.facts["heard"] == "nothing"
    assert silent.clock.now_s() < 5.0
    joined = Bench(FakeLoader(Faults(dead=True, echoes=True)))
    with pytest.raises(LoaderSilentError) as echo:
        joined.loader.synchronise()
    assert "our own bytes" in str(echo.value.facts["heard"])
    assert _answers_four_questions(nothing.value)


def test_an_application_that_chatters_bytes_like_answers_is_not_taken_for_a_bootloader() -> None:
    class Chatter(FakeLoader):
        def take(self, data: bytes, reply: object) -> None:
            for tick in range(40):
                reply(0.01 * tick, b"\xfd\x09\x79\x1f\x79")  # type: ignore[operator]

    bench = Bench(Chatter())
    with pytest.raises(LoaderSilentError):
        bench.loader.synchronise()
    assert bench.clock.now_s() < 30.0


def test_blocks_are_written_and_read_back_exactly() -> None:
    bench = Bench()
    data = bytes((7 * i + i // 256) % 256 for i in range(1000))
    steps: list[tuple[int, int]] = []
    bench.loader.write(BASE, data, lambda done, total: steps.append((done, total)))
    assert bench.device.holds(BASE, data + b"\xff" * 24)
    assert steps == [(256, 1000), (512, 1000), (768, 1000), (1000, 1000)]
    steps.clear()
    assert bench.loader.read(BASE, 1000, lambda done, total: steps.append((done, total))) == data
    assert steps[-1] == (1000, 1000)


def test_a_write_is_filled_up_to_whole_words_with_erased_bytes() -> None:
    bench = Bench()
    bench.loader.write_block(0x0800_FFF0, b"\x01\x02\x03")
    assert bench.wire.sent[-1].hex() == "03010203fffc"  # an3155_frames.csv, "write 3 bytes"


def test_a_write_off_a_word_is_refused_before_anything_is_sent() -> None:
    bench = Bench()
    with pytest.raises(UnalignedAddressError) as caught:
        bench.loader.write_block(BASE + 2, b"\x00")
    assert bench.wire.sent == []
    assert _answers_four_questions(caught.value)


def test_one_message_is_under_way_at_a_time() -> None:
    """A real bootloader loses bytes that come while it works; the fake answers late, so pipelining would show."""
    bench = Bench()
    bench.loader.synchronise()
    bench.wire.sent.clear()
    bench.loader.write_block(BASE, BLOCK)
    assert [len(message) for message in bench.wire.sent] == [2, 5, 258]


@pytest.mark.parametrize("lost", range(3))
def test_a_lost_answer_to_a_write_is_looked_after_before_it_is_repeated(lost: int) -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.lose_answers = {bench.device.answers + lost}
    bench.loader.write_block(BASE, BLOCK)
    assert bench.device.holds(BASE, BLOCK)
    assert bench.device.log.count("write 08000000 256") == 1
    assert ("read 08000000 256" in bench.device.log) == (lost == 2)


@pytest.mark.parametrize("lost", range(265))
def test_one_byte_lost_anywhere_in_a_write_is_mended_or_told(lost: int) -> None:
    """When the lost byte is the one that fills the gap, the checksum fits: then the block is torn, and said so."""
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.lose_bytes = {bench.device.bytes_taken + lost}
    if lost == 8 + 0x7F:
        with pytest.raises(BlockTornError):
            bench.loader.write_block(BASE, BLOCK)
    else:
        bench.loader.write_block(BASE, BLOCK)
        assert bench.device.holds(BASE, BLOCK)


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("first", range(7))
@pytest.mark.parametrize("part", ["STM32F405xG", "STM32G473xE"])
def test_bytes_lost_anywhere_in_an_erase_erase_nothing_else(part: str, first: int, count: int) -> None:
    """This G4 has a sector 127, which two synchronising bytes and their checksum would name.

    A board that lost most of the list may wait for a list that is longer than any filler: it stays silent, harmlessly.
    """
    bench = Bench(FakeLoader(part=part))
    bench.loader.synchronise()
    taken = bench.device.bytes_taken
    bench.device.faults.lose_bytes = set(range(taken + first, taken + first + count))
    with contextlib.suppress(*([LoaderSilentError] if count == 3 else [])):
        bench.loader.erase([4])
        assert bench.device.log
    assert set(bench.device.log) <= {"erase 4"}


@pytest.mark.parametrize("commands", [bytes((0x00, 0x01, 0x02, 0x44)), bytes((0x00, 0x01, 0x02, 0x43))])
@pytest.mark.parametrize("answer", [0, 1])
def test_a_lost_answer_to_an_erase_is_mended(answer: int, commands: bytes) -> None:
    bench = Bench(FakeLoader(part="STM32G473xE", commands=commands))
    bench.loader.synchronise()
    bench.device.faults.lose_answers = {bench.device.answers + answer}
    bench.loader.erase([4])
    assert set(bench.device.log) == {"erase 4"}


@pytest.mark.parametrize("answer", range(4))
@pytest.mark.parametrize("damage", ["doubled", "rubbish", "late", "lost"])
def test_reading_survives_answers_that_are_doubled_late_lost_or_behind_rubbish(answer: int, damage: str) -> None:
    bench = Bench()
    bench.loader.write(BASE, BLOCK)
    number = bench.device.answers + answer
    match damage:
        case "doubled":
            bench.device.faults.double_answers = {number}
        case "rubbish":
            bench.device.faults.rubbish_before = {number: b"\x00\xff\x42"}
        case "late":
            bench.device.faults.delay_s = {number: 1.3}
        case _:
            bench.device.faults.lose_answers = {number}
    assert bench.loader.read(BASE, 256) == BLOCK
    assert bench.loader.read(BASE, 256) == BLOCK


def test_a_second_acknowledgement_before_the_data_does_not_shift_them() -> None:
    bench = Bench()
    bench.loader.write(BASE, BLOCK)
    bench.device.faults.rubbish_before = {bench.device.answers + 2: b"\x79"}
    assert bench.loader.read(BASE, 256) == BLOCK


def test_a_damaged_chip_id_is_asked_for_again() -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.damage_reads = [True, False, False, False]
    assert bench.loader.chip_id() == 0x413


def test_a_line_that_echoes_is_noticed_and_read_past() -> None:
    bench = Bench(FakeLoader(Faults(echoes=True)))
    data = b"\x79\x1f" * 128  # an echo full of what looks like answers
    bench.loader.write(BASE, data)
    assert bench.device.holds(BASE, data)
    assert bench.loader.read(BASE, 256) == data


def test_a_block_written_in_part_is_reported_as_torn() -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.weak_addresses = {BASE + 100}
    bench.device.faults.lose_answers = {bench.device.answers + 2}
    with pytest.raises(BlockTornError) as caught:
        bench.loader.write_block(BASE, BLOCK)
    assert caught.value.facts["address"] == BASE
    assert _answers_four_questions(caught.value)


def test_a_locked_board_is_told_by_its_lock_and_never_unlocked() -> None:
    bench = Bench(FakeLoader(Faults(locked=True)))
    assert bench.loader.chip_id() == 0x413
    for act in (
        lambda: bench.loader.read(BASE, 4),
        lambda: bench.loader.write(BASE, b"\x00" * 4),
        lambda: bench.loader.erase([0]),
        lambda: bench.loader.go(BASE),
    ):
        with pytest.raises(ReadoutProtectedError) as caught:
            act()
        assert "Ask its maker" in caught.value.todo
    codes = {message[0] for message in bench.wire.sent if len(message) == 2}
    assert not codes & {0x63, 0x73, 0x82, 0x92}, "protection is never changed"


def test_one_refusal_by_damage_is_no_lock() -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.refuse_commands = {bench.device.answers}
    assert bench.loader.read(BASE, 4) == b"\xff" * 4


def test_an_address_that_is_not_there_is_a_refusal_with_its_value() -> None:
    bench = Bench()
    with pytest.raises(CommandRefusedError) as caught:
        bench.loader.read(0x4000_0000, 4)
    assert caught.value.facts["value"] == "0x40000000"
    assert bench.loader.chip_id() == 0x413, "the bootloader is ready again after the refusal"


def test_a_part_that_reads_its_id_in_whole_blocks_only_is_read_so() -> None:
    bench = Bench(FakeLoader(Faults(refuse_small_reads=True)))
    assert bench.loader.read_unique_id(0x1FFF_7A10) == "000102030405060708090a0b"


def test_the_older_erase_is_used_where_the_newer_is_not_known() -> None:
    bench = Bench(FakeLoader(commands=bytes((0x00, 0x01, 0x02, 0x11, 0x31, 0x43))))
    bench.loader.erase([1, 2])
    assert bench.device.log == ["erase 1", "erase 2"]
    assert bench.wire.sent[-1].hex() == "01010202"
    with pytest.raises(CommandMissingError) as caught:
        bench.loader.go(BASE)
    assert _answers_four_questions(caught.value)


def test_no_erase_at_all_is_an_error_and_no_sector_is_no_message() -> None:
    bench = Bench(FakeLoader(commands=bytes((0x00, 0x01, 0x02, 0x11))))
    with pytest.raises(CommandMissingError):
        bench.loader.erase([1])
    before = len(bench.wire.sent)
    bench.loader.erase([])
    assert len(bench.wire.sent) == before


def test_an_erase_is_waited_for_as_long_as_it_takes() -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.delay_s = {bench.device.answers + 1: 6.0}
    bench.loader.erase([11])
    assert bench.device.log == ["erase 11"]


def test_an_erase_of_a_sector_that_is_not_there_is_refused() -> None:
    bench = Bench()
    with pytest.raises(CommandRefusedError) as caught:
        bench.loader.erase([12])
    assert caught.value.facts["part"] == "sectors"
    assert bench.device.log == []


def test_go_starts_the_application_at_the_address() -> None:
    bench = Bench()
    bench.loader.go(BASE)
    assert bench.device.log == ["go 08000000"]


@pytest.mark.parametrize("sends", range(12))
def test_a_port_that_vanishes_is_an_error_at_once(sends: int) -> None:
    bench = Bench()
    bench.wire.vanishes_after_sends = sends
    with pytest.raises(PortVanishedError):
        bench.loader.write(BASE, bytes(4096))
    assert bench.clock.now_s() < 1.0


def test_silence_in_the_middle_says_what_was_asked_and_that_flash_may_have_changed() -> None:
    bench = Bench()
    bench.loader.synchronise()
    bench.device.faults.dead = True
    with pytest.raises(LoaderSilentError) as caught:
        bench.loader.read(BASE, 256)
    assert caught.value.facts["command"] == "read"
    assert "written before" in caught.value.state
