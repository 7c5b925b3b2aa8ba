"""Pieces of an image with their place in a file, put together with a check that no two are for the same address."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from rotorwright.firmware.file_errors import bad_form, overlap
from rotorwright.firmware.image import ADDRESS_SPACE_END, Image, ImageEmptyError

if TYPE_CHECKING:
    from collections.abc import Iterable


class Chunk(NamedTuple):
    """Bytes for `address` on, found at `offset` of the file."""

    address: int
    offset: int
    data: bytes


class NoDataError(ImageEmptyError):
    """A firmware file is sound but holds no byte of an image."""

    id = "image.file-empty"


def image_of_chunks(name: str, chunks: Iterable[Chunk], *, entry: int | None = None) -> Image:
    """Return the image that `chunks` make, in any order.

    Raises:
        FileOverlapError: two of them are for the same address.
        FileFormError: one leaves the 32-bit address space.
        NoDataError: there is no byte.
    """
    ordered = sorted(chunk for chunk in chunks if chunk.data)
    for one, two in pairwise(ordered):
        if two.address < one.address + len(one.data):
            first, second = sorted((one.offset, two.offset))
            raise overlap(name, first_offset=first, offset=second, address=two.address)
    if not ordered:
        raise no_data(name)
    last = ordered[-1]
    if last.address + len(last.data) > ADDRESS_SPACE_END:
        raise bad_form(
            name,
            f"{len(last.data)} bytes from {last.address:#010x} on go past the 32-bit address space.",
            offset=last.offset,
            expected=f"an end of at most {ADDRESS_SPACE_END:#x}",
            found=f"{last.address + len(last.data):#x}",
        )
    return Image.of(((chunk.address, chunk.data) for chunk in ordered), entry=entry)


def no_data(name: str) -> NoDataError:
    """Return the error for a file without a byte of an image."""
    return NoDataError(
        f"{name} holds no data.",
        why="The file is empty, or has nothing but its frame.",
        todo="Take the file again from where it is published.",
        file=name,
    )
