from __future__ import annotations

from dataclasses import replace

import pytest

from rotorwright.firmware.descriptor import (
    MAGIC,
    SIZE_BYTES,
    Descriptor,
    DescriptorFieldError,
    descriptor_crc_ok,
    find_descriptor,
    find_descriptors,
    pack_descriptor,
    sealed,
)
from rotorwright.firmware.image import Image

START = 0x0800_0000
PLAIN = Descriptor(
    address=START + 64,
    family="Thornbill",
    release="6.0.0",
    board="Corvane C405",
    mcu="STM32F405xG",
    start=START,
    length=512,
    build="0123456789abcdef",
)


def image_with(*descriptors: Descriptor, size: int = 512) -> Image:
    data = bytearray(b"\x5a" * size)
    for descriptor in descriptors:
        offset = descriptor.address - START
        data[offset : offset + SIZE_BYTES] = pack_descriptor(descriptor)
    return Image.of([(START, bytes(data))])


def sealed_image(descriptor: Descriptor = PLAIN) -> tuple[Image, Descriptor]:
    right = sealed(image_with(descriptor), descriptor)
    return image_with(right), right


def test_a_packed_descriptor_is_found_again_whole() -> None:
    image, descriptor = sealed_image()
    assert find_descriptor(image) == descriptor
    assert descriptor_crc_ok(image, descriptor)


def test_an_image_without_one_has_none() -> None:
    assert find_descriptor(Image.of([(START, bytes(4096))])) is None


@pytest.mark.parametrize("offset", [0, 63, 64 + 8, 64 + 20, 64 + 40, 64 + SIZE_BYTES, 511])
def test_any_changed_byte_makes_the_crc_wrong_or_the_descriptor_unreadable(offset: int) -> None:
    image, _ = sealed_image()
    data = bytearray(image.segments[0].data)
    data[offset] ^= 0x01
    damaged = Image.of([(START, bytes(data))])
    found = find_descriptor(damaged)
    assert found is None or not descriptor_crc_ok(damaged, found)


def test_a_descriptor_whose_range_the_image_does_not_have_is_none() -> None:
    assert find_descriptor(image_with(replace(PLAIN, length=513))) is None
    assert find_descriptor(image_with(replace(PLAIN, start=START - 4))) is None


def test_a_descriptor_outside_its_own_range_is_none() -> None:
    assert find_descriptor(image_with(replace(PLAIN, start=START + 68, length=400))) is None
    assert find_descriptor(image_with(replace(PLAIN, length=64 + SIZE_BYTES - 1))) is None


def test_the_bare_magic_in_code_that_reads_descriptors_is_not_taken_for_one() -> None:
    image, descriptor = sealed_image()
    data = bytearray(image.segments[0].data)
    data[8:16] = MAGIC
    data[500:508] = MAGIC
    assert [found.address for found in find_descriptors(Image.of([(START, bytes(data))]))] == [descriptor.address]


def test_a_descriptor_at_an_odd_place_is_not_taken_for_one() -> None:
    assert find_descriptor(image_with(replace(PLAIN, address=START + 66))) is None


def test_of_two_descriptors_the_one_with_the_right_crc_counts() -> None:
    wrong = replace(PLAIN, address=START + 300, crc32=1, board="Corvane H7")
    right = sealed(image_with(PLAIN, wrong), PLAIN)
    image = image_with(right, wrong)
    assert len(find_descriptors(image)) == 2
    assert find_descriptor(image) == right


def test_two_descriptors_of_which_none_is_right_are_not_chosen_from() -> None:
    assert find_descriptor(image_with(PLAIN, replace(PLAIN, address=START + 300))) is None


def test_a_later_version_with_more_behind_is_read_as_far_as_known() -> None:
    data = bytearray(image_with(PLAIN).segments[0].data)
    data[64 + 8] = 2
    data[64 + 10] = SIZE_BYTES + 32
    found = find_descriptor(Image.of([(START, bytes(data))]))
    assert found is not None
    assert (found.version, found.board) == (2, "Corvane C405")


@pytest.mark.parametrize(
    ("offset", "byte"), [(8, 0), (10, SIZE_BYTES - 1), (24, 0), (24, 0xE9), (24 + 15, 0x41), (40, 7)]
)
def test_a_descriptor_with_a_broken_form_is_none(offset: int, byte: int) -> None:
    data = bytearray(image_with(PLAIN).segments[0].data)
    data[64 + offset] = byte
    assert find_descriptor(Image.of([(START, bytes(data))])) is None


@pytest.mark.parametrize(
    "bad",
    [
        {"family": ""},
        {"family": "T" * 17},
        {"board": "Corv\u00e4ne"},
        {"release": "6.0\n"},
        {"length": 1 << 32},
        {"crc32": -1},
    ],
    ids=str,
)
def test_a_field_that_does_not_fit_is_refused(bad: dict[str, str | int]) -> None:
    with pytest.raises(DescriptorFieldError):
        pack_descriptor(replace(PLAIN, **bad))  # type: ignore[arg-type]


def test_texts_may_fill_their_fields_and_the_build_may_be_empty() -> None:
    full = replace(PLAIN, family="T" * 16, board="B" * 32, mcu="M" * 24, release="9" * 16, build="")
    assert find_descriptor(image_with(full)) == full


def test_an_image_full_of_descriptors_takes_no_time() -> None:
    size = SIZE_BYTES * 4000
    many = [replace(PLAIN, address=START + i * SIZE_BYTES, length=size) for i in range(4000)]
    assert find_descriptor(image_with(*many, size=size)) is None
