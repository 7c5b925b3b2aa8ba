"""What reading a firmware file gives: the image, the format that was found, and what had to be skipped or deduced."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.firmware.image import Image


class FileFormat(StrEnum):
    """A format of firmware files, by the name that people read."""

    INTEL_HEX = "Intel HEX"
    S_RECORD = "S-record"
    UF2 = "UF2"
    DFUSE = "DfuSe"
    DFU = "DFU with suffix"
    ELF = "ELF"
    RAW = "raw binary"

    @property
    def suffix(self) -> str:
        """The usual ending of a file name, without its dot. It is written, and never looked at when reading."""
        return _SUFFIXES[self]

    @property
    def has_checksum(self) -> bool:
        """Whether the format itself shows that bytes of the image were damaged."""
        return self not in {FileFormat.UF2, FileFormat.ELF, FileFormat.RAW}


_SUFFIXES = {
    FileFormat.INTEL_HEX: "hex",
    FileFormat.S_RECORD: "s19",
    FileFormat.UF2: "uf2",
    FileFormat.DFUSE: "dfu",
    FileFormat.DFU: "dfu",
    FileFormat.ELF: "elf",
    FileFormat.RAW: "bin",
}


@dataclass(frozen=True, slots=True)
class ReadImage:
    """An image with where it came from.

    `notes` are sentences for a person: what was skipped, what was deduced, what the file says about itself.
    `packing` names the packs around the file, the outermost first ("gzip", "zip").
    `uf2_families` are the families of microcontrollers that a UF2 file says it is for; empty where it says none.
    """

    image: Image
    format: FileFormat
    notes: tuple[str, ...] = ()
    packing: tuple[str, ...] = ()
    uf2_families: frozenset[int] = frozenset()

    @property
    def is_protected(self) -> bool:
        """Whether a checksum, of the format or of a pack around it, covers the bytes of the image."""
        return self.format.has_checksum or bool(self.packing)
