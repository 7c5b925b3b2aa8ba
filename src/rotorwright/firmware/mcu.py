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


class PartHasNoSuchFactError(ImageError):
    """A fact was asked for that this kind of microcontroller does not have, such as an id of a loader it lacks."""

    id = "image.no-such-fact"


class ImageOutsideFlashError(ImageError):
    """An image has bytes where the microcontroller has no flash."""

    id = "image.outside-flash"


@dataclass(frozen=True, slots=True)
class Sector:
    """The smallest piece of flash that can be erased. In one bank it may be read while another is written."""

    number: int
    address: int
    size_bytes: int
    bank: int = 1

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
class FlashLayout:
    """The sectors that the same flash has under another setting of its option bytes."""

    name: str
    sectors: tuple[Sector, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Uf2Family:
    """A number by which UF2 files say for which microcontrollers they are."""

    name: str
    id: int
    source: str


@dataclass(frozen=True, slots=True)
class OwnLoader:
    """The bootloader that the maker put into the part.

    `wires` are of `uart`, `usb-dfu` and `uf2-drive`; `boot_id` is what it answers to "get id", None where it has no
    such command. `rom` is where it lives, `usb` its vendor and product, None where that is not known here.
    """

    wires: tuple[str, ...]
    boot_id: int | None
    rom: MemoryRegion | None
    usb: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class FlashTimes:
    """Times of a flash memory in seconds: of erasing one sector by its size in bytes, of programming one 32-bit word.

    `erase_source` has where each of them comes from. The longest times are safe to wait for: where one is from memory
    only, the longest known time of any part stands for it if that is longer.
    """

    erase_typical_s: Mapping[int, float]
    erase_max_s: Mapping[int, float]
    erase_source: Mapping[int, str]
    program_word_typical_s: float
    program_word_max_s: float
    program_source: str


@dataclass(frozen=True, slots=True)
class Microcontroller:
    """One microcontroller part; `x` in its name stands for any package.

    Sectors are sorted by address, and there may be holes between them. `has_external_flash` says that the sectors are
    those of a chip beside the part, as far as the part can reach: how much of it there is, the part does not know.
    `vectors_are_confirmed` is false where the place of the vector table is known from memory only. `clock_page` is the
    4 KiB page of the reset-and-clock controller, None where the boot probe knows nothing of it.
    """

    name: str
    family: str
    core: str
    loader: OwnLoader
    sectors: tuple[Sector, ...]
    other_layouts: tuple[FlashLayout, ...]
    ram: tuple[MemoryRegion, ...]
    vectors_address: int
    vectors_are_confirmed: bool
    has_external_flash: bool
    clock_page: int | None
    uf2_families: tuple[Uf2Family, ...]
    times: FlashTimes = field(hash=False)
    sources: Mapping[str, str] = field(hash=False)
    _unique_id_address: int | None
    _flash_size_address: int | None

    @property
    def boot_id(self) -> int:
        """What the ROM bootloader answers to "get id".

        Raises:
            PartHasNoSuchFactError: its bootloader has no such command.
        """
        return self._fact(self.loader.boot_id, "bootloader that answers an id")

    @property
    def unique_id_address(self) -> int:
        """Address of the 96-bit unique id.

        Raises:
            PartHasNoSuchFactError: the part has none in its memory.
        """
        return self._fact(self._unique_id_address, "unique id in its memory")

    @property
    def flash_size_address(self) -> int:
        """Address of the 16-bit flash size in KiB.

        Raises:
            PartHasNoSuchFactError: the part has none in its memory.
        """
        return self._fact(self._flash_size_address, "flash size in its memory")

    def _fact(self, fact: int | None, words: str) -> int:
        if fact is not None:
            return fact
        raise PartHasNoSuchFactError(
            f"The {self.name} has no {words}.",
            why=f"Its bootloader takes images by {' and '.join(self.loader.wires)} only.",
            todo="Write this board by a way that its bootloader has.",
            microcontroller=self.name,
        )

    @property
    def erase_typical_s(self) -> Mapping[int, float]:
        """Typical time to erase one sector, by its size in bytes."""
        return self.times.erase_typical_s

    @property
    def erase_max_s(self) -> Mapping[int, float]:
        """Longest time to erase one sector, by its size in bytes."""
        return self.times.erase_max_s

    @property
    def program_word_typical_s(self) -> float:
        """Typical time to program 32 bits."""
        return self.times.program_word_typical_s

    @property
    def program_word_max_s(self) -> float:
        """Longest time to program 32 bits."""
        return self.times.program_word_max_s

    @property
    def banks(self) -> tuple[int, ...]:
        """Numbers of the flash banks."""
        return tuple(dict.fromkeys(sector.bank for sector in self.sectors))

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
    return tuple(mcu for mcu in microcontrollers() if mcu.loader.boot_id == boot_id)


def microcontrollers_by_uf2_family(family_id: int) -> tuple[Microcontroller, ...]:
    """Return those that a UF2 file with this family number may be for."""
    return tuple(mcu for mcu in microcontrollers() if any(one.id == family_id for one in mcu.uf2_families))


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
    sectors = _layout(entry["sectors"])
    others = tuple(
        FlashLayout(one["name"], _layout(one["sectors"]), one["source"]) for one in _many(entry, "other_layouts")
    )
    sizes = sorted({sector.size_bytes for layout in (sectors, *(one.sectors for one in others)) for sector in layout})
    return Microcontroller(
        name=entry["name"],
        family=entry["family"],
        core=entry["core"],
        loader=_loader(entry),
        sectors=sectors,
        other_layouts=others,
        ram=tuple(MemoryRegion(**region) for region in entry["ram"]),
        vectors_address=entry.get("vectors_address", sectors[0].address),
        vectors_are_confirmed="vectors_address" not in entry,
        has_external_flash=entry.get("external_flash", False),
        clock_page=entry.get("clock_page"),
        uf2_families=tuple(Uf2Family(**family) for family in entry["uf2_families"]),
        times=_flash_times(sizes, times[entry.get("times", "assumed")], times["assumed"]),
        sources=MappingProxyType({key: text for key, text in entry.items() if key.endswith("_source")}),
        _unique_id_address=entry.get("unique_id_address"),
        _flash_size_address=entry.get("flash_size_address"),
    )


def _many(entry: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = entry.get(key, [])
    return found


def _loader(entry: Mapping[str, Any]) -> OwnLoader:
    rom, usb = entry.get("loader_rom"), entry.get("loader_usb")
    return OwnLoader(
        wires=tuple(entry["loader_wires"]),
        boot_id=entry.get("boot_id"),
        rom=MemoryRegion("bootloader", **rom) if rom else None,
        usb=(usb["vendor"], usb["product"]) if usb else None,
    )


def _layout(runs: list[dict[str, int]]) -> tuple[Sector, ...]:
    return tuple(sector for run in runs for sector in _sectors(**run))


def _sectors(*, bank: int, first: int, count: int, size_bytes: int, address: int) -> tuple[Sector, ...]:
    return tuple(Sector(first + i, address + i * size_bytes, size_bytes, bank) for i in range(count))


def _flash_times(sizes: list[int], known: Mapping[str, Any], assumed: Mapping[str, Any]) -> FlashTimes:
    rows = {size: _row(known["erase"], size) or _next_larger(assumed["erase"], size) for size in sizes}
    longest = {size: max(rows[size]["max_s"], _next_larger(assumed["erase"], size)["max_s"]) for size in sizes}
    return FlashTimes(
        erase_typical_s=MappingProxyType({size: row["typical_s"] for size, row in rows.items()}),
        erase_max_s=MappingProxyType(longest),
        erase_source=MappingProxyType({size: row["source"] for size, row in rows.items()}),
        program_word_typical_s=known["program_word_typical_s"],
        program_word_max_s=max(known["program_word_max_s"], assumed["program_word_max_s"]),
        program_source=known["program_source"],
    )


def _row(rows: list[dict[str, Any]], size_bytes: int) -> dict[str, Any] | None:
    return next((row for row in rows if row["size_bytes"] == size_bytes), None)


def _next_larger(rows: list[dict[str, Any]], size_bytes: int) -> dict[str, Any]:
    return next(row for row in rows if size_bytes <= row["size_bytes"])
