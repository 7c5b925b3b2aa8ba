"""The map and the comparison, against images of real compilers in the formats of other writers.

Sources: tests/outside/data/images (its README names the compilers and writers). The count of erased bytes comes from
the raw file itself.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from rotorwright.firmware.files import read_image_file
from rotorwright.firmware.image_map import compare_images, map_rows
from rotorwright.firmware.mcu import microcontroller

IMAGES = Path(__file__).parent / "data" / "images"
BASE = 0x0800_0000
PART = microcontroller("STM32F405xG")
RAW = (IMAGES / "f405.bin").read_bytes()
PLAIN = read_image_file(RAW, name="f405.bin", base=BASE).image


@pytest.mark.parametrize("name", ["f405.gnu.hex", "f405.srecord.hex", "f405.gnu.s19", "f405.srecord.s19", "f405.elf"])
def test_one_build_in_the_formats_of_other_writers_differs_nowhere(name: str) -> None:
    other = read_image_file((IMAGES / name).read_bytes(), name=name).image
    found = compare_images(PLAIN, other, PART)
    assert [(one.block.number, one.same, one.first) for one in found] == [(0, len(RAW), None)]


def test_the_map_of_a_compiled_image_counts_the_bytes_of_its_raw_file() -> None:
    rows = [row for row in map_rows(PLAIN, PART) if row.content_bytes or row.erased_bytes]
    erased = RAW.count(0xFF)
    assert [(row.block.number, row.content_bytes, row.erased_bytes) for row in rows] == [(0, len(RAW) - erased, erased)]


def test_two_builds_differ_first_where_their_raw_files_do() -> None:
    raw = (IMAGES / "g474.bin").read_bytes()
    (found,) = compare_images(PLAIN, read_image_file(raw, name="g474.bin", base=BASE).image, PART)
    unlike = [at for at, (ours, theirs) in enumerate(zip(RAW, raw, strict=True)) if ours != theirs]
    assert (found.differing, found.first) == (len(unlike), BASE + unlike[0])
