from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING

import pytest

from rotorwright.firmware.descriptor import descriptor_crc_ok, find_descriptors
from rotorwright.firmware.intel_hex import read_intel_hex
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.firmware.vector_table import read_vector_table
from rotorwright.twin.thornbill.images import (
    DEMO_FILE_NAMES,
    LARGEST_SIZE_BYTES,
    SMALLEST_SIZE_BYTES,
    DemoImageError,
    build_image,
    write_demo_images,
)

if TYPE_CHECKING:
    from pathlib import Path

ALL = [(release, board) for release in ("5.2", "6.0", "6.1") for board in ("C405", "H7")]
PARTS = {"C405": "STM32F405xG", "H7": "STM32H743xI"}


@pytest.mark.parametrize(("release", "board"), ALL)
def test_each_image_says_what_it_is_and_could_start(release: str, board: str) -> None:
    image = build_image(release, board)
    mcu = microcontroller(PARTS[board])
    (descriptor,) = find_descriptors(image)
    assert (descriptor.family, descriptor.release, descriptor.mcu) == ("Thornbill", f"{release}.0", mcu.name)
    assert (descriptor.start, descriptor.length) == (image.start, image.size_bytes)
    assert descriptor_crc_ok(image, descriptor)
    table = read_vector_table(image, mcu)
    assert table.is_sound
    assert image.entry == table.reset


def test_the_board_is_called_by_the_name_it_has_in_that_release() -> None:
    names = {key: find_descriptors(build_image(*key))[0].board for key in ALL}
    assert names[("5.2", "C405")] == "Corvane One"
    assert names[("6.0", "C405")] == "Corvane C405"
    assert names[("5.2", "H7")] == names[("6.0", "H7")] == "Corvane H7"


@pytest.mark.parametrize(("release", "board"), ALL)
def test_each_image_is_one_range_of_plausible_size_that_leaves_the_makers_sector_alone(
    release: str, board: str
) -> None:
    image = build_image(release, board)
    assert len(image.segments) == 1
    assert image.start == 0x0800_0000
    assert 400 * 1024 < image.size_bytes < 700 * 1024
    assert image.size_bytes % 4 == 0
    assert 11 not in [sector.number for sector in sectors_for(image, microcontroller("STM32F405xG"))]


def test_the_largest_image_ends_where_the_makers_sector_begins() -> None:
    f405 = microcontroller("STM32F405xG")
    image = build_image("6.0", "C405", size_bytes=LARGEST_SIZE_BYTES)
    assert image.end == f405.sectors[11].address


@pytest.mark.parametrize(("release", "board"), ALL)
def test_the_filler_looks_like_neither_erased_flash_nor_one_repeated_byte(release: str, board: str) -> None:
    data = build_image(release, board).segments[0].data
    assert b"\xff\xff" not in data
    assert len(zlib.compress(data)) > len(data) // 2
    for start in range(0, len(data), 16384):
        assert len(set(data[start : start + 16384])) > 64


def test_every_interrupt_of_the_f405_has_a_handler() -> None:
    image = build_image("6.0", "C405", size_bytes=SMALLEST_SIZE_BYTES)
    vectors = struct.unpack("<98I", image.read(image.start, 4 * 98))  # 16 system vectors and 82 interrupts
    assert len(set(vectors[16:])) == 1
    assert image.read(vectors[16] - 1, 2) == b"\xfe\xe7"  # a branch to itself


def test_the_same_arguments_give_the_same_bytes_and_others_give_others() -> None:
    digests = {key: build_image(*key).sha256 for key in ALL}
    build_image.cache_clear()
    assert {key: build_image(*key).sha256 for key in ALL} == digests
    assert len(set(digests.values())) == len(ALL)


def test_the_bytes_never_change_between_versions_of_this_tool_unnoticed() -> None:
    # Release books list these digests; a change here is a change of the demo's published images.
    assert build_image("5.2", "C405").sha256.startswith("50713909ce4b5509")
    assert build_image("6.0", "C405").sha256.startswith("9db40fb2a2a2e447")


@pytest.mark.parametrize(
    ("release", "board", "size_bytes"),
    [
        ("7.0", "C405", None),
        ("6.0", "C406", None),
        ("6.0", "C405", SMALLEST_SIZE_BYTES - 4),
        ("6.0", "C405", LARGEST_SIZE_BYTES + 4),
        ("6.0", "C405", 4097),
    ],
)
def test_an_image_that_cannot_be_is_refused(release: str, board: str, size_bytes: int | None) -> None:
    with pytest.raises(DemoImageError):
        build_image(release, board, size_bytes=size_bytes)


def test_the_demo_files_read_back_as_the_images(tmp_path: Path) -> None:
    paths = write_demo_images(tmp_path / "images")
    assert sorted(paths) == [
        "thornbill-5.2-corvane-one.hex",
        "thornbill-6.0-corvane-c405.hex",
        "thornbill-6.0-corvane-h7.hex",
        "thornbill-6.1-corvane-c405.hex",
        "thornbill-6.1-corvane-h7.hex",
    ]
    for key, name in DEMO_FILE_NAMES.items():
        assert read_intel_hex(paths[name].read_bytes(), name=name) == build_image(*key)
