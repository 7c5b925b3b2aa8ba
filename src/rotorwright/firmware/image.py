"""A firmware image: the bytes that will stand in flash, as address ranges.

Whatever file format an image came from, it becomes this one value, so that fit, writing and read-back never see a file.
Bytes between the ranges are not part of the image: nothing may be said about them, and nothing is written there.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from rotorwright.errors import ImageError

if TYPE_CHECKING:
    from collections.abc import Iterable

ADDRESS_SPACE_END = 1 << 32
"""First address past the 32-bit address space of the microcontrollers that we know."""


class ImageRangeError(ImageError):
    """Address ranges that cannot be an image: overlapping, out of the 32-bit address space, out of order."""

    id = "image.bad-range"


class ImageEmptyError(ImageError):
    """A firmware image without a single byte of data."""

    id = "image.empty"


class Segment(NamedTuple):
    """Contiguous bytes of an image, the first of them at `address`."""

    address: int
    data: bytes

    @property
    def end(self) -> int:
        """First address past the bytes."""
        return self.address + len(self.data)


@dataclass(frozen=True, slots=True)
class Image:
    """A firmware image: at least one segment, sorted by address, none empty, none touching the next.

    Make one with `Image.of`, which sorts and merges; the constructor takes only what is in that form already.
    `entry` is the start address that the file names, if it names one. It is no part of the bytes written, and not every
    format has a place for it, so two images with the same bytes at the same addresses are equal whatever it says.

    Raises:
        ImageEmptyError, ImageRangeError: the segments are not in that form, or `entry` has more than 32 bits.
    """

    segments: tuple[Segment, ...]
    entry: int | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if not self.segments:
            raise _empty()
        previous_end = -1
        for segment in self.segments:
            if not segment.data or segment.address <= previous_end or segment.end > ADDRESS_SPACE_END:
                raise _bad_range(segment, "Segments of an image are sorted, merged and inside 32-bit addresses.")
            previous_end = segment.end
        if self.entry is not None and not 0 <= self.entry < ADDRESS_SPACE_END:
            raise _bad_range(Segment(self.entry, b""), "The start address has more than 32 bits.")

    @classmethod
    def of(cls, chunks: Iterable[tuple[int, bytes]], *, entry: int | None = None) -> Image:
        """Return the image made of `chunks` (address, bytes) in any order; neighbours are merged, empty ones dropped.

        Raises:
            ImageEmptyError: no chunk holds a byte.
            ImageRangeError: two chunks cover the same address (even with equal bytes), or one leaves the address space.
        """
        merged: list[tuple[int, list[bytes]]] = []
        end = -1
        for address, data in sorted(chunk for chunk in chunks if chunk[1]):
            if address < end:
                raise _bad_range(Segment(address, data), f"The bytes before it end only at {end:#010x}.")
            if merged and address == end:
                merged[-1][1].append(data)
            else:
                merged.append((address, [data]))
            end = address + len(data)
        return cls(tuple(Segment(address, b"".join(parts)) for address, parts in merged), entry)

    @property
    def start(self) -> int:
        """Lowest address with a byte."""
        return self.segments[0].address

    @property
    def end(self) -> int:
        """First address past the highest byte."""
        return self.segments[-1].end

    @property
    def size_bytes(self) -> int:
        """Number of bytes in the image, gaps not counted."""
        return sum(len(segment.data) for segment in self.segments)

    @property
    def sha256(self) -> str:
        """SHA-256 of what is written where: per segment address and length (32-bit little-endian each), then its bytes.

        The same whichever file format the image came from; the same bytes at another address are another image.
        """
        digest = hashlib.sha256()
        for segment in self.segments:
            digest.update(segment.address.to_bytes(4, "little") + len(segment.data).to_bytes(4, "little"))
            digest.update(segment.data)
        return digest.hexdigest()

    def read(self, address: int, length: int, fill: int = 0xFF) -> bytes:
        """Return `length` bytes from `address` on; `fill` (an erased flash byte) where the image has none."""
        result = bytearray([fill]) * length
        end = address + length
        for segment in self.segments[self._index_before(address) :]:
            if segment.address >= end:
                break
            low, high = max(address, segment.address), min(end, segment.end)
            if low < high:
                result[low - address : high - address] = segment.data[low - segment.address : high - segment.address]
        return bytes(result)

    def covers(self, address: int, length: int) -> bool:
        """Answer whether every one of the `length` bytes from `address` on belongs to the image."""
        if length <= 0:
            return length == 0
        segment = self.segments[self._index_before(address)]
        return segment.address <= address and address + length <= segment.end

    def _index_before(self, address: int) -> int:
        return max(0, bisect_right(self.segments, address, key=lambda segment: segment.address) - 1)


def _bad_range(segment: Segment, why: str) -> ImageRangeError:
    return ImageRangeError(
        f"The {len(segment.data)} bytes at {segment.address:#010x} cannot be part of the image.",
        why=why,
        todo="Take the image again from where it is published.",
        address=segment.address,
        length=len(segment.data),
    )


def _empty() -> ImageEmptyError:
    return ImageEmptyError(
        "The image holds no data.",
        why="A firmware image has at least a vector table.",
        todo="Take the image again from where it is published.",
    )
