"""Read and write files for USB device firmware upgrade: DfuSe files, and raw bytes with a DFU suffix.

Sources: USB Device Firmware Upgrade 1.1, appendix B (the suffix); ST UM0391, section 2 (the DfuSe file: a prefix of 11
bytes, targets with a prefix of 274 bytes, elements with a prefix of 8 bytes, and the suffix with bcdDFU 011Ah).

The size in the DfuSe prefix is disputed: the document says the whole file, and some writers do so; others, and most
readers, take it without the 16 bytes of the suffix. Both are read; written is the form without the suffix.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rotorwright.firmware.chunks import Chunk, image_of_chunks
from rotorwright.firmware.file_errors import bad_form, cut_short, damaged
from rotorwright.firmware.read_image import FileFormat, ReadImage

if TYPE_CHECKING:
    from rotorwright.firmware.image import Image

DFUSE_MAGIC: Final = b"DfuSe\x01"
SUFFIX_BYTES: Final = 16
_PREFIX: Final = struct.Struct("<5sBIB")
_TARGET: Final = struct.Struct("<6sBI255sII")
_ELEMENT: Final = struct.Struct("<II")
_SUFFIX: Final = struct.Struct("<HHHH3sBI")
_SIGNATURE: Final = b"UFD"
_DFUSE_VERSION: Final = 0x011A
_ANY_DEVICE: Final = 0xFFFF  # DFU 1.1, appendix B: the field does not narrow the device


@dataclass(frozen=True, slots=True)
class DfuSuffix:
    """What the suffix says: for which USB device the file is (FFFFh: any), its version, and its own length in bytes."""

    vendor: int
    product: int
    device_version: int
    dfu_version: int
    length: int

    @property
    def words(self) -> str:
        """For which device, in words."""
        if self.vendor == self.product == _ANY_DEVICE:
            return "The suffix says that the file is for any USB device."
        return f"The suffix says that the file is for the USB device {self.vendor:04x}:{self.product:04x}."


def looks_like_dfuse(data: bytes) -> bool:
    """Answer whether `data` begins as a DfuSe file, one damaged byte forgiven: the reader will say what is wrong."""
    return len(data) >= len(DFUSE_MAGIC) and _equal_bytes(data[: len(DFUSE_MAGIC)], DFUSE_MAGIC) >= 5


def looks_suffixed(data: bytes) -> bool:
    """Answer whether a DFU suffix stands at the end, one damaged byte forgiven, or one cut inside its checksum."""
    tail = data[-SUFFIX_BYTES:]
    mark = _SIGNATURE + bytes([SUFFIX_BYTES])
    return (len(data) >= SUFFIX_BYTES and _equal_bytes(tail[8:12], mark) >= 3) or mark in tail[9:]


def _equal_bytes(one: bytes, two: bytes) -> int:
    return sum(a == b for a, b in zip(one, two, strict=True))


def read_suffix(data: bytes, *, name: str) -> DfuSuffix:
    """Return the suffix of a file after checking the checksum over all of it.

    Raises:
        FileCutShortError, FileFormError, FileDamagedError: no suffix, a broken one, or a wrong checksum.
    """
    if len(data) < SUFFIX_BYTES:
        raise cut_short(name, offset=len(data), expected="a suffix of 16 bytes", found=f"{len(data)} bytes")
    start = len(data) - SUFFIX_BYTES
    device, product, vendor, version, signature, length, crc = _SUFFIX.unpack_from(data, start)
    computed = zlib.crc32(data[:-4]) ^ 0xFFFF_FFFF
    if signature != _SIGNATURE:
        raise cut_short(
            name, offset=len(data), expected="the suffix, with UFD before its length", found=repr(signature)
        )
    if crc != computed:
        raise damaged(
            name,
            f"the checksum of the suffix is {crc:08X}, and the bytes before it need {computed:08X}.",
            offset=len(data) - 4,
            expected=f"{computed:08X}",
            found=f"{crc:08X}",
        )
    if not SUFFIX_BYTES <= length <= len(data):
        raise bad_form(
            name, f"the suffix says that it has {length} bytes.", offset=start + 11, expected=SUFFIX_BYTES, found=length
        )
    return DfuSuffix(vendor, product, device, version, length)


def suffixed_payload(data: bytes, *, name: str) -> tuple[bytes, str]:
    """Return the raw bytes before a plain DFU suffix, and what the suffix says in words; the suffix is checked.

    Raises:
        FileCutShortError, FileFormError, FileDamagedError: see `read_suffix`; also a DfuSe suffix with no such prefix.
    """
    suffix = read_suffix(data, name=name)
    if suffix.dfu_version == _DFUSE_VERSION:
        raise bad_form(
            name,
            "the suffix says DfuSe (bcdDFU 011A), and the file does not begin so.",
            offset=0,
            expected="DfuSe",
            found=data[:5].hex(),
        )
    return data[: len(data) - suffix.length], suffix.words


def read_dfuse(data: bytes, *, name: str) -> ReadImage:
    """Return the image in a DfuSe file: the elements of all targets together.

    A target for another memory than the flash (option bytes, say) is part of the image, too; it is told in the notes,
    and no microcontroller has flash there, so that such an image is refused where its fit is judged.

    Raises:
        FileDamagedError: the checksum over the file is wrong.
        FileCutShortError, FileFormError, FileOverlapError, NoDataError: its parts do not fit together.
    """
    suffix = read_suffix(data, name=name)
    reader = _Body(name, data[: len(data) - suffix.length])
    targets = reader.prefix(whole_bytes=len(data))
    notes = [suffix.words, *(reader.target(index) for index in range(targets))]
    if reader.at != len(reader.body):
        raise bad_form(
            name,
            f"{len(reader.body) - reader.at} bytes follow the last target.",
            offset=reader.at,
            expected="the suffix",
            found=f"{len(reader.body) - reader.at} bytes",
        )
    return ReadImage(image_of_chunks(name, reader.chunks), FileFormat.DFUSE, tuple(notes))


class _Body:
    """The file without its suffix, read from front to back."""

    __slots__ = ("at", "body", "chunks", "name")

    def __init__(self, name: str, body: bytes) -> None:
        self.name, self.body, self.at = name, body, 0
        self.chunks: list[Chunk] = []

    def prefix(self, *, whole_bytes: int) -> int:
        """Check the prefix of the file and return the number of targets."""
        magic, version, size, targets = _PREFIX.unpack(self._take(_PREFIX.size, "the DfuSe prefix"))
        if magic + bytes([version]) != DFUSE_MAGIC:
            raise bad_form(
                self.name,
                "the file does not begin with DfuSe, version 1.",
                offset=0,
                expected="DfuSe 01",
                found=f"{magic!r} {version:02X}",
            )
        if size not in {len(self.body), whole_bytes}:
            raise bad_form(
                self.name,
                f"the prefix says {size} bytes; the file has {whole_bytes}, {len(self.body)} without its suffix.",
                offset=6,
                expected=len(self.body),
                found=size,
            )
        return int(targets)

    def target(self, index: int) -> str:
        """Take one target with its elements in and return what it is, in words."""
        start = self.at
        head = self._take(_TARGET.size, f"target {index}")
        magic, alternate, is_named, text, size, elements = _TARGET.unpack(head)
        if magic != b"Target":
            raise bad_form(
                self.name, "a target begins with the word Target.", offset=start, expected="Target", found=repr(magic)
            )
        data_bytes = sum(self._element(index, element) for element in range(self._plausible(start, elements, size)))
        if self.at - start - _TARGET.size != size:
            raise bad_form(
                self.name,
                f"target {index} says {size} bytes, and its elements have {self.at - start - _TARGET.size}.",
                offset=start + 266,
                expected=self.at - start - _TARGET.size,
                found=size,
            )
        name = text.partition(b"\0")[0].decode("ascii", "replace") if is_named & 0xFF else ""
        called = f" '{''.join(sign if sign.isprintable() else '?' for sign in name)[:40]}'" if name else ""
        return f"Target{called} for alternate setting {alternate}: {elements} elements, {data_bytes:,} bytes."

    def _plausible(self, start: int, elements: int, size: int) -> int:
        if elements * _ELEMENT.size > size or size > len(self.body) - self.at:
            raise bad_form(
                self.name,
                f"the target says {elements} elements in {size} bytes, and {len(self.body) - self.at} bytes are left.",
                offset=start + 266,
                expected=f"at most {len(self.body) - self.at} bytes",
                found=f"{elements} elements in {size} bytes",
            )
        return elements

    def _element(self, target: int, index: int) -> int:
        what = f"element {index} of target {target}"
        address, size = _ELEMENT.unpack(self._take(_ELEMENT.size, what))
        offset = self.at
        self.chunks.append(Chunk(address, offset, self._take(size, f"{size} bytes of {what}")))
        return int(size)

    def _take(self, count: int, what: str) -> bytes:
        if count > len(self.body) - self.at:
            raise cut_short(
                self.name,
                offset=len(self.body),
                expected=what,
                found=f"{len(self.body) - self.at} bytes from {self.at:#x} on",
            )
        self.at += count
        return self.body[self.at - count : self.at]


def write_dfuse(
    image: Image, *, vendor: int = 0x0483, product: int = 0xDF11, device_version: int = 0xFFFF, target_name: str = ""
) -> bytes:
    """Return `image` as a DfuSe file: one target for alternate setting 0, one element for each segment.

    `vendor` and `product` are those of the bootloader on USB; the default is the ROM bootloader of the STM32 (AN2606).
    The start address of the image has no place in this format.
    """
    elements = b"".join(_ELEMENT.pack(one.address, len(one.data)) + one.data for one in image.segments)
    text = target_name.encode("ascii", "replace")[:254]
    head = _TARGET.pack(b"Target", 0, 1 if text else 0, text, len(elements), len(image.segments))
    size = _PREFIX.size + len(head) + len(elements)
    body = _PREFIX.pack(DFUSE_MAGIC[:5], 1, size, 1) + head + elements
    return _with_suffix(body, _DFUSE_VERSION, vendor=vendor, product=product, device_version=device_version)


def write_dfu(payload: bytes, *, vendor: int, product: int, device_version: int = 0xFFFF) -> bytes:
    """Return raw `payload` with a plain DFU 1.1 suffix."""
    return _with_suffix(payload, 0x0100, vendor=vendor, product=product, device_version=device_version)


def _with_suffix(body: bytes, version: int, *, vendor: int, product: int, device_version: int) -> bytes:
    start = body + _SUFFIX.pack(device_version, product, vendor, version, _SIGNATURE, SUFFIX_BYTES, 0)[:-4]
    return start + (zlib.crc32(start) ^ 0xFFFF_FFFF).to_bytes(4, "little")
