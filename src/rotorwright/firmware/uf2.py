"""Read and write UF2 files: blocks of 512 bytes, each with its own address, made for drives that write as they copy.

Source: microsoft/uf2, README and uf2.h of commit 90e9741 (layout, flags); tag numbers and the block that some writers
put in front for one chip are from memory, unconfirmed, and only ever printed or left out with a word. The format has
no checksum over its payload, other than the MD5 that a block may carry.
"""

from __future__ import annotations

import csv
import hashlib
import struct
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from rotorwright.firmware.chunks import Chunk, image_of_chunks
from rotorwright.firmware.file_errors import (
    LARGEST_IMAGE_BYTES,
    SeveralImagesError,
    bad_form,
    cut_short,
    damaged,
    file_error,
    too_large,
)
from rotorwright.firmware.read_image import FileFormat, ReadImage
from rotorwright.firmware.written import WrittenFile, filled

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rotorwright.firmware.image import Image

BLOCK_BYTES: Final = 512
PAGE_BYTES: Final = 256
"""Payload of a block as nearly every writer makes it; some bootloaders take no other."""

_HEAD: Final = struct.Struct("<8I")
_MAGICS: Final = ((0, 0x0A32_4655), (4, 0x9E5D_5157), (508, 0x0AB1_6F30))
_MOST_PAYLOAD_BYTES: Final = 476
_NOT_MAIN_FLASH, _FILE_CONTAINER, _FAMILY, _MD5, _TAGS = 0x1, 0x1000, 0x2000, 0x4000, 0x8000
_MD5_BYTES: Final = 24  # start, length, digest; the last of the 476 bytes of data
_TAG_NAMES: Final = {0x9FC7BC: "version", 0x650D9D: "device", 0x0BE9F7: "page size", 0xC8A729: "device type"}
_TEXT_TAGS: Final = frozenset({0x9FC7BC, 0x650D9D})
# In front of files for the RP2350 some writers put one block for this family and address, filled with EFh.
_LEADING_BLOCK: Final = (0xE48B_FF57, 0x10FF_FF00, b"\xef" * PAGE_BYTES)
_LARGEST_FILE_BYTES: Final = 2 * LARGEST_IMAGE_BYTES  # a block is half payload


@dataclass(frozen=True, slots=True)
class _Block:
    offset: int
    flags: int
    address: int
    number: int
    total: int
    family: int | None
    payload: bytes
    data: bytes  # all 476 bytes


def looks_like_uf2(data: bytes) -> bool:
    """Answer whether `data` begins as a UF2 block, one damaged magic forgiven: the reader will say what is wrong."""
    found = sum(data[at : at + 4] == magic.to_bytes(4, "little") for at, magic in _MAGICS)
    return found >= 2 or (found == 1 and data[508:512] != _MAGICS[2][1].to_bytes(4, "little"))


def read_uf2(data: bytes, *, name: str) -> ReadImage:
    """Return the image in a UF2 file; what is skipped is said in the notes.

    Blocks may come in any order and more than once. Blocks that are not for the main flash and blocks of contained
    files are skipped.

    Raises:
        SeveralImagesError: it has blocks for several families of microcontrollers; they are listed.
        FileFormError, FileCutShortError, FileOverlapError: blocks are damaged, missing, or contradict each other.
        FileDamagedError: an MD5 in the file is wrong.
        FileTooLargeError, NoDataError: there is too much of it, or nothing.
    """
    if len(data) > _LARGEST_FILE_BYTES:
        raise too_large(name, len(data))
    if len(data) % BLOCK_BYTES:
        left = len(data) % BLOCK_BYTES
        raise cut_short(name, offset=len(data), expected="blocks of 512 bytes", found=f"{left} bytes of a block")
    blocks = [_block(data, offset, name) for offset in range(0, len(data), BLOCK_BYTES)]
    notes: list[str] = []
    main = list(_for_main_flash(blocks, notes))
    families = sorted({block.family for block in main}, key=lambda family: -1 if family is None else family)
    if len(families) > 1:
        raise _several(name, main, families)
    _check_all_there(name, blocks, main)
    kept = _without_repeats(name, main, notes)
    if [block.number for block in kept] != sorted(block.number for block in kept):
        notes.append("The blocks are not in order; their numbers and addresses count.")
    image = image_of_chunks(name, [Chunk(block.address, block.offset, block.payload) for block in kept])
    _check_digests(name, kept, image)
    notes += [f"The file is for the family {family_words(family)}." for family in families if family is not None]
    notes += _tag_notes(kept)
    named = frozenset(family for family in families if family is not None)
    return ReadImage(image, FileFormat.UF2, tuple(notes), uf2_families=named)


