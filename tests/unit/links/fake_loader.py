"""A ROM bootloader of AN3155 in a few lines, stricter than a real one, with faults that a test switches on.

It is not the twin: it exists so that the client is tested against two devices written by different hands.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from functools import reduce
from operator import xor
from typing import TypeAlias

from tests.unit.links.simulated_wire import Reply

from rotorwright.firmware.mcu import Microcontroller, microcontroller

ACK, NACK = b"\x79", b"\x1f"
COMMANDS = bytes((0x00, 0x01, 0x02, 0x11, 0x21, 0x31, 0x44, 0x63, 0x73, 0x82, 0x92))
PART = "STM32F405xG"

Steps: TypeAlias = Generator[None, int, None]


@dataclass
class Faults:
    """Numbers of host bytes (from 0) and of answers (from 0) that something happens to."""

    lose_bytes: set[int] = field(default_factory=set)
    lose_answers: set[int] = field(default_factory=set)
    double_answers: set[int] = field(default_factory=set)
    rubbish_before: dict[int, bytes] = field(default_factory=dict)
    refuse_commands: set[int] = field(default_factory=set)
    delay_s: dict[int, float] = field(default_factory=dict)
    locked: bool = False
    echoes: bool = False
    dead: bool = False
    weak_addresses: set[int] = field(default_factory=set)  # flash bytes that never keep what is written
    refuse_small_reads: bool = False


class FakeLoader:
    """Feed it bytes; it answers through the wire."""

    def __init__(self, faults: Faults | None = None, *, commands: bytes = COMMANDS, part: str = PART) -> None:
        self.faults = faults if faults is not None else Faults()
        self.part: Microcontroller = microcontroller(part)
        self.flash = bytearray(b"\xff" * self.part.flash_size_bytes)
        self.unique_id = bytes(range(12))
        self.commands = commands
        self.log: list[str] = []
        self.bytes_taken = 0
        self.answers = 0
        self.strict_writes = True
        self.damage_reads: list[bool] = []  # of the next reads of memory or chip id, one after the other
        self._synchronised = False
        self._pending_reply: Reply | None = None
        self._steps = self._run()
        next(self._steps)

    def take(self, data: bytes, reply: Reply) -> None:
        self._pending_reply = reply
        if self.faults.echoes:
            reply(0.0, data)
        for byte in data:
            number, self.bytes_taken = self.bytes_taken, self.bytes_taken + 1
            if number not in self.faults.lose_bytes and not self.faults.dead:
                self._steps.send(byte)

    def holds(self, address: int, data: bytes) -> bool:
        start = address - self.part.flash_start
        return bytes(self.flash[start : start + len(data)]) == data

    def _answer(self, data: bytes, after_s: float = 0.001) -> None:
        assert self._pending_reply is not None
        number, self.answers = self.answers, self.answers + 1
        if number in self.faults.lose_answers:
            return
        delay = after_s + self.faults.delay_s.get(number, 0.0)
        if number in self.faults.rubbish_before:
            self._pending_reply(delay, self.faults.rubbish_before[number])
        for _ in range(2 if number in self.faults.double_answers else 1):
            self._pending_reply(delay, data)

    def _run(self) -> Steps:
        while True:
            code = yield
            if not self._synchronised:
                assert code == 0x7F, "a fresh bootloader measures the baud rate on the first byte"
                self._synchronised = True
                self._answer(ACK)
                continue
            complement = yield
            if code ^ complement != 0xFF or code not in self.commands or self._refuses(code):
                self._answer(NACK)
                continue
            yield from self._command(code)

    def _refuses(self, code: int) -> bool:
        locked = self.faults.locked and code in {0x11, 0x21, 0x31, 0x43, 0x44}
        return locked or self.answers in self.faults.refuse_commands

    def _command(self, code: int) -> Steps:
        match code:
            case 0x00:
                self._answer(ACK + bytes((len(self.commands), 0x31)) + self.commands + ACK)
            case 0x01:
                self._answer(ACK + b"\x31\x00\x00" + ACK)
            case 0x02:
                damage = len(self.damage_reads) > 0 and self.damage_reads.pop(0)
                self._answer(ACK + bytes((1,)) + (self.part.boot_id ^ damage).to_bytes(2, "big") + ACK)
            case 0x11:
                self._answer(ACK)
                yield from self._read()
            case 0x21:
                self._answer(ACK)
                address = yield from self._address()
                if address is not None:
                    self.log.append(f"go {address:08x}")
            case 0x31:
                self._answer(ACK)
                yield from self._write()
            case 0x43 | 0x44:
                self._answer(ACK)
                yield from self._erase(width=code - 0x42)
            case _:
                raise AssertionError(f"command {code:02x} was not expected")

    def _address(self) -> Generator[None, int, int | None]:
        message = yield from _some(5)
        address = int.from_bytes(message[:4], "big")
        good = _xor(message) == 0 and self._memory(address, 1) is not None
        self._answer(ACK if good else NACK)
        return address if good else None

    def _read(self) -> Steps:
        address = yield from self._address()
        if address is None:
            return
        count, complement = yield from _some(2)
        memory = self._memory(address, count + 1)
        small = self.faults.refuse_small_reads and count < 255 and address >= 0x1FFF0000
        if count ^ complement != 0xFF or memory is None or small:
            self._answer(NACK)
            return
        self.log.append(f"read {address:08x} {count + 1}")
        damage = len(self.damage_reads) > 0 and self.damage_reads.pop(0)
        self._answer(ACK + (bytes((memory[0] ^ 1,)) + memory[1:] if damage else memory))

    def _write(self) -> Steps:
        address = yield from self._address()
        if address is None:
            return
        count = (yield from _some(1))[0] + 1
        data = yield from _some(count)
        checksum = (yield from _some(1))[0]
        if _xor(bytes((count - 1,)) + data) != checksum:
            self._answer(NACK)
            return
        assert address % 4 == 0, "a write starts on a word"
        assert count % 4 == 0, "a write is made of whole words"
        start = address - self.part.flash_start
        if self.strict_writes:
            assert self.flash[start : start + count] == b"\xff" * count, "flash is written only where it is erased"
        self.log.append(f"write {address:08x} {count}")
        for offset, byte in enumerate(data):
            if address + offset not in self.faults.weak_addresses:
                self.flash[start + offset] &= byte
        self._answer(ACK, after_s=count / 4 * 16e-6)

    def _erase(self, *, width: int) -> Steps:
        count_bytes = yield from _some(width)
        numbers = yield from _some(width * (int.from_bytes(count_bytes, "big") + 1))
        checksum = (yield from _some(1))[0]
        sectors = [int.from_bytes(numbers[at : at + width], "big") for at in range(0, len(numbers), width)]
        if _xor(count_bytes + numbers) != checksum or any(number >= len(self.part.sectors) for number in sectors):
            self._answer(NACK)
            return
        for number in sectors:
            sector = self.part.sectors[number]
            start = sector.address - self.part.flash_start
            self.flash[start : start + sector.size_bytes] = b"\xff" * sector.size_bytes
            self.log.append(f"erase {number}")
        self._answer(ACK, after_s=sum(self.part.erase_typical_s[self.part.sectors[n].size_bytes] for n in sectors))

    def _memory(self, address: int, count: int) -> bytes | None:
        if self.part.flash_start <= address and address + count <= self.part.flash_end:
            start = address - self.part.flash_start
            return bytes(self.flash[start : start + count])
        low = self.part.unique_id_address & ~0xFF
        if low <= address and address + count <= low + 256:
            page = bytearray(256)
            at = self.part.unique_id_address - low
            page[at : at + 12] = self.unique_id
            return bytes(page[address - low : address - low + count])
        return None


def _some(count: int) -> Generator[None, int, bytes]:
    taken = bytearray()
    while len(taken) < count:
        taken.append((yield))
    return bytes(taken)


def _xor(data: bytes) -> int:
    return reduce(xor, data, 0)
