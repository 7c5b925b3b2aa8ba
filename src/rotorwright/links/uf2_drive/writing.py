"""A UF2 file onto the drive of its bootloader, and what that does and does not prove.

The last block is held back until the drive has confirmed all others: a drive that goes away before that has surely not
got everything, and one that goes away with the last block does what the specification asks of it.
"""

from __future__ import annotations

import contextlib
import errno
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.errors import ImageError
from rotorwright.firmware.uf2 import read_uf2
from rotorwright.links.uf2_drive.codec import families_in
from rotorwright.links.uf2_drive.errors import (
    DriveCameBackError,
    DriveFullError,
    DriveMissingError,
    DriveReadOnlyError,
    DriveStayedError,
    DriveVanishedEarlyError,
    DriveWriteError,
    OtherDriveError,
    WrongFamilyError,
)
from rotorwright.links.uf2_drive.files import SystemFiles
from rotorwright.links.uf2_drive.finding import drive_at, find_drives
from rotorwright.links.uf2_drive.spec import (
    BLOCK_BYTES,
    CHUNK_BLOCKS,
    COME_BACK,
    CURRENT_FILE,
    LOOK,
    MOST_CURRENT_BYTES,
    VANISH,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from rotorwright.errors import RotorwrightError
    from rotorwright.firmware.image import Image
    from rotorwright.links.uf2_drive.files import DriveFiles, OpenFile
    from rotorwright.links.uf2_drive.finding import Uf2Drive
    from rotorwright.links.wire import Clock

FILE_NAME = "IMAGE.UF2"
"""Name of the file on the drive (own choice, short enough for every FAT); a bootloader looks at blocks only."""

NOT_READ_BACK = (
    "The flash cannot be read back from here: that the drive went away shows only that it had every block. "
    "The version that the aircraft answers has to be compared."
)
LAST_NOT_CONFIRMED = "The drive went away before the last block was confirmed, as most do."
FAMILY_UNNAMED = "The file names no family of microcontrollers, so the bootloader could not refuse a wrong one."
FAMILY_UNASKED = "The drive does not say which family it takes, so the file's could not be compared."

_FULL = {errno.ENOSPC, errno.EDQUOT}
_READ_ONLY = {errno.EROFS, errno.EACCES, errno.EPERM}


@dataclass(frozen=True, slots=True)
class Uf2WriteReport:
    """What was written, and what that leaves unproved; the caller compares the version afterwards.

    Args:
        blocks: how many blocks the file has.
        families: those that its blocks are for.
        vanished_after_s: seconds from the last block until the drive was seen gone.
        unproved: sentences, for the record and for the person. Never empty.
    """

    board_id: str
    bootloader: str
    blocks: int
    families: frozenset[int]
    vanished_after_s: float
    unproved: tuple[str, ...]


def write_to_drive(
    drive: Uf2Drive,
    data: bytes,
    clock: Clock,
    *,
    name: str = FILE_NAME,
    families: Collection[int] | None = None,
    files: DriveFiles | None = None,
    look: Callable[[], tuple[Uf2Drive, ...]] = find_drives,
    progress: Callable[[int, int], None] | None = None,
) -> Uf2WriteReport:
    """Write the UF2 file `data` to the drive, and wait until it has gone away and stayed away.

    Args:
        drive: as found; a drive of another board at the same place is refused.
        name: of the file as the person knows it, for messages.
        families: those that the microcontroller of the board takes, None if not known.
        look: how the drives of this computer are listed; one that comes back may have another place.
        progress: gets bytes done and bytes in all.

    Raises:
        ImageError: the file is no sound UF2 file, or for another family. Nothing was written.
        DriveMissingError, OtherDriveError, DriveFullError, DriveReadOnlyError: nothing was written.
        DriveVanishedEarlyError, DriveWriteError: the image is not complete.
        DriveStayedError, DriveCameBackError: the bootloader does not take the image, or does not start it.
    """
    read_uf2(data, name=name)
    said = _said_family(drive)
    found = families_in(data)
    _require_family(found, said=said, wanted=families)
    _require_same_drive(drive)
    files = SystemFiles() if files is None else files
    _require_room(drive, files, len(data))
    others = {other.folder for other in look()}
    is_confirmed = _Writing(drive, data, files, progress).write_all()
    vanished_after_s = _wait_until_gone(drive, clock)
    _require_staying_away(drive, clock, lambda: [one for one in look() if one.folder not in others])
    unproved = [NOT_READ_BACK]
    unproved += [] if is_confirmed else [LAST_NOT_CONFIRMED]
    unproved += [] if found else [FAMILY_UNNAMED]
    unproved += [FAMILY_UNASKED] if found and said is None else []
    info = drive.info
    return Uf2WriteReport(
        info.board_id, info.bootloader, len(data) // BLOCK_BYTES, found, vanished_after_s, tuple(unproved)
    )


def current_image(drive: Uf2Drive) -> Image | None:
    """Return what the drive shows as the present content of the flash; None if it shows nothing that can be read."""
    data = _current_file(drive)
    if data is None:
        return None
    try:
        return read_uf2(data, name=CURRENT_FILE).image
    except ImageError:
        return None


def first_difference(drive: Uf2Drive, image: Image) -> int | None:
    """Return the first address where the flash, as the drive shows it, differs from `image`; None if it is the same.

    For a drive that came back after the write. Ask `current_image` first whether this drive shows its flash at all.

    Raises:
        DriveMissingError: the drive is gone, or shows nothing.
    """
    current = current_image(drive)
    if current is None:
        raise DriveMissingError.at(str(drive.folder))
    for segment in image.segments:
        is_whole = current.covers(segment.address, len(segment.data))
        if is_whole and current.read(segment.address, len(segment.data)) == segment.data:
            continue
        for address, byte in enumerate(segment.data, segment.address):
            if not current.covers(address, 1) or current.read(address, 1)[0] != byte:
                return address
    return None


def _said_family(drive: Uf2Drive) -> int | None:
    """Return the family that the drive takes, by its info file or by what it shows as its present content."""
    if drive.info.family_id is not None:
        return drive.info.family_id
    current = families_in(_current_file(drive, BLOCK_BYTES) or b"")
    return next(iter(current)) if len(current) == 1 else None


def _current_file(drive: Uf2Drive, limit: int = MOST_CURRENT_BYTES) -> bytes | None:
    with contextlib.suppress(OSError):
        path = next((one for one in drive.folder.iterdir() if one.name.upper() == CURRENT_FILE), None)
        if path is not None:
            with path.open("rb") as file:
                return file.read(limit)
    return None


def _require_family(found: frozenset[int], *, said: int | None, wanted: Collection[int] | None) -> None:
    for family in found:
        if said is not None and family != said:
            raise WrongFamilyError.of(family, expected=frozenset({said}), said_by="the drive")
        if wanted is not None and family not in wanted:
            raise WrongFamilyError.of(family, expected=frozenset(wanted), said_by="the table of microcontrollers")


def _require_same_drive(drive: Uf2Drive) -> None:
    now = drive_at(drive.folder, device=drive.device)
    if now is None:
        raise DriveMissingError.at(str(drive.folder))
    if now.info.board_id != drive.info.board_id:
        raise OtherDriveError.at(str(drive.folder), expected=drive.info.board_id, found=now.info.board_id)


def _require_room(drive: Uf2Drive, files: DriveFiles, needed: int) -> None:
    try:
        free = files.free_bytes(drive.folder)
    except OSError as error:
        raise DriveMissingError.at(str(drive.folder)) from error
    if free < needed:
        raise DriveFullError.at(str(drive.folder), needed=needed, free=free)


def _is_there(drive: Uf2Drive) -> bool:
    return drive_at(drive.folder, device=drive.device) is not None


class _Writing:
    """One write of one file, with how far it has come."""

    def __init__(
        self, drive: Uf2Drive, data: bytes, files: DriveFiles, progress: Callable[[int, int], None] | None
    ) -> None:
        self._drive = drive
        self._data = data
        self._files = files
        self._progress = progress
        self._done = 0
        self._is_begun = False  # a write that fails may have brought blocks over all the same

    def write_all(self) -> bool:
        """Write everything; return whether the drive confirmed the last block too."""
        try:
            file = self._files.create(self._drive.folder / FILE_NAME)
        except OSError as error:
            raise self._failed(error) from error
        self._is_begun = True
        try:
            self._write_but_last(file)
            return self._write_last(file)
        finally:
            with contextlib.suppress(OSError):
                file.close()

    def _write_but_last(self, file: OpenFile) -> None:
        last = len(self._data) - BLOCK_BYTES
        step = CHUNK_BLOCKS.count * BLOCK_BYTES
        for offset in range(0, last, step):
            try:
                file.write(self._data[offset : min(offset + step, last)])
            except OSError as error:
                raise self._failed(error) from error
            self._count(min(offset + step, last))
            if not _is_there(self._drive):
                raise self._vanished("")

    def _write_last(self, file: OpenFile) -> bool:
        try:
            file.write(self._data[-BLOCK_BYTES:])
        except OSError as error:
            if _is_there(self._drive):
                raise self._failed(error) from error
            return False
        self._count(len(self._data))
        return True

    def _count(self, done: int) -> None:
        self._done = done
        if self._progress is not None:
            self._progress(done, len(self._data))

    def _failed(self, error: OSError) -> RotorwrightError:
        folder, total, detail = str(self._drive.folder), len(self._data), error.strerror or str(error)
        if error.errno in _FULL:
            return DriveFullError.at(folder, needed=total, free=None)
        if not _is_there(self._drive):
            return self._vanished(detail)
        if error.errno in _READ_ONLY and not self._is_begun:
            return DriveReadOnlyError.at(folder, detail=detail)
        return DriveWriteError.at(folder, done=self._done, total=total, detail=detail)

    def _vanished(self, detail: str) -> DriveVanishedEarlyError:
        return DriveVanishedEarlyError.at(
            str(self._drive.folder), done=self._done, total=len(self._data), detail=detail
        )


def _wait_until_gone(drive: Uf2Drive, clock: Clock) -> float:
    start_s = clock.now_s()
    while _is_there(drive):
        if clock.now_s() - start_s >= VANISH.value:
            raise DriveStayedError.at(str(drive.folder), waited_s=VANISH.value)
        clock.sleep_s(LOOK.value)
    return clock.now_s() - start_s


def _require_staying_away(drive: Uf2Drive, clock: Clock, newcomers: Callable[[], Collection[Uf2Drive]]) -> None:
    """See that the drive does not come back, at its place or at another with the same board id."""
    start_s = clock.now_s()
    while clock.now_s() - start_s < COME_BACK.value:
        clock.sleep_s(LOOK.value)
        back = [drive.folder] if drive_at(drive.folder) is not None else []
        back += [one.folder for one in newcomers() if one.info.board_id == drive.info.board_id]
        if back:
            raise DriveCameBackError.at(str(back[0]), after_s=clock.now_s() - start_s)
