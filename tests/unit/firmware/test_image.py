from __future__ import annotations

import pytest

from rotorwright.errors import ImageError
from rotorwright.firmware.image import Image, ImageEmptyError, ImageRangeError, Segment


def test_neighbouring_chunks_in_any_order_become_one_segment() -> None:
    image = Image.of([(0x0800_0004, b"efgh"), (0x0800_0000, b"abcd")])
    assert image.segments == (Segment(0x0800_0000, b"abcdefgh"),)


def test_a_gap_keeps_segments_apart_and_is_not_counted() -> None:
    image = Image.of([(100, b"ab"), (200, b"cde")])
    assert len(image.segments) == 2
    assert (image.start, image.end, image.size_bytes) == (100, 203, 5)


@pytest.mark.parametrize("second", [(102, b"x"), (100, b"abcd"), (103, b"dxyz"), (98, b"abc")])
def test_overlapping_chunks_are_refused_even_when_equal(second: tuple[int, bytes]) -> None:
    with pytest.raises(ImageRangeError) as caught:
        Image.of([(100, b"abcd"), second])
    assert caught.value.id == "image.bad-range"
    assert "end only at" in caught.value.why


@pytest.mark.parametrize("chunks", [[], [(5, b"")]])
def test_an_image_without_a_byte_is_refused(chunks: list[tuple[int, bytes]]) -> None:
    with pytest.raises(ImageEmptyError):
        Image.of(chunks)


@pytest.mark.parametrize("chunk", [(-1, b"ab"), (-5, b"ab"), (0xFFFF_FFFF, b"ab"), (1 << 32, b"a")])
def test_bytes_outside_32_bit_addresses_are_refused(chunk: tuple[int, bytes]) -> None:
    with pytest.raises(ImageRangeError):
        Image.of([chunk])


def test_the_last_byte_of_the_address_space_is_allowed() -> None:
    assert Image.of([(0xFFFF_FFFF, b"a")]).end == 1 << 32


@pytest.mark.parametrize(
    "segments",
    [(), (Segment(0, b""),), (Segment(4, b"a"), Segment(0, b"b")), (Segment(0, b"a"), Segment(1, b"b"))],
    ids=["none", "empty", "out of order", "not merged"],
)
def test_the_constructor_takes_only_the_sorted_and_merged_form(segments: tuple[Segment, ...]) -> None:
    with pytest.raises(ImageError):
        Image(segments)


def test_reading_fills_what_the_image_does_not_have() -> None:
    image = Image.of([(100, b"ab"), (104, b"cd")])
    assert image.read(98, 10) == b"\xff\xffab\xff\xffcd\xff\xff"
    assert image.read(101, 4, fill=0) == b"b\x00\x00c"
    assert image.read(500, 2) == b"\xff\xff"
    assert image.read(100, 0) == b""


def test_covered_means_every_byte() -> None:
    image = Image.of([(100, b"ab"), (104, b"cd")])
    assert image.covers(100, 2)
    assert image.covers(105, 1)
    assert image.covers(103, 0)
    assert not image.covers(100, 3)
    assert not image.covers(103, 2)
    assert not image.covers(99, 1)
    assert not image.covers(106, 1)


def test_the_digest_knows_bytes_and_place_but_not_the_start_address() -> None:
    image = Image.of([(0x0800_0000, b"abcd")])
    assert image.sha256 == Image.of([(0x0800_0000, b"ab"), (0x0800_0002, b"cd")], entry=0x0800_0001).sha256
    assert image.sha256 != Image.of([(0x0800_4000, b"abcd")]).sha256
    assert image.sha256 != Image.of([(0x0800_0000, b"abce")]).sha256
    assert image.sha256 != Image.of([(0x0800_0000, b"ab"), (0x0800_0004, b"cd")]).sha256