def _block(data: bytes, offset: int, name: str) -> _Block:
    for at, magic in _MAGICS:
        found = int.from_bytes(data[offset + at : offset + at + 4], "little")
        if found != magic:
            raise bad_form(
                name,
                f"the mark of the block is {found:08X}; expected is {magic:08X}.",
                offset=offset + at,
                expected=f"{magic:08X}",
                found=f"{found:08X}",
            )
    _, _, flags, address, size, number, total, family = _HEAD.unpack_from(data, offset)
    most = _MOST_PAYLOAD_BYTES - (_MD5_BYTES if flags & _MD5 else 0)
    if size > most:
        raise bad_form(
            name,
            f"the block says {size} bytes of payload; there is room for {most}.",
            offset=offset + 16,
            expected=f"at most {most}",
            found=size,
        )
    if number >= total:
        raise bad_form(
            name,
            f"the block is number {number} of {total}, counted from 0.",
            offset=offset + 20,
            expected=f"below {total}",
            found=number,
        )
    body = data[offset + 32 : offset + 508]
    return _Block(offset, flags, address, number, total, family if flags & _FAMILY else None, body[:size], body)


def _for_main_flash(blocks: list[_Block], notes: list[str]) -> Iterator[_Block]:
    skipped = {"not for the main flash": 0, "of contained files": 0}
    for block in blocks:
        if block.flags & _NOT_MAIN_FLASH:
            skipped["not for the main flash"] += 1
        elif block.flags & _FILE_CONTAINER:
            skipped["of contained files"] += 1
        elif (block.family, block.address, block.payload) == _LEADING_BLOCK and len(blocks) > 1:
            notes.append(f"The block at offset {block.offset:#x} is a leading filler for one chip; it is skipped.")
        else:
            yield block
    notes += [f"Blocks {why} are skipped: {count}." for why, count in skipped.items() if count]


def _check_all_there(name: str, blocks: list[_Block], main: list[_Block]) -> None:
    """Refuse a file in which a block is missing. Skipped blocks may be numbered along with the others."""
    for block in main:
        if block.total != main[0].total:
            raise bad_form(
                name,
                f"the block says that there are {block.total} blocks, and the one at {main[0].offset:#x} says "
                f"{main[0].total}.",
                offset=block.offset + 24,
                expected=main[0].total,
                found=block.total,
            )
    if not main:
        return
    total = main[0].total
    numbers = {block.number for block in main} | {block.number for block in blocks if block.total == total}
    if len(numbers) < total:
        first = next(number for number in range(total) if number not in numbers)
        raise cut_short(
            name,
            offset=blocks[-1].offset + BLOCK_BYTES,
            expected=f"{total} blocks",
            found=f"{len(numbers)}; number {first} is the first one missing",
        )


def _without_repeats(name: str, main: list[_Block], notes: list[str]) -> list[_Block]:
    seen: dict[int, _Block] = {}
    for block in main:
        first = seen.setdefault(block.number, block)
        if (first.address, first.payload) != (block.address, block.payload):
            raise bad_form(
                name,
                f"the block has number {block.number}, as the other one at {first.offset:#x} with other content.",
                offset=block.offset + 20,
                expected="the same content",
                found="other content",
            )
    if repeats := len(main) - len(seen):
        notes.append(f"Blocks that stand in the file again, with the same content: {repeats}.")
    return list(seen.values())


