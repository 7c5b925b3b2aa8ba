"""The ROM bootloader's state machine, without a line. Source of the rules: ST AN3155."""

from __future__ import annotations

import pytest
from tests.unit.twin.bench import PART, START, UNIQUE_ID, Rom, with_check

from rotorwright.twin.flash import erased_flash
from rotorwright.twin.memories import Memories
from rotorwright.twin.rom_uart import ACK, NACK, OptionBytes, Then

IDENTITY_PAGE = 0x1FFF_7A00
RAM = 0x2000_4000


def test_nothing_is_answered_before_the_synchronise_byte() -> None:
    rom = Rom(synchronised=False)
    assert rom.say("00ff02fd31ce") == b""
    assert rom.say("7f") == ACK
    assert rom.say("02fd") == bytes.fromhex("7901041379")


def test_a_second_synchronise_byte_is_the_first_half_of_a_command_and_a_third_makes_it_refuse() -> None:
    rom = Rom()
    assert rom.say("7f") == b""
    assert rom.say("7f") == NACK
    assert rom.say("01fe") == bytes.fromhex("7931000079")


@pytest.mark.parametrize("message", ["00fe", "43bc", "aa55", "1111"])
def test_an_unknown_or_damaged_command_is_refused(message: str) -> None:
    assert Rom().say(message) == NACK


def test_a_message_may_come_byte_by_byte() -> None:
    rom = Rom()
    message = bytes.fromhex("31ce")
    assert [rom.say(bytes([byte])) for byte in message] == [b"", ACK]
    assert [rom.say(bytes([byte])) for byte in with_check(START.to_bytes(4, "big"))] == [b""] * 4 + [ACK]
    assert [rom.say(bytes([byte])) for byte in with_check(b"\x03abcd")] == [b""] * 5 + [ACK]
    assert rom.flash.read(START, 4) == b"abcd"


def test_what_comes_along_with_a_message_is_lost_but_for_one_byte() -> None:
    rom = Rom()
    assert rom.say("01fe02fd00ff") == bytes.fromhex("7931000079")
    assert rom.say("fd") == bytes.fromhex("7901041379")  # the 02 was in the data register


def test_of_what_comes_while_it_does_not_listen_one_byte_stays() -> None:
    rom = Rom()
    rom.machine.overrun(b"\x02\xfd")
    rom.machine.overrun(b"\x00")
    assert rom.say("fd") == bytes.fromhex("7901041379")


@pytest.mark.parametrize(
    ("address", "length", "content"),
    [
        (0x1FFF_7A10, 12, UNIQUE_ID),
        (0x1FFF_7A22, 2, (1024).to_bytes(2, "little")),
        (START, 4, b"\xff" * 4),
        (RAM, 2, bytes(2)),
    ],
)
def test_flash_ram_and_identity_can_be_read(address: int, length: int, content: bytes) -> None:
    rom = Rom()
    assert rom.addressed(0x11, address) == ACK
    assert rom.say(bytes([length - 1, (length - 1) ^ 0xFF])) == ACK + content


def test_the_identity_can_be_read_as_a_whole_page() -> None:
    rom = Rom()
    rom.addressed(0x11, IDENTITY_PAGE)
    page = rom.say("ff00")[1:]
    assert (page[0x10:0x1C], page[0x22:0x24], len(page)) == (UNIQUE_ID, b"\x00\x04", 256)


@pytest.mark.parametrize("address", [0, 0x0810_0000, 0x4000_0000, 0xFFFF_FFFC])
@pytest.mark.parametrize("code", [0x11, 0x21, 0x31])
def test_an_address_without_memory_is_refused(code: int, address: int) -> None:
    assert Rom().addressed(code, address) == NACK


def test_an_address_with_a_wrong_check_byte_is_refused() -> None:
    rom = Rom()
    rom.say("11ee")
    assert rom.say("0800000009") == NACK


def test_a_read_past_the_end_is_refused() -> None:
    rom = Rom()
    assert rom.addressed(0x11, PART.flash_end - 4) == ACK
    assert rom.say("04fb") == NACK


def test_a_read_with_a_wrong_length_check_is_refused() -> None:
    rom = Rom()
    rom.addressed(0x11, START)
    assert rom.say("0303") == NACK


def test_a_write_with_a_wrong_check_byte_writes_nothing() -> None:
    rom = Rom()
    rom.addressed(0x31, START)
    assert rom.say(b"\x03abcd\x00") == NACK
    assert rom.flash.read(START, 4) == b"\xff" * 4


