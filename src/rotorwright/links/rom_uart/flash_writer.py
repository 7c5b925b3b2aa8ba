"""Write an image sector by sector: only what differs, each sector read back, safe to stop anywhere.

The order makes an interrupted write harmless. The first sector, which holds the vector table, is erased before anything
else and written last, after every other sector was verified: until then the board finds no application to start.

To go on after an interruption is simply to write again. Sectors that are right are found right and left alone; a torn
one differs and is done again. Nothing about the interruption has to be remembered.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.links.rom_uart.codec import checksum_of
from rotorwright.links.rom_uart.errors import (
    BlockTornError,
    ImageDiffersError,
    ImageOutsidePlanError,
    ReadingsDifferError,
    SectorNotWrittenError,
    WriteCancelledError,
)
from rotorwright.links.rom_uart.spec import (
    DIFFERENCES,
    ERASE_MARGIN,
    ERASED,
    READ_TRIES,
    SECTOR_TRIES,
    WORD_BYTES,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller, Sector
    from rotorwright.links.loader import FlashLoader

    Progress = Callable[[int, int], None]
    """Takes bytes of work done and bytes of work in all."""


class SectorState(StrEnum):
    """How a sector stands against the image, over the bytes that the image has in it."""

    SAME = "same"
    DIFFERS = "differs"


@dataclass(frozen=True, slots=True)
class WriteReport:
    """What a write did: numbers of the sectors found right, and of those erased and written, by address.

    `bytes_written` counts image bytes sent, `bytes_verified` image bytes found right: 0 from a bootloader that gives
    nothing back, and then nothing is proved. Of these, `bytes_by_checksum` were left as they were because the
    bootloader's own checksum over their sector is right; all others were read back.
    """

    same: tuple[int, ...]
    written: tuple[int, ...]
    bytes_written: int
    bytes_verified: int
    bytes_by_checksum: int = 0


def read_region(
    loader: FlashLoader, address: int, length: int, *, progress: Progress | None = None, twice: bool = False
) -> bytes:
    """Return `length` bytes of flash from `address` on, to keep the old image before anything is erased.

    The protocol has no checksum over what is read. With `twice`, each block is read until two readings in a row are
    equal, which takes twice the time.

    Raises:
        ReadingsDifferError: a block reads differently every time.
    """
    work = _Work(length, progress, None)
    parts = []
    for at in range(address, address + length, loader.block_bytes):
        size = min(loader.block_bytes, address + length - at)
        parts.append(_read_alike(loader, at, size) if twice else loader.read_block(at, size))
        work.add(size)
    return b"".join(parts)


def _read_alike(loader: FlashLoader, address: int, size: int) -> bytes:
    last = loader.read_block(address, size)
    for _ in range(READ_TRIES.count):
        again = loader.read_block(address, size)
        if again == last:
            return again
        last = again
    raise ReadingsDifferError.at(address, tries=READ_TRIES.count + 1)


def compare_sectors(
    loader: FlashLoader, image: Image, sectors: Sequence[Sector], *, progress: Progress | None = None
) -> dict[int, SectorState]:
    """Return how each sector stands against `image`, by its number; nothing is changed.

    A sector is read only as far as its first difference.
    """
    work = _Work(sum(_image_bytes(image, sector) for sector in sectors), progress, None)
    return {sector.number: _compare(loader, image, sector, work) for sector in sectors}


def verify_sectors(
    loader: FlashLoader, image: Image, sectors: Sequence[Sector], *, progress: Progress | None = None
) -> int:
    """Read all bytes of `image` back and return how many; nothing is changed.

    Raises:
        ImageDiffersError: one differs, also when read a second time.
    """
    work = _Work(sum(_image_bytes(image, sector) for sector in sectors), progress, None)
    _verify_all(loader, image, sectors, work)
    return work.done


def write_sectors(
    loader: FlashLoader,
    image: Image,
    sectors: Sequence[Sector],
    *,
    mcu: Microcontroller | None = None,
    before_erase: Callable[[Sector], None] | None = None,
    progress: Progress | None = None,
    should_stop: Callable[[], bool] | None = None,
    known_erased: Collection[int] = (),
    verify_whole: bool | None = None,
) -> WriteReport:
    """Make `sectors` hold `image` and return what was done. Nothing outside `sectors` is erased or written.

    As soon as one sector differs, the first one is done again as well, so that no mixture of two images can start.

    Args:
        loader: a bootloader that is ready.
        image: what to write; all of its bytes are in `sectors`.
        sectors: the sectors of the plan, sorted by address.
        mcu: the part, for how long an erase may take; without it the longest time of any part is waited for.
        before_erase: is told each sector just before it is erased; if it raises, that sector is not erased.
        progress: takes bytes of work done and in all; reading back counts as work.
        should_stop: is asked before each block; True ends the write with WriteCancelledError.
        known_erased: numbers of sectors that the caller knows to be erased: they are not erased again.
        verify_whole: read the whole image back once more at the end, after each sector was verified when written; left
            out, it is done when at least half of the image was written: where little was, every byte was read once.

    Raises:
        ImageOutsidePlanError: the image has bytes in no sector of the plan. Nothing was sent.
        SectorNotWrittenError: a sector does not keep what is written, however often.
        ImageDiffersError: the last read-back found a difference.
        WriteCancelledError: `should_stop` said so.
    """
    require_inside(image, sectors)
    used = [sector for sector in sectors if _image_bytes(image, sector)]
    work = _Work(3 * image.size_bytes, progress, should_stop)  # compared or written, read back, read back as a whole
    writer = _Writer(loader, image, mcu, before_erase, work, set(known_erased))
    differing = writer.differing(used)
    if differing:
        writer.write_all(used[0], [sector for sector in differing if sector is not used[0]])
    if verify_whole is None:
        verify_whole = 2 * sum(_image_bytes(image, sector) for sector in differing) >= image.size_bytes
    if verify_whole:
        _verify_all(loader, image, used, work)
    work.finish()
    written = {sector.number for sector in differing} | ({used[0].number} if differing else set())
    return WriteReport(
        same=tuple(sector.number for sector in used if sector.number not in written),
        written=tuple(sector.number for sector in used if sector.number in written),
        bytes_written=sum(_image_bytes(image, sector) for sector in used if sector.number in written),
        bytes_verified=image.size_bytes if loader.can_read else 0,
        bytes_by_checksum=0 if verify_whole else writer.summed,
    )


class _Work:
    """Counts bytes of work, tells them, and stops when told to."""

    def __init__(self, total: int, progress: Progress | None, should_stop: Callable[[], bool] | None) -> None:
        self.done = 0
        self._total = total
        self._progress = progress
        self._should_stop = should_stop

    def add(self, count: int) -> None:
        """Count `count` bytes more; work done again after a failed try does not count twice."""
        self.done = min(self._total, self.done + count)
        if self._progress is not None:
            self._progress(self.done, self._total)

    def finish(self) -> None:
        """Count everything as done."""
        self.add(self._total)

    def stop_if_wanted(self) -> None:
        """Raise WriteCancelledError when the caller wants to stop."""
        if self._should_stop is not None and self._should_stop():
            raise WriteCancelledError.after(self.done, self._total)


@dataclass(slots=True)
class _Writer:
    loader: FlashLoader
    image: Image
    mcu: Microcontroller | None
    before_erase: Callable[[Sector], None] | None
    work: _Work
    erased: set[int]
    summed: int = 0

    def differing(self, sectors: Sequence[Sector]) -> list[Sector]:
        """Return the sectors that differ. Those found right are done: compared means read back."""
        return [sector for sector in sectors if not self._is_right(sector)]

    def _is_right(self, sector: Sector) -> bool:
        """Answer whether the sector holds the image, by the bootloader's checksum or by reading; count what is done."""
        size, before = _image_bytes(self.image, sector), self.work.done
        by_checksum = _is_right_by_checksum(self.loader, self.image, sector)
        if by_checksum is not None:
            self.work.add(2 * size if by_checksum else 0)
            self.summed += size if by_checksum else 0
            return by_checksum
        if _compare(self.loader, self.image, sector, self.work) is SectorState.DIFFERS:
            self.work.done = before
            return False
        self.work.add(size)
        return True

    def write_all(self, first: Sector, others: Sequence[Sector]) -> None:
        """Take the vector table away, write the others, put the vector table back."""
        self._erase(first)
        for sector in others:
            self._write_verified(sector)
        self._write_verified(first)

    def _write_verified(self, sector: Sector) -> None:
        wrong = sector.address
        for _ in range(SECTOR_TRIES.count):
            try:
                self._erase(sector)
                self._program(sector)
            except BlockTornError as torn:
                wrong = int(str(torn.facts["address"]))
            else:
                found = _compared(self.loader, self.image, sector, self.work)
                if found is None:
                    return
                wrong = found
            self.erased.discard(sector.number)
        raise SectorNotWrittenError.of(sector.number, wrong, tries=SECTOR_TRIES.count)

    def _erase(self, sector: Sector) -> None:
        if sector.number in self.erased:
            return
        self.work.stop_if_wanted()
        if self.before_erase is not None:
            self.before_erase(sector)
        timeout_s = None if self.mcu is None else self.mcu.erase_max_s[sector.size_bytes] * ERASE_MARGIN.value
        self.loader.erase_sectors([sector], timeout_s=timeout_s)
        self.erased.add(sector.number)

    def _program(self, sector: Sector) -> None:
        for address, data in _blocks(self.image, sector, self.loader.block_bytes):
            self.work.stop_if_wanted()
            if data.strip(bytes((ERASED,))):  # an erased sector reads so already
                self.loader.write_block(address, data)
            self.work.add(len(data))


