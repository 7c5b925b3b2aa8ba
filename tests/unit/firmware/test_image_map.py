"""How an image lies in flash, and where two images differ."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.firmware.build_strings import MOST_STRINGS, build_strings
from rotorwright.firmware.image import Image
from rotorwright.firmware.image_map import PAGE_BYTES, compare_images, grouped, map_rows
from rotorwright.firmware.mcu import Microcontroller, microcontroller

PART = microcontroller("STM32F405xG")
START = PART.flash_start
PIECES = st.lists(st.tuples(st.integers(0, 0x4_0000), st.binary(min_size=1, max_size=600)), min_size=1, max_size=4).map(
    lambda pieces: Image.of(_apart(pieces))
)


def _apart(pieces: list[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    found: list[tuple[int, bytes]] = []
    end = 0
    for offset, data in sorted(pieces):
        at = max(offset, end)
        found.append((START + at, data))
        end = at + len(data)
    return found


@given(image=PIECES, part=st.sampled_from([PART, None]))
def test_every_byte_of_the_image_is_in_exactly_one_row(image: Image, part: Microcontroller | None) -> None:
    rows = map_rows(image, part)
    assert sum(row.content_bytes + row.erased_bytes for row in rows) == image.size_bytes
    named = b"".join(segment.data for segment in image.segments)
    assert sum(row.erased_bytes for row in rows) == named.count(0xFF)
    for before, after in itertools.pairwise(rows):
        assert before.block.end <= after.block.address


@given(image=PIECES, part=st.sampled_from([PART, None]))
def test_an_image_differs_from_itself_nowhere(image: Image, part: Microcontroller | None) -> None:
    found = compare_images(image, image, part)
    assert all(one.is_same for one in found)
    assert sum(one.same for one in found) == image.size_bytes


@given(first=PIECES, second=PIECES)
def test_the_two_sides_of_a_comparison_mirror_each_other(first: Image, second: Image) -> None:
    one, other = compare_images(first, second, PART), compare_images(second, first, PART)
    assert [(d.same, d.differing, d.only_first, d.only_second, d.first) for d in one] == [
        (d.same, d.differing, d.only_second, d.only_first, d.first) for d in other
    ]
    assert sum(d.same + d.differing + d.only_first for d in one) == first.size_bytes


@given(image=PIECES, at=st.integers(0, 10_000), change=st.integers(1, 255))
def test_one_changed_byte_is_found_at_its_address(image: Image, at: int, change: int) -> None:
    segment = image.segments[at % len(image.segments)]
    offset = at % len(segment.data)
    data = bytearray(segment.data)
    data[offset] ^= change
    chunks = [(s.address, bytes(data) if s is segment else s.data) for s in image.segments]
    found = [one for one in compare_images(image, Image.of(chunks), PART) if not one.is_same]
    assert [(one.first, one.differing) for one in found] == [(segment.address + offset, 1)]


def test_the_first_difference_is_the_lowest_address_of_several() -> None:
    one, other = Image.of([(START, bytes(64))]), Image.of([(START, bytes(8) + b"\x01" + bytes(40) + b"\x02" * 15)])
    (found,) = compare_images(one, other, PART)
    assert (found.first, found.differing, found.same) == (START + 8, 16, 48)


def test_an_erased_tail_is_counted_and_drawn_apart_from_nothing() -> None:
    image = Image.of([(START, b"\x11" * 4096 + b"\xff" * 4096)])
    first, second, *_ = map_rows(image, PART, cells=8)
    assert (first.content_bytes, first.erased_bytes, first.erased_tail) == (4096, 4096, 4096)
    assert first.cells == "##..    "
    assert (second.cells, second.erased_tail) == (" " * 8, 0)


def test_an_erased_run_in_the_middle_is_no_tail() -> None:
    image = Image.of([(START, b"\x11" + b"\xff" * 500 + b"\x22")])
    assert map_rows(image, PART)[0].erased_tail == 0


def test_without_a_part_the_image_is_shown_by_pages_and_what_lies_outside_flash_too() -> None:
    image = Image.of([(0x2000_0000, b"\x01" * 10), (START + PAGE_BYTES, b"\x02" * 10)])
    assert [row.block.number for row in map_rows(image, None)] == [None, None]
    with_part = map_rows(image, PART)
    outside = [row for row in with_part if row.block.number is None]
    assert [(row.block.address, row.content_bytes) for row in outside] == [(0x2000_0000, 10)]


def test_neighbours_with_nothing_in_them_are_drawn_together() -> None:
    rows = map_rows(Image.of([(START, b"\x01")]), PART)
    assert [len(group) for group in grouped(rows)] == [1, 3, 1, 7]


@pytest.mark.parametrize(
    "text",
    ["2026-01-31", "Jan  5 2026", "12:34:56", "v1.20.3", "firmware of the bench", "Build 17", "Compiler of somebody"],
)
def test_a_text_that_tells_of_its_making_is_found_where_it_stands(text: str) -> None:
    image = Image.of([(START, b"\0" * 37 + text.encode() + b"\0")])
    assert build_strings(image) == ((START + 37, text),)


@pytest.mark.parametrize("text", ["hello world", "abc", "12.5 volts", "buildings"])
def test_other_texts_are_left_out(text: str) -> None:
    assert build_strings(Image.of([(START, b"\0" + text.encode() + b"\0")])) == ()


def test_a_text_is_listed_once_and_never_more_than_a_page_of_them() -> None:
    texts = b"\0".join(b"version %d" % (number // 2) for number in range(200))
    found = build_strings(Image.of([(START, texts)]))
    assert len(found) == MOST_STRINGS
    assert len({one.text for one in found}) == MOST_STRINGS


def test_noise_of_two_mebibytes_gives_a_page_at_most() -> None:
    noise = random.Random(3).randbytes(2 * 1024 * 1024)
    assert len(build_strings(Image.of([(START, noise)]))) <= MOST_STRINGS
