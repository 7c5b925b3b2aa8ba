"""The character memory of the display chip: 256 characters of 64 bytes, stored one whole character at a time.

The chip is fed by the main battery. Without it the controller's writes go nowhere, and nothing tells: they are accepted
and forgotten, as such chips do (common practice, no source).

Source of the sizes: Maxim 19-0576, character memory section: 256 rows of 64 bytes, 54 of them used; a character goes
to a shadow memory first and is stored by one command.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Protocol

    class DisplayMemory(Protocol):
        """Where the chip keeps its characters for good; the hardware side implements it."""

        def read(self) -> bytes:
            """Return all of the memory, `DISPLAY_MEMORY_BYTES` long."""
            ...

        def write(self, offset: int, data: bytes) -> None:
            """Store one character of `CHARACTER_BYTES` at byte `offset`. A power cut may come before, in or after."""
            ...


CHARACTERS = 256
CHARACTER_BYTES = 64
DISPLAY_MEMORY_BYTES = CHARACTERS * CHARACTER_BYTES
_WHOLE = (1 << CHARACTER_BYTES) - 1


class DisplayChip:
    """The display chip as the controller sees it, in the form of a file for MAVLink FTP.

    Args:
        memory: what lasts.
        is_powered: asked at each store.
    """

    def __init__(self, memory: DisplayMemory, is_powered: Callable[[], bool]) -> None:
        self._memory = memory
        self._is_powered = is_powered
        self._shadows: dict[int, _Shadow] = {}

    @property
    def size_bytes(self) -> int:
        """Size of the character memory."""
        return DISPLAY_MEMORY_BYTES

    @property
    def is_writable(self) -> bool:
        """Always: whether a write has an effect is another question."""
        return True

    def read(self, offset: int, length: int) -> bytes:
        """Return stored bytes, fewer at the end. What waits for the rest of its character is not among them."""
        return self.content[offset : offset + length]

    @property
    def content(self) -> bytes:
        """All that is stored."""
        return self._memory.read().ljust(DISPLAY_MEMORY_BYTES, b"\x55")[:DISPLAY_MEMORY_BYTES]

    def write(self, offset: int, data: bytes) -> None:
        """Take bytes in any order and portion; each character is stored as soon as all 64 of its bytes have come."""
        for position, byte in enumerate(data, offset):
            number, index = divmod(position, CHARACTER_BYTES)
            shadow = self._shadows.setdefault(number, _Shadow())
            if shadow.put(index, byte):
                del self._shadows[number]
                self._store(number, shadow)

    def close(self) -> None:
        """Drop the characters of which only a part has come."""
        self._shadows.clear()

    def _store(self, number: int, shadow: _Shadow) -> None:
        if self._is_powered():
            self._memory.write(number * CHARACTER_BYTES, bytes(shadow.data))


class _Shadow:
    """A character on its way: its bytes, and a bit for each that has come."""

    __slots__ = ("came", "data")

    def __init__(self) -> None:
        self.data = bytearray(CHARACTER_BYTES)
        self.came = 0

    def put(self, index: int, byte: int) -> bool:
        """Take one byte; answer whether the character is whole now."""
        self.data[index] = byte
        self.came |= 1 << index
        return self.came == _WHOLE
