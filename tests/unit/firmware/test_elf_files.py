"""ELF files made by hand: which bytes of them are the image, and what is refused."""

from __future__ import annotations

import struct

import pytest

from rotorwright.errors import ImageError
from rotorwright.firmware.chunks import NoDataError
from rotorwright.firmware.elf import read_elf
from rotorwright.firmware.file_errors import (
    FileCutShortError,
    FileFormError,
    FileOverlapError,
    FileTooLargeError,
)
from rotorwright.firmware.image import Image

FLASH, RAM = 0x0800_0000, 0x2000_0000
Load = tuple[int, int, int, int]  # offset, virtual address, physical address, bytes in the file


def elf(
    *loads: Load,
    body: bytes = b"",
    sections: tuple[tuple[int, int, int, int], ...] = (),
    change: dict[str, int] | None = None,
) -> bytes:
    """Return an ELF file: header, program headers, `body`, section headers (type, flags, offset, size)."""
    table = 52 + 32 * len(loads)
    fields = {"width": 1, "order": 1, "kind": 2, "machine": 40, "phentsize": 32, "phnum": len(loads)} | (change or {})
    head = struct.pack(
        "<4sBBB9xHHIIIIIHHHHHH", b"\x7fELF", fields["width"], fields["order"], 1, fields["kind"], fields["machine"], 1,
        FLASH | 1, 52, table + len(body), 0, 52, fields["phentsize"], fields["phnum"], 40, len(sections), 0,
    )  # fmt: skip
    programs = b"".join(
        struct.pack("<8I", 1, at, virtual, at_flash, size, size, 5, 4) for at, virtual, at_flash, size in loads
    )
    tail = b"".join(struct.pack("<10I", 0, kind, flags, 0, at, size, 0, 0, 0, 0) for kind, flags, at, size in sections)
    return head + programs + body + tail


def refusal(data: bytes) -> ImageError:
    with pytest.raises(ImageError) as caught:
        read_elf(data, name="it.elf")
    return caught.value


def test_load_segments_count_by_their_physical_address_and_the_copied_ones_are_told() -> None:
    at = 52 + 2 * 32
    found = read_elf(elf((at, FLASH, FLASH, 4), (at + 4, RAM, FLASH + 4, 3), body=b"codeini"), name="it.elf")
    assert found.image == Image.of([(FLASH, b"codeini")])
    assert found.image.entry == FLASH | 1
    assert any("1 of 2 load segments are copied" in note for note in found.notes)


def test_headers_of_the_file_before_the_first_section_are_left_out_with_a_word() -> None:
    at = 52 + 32
    data = elf((0, FLASH - at, FLASH - at, at + 4), body=b"code", sections=((0, 0, 0, 0), (1, 2, at, 4)))
    found = read_elf(data, name="it.elf")
    assert found.image == Image.of([(FLASH, b"code")])
    assert any("left out" in note for note in found.notes)


def test_without_sections_a_segment_is_taken_whole() -> None:
    at = 52 + 32
    data = elf((0, FLASH, FLASH, at + 4), body=b"code")
    assert read_elf(data, name="it.elf").image == Image.of([(FLASH, data)])


def test_sections_without_bytes_or_without_room_in_memory_do_not_count() -> None:
    at = 52 + 32
    sections = ((8, 2, 60, 4), (1, 0, 64, 4), (1, 2, 68, 0), (1, 2, at, 4))
    found = read_elf(elf((0, FLASH - at, FLASH - at, at + 4), body=b"code", sections=sections), name="it.elf")
    assert found.image == Image.of([(FLASH, b"code")])


@pytest.mark.parametrize(
    "change", [{"width": 2}, {"order": 2}, {"kind": 1}, {"kind": 3}, {"machine": 243}, {"phentsize": 56}, {"phnum": 0}]
)
def test_files_for_another_processor_or_of_another_kind_are_refused(change: dict[str, int]) -> None:
    error = refusal(elf((84, FLASH, FLASH, 4), body=b"code", change=change))
    assert isinstance(error, FileFormError)
    assert {"file", "offset", "expected", "found"} <= set(error.facts)


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (elf((84, FLASH, FLASH, 5), body=b"code"), FileCutShortError),
        (elf((84, FLASH, FLASH, 4), body=b"code", change={"phnum": 9}), FileCutShortError),
        (elf((84, FLASH, FLASH, 4), body=b"code")[:51], FileCutShortError),
        (elf((84, FLASH, FLASH, 0)), NoDataError),
        (elf((116, FLASH, FLASH, 4), (120, FLASH + 2, FLASH + 2, 4), body=b"codemore"), FileOverlapError),
        (elf((84, 0, 0xFFFF_FFFE, 4), body=b"code"), FileFormError),
        (elf(*[(0, FLASH, FLASH + 999 * n, 900) for n in range(9)], body=bytes(700)), FileFormError),
        (elf((84, FLASH, FLASH, (1 << 24) + 1), body=bytes((1 << 24) + 1)), FileTooLargeError),
    ],
)
def test_segments_that_cannot_be_are_refused(data: bytes, error: type[ImageError]) -> None:
    assert type(refusal(data)) is error
