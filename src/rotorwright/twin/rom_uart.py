"""The bootloader in the microcontroller's ROM, on its serial line, by ST application note AN3155: a state machine.

Bytes in, reactions out; no line, no clock. What a reaction asks of the flash is done by the aircraft, which knows the
time it takes, and reported back by `work_done`.

A real part has no queue behind its receiver: one byte waits in the data register, the rest is lost. So whatever comes
along with the end of a message that is answered, or while the answer is on its way, is lost but for one byte.

Source: AN3155, command codes, acknowledge values and checksums as in the table below. What is not known from a
document or an independent client is marked "unconfirmed" where it stands.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum, IntEnum
from functools import cache
from typing import TYPE_CHECKING, Final

from rotorwright.twin.flash import EraseSector, FlashOperation, ProgramBytes

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.twin.flash import FlashMemory
    from rotorwright.twin.memories import Memories

SYNCHRONISE: Final = 0x7F
ACK: Final = b"\x79"
NACK: Final = b"\x1f"


class Command(IntEnum):
    """Command codes. Source: AN3155, table of commands; seen in the traffic of stm32loader 0.7.1 and stm32flash 0.7."""

    GET = 0x00
    GET_VERSION = 0x01
    GET_ID = 0x02
    READ = 0x11
    GO = 0x21
    WRITE = 0x31
    ERASE = 0x43
    EXTENDED_ERASE = 0x44
    WRITE_PROTECT = 0x63
    WRITE_UNPROTECT = 0x73
    READOUT_PROTECT = 0x82
    READOUT_UNPROTECT = 0x92
    GET_CHECKSUM = 0xA1  # later revisions, from memory, unconfirmed


# Source: AN3155: a protected part still answers these; everything else is refused.
_ALLOWED_WHEN_PROTECTED: Final = frozenset(
    {Command.GET, Command.GET_VERSION, Command.GET_ID, Command.READOUT_UNPROTECT}
)
_WITH_CHECKSUM: Final = 0x33
_EVERYTHING_BYTE: Final = 0xFF  # plain erase: all pages
_EVERYTHING_CHECK: Final = b"\x00"  # what follows either: complement of the byte, exclusive or of the word
_EVERYTHING_WORD: Final = 0xFFFF  # extended erase: all sectors
_SPECIAL_ERASE: Final = 0xFFF0  # extended erase: from here on no count; only _EVERYTHING_WORD exists on one bank


class Then(Enum):
    """What the microcontroller does once its answer has left."""

    GO_ON = "go on"
    START = "start"
    RESET = "reset"


@dataclass(frozen=True, slots=True)
class Reaction:
    """What the bootloader does about the bytes it got: first answer, then work on the flash, then `then`."""

    answer: bytes = b""
    work: tuple[FlashOperation, ...] = ()
    then: Then = Then.GO_ON


_NOTHING: Final = Reaction()
_ACKED: Final = Reaction(ACK)
_REFUSED: Final = Reaction(NACK)


@dataclass(slots=True)
class OptionBytes:
    """Protection that outlives the power."""

    read_out_protected: bool = False
    write_protected: frozenset[int] = field(default_factory=frozenset)


class RomUart:
    """The bootloader from its start to its next reset.

    Args:
        memories: what it can read.
        flash: for sector numbers and write protection.
        options: the option bytes, changed in place by the protection commands.
        chip_id: what it answers to "get id".
        version: protocol version; from 3.0 (0x30) on it knows the extended erase, before that the plain one.
    """

    def __init__(
        self, memories: Memories, flash: FlashMemory, options: OptionBytes, *, chip_id: int, version: int = 0x31
    ) -> None:
        self._memories = memories
        self._flash = flash
        self._options = options
        self._chip_id = chip_id
        self._version = version
        self._pending = b""
        self._synchronised = False
        self._wanted = 2
        self._stage: Callable[[bytes], Reaction] = self._command
        self._after_work: Callable[[], Reaction] = lambda: _ACKED
        self._address = 0
        self._count = 0
        self._prefix = b""
        self._polynomial = 0
        self.go_address = 0
        self._handlers: dict[int, Callable[[], Reaction]] = self._make_handlers()

    @property
    def is_synchronised(self) -> bool:
        """Whether 0x7F was heard since the reset."""
        return self._synchronised

    @property
    def commands(self) -> tuple[int, ...]:
        """The command codes it knows."""
        return tuple(self._handlers)

    def receive(self, data: bytes) -> Reaction:
        """Take bytes that arrived while it was listening, and react to the message they complete, if any."""
        pending = self._pending + data if self._pending else data
        if not self._synchronised:
            return self._synchronise(pending)
        while len(pending) >= self._wanted:
            message, pending = pending[: self._wanted], pending[self._wanted :]
            reaction = self._stage(message)
            if reaction is not _NOTHING:
                self._pending = pending[:1]
                return reaction
        self._pending = pending
        return _NOTHING

    def overrun(self, data: bytes) -> None:
        """Take bytes that arrived while it was not listening: one waits in the data register, the rest is gone."""
        if not self._pending:
            self._pending = data[:1]

    def work_done(self, *, accepted: bool) -> Reaction:
        """React to the end of the work that was asked for; `accepted` is whether the flash did all of it."""
        return self._after_work() if accepted else self._next(_REFUSED)

    def _synchronise(self, pending: bytes) -> Reaction:
        place = pending.find(SYNCHRONISE)
        if place < 0:
            self._pending = b""  # it measures the length of the one bit it knows, and hears nothing in other bytes
            return _NOTHING
        self._synchronised = True
        self._pending = pending[place + 1 : place + 2]
        return self._next(_ACKED)

    def _expect(self, count: int, stage: Callable[[bytes], Reaction], reaction: Reaction = _NOTHING) -> Reaction:
        self._wanted = count
        self._stage = stage
        return reaction

    def _next(self, reaction: Reaction) -> Reaction:
        return self._expect(2, self._command, reaction)

    def _make_handlers(self) -> dict[int, Callable[[], Reaction]]:
        erase: tuple[int, Callable[[], Reaction]] = (
            (Command.EXTENDED_ERASE, lambda: self._expect(2, self._extended_erase_count, _ACKED))
            if self._version >= 0x30
            else (Command.ERASE, lambda: self._expect(1, self._erase_count, _ACKED))
        )
        return {
            Command.GET: self._get,
            Command.GET_VERSION: lambda: self._next(Reaction(ACK + bytes([self._version, 0, 0]) + ACK)),
            Command.GET_ID: lambda: self._next(Reaction(ACK + b"\x01" + self._chip_id.to_bytes(2, "big") + ACK)),
            Command.READ: lambda: self._expect(5, self._read_address, _ACKED),
            Command.GO: lambda: self._expect(5, self._go_address, _ACKED),
            Command.WRITE: lambda: self._expect(5, self._write_address, _ACKED),
            erase[0]: erase[1],
            Command.WRITE_PROTECT: lambda: self._expect(1, self._protect_count, _ACKED),
            Command.WRITE_UNPROTECT: self._write_unprotect,
            Command.READOUT_PROTECT: self._readout_protect,
            Command.READOUT_UNPROTECT: self._readout_unprotect,
        } | self._later_handlers()

    def _later_handlers(self) -> dict[int, Callable[[], Reaction]]:
        if self._version < _WITH_CHECKSUM:
            return {}
        return {Command.GET_CHECKSUM: lambda: self._expect(5, self._checksum_address, _ACKED)}

    def _checksum_address(self, message: bytes) -> Reaction:
        address = self._checked_address(message)
        if address is None or address % 4 or not self._memories.is_readable(address):
            return self._next(_REFUSED)
        self._address = address
        return self._expect(5, self._checksum_words, _ACKED)

    def _checksum_words(self, message: bytes) -> Reaction:
        count = self._checked_address(message)
        if not count or self._memories.read(self._address, 4 * count) is None:
            return self._next(_REFUSED)
        self._count = count
        return self._expect(5, self._checksum_polynomial, _ACKED)

    def _checksum_polynomial(self, message: bytes) -> Reaction:
        polynomial = self._checked_address(message)
        if polynomial is None:
            return self._next(_REFUSED)
        self._polynomial = polynomial
        return self._expect(5, self._checksum, _ACKED)

    def _checksum(self, message: bytes) -> Reaction:
        start = self._checked_address(message)
        data = self._memories.read(self._address, 4 * self._count)
        if start is None or data is None:
            return self._next(_REFUSED)
        answer = crc_of_words(data, self._polynomial, start).to_bytes(4, "big")
        return self._next(Reaction(ACK + answer + bytes([xor_of(answer)])))

    def _command(self, message: bytes) -> Reaction:
        code = message[0]
        handler = self._handlers.get(code)
        if handler is None or code ^ message[1] != 0xFF:
            return _REFUSED
        if self._options.read_out_protected and code not in _ALLOWED_WHEN_PROTECTED:
            return _REFUSED
        return handler()

    def _get(self) -> Reaction:
        codes = bytes(self._handlers)
        return self._next(Reaction(ACK + bytes([len(codes), self._version]) + codes + ACK))

    def _checked_address(self, message: bytes) -> int | None:
        return int.from_bytes(message[:4], "big") if xor_of(message) == 0 else None

    def _read_address(self, message: bytes) -> Reaction:
        address = self._checked_address(message)
        if address is None or not self._memories.is_readable(address):
            return self._next(_REFUSED)
        self._address = address
        return self._expect(2, self._read_count, _ACKED)

    def _read_count(self, message: bytes) -> Reaction:
        if message[0] ^ message[1] != 0xFF:
            return self._next(_REFUSED)
        data = self._memories.read(self._address, message[0] + 1)
        return self._next(_REFUSED if data is None else Reaction(ACK + data))

    def _go_address(self, message: bytes) -> Reaction:
        address = self._checked_address(message)
        if address is None or not (self._memories.is_flash(address) or self._memories.is_ram(address)):
            return self._next(_REFUSED)
        self.go_address = address
        return self._next(Reaction(ACK, then=Then.START))

    def _write_address(self, message: bytes) -> Reaction:
        address = self._checked_address(message)
        if address is None or not (self._memories.is_flash(address) or self._memories.is_ram(address)):
            return self._next(_REFUSED)
        self._address = address
        return self._expect(1, self._write_count, _ACKED)

    def _write_count(self, message: bytes) -> Reaction:
        self._count = message[0]
        return self._expect(message[0] + 2, self._write_data)

    def _write_data(self, message: bytes) -> Reaction:
        self._next(_NOTHING)
        if xor_of(message) != self._count:
            return _REFUSED
        data = message[:-1]
        if self._memories.is_flash(self._address):
            self._after_work = lambda: _ACKED
            return Reaction(work=(ProgramBytes(self._address, data),))
        return _ACKED if self._memories.write_ram(self._address, data) else _REFUSED

    def _erase_count(self, message: bytes) -> Reaction:
        self._prefix = message
        if message[0] == _EVERYTHING_BYTE:
            return self._expect(1, self._erase_everything)
        return self._expect(message[0] + 2, self._erase_pages)

    def _extended_erase_count(self, message: bytes) -> Reaction:
        self._prefix = message
        count = int.from_bytes(message, "big")
        if count == _EVERYTHING_WORD:
            return self._expect(1, self._erase_everything)
        # More sectors than there are is refused at once, and so is the erase of one bank: the part has only one.
        # Unconfirmed for the first.
        if count >= _SPECIAL_ERASE or count >= len(self._flash.sector_numbers()):
            return self._next(_REFUSED)
        return self._expect(2 * (count + 1) + 1, self._erase_sectors)

    def _erase_everything(self, message: bytes) -> Reaction:
        if message != _EVERYTHING_CHECK:
            return self._next(_REFUSED)
        return self._erase(self._flash.sector_numbers())

    def _erase_pages(self, message: bytes) -> Reaction:
        if xor_of(self._prefix + message):
            return self._next(_REFUSED)
        return self._erase(tuple(message[:-1]))

    def _erase_sectors(self, message: bytes) -> Reaction:
        if xor_of(self._prefix + message):
            return self._next(_REFUSED)
        words = message[:-1]
        return self._erase(tuple(int.from_bytes(words[i : i + 2], "big") for i in range(0, len(words), 2)))

    def _erase(self, numbers: tuple[int, ...]) -> Reaction:
        self._next(_NOTHING)
        if not all(self._flash.has_sector(number) for number in numbers):
            return _REFUSED
        self._after_work = lambda: _ACKED
        return Reaction(work=tuple(EraseSector(number) for number in numbers))

    def _protect_count(self, message: bytes) -> Reaction:
        self._prefix = message
        return self._expect(message[0] + 2, self._protect_sectors)

    def _protect_sectors(self, message: bytes) -> Reaction:
        self._next(_NOTHING)
        numbers = frozenset(message[:-1])
        if xor_of(self._prefix + message) or not all(self._flash.has_sector(number) for number in numbers):
            return _REFUSED
        self._options.write_protected = numbers
        return Reaction(ACK, then=Then.RESET)

    def _write_unprotect(self) -> Reaction:
        self._next(_NOTHING)
        self._options.write_protected = frozenset()
        return Reaction(ACK + ACK, then=Then.RESET)

    def _readout_protect(self) -> Reaction:
        self._next(_NOTHING)
        self._options.read_out_protected = True
        return Reaction(ACK + ACK, then=Then.RESET)

    def _readout_unprotect(self) -> Reaction:
        self._next(_NOTHING)
        self._after_work = self._readout_unprotected
        everything = tuple(EraseSector(number) for number in self._flash.sector_numbers())
        return Reaction(ACK, everything, Then.GO_ON)

    def _readout_unprotected(self) -> Reaction:
        self._options.read_out_protected = False
        return Reaction(ACK, then=Then.RESET)


def crc_of_words(data: bytes, polynomial: int, start: int) -> int:
    """Return the CRC of the part's own unit over words of low byte first, a byte at a time (RM0090, CRC unit)."""
    table = _crc_table(polynomial)
    crc = start
    for at in range(0, len(data), 4):
        for byte in reversed(data[at : at + 4]):
            crc = (crc << 8 & 0xFFFF_FFFF) ^ table[crc >> 24 ^ byte]
    return crc


@cache
def _crc_table(polynomial: int) -> tuple[int, ...]:
    rows = []
    for byte in range(256):
        crc = byte << 24
        for _ in range(8):
            crc = (crc << 1 ^ (polynomial if crc & 0x8000_0000 else 0)) & 0xFFFF_FFFF
        rows.append(crc)
    return tuple(rows)


def xor_of(data: bytes) -> int:
    """Return the exclusive or of all bytes, by folding the whole number in half: some 20 times quicker than a loop."""
    number = int.from_bytes(data, "big")
    bits = 8
    while bits < 8 * len(data):
        bits *= 2
    while bits > 8:
        bits //= 2
        number ^= number >> bits
    return number & 0xFF
