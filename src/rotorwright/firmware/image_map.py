"""How an image lies in flash: sector by sector, and where two images differ.

Without a microcontroller nobody knows the sectors; then the range that the image has is cut into equal pages (16 KiB,
own choice: the smallest sector of the widespread parts with large ones).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller

PAGE_BYTES = 16 * 1024
ERASED = 0xFF
_NOTHING = -1  # in an array of bytes: the image says nothing about this address


@dataclass(frozen=True, slots=True)
class Block:
    """A sector of the microcontroller, or a page where its sectors are not known; then `number` is None."""

    address: int
    size_bytes: int
    number: int | None

    @property
    def end(self) -> int:
        """First address past the block."""
        return self.address + self.size_bytes


@dataclass(frozen=True, slots=True)
class MapRow:
    """What an image has in a block, in bytes: content, and erased bytes (FFh) that it names; the rest is nothing.

    `erased_tail` counts the erased bytes at the end of what it has there. `cells` are equal parts of the block, each
    the larger share of it: "#" content, "." erased, " " nothing.
    """

    block: Block
    content_bytes: int
    erased_bytes: int
    erased_tail: int
    cells: str


@dataclass(frozen=True, slots=True)
class BlockDifference:
    """How two images stand to each other in a block, in bytes; `first` is the lowest address where they differ."""

    block: Block
    same: int
    differing: int
    only_first: int
    only_second: int
    first: int | None

    @property
    def is_same(self) -> bool:
        """Whether both say the same about every byte of the block."""
        return self.first is None


def blocks_of(images: Sequence[Image], mcu: Microcontroller | None) -> tuple[Block, ...]:
    """Return the sectors of `mcu`, and pages for whatever the images have outside of them; sorted by address."""
    sectors = [] if mcu is None else [Block(one.address, one.size_bytes, one.number) for one in mcu.sectors]
    pages = {
        address // PAGE_BYTES * PAGE_BYTES
        for image in images
        for segment in image.segments
        for address in range(segment.address // PAGE_BYTES * PAGE_BYTES, segment.end, PAGE_BYTES)
    }
    loose = [Block(page, PAGE_BYTES, None) for page in pages if not _is_inside(page, sectors)]
    return tuple(sorted((*sectors, *loose), key=lambda block: block.address))


def _is_inside(page: int, sectors: Sequence[Block]) -> bool:
    return any(sector.address <= page < sector.end for sector in sectors)


def map_rows(image: Image, mcu: Microcontroller | None, *, cells: int = 32) -> tuple[MapRow, ...]:
    """Return what `image` has in each block; `cells` is how many parts a block is drawn in."""
    return tuple(
        _row(_bytes_in(image, block), block, cells) if _has_any(image, block) else MapRow(block, 0, 0, 0, " " * cells)
        for block in blocks_of([image], mcu)
    )


def _has_any(image: Image, block: Block) -> bool:
    return any(segment.address < block.end and block.address < segment.end for segment in image.segments)


def _bytes_in(image: Image, block: Block) -> NDArray[np.int16]:
    """Return the bytes of the block, -1 where the image has none."""
    found = np.full(block.size_bytes, _NOTHING, dtype=np.int16)
    for segment in image.segments:
        low, high = max(segment.address, block.address), min(segment.end, block.end)
        if low < high:
            piece = segment.data[low - segment.address : high - segment.address]
            found[low - block.address : high - block.address] = np.frombuffer(piece, dtype=np.uint8)
    return found


def _row(found: NDArray[np.int16], block: Block, cells: int) -> MapRow:
    content = (found != _NOTHING) & (found != ERASED)
    erased = found == ERASED
    named = found[found != _NOTHING]
    not_erased = np.flatnonzero(named != ERASED)
    tail = len(named) - (int(not_erased[-1]) + 1 if len(not_erased) else 0)
    parts = zip(np.array_split(content, cells), np.array_split(erased, cells), strict=True)
    drawn = "".join(_cell(int(one.sum()), int(other.sum()), len(one)) for one, other in parts)
    return MapRow(block, int(content.sum()), int(erased.sum()), tail, drawn)


def _cell(content: int, erased: int, size: int) -> str:
    if content:
        return "#"
    return "." if erased * 2 >= size and erased else " "


def grouped(rows: Sequence[MapRow]) -> Iterator[tuple[MapRow, ...]]:
    """Yield rows to draw: those with something in them alone, neighbours of one size with nothing in them together."""

    def key(indexed: tuple[int, MapRow]) -> tuple[object, ...]:
        index, row = indexed
        is_empty = not row.content_bytes and not row.erased_bytes
        return ("empty", row.block.size_bytes) if is_empty else ("used", index)

    for _, group in groupby(enumerate(rows), key=key):
        yield tuple(row for _, row in group)


def compare_images(first: Image, second: Image, mcu: Microcontroller | None) -> tuple[BlockDifference, ...]:
    """Return how the two stand to each other in each block that either of them has anything in."""
    blocks = blocks_of([first, second], mcu)
    return tuple(_difference(first, second, one) for one in blocks if _has_any(first, one) or _has_any(second, one))


def _difference(first: Image, second: Image, block: Block) -> BlockDifference:
    ours, theirs = _bytes_in(first, block), _bytes_in(second, block)
    in_first, in_second = ours != _NOTHING, theirs != _NOTHING
    both, unlike = in_first & in_second, ours != theirs
    where = np.flatnonzero(unlike)
    return BlockDifference(
        block,
        same=int((both & ~unlike).sum()),
        differing=int((both & unlike).sum()),
        only_first=int((in_first & ~in_second).sum()),
        only_second=int((in_second & ~in_first).sum()),
        first=block.address + int(where[0]) if len(where) else None,
    )
