"""Raw bytes without addresses: where they belong is stated, or deduced from the vector table, or asked for.

Source of the vector table: Armv7-M Architecture Reference Manual (DDI 0403), B1.5.2 and B1.5.3. A table is no proof of
a base: all its vectors may point into the bytes at several bases. So every start of a flash sector of every known
microcontroller is tried, and only a single possible base is taken. Where several are possible, one more thing is
asked: the handler that most exceptions share is usually a jump to itself (E7FEh, DDI 0403 A7.7.12), and that must stand
where the vectors say. That firmware has such a handler is common practice, no source.
"""

from __future__ import annotations

import struct
from collections import Counter
from typing import TYPE_CHECKING, Final

from rotorwright.firmware.chunks import no_data
from rotorwright.firmware.file_errors import (
    LARGEST_IMAGE_BYTES,
    BaseImpossibleError,
    BaseNeededError,
    file_error,
    too_large,
)
from rotorwright.firmware.image import ADDRESS_SPACE_END, Image
from rotorwright.firmware.mcu import microcontroller, microcontrollers
from rotorwright.firmware.read_image import FileFormat, ReadImage
from rotorwright.firmware.vector_table import SYSTEM_VECTORS, vector_problems

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rotorwright.firmware.mcu import Microcontroller

_TABLE_BYTES: Final = SYSTEM_VECTORS * 4
_JUMP_TO_ITSELF: Final = bytes.fromhex("fee7")


def read_raw(data: bytes, *, name: str, base: int | None, file_format: FileFormat = FileFormat.RAW) -> ReadImage:
    """Return the image that `data` is from `base` on; without a base, from where its vector table says.

    Raises:
        BaseNeededError: no base was given, and the vector table leaves none or several.
        BaseImpossibleError: the bytes go past the 32-bit address space.
        FileTooLargeError: there are more than 16 MiB.
        NoDataError: there is no byte.
    """
    if not data:
        raise no_data(name)
    if len(data) > LARGEST_IMAGE_BYTES:
        raise too_large(name, len(data))
    possible = possible_bases(data)
    if base is not None:
        return ReadImage(_image_at(data, base, name), file_format, _doubts(base, possible))
    if len(possible) != 1:
        raise _base_needed(name, possible)
    ((base, parts),) = possible.items()
    words = f"The base {base:#010x} is deduced: only there the vector table makes sense, on {_listed(parts)}."
    return ReadImage(_image_at(data, base, name), file_format, (words,))


def possible_bases(data: bytes) -> Mapping[int, tuple[str, ...]]:
    """Return every base at which the vector table of `data` makes sense, with the microcontrollers it does so on."""
    found: dict[int, list[str]] = {}
    for part in microcontrollers():
        for base in _bases_on(data, part):
            found.setdefault(base, []).append(part.name)
    if len(found) > 1:
        likely = [base for base, names in found.items() if _shared_handler_jumps_to_itself(data, base, names[0])]
        if len(likely) == 1:
            found = {likely[0]: found[likely[0]]}
    return {base: tuple(names) for base, names in found.items()}


def _bases_on(data: bytes, part: Microcontroller) -> Iterator[int]:
    vectors = _vectors(data, part)
    if vectors is None or not any(region.address < vectors[0] <= region.end for region in part.ram):
        return
    for sector in part.sectors:
        base, end = sector.address, sector.address + len(data)
        if base > vectors[1] or end > part.flash_end:
            return
        if end >= vectors[1] and not vector_problems(Image.of([(base, data)]), part, address=base + _offset(part)):
            yield base


def _offset(part: Microcontroller) -> int:
    """Return where in an image the vector table stands: on some parts a loader comes first."""
    return part.vectors_address - part.flash_start


def _vectors(data: bytes, part: Microcontroller) -> tuple[int, ...] | None:
    if len(data) < _offset(part) + _TABLE_BYTES:
        return None
    return struct.unpack_from(f"<{SYSTEM_VECTORS}I", data, _offset(part))


def _shared_handler_jumps_to_itself(data: bytes, base: int, part_name: str) -> bool:
    vectors = _vectors(data, microcontroller(part_name)) or ()
    (shared, count), *_ = Counter(vector for vector in vectors[2:] if vector).most_common(1) or [(0, 0)]
    at = shared - 1 - base
    return count > 1 and at >= 0 and data[at : at + 2] == _JUMP_TO_ITSELF


def _image_at(data: bytes, base: int, name: str) -> Image:
    if not 0 <= base <= ADDRESS_SPACE_END - len(data):
        raise file_error(
            BaseImpossibleError,
            name,
            f"{len(data)} bytes from {base:#x} on do not fit into 32-bit addresses.",
            why="A raw file has no address of its own; this base was given for it.",
            todo="Give the base that the publisher of the firmware names.",
            expected=f"0 to {ADDRESS_SPACE_END - len(data):#x}",
            found=f"{base:#x}",
        )
    return Image.of([(base, data)])


def _doubts(base: int, possible: Mapping[int, tuple[str, ...]]) -> tuple[str, ...]:
    words: tuple[str, ...] = (f"The base {base:#010x} was given.",)
    if possible and base not in possible:
        others = ", ".join(f"{each:#010x}" for each in list(possible)[:4])
        words += (f"The vector table makes no sense there, but at {others}.",)
    return words


def _base_needed(name: str, possible: Mapping[int, tuple[str, ...]]) -> BaseNeededError:
    listed = ", ".join(f"{base:#010x}" for base in list(possible)[:8])
    return file_error(
        BaseNeededError,
        name,
        "its bytes have no address, and the vector table does not say where they belong.",
        why=f"It makes sense at several bases: {listed}."
        if possible
        else "It has no vector table of a microcontroller that we know; the file may also be of another kind.",
        todo="Give the base that the publisher of the firmware names, or take the file in a format with addresses.",
        expected="one possible base",
        found=listed or "none",
    )


def _listed(parts: tuple[str, ...]) -> str:
    return ", ".join(parts[:4]) + (f" and {len(parts) - 4} more" if len(parts) > 4 else "")
