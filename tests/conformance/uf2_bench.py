"""A board with a UF2 drive on the bench: the twin's folder, a clock that lets it look, and files that go with it."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from tests.virtual_bench import DrivesFiles

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.links.uf2_drive.finding import Uf2Drive, drive_at
from rotorwright.links.uf2_drive.writing import Uf2WriteReport, write_to_drive
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.flash import FlashMemory, erased_flash
from rotorwright.twin.uf2_folder import Uf2Folder

if TYPE_CHECKING:
    from collections.abc import Callable, Collection
    from pathlib import Path

    from rotorwright.links.uf2_drive.files import SystemFiles

PART = microcontroller("STM32F405xG")
FAMILY = 0x57755A57
OTHER_FAMILY = 0x53B80F00
START = PART.flash_start


def an_image(seed: int = 1, length: int = 40_000) -> Image:
    """Return an image over three sectors."""
    return Image.of([(START, random.Random(seed).randbytes(length))])


def uf2(image: Image, family: int | None = FAMILY) -> bytes:
    """Return `image` as the bytes of a UF2 file."""
    return write_uf2(image, family=family).data


class LookingClock(VirtualClock):
    """A clock that lets the twin look at its folder whenever somebody waits."""

    __slots__ = ("_board",)

    def __init__(self, board: Uf2Folder) -> None:
        super().__init__()
        self._board = board

    def sleep_s(self, seconds: float) -> None:
        super().sleep_s(seconds)
        self._board.poll()


class Uf2Bench:
    """One board whose flash outlives everything else."""

    def __init__(
        self,
        folder: Path,
        *,
        starts: Callable[[bytes], bool] = lambda _flash: True,
        shows_flash: bool = False,
        family_line: str = "",
    ) -> None:
        self.folder = folder / "drive"
        self.memory = erased_flash(PART)
        self.flash = FlashMemory(PART, self.memory)
        self.board = Uf2Folder(
            self.folder,
            self.flash,
            family=FAMILY,
            starts=starts,
            shows_flash=shows_flash,
            family_line=family_line,
        )
        self.board.plug_in()

    @property
    def drive(self) -> Uf2Drive:
        """The drive as it is found now."""
        found = drive_at(self.folder)
        assert found is not None
        return found

    def write(
        self,
        data: bytes,
        *,
        files: SystemFiles | None = None,
        families: Collection[int] | None = None,
        look: Callable[[], tuple[Uf2Drive, ...]] = tuple,
    ) -> Uf2WriteReport:
        """Write `data`; the board takes the blocks while they come."""
        return write_to_drive(
            self.drive,
            data,
            LookingClock(self.board),
            families=families,
            files=DrivesFiles() if files is None else files,
            look=look,
            progress=lambda _done, _total: self.board.poll(),
        )

    def holds(self, image: Image) -> bool:
        """Answer whether the flash has every byte of `image`."""
        return all(self.flash.read(segment.address, len(segment.data)) == segment.data for segment in image.segments)
