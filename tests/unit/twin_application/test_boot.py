"""What starts from flash, and what leaves the board silent."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rotorwright.firmware.descriptor import find_descriptor, pack_descriptor, sealed
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.boot import ApplicationBuild, boot_from_flash
from rotorwright.twin.thornbill.images import build_image

C405 = microcontroller("STM32F405xG")
H7 = microcontroller("STM32H743xI")
SIZE_BYTES = 4096
FLASH_BYTES = 64 * 1024


def flash_with(image: Image, *, start: int = 0x0800_0000) -> bytes:
    return image.read(start, FLASH_BYTES)


IMAGE = build_image("5.2", "C405", size_bytes=SIZE_BYTES)
FLASH = flash_with(IMAGE)


def resealed(**changes: str) -> bytes:
    """Return flash with another descriptor text and its CRC right again."""
    found = find_descriptor(IMAGE)
    assert found is not None
    changed = replace(found, **changes)  # type: ignore[arg-type]
    content = bytearray(IMAGE.read(IMAGE.start, IMAGE.end - IMAGE.start))
    at = found.address - IMAGE.start
    content[at : at + len(pack_descriptor(changed))] = pack_descriptor(changed)
    changed = sealed(Image.of([(IMAGE.start, bytes(content))]), changed)
    content[at : at + len(pack_descriptor(changed))] = pack_descriptor(changed)
    return bytes(content).ljust(FLASH_BYTES, b"\xff")


@pytest.mark.parametrize(
    ("line", "key", "release", "board", "mcu"),
    [
        ("5.2", "C405", "5.2.0", "Corvane One", C405),
        ("6.0", "C405", "6.0.0", "Corvane C405", C405),
        ("6.0", "H7", "6.0.0", "Corvane H7", H7),
        ("6.1", "C405", "6.1.0", "Corvane C405", C405),
        ("6.1", "H7", "6.1.0", "Corvane H7", H7),
    ],
)
def test_a_whole_image_of_a_known_release_starts(line: str, key: str, release: str, board: str, mcu: object) -> None:
    part = H7 if mcu is H7 else C405
    found = boot_from_flash(flash_with(build_image(line, key, size_bytes=SIZE_BYTES)), mcu=part)
    assert found is not None
    assert (found.family, found.release, found.board, found.mcu) == ("Thornbill", release, board, part.name)


def test_an_image_of_another_microcontroller_stays_silent() -> None:
    assert boot_from_flash(flash_with(build_image("6.0", "H7", size_bytes=SIZE_BYTES)), mcu=C405) is None
    assert boot_from_flash(FLASH, mcu=H7) is None


def test_erased_or_missing_flash_stays_silent() -> None:
    for flash in (b"", b"\xff" * FLASH_BYTES, bytes(FLASH_BYTES), b"\xff\xff"):
        assert boot_from_flash(flash, mcu=C405) is None


def test_any_flipped_bit_in_the_image_keeps_it_silent() -> None:
    for place in range(0, SIZE_BYTES, 37):
        damaged = bytearray(FLASH)
        damaged[place] ^= 0x04
        assert boot_from_flash(bytes(damaged), mcu=C405) is None, place


def test_an_image_written_only_in_part_stays_silent() -> None:
    for length in range(0, SIZE_BYTES, 64):
        assert boot_from_flash(FLASH[:length].ljust(FLASH_BYTES, b"\xff"), mcu=C405) is None
        assert boot_from_flash(b"\xff" * (length + 1) + FLASH[length + 1 :], mcu=C405) is None


def test_what_lies_beyond_the_image_does_not_matter() -> None:
    assert boot_from_flash(FLASH[:SIZE_BYTES] + b"\x5a" * SIZE_BYTES, mcu=C405) == boot_from_flash(FLASH, mcu=C405)


@pytest.mark.parametrize(
    "changes",
    [
        {"release": "5.1.0"},
        {"release": "6.2.0"},
        {"release": "5.2"},
        {"release": "5.2.x"},
        {"release": "5.20.0"},
        {"family": "Goldcrest"},
        {"mcu": "STM32H743xI"},
    ],
)
def test_what_the_twin_does_not_know_stays_silent(changes: dict[str, str]) -> None:
    assert boot_from_flash(resealed(), mcu=C405) is not None
    assert boot_from_flash(resealed(**changes), mcu=C405) is None


def test_the_board_name_is_that_of_the_image() -> None:
    found = boot_from_flash(resealed(board="Corvane Two", build="abcdef"), mcu=C405)
    assert found == ApplicationBuild("Thornbill", "5.2.0", "Corvane Two", C405.name, "abcdef")