@pytest.mark.parametrize(
    ("address", "data"), [(START + 1, bytes(4)), (START, bytes(3)), (PART.flash_end - 4, bytes(8))]
)
def test_a_write_that_the_flash_refuses_is_refused(address: int, data: bytes) -> None:
    assert Rom().program(address, data) == NACK


def test_ram_can_be_written_and_read_and_is_forgotten_without_power() -> None:
    rom = Rom()
    memories = Memories(rom.flash, UNIQUE_ID)
    assert memories.write_ram(RAM, b"abcd")
    assert memories.read(RAM, 4) == b"abcd"
    memories.lose_ram()
    assert memories.read(RAM, 4) == bytes(4)
    assert rom.program(RAM, b"abcd") == ACK
    assert rom.program(PART.ram[-1].end - 4, bytes(8)) == NACK


def test_sectors_are_erased_by_the_extended_erase() -> None:
    rom = Rom()
    rom.program(START, bytes(4))
    rom.program(START + 0x4000, bytes(4))
    assert rom.say("44bb") == ACK
    assert rom.say(with_check(bytes.fromhex("000100010002"))) == ACK
    assert rom.flash.read(START, 4) == bytes(4)
    assert rom.flash.read(START + 0x4000, 4) == b"\xff" * 4


def test_everything_is_erased_by_the_special_code() -> None:
    rom = Rom()
    rom.program(PART.flash_end - 4, bytes(4))
    rom.say("44bb")
    assert rom.say("ffff00") == ACK
    assert rom.flash.contents() == bytes(erased_flash(PART))
    assert rom.flash.operations == 13


@pytest.mark.parametrize("message", ["ffff01", "fffe01", "fffd02", "fff00f", "000c", "0000000c0c", "0000000001"])
def test_an_extended_erase_that_cannot_be_done_is_refused_and_erases_nothing(message: str) -> None:
    rom = Rom()
    rom.say("44bb")
    assert rom.say(message) == NACK
    assert rom.flash.operations == 0


def test_a_bootloader_before_version_3_knows_the_plain_erase_instead() -> None:
    rom = Rom(version=0x22)
    assert rom.say("00ff") == bytes.fromhex("790b22000102112131436373829279")
    assert rom.say("44bb") == NACK
    assert rom.say("43bc") == ACK
    assert rom.say(with_check(b"\x01\x00\x02")) == ACK
    assert rom.flash.touched_sectors == {0, 2}
    rom.say("43bc")
    assert rom.say("ff00") == ACK
    assert rom.flash.operations == 2 + 12
    rom.say("43bc")
    assert rom.say("ff01") == NACK


def test_go_answers_and_then_starts_what_is_at_the_address() -> None:
    rom = Rom()
    assert rom.addressed(0x21, START) == ACK
    assert (rom.then, rom.machine.go_address) == (Then.START, START)


@pytest.mark.parametrize("code", [0x11, 0x21, 0x31, 0x44, 0x63, 0x73, 0x82])
def test_a_read_out_protected_part_refuses(code: int) -> None:
    rom = Rom(options=OptionBytes(read_out_protected=True))
    assert rom.say(bytes([code, code ^ 0xFF])) == NACK


def test_a_read_out_protected_part_still_says_what_it_is() -> None:
    rom = Rom(options=OptionBytes(read_out_protected=True))
    assert rom.say("00ff")[0:1] == rom.say("01fe")[0:1] == rom.say("02fd")[0:1] == ACK


def test_the_end_of_read_out_protection_erases_everything_and_resets() -> None:
    rom = Rom()
    rom.program(START, bytes(4))
    rom.options.read_out_protected = True
    assert rom.say("926d") == ACK + ACK
    assert not rom.options.read_out_protected
    assert rom.flash.contents() == bytes(erased_flash(PART))
    assert rom.then is Then.RESET


def test_read_out_protection_is_set_and_resets() -> None:
    rom = Rom()
    assert rom.say("827d") == ACK + ACK
    assert rom.options.read_out_protected
    assert rom.then is Then.RESET


def test_write_protection_is_set_for_sectors_and_taken_off() -> None:
    rom = Rom()
    assert rom.say("639c") == ACK
    assert rom.say(with_check(b"\x01\x02\x05")) == ACK
    assert (rom.options.write_protected, rom.then) == (frozenset({2, 5}), Then.RESET)
    assert rom.say("639c") == ACK
    assert rom.say(with_check(b"\x00\x0c")) == NACK
    assert rom.say("738c") == ACK + ACK
    assert rom.options.write_protected == frozenset()
