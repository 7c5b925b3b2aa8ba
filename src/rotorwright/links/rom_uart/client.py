"""The host's side of the ROM bootloader: every command, with retries that look before they repeat."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, TypeVar

from rotorwright.errors import LinkError
from rotorwright.links.rom_uart.codec import (
    LoaderInfo,
    WriteMessages,
    address_message,
    command_message,
    extended_sectors_message,
    fill_words,
    length_message,
    parse_checksum,
    parse_chip_id,
    parse_info,
    sectors_message,
    version_text,
    words_message,
)
from rotorwright.links.rom_uart.dialogue import Dialogue, RefusedMessage, SilentLine
from rotorwright.links.rom_uart.errors import (
    BlockTornError,
    CommandMissingError,
    CommandRefusedError,
    LoaderSilentError,
    ReadoutProtectedError,
    UnalignedAddressError,
    WipeUnfinishedError,
)
from rotorwright.links.rom_uart.spec import (
    ACK,
    ANSWER,
    BLOCK_BYTES,
    CHECKSUM_MIB,
    CHECKSUM_POLYNOMIAL,
    CHECKSUM_START,
    ERASE_SECTOR,
    ERASE_TRIES,
    ERASED,
    KNOWN_TO_ALL,
    MOST_SECTORS_EXTENDED,
    MOST_SECTORS_PLAIN,
    REFUSED_UNDER_READOUT_PROTECTION,
    SYNC_AFTER_ERASE_COMMAND,
    SYNC_AFTER_ERASE_SECTORS,
    SYNC_PATTERN,
    SYNC_ROUNDS,
    SYSTEM_MEMORY,
    TRIES,
    UNPROTECT,
    WORD_BYTES,
    Command,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rotorwright.errors import RotorwrightError
    from rotorwright.firmware.mcu import Sector
    from rotorwright.links.rom_uart.consent import WipeConsent
    from rotorwright.links.wire import Clock, Wire

_T = TypeVar("_T")

_VERSION_BYTES = 3
_WRITE = command_message(Command.WRITE)

UNIQUE_ID_BYTES = 12
"""96 bits (RM0090, device electronic signature)."""


class RomUartLoader:
    """The ROM bootloader of one board. Every method leaves it ready for the next command, or raises.

    Any method may raise PortVanishedError (or the LinkError of the wire) when the cable is pulled,
    LoaderSilentError when nothing answers, CommandRefusedError when a message is refused however often it is sent, and
    ReadoutProtectedError when the part is locked.
    """

    def __init__(self, wire: Wire, clock: Clock) -> None:
        self._dialogue = Dialogue(wire, clock)
        self._info: LoaderInfo | None = None
        self._cannot_sum = False

    def synchronise(self) -> None:
        """Find the bootloader and make it ready, whether it is fresh, used, or was left in the middle of a message.

        The answer is believed only when the bootloader then lists its commands, twice alike: a byte that looks like an
        answer may come from an application that chatters on the same port, and no checksum guards the list.

        Raises:
            LoaderSilentError: there is no bootloader on this port.
        """
        self._synchronise(SYNC_PATTERN)

    def _synchronise(self, pattern: tuple[bytes, ...]) -> None:
        for _ in range(SYNC_ROUNDS.count):
            self._dialogue.synchronise(pattern)
            try:
                info = self._get()
                if self._info is None and info == self._get():
                    self._info = info
            except (RefusedMessage, SilentLine):
                continue
            if self._info is not None:
                return
        raise LoaderSilentError.on(self._dialogue.port, heard=self._dialogue.heard)

    def info(self) -> LoaderInfo:
        """Return the protocol version and the commands that the bootloader knows."""
        if self._info is None:
            self.synchronise()
        assert self._info is not None
        return self._info

    @property
    def block_bytes(self) -> int:
        """Most bytes that one read or write moves."""
        return BLOCK_BYTES

    @property
    def can_read(self) -> bool:
        """Whether the bootloader knows the command to read memory; it is asked if it was not yet."""
        return self.info().knows(Command.READ)

    @property
    def write_granularity(self) -> int:
        """Writes start on a word and are filled up to one, in bytes."""
        return WORD_BYTES

    def version(self) -> str:
        """Return the protocol version as the command of its own tells it, "3.1" for instance."""
        self._require(Command.GET_VERSION)
        return self._repeat(Command.GET_VERSION, self._version_once, shown="")

    def chip_id(self) -> int:
        """Return the product id of the microcontroller, 0x413 for instance; no checksum guards it, so asked twice."""
        self._require(Command.GET_ID)
        return self._repeat(Command.GET_ID, lambda: parse_chip_id(self._counted_twice(Command.GET_ID)), shown="")

    def read_unique_id(self, address: int) -> str:
        """Return the 96-bit unique id at `address` as 24 lower-case hexadecimal digits, in the order of its bytes."""
        return self.read(address, UNIQUE_ID_BYTES).hex()

    def read(self, address: int, length: int, progress: Callable[[int, int], None] | None = None) -> bytes:
        """Return `length` bytes of memory from `address` on; `progress` gets bytes done and bytes in all."""
        result = bytearray()
        while len(result) < length:
            result += self.read_block(address + len(result), min(BLOCK_BYTES, length - len(result)))
            if progress is not None:
                progress(len(result), length)
        return bytes(result)

    def read_block(self, address: int, length: int) -> bytes:
        """Return 1 to 256 bytes of memory from `address` on."""
        self._require(Command.READ)
        try:
            return self._read_repeatedly(address, length)
        except CommandRefusedError:
            around = address - address % BLOCK_BYTES
            if not _is_small_read_refused(address, length):
                raise
            return self._read_repeatedly(around, BLOCK_BYTES)[address - around :][:length]

    def write(self, address: int, data: bytes, progress: Callable[[int, int], None] | None = None) -> None:
        """Write `data` to erased flash from `address` on; a last word that is not full is filled with erased bytes.

        Nothing is read back here but after a lost answer: see flash_writer.

        Raises:
            UnalignedAddressError: `address` is not on a word. Nothing was sent.
            BlockTornError: a block was written in part; its sector must be erased.
        """
        offsets = range(0, len(data), BLOCK_BYTES)
        if address % WORD_BYTES:
            raise UnalignedAddressError.at(address)
        blocks = [WriteMessages.of(address + offset, data[offset : offset + BLOCK_BYTES]) for offset in offsets]
        for offset, block in zip(offsets, blocks, strict=True):
            self.write_prepared(block)
            if progress is not None:
                progress(min(offset + BLOCK_BYTES, len(data)), len(data))

    def write_block(self, address: int, data: bytes) -> None:
        """Write 1 to 256 bytes to erased flash. After a lost answer, look at what stands there before repeating.

        Raises:
            UnalignedAddressError, BlockTornError: as for `write`.
        """
        if address % WORD_BYTES:
            raise UnalignedAddressError.at(address)
        self.write_prepared(WriteMessages.of(address, data))

    def write_prepared(self, block: WriteMessages) -> None:
        """Write a block whose messages were made before, as `write_block` does."""
        self._require(Command.WRITE)
        self._repeat(Command.WRITE, partial(self._write_once, block), shown=f"{block.address:#010x}")

    def erase(self, sectors: Sequence[int], *, timeout_s: float | None = None) -> None:
        """Erase the flash sectors with these numbers, and no others.

        `timeout_s` is for all of them together; left out, the longest time of any part we know is waited for.

        Raises:
            CommandMissingError: the bootloader knows neither kind of erase.
        """
        if not sectors:
            return
        wait_s = timeout_s if timeout_s is not None else ERASE_SECTOR.value * len(sectors)
        command, most, message = self._erase_kind()
        for first in range(0, len(sectors), most):
            some = sectors[first : first + most]
            erase = partial(self._erase_once, command, message(some), wait_s)
            self._repeat(command, erase, shown=", ".join(map(str, some)), silent_tries=ERASE_TRIES.count)

    def erase_sectors(self, sectors: Sequence[Sector], *, timeout_s: float | None = None) -> None:
        """Erase these sectors, as `erase` does by their numbers."""
        self.erase([sector.number for sector in sectors], timeout_s=timeout_s)

    def checksum(self, address: int, length: int) -> int | None:
        """Return the checksum of whole words of memory; None where the bootloader cannot tell it.

        It is believed only to find what need not be written: what was written is always read back.
        """
        if self._cannot_sum or not self.info().knows(Command.GET_CHECKSUM):
            return None
        try:
            ask = partial(self._checksum_once, address, length)
            return self._repeat(Command.GET_CHECKSUM, ask, shown=f"{address:#010x}", silent_tries=2)
        except (CommandRefusedError, LoaderSilentError):
            # It lists the command and does not answer as we ask: then reading does.
            self._cannot_sum = True
            self.synchronise()
            return None

    def remove_write_protection(self) -> None:
        """Take the lock off every write-protected sector; nothing is erased, and the board restarts.

        The bootloader is ready again only after it was entered anew.
        """
        self._require(Command.WRITE_UNPROTECT)
        self._repeat(
            Command.WRITE_UNPROTECT, partial(self._option_once, Command.WRITE_UNPROTECT, ANSWER.value), shown=""
        )
        self._info = None

    def remove_readout_protection(self, consent: WipeConsent) -> None:
        """Take the read-out protection off, which erases all flash: firmware, settings and the maker's data.

        The board restarts; whether the lock is off, only a reading after that can say.

        Raises:
            WipeConsentError: the consent is for another microcontroller. Nothing was sent.
            WipeUnfinishedError: it was sent and its end was not heard of: flash may be erased in part.
        """
        consent.require_for(self.chip_id())
        self._require(Command.READOUT_UNPROTECT)
        act = partial(self._option_once, Command.READOUT_UNPROTECT, UNPROTECT.value)
        try:
            self._repeat(Command.READOUT_UNPROTECT, act, shown="", silent_tries=1)
        except (LinkError, CommandRefusedError) as error:
            if error.facts.get("part") == "command":  # refused each time before any work
                raise
            raise WipeUnfinishedError.during(self._dialogue.port, heard=self._dialogue.heard) from error
        finally:
            self._info = None

    def go(self, address: int) -> None:
        """Start the application whose vector table stands at `address`.

        That the bootloader accepted says nothing about whether the application runs: listen for it.
        """
        self._require(Command.GO)
        self._repeat(Command.GO, lambda: self._go_once(address), shown=f"{address:#010x}")
        self._info = None

    def _get(self) -> LoaderInfo:
        info = parse_info(self._counted(Command.GET))
        if not all(map(info.knows, KNOWN_TO_ALL)):
            raise SilentLine("answer")  # it only looked like an answer
        return info

    def _counted(self, command: Command) -> bytes:
        """Return the body of an answer that begins with its length less one and ends with ACK."""
        self._dialogue.ask(command_message(command), "command")
        count = self._dialogue.take(1, "answer")[0] + 1
        body = self._dialogue.take(count, "answer")
        if self._dialogue.take(1, "end")[0] != ACK:
            raise SilentLine("end")
        return body

    def _version_once(self) -> str:
        """Return the version; the two bytes behind it are option bytes that no part uses any more (AN3155)."""
        self._dialogue.ask(command_message(Command.GET_VERSION), "command")
        body = self._dialogue.take(_VERSION_BYTES, "answer")
        if self._dialogue.take(1, "end")[0] != ACK:
            raise SilentLine("end")
        return version_text(body[0])

    def _counted_twice(self, command: Command) -> bytes:
        body = self._counted(command)
        if body != self._counted(command):
            raise SilentLine("answer")
        return body

    def _read_once(self, address: int, length: int) -> bytes:
        self._dialogue.ask(command_message(Command.READ), "command")
        self._dialogue.ask(address_message(address), "address")
        self._dialogue.ask(length_message(length), "length")
        data = self._dialogue.take(length, "data")
        if self._dialogue.has_surplus:
            raise SilentLine("data")
        return data

    def _read_repeatedly(self, address: int, length: int) -> bytes:
        return self._repeat(Command.READ, partial(self._read_once, address, length), shown=f"{address:#010x}")

    def _write_once(self, block: WriteMessages) -> None:
        self._dialogue.ask(_WRITE, "command")
        self._dialogue.ask(block.address_message, "address")
        try:
            self._dialogue.ask(block.data_message, "data")
        except (RefusedMessage, SilentLine):
            self._resynchronise(Command.WRITE, SYNC_PATTERN)
            if not self._is_written(block.address, block.data):
                raise

    def _is_written(self, address: int, data: bytes) -> bool:
        """Answer whether the block stands in flash (only its answer was lost); False where flash is still erased.

        The line that lost the answer may damage the reading too, so a bad one counts only if it comes twice.
        """
        sent = fill_words(data)
        for _ in range(2):
            found = self.read_block(address, len(sent))
            if found == sent:
                return True
            if not found.strip(bytes((ERASED,))):
                return False
        raise BlockTornError.at(address)

    def _erase_kind(self) -> tuple[Command, int, Callable[[Sequence[int]], bytes]]:
        info = self.info()
        if info.knows(Command.EXTENDED_ERASE):
            return Command.EXTENDED_ERASE, MOST_SECTORS_EXTENDED - 1, extended_sectors_message
        if info.knows(Command.ERASE):
            return Command.ERASE, MOST_SECTORS_PLAIN, sectors_message
        raise CommandMissingError.of(Command.ERASE.words, version=info.version)

    def _erase_once(self, command: Command, message: bytes, timeout_s: float) -> None:
        self._dialogue.ask(command_message(command), "command")
        self._dialogue.ask(message, "sectors", timeout_s=timeout_s)

    def _go_once(self, address: int) -> None:
        self._dialogue.ask(command_message(Command.GO), "command")
        self._dialogue.ask(address_message(address), "address")

    def _checksum_once(self, address: int, length: int) -> int:
        self._dialogue.ask(command_message(Command.GET_CHECKSUM), "command")
        self._dialogue.ask(address_message(address), "address")
        self._dialogue.ask(words_message(length // WORD_BYTES), "length")
        self._dialogue.ask(words_message(CHECKSUM_POLYNOMIAL), "polynomial")
        limit_s = ANSWER.value + CHECKSUM_MIB.value * length / 2**20
        self._dialogue.ask(words_message(CHECKSUM_START), "start", timeout_s=limit_s)
        found = parse_checksum(self._dialogue.take(5, "checksum"))
        if found is None or self._dialogue.has_surplus:
            raise SilentLine("checksum")
        return found

    def _option_once(self, command: Command, timeout_s: float) -> None:
        """Send a command that is accepted twice, before its work and after it; then the board restarts."""
        self._dialogue.ask(command_message(command), "command")
        self._dialogue.wait_accepted("end", timeout_s)

    def _require(self, command: Command) -> None:
        if not self.info().knows(command):
            raise CommandMissingError.of(command.words, version=self.info().version)

    def _repeat(self, command: Command, act: Callable[[], _T], *, shown: str, silent_tries: int = TRIES.count) -> _T:
        """Return what `act` returns, synchronising and trying again after a refusal or silence."""
        failures: list[RefusedMessage | SilentLine] = []
        while True:
            try:
                return act()
            except (RefusedMessage, SilentLine) as failure:
                failures.append(failure)
                self._resynchronise(command, _pattern_after(command, failure))
                most = TRIES.count if isinstance(failure, RefusedMessage) else silent_tries
                if len(failures) >= most:
                    raise self._given_up(command, failures, shown) from failure

    def _resynchronise(self, command: Command, pattern: tuple[bytes, ...]) -> None:
        """Bring the bootloader back to where it waits for a command, in the middle of `command`."""
        try:
            self._synchronise(pattern)
        except LoaderSilentError as error:
            raise LoaderSilentError.on(self._dialogue.port, heard=self._dialogue.heard, during=command.words) from error

    def _given_up(
        self, command: Command, failures: Sequence[RefusedMessage | SilentLine], shown: str
    ) -> RotorwrightError:
        if command in REFUSED_UNDER_READOUT_PROTECTION and all(map(_is_command_refused, failures)):
            return ReadoutProtectedError.at(command.words)
        last = failures[-1]
        if isinstance(last, RefusedMessage):
            return CommandRefusedError.at(command.words, last.part, shown=shown, tries=len(failures))
        return LoaderSilentError.on(self._dialogue.port, heard=self._dialogue.heard, during=command.words)


def _pattern_after(command: Command, failure: RefusedMessage | SilentLine) -> tuple[bytes, ...]:
    """Return what to synchronise with, so that no erase can come of it that was not asked for."""
    if command in {Command.ERASE, Command.EXTENDED_ERASE} and failure.part != "command":
        return SYNC_AFTER_ERASE_SECTORS
    return SYNC_AFTER_ERASE_COMMAND if command is Command.EXTENDED_ERASE else SYNC_PATTERN


def _is_command_refused(failure: RefusedMessage | SilentLine) -> bool:
    """Answer whether the command itself was refused, before any address: once is damage, always is a lock."""
    return isinstance(failure, RefusedMessage) and failure.part == "command"


def _is_small_read_refused(address: int, length: int) -> bool:
    """Answer whether this may be a part that reads its system memory in whole blocks only (SMALL_SYSTEM_READ)."""
    fits = address % BLOCK_BYTES + length <= BLOCK_BYTES and length < BLOCK_BYTES
    return address >= SYSTEM_MEMORY and fits
