"""The host's side of the bootloader on USB: every command, with retries that look before they repeat."""

from __future__ import annotations

import contextlib
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from rotorwright.links.rom_uart.errors import BlockTornError, ReadoutProtectedError, UnalignedAddressError
from rotorwright.links.usb_dfu.codec import (
    MemoryLayout,
    erase_message,
    parse_memory_string,
    parse_status,
    set_address_message,
)
from rotorwright.links.usb_dfu.errors import (
    AnswerUnreadableError,
    DfuGoneError,
    DfuNoFlashError,
    DfuRefusedError,
    DfuSilentError,
    DfuStuckError,
    MemoryStringError,
    SectorNotInLayoutError,
)
from rotorwright.links.usb_dfu.spec import (
    BUSY,
    ERASE_SECTOR,
    ERASED,
    FIRST_DATA_BLOCK,
    FLASH_NAME,
    LAST_BLOCK,
    MOST_POLL,
    RECOVERIES,
    TRANSFER,
    TRIES,
    UNIQUE_ID_BYTES,
    WORD_BYTES,
    MemoryCommand,
    Request,
    State,
    Status,
)
from rotorwright.links.usb_dfu.usb_port import DfuPipe, Stalled, TimedOut, TransferFailed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rotorwright.errors import RotorwrightError
    from rotorwright.firmware.mcu import Sector
    from rotorwright.links.usb_dfu.codec import DeviceStatus, Functional
    from rotorwright.links.usb_dfu.usb_port import UsbBus
    from rotorwright.links.wire import Clock

_T = TypeVar("_T")

_BUSY_STATES = (State.DOWNLOAD_SYNC, State.DOWNLOAD_BUSY, State.MANIFEST_SYNC, State.MANIFEST)
_ABORTABLE = (State.DOWNLOAD_IDLE, State.UPLOAD_IDLE)
_SHORTEST_POLL_S = 0.001


class _Refused(TransferFailed):
    """The device went into its error state and said why."""

    def __init__(self, status: DeviceStatus) -> None:
        super().__init__(status.words)
        self.status = status


