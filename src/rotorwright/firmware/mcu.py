"""Microcontrollers: flash sectors, memories, what their ROM bootloader calls itself, and where they keep their id.

The facts are data (`microcontrollers.toml`, each with its source beside it); this module gives them their shape.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from rotorwright.errors import ImageError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.firmware.image import Image, Segment


class MicrocontrollerUnknownError(ImageError):
    """No microcontroller of this name is in our table."""

    id = "image.microcontroller-unknown"


class ImageOutsideFlashError(ImageError):
    """An image has bytes where the microcontroller has no flash."""

    id = "image.outside-flash"


@dataclass(frozen=True, slots=True)
class Sector:
    """The smallest piece of flash that can be erased."""

    number: int
    address: int
    size_bytes: int

    @property
    def end(self) -> int:
        """First address past the sector."""
        return self.address + self.size_bytes


@dataclass(frozen=True, slots=True)
class MemoryRegion:
    """A piece of RAM, with where its address and size come from."""

    name: str
    address: int
    size_bytes: int
    source: str = ""

    @property
    def end(self) -> int:
        """First address past the region."""
        return self.address + self.size_bytes


@dataclass(frozen=True, slots=True)
class Microcontroller:
    """One microcontroller part; `x` in its name stands for any package.

    Times are in seconds, by sector size in bytes, for one sector; `times_source` says whether they are known for this
    part or assumed from another. Sectors are sorted by address, and there may be holes between them.
    """

    name: str
    core: str
    boot_id: int
    sectors: tuple[Sector, ...]
    ram: tuple[MemoryRegion, ...]
    unique_id_address: int
    flash_size_address: int
    erase_typical_s: Mapping[int, float] = field(hash=False)
    erase_max_s: Mapping[int, float] = field(hash=False)
    program_word_typical_s: float
    program_word_max_s: float
    times_source: str

    @property
    def flash_start(self) -> int:
        """Lowest flash address."""
        return self.sectors[0].address

    @property
    def flash_end(self) -> int:
        """First address past the last sector; a hole in between counts as inside."""
        return self.sectors[-1].end

    @property
    def flash_size_bytes(self) -> int:
        """Sum of the sector sizes."""
        return sum(sector.size_bytes for sector in self.sectors)

    def sector_at(self, address: int) -> Sector | None:
        """Return the sector that holds `address`; None where there is no flash."""
        index = bisect_right(self.sectors, address, key=lambda sector: sector.address) - 1
        return self.sectors[index] if index >= 0 and address < self.sectors[index].end else None


def microcontrollers() -> tuple[Microcontroller, ...]:
    """Return every microcontroller of the table, sorted by name."""
    return tuple(_table().values())


def microcontroller(name: str) -> Microcontroller:
    """Return the microcontroller called `name`, spelled as in the table.

    Raises:
        MicrocontrollerUnknownError: there is none.
    """
    if found := _table().get(name):
        return found
    known = ", ".join(_table())
    raise MicrocontrollerUnknownError(
        f"The microcontroller {name!r} is not known here.",
        why=f"Known are {known}.",
        todo="Correct the name in the release book, or take a newer Rotorwright.",
        name=name,
    )


def microcontrollers_by_boot_id(boot_id: int) -> tuple[Microcontroller, ...]:
    """Return those whose ROM bootloader answers `boot_id`: often several that differ in flash size, or none."""
    return tuple(mcu for mcu in microcontrollers() if mcu.boot_id == boot_id)


def sectors_for(image: Image, mcu: Microcontroller) -> tuple[Sector, ...]:
    """Return the sectors that hold at least one byte of `image`, sorted by address.

    Raises:
        ImageOutsideFlashError: a byte of the image is where `mcu` has no flash.
    """
    needed: dict[int, Sector] = {}
    for segment in image.segments:
        address = segment.address
        while address < segment.end:
            sector = mcu.sector_at(address)
            if sector is None:
                raise _outside_flash(segment, address, mcu)
            needed[sector.address] = sector
            address = sector.end
    return tuple(needed.values())


def _outside_flash(segment: Segment, address: int, mcu: Microcontroller) -> ImageOutsideFlashError:
    return ImageOutsideFlashError(
        f"The image has bytes at {segment.address:#010x} to {segment.end - 1:#010x}, "
        f"and the {mcu.name} has no flash at {address:#010x}.",
        why=f"Its flash is {mcu.flash_size_bytes // 1024} KiB from {mcu.flash_start:#010x} on. "
        "The image is for another microcontroller, or too large for this one.",
        todo="Choose the image that was built for this very board.",
        address=address,
        microcontroller=mcu.name,
    )


@cache
def _table() -> Mapping[str, Microcontroller]:
    text = resources.files(__package__).joinpath("microcontrollers.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    parts = [_microcontroller(entry, table["flash_times"]) for entry in table["microcontroller"]]
    return {part.name: part for part in sorted(parts, key=lambda part: part.name)}


def _microcontroller(entry: Mapping[str, Any], times: Mapping[str, Any]) -> Microcontroller:
    sectors = tuple(sector for run in entry["sectors"] for sector in _sectors(**run))
    sizes = sorted({sector.size_bytes for sector in sectors})
    known = entry["name"] == times["microcontroller"]
    typical = "typical_s" if known else "max_s"
    return Microcontroller(
        name=entry["name"],
        core=entry["core"],
        boot_id=entry["boot_id"],
        sectors=sectors,
        ram=tuple(MemoryRegion(**region) for region in entry["ram"]),
        unique_id_address=entry["unique_id_address"],
        flash_size_address=entry["flash_size_address"],
        erase_typical_s=MappingProxyType({size: _erase_s(size, typical, times["erase"]) for size in sizes}),
        erase_max_s=MappingProxyType({size: _erase_s(size, "max_s", times["erase"]) for size in sizes}),
        program_word_typical_s=times["program_word_typical_s" if known else "program_word_max_s"],
        program_word_max_s=times["program_word_max_s"],
        times_source=times["source" if known else "assumption"],
    )


def _sectors(*, first: int, count: int, size_bytes: int, address: int) -> tuple[Sector, ...]:
    return tuple(Sector(first + i, address + i * size_bytes, size_bytes) for i in range(count))


def _erase_s(size_bytes: int, column: str, rows: list[dict[str, float]]) -> float:
    for row in rows:
        if size_bytes <= row["size_bytes"]:
            return row[column]
    return rows[-1][column] * size_bytes / rows[-1]["size_bytes"]
