"""Read ELF files: the load segments, by physical address.

Source: System V gABI, chapter 4 (file header, program header; the physical address is where initialised data is loaded
from) and the ELF for the Arm architecture (machine 40). The format has no checksum.

Linkers may put the headers of the file itself into the first load segment, before the start of the flash. Where the
sections show so, these bytes are left out.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Final

from rotorwright.firmware.chunks import Chunk, image_of_chunks
from rotorwright.firmware.file_errors import LARGEST_IMAGE_BYTES, bad_form, cut_short, too_large
from rotorwright.firmware.read_image import FileFormat, ReadImage

if TYPE_CHECKING:
    from collections.abc import Iterator

ELF_MAGIC: Final = b"\x7fELF"
_HEADER: Final = struct.Struct("<4sBBB9xHHIIIIIHHHHHH")
_PROGRAM_HEADER_BYTES: Final = 32
_LOAD: Final = 1
_EXECUTABLE: Final = 2
_MACHINE_ARM: Final = 40
_SECTION_ALLOC: Final = 2
_SECTION_HEADER_BYTES: Final = 40
_SECTIONS_WITHOUT_BYTES: Final = {0, 8}  # SHT_NULL, SHT_NOBITS


def looks_like_elf(data: bytes) -> bool:
    """Answer whether `data` begins as an ELF file, one damaged byte forgiven: the reader will say what is wrong."""
    return len(data) >= 4 and sum(a == b for a, b in zip(data[:4], ELF_MAGIC, strict=True)) >= 3


def read_elf(data: bytes, *, name: str) -> ReadImage:
    """Return the image in an executable ELF file for 32-bit Arm; its entry point becomes `Image.entry`.

    Raises:
        FileFormError: it is an ELF file for another processor or of another kind, or its headers contradict each other.
        FileCutShortError, FileTooLargeError, FileOverlapError, NoDataError: what the load segments say cannot be.
    """
    entry, table, count = _checked_header(data, name)
    segments = list(_load_segments(data, name, table=table, count=count))
    total = sum(size for _, _, size, _ in segments)
    if total > LARGEST_IMAGE_BYTES:
        raise too_large(name, total, "its load segments have")
    if total > len(data):
        raise bad_form(
            name,
            f"the load segments have {total} bytes together, and the file has {len(data)}.",
            offset=table,
            expected=f"at most {len(data)}",
            found=total,
        )
    skipped = _header_bytes_loaded(data, segments)
    chunks, notes = [], []
    for address, offset, size, _ in segments:
        left_out = min(skipped, size) if offset == 0 else 0
        if left_out:
            notes.append(f"{left_out} bytes before {address + left_out:#010x} are headers of the file; left out.")
        chunks.append(Chunk(address + left_out, offset + left_out, data[offset + left_out : offset + size]))
    moved = [virtual for address, _, _, virtual in segments if virtual != address]
    if moved:
        notes.append(
            f"{len(moved)} of {len(segments)} load segments are copied to RAM at the start; their bytes in flash count."
        )
    return ReadImage(image_of_chunks(name, chunks, entry=entry), FileFormat.ELF, tuple(notes))


def _checked_header(data: bytes, name: str) -> tuple[int, int, int]:
    """Return entry, offset and number of the program headers."""
    if len(data) < _HEADER.size:
        raise cut_short(name, offset=len(data), expected="an ELF header of 52 bytes", found=f"{len(data)} bytes")
    magic, width, order, _, kind, machine, _, entry, table, _, _, _, size, count, *_ = _HEADER.unpack_from(data)
    checks = (
        (0, magic == ELF_MAGIC, "the first bytes of an ELF file", magic.hex()),
        (4, width == 1, "class 1 (32 bits)", width),
        (5, order == 1, "1 (little-endian)", order),
        (16, kind == _EXECUTABLE, "type 2 (executable)", kind),
        (18, machine == _MACHINE_ARM, "machine 40 (Arm)", machine),
        (42, size == _PROGRAM_HEADER_BYTES, "program headers of 32 bytes", size),
        (44, 0 < count < 0xFFFF, "at least one program header", count),
    )
    for offset, is_right, expected, found in checks:
        if not is_right:
            words = f"expected is {expected}, found is {found}."
            raise bad_form(name, words, offset=offset, expected=expected, found=found)
    if table + count * _PROGRAM_HEADER_BYTES > len(data):
        raise cut_short(
            name, offset=len(data), expected=f"{count} program headers from {table:#x} on", found=f"{len(data)} bytes"
        )
    return entry, table, count


def _load_segments(data: bytes, name: str, *, table: int, count: int) -> Iterator[tuple[int, int, int, int]]:
    """Yield physical address, offset, size and virtual address of each load segment that has bytes in the file."""
    for index in range(count):
        at = table + index * _PROGRAM_HEADER_BYTES
        kind, offset, virtual, physical, size = struct.unpack_from("<5I", data, at)
        if kind != _LOAD or not size:
            continue
        if offset + size > len(data):
            raise cut_short(
                name,
                offset=len(data),
                expected=f"{size} bytes from {offset:#x} on (load segment {index})",
                found=f"{len(data)} bytes",
            )
        yield physical, offset, size, virtual


def _header_bytes_loaded(data: bytes, segments: list[tuple[int, int, int, int]]) -> int:
    """Return how many bytes at the start of the file are headers and no section, if a load segment begins there."""
    reach = max((size for _, offset, size, _ in segments if offset == 0), default=0)
    return min((offset for offset in _section_offsets(data) if 0 < offset < reach), default=0) if reach else 0


def _section_offsets(data: bytes) -> Iterator[int]:
    """Yield where in the file the sections begin that take room in memory and in the file.

    They only say what is a header: a file without sections, or with unreadable ones, is read by its segments alone.
    """
    *_, size, count, _ = _HEADER.unpack_from(data)
    (table,) = struct.unpack_from("<I", data, 32)
    if size != _SECTION_HEADER_BYTES or table + count * size > len(data):
        return
    for index in range(count):
        kind, flags, _, offset, length = struct.unpack_from("<5I", data, table + index * size + 4)
        if flags & _SECTION_ALLOC and kind not in _SECTIONS_WITHOUT_BYTES and length:
            yield offset