def _verify_all(loader: FlashLoader, image: Image, sectors: Sequence[Sector], work: _Work) -> None:
    for sector in sectors:
        wrong = _compared(loader, image, sector, work)
        if wrong is not None:
            raise ImageDiffersError.at(wrong, sector=sector.number)


def _compare(loader: FlashLoader, image: Image, sector: Sector, work: _Work) -> SectorState:
    if not loader.can_read:
        return SectorState.DIFFERS
    return SectorState.SAME if _first_difference(loader, image, sector, work) is None else SectorState.DIFFERS


def _compared(loader: FlashLoader, image: Image, sector: Sector, work: _Work) -> int | None:
    """Return what `_first_difference` does; None also where a bootloader gives nothing back, so nothing is proved."""
    return _first_difference(loader, image, sector, work) if loader.can_read else None


def _is_right_by_checksum(loader: FlashLoader, image: Image, sector: Sector) -> bool | None:
    """Answer whether the sector holds the image by the bootloader's own checksum; None if it cannot tell.

    Where it is wrong to say that it differs, the sector is done once more, and that is all.
    """
    for address, data in _blocks(image, sector, sector.size_bytes):
        found = loader.checksum(address, len(data))
        if found is None or found != checksum_of(data):
            return None if found is None else False
    return True