class UsbDfuLoader:
    """The bootloader of one board on USB. Every method leaves it ready for the next command, or raises.

    Any method may raise DfuGoneError when the cable is pulled, DfuSilentError when nothing answers, DfuRefusedError
    when a command is refused however often it is sent, DfuStuckError when the device cannot be brought back to idle,
    and ReadoutProtectedError when the part is locked.

    Args:
        pipe: transfers to the device.
        clock: the pauses that the device asks for are waited on it.
        layout: the memory of the alternate setting that is selected.
        functional: what the device can do.
    """

    def __init__(self, pipe: DfuPipe, clock: Clock, *, layout: MemoryLayout, functional: Functional) -> None:
        self._pipe = pipe
        self._clock = clock
        self._layout = layout
        self._functional = functional
        self._sectors = layout.sectors
        self._state: State | None = None  # None: not known
        self._is_leaving = False
        self._next: tuple[int, int] | None = None  # address and number of the block that follows the last one

    @classmethod
    def open(cls, bus: UsbBus, clock: Clock, *, wanted: str = "") -> UsbDfuLoader:
        """Open the bootloader that is called `wanted`, or the only one, at its flash, and bring it to idle.

        Raises:
            DfuDeviceMissingError, DfuDevicesSeveralError: see `UsbBus.find`.
            DfuForbiddenError, DfuUnusableError: it cannot be opened.
            DfuNoFlashError, MemoryStringError: it has no flash that we could write.
        """
        pipe = DfuPipe(bus.find(wanted))
        try:
            alternate, layout = _flash_of(pipe)
            loader = cls(pipe, clock, layout=layout, functional=_functional_of(pipe))
            loader._select(alternate)
        except BaseException:
            pipe.close()
            raise
        return loader

    @property
    def name(self) -> str:
        """What messages call the device."""
        return self._pipe.device.name

    @property
    def layout(self) -> MemoryLayout:
        """The memory that the device says it has."""
        return self._layout

    @property
    def functional(self) -> Functional:
        """What the device says it can do."""
        return self._functional

    @property
    def block_bytes(self) -> int:
        """Most bytes that one read or write moves."""
        return self._functional.transfer_bytes

    @property
    def can_read(self) -> bool:
        """Whether the device gives memory out at all."""
        return self._functional.can_upload

    @property
    def write_granularity(self) -> int:
        """Writes start at a multiple of this, in bytes, and are filled up to one."""
        return WORD_BYTES

    def close(self) -> None:
        """Give the device back, as it is."""
        self._pipe.close()

    def chip_id(self) -> int | None:
        """Return None: this protocol has no command that tells the product id of the microcontroller."""
        return None

    def read_unique_id(self, address: int) -> str | None:
        """Return the unique id at `address` as 24 lower-case hexadecimal digits; None where it is not given out."""
        try:
            return self.read(address, UNIQUE_ID_BYTES).hex() if self.can_read else None
        except (DfuRefusedError, ReadoutProtectedError):
            return None

    def unproved(self, *, unique_id: str | None) -> tuple[str, ...]:
        """Return what this way of writing leaves unproved; `unique_id` is what `read_unique_id` returned."""
        said = [
            "Which microcontroller this is: the bootloader on USB does not tell its id, only the layout of its flash."
        ]
        if unique_id is None:
            said.append("That it is the aircraft that was received: the bootloader on USB does not give its unique id.")
        if not self.can_read:
            said.append("That the flash holds the image: the bootloader on USB gives nothing back.")
        return tuple(said)

    def read(self, address: int, length: int, progress: Callable[[int, int], None] | None = None) -> bytes:
        """Return `length` bytes of memory from `address` on; `progress` gets bytes done and bytes in all."""
        result = bytearray()
        while len(result) < length:
            result += self.read_block(address + len(result), min(self.block_bytes, length - len(result)))
            if progress is not None:
                progress(len(result), length)
        return bytes(result)

    def read_block(self, address: int, length: int) -> bytes:
        """Return 1 to `block_bytes` bytes of memory from `address` on."""
        return self._repeat(f"read memory at {address:#010x}", partial(self._read_once, address, length))

    def checksum(self, address: int, length: int) -> int | None:
        """Return None: this protocol has no such command."""
        return None

    def write(self, address: int, data: bytes, progress: Callable[[int, int], None] | None = None) -> None:
        """Write `data` to erased flash from `address` on; a last word that is not full is filled with erased bytes.

        Nothing is read back here but after a lost answer: see flash_writer.

        Raises:
            UnalignedAddressError: `address` is not on a word. Nothing was sent.
            BlockTornError: a block was written in part; its sector must be erased.
        """
        for offset in range(0, len(data), self.block_bytes):
            self.write_block(address + offset, data[offset : offset + self.block_bytes])
            if progress is not None:
                progress(min(offset + self.block_bytes, len(data)), len(data))

    def write_block(self, address: int, data: bytes) -> None:
        """Write 1 to `block_bytes` bytes to erased flash. After a lost answer, look at what stands there first.

        Raises:
            UnalignedAddressError, BlockTornError: as for `write`.
        """
        if address % WORD_BYTES:
            raise UnalignedAddressError.at(address)
        whole = data + bytes((ERASED,)) * (-len(data) % WORD_BYTES)
        self._repeat(f"write memory at {address:#010x}", partial(self._write_once, address, whole))

    def erase(self, sectors: Sequence[int], *, timeout_s: float | None = None) -> None:
        """Erase the flash sectors with these numbers in the device's own layout, and no others."""
        unknown = [number for number in sectors if not 0 <= number < len(self._sectors)]
        if unknown:
            raise SectorNotInLayoutError.of(unknown[0], 0, 0, layout=f"{len(self._sectors)} sectors and no such one")
        self.erase_sectors([self._sectors[number] for number in sectors], timeout_s=timeout_s)

    def erase_sectors(self, sectors: Sequence[Sector], *, timeout_s: float | None = None) -> None:
        """Erase these sectors, and no others; each must be one of the device, with this very address and size.

        `timeout_s` is for all of them together; left out, the longest time of any part we know is waited for.

        Raises:
            SectorNotInLayoutError: one is not. Nothing was erased.
        """
        for sector in sectors:
            self._require_in_layout(sector)
        limit_s = ERASE_SECTOR.value if timeout_s is None else timeout_s
        for sector in sectors:
            act = partial(self._command, erase_message(sector.address), limit_s)
            self._repeat(f"erase the sector at {sector.address:#010x}", act)

    def erase_everything(self, *, timeout_s: float) -> None:
        """Erase all flash at once, settings and firmware alike. Nothing calls this that was not asked to by a plan."""
        message = bytes((MemoryCommand.ERASE,))
        self._repeat("erase everything", partial(self._command, message, timeout_s))

    def go(self, address: int) -> None:
        """Leave the bootloader and start the application whose vector table stands at `address`.

        That the bootloader accepted says nothing about whether the application runs: listen for it.
        """
        self._is_leaving = False
        try:
            self._repeat(f"start what stands at {address:#010x}", partial(self._go_once, address))
        except DfuGoneError:
            if not self._is_leaving:
                raise  # else it did what it was asked, and only its last answer is missing
        self._forget()

    # One try of each command

    def _read_once(self, address: int, length: int) -> bytes:
        if self._state is State.UPLOAD_IDLE and self._next is not None and self._next[0] == address:
            block = self._next[1]
        else:
            self._point_at(address)
            self._abort()
            block = FIRST_DATA_BLOCK
        data = self._pipe.ask(Request.UPLOAD, block, length, TRANSFER.value)
        if len(data) != length:
            raise TimedOut(f"{len(data)} of {length} bytes")
        self._state = State.UPLOAD_IDLE
        self._follow(address, block, length)
        return data

    def _write_once(self, address: int, data: bytes) -> None:
        if self._state is State.DOWNLOAD_IDLE and self._next is not None and self._next[0] == address:
            block = self._next[1]
        else:
            self._point_at(address)
            block = FIRST_DATA_BLOCK
        try:
            self._download(block, data, BUSY.value)
        except TransferFailed as failure:
            refusal = self._recover("write memory")
            if not self._is_written(address, data):
                raise _told(failure, refusal) from failure
            return
        self._follow(address, block, len(data))

    def _is_written(self, address: int, data: bytes) -> bool:
        """Answer whether the block stands in flash (only its answer was lost); False where flash is still erased.

        Raises:
            BlockTornError: neither, or the device gives nothing back.
        """
        if not self.can_read:
            raise BlockTornError.at(address)
        for _ in range(2):
            found = self.read_block(address, len(data))
            if found == data:
                return True
            if not found.strip(bytes((ERASED,))):
                return False
        raise BlockTornError.at(address)

    def _go_once(self, address: int) -> None:
        self._point_at(address)
        self._is_leaving = True
        with contextlib.suppress(TimedOut):  # the status tells whether it arrived
            self._pipe.send(Request.DOWNLOAD, FIRST_DATA_BLOCK, b"", TRANSFER.value)
        status = self._status(TRANSFER.value)
        if status.is_error:
            raise _Refused(status)
        if status.state not in {State.MANIFEST_SYNC, State.MANIFEST, State.MANIFEST_WAIT_RESET}:
            raise TimedOut("leave")

    # What commands are made of

    def _point_at(self, address: int) -> None:
        self._command(set_address_message(address), BUSY.value)

    def _command(self, message: bytes, limit_s: float) -> None:
        """Send a command of the memory extension from idle; the device is in "download idle" after it."""
        if self._state not in {State.IDLE, State.DOWNLOAD_IDLE}:
            self._abort()
        self._download(0, message, limit_s)

    def _download(self, block: int, data: bytes, limit_s: float) -> None:
        self._next = None  # a command may move the address pointer, an erase does
        self._pipe.send(Request.DOWNLOAD, block, data, TRANSFER.value)
        status = self._status_when_done(limit_s)
        if status.is_error:
            raise _Refused(status)
        if status.state != State.DOWNLOAD_IDLE:
            raise TimedOut(f"state {status.state}")
        self._state = State.DOWNLOAD_IDLE

    def _status_when_done(self, limit_s: float) -> DeviceStatus:
        """Ask until the device is not busy any more, with the pauses that it asks for.

        Only after the first status it works, so only then it may be deaf for long.
        """
        deadline_s = self._clock.now_s() + limit_s
        status = self._status(TRANSFER.value)
        while status.state in _BUSY_STATES:
            if self._clock.now_s() > deadline_s:
                raise TimedOut(f"busy for {limit_s} s")
            self._pause(status)
            status = self._status(max(TRANSFER.value, limit_s))
        return status

    def _pause(self, status: DeviceStatus) -> None:
        self._clock.sleep_s(max(status.poll_s, _SHORTEST_POLL_S))

    def _status(self, timeout_s: float) -> DeviceStatus:
        try:
            status = parse_status(self._pipe.ask(Request.GET_STATUS, 0, 6, timeout_s))
        except AnswerUnreadableError as error:
            raise TimedOut(error.what) from error
        if status.poll_s > MOST_POLL.value:
            raise TimedOut(f"asks for a pause of {status.poll_s} s")
        return status

    def _abort(self) -> None:
        """Go to idle from a transfer."""
        self._next = None
        if self._state is not State.IDLE:
            self._pipe.send(Request.ABORT, 0, b"", TRANSFER.value)
        self._state = State.IDLE

    def _follow(self, address: int, block: int, length: int) -> None:
        """Remember what the next block number stands for: blocks count in whole transfers."""
        is_whole = length == self.block_bytes and block < LAST_BLOCK
        self._next = (address + length, block + 1) if is_whole else None

    def _forget(self) -> None:
        self._state = None
        self._next = None

    # When something goes wrong

    def _repeat(self, words: str, act: Callable[[], _T]) -> _T:
        """Return what `act` returns, bringing the device back to idle and trying again after a failure."""
        failures: list[TransferFailed] = []
        while True:
            try:
                return act()
            except TransferFailed as failure:
                refusal = self._recover(words)
                failures.append(_told(failure, refusal))
                if len(failures) >= TRIES.count:
                    raise self._given_up(words, failures) from failure

    def _given_up(self, words: str, failures: Sequence[TransferFailed]) -> RotorwrightError:
        refusals = [failure.status for failure in failures if isinstance(failure, _Refused)]
        if len(refusals) == len(failures) and all(status.status == Status.VENDOR for status in refusals):
            return ReadoutProtectedError.at(words)
        if refusals:
            last = refusals[-1]
            return DfuRefusedError.to(words, status=last.status, words=last.words, tries=len(failures))
        return DfuSilentError.during(words, device=self.name, tries=len(failures))

    def _recover(self, words: str) -> DeviceStatus | None:
        """Bring the device to idle from wherever it is; return the error that it was found in, if any.

        The status is asked before anything is cleared: a device that is well may take a needless "clear status" for a
        mistake (DFU 1.1, A.2.3). Only one that refuses to tell its status gets it first.
        """
        self._forget()
        refusal: DeviceStatus | None = None
        status: DeviceStatus | None = None
        for number in range(RECOVERIES.count):
            try:
                status = self._status(TRANSFER.value)
                if status.is_error and refusal is None:
                    refusal = status
                if self._step_towards_idle(status):
                    return refusal
            except Stalled:
                self._clear_unasked()
                self._clock.sleep_s(min(_SHORTEST_POLL_S * 2**number, TRANSFER.value))  # it may be busy still
            except TransferFailed:
                continue
        if status is None:
            raise DfuSilentError.during(words, device=self.name, tries=RECOVERIES.count)
        raise DfuStuckError.at(status.state, device=self.name)

    def _step_towards_idle(self, status: DeviceStatus) -> bool:
        """Do the one thing that brings the device nearer to idle; return whether it is there."""
        if status.state == State.IDLE:
            self._state = State.IDLE
            return True
        if status.is_error:
            self._pipe.send(Request.CLEAR_STATUS, 0, b"", TRANSFER.value)
        elif status.state in _ABORTABLE:
            self._pipe.send(Request.ABORT, 0, b"", TRANSFER.value)
        elif status.state in _BUSY_STATES:
            self._pause(status)
        else:
            raise DfuStuckError.at(status.state, device=self.name)
        return False

    def _clear_unasked(self) -> None:
        try:
            self._pipe.send(Request.CLEAR_STATUS, 0, b"", TRANSFER.value)
        except TransferFailed:
            return

    def _select(self, alternate: int) -> None:
        try:
            self._pipe.select(alternate)
        except TransferFailed:
            self._recover("choose its flash")
            self._pipe.select(alternate)
        self._recover("be brought to idle")

    def _require_in_layout(self, sector: Sector) -> None:
        known = next((known for known in self._sectors if known.address <= sector.address < known.end), None)
        if known is None or (known.address, known.size_bytes) != (sector.address, sector.size_bytes):
            there = f"{known.size_bytes} bytes at {known.address:#010x}" if known else "nothing"
            raise SectorNotInLayoutError.of(sector.number, sector.address, sector.size_bytes, layout=there)
        run = self._layout.run_at(sector.address)
        if run is None or not (run.erasable and run.writable):
            raise SectorNotInLayoutError.of(
                sector.number, sector.address, sector.size_bytes, layout="memory that it does not let be erased"
            )


