"""What AN3155 says, as tables. The code reads these tables; the tests walk them.

Source of the codes: ST AN3155 "USART protocol used in the STM32 bootloader", table 2; every one was confirmed by the
frames that two independent hosts send (tests/outside/data/an3155_frames.csv names them).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from rotorwright.links.limits import Limit

SYNCHRONISE = 0x7F
ACK = 0x79
NACK = 0x1F

BLOCK_BYTES = 256
"""Most bytes that one read or write moves (AN3155, read memory and write memory)."""

WORD_BYTES = 4
"""Writes start on a word and are filled up to whole words with erased bytes (AN3155, write memory)."""

ERASED = 0xFF
"""What an erased byte of flash reads as."""

MOST_SECTORS_PLAIN = 255
"""Most sectors in one erase command of the older kind: 0xFF as a count means all (AN3155, erase memory)."""

MOST_SECTORS_EXTENDED = 0xFFF0
"""Most sectors in one extended erase: counts from 0xFFF0 on are special (AN3155, extended erase memory)."""

LINE_BITS_PER_BYTE = 11
"""Start bit, 8 data bits, even parity, stop bit (AN3155, UART configuration)."""


class Command(IntEnum):
    """Codes that the host sends, each followed by its complement."""

    GET = 0x00
    GET_VERSION = 0x01
    GET_ID = 0x02
    READ = 0x11
    GO = 0x21
    WRITE = 0x31
    ERASE = 0x43
    EXTENDED_ERASE = 0x44
    WRITE_PROTECT = 0x63
    WRITE_UNPROTECT = 0x73
    READOUT_PROTECT = 0x82
    READOUT_UNPROTECT = 0x92
    GET_CHECKSUM = 0xA1
    """From protocol 3.3 on (AN3155 in its later revisions, from memory, unconfirmed)."""

    @property
    def words(self) -> str:
        """The command in words, for messages."""
        return self.name.lower().replace("_", " ")


KNOWN_TO_ALL = (Command.GET, Command.GET_VERSION, Command.GET_ID)
"""Commands that every bootloader of this protocol lists (AN3155, table 2)."""

REFUSED_UNDER_READOUT_PROTECTION = frozenset(
    {Command.READ, Command.GO, Command.WRITE, Command.ERASE, Command.EXTENDED_ERASE}
)
"""Commands that a device with read-out protection refuses (AN3155, the flow of each command: "ROP active?")."""

CHECKSUM_POLYNOMIAL = 0x04C1_1DB7
CHECKSUM_START = 0xFFFF_FFFF
"""What the checksum command is asked to compute with: the defaults of the part's own CRC unit, CRC-32/MPEG-2 over words
(RM0090, CRC calculation unit; how the command carries them is from memory, unconfirmed)."""

SYSTEM_MEMORY = 0x1FF0_0000
"""From here on: the bootloader itself, unique id, flash size register (RM0090 and RM0385, memory map; from memory)."""


@dataclass(frozen=True, slots=True)
class Quirk:
    """Something that a device does and its document does not say."""

    symptom: str
    answer: str
    source: str


SMALL_SYSTEM_READ = Quirk(
    symptom="some F4 parts (seen on an F401) refuse to read 12 or 2 bytes of their unique id and flash size",
    answer="after a refusal, the whole block of 256 bytes around them is read and cut",
    source="a comment in the source of stm32loader 0.7.1; not confirmed on a board of ours",
)
QUIRKS = (SMALL_SYSTEM_READ,)

_OWN = "own choice"
ANSWER = Limit("longest wait for an answer", 1.0, "s", f"{_OWN}: 258 bytes at 9,600 baud take 0.3 s")
ANSWER_SHORT = Limit("shortest wait for an answer, however quick the line was", 0.2, "s", f"{_OWN}: adapters pause")
SILENCE_IN_DATA = Limit("longest silence between two bytes of one answer", 0.25, "s", _OWN)
SYNC_ANSWER = Limit("wait for an answer to the synchronising byte", 0.1, "s", _OWN)
QUIET = Limit("silence after which no late answer is expected", 0.03, "s", _OWN)
SYNC_ROUNDS = Limit("times that a board which answers may fail to list its commands", 5, "", _OWN)
TRIES = Limit("tries of one command", 8, "", _OWN)
ERASE_TRIES = Limit("silent tries of one erase", 3, "", f"{_OWN}: to erase twice is harmless")
ERASE_SECTOR = Limit(
    "wait for one sector to be erased when its part is not known",
    8.0,
    "s",
    "twice the longest time of a 128 KiB sector with 8-bit parallelism, 4 s (DS8626, from memory, unconfirmed)",
)
ERASE_MARGIN = Limit("factor on the part's longest erase time", 2.0, "", f"{_OWN}: cold or worn flash")
CHECKSUM_MIB = Limit("longest time for the checksum of one MiB", 10.0, "s", "own choice: a word takes a few cycles")
UNPROTECT = Limit(
    "longest time for all flash to be erased when the lock is taken off",
    60.0,
    "s",
    "twice the longest time known here, 32 s for the whole F405 (a note in the code of two independent hosts)",
)
READ_TRIES = Limit("further readings of a block until two in a row are equal", 4, "", _OWN)
DIFFERENCES = Limit("readings that must all differ before a block counts as different", 3, "", _OWN)
SECTOR_TRIES = Limit("tries to erase, write and verify one sector", 3, "", _OWN)

LIMITS = (
    ANSWER,
    ANSWER_SHORT,
    SILENCE_IN_DATA,
    SYNC_ANSWER,
    QUIET,
    SYNC_ROUNDS,
    TRIES,
    ERASE_TRIES,
    ERASE_SECTOR,
    ERASE_MARGIN,
    CHECKSUM_MIB,
    UNPROTECT,
    READ_TRIES,
    DIFFERENCES,
    SECTOR_TRIES,
)

_HALF_COMMAND = 0x55  # no command, no complement of one, and never one with itself

_FILLER = b"\x33" + bytes((_HALF_COMMAND,)) * 271

SYNC_PATTERN = (b"\x7f", b"\x7f", b"\x7f", _FILLER, b"\x7f", b"\x7f", _FILLER, b"\x7f", b"\x7f", b"\x7f")
"""What is sent, a piece at a time, until the board answers to a single byte.

A fresh board answers the first byte. One that was synchronised before takes it for half a command and refuses the
second. One that was left in the middle of a message by a pulled cable or a killed program waits for up to 258 bytes:
the long piece fills it, and single bytes then find the start of a command again. All of it comes twice, for the line
may lose a piece.

The long piece is not made of synchronising bytes. A board that waits for a block takes the first 7F for its length, 128
bytes, and 128 times 7F have the checksum 7F: it would write them. With 33 and 55 no checksum fits, wherever it waits.
"""

SYNC_AFTER_ERASE_COMMAND = (b"\x00\x00\xff\xff\x55", *SYNC_PATTERN)
"""The same after an erase command that was not answered.

The board may wait for the count of sectors, and would take two 7F for 32,640 of them. So it first gets an erase that it
must refuse: one sector that no part has, and a wrong checksum. A board that waits for a command refuses all of it.
"""

SYNC_AFTER_ERASE_SECTORS = (b"\x7f", b"\x55", b"\x7f", b"\x55", *SYNC_PATTERN)
"""The same after a list of sectors that was not answered.

Two synchronising bytes would be sector 127 with its right checksum, if the last two bytes of the list were lost.
"""
