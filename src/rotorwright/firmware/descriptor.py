"""The image descriptor: what a firmware image says about itself, and a CRC over all of it.

Our own open format, free for any firmware to embed; docs/reference/image-descriptor.md is its definition, and the two
change together.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.errors import ImageError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.firmware.image import Image, Segment

MAGIC = b"RWIMGDSC"
FORMAT_VERSION = 1
ALIGNMENT_BYTES = 4
_LAYOUT = struct.Struct("<8sHHIII16s16s32s24s40s8x")
SIZE_BYTES = _LAYOUT.size
_CRC_OFFSET = 20
_MOST_CANDIDATES = 8  # each costs a CRC over its range; an image with more is made to waste time
_TEXT_BYTES = {"family": 16, "release": 16, "board": 32, "mcu": 24, "build": 40}


class DescriptorFieldError(ImageError):
    """A field of a descriptor has no place in the format."""

    id = "image.descriptor-field"


@dataclass(frozen=True, slots=True)
class Descriptor:
    """What an image says about itself.

    `address` is where the descriptor stands; `start` and `length` (bytes) are the range that `crc32` covers, itself
    taken as zero. `release` is the whole number ("6.0.0"), `mcu` a name of our table, `build` free text or empty.
    """

    address: int
    family: str
    release: str
    board: str
    mcu: str
    start: int
    length: int
    crc32: int = 0
    build: str = ""
    version: int = FORMAT_VERSION


def pack_descriptor(descriptor: Descriptor) -> bytes:
    """Return the `SIZE_BYTES` bytes of the descriptor, with its CRC as it stands in the value.

    Raises:
        DescriptorFieldError: a text is empty, too long or not printable ASCII, or a number does not fit.
    """
    texts = [_packed_text(name, getattr(descriptor, name)) for name in _TEXT_BYTES]
    numbers = (descriptor.start, descriptor.length, descriptor.crc32)
    if not all(0 <= number < 1 << 32 for number in numbers):
        raise _bad_field("start, length and crc32", "each is a 32-bit number")
    return _LAYOUT.pack(MAGIC, FORMAT_VERSION, SIZE_BYTES, *numbers, *texts)


def find_descriptors(image: Image) -> tuple[Descriptor, ...]:
    """Return every well-formed descriptor in `image`, by address; whether the CRC is right is not asked here.

    Well-formed: aligned magic, known layout, clean texts, and a range that the image has and that holds the descriptor.
    """
    return tuple(descriptor for segment in image.segments for descriptor in _in_segment(image, segment))


def find_descriptor(image: Image) -> Descriptor | None:
    """Return the descriptor of `image`: the only well-formed one, or the only one of several whose CRC is right."""
    found = find_descriptors(image)
    if 1 < len(found) <= _MOST_CANDIDATES:
        found = tuple(descriptor for descriptor in found if descriptor_crc_ok(image, descriptor))
    return found[0] if len(found) == 1 else None


def descriptor_crc(image: Image, descriptor: Descriptor) -> int:
    """Return the CRC-32 (ISO-HDLC, as in zlib) of the range, the CRC field of the descriptor taken as zero."""
    field = descriptor.address + _CRC_OFFSET
    before = image.read(descriptor.start, field - descriptor.start)
    after = image.read(field + 4, descriptor.start + descriptor.length - field - 4)
    return zlib.crc32(after, zlib.crc32(bytes(4), zlib.crc32(before)))


def descriptor_crc_ok(image: Image, descriptor: Descriptor) -> bool:
    """Answer whether every byte of the range is there and the CRC is right."""
    return _range_is_sound(image, descriptor) and descriptor_crc(image, descriptor) == descriptor.crc32


def sealed(image: Image, descriptor: Descriptor) -> Descriptor:
    """Return `descriptor` with the right CRC for `image`, in which its bytes must already stand (with any CRC)."""
    return replace(descriptor, crc32=descriptor_crc(image, descriptor))


def _in_segment(image: Image, segment: Segment) -> Iterator[Descriptor]:
    offset = segment.data.find(MAGIC)
    while offset >= 0:
        address = segment.address + offset
        descriptor = _unpacked(segment.data[offset : offset + SIZE_BYTES], address)
        if descriptor and address % ALIGNMENT_BYTES == 0 and _range_is_sound(image, descriptor):
            yield descriptor
        offset = segment.data.find(MAGIC, offset + 1)


def _unpacked(raw: bytes, address: int) -> Descriptor | None:
    """Return the descriptor in `raw`; None if its form is wrong. Later versions only append, so they are read too."""
    if len(raw) < SIZE_BYTES:
        return None
    _, version, size_bytes, start, length, crc32, *fields = _LAYOUT.unpack(raw)
    texts = [_unpacked_text(field) for field in fields]
    family, release, board, mcu, build = texts
    if (
        version < FORMAT_VERSION
        or size_bytes < SIZE_BYTES
        or None in texts
        or not (family and release and board and mcu)
    ):
        return None
    return Descriptor(address, family, release, board, mcu, start, length, crc32, build or "", version)


def _range_is_sound(image: Image, descriptor: Descriptor) -> bool:
    end = descriptor.start + descriptor.length
    holds_itself = descriptor.start <= descriptor.address and descriptor.address + SIZE_BYTES <= end
    return holds_itself and image.covers(descriptor.start, descriptor.length)


def _packed_text(name: str, text: str) -> bytes:
    if not text and name != "build":
        raise _bad_field(name, "it may not be empty")
    if len(text) > _TEXT_BYTES[name] or not _is_printable(text.encode("utf-8")):
        raise _bad_field(name, f"it is at most {_TEXT_BYTES[name]} printable ASCII characters")
    return text.encode("ascii")


def _unpacked_text(field: bytes) -> str | None:
    text, _, rest = field.partition(b"\0")
    return text.decode("ascii") if _is_printable(text) and not rest.strip(b"\0") else None


def _is_printable(text: bytes) -> bool:
    return all(0x20 <= byte < 0x7F for byte in text)


def _bad_field(name: str, rule: str) -> DescriptorFieldError:
    return DescriptorFieldError(
        f"The field {name} does not fit into an image descriptor.",
        why=f"The format says that {rule}.",
        todo="Correct the field where the image is built.",
        field=name,
    )
