"""A written firmware file, with what had to be added because its format cannot leave bytes out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from rotorwright.firmware.file_errors import LARGEST_IMAGE_BYTES, GapTooLargeError
from rotorwright.firmware.image import Image

if TYPE_CHECKING:
    from collections.abc import Iterator

ERASED: Final = 0xFF
"""What erased flash reads as, so what a gap is filled with."""


class WrittenFile(NamedTuple):
    """The bytes of a file; `notes` are sentences about what was added to the image."""

    data: bytes
    notes: tuple[str, ...]


def filled(image: Image, page_bytes: int) -> tuple[Image, tuple[str, ...]]:
    """Return `image` with every page of `page_bytes` that it touches filled up with erased bytes, and words for it."""
    runs = _page_runs(image, page_bytes)
    result = Image.of([(start, image.read(start, end - start, ERASED)) for start, end in runs], entry=image.entry)
    return result, _added_words(result.size_bytes - image.size_bytes, "whole pages")


def write_raw(image: Image) -> WrittenFile:
    """Return the bytes from the first to the last of `image`, gaps filled with FFh, which the notes say.

    The addresses are lost: whoever uses the file has to know that it begins at `image.start`.

    Raises:
        GapTooLargeError: the file would have more than 16 MiB.
    """
    size = image.end - image.start
    if size > LARGEST_IMAGE_BYTES:
        raise GapTooLargeError(
            f"As a raw file the image would have {size:,} bytes, of which {image.size_bytes:,} are its own.",
            why="A raw file has no addresses, so everything between the ranges of the image would be filled.",
            todo="Write it in a format with addresses, such as Intel HEX.",
            expected=LARGEST_IMAGE_BYTES,
            found=size,
        )
    notes = (f"The file begins at {image.start:#010x}; nothing in it says so.",)
    return WrittenFile(image.read(image.start, size, ERASED), notes + _added_words(size - image.size_bytes, "the gaps"))


def _page_runs(image: Image, page_bytes: int) -> Iterator[tuple[int, int]]:
    low, high = 0, 0
    for segment in image.segments:
        start = segment.address // page_bytes * page_bytes
        if start > high:
            if high:
                yield low, high
            low = start
        high = -(-segment.end // page_bytes) * page_bytes
    yield low, high


def _added_words(count: int, where: str) -> tuple[str, ...]:
    return (f"{count:,} bytes that the image has not are filled with FFh in {where}.",) if count else ()
