"""Messages of AN3155 as bytes, and its answers as values. No I/O."""

from __future__ import annotations

import sys
from array import array
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastcrc import crc32

from rotorwright.links.rom_uart.spec import BLOCK_BYTES, ERASED, MOST_SECTORS_EXTENDED, WORD_BYTES, Command

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class LoaderInfo:
    """What the bootloader says about itself: protocol version ("3.1") and the codes of its commands.

    Codes that we do not know are kept as they are.
    """

    version: str
    commands: frozenset[int]

    def knows(self, command: Command) -> bool:
        """Answer whether the bootloader lists `command`."""
        return int(command) in self.commands


@dataclass(frozen=True, slots=True)
class WriteMessages:
    """A block to be written and the messages for it, made before the first is sent: nothing waits for them then."""

    address: int
    data: bytes
    address_message: bytes
    data_message: bytes

    @classmethod
    def of(cls, address: int, data: bytes) -> WriteMessages:
        """Return the messages that write `data`, 1 to 256 bytes, at `address`."""
        return cls(address, data, address_message(address), data_message(data))


def command_message(command: Command) -> bytes:
    """Return the code and its complement."""
    return bytes((command, command ^ 0xFF))


def address_message(address: int) -> bytes:
    """Return four address bytes, high first, and their checksum."""
    return with_checksum(address.to_bytes(4, "big"))


def length_message(length: int) -> bytes:
    """Return the count of a read, 1 to 256 bytes, and its complement."""
    assert 1 <= length <= BLOCK_BYTES
    return bytes((length - 1, (length - 1) ^ 0xFF))


def data_message(data: bytes) -> bytes:
    """Return the count, 1 to 256 bytes filled up to whole words with erased bytes, and the checksum."""
    filled = fill_words(data)
    assert 1 <= len(filled) <= BLOCK_BYTES
    return with_checksum(bytes((len(filled) - 1,)) + filled)


def sectors_message(sectors: Sequence[int]) -> bytes:
    """Return the sector numbers of an erase of the older kind, one byte each, and the checksum."""
    assert 1 <= len(sectors) < BLOCK_BYTES
    return with_checksum(bytes((len(sectors) - 1, *sectors)))


def extended_sectors_message(sectors: Sequence[int]) -> bytes:
    """Return the sector numbers of an extended erase, two bytes each, high first, and the checksum."""
    assert 1 <= len(sectors) < MOST_SECTORS_EXTENDED
    numbers = (len(sectors) - 1, *sectors)
    return with_checksum(b"".join(number.to_bytes(2, "big") for number in numbers))


def words_message(number: int) -> bytes:
    """Return a 32-bit number, high byte first, and its checksum."""
    return with_checksum(number.to_bytes(4, "big"))


def checksum_of(data: bytes) -> int:
    """Return what the CRC unit of the part makes of `data`, whole words of low byte first.

    Source: RM0090, CRC calculation unit; checked against the values in tests/outside.
    """
    words = array("I", data)
    if words.itemsize != WORD_BYTES:  # no computer known here
        raise NotImplementedError
    if sys.byteorder == "little":
        words.byteswap()
    return crc32.mpeg_2(words.tobytes())


def parse_checksum(body: bytes) -> int | None:
    """Return the number of an answer of four bytes and their checksum; None where it was damaged."""
    return int.from_bytes(body[:4], "big") if _xor_of(body) == 0 else None


def with_checksum(data: bytes) -> bytes:
    """Return `data` with the exclusive or of its bytes behind it."""
    return data + bytes((_xor_of(data),))


def _xor_of(data: bytes) -> int:
    """Return the exclusive or of all bytes, folding the whole in half again and again: 20 times quicker than a loop."""
    number = int.from_bytes(data, "big")
    bits = 8
    while bits < 8 * len(data):
        bits *= 2
    while bits > 8:
        bits //= 2
        number ^= number >> bits
    return number & 0xFF


def fill_words(data: bytes) -> bytes:
    """Return `data` filled up to whole words with erased bytes."""
    return data + bytes((ERASED,)) * (-len(data) % WORD_BYTES)


def parse_info(body: bytes) -> LoaderInfo:
    """Return what the body of the answer to Get says: version, then the codes of the commands."""
    return LoaderInfo(version=version_text(body[0]), commands=frozenset(body[1:]))


def version_text(code: int) -> str:
    """Return a protocol version as people write it: 0x31 is "3.1"."""
    return f"{code >> 4}.{code & 0x0F}"


def parse_chip_id(body: bytes) -> int:
    """Return the number in the body of the answer to Get ID, high byte first."""
    return int.from_bytes(body, "big")
