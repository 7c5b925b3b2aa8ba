"""The ROM bootloader on USB: DFU 1.1 with the vendor's memory extension, as strict as the standard's state table.

Source: DFU 1.1 (USB-IF, 2004), A.1 and A.2; ST AN3156 for what download block 0 and the block numbers mean. Written
from those, apart from `rotorwright.links.usb_dfu`, so that a mistake of the one is found by the other. Whatever the
table does not allow stalls and leads to the error state.

It knows no time: the flash work is handed out, done elsewhere, and its end is told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Final

from rotorwright.twin.flash import EraseSector, FlashMemory, FlashOperation, ProgramBytes
from rotorwright.twin.rom_uart import OptionBytes, Then

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.firmware.mcu import Microcontroller
    from rotorwright.twin.memories import Memories

TRANSFER_BYTES: Final = 2048  # of the ROM loaders, from memory, unconfirmed
FUNCTIONAL_DESCRIPTOR: Final = bytes((9, 0x21, 0x0B, 0xFF, 0x00, 0x00, 0x08, 0x1A, 0x01))
"""Can download, can upload, will detach; 255 ms; 2048 bytes; DFU 1.1a (DFU 1.1 4.1.3, AN3156)."""

_OPTION_BYTES: Final = "@Option Bytes  /0x1FFFC000/01*016 e"
_COMMANDS: Final = bytes((0x00, 0x21, 0x41, 0x92))
_LEAVE_S: Final = 0.001  # the pause asked for before it leaves; own choice


class DfuRequest(IntEnum):
    """Requests by their number (DFU 1.1, table 3.2)."""

    DETACH = 0
    DNLOAD = 1
    UPLOAD = 2
    GETSTATUS = 3
    CLRSTATUS = 4
    GETSTATE = 5
    ABORT = 6


class DfuState(IntEnum):
    """States that a bootloader can be in (DFU 1.1, 6.1.2)."""

    IDLE = 2
    DNLOAD_SYNC = 3
    DNBUSY = 4
    DNLOAD_IDLE = 5
    MANIFEST_SYNC = 6
    MANIFEST = 7
    UPLOAD_IDLE = 9
    ERROR = 10


class DfuStatus(IntEnum):
    """Statuses that this bootloader gives (DFU 1.1, 6.1.2; which one when: AN3156, from memory, unconfirmed)."""

    OK = 0
    TARGET = 1
    WRITE = 3
    ERASE = 4
    VENDOR = 11
    STALLED_PACKET = 15


_ASK = frozenset({DfuRequest.GETSTATUS, DfuRequest.GETSTATE})
ALLOWED: Final = {
    DfuState.IDLE: _ASK | {DfuRequest.DNLOAD, DfuRequest.UPLOAD, DfuRequest.ABORT},
    DfuState.DNLOAD_SYNC: _ASK,
    DfuState.DNBUSY: frozenset[DfuRequest](),
    DfuState.DNLOAD_IDLE: _ASK | {DfuRequest.DNLOAD, DfuRequest.ABORT},
    DfuState.MANIFEST_SYNC: _ASK,
    DfuState.MANIFEST: frozenset[DfuRequest](),
    DfuState.UPLOAD_IDLE: _ASK | {DfuRequest.UPLOAD, DfuRequest.ABORT},
    DfuState.ERROR: _ASK | {DfuRequest.CLRSTATUS},
}
"""Which requests a state takes (DFU 1.1, A.2.3 to A.2.11); any other stalls and leads to ERROR."""


@dataclass(frozen=True, slots=True)
class DfuQuirks:
    """What some devices do and the standard does not say.

    Args:
        needs_clear: it refuses to tell its status until it got a first "clear status".
        understates_pause: it asks for 100 ms whatever it does, and is deaf until that is done (the ROM of the F405
            erases so, a note in the code of two independent hosts).
        hides_identity: the page with the unique id is refused.
    """

    needs_clear: bool = False
    understates_pause: bool = False
    hides_identity: bool = False


@dataclass(frozen=True, slots=True)
class DfuReaction:
    """What the bootloader does about a request: an answer or a stall, then work on the flash, then `then`."""

    data: bytes = b""
    stalled: bool = False
    work: tuple[FlashOperation, ...] = ()
    then: Then = Then.GO_ON


_DONE: Final = DfuReaction()


class UsbDfu:
    """The bootloader from its start to its next reset.

    Args:
        memories: what it can read.
        flash: for sectors, durations, protection.
        options: the option bytes, changed in place by the command that takes the read protection off.
        quirks: where it differs from the standard.
        speed: how many times faster than a real one it works.
    """

    def __init__(
        self,
        memories: Memories,
        flash: FlashMemory,
        options: OptionBytes,
        *,
        quirks: DfuQuirks | None = None,
        speed: float = 1.0,
    ) -> None:
        self._memories = memories
        self._flash = flash
        self._options = options
        self._quirks = quirks or DfuQuirks()
        self._speed = speed
        self.alternates = (memory_string(flash.mcu), _OPTION_BYTES)
        self._alternate = 0
        self._wants_clear = self._quirks.needs_clear
        self.state = DfuState.IDLE
        self._status = DfuStatus.OK
        self.pointer = flash.mcu.flash_start
        self._pending: tuple[int, bytes] | None = None
        self._works = False
        self._unprotects = False
        self._upload_block = 0

    @property
    def is_working(self) -> bool:
        """Whether work on the flash that it handed out is not done yet."""
        return self._works

    def is_deaf(self) -> bool:
        """Whether it lets every request wait until its work is done.

        So does one that was asked in the middle of its work and took that for a mistake: the flash is not free before.
        """
        return self._works and (self._quirks.understates_pause or self.state is not DfuState.DNBUSY)

    def select(self, alternate: int) -> bool:
        """Turn to the memory of another alternate setting and return whether there is one."""
        if not 0 <= alternate < len(self.alternates) or self._works:
            return False
        self._alternate = alternate
        if self.state is not DfuState.ERROR:
            self.state = DfuState.IDLE
        return True

    def request(self, number: int, value: int, data: bytes, length: int) -> DfuReaction:
        """React to a class request; `data` came with it, `length` is how much it asks for."""
        if self.state is DfuState.DNBUSY and not self._works:
            self.state = DfuState.DNLOAD_SYNC
        if self._wants_clear:
            return self._first_clear(number)
        if number not in ALLOWED[self.state]:
            return self._stall(DfuStatus.STALLED_PACKET)
        return self._react(number, value, data, length)

    def _react(self, number: int, value: int, data: bytes, length: int) -> DfuReaction:
        match DfuRequest(number):
            case DfuRequest.GETSTATUS:
                return self._get_status()
            case DfuRequest.GETSTATE:
                return DfuReaction(bytes((self.state,)))
            case DfuRequest.DNLOAD:
                return self._download(value, data)
            case DfuRequest.UPLOAD:
                return self._upload(value, length)
            case _:  # abort and clear status
                self.state = DfuState.IDLE
                self._status = DfuStatus.OK
                return _DONE

    def disturb(self) -> DfuReaction:
        """Stall as if a request had come that nobody sent."""
        return self._stall(DfuStatus.STALLED_PACKET)

    def work_done(self, *, accepted: bool) -> Then:
        """Take the end of the work; `accepted` is whether the flash did all of it."""
        self._works = False
        if self._unprotects:
            self._options.read_out_protected = False
            return Then.RESET
        if self.state is DfuState.DNBUSY:
            self.state = DfuState.DNLOAD_SYNC if accepted else DfuState.ERROR
            self._status = DfuStatus.OK if accepted else DfuStatus.WRITE
        return Then.GO_ON

    def _first_clear(self, number: int) -> DfuReaction:
        if number != DfuRequest.CLRSTATUS:
            return DfuReaction(stalled=True)
        self._wants_clear = False
        return _DONE

    def _stall(self, status: DfuStatus) -> DfuReaction:
        self.state = DfuState.ERROR
        self._status = status
        self._pending = None
        return DfuReaction(stalled=True)

    # Status

    def _get_status(self) -> DfuReaction:
        if self.state is DfuState.DNLOAD_SYNC:
            return self._begin_or_end()
        if self.state is DfuState.MANIFEST_SYNC:
            self.state = DfuState.MANIFEST
            return DfuReaction(self._answer(_LEAVE_S), then=Then.START)
        return DfuReaction(self._answer(0.0))

    def _begin_or_end(self) -> DfuReaction:
        """Begin what was downloaded at the first status after it, as the ROM does; end it at the status after that."""
        if self._pending is None:
            self.state = DfuState.DNLOAD_IDLE
            return DfuReaction(self._answer(0.0))
        block, data = self._pending
        self._pending = None
        problem, work = self._meaning(block, data)
        if problem is not DfuStatus.OK:
            self.state = DfuState.ERROR
            self._status = problem
            return DfuReaction(self._answer(0.0))
        self.state = DfuState.DNBUSY
        self._works = bool(work)
        if not work:
            return DfuReaction(self._answer(0.0))  # an independent client asks again at once, whatever it is told
        pause_s = sum(map(self._flash.duration_s, work)) / self._speed
        return DfuReaction(self._answer(0.1 if self._quirks.understates_pause else pause_s), work=work)

    def _answer(self, pause_s: float) -> bytes:
        pause_ms = math.ceil(pause_s * 1000)
        return bytes((self._status,)) + pause_ms.to_bytes(3, "little") + bytes((self.state, 0))

    # Download

    def _download(self, block: int, data: bytes) -> DfuReaction:
        if len(data) > TRANSFER_BYTES or (not data and self.state is not DfuState.DNLOAD_IDLE):
            return self._stall(DfuStatus.STALLED_PACKET)
        if not data:
            self.state = DfuState.MANIFEST_SYNC
            return _DONE
        self.state = DfuState.DNLOAD_SYNC
        self._pending = (block, data)
        return _DONE

    def _meaning(self, block: int, data: bytes) -> tuple[DfuStatus, tuple[FlashOperation, ...]]:
        """Return what a downloaded block asks for: a status that refuses it, or OK with the work."""
        if self._alternate:
            return DfuStatus.TARGET, ()  # option bytes are not for us to change
        if block == 0:
            return self._command(data)
        if self._options.read_out_protected:
            return DfuStatus.VENDOR, ()
        if block == 1:
            return DfuStatus.TARGET, ()
        return self._store(self._address_of(block), data)

    def _address_of(self, block: int) -> int:
        return self.pointer + (block - 2) * TRANSFER_BYTES

    def _store(self, address: int, data: bytes) -> tuple[DfuStatus, tuple[FlashOperation, ...]]:
        if self._flash.is_flash(address, len(data)):
            return DfuStatus.OK, (ProgramBytes(address, data),)
        return (DfuStatus.OK if self._memories.write_ram(address, data) else DfuStatus.TARGET), ()

    def _command(self, data: bytes) -> tuple[DfuStatus, tuple[FlashOperation, ...]]:
        everything = tuple(EraseSector(number) for number in self._flash.sector_numbers())
        if data == b"\x92":
            self._unprotects = True
            return DfuStatus.OK, everything
        if self._options.read_out_protected:
            return DfuStatus.VENDOR, ()
        if data == b"\x41":
            return DfuStatus.OK, everything
        known: dict[int, Callable[[int], tuple[DfuStatus, tuple[FlashOperation, ...]]]] = {
            0x21: self._set_pointer,
            0x41: self._erase,
        }
        act = known.get(data[0])
        if act is None or len(data) != 5:
            return DfuStatus.TARGET, ()
        return act(int.from_bytes(data[1:], "little"))

    def _set_pointer(self, address: int) -> tuple[DfuStatus, tuple[FlashOperation, ...]]:
        if not self._is_reachable(address):
            return DfuStatus.TARGET, ()
        self.pointer = address
        return DfuStatus.OK, ()

    def _erase(self, address: int) -> tuple[DfuStatus, tuple[FlashOperation, ...]]:
        sector = self._flash.mcu.sector_at(address)
        if sector is None:
            return DfuStatus.TARGET, ()
        self.pointer = address  # an erase may move the pointer: whoever counts on the old one writes elsewhere
        return DfuStatus.OK, (EraseSector(sector.number),)

    def _is_reachable(self, address: int) -> bool:
        if self._quirks.hides_identity:
            return self._memories.is_flash(address) or self._memories.is_ram(address)
        return self._memories.is_readable(address)

    # Upload

    def _upload(self, block: int, length: int) -> DfuReaction:
        is_next = self.state is DfuState.IDLE or block in {self._upload_block, self._upload_block + 1}
        if length > TRANSFER_BYTES or block == 1 or not is_next:
            return self._stall(DfuStatus.STALLED_PACKET)
        if block == 0:
            self.state = DfuState.IDLE  # the list is shorter than a block
            return DfuReaction(_COMMANDS[:length])
        if self._options.read_out_protected:
            return self._stall(DfuStatus.VENDOR)
        data = bytes(16)[:length] if self._alternate else self._memories.read(self._address_of(block), length)
        if data is None or not self._is_reachable(self._address_of(block)):
            return self._stall(DfuStatus.TARGET)
        self.state = DfuState.UPLOAD_IDLE if len(data) == length else DfuState.IDLE
        self._upload_block = block
        return DfuReaction(data)


def memory_string(mcu: Microcontroller) -> str:
    """Return how the bootloader describes the flash of `mcu` (UM0424 4.3.2); a hole begins with an address anew."""
    text = "@Internal Flash  "
    end, size, count = -1, 0, 0
    groups: list[str] = []
    for sector in mcu.sectors:
        if sector.address == end and sector.size_bytes == size:
            count += 1
        else:
            groups += [f"{count:02}*{size // 1024:03}Kg"] if count else []
            groups += [f"/0x{sector.address:08X}/"] if sector.address != end else []
            size, count = sector.size_bytes, 1
        end = sector.end
    groups.append(f"{count:02}*{size // 1024:03}Kg")
    for before, group in zip(["/", *groups], groups, strict=False):
        text += group if group.startswith("/") or before.startswith("/") else f",{group}"
    return text
