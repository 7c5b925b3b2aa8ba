from __future__ import annotations

import struct

import pytest

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller
from rotorwright.firmware.vector_table import read_vector_table

F405 = microcontroller("STM32F405xG")
START = 0x0800_0000
SOUND = [0x2002_0000, START + 0x41] + [START + 0x45] * 5 + [0] * 4 + [START + 0x45] * 2 + [0] + [START + 0x45] * 2


def image_with(changes: dict[int, int] | None = None, *, start: int = START, size: int = 256) -> Image:
    words = list(SOUND)
    for index, word in (changes or {}).items():
        words[index] = word
    return Image.of([(start, struct.pack("<16I", *words).ljust(size, b"\x46"))])


def test_a_sound_table_has_no_problems() -> None:
    table = read_vector_table(image_with(), F405)
    assert table.is_sound
    assert (table.stack_top, table.reset) == (0x2002_0000, START + 0x41)


@pytest.mark.parametrize("stack_top", [0x2000_0004, 0x2001_C000, 0x2002_0000, 0x1001_0000])
def test_the_stack_may_start_anywhere_in_ram_up_to_its_very_end(stack_top: int) -> None:
    assert read_vector_table(image_with({0: stack_top}), F405).is_sound


@pytest.mark.parametrize("stack_top", [0, 0x2000_0000, 0x2002_0004, 0x2408_0000, 0x0800_0100, 0xFFFF_FFFF])
def test_a_stack_outside_ram_is_a_problem(stack_top: int) -> None:
    (problem,) = read_vector_table(image_with({0: stack_top}), F405).problems
    assert f"{stack_top:#010x}" in problem
    assert "no RAM" in problem


def test_a_stack_that_is_not_aligned_is_a_problem() -> None:
    (problem,) = read_vector_table(image_with({0: 0x2001_0002}), F405).problems
    assert "multiple of 4" in problem


@pytest.mark.parametrize(
    ("reset", "words"),
    [
        (START + 0x40, "even"),
        (0, "even"),
        (START + 0x101, "no code"),
        (0x2000_0001, "no code"),
        (0xFFFF_FFFF, "no code"),
        (START + 5, "to itself"),
    ],
)
def test_a_reset_vector_that_leads_nowhere_is_a_problem(reset: int, words: str) -> None:
    (problem,) = read_vector_table(image_with({1: reset}), F405).problems
    assert words in problem


@pytest.mark.parametrize("index", [2, 3, 6, 15])
def test_a_handler_must_be_thumb_code_in_the_image_or_in_ram(index: int) -> None:
    assert "even" in read_vector_table(image_with({index: START + 0x44}), F405).problems[0]
    assert "neither" in read_vector_table(image_with({index: START + 0x1001}), F405).problems[0]
    assert read_vector_table(image_with({index: 0x2000_0101}), F405).is_sound
    assert read_vector_table(image_with({index: 0}), F405).is_sound


def test_reserved_words_may_hold_anything() -> None:
    assert read_vector_table(image_with({7: 0xDEAD_BEEF, 13: 2}), F405).is_sound


def test_an_image_that_starts_elsewhere_has_no_table() -> None:
    table = read_vector_table(image_with(start=START + 0x4000), F405)
    assert (table.stack_top, table.reset) == (None, None)
    assert "0x08004000" in table.problems[0]


def test_an_image_shorter_than_the_table_has_no_table() -> None:
    assert read_vector_table(Image.of([(START, bytes(63))]), F405).reset is None


def test_erased_flash_is_called_erased() -> None:
    (problem,) = read_vector_table(Image.of([(START, b"\xff" * 256)]), F405).problems
    assert "erased" in problem


def test_a_part_may_keep_its_table_behind_the_start_of_its_flash() -> None:
    first, size = 0x1000_0000, 0x100
    vectors = struct.pack("<16I", 0x2004_0000, first + size + 0x41, *[0] * 14)
    table = read_vector_table(Image.of([(first, bytes(size) + vectors + bytes(64))]), microcontroller("RP2040"))
    assert (table.address, table.problems) == (first + size, ())
