"""Flash memory that is stricter than the real part.

An erase sets every byte of one sector; a program command only clears bits, only in whole words, and only where every
byte is still erased. Each is one counted operation, and the power can be cut before, in the middle of, or after any of
them. The bytes live in whatever buffer is given (a mapped file, so that they outlive a killed process, or plain memory)
and are changed there at once.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.twin.faults import CutMoment, FaultPlan, MemoryKind, OperationCount, PowerCutError

if TYPE_CHECKING:
    import mmap
    from collections.abc import Iterable

    from rotorwright.firmware.mcu import Microcontroller, Sector

ERASED_BYTE = 0xFF
WORD_BYTES = 4  # the width of one program step at 2.7 V to 3.6 V, and what AN3155 asks of a write command
_ERASED_PAGE = bytes([ERASED_BYTE]) * 4096


@dataclass(frozen=True, slots=True)
class EraseSector:
    """Set every byte of one sector."""

    number: int


@dataclass(frozen=True, slots=True)
class ProgramBytes:
    """Write bytes from one program command; its words are programmed one after the other."""

    address: int
    data: bytes


FlashOperation: TypeAlias = EraseSector | ProgramBytes


@dataclass(frozen=True, slots=True)
class Refusal:
    """An operation that was not done, and why."""

    operation: FlashOperation
    reason: str


class FlashMemory:
    """The flash of one microcontroller, in a buffer that starts at its first flash address.

    Args:
        mcu: gives the sectors and times.
        memory: `size_for(mcu)` bytes; changed in place.

    Raises:
        ValueError: the buffer has another size.
    """

    def __init__(self, mcu: Microcontroller, memory: bytearray | mmap.mmap) -> None:
        self._mcu = mcu
        self._start = mcu.flash_start
        self._memory = memoryview(memory)
        if len(self._memory) != size_for(mcu):
            raise ValueError(f"{len(self._memory)} bytes given, {size_for(mcu)} needed")
        self._sectors = {sector.number: sector for sector in mcu.sectors}
        self._protected: frozenset[int] = frozenset()
        self._option_protected: frozenset[int] = frozenset()
        self._plan = FaultPlan()
        self._count = OperationCount(MemoryKind.FLASH)
        self.touched_sectors: set[int] = set()
        self.refusals: list[Refusal] = []

    @property
    def mcu(self) -> Microcontroller:
        """The microcontroller this is the flash of."""
        return self._mcu

    @property
    def operations(self) -> int:
        """How many operations were done (or cut) since the plan was armed."""
        return self._count.count

    @property
    def cut_happened(self) -> bool:
        """Whether the power cut of the plan came here."""
        return self._count.cut_happened

    def close(self) -> None:
        """Let go of the buffer."""
        self._memory.release()

    def arm(self, plan: FaultPlan) -> None:
        """Take `plan` as what shall go wrong from here, and count operations from zero again."""
        self._plan = plan
        self._protected = self._option_protected | frozenset(plan.protected_sectors)
        self._count.arm(plan)
        self.touched_sectors.clear()
        self.refusals.clear()

    def protect(self, sectors: Iterable[int]) -> None:
        """Write-protect exactly these sectors, besides those of the fault plan."""
        self._option_protected = frozenset(sectors)
        self._protected = self._option_protected | frozenset(self._plan.protected_sectors)

    def contents(self) -> bytes:
        """Return a copy of everything, from the first flash address to the last."""
        return bytes(self._memory)

    def has_sector(self, number: int) -> bool:
        """Whether the part has a sector of this number."""
        return number in self._sectors

    def sector_numbers(self) -> tuple[int, ...]:
        """Return the numbers of all sectors, by address."""
        return tuple(self._sectors)

    def is_flash(self, address: int, length: int = 1) -> bool:
        """Whether all `length` bytes from `address` on are flash; a hole between banks is not."""
        end = address + length
        sector = self._mcu.sector_at(address)
        while sector is not None and sector.end < end:
            sector = self._mcu.sector_at(sector.end)
        return sector is not None

    def read(self, address: int, length: int) -> bytes:
        """Return `length` bytes from `address`, which must be flash."""
        offset = address - self._start
        return bytes(self._memory[offset : offset + length])

    def duration_s(self, operation: FlashOperation) -> float:
        """Return how long the part is typically busy with `operation`, in s. Source: the microcontroller table."""
        match operation:
            case EraseSector(number):
                return self._mcu.erase_typical_s[self._sectors[number].size_bytes]
            case ProgramBytes(_, data):
                return -(-len(data) // WORD_BYTES) * self._mcu.program_word_typical_s

    def perform(self, operation: FlashOperation) -> bool:
        """Do one operation and return whether it was accepted; a refused one changes nothing and is not counted.

        A write-protected sector accepts everything and changes nothing, as the part's bootloader does (AN3155, notes
        to the write and erase commands; from memory, unconfirmed).

        Raises:
            PowerCutError: the plan cut the power here.
        """
        if reason := self._refusal(operation):
            self.refusals.append(Refusal(operation, reason))
            return False
        if self._is_protected(operation):
            self.refusals.append(Refusal(operation, "write-protected sector"))
            return True
        if moment := self._count.next_operation():
            self._cut(operation, moment)
        self._do(operation)
        return True

    def tear(self, operation: FlashOperation) -> None:
        """Leave `operation` half done, as when the power goes in its middle; nothing if it would be refused.

        Of an erase, the first half of the sector is erased and a byte here and there of the rest is spoilt. Of a
        program command, the first half of the words is in, and the word after it has some of its bits.
        """
        if self._refusal(operation) or self._is_protected(operation):
            return
        dice = random.Random(f"{self._plan.seed} {operation}")
        match operation:
            case EraseSector(number):
                self._tear_erase(self._sectors[number], dice)
            case ProgramBytes(address, data):
                self._tear_program(address, data, dice)

    def _cut(self, operation: FlashOperation, moment: CutMoment) -> None:
        match moment:
            case CutMoment.TORN:
                self.tear(operation)
            case CutMoment.AFTER:
                self._do(operation)
        raise PowerCutError(f"{moment} flash operation {self.operations}")

    def _do(self, operation: FlashOperation) -> None:
        if isinstance(operation, ProgramBytes):
            offset = operation.address - self._start
            self._memory[offset : offset + len(operation.data)] = operation.data  # was checked: all erased
            self._touch(operation.address, len(operation.data))
        else:
            sector = self._sectors[operation.number]
            self._set_erased(sector.address, sector.size_bytes)
            self.touched_sectors.add(sector.number)

    def _refusal(self, operation: FlashOperation) -> str:
        if isinstance(operation, EraseSector):
            return "" if operation.number in self._sectors else "no such sector"
        address, data = operation.address, operation.data
        if address % WORD_BYTES or len(data) % WORD_BYTES:
            return "not in whole words"
        if not data or not self.is_flash(address, len(data)):
            return "no flash there"
        return "" if self._is_erased(address, len(data)) else "not erased"

    def _is_erased(self, address: int, length: int) -> bool:
        if length > len(_ERASED_PAGE):
            return self.read(address, length).count(ERASED_BYTE) == length
        return self.read(address, length) == _ERASED_PAGE[:length]

    def _is_protected(self, operation: FlashOperation) -> bool:
        if not self._protected:
            return False
        if isinstance(operation, EraseSector):
            return operation.number in self._protected
        return not self._protected.isdisjoint(self._sectors_of(operation.address, len(operation.data)))

    def _sectors_of(self, address: int, length: int) -> list[int]:
        end = address + length
        return [sector.number for sector in self._mcu.sectors if sector.address < end and address < sector.end]

    def _touch(self, address: int, length: int) -> None:
        first = self._mcu.sector_at(address)
        if first is not None and address + length <= first.end:
            self.touched_sectors.add(first.number)
        else:
            self.touched_sectors.update(self._sectors_of(address, length))

    def _set_erased(self, address: int, length: int) -> None:
        offset = address - self._start
        self._memory[offset : offset + length] = bytes([ERASED_BYTE]) * length

    def _tear_erase(self, sector: Sector, dice: random.Random) -> None:
        half = sector.size_bytes // 2
        self._set_erased(sector.address, half)
        rest = sector.address - self._start + half
        for _ in range(max(8, half // 512)):
            self._memory[rest + dice.randrange(half)] = dice.randrange(256)
        self.touched_sectors.add(sector.number)

    def _tear_program(self, address: int, data: bytes, dice: random.Random) -> None:
        offset = address - self._start
        half = len(data) // 2 // WORD_BYTES * WORD_BYTES
        self._memory[offset : offset + half] = data[:half]
        for place in range(half, half + WORD_BYTES):
            self._memory[offset + place] = data[place] | dice.randrange(256)
        self._touch(address, len(data))


def size_for(mcu: Microcontroller) -> int:
    """Return how many bytes a buffer for the flash of `mcu` needs; holes between banks count."""
    return mcu.flash_end - mcu.flash_start


def erased_flash(mcu: Microcontroller) -> bytearray:
    """Return a buffer with everything erased, as the part leaves the factory."""
    return bytearray([ERASED_BYTE]) * size_for(mcu)
