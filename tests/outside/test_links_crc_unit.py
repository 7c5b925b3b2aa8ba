"""The checksum of the bootloader against values worked out outside: what the CRC unit of the part makes of words.

Sources: data/crc_check_values.csv, row CRC-32/MPEG-2 (crccheck 1.3.1, anycrc 2.1.0 and fastcrc 0.5.0 agree); the values
for words are from a bit loop and crccheck 1.3.1, which agree. That the unit in the silicon does so is from memory.
"""

from __future__ import annotations

import csv
import random
from pathlib import Path

import pytest

from rotorwright.links.rom_uart.codec import checksum_of
from rotorwright.links.rom_uart.spec import CHECKSUM_POLYNOMIAL, CHECKSUM_START
from rotorwright.twin.rom_uart import crc_of_words

TABLE = Path(__file__).parent / "data" / "crc_check_values.csv"

WORDS = [
    ((0x1234_5678).to_bytes(4, "little"), 0xDF8A_8A2B),
    ((0xFFFF_FFFF).to_bytes(4, "little"), 0x0000_0000),
    ((0x0000_0000).to_bytes(4, "little"), 0xC704_DD7B),
    (bytes(range(16)), 0x081B_46CA),
]
AS_A_STREAM = 0xA97A_FF4D  # the same 16 bytes taken one by one: the wrong order


@pytest.mark.parametrize(("data", "expected"), WORDS)
def test_words_give_the_outside_value_on_both_sides(data: bytes, expected: int) -> None:
    assert checksum_of(data) == expected
    assert crc_of_words(data, CHECKSUM_POLYNOMIAL, CHECKSUM_START) == expected


def test_words_are_taken_with_their_high_byte_first_and_not_as_a_stream() -> None:
    swapped = b"".join(bytes(range(at, at + 4))[::-1] for at in range(0, 16, 4))
    assert checksum_of(swapped) == AS_A_STREAM
    assert checksum_of(bytes(range(16))) != AS_A_STREAM


def test_polynomial_and_start_are_those_of_the_outside_table() -> None:
    with TABLE.open(encoding="utf-8", newline="") as file:
        row = next(row for row in csv.reader(file) if row[0] == "CRC-32/MPEG-2")
    assert (int(row[2], 16), int(row[3], 16)) == (CHECKSUM_POLYNOMIAL, CHECKSUM_START)


@pytest.mark.parametrize("count", [4, 8, 252, 16_384])
def test_our_side_and_the_twin_agree_though_written_apart(count: int) -> None:
    data = random.Random(count).randbytes(count)
    assert checksum_of(data) == crc_of_words(data, CHECKSUM_POLYNOMIAL, CHECKSUM_START)
