"""A bootloader as the job sees it, whatever the wire: what it can tell of the board, keep, write and start.

What a bootloader cannot show is said in words (`Written.unproved`), never taken for granted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from rotorwright.changeover.errors import SectorsDifferError
from rotorwright.changeover.ways import WriteWay
from rotorwright.errors import ProtocolError
from rotorwright.firmware.mcu import PartHasNoSuchFactError
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.links.rom_uart.flash_writer import read_region, require_inside, write_sectors
from rotorwright.links.uf2_drive.writing import current_image, write_to_drive

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller, Sector
    from rotorwright.links.loader import FlashLoader
    from rotorwright.links.uf2_drive.files import DriveFiles
    from rotorwright.links.uf2_drive.finding import Uf2Drive
    from rotorwright.links.wire import Clock

    Progress = Callable[[int, int], None]

_WORD_BYTES = 4


@dataclass(frozen=True, slots=True)
class Written:
    """What a write did: image bytes found right, sectors written now, and what that leaves unproved.

    Of the bytes, `bytes_by_checksum` were not read: the bootloader's own checksum over them is right.
    """

    bytes_verified: int
    sectors: tuple[int, ...]
    unproved: tuple[str, ...] = ()
    bytes_by_checksum: int = 0


class Bootloader(Protocol):
    """A bootloader that is ready for commands.

    Any method may raise a LinkError when the cable is pulled or nothing answers, and a ProtocolError when something is
    refused.
    """

    @property
    def way(self) -> WriteWay:
        """By which way it is spoken to."""
        ...

    @property
    def words(self) -> str:
        """What it calls itself, for the record."""
        ...

    @property
    def starts_by_itself(self) -> bool:
        """Whether it starts what it was given, so that it is there again only if it did not get the whole."""
        ...

    def chip_id(self) -> int | None:
        """Return the product id of the microcontroller; None where it does not tell."""
        ...

    def unique_id(self, part: Microcontroller) -> str | None:
        """Return the unique id as 24 hexadecimal digits; None where it does not tell."""
        ...

    def flash_kib(self, part: Microcontroller) -> int | None:
        """Return how much flash the microcontroller says it has, in KiB; None where it does not tell."""
        ...

    def require_sectors(self, sectors: Sequence[Sector]) -> None:
        """Return if its own account of the flash has these sectors, or if it has none.

        Raises:
            SectorsDifferError: it has other ones.
        """
        ...

    def keep(self, sectors: Sequence[Sector], progress: Progress) -> bytes | None:
        """Return what stands in `sectors`, one after the other; None where it gives nothing out."""
        ...

    def write(
        self,
        image: Image,
        sectors: Sequence[Sector],
        *,
        part: Microcontroller,
        before_erase: Callable[[Sector], None],
        progress: Progress,
    ) -> Written:
        """Make `sectors` hold `image`; each sector is told to `before_erase` before it is erased."""
        ...

    def start(self, address: int) -> None:
        """Start what stands at `address`; whether it runs, only itself can say."""
        ...


@dataclass(frozen=True, slots=True)
class FlashBootloader:
    """A bootloader that takes commands on the flash: on the UART, or on USB.

    Args:
        layout: the sectors that it says it has, None where it says nothing.
        unproved: takes the unique id that was read and says what this way leaves unproved.
    """

    flash: FlashLoader
    way: WriteWay
    words: str
    unproved: Callable[[str | None], tuple[str, ...]]
    layout: tuple[Sector, ...] | None = None
    starts_by_itself: bool = False

    def chip_id(self) -> int | None:
        """Return the product id of the microcontroller; None where it does not tell."""
        return self.flash.chip_id()

    def unique_id(self, part: Microcontroller) -> str | None:
        """Return the unique id; None where the part has none, or this way does not give it."""
        try:
            address = part.unique_id_address
        except PartHasNoSuchFactError:
            return None
        return self.flash.read_unique_id(address)

    def flash_kib(self, part: Microcontroller) -> int | None:
        """Return the size that stands in the microcontroller; None where it is not given out."""
        try:
            address = part.flash_size_address
        except PartHasNoSuchFactError:
            return None
        if not self.flash.can_read:
            return None
        start = address // _WORD_BYTES * _WORD_BYTES
        try:
            word = self.flash.read(start, _WORD_BYTES)
        except ProtocolError:
            return None  # more evidence, not a need: a bootloader that keeps this page to itself is written as well
        return int.from_bytes(word[address - start :][:2], "little")

    def require_sectors(self, sectors: Sequence[Sector]) -> None:
        """Return if each sector is, with its address and size, one that the bootloader says it has."""
        if self.layout is None:
            return
        known = {(one.address, one.size_bytes) for one in self.layout}
        for sector in sectors:
            if (sector.address, sector.size_bytes) not in known:
                raise SectorsDifferError.of(sector.number, sector.address, sector.size_bytes, self.words)

    def keep(self, sectors: Sequence[Sector], progress: Progress) -> bytes | None:
        """Return what stands in `sectors`, each block read twice: no wire here has a checksum over what is read."""
        if not self.flash.can_read:
            return None
        total, kept = sum(sector.size_bytes for sector in sectors), b""
        for sector in sectors:
            told = _counted_from(len(kept), total, progress)
            kept += read_region(self.flash, sector.address, sector.size_bytes, twice=True, progress=told)
        return kept

    def write(
        self,
        image: Image,
        sectors: Sequence[Sector],
        *,
        part: Microcontroller,
        before_erase: Callable[[Sector], None],
        progress: Progress,
    ) -> Written:
        """Write the sectors that differ, and read all of them back where that can be done."""
        unproved = self.unproved(self.unique_id(part))
        report = write_sectors(self.flash, image, sectors, mcu=part, before_erase=before_erase, progress=progress)
        return Written(report.bytes_verified, report.written, unproved, report.bytes_by_checksum)

    def start(self, address: int) -> None:
        """Start what stands at `address`."""
        self.flash.go(address)


def _counted_from(before: int, total: int, progress: Progress) -> Progress:
    """Return a progress for one piece of a work of `total`, of which `before` is done."""
    return lambda done, _piece: progress(before + done, total)


@dataclass(frozen=True, slots=True)
class DriveBootloader:
    """A bootloader that shows itself as a drive: it takes a whole file and then starts it by itself."""

    drive: Uf2Drive
    clock: Clock
    look: Callable[[], tuple[Uf2Drive, ...]]
    files: DriveFiles | None = None
    way: WriteWay = WriteWay.DRIVE
    starts_by_itself: bool = True

    @property
    def words(self) -> str:
        """What its info file says."""
        return self.drive.info.words

    def chip_id(self) -> None:
        """Return None: a drive tells no id."""

    def unique_id(self, _part: Microcontroller) -> None:
        """Return None: a drive tells no id."""

    def flash_kib(self, _part: Microcontroller) -> None:
        """Return None: a drive does not tell how much flash is behind it."""

    def require_sectors(self, _sectors: Sequence[Sector]) -> None:
        """Return: a drive knows blocks, not sectors."""

    def keep(self, sectors: Sequence[Sector], progress: Progress) -> bytes | None:
        """Return what the drive shows as its present content, if it shows all of these sectors."""
        shown = current_image(self.drive)
        if shown is None or not all(shown.covers(one.address, one.size_bytes) for one in sectors):
            return None
        total = sum(one.size_bytes for one in sectors)
        progress(total, total)
        return b"".join(shown.read(one.address, one.size_bytes) for one in sectors)

    def write(
        self,
        image: Image,
        sectors: Sequence[Sector],
        *,
        part: Microcontroller,
        before_erase: Callable[[Sector], None],
        progress: Progress,
    ) -> Written:
        """Write the image as a UF2 file; the bootloader erases what its blocks touch, and no more.

        Raises:
            ImageOutsidePlanError: the image has bytes in no sector of the plan. Nothing was written.
        """
        require_inside(image, sectors)
        for sector in sectors:
            before_erase(sector)
        families = {one.id for one in part.uf2_families}
        said = self.drive.info.family_id
        family = said if said in families else next((one.id for one in part.uf2_families), None)
        report = write_to_drive(
            self.drive,
            write_uf2(image, family=family).data,
            self.clock,
            families=families or None,
            files=self.files,
            look=self.look,
            progress=progress,
        )
        return Written(0, tuple(one.number for one in sectors), report.unproved)

    def start(self, _address: int) -> None:
        """Return: it starts by itself what it was given."""