def _first_difference(loader: FlashLoader, image: Image, sector: Sector, work: _Work) -> int | None:
    """Return the address of the first block of `sector` that differs from the image in several readings; None if none.

    No checksum guards what is read, so one bad reading says nothing; that a damaged one is right by chance cannot be.
    """
    for address, data in _blocks(image, sector, loader.block_bytes):
        work.stop_if_wanted()
        if all(loader.read_block(address, len(data)) != data for _ in range(DIFFERENCES.count)):
            return address
        work.add(len(data))
    return None


def _blocks(image: Image, sector: Sector, block_bytes: int) -> Iterator[tuple[int, bytes]]:
    """Return the blocks of at most `block_bytes` that the image has in `sector`, each on whole words.

    A word that the image fills only in part is filled with erased bytes: flash is written by words, each word once.
    """
    end = sector.address
    for segment in image.segments:
        low = max(end, segment.address // WORD_BYTES * WORD_BYTES)
        high = -(-min(segment.end, sector.end) // WORD_BYTES) * WORD_BYTES
        for address in range(low, high, block_bytes):
            yield address, image.read(address, min(block_bytes, high - address))
        end = max(end, high)


def _image_bytes(image: Image, sector: Sector) -> int:
    """Return how many bytes of the image are in `sector`."""
    return sum(
        max(0, min(segment.end, sector.end) - max(segment.address, sector.address)) for segment in image.segments
    )


def require_inside(image: Image, sectors: Sequence[Sector]) -> None:
    """Return if every byte of `image` is in a sector of the plan.

    Raises:
        ImageOutsidePlanError: one is not.
    """
    for segment in image.segments:
        address = segment.address
        while address < segment.end:
            holder = next((sector for sector in sectors if sector.address <= address < sector.end), None)
            if holder is None:
                raise ImageOutsidePlanError.at(address)
            address = holder.end
