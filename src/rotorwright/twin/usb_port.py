"""The USB socket of a virtual aircraft: what a host sees there, and what may go wrong with a transfer on its way."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from enum import IntEnum, StrEnum
from typing import TYPE_CHECKING, Final

from rotorwright.twin.usb_dfu import FUNCTIONAL_DESCRIPTOR

if TYPE_CHECKING:
    from rotorwright.twin.aircraft import VirtualAircraft
    from rotorwright.twin.faults import FaultPlan

VENDOR, PRODUCT = 0x0483, 0xDF11  # of the ROM bootloaders (dfu_tables.csv)


class _Standard(IntEnum):
    """Requests that every device takes (USB 2.0, table 9-4)."""

    GET_DESCRIPTOR = 6
    GET_CONFIGURATION = 8
    SET_CONFIGURATION = 9
    SET_INTERFACE = 11


_STRING: Final = 3
_DOWNLOAD, _UPLOAD, _FIRST_BLOCK = 1, 2, 2
_ENGLISH: Final = (0x0409).to_bytes(2, "little")
_SERIAL_INDEX, _FIRST_ALTERNATE_INDEX = 3, 4
_CLASS: Final = 0x20  # type bits of a class request
_TYPE_BITS: Final = 0x60
IN: Final = 0x80  # direction bit of a request


class TransferFault(StrEnum):
    """What may happen to one transfer."""

    REQUEST_LOST = "request-lost"  # the device never sees it
    ANSWER_LOST = "answer-lost"  # the device acts, the host hears nothing
    LATE = "late"  # the device acts only after the host has given up
    DOUBLED = "doubled"  # the device gets it twice
    STALLED = "stalled"  # the device refuses it and is in its error state
    DAMAGED = "damaged"  # a bit of a data block is wrong


class Outcome(StrEnum):
    """How a transfer ended, for the host."""

    DONE = "done"
    STALLED = "stalled"
    LOST = "lost"
    BUSY = "busy"  # the device lets it wait: ask again
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class Transfer:
    """A control transfer, with the fields of its setup packet (USB 2.0, 9.3)."""

    kind: int
    request: int
    value: int
    index: int
    data: bytes
    length: int

    @property
    def is_dfu(self) -> bool:
        """Whether it is a request of the class, not one that every device takes."""
        return self.kind & _TYPE_BITS == _CLASS

    def is_block(self, request: int) -> bool:
        """Whether it moves a data block by this request."""
        return self.is_dfu and self.request == request and self.value >= _FIRST_BLOCK


@dataclass(frozen=True, slots=True)
class TransferEnd:
    """How a transfer ended, what it brought, and how many seconds later than usual that comes."""

    outcome: Outcome
    data: bytes = b""
    late_s: float = 0.0


@dataclass(frozen=True, slots=True)
class UsbFace:
    """What the descriptors of the device tell."""

    serial_number: str
    alternates: tuple[str, ...]
    functional: bytes = FUNCTIONAL_DESCRIPTOR


_LOST: Final = TransferEnd(Outcome.LOST)
_GONE: Final = TransferEnd(Outcome.GONE)
_STALLED: Final = TransferEnd(Outcome.STALLED)


class UsbPort:
    """Transfers to the bootloader of one aircraft.

    Args:
        aircraft: the aircraft.
        faults: what happens to which DFU request, counted from 1 over the life of this object.
    """

    def __init__(self, aircraft: VirtualAircraft, faults: dict[int, TransferFault] | None = None) -> None:
        self.aircraft = aircraft
        self.faults = faults or {}
        self.requests = 0
        self._late: Transfer | None = None
        self._dice = random.Random(1)

    def face(self, now_s: float) -> UsbFace | None:
        """Return what is plugged in; None while no bootloader is there."""
        dfu = self.aircraft.usb_bootloader(now_s)
        if dfu is None:
            return None
        return UsbFace(self.aircraft.unique_id[:6].hex().upper(), dfu.alternates)

    def transfer(self, transfer: Transfer, now_s: float) -> TransferEnd:
        """Let one transfer happen at `now_s`."""
        dfu = self.aircraft.usb_bootloader(now_s)
        if dfu is None:
            return _GONE
        if dfu.is_deaf():
            return TransferEnd(Outcome.BUSY)
        if self._late is not None:
            late, self._late = self._late, None
            self._pass_on(late, now_s)
        if not transfer.is_dfu:
            return self._standard(transfer, now_s)
        self.requests += 1
        end = self._with_fault(self._fault(), transfer, now_s)
        return replace(end, late_s=self.aircraft.faults.late_s)

    def _fault(self) -> TransferFault | None:
        return self.faults.get(self.requests) or _by_rates(self.aircraft.faults, self._dice)

    def _with_fault(self, fault: TransferFault | None, transfer: Transfer, now_s: float) -> TransferEnd:
        match fault:
            case TransferFault.REQUEST_LOST:
                return _LOST
            case TransferFault.ANSWER_LOST:
                self._pass_on(transfer, now_s)
                return _LOST
            case TransferFault.LATE:
                self._late = transfer
                return _LOST
            case TransferFault.STALLED:
                self.aircraft.usb_stall(now_s)
                return _STALLED
            case TransferFault.DOUBLED:
                self._pass_on(transfer, now_s)
            case TransferFault.DAMAGED:
                end = self._pass_on(_damaged(transfer), now_s)
                return TransferEnd(end.outcome, _flipped(end.data)) if transfer.is_block(_UPLOAD) else end
        return self._pass_on(transfer, now_s)

    def _pass_on(self, transfer: Transfer, now_s: float) -> TransferEnd:
        return self.aircraft.usb_request(transfer, now_s)

    # What every device answers (USB 2.0, 9.4)

    def _standard(self, transfer: Transfer, now_s: float) -> TransferEnd:
        match transfer.request:
            case _Standard.GET_DESCRIPTOR if transfer.value >> 8 == _STRING:
                return self._string(transfer.value & 0xFF, transfer.length, now_s)
            case _Standard.GET_CONFIGURATION:
                return TransferEnd(Outcome.DONE, b"\x01")
            case _Standard.SET_CONFIGURATION:
                return TransferEnd(Outcome.DONE)
            case _Standard.SET_INTERFACE:
                dfu = self.aircraft.usb_bootloader(now_s)
                return TransferEnd(Outcome.DONE) if dfu is not None and dfu.select(transfer.value) else _STALLED
        return _STALLED

    def _string(self, index: int, length: int, now_s: float) -> TransferEnd:
        face = self.face(now_s)
        if face is None:
            return _GONE
        texts = {1: "Rotorwright", 2: "Bootloader", _SERIAL_INDEX: face.serial_number}
        texts |= {_FIRST_ALTERNATE_INDEX + number: text for number, text in enumerate(face.alternates)}
        if index and index not in texts:
            return _STALLED
        body = texts[index].encode("utf-16-le") if index else _ENGLISH
        return TransferEnd(Outcome.DONE, (bytes((len(body) + 2, _STRING)) + body)[:length])


def set_interface(alternate: int) -> Transfer:
    """Return the standard request that turns to an alternate setting."""
    return Transfer(0x01, _Standard.SET_INTERFACE, alternate, 0, b"", 0)


def alternate_string_index(number: int) -> int:
    """Return the index of the string of alternate setting `number`."""
    return _FIRST_ALTERNATE_INDEX + number


def _by_rates(plan: FaultPlan, dice: random.Random) -> TransferFault | None:
    """Return what the rates of a fault plan do to this transfer."""
    for rate, faults in (
        (plan.loss_rate, (TransferFault.REQUEST_LOST, TransferFault.ANSWER_LOST)),
        (plan.damage_rate, (TransferFault.DAMAGED,)),
        (plan.double_rate, (TransferFault.DOUBLED,)),
    ):
        if rate and dice.random() < rate:
            return dice.choice(faults)
    return None


def _damaged(transfer: Transfer) -> Transfer:
    """Flip a bit of a data block on its way to the device. A checksum guards other transfers on a real bus, too."""
    if not transfer.is_block(_DOWNLOAD):
        return transfer
    data = _flipped(transfer.data)
    return Transfer(transfer.kind, transfer.request, transfer.value, transfer.index, data, transfer.length)


def _flipped(data: bytes) -> bytes:
    if not data:
        return data
    middle = len(data) // 2
    return data[:middle] + bytes((data[middle] ^ 0x10,)) + data[middle + 1 :]
