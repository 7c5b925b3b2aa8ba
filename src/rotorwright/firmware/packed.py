"""Firmware files packed with gzip or zip, unpacked within bounds that a hostile file cannot move.

Sources: RFC 1952 (gzip: CRC-32 and length at the end); PKWARE APPNOTE 6.3 (zip). A pack is first unpacked into nothing,
to learn its true length at the cost of one small buffer; only what fits is then unpacked for real. What a header claims
is never believed.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from typing import TYPE_CHECKING, Final, NamedTuple

from rotorwright.firmware.file_errors import (
    LARGEST_IMAGE_BYTES,
    SeveralImagesError,
    bad_form,
    cut_short,
    damaged,
    file_error,
    too_large,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_GZIP_MAGIC: Final = b"\x1f\x8b\x08"
_ZIP_MAGIC: Final = b"PK\x03\x04"
_ZIP_END: Final = b"PK\x05\x06"
_ZIP_END_BYTES: Final = 22
_WINDOW_BYTES: Final = 1 << 16
_MOST_UNPACKED_BYTES: Final = 2 * LARGEST_IMAGE_BYTES  # a UF2 file is half payload
_MOST_MEMBERS: Final = 1000
_MOST_LISTED: Final = 12
_ENCRYPTED: Final = 1
# All that the standard library's zip reader was seen to raise for damaged files.
_ZIP_TROUBLE: Final = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, OSError, LookupError,
    OverflowError, struct.error,
)  # fmt: skip


class Member(NamedTuple):
    """One file of a pack."""

    name: str
    data: bytes


def looks_like_gzip(data: bytes) -> bool:
    """Answer whether `data` begins as a gzip file, one damaged byte forgiven: the reader will say what is wrong."""
    return len(data) >= 3 and sum(a == b for a, b in zip(data[:3], _GZIP_MAGIC, strict=True)) >= 2


def looks_like_zip(data: bytes) -> bool:
    """Answer whether `data` begins or ends as a zip file."""
    return data[:4] == _ZIP_MAGIC or data[-_ZIP_END_BYTES:][:4] == _ZIP_END


def unpack_gzip(data: bytes, *, name: str) -> bytes:
    """Return what a gzip file holds, checked against its own checksum.

    Raises:
        FileTooLargeError: it unpacks to more than 32 MiB.
        FileCutShortError, FileDamagedError: it does not unpack, or its checksum is wrong.
    """
    size = sum(len(part) for part in _gzip_parts(data, name))
    return b"".join(_gzip_parts(data, name)) if size else b""


def _gzip_parts(data: bytes, name: str) -> Iterator[bytes]:
    total, rest = 0, data
    while rest:
        unpacker = zlib.decompressobj(wbits=31)
        while not unpacker.eof:
            try:
                part = unpacker.decompress(rest, _WINDOW_BYTES)
            except zlib.error as error:
                raise damaged(
                    name, f"it does not unpack: {_plain(str(error))}.", expected="sound gzip data", found="damaged data"
                ) from error
            if not part and not unpacker.eof and not unpacker.unconsumed_tail:
                raise cut_short(
                    name, offset=len(data), expected="the end of the gzip data", found="the end of the file"
                )
            rest = unpacker.unconsumed_tail
            total += len(part)
            if total > _MOST_UNPACKED_BYTES:
                raise too_large(name, total, "it unpacks to more than")
            yield part
        rest = unpacker.unused_data


def choose_from_zip(data: bytes, *, name: str, may_be_image: Callable[[bytes], bool]) -> tuple[Member, list[str]]:
    """Return the one file of a zip pack that may be an image, and words for what was left aside.

    `may_be_image` looks at the content of one file. A member packed by another method than deflate is not opened.

    Raises:
        SeveralImagesError: several may be; they are listed. Nothing is chosen by its name.
        FileFormError: the pack cannot be read, or no file in it may be an image.
        FileTooLargeError, FileDamagedError, FileCutShortError: see `unpack_gzip`.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as pack:
            entries = [entry for entry in pack.infolist() if not entry.is_dir()]
            return _chosen(pack, entries, name, may_be_image)
    except _ZIP_TROUBLE as error:
        raise damaged(
            name, f"the zip pack cannot be read: {_plain(str(error))}.", expected="a sound zip pack", found="damage"
        ) from error


def _chosen(
    pack: zipfile.ZipFile, entries: list[zipfile.ZipInfo], name: str, may_be_image: Callable[[bytes], bool]
) -> tuple[Member, list[str]]:
    if len(entries) > _MOST_MEMBERS:
        raise bad_form(
            name,
            f"the pack has {len(entries)} files.",
            offset=0,
            expected=f"at most {_MOST_MEMBERS}",
            found=len(entries),
        )
    budget = _MOST_UNPACKED_BYTES
    found: list[tuple[zipfile.ZipInfo, int]] = []
    chosen: Member | None = None
    others: list[str] = []
    for entry in entries:
        size = _true_size(pack, entry, name, budget)
        budget -= size
        content = _read_whole(pack, entry, size)
        if may_be_image(content):
            found.append((entry, size))
            chosen = Member(_plain(entry.filename), content)
        else:
            others.append(_plain(entry.filename))
    if chosen is None:
        raise bad_form(
            name,
            "no file in the pack is an image.",
            offset=0,
            expected="one image",
            found=", ".join(others[:_MOST_LISTED]),
        )
    if len(found) > 1:
        raise _several(name, found)
    notes = [f"The pack has one image, {chosen.name}."]
    if others:
        notes.append(f"No images, so left aside: {', '.join(others[:_MOST_LISTED])}.")
    return chosen, notes


def _true_size(pack: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str, budget: int) -> int:
    if entry.flag_bits & _ENCRYPTED or entry.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
        how = "encrypted" if entry.flag_bits & _ENCRYPTED else f"packed by method {entry.compress_type}"
        raise bad_form(
            name,
            f"{_plain(entry.filename)} is {how}.",
            offset=entry.header_offset,
            expected="stored or deflated (methods 0 and 8)",
            found=how,
        )
    total = 0
    with pack.open(entry) as source:
        while part := source.read(_WINDOW_BYTES):
            total += len(part)
            if total > budget:
                raise too_large(name, _MOST_UNPACKED_BYTES - budget + total, "it unpacks to more than")
    return total


def _read_whole(pack: zipfile.ZipFile, entry: zipfile.ZipInfo, size: int) -> bytes:
    with pack.open(entry) as source:
        return source.read(size)


def _several(name: str, found: list[tuple[zipfile.ZipInfo, int]]) -> SeveralImagesError:
    listed = ", ".join(f"{_plain(entry.filename)} ({size:,} bytes)" for entry, size in found[:_MOST_LISTED])
    return file_error(
        SeveralImagesError,
        name,
        f"the pack has {len(found)} files that may be images: {listed}.",
        why="Which of them is meant cannot be known; a name proves nothing.",
        todo="Unpack it and name the one for your board.",
        expected="one image",
        found=listed,
    )


def _plain(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)[:80]
