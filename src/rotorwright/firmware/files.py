"""Read a firmware file of any format that we know, recognised by its content and never by its name.

Recognition is generous where reading is strict: a file with one damaged byte in its marks is still taken for what it
was, so that its reader refuses it, and it does not pass for raw bytes, which nothing protects.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from rotorwright.firmware.chunks import no_data
from rotorwright.firmware.dfu_file import looks_like_dfuse, looks_suffixed, read_dfuse, suffixed_payload
from rotorwright.firmware.elf import looks_like_elf, read_elf
from rotorwright.firmware.file_errors import FormatUnknownError, bad_form, file_error
from rotorwright.firmware.intel_hex import read_intel_hex
from rotorwright.firmware.packed import choose_from_zip, looks_like_gzip, looks_like_zip, unpack_gzip
from rotorwright.firmware.raw import read_raw
from rotorwright.firmware.read_image import FileFormat, ReadImage
from rotorwright.firmware.s_record import read_s_record
from rotorwright.firmware.uf2 import looks_like_uf2, read_uf2

if TYPE_CHECKING:
    from collections.abc import Callable

_HEAD_BYTES: Final = 4096
_MOST_PACKS: Final = 2  # a packed file in a pack; more is a trick
_TEXT_BYTES: Final = frozenset(b"0123456789abcdefABCDEF:S\r\n \t")
_LEAST_IMAGE_BYTES: Final = 8  # a stack and a reset vector
UNPROTECTED: Final = (
    "Nothing in a file of this format shows whether it was damaged; compare its digest with the published one."
)


def read_image_file(data: bytes, *, name: str, base: int | None = None) -> ReadImage:
    """Return the image in a firmware file of any format; `name` stands in the messages and decides nothing.

    `base` is the address of the first byte, for files that have no addresses. Without it, it is deduced from the vector
    table if that leaves one possibility. The same image is equal, whatever format it was read from.

    Raises:
        ImageError: the file is damaged, contradicts itself, is of no known format, holds several images, or has no
            addresses and none can be deduced. No other exception, whatever the bytes; nothing is repaired or guessed.
    """
    found = _read(data, name, base, packs=0)
    notes = found.notes
    if base is not None and found.format not in {FileFormat.RAW, FileFormat.DFU} and base != found.image.start:
        notes += (f"The base {base:#010x} that was given is not used: a file of this format has its own addresses.",)
    if not found.is_protected:
        notes += (UNPROTECTED,)
    return replace(found, notes=notes)


def kept_suffix(found: ReadImage) -> str:
    """Return the ending of a file name, without its dot, for a copy of the very file that was read."""
    inner = found.format.suffix
    return {"": inner, "gzip": f"{inner}.gz", "zip": "zip"}[found.packing[0] if found.packing else ""]


def find_format(data: bytes) -> FileFormat | None:
    """Return the format that the content of an unpacked file looks like; None where it is none of ours."""
    marks: tuple[tuple[FileFormat, Callable[[bytes], bool]], ...] = (
        (FileFormat.ELF, looks_like_elf),
        (FileFormat.UF2, looks_like_uf2),
        (FileFormat.DFUSE, looks_like_dfuse),
        (FileFormat.DFU, looks_suffixed),
    )
    for file_format, looks_like in marks:
        if looks_like(data):
            return file_format
    if _is_record_text(data):
        return _text_format(data)
    return None if len(data) < _LEAST_IMAGE_BYTES or _is_plain_text(data) else FileFormat.RAW


def _read(data: bytes, name: str, base: int | None, *, packs: int) -> ReadImage:
    if not data:
        raise no_data(name)
    if looks_like_gzip(data) or looks_like_zip(data):
        return _read_packed(data, name, base, packs=packs)
    file_format = find_format(data)
    if file_format is FileFormat.INTEL_HEX:
        return ReadImage(read_intel_hex(data, name=name), file_format)
    if file_format is FileFormat.DFU:
        payload, words = suffixed_payload(data, name=name)
        found = read_raw(payload, name=name, base=base, file_format=file_format)
        return replace(found, notes=(words, *found.notes))
    if file_format is FileFormat.RAW:
        return read_raw(data, name=name, base=base)
    readers = {FileFormat.ELF: read_elf, FileFormat.UF2: read_uf2, FileFormat.DFUSE: read_dfuse}
    readers[FileFormat.S_RECORD] = read_s_record
    if file_format is None:
        raise _unknown(data, name)
    return readers[file_format](data, name=name)


def _read_packed(data: bytes, name: str, base: int | None, *, packs: int) -> ReadImage:
    if packs >= _MOST_PACKS:
        raise bad_form(
            name, "there is a pack in a pack in a pack.", offset=0, expected=f"at most {_MOST_PACKS}", found="more"
        )
    if looks_like_gzip(data):
        how, inner_name, content, notes = "gzip", name, unpack_gzip(data, name=name), ["The file is packed with gzip."]
    else:
        member, notes = choose_from_zip(data, name=name, may_be_image=_may_be_image)
        how, inner_name, content = "zip", f"{name}: {member.name}", member.data
    found = _read(content, inner_name, base, packs=packs + 1)
    return replace(found, notes=(*notes, *found.notes), packing=(how, *found.packing))


def _may_be_image(data: bytes) -> bool:
    return looks_like_gzip(data) or looks_like_zip(data) or find_format(data) is not None


def _is_record_text(data: bytes) -> bool:
    """Answer whether the file is made of the signs of Intel HEX and S-record files, a few damaged ones forgiven."""
    head = data[:_HEAD_BYTES]
    strange = len(head.translate(None, bytes(_TEXT_BYTES)))
    return len(head) > 1 and strange * 8 <= len(head) and any(sign in head for sign in b"\r\n:S")


def _text_format(data: bytes) -> FileFormat | None:
    lines = [line for line in data[:_HEAD_BYTES].splitlines() if line]
    colons = sum(line[:1] == b":" for line in lines)
    letters = sum(line[:1] == b"S" for line in lines)
    if colons == letters == 0:
        return None
    return FileFormat.INTEL_HEX if colons >= letters else FileFormat.S_RECORD


def _is_plain_text(data: bytes) -> bool:
    """Answer whether the file is text for people: no image, even if a base is given for it."""
    head = data[:_HEAD_BYTES]
    printable = sum(0x20 <= byte < 0x7F or byte in b"\r\n\t" for byte in head)
    return printable * 20 >= len(head) * 19


def _unknown(data: bytes, name: str) -> FormatUnknownError:
    head = data[:16].hex(" ")
    return file_error(
        FormatUnknownError,
        name,
        f"this is no firmware image; it has {len(data):,} bytes and begins with {head}.",
        why="The content is not Intel HEX, S-record, UF2, DfuSe, DFU, ELF, gzip or zip, and no raw image either: "
        "it is text, or too short.",
        todo="Choose the firmware image. The ending of its name does not matter.",
        offset=0,
        expected="a firmware image",
        found=head,
    )