def _told(failure: TransferFailed, refusal: DeviceStatus | None) -> TransferFailed:
    """Return what a failure was, with what the device said about it afterwards."""
    return _Refused(refusal) if refusal is not None and isinstance(failure, Stalled) else failure


def _functional_of(pipe: DfuPipe) -> Functional:
    functional = pipe.device.functional
    if functional is None or not functional.can_download or functional.transfer_bytes < WORD_BYTES:
        raise DfuNoFlashError.on(pipe.device.name, found="an interface that takes no downloads")
    return functional


def _flash_of(pipe: DfuPipe) -> tuple[int, MemoryLayout]:
    """Return number and layout of the alternate setting that is the flash."""
    layouts: list[tuple[int, MemoryLayout]] = []
    texts: list[str] = []
    problem: MemoryStringError | None = None
    for number, index in pipe.device.alternates:
        texts.append(pipe.memory_string(index))
        try:
            layouts.append((number, parse_memory_string(texts[-1])))
        except MemoryStringError as error:
            problem = problem or error
    flashes = [(number, layout) for number, layout in layouts if layout.has_flash]
    internal = [found for found in flashes if found[1].name.casefold().startswith(FLASH_NAME)]
    if internal:
        return internal[0]
    if len(flashes) == 1:
        return flashes[0]
    if problem is not None and not flashes:
        raise problem
    raise DfuNoFlashError.on(pipe.device.name, found=", ".join(texts))