def _check_digests(name: str, blocks: list[_Block], image: Image) -> None:
    checked: set[bytes] = set()
    for block in blocks:
        field = block.data[-_MD5_BYTES:]
        if not block.flags & _MD5 or field in checked:
            continue
        checked.add(field)
        start, length = struct.unpack_from("<II", field)
        if not length or not image.covers(start, length):
            continue
        computed = hashlib.md5(image.read(start, length), usedforsecurity=False).digest()
        if computed != field[8:]:
            raise damaged(
                name,
                f"the MD5 of {length} bytes from {start:#010x} on is {computed.hex()}; "
                f"the block says {field[8:].hex()}.",
                offset=block.offset + 32 + _MOST_PAYLOAD_BYTES - _MD5_BYTES,
                expected=field[8:].hex(),
                found=computed.hex(),
            )


def _tag_notes(blocks: list[_Block]) -> list[str]:
    found = {(tag, value) for block in blocks if block.flags & _TAGS for tag, value in _tags(block)}
    notes = []
    for tag, value in sorted(found)[:16]:
        text = value.decode("utf-8", "replace")[:80] if tag in _TEXT_TAGS else value[:16].hex()
        shown = "".join(sign if sign.isprintable() else "?" for sign in text)
        notes.append(f"A tag of the file says: {_TAG_NAMES.get(tag, f'tag {tag:06x}')} {shown}.")
    return notes


def _tags(block: _Block) -> Iterator[tuple[int, bytes]]:
    """Yield number and content of each extension tag: they follow the payload, each padded to 4 bytes."""
    end = _MOST_PAYLOAD_BYTES - (_MD5_BYTES if block.flags & _MD5 else 0)
    at = (len(block.payload) + 3) // 4 * 4
    while at + 4 <= end and 4 <= block.data[at] <= end - at:
        yield int.from_bytes(block.data[at + 1 : at + 4], "little"), block.data[at + 4 : at + block.data[at]]
        at += (block.data[at] + 3) // 4 * 4


def _several(name: str, main: list[_Block], families: list[int | None]) -> SeveralImagesError:
    listed = ", ".join("no family" if family is None else family_words(family) for family in families[:8])
    return file_error(
        SeveralImagesError,
        name,
        f"it has blocks for {len(families)} families of microcontrollers: {listed}.",
        why="Each family is an image of its own; which of them is meant cannot be known.",
        todo="Take the file for the one microcontroller of your board.",
        expected="blocks for one family",
        found=listed,
        blocks=len(main),
    )


@cache
def uf2_families() -> Mapping[int, str]:
    """Return the short names of the published families by their number."""
    text = resources.files(__package__).joinpath("uf2_families.csv").read_text(encoding="utf-8")
    return MappingProxyType({int(row["id"], 16): row["name"] for row in csv.DictReader(text.splitlines())})


def family_words(family: int) -> str:
    """Return a family as a person reads it."""
    return f"{uf2_families().get(family, 'not in our list')} ({family:#010x})"


def write_uf2(image: Image, *, family: int | None, whole_pages: bool = True) -> WrittenFile:
    """Return `image` as a UF2 file for `family` (None leaves the field out).

    With `whole_pages` every block is a whole page of 256 bytes at a multiple of 256, as bootloaders of such drives
    expect; the bytes of a page that the image has not are filled with FFh, and the notes say so. Without, the blocks
    hold the bytes of the image alone.
    """
    padded, notes = filled(image, PAGE_BYTES) if whole_pages else (image, ())
    pages = [page for segment in padded.segments for page in _pages(segment.address, segment.data)]
    flags = 0 if family is None else _FAMILY
    blocks = []
    for number, (address, payload) in enumerate(pages):
        head = _HEAD.pack(_MAGICS[0][1], _MAGICS[1][1], flags, address, len(payload), number, len(pages), family or 0)
        blocks.append(head + payload.ljust(_MOST_PAYLOAD_BYTES, b"\0") + _MAGICS[2][1].to_bytes(4, "little"))
    return WrittenFile(b"".join(blocks), notes)


def _pages(address: int, data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at < len(data):
        size = PAGE_BYTES - (address + at) % PAGE_BYTES
        yield address + at, data[at : at + size]
        at += size
