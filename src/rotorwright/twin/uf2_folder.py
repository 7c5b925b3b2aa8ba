"""A folder that behaves like the drive of a UF2 bootloader, over the same flash memory with the same faults.

Nobody calls a folder when a file is written into it, so the twin looks: each `poll` takes the blocks that are new since
the last one, in whatever order and file they stand, as the bootloader takes sectors of its drive. It is stricter than a
real one: a block outside its flash, a damaged one, or one unlike what it took before under the same number spoils the
session, and the drive then stays until it is plugged in anew. Blocks of another family are passed over.

Source: UF2 specification (README of microsoft/uf2): file format, family id, files exposed by bootloaders. The marks are
written here once more, apart from those of the link, so that each end is checked by itself.
"""

from __future__ import annotations

import shutil
import struct
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.twin.faults import PowerCutError
from rotorwright.twin.flash import WORD_BYTES, EraseSector, ProgramBytes

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rotorwright.twin.faults import FaultPlan
    from rotorwright.twin.flash import FlashMemory

INFO_NAME = "INFO_UF2.TXT"
CURRENT_NAME = "CURRENT.UF2"
_BLOCK_BYTES = 512
_PAGE_BYTES = 256
_HEAD = struct.Struct("<8I")
_FIRST, _SECOND, _LAST = 0x0A324655, 0x9E5D5157, 0x0AB16F30
_NOT_MAIN_FLASH, _FILE_CONTAINER, _FAMILY = 0x1, 0x1000, 0x2000
_MOST_PAYLOAD_BYTES = 476


class DriveState(StrEnum):
    """What the board with the drive does."""

    OFF = "off"
    WAITING = "waiting"
    TAKING = "taking"
    STARTED = "started"


@dataclass(frozen=True, slots=True)
class _Block:
    number: int
    total: int
    address: int
    payload: bytes


