"""What writing an image needs of a bootloader, whatever the wire: the ROM bootloader on the UART, or on USB."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rotorwright.firmware.mcu import Sector


class FlashLoader(Protocol):
    """A bootloader that is ready for commands, and after each of them again.

    Any method may raise a LinkError when the cable is pulled or nothing answers, a ProtocolError when something is
    refused however often it is asked, and ReadoutProtectedError when the part is locked.
    """

    @property
    def block_bytes(self) -> int:
        """Most bytes that one read or write moves; a multiple of `write_granularity`."""
        ...

    @property
    def can_read(self) -> bool:
        """Whether memory can be read back at all. Without it nothing that was written is proved."""
        ...

    @property
    def write_granularity(self) -> int:
        """Writes start at a multiple of this many bytes; a last piece that is not full is filled with erased bytes."""
        ...

    def chip_id(self) -> int | None:
        """Return the product id of the microcontroller; None where the protocol does not tell it."""
        ...

    def read_unique_id(self, address: int) -> str | None:
        """Return the 96-bit unique id at `address` as 24 hexadecimal digits; None where it is not given out."""
        ...

    def read(self, address: int, length: int, progress: Callable[[int, int], None] | None = None) -> bytes:
        """Return `length` bytes of memory from `address` on; `progress` gets bytes done and bytes in all."""
        ...

    def read_block(self, address: int, length: int) -> bytes:
        """Return 1 to `block_bytes` bytes of memory from `address` on."""
        ...

    def checksum(self, address: int, length: int) -> int | None:
        """Return the CRC-32/MPEG-2 over whole words of memory; None where the bootloader has no such command."""
        ...

    def write(self, address: int, data: bytes, progress: Callable[[int, int], None] | None = None) -> None:
        """Write `data` to erased flash from `address` on."""
        ...

    def write_block(self, address: int, data: bytes) -> None:
        """Write 1 to `block_bytes` bytes to erased flash.

        Raises:
            BlockTornError: it was written in part; its sector must be erased.
        """
        ...

    def erase_sectors(self, sectors: Sequence[Sector], *, timeout_s: float | None = None) -> None:
        """Erase these sectors, and no others; `timeout_s` None waits as long as any part we know may take."""
        ...

    def go(self, address: int) -> None:
        """Start the application whose vector table stands at `address`; whether it runs, only itself can say."""
        ...
