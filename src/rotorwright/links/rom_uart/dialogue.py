"""Message and answer, one at a time: what every command of the bootloader is made of.

After a failure the bootloader may wait for the rest of a message, or be about to answer an older one. `synchronise`
brings both ends back to a known state, "ready for a command", whatever happened before.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from rotorwright.links.delay import AnswerDelay
from rotorwright.links.rom_uart.errors import LoaderSilentError
from rotorwright.links.rom_uart.spec import (
    ACK,
    ANSWER,
    ANSWER_SHORT,
    NACK,
    QUIET,
    SILENCE_IN_DATA,
    SYNC_ANSWER,
    SYNC_PATTERN,
)

if TYPE_CHECKING:
    from rotorwright.links.wire import Clock, Wire

_CHUNK_BYTES = 4096
_SHOWN_BYTES = 12


class RefusedMessage(Exception):  # noqa: N818 - a turn of the dialogue, made an error of the family by the client
    """The bootloader answered NACK to the `part` ("command", "address", ...) of a command."""

    def __init__(self, part: str) -> None:
        super().__init__(part)
        self.part = part


class SilentLine(Exception):  # noqa: N818 - a turn of the dialogue, made an error of the family by the client
    """The bootloader did not answer to the `part` of a command, or its answer was cut short."""

    def __init__(self, part: str) -> None:
        super().__init__(part)
        self.part = part


class Dialogue:
    """One bootloader on one wire. Never more than one message is under way."""

    def __init__(self, wire: Wire, clock: Clock) -> None:
        self._wire = wire
        self._clock = clock
        self._input = bytearray()
        self._stray = bytearray()
        self._echoes = False
        self._delays: defaultdict[str, AnswerDelay] = defaultdict(_first_delay)

    @property
    def port(self) -> str:
        """Name of the port, for messages."""
        return self._wire.name

    @property
    def heard(self) -> str:
        """What was heard besides answers since the last `forget_heard`, in words."""
        if not self._stray:
            return "nothing but our own bytes; transmit and receive may be joined" if self._echoes else "nothing"
        shown = self._stray[-_SHOWN_BYTES:].hex(" ")
        return f"{len(self._stray)} bytes that are no answer, the last are {shown}"

    def ask(self, message: bytes, part: str, *, timeout_s: float | None = None) -> None:
        """Send `message` and wait until it is accepted, stepping over rubbish.

        Without `timeout_s`, the wait is learnt from how long this `part` took to be answered before.

        Raises:
            RefusedMessage: the answer was NACK.
            SilentLine: none came.
        """
        delay = self._delays[part]
        self._send(message)
        sent_s = self._clock.now_s()
        self.wait_accepted(part, delay.wait_s() if timeout_s is None else timeout_s)
        delay.learn(self._clock.now_s() - sent_s)

    def wait_accepted(self, part: str, timeout_s: float) -> None:
        """Wait until what was sent is accepted, stepping over rubbish; for answers that come twice.

        Raises:
            RefusedMessage: the answer was NACK.
            SilentLine: none came.
        """
        answer = self._answer(timeout_s)
        if answer == NACK:
            raise RefusedMessage(part)
        if answer is None:
            raise SilentLine(part)

    def take(self, count: int, part: str) -> bytes:
        """Return the next `count` bytes of an answer.

        Raises:
            SilentLine: fewer came.
        """
        while len(self._input) < count:
            more = self._wire.receive(_CHUNK_BYTES, SILENCE_IN_DATA.value)
            if not more:
                raise SilentLine(part)
            self._input += more
        taken = bytes(self._input[:count])
        del self._input[:count]
        return taken

    @property
    def has_surplus(self) -> bool:
        """Whether more bytes than asked for have come: a doubled answer, so the ones taken may be shifted."""
        return bool(self._input)

    def synchronise(self, pattern: tuple[bytes, ...] = SYNC_PATTERN) -> None:
        """Bring the bootloader to where it waits for a command, sending `pattern` piece by piece.

        Raises:
            LoaderSilentError: it answers neither ACK nor NACK.
        """
        self._stray.clear()
        self._echoes = False
        for piece in pattern:
            self._discard()
            self._wire.send(piece)
            answered = self._synchronising_answer(piece)
            if len(piece) > 1:
                self._drain()
            elif answered:
                return
        raise LoaderSilentError.on(self.port, heard=self.heard)

    def _synchronising_answer(self, sent: bytes) -> bool:
        """Answer whether ACK or NACK came. Our own bytes coming back first tell of a line that echoes."""
        deadline = self._clock.now_s() + SYNC_ANSWER.value
        returned = 0
        while (byte := self._next_byte(deadline)) is not None:
            if returned < len(sent) and byte == sent[returned]:
                returned += 1
                self._echoes = returned == len(sent)
            elif byte in {ACK, NACK}:
                return True
            else:
                self._note_stray(byte)
        return False

    def _drain(self) -> None:
        """Step over what still comes, such as refusals of surplus bytes; an application that chatters is left alone."""
        self._input.clear()
        deadline = self._clock.now_s() + SYNC_ANSWER.value
        while self._wire.receive(_CHUNK_BYTES, QUIET.value) and self._clock.now_s() < deadline:
            pass

    def _discard(self) -> None:
        """Forget answers to older messages, which would be taken for the one to the next."""
        self._input.clear()
        self._wire.discard_input()

    def _send(self, message: bytes) -> None:
        self._discard()
        self._wire.send(message)
        if self._echoes and self.take(len(message), "echo") != message:
            raise SilentLine("echo")

    def _answer(self, timeout_s: float) -> int | None:
        """Return ACK or NACK, stepping over rubbish; None when neither comes."""
        deadline = self._clock.now_s() + timeout_s
        while (byte := self._next_byte(deadline)) is not None:
            if byte in {ACK, NACK}:
                return byte
            self._note_stray(byte)
        return None

    def _next_byte(self, deadline: float) -> int | None:
        if not self._input:
            self._input += self._wire.receive(_CHUNK_BYTES, max(0.0, deadline - self._clock.now_s()))
        return self._input.pop(0) if self._input else None

    def _note_stray(self, byte: int) -> None:
        self._stray.append(byte)
        if len(self._stray) > _CHUNK_BYTES:
            del self._stray[:-_SHOWN_BYTES]


def _first_delay() -> AnswerDelay:
    return AnswerDelay(first_s=ANSWER.value, shortest_s=ANSWER_SHORT.value, longest_s=ANSWER.value)