class Uf2Folder:
    """A board whose bootloader shows itself as a folder.

    Args:
        folder: where the drive appears; it must not be there yet, and its parent must.
        flash: the flash memory of the board.
        family: blocks of other families are passed over.
        starts: whether the bytes in flash are an application that starts; everything starts if left out.
        shows_flash: there is a file with the present content of the flash, as some bootloaders have it.
        family_line: a line in the info file that names the family; "" for none, as the specification has none.
    """

    def __init__(
        self,
        folder: Path,
        flash: FlashMemory,
        *,
        family: int,
        board_id: str = "H743-Corvane-H7-v1",
        model: str = "Corvane H7",
        starts: Callable[[bytes], bool] = lambda _flash: True,
        shows_flash: bool = False,
        family_line: str = "",
    ) -> None:
        self._folder = folder
        self._flash = flash
        self._family = family
        self._info = f"UF2 Bootloader v1.4.2 TWIN\r\nModel: {model}\r\nBoard-ID: {board_id}\r\n{family_line}"
        self._starts = starts
        self._shows_flash = shows_flash
        self._taken: dict[int, bytes] = {}
        self._erased: set[int] = set()
        self._looked_at: dict[str, bytes] = {}
        self.state = DriveState.OFF
        self.passed_over: list[str] = []
        self.spoilt_by: list[str] = []

    def arm(self, plan: FaultPlan) -> None:
        """Take `plan` as what shall go wrong from here."""
        self._flash.arm(plan)

    def plug_in(self, *, button: bool = True) -> None:
        """Give it power: with the button held, or without an application that starts, the drive appears."""
        self.pull()
        if not button and self._starts(self._flash.contents()):
            self.state = DriveState.STARTED
            return
        self._taken.clear()
        self._erased.clear()
        self._looked_at.clear()
        self.passed_over.clear()
        self.spoilt_by.clear()
        self._folder.mkdir()
        (self._folder / INFO_NAME).write_text(self._info, encoding="utf-8", newline="")
        if self._shows_flash:
            (self._folder / CURRENT_NAME).write_bytes(self._current())
        self.state = DriveState.WAITING

    def pull(self) -> None:
        """Take the cable out: the drive is gone at once, and what is in flash stays."""
        shutil.rmtree(self._folder, ignore_errors=True)
        self.state = DriveState.OFF

    def poll(self) -> None:
        """Take what was written into the folder since the last time; after the last block the drive goes away.

        A power cut of the fault plan takes the drive away in the middle of it.
        """
        if self.state is DriveState.STARTED and not self._starts(self._flash.contents()):
            self.plug_in()  # the application hung, and the watchdog brought the bootloader back
            return
        if self.state not in {DriveState.WAITING, DriveState.TAKING}:
            return
        try:
            for name in self._changed_files():
                self._take_file(name)
        except PowerCutError:
            self.pull()

    def _changed_files(self) -> list[str]:
        own = {INFO_NAME, CURRENT_NAME}
        return sorted(path.name for path in self._folder.iterdir() if path.name.upper() not in own)

    def _take_file(self, name: str) -> None:
        try:
            data = (self._folder / name).read_bytes()
        except OSError:  # the drive went away with the file before this one
            return
        seen = self._looked_at.get(name, b"")
        whole = len(data) // _BLOCK_BYTES * _BLOCK_BYTES
        self._looked_at[name] = data[:whole]
        for offset in range(0, whole, _BLOCK_BYTES):
            raw = data[offset : offset + _BLOCK_BYTES]
            if raw == seen[offset : offset + _BLOCK_BYTES]:
                continue
            block = self._block(raw)
            if block is not None and self._take(block):
                return

    def _block(self, raw: bytes) -> _Block | None:
        first, second, flags, address, size, number, total, family = _HEAD.unpack_from(raw)
        if (first, second) != (_FIRST, _SECOND) or raw[508:] != _LAST.to_bytes(4, "little"):
            return None  # not a block: a table of the file system, or a file that an operating system leaves
        if flags & (_NOT_MAIN_FLASH | _FILE_CONTAINER):
            return None
        if not flags & _FAMILY or family != self._family:
            self.passed_over.append(f"block {number} is for another family")
            return None
        if size > _MOST_PAYLOAD_BYTES or number >= total:
            self.spoilt_by.append(f"block {number} is not sound")
            return None
        return _Block(number, total, address, raw[_HEAD.size : _HEAD.size + size])

    def _take(self, block: _Block) -> bool:
        """Take one block and return whether it was the last one missing."""
        if block.number in self._taken:
            if self._taken[block.number] != block.payload:
                self.spoilt_by.append(f"block {block.number} came again with other content")
            return False
        if not self._program(block):
            return False
        self._taken[block.number] = block.payload
        self.state = DriveState.TAKING
        if len(self._taken) < block.total or self.spoilt_by:
            return False
        shutil.rmtree(self._folder)
        self.state = DriveState.STARTED
        return True

    def _program(self, block: _Block) -> bool:
        data = block.payload.ljust(-(-len(block.payload) // WORD_BYTES) * WORD_BYTES, b"\xff")
        if block.address % WORD_BYTES or not data or not self._flash.is_flash(block.address, len(data)):
            self.spoilt_by.append(f"block {block.number} is not in flash")
            return False
        for sector in self._flash.mcu.sectors:
            touched = sector.address < block.address + len(data) and block.address < sector.end
            if touched and sector.number not in self._erased:
                self._flash.perform(EraseSector(sector.number))
                self._erased.add(sector.number)
        if not data.strip(b"\xff"):
            return True  # an erased page reads so already
        return self._flash.perform(ProgramBytes(block.address, data))

    def _current(self) -> bytes:
        start, content = self._flash.mcu.flash_start, self._flash.contents()
        total = len(content) // _PAGE_BYTES
        return b"".join(
            _HEAD.pack(_FIRST, _SECOND, _FAMILY, start + at, _PAGE_BYTES, at // _PAGE_BYTES, total, self._family)
            + content[at : at + _PAGE_BYTES].ljust(_MOST_PAYLOAD_BYTES, b"\0")
            + _LAST.to_bytes(4, "little")
            for at in range(0, len(content), _PAGE_BYTES)
        )
