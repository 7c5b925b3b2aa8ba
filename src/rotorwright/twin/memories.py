"""Every memory of the microcontroller that its ROM bootloader may reach: flash, RAM, and the page with its identity."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.firmware.mcu import MemoryRegion, Microcontroller
    from rotorwright.twin.flash import FlashMemory

# The identity can be read as a whole 256-byte page: an independent client (stm32loader 0.7.1) reads it so, because
# parts of this family refuse to give its bytes alone.
_PAGE_BYTES = 0x100


class Memories:
    """Flash, RAM and identity behind one address space.

    Args:
        flash: the flash memory.
        unique_id: 12 bytes, in the order as read.
    """

    def __init__(self, flash: FlashMemory, unique_id: bytes) -> None:
        self._flash = flash
        self._mcu = flash.mcu
        self._ram: dict[str, bytearray] = {}
        self._pages = _identity_pages(self._mcu, unique_id)

    def lose_ram(self) -> None:
        """Forget everything in RAM, as when the power goes."""
        self._ram.clear()

    def is_flash(self, address: int) -> bool:
        """Whether there is flash at `address`."""
        return self._flash.is_flash(address)

    def is_ram(self, address: int) -> bool:
        """Whether there is RAM at `address`."""
        return self._region(address, 1) is not None

    def is_readable(self, address: int) -> bool:
        """Whether anything can be read at `address`."""
        return self.is_flash(address) or self.is_ram(address) or address - address % _PAGE_BYTES in self._pages

    def read(self, address: int, length: int) -> bytes | None:
        """Return `length` bytes from `address` on; None if some of them are nowhere."""
        if self._flash.is_flash(address, length):
            return self._flash.read(address, length)
        if region := self._region(address, length):
            offset = address - region.address
            return bytes(self._ram_of(region)[offset : offset + length])
        offset = address % _PAGE_BYTES
        page = self._pages.get(address - offset)
        return page[offset : offset + length] if page and offset + length <= _PAGE_BYTES else None

    def write_ram(self, address: int, data: bytes) -> bool:
        """Write into RAM and return whether all of it was RAM."""
        region = self._region(address, len(data))
        if region is None:
            return False
        offset = address - region.address
        self._ram_of(region)[offset : offset + len(data)] = data
        return True

    def _region(self, address: int, length: int) -> MemoryRegion | None:
        for region in self._mcu.ram:
            if region.address <= address and address + length <= region.end:
                return region
        return None

    def _ram_of(self, region: MemoryRegion) -> bytearray:
        return self._ram.setdefault(region.name, bytearray(region.size_bytes))


def _identity_pages(mcu: Microcontroller, unique_id: bytes) -> dict[int, bytes]:
    pages: dict[int, bytearray] = {}
    flash_kib = (mcu.flash_size_bytes // 1024).to_bytes(2, "little")
    for address, fact in ((mcu.unique_id_address, unique_id), (mcu.flash_size_address, flash_kib)):
        offset = address % _PAGE_BYTES
        page = pages.setdefault(address - offset, bytearray(b"\xff" * _PAGE_BYTES))
        page[offset : offset + len(fact)] = fact
    return {start: bytes(page) for start, page in pages.items()}
