"""Messages of DFU and of the memory extension as bytes, answers as values; no I/O."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from rotorwright.firmware.mcu import Sector
from rotorwright.links.usb_dfu.errors import AnswerUnreadableError, MemoryStringError
from rotorwright.links.usb_dfu.spec import (
    FIRST_DATA_BLOCK,
    FUNCTIONAL_BYTES,
    FUNCTIONAL_TYPE,
    MOST_SECTORS,
    STATUS_WORDS,
    Attribute,
    MemoryCommand,
    State,
    Status,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

_STATUS_BYTES = 6
_ADDRESS_END = 1 << 32
_MULTIPLIERS = {"": 1, " ": 1, "B": 1, "K": 1024, "M": 1024 * 1024}


@dataclass(frozen=True, slots=True)
class DeviceStatus:
    """The answer to "get status": status and state as numbers, for a device may have others than the standard."""

    status: int
    poll_s: float
    state: int

    @property
    def is_error(self) -> bool:
        """Whether the device is in its error state."""
        return self.state == State.ERROR

    @property
    def words(self) -> str:
        """The status in words, with its number."""
        known = self.status in Status.__members__.values()
        return f"{STATUS_WORDS[Status(self.status)] if known else 'unknown status'} ({self.status})"


@dataclass(frozen=True, slots=True)
class Functional:
    """The functional descriptor: what the device can do, and how many bytes one transfer takes."""

    attributes: Attribute
    detach_timeout_s: float
    transfer_bytes: int
    version: int

    @property
    def can_upload(self) -> bool:
        """Whether memory can be read."""
        return Attribute.CAN_UPLOAD in self.attributes

    @property
    def can_download(self) -> bool:
        """Whether memory can be written."""
        return Attribute.CAN_DOWNLOAD in self.attributes


@dataclass(frozen=True, slots=True)
class MemoryRun:
    """Sectors of one size, one behind the other, and what may be done with them."""

    address: int
    count: int
    size_bytes: int
    readable: bool
    erasable: bool
    writable: bool

    @property
    def end(self) -> int:
        """First address past the last sector."""
        return self.address + self.count * self.size_bytes


@dataclass(frozen=True, slots=True)
class MemoryLayout:
    """What the memory string of an alternate setting tells."""

    name: str
    runs: tuple[MemoryRun, ...]

    @property
    def sectors(self) -> tuple[Sector, ...]:
        """Every sector, numbered from 0 in the order of the string."""
        places = [
            (address, run.size_bytes) for run in self.runs for address in range(run.address, run.end, run.size_bytes)
        ]
        return tuple(Sector(number, address, size) for number, (address, size) in enumerate(places))

    def run_at(self, address: int) -> MemoryRun | None:
        """Return the run that holds `address`; None where the string names no memory."""
        return next((run for run in self.runs if run.address <= address < run.end), None)

    @property
    def has_flash(self) -> bool:
        """Whether some of it can be erased and written."""
        return any(run.erasable and run.writable for run in self.runs)


def parse_status(data: bytes) -> DeviceStatus:
    """Return what the 6 bytes of a status say; the pause is 24 bits, low byte first, in ms (DFU 1.1, 6.1.2).

    Raises:
        AnswerUnreadableError: they are not 6.
    """
    if len(data) != _STATUS_BYTES:
        raise AnswerUnreadableError.of("status", data, wanted=_STATUS_BYTES)
    return DeviceStatus(data[0], int.from_bytes(data[1:4], "little") / 1000, data[4])


def find_functional(descriptors: bytes) -> Functional | None:
    """Return the functional descriptor among `descriptors`, which stand one behind the other; None if there is none.

    One of 7 bytes is of version 1.0. One that is cut short counts as none.
    """
    place = 0
    while place + 2 <= len(descriptors):
        length = descriptors[place]
        body = descriptors[place : place + length]
        if descriptors[place + 1] == FUNCTIONAL_TYPE and len(body) == length and length >= FUNCTIONAL_BYTES - 2:
            return _functional(body)
        place += max(length, 1)
    return None


def _functional(body: bytes) -> Functional:
    version = int.from_bytes(body[7:9], "little") if len(body) >= FUNCTIONAL_BYTES else 0x0100
    timeout_s = int.from_bytes(body[3:5], "little") / 1000
    return Functional(Attribute(body[2]), timeout_s, int.from_bytes(body[5:7], "little"), version)


def set_address_message(address: int) -> bytes:
    """Return block 0 that sets the address pointer."""
    return bytes((MemoryCommand.SET_ADDRESS,)) + address.to_bytes(4, "little")


def erase_message(address: int) -> bytes:
    """Return block 0 that erases the sector that holds `address`; there is no way to get the mass erase from here."""
    return bytes((MemoryCommand.ERASE,)) + address.to_bytes(4, "little")


def block_address(pointer: int, block: int, transfer_bytes: int) -> int:
    """Return the address of data block number `block` (AN3156)."""
    return pointer + (block - FIRST_DATA_BLOCK) * transfer_bytes


_SECTORS = re.compile(r"(?P<count>\d{1,8})\*(?P<size>\d{1,8})(?P<multiplier>[ BKM]?)(?P<kind>[a-g])")
_ADDRESS = re.compile(r"0[xX][0-9A-Fa-f]{1,8}")


def parse_memory_string(text: str) -> MemoryLayout:
    """Return the memory that a string like "@Internal Flash  /0x08000000/04*016Kg,01*064Kg" tells (UM0424 4.3.2).

    Of the letter behind a size the low three bits count: 1 readable, 2 erasable, 4 writable. A string may name several
    addresses; sectors follow each other from the address before them.

    Raises:
        MemoryStringError: it is no such string, or it claims what no device has.
    """
    name, *parts = text.rstrip("\0 ").split("/")
    if not name.startswith("@") or not parts or len(parts) % 2:
        raise MemoryStringError.of(text, problem='it is not "@name/address/sectors"')
    runs: list[MemoryRun] = []
    for start, sectors in zip(parts[::2], parts[1::2], strict=True):
        if not _ADDRESS.fullmatch(start.strip()):
            raise MemoryStringError.of(text, problem=f"{start!r} is no address")
        runs += _runs(text, int(start, 16), sectors)
    _require_possible(text, runs)
    return MemoryLayout(name[1:].strip(), tuple(runs))


def _runs(text: str, address: int, sectors: str) -> Iterator[MemoryRun]:
    for part in sectors.split(","):
        found = _SECTORS.fullmatch(part.strip())
        if found is None:
            raise MemoryStringError.of(text, problem=f"{part!r} is no count and size of sectors")
        size = int(found["size"]) * _MULTIPLIERS[found["multiplier"]]
        kind = ord(found["kind"])
        run = MemoryRun(address, int(found["count"]), size, bool(kind & 1), bool(kind & 2), bool(kind & 4))
        yield run
        address = run.end


def _require_possible(text: str, runs: list[MemoryRun]) -> None:
    if any(not run.count or not run.size_bytes for run in runs):
        raise MemoryStringError.of(text, problem="a sector or a count of sectors is zero")
    if sum(run.count for run in runs) > MOST_SECTORS or any(run.end > _ADDRESS_END for run in runs):
        raise MemoryStringError.of(text, problem="it claims more memory than there can be")
    ordered = sorted(runs, key=lambda run: run.address)
    if any(after.address < before.end for before, after in pairwise(ordered)):
        raise MemoryStringError.of(text, problem="two of its runs overlap")
