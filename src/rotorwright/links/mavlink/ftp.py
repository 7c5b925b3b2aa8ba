"""Files of the aircraft by MAVLink FTP: read in bursts with the gaps filled, written piece by piece, checked by CRC.

A request that got no answer is sent again with the same number, so an aircraft that answered already answers the same
again. A session that the aircraft has forgotten is opened anew, and the work goes on where it was.

Source: MAVLink guide, page "file transfer protocol".
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.errors import LinkError, ProtocolError
from rotorwright.links.delay import AnswerDelay
from rotorwright.links.mavlink.errors import FileDamagedError, FileMissingError, FileRefusedError
from rotorwright.links.mavlink.spec import (
    FTP_ANSWER,
    FTP_ANSWER_LONG,
    FTP_ANSWER_SHORT,
    FTP_BURST_GAP,
    FTP_CRC,
    FTP_DATA_BYTES,
    FTP_HEADER_BYTES,
    FTP_PAYLOAD_BYTES,
    FTP_REFUSAL_WORDS,
    FTP_SESSIONS,
    FTP_TRIES,
    FtpOpcode,
    FtpRefusal,
    MessageId,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.links.limits import Limit
    from rotorwright.links.mavlink.channel import Channel
    from rotorwright.links.mavlink.codec import Frame

_HEADER = struct.Struct("<HBBBBBxI")  # number, session, opcode, size, opcode asked, burst complete, padding, offset
_SEQUENCE_MODULUS = 1 << 16
_WRITTEN_IN_PART = "The file on the aircraft may be written in part. Its settings and firmware are untouched."


@dataclass(frozen=True, slots=True)
class FtpMessage:
    """What is inside a FILE_TRANSFER_PROTOCOL message."""

    sequence: int
    opcode: int
    session: int = 0
    offset: int = 0
    size: int = 0
    data: bytes = b""
    asked_opcode: int = 0
    burst_complete: bool = False

    def to_bytes(self) -> bytes:
        """Return the 251 bytes of the payload."""
        assert len(self.data) <= FTP_DATA_BYTES
        header = _HEADER.pack(
            self.sequence, self.session, self.opcode, self.size, self.asked_opcode, self.burst_complete, self.offset
        )
        return (header + self.data).ljust(FTP_PAYLOAD_BYTES, b"\0")

    @classmethod
    def from_bytes(cls, payload: bytes) -> FtpMessage:
        """Return the message in the 251 bytes of a payload; data beyond its size is left out."""
        sequence, session, opcode, size, asked, burst, offset = _HEADER.unpack_from(payload)
        data = payload[FTP_HEADER_BYTES:][:size]
        return cls(sequence, opcode, session, offset, size, data, asked, bool(burst))

    @property
    def refusal(self) -> int | None:
        """The reason of a NAK; None for everything else."""
        if self.opcode != FtpOpcode.NAK:
            return None
        return self.data[0] if self.data else FtpRefusal.NONE


def file_crc(data: bytes) -> int:
    """Return the CRC-32 that MAVLink uses for files: that of zlib with initial value 0 and without the last inversion.

    Source: file transfer protocol page; "123456789" gives 2DFD2D88 (tests/outside/data/crc_check_values.csv).
    """
    return zlib.crc32(data, 0xFFFF_FFFF) ^ 0xFFFF_FFFF


class _SessionLostError(Exception):
    """The aircraft has forgotten the session. Inside this module only."""


class FileClient:
    """Reads and writes files of one aircraft. One request is under way at a time."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self._sequence = 0
        self._retried: FtpMessage | None = None  # the request under way, once it was sent again
        self._answered: FtpMessage | None = None  # the one before it, if that was sent again
        self._delay = _delay_from(FTP_ANSWER)
        self._crc_delay = _delay_from(FTP_CRC)

    def read(self, path: str, progress: Callable[[int, int], None] | None = None) -> bytes:
        """Return a whole file, its CRC compared with the one that the aircraft computes (if it can).

        Raises:
            FileMissingError: there is no such file.
            FileRefusedError: the aircraft refuses to hand it out.
            FileDamagedError: the CRC is another one, twice.
            NoAnswerError: the aircraft stopped answering.
        """
        expected, found = 0, 0
        for _ in range(2):
            data = _Download(self, path, progress).run()
            crc = self.crc(path)
            if crc is None or crc == file_crc(data):
                return data
            expected, found = crc, file_crc(data)
        raise FileDamagedError.of(path, expected=expected, found=found)

    def write(
        self, path: str, data: bytes, progress: Callable[[int, int], None] | None = None, *, verify: bool = False
    ) -> None:
        """Write `data` as the whole content of a file.

        That the aircraft accepted each piece does not say that it keeps them: read the file back, or ask with `verify`
        for its CRC to be compared at once.

        Raises:
            FileRefusedError: the aircraft refuses.
            FileDamagedError: the CRC is another one (only with `verify`).
            NoAnswerError: the aircraft stopped answering.
        """
        self._write_in_sessions(path, data, progress)
        if not verify:
            return
        crc = self.crc(path)
        found = file_crc(self.read(path)) if crc is None else crc
        if found != file_crc(data):
            raise FileDamagedError.of(path, expected=file_crc(data), found=found, state=_WRITTEN_IN_PART)

    def crc(self, path: str) -> int | None:
        """Return the CRC that the aircraft computes over a file; None if it cannot.

        Raises:
            FileRefusedError: the aircraft refuses for another reason.
        """
        answer = self.request(FtpOpcode.CALC_FILE_CRC32, data=path.encode(), delay=self._crc_delay)
        if answer.refusal == FtpRefusal.UNKNOWN_COMMAND:
            return None
        self.require(answer, path, "compute the checksum of")
        return int.from_bytes(answer.data[:4], "little")

    def open(self, opcode: FtpOpcode, path: str, doing: str) -> FtpMessage:
        """Open a file and return the answer, which has the session and, if the aircraft says it, the size.

        Sessions left over from a program that was stopped are ended when they leave no room.
        """
        answer = self.request(opcode, data=path.encode())
        if answer.refusal == FtpRefusal.NO_SESSIONS_AVAILABLE:
            self.request(FtpOpcode.RESET_SESSIONS)
            answer = self.request(opcode, data=path.encode())
        self.require(answer, path, doing)
        return answer

    def close(self, session: int) -> None:
        """End a session; one that the aircraft has forgotten already is ended too."""
        self.request(FtpOpcode.TERMINATE_SESSION, session=session)

    def request(
        self,
        opcode: FtpOpcode,
        *,
        session: int = 0,
        offset: int = 0,
        size: int | None = None,
        data: bytes = b"",
        delay: AnswerDelay | None = None,
    ) -> FtpMessage:
        """Send a request until it is answered, and return the answer, ACK or NAK.

        Raises:
            NoAnswerError: no answer came.
        """
        message = self.message(opcode, session=session, offset=offset, size=size, data=data)
        self._retried = None

        def send(attempt: int) -> None:
            self._retried = message if attempt else None
            self.send(message)

        answer = self._channel.ask(
            f"the file request {opcode.name}",
            send,
            lambda frame: self._answer_to(message, frame),
            delay=delay or self._delay,
            tries=FTP_TRIES,
        )
        self._answered = self._retried
        self._sequence = (answer.sequence + 1) % _SEQUENCE_MODULUS
        return answer

    def message(
        self, opcode: FtpOpcode, *, session: int = 0, offset: int = 0, size: int | None = None, data: bytes = b""
    ) -> FtpMessage:
        """Return the next request; it is not sent yet."""
        return FtpMessage(
            sequence=self._sequence,
            opcode=opcode,
            session=session,
            offset=offset,
            size=len(data) if size is None else size,
            data=data,
        )

    def send(self, message: FtpMessage) -> None:
        """Send one message about files."""
        self._channel.send(MessageId.FILE_TRANSFER_PROTOCOL, {"payload": tuple(message.to_bytes())})

    def burst(self, message: FtpMessage) -> Iterator[FtpMessage]:
        """Yield the parts of a burst that `message` asks for, until the last one or until no more come in time.

        Raises:
            NoAnswerError: not even the first part came.
        """
        part: FtpMessage | None = self._channel.ask(
            f"the file request {FtpOpcode.BURST_READ_FILE.name}",
            lambda _: self.send(message),
            lambda frame: self._part_of_burst(message, frame),
            delay=self._delay,
            tries=FTP_TRIES,
        )
        while part is not None:
            self._sequence = (part.sequence + 1) % _SEQUENCE_MODULUS
            yield part
            if part.opcode != FtpOpcode.ACK or part.burst_complete:
                return
            deadline = self._channel.clock.now_s() + max(self._delay.wait_s(), FTP_ANSWER.value)
            part = self._channel.wait_for(lambda frame: self._part_of_burst(message, frame), deadline)

    def require(self, answer: FtpMessage, path: str, doing: str) -> None:
        """Turn a NAK into an error, and a lost session into its own.

        Raises:
            FileMissingError, FileRefusedError: as the NAK says.
        """
        code = answer.refusal
        if code is None:
            return
        if code == FtpRefusal.INVALID_SESSION:
            raise _SessionLostError
        words = next((text for number, text in FTP_REFUSAL_WORDS.items() if number == code), "it gives no known reason")
        kind = FileMissingError if code == FtpRefusal.FILE_NOT_FOUND else FileRefusedError
        raise kind.of(path, doing=doing, words=words, code=code)

    def _answer_to(self, message: FtpMessage, frame: Frame) -> FtpMessage | None:
        """Return the answer to `message`, whose number is one more; an answer to an older request is left alone."""
        answer = self._ours(frame)
        if answer is None:
            return None
        if self._answered is not None and _is_answer(answer, self._answered):
            self._answered = None  # it came twice, so asking twice was too hasty
            self._delay.back_off()
        return answer if _is_answer(answer, message) else None

    def _part_of_burst(self, message: FtpMessage, frame: Frame) -> FtpMessage | None:
        part = self._ours(frame)
        if part is None or part.asked_opcode != FtpOpcode.BURST_READ_FILE:
            return None
        is_behind = (part.sequence - message.sequence) % _SEQUENCE_MODULUS > _SEQUENCE_MODULUS // 2
        return None if is_behind else part

    def _ours(self, frame: Frame) -> FtpMessage | None:
        if frame.message_id != MessageId.FILE_TRANSFER_PROTOCOL:
            return None
        fields = frame.fields
        if fields.integer("target_system") not in {0, self._channel.us.system}:
            return None
        return FtpMessage.from_bytes(bytes(fields.integers("payload")))

    def _write_in_sessions(self, path: str, data: bytes, progress: Callable[[int, int], None] | None) -> None:
        done = 0
        for _ in range(FTP_SESSIONS.count):
            try:
                session = self._open_for_writing(path, len(data))
            except _SessionLostError:
                continue
            try:
                done = self._write_from(session, path, data, done, progress)
            except (LinkError, ProtocolError) as error:
                error.with_state(_WRITTEN_IN_PART)
                raise
            if done == len(data):
                self.close(session)
                return
        raise _sessions_lost(path, "write")

    def _open_for_writing(self, path: str, size: int) -> int:
        """Open a file that is there, cut to `size` if it is longer, or make it."""
        try:
            answer = self.open(FtpOpcode.OPEN_FILE_WO, path, "open for writing")
        except FileMissingError:
            return self.open(FtpOpcode.CREATE_FILE, path, "make").session
        if _size_in(answer) > size:
            self.close(answer.session)
            cut = self.request(FtpOpcode.TRUNCATE_FILE, offset=size, data=path.encode())
            self.require(cut, path, "cut")
            answer = self.open(FtpOpcode.OPEN_FILE_WO, path, "open for writing")
        return answer.session

    def _write_from(
        self, session: int, path: str, data: bytes, start: int, progress: Callable[[int, int], None] | None
    ) -> int:
        """Write from `start` on and return how far it came: to the end, or to where the session was lost."""
        for offset in range(start, len(data), FTP_DATA_BYTES):
            piece = data[offset : offset + FTP_DATA_BYTES]
            answer = self.request(FtpOpcode.WRITE_FILE, session=session, offset=offset, data=piece)
            if answer.refusal == FtpRefusal.INVALID_SESSION:
                return offset
            self.require(answer, path, "write")
            if progress is not None:
                progress(offset + len(piece), len(data))
        return len(data)


class _Download:
    """The reading of one file: bursts while much is missing, single pieces for what is left."""

    def __init__(self, client: FileClient, path: str, progress: Callable[[int, int], None] | None) -> None:
        self._client = client
        self._path = path
        self._progress = progress
        self._data = bytearray()
        self._missing: list[tuple[int, int]] = []  # ranges, end excluded, sorted
        self._knows_bursts = True

    def run(self) -> bytes:
        """Return the file."""
        for attempt in range(FTP_SESSIONS.count):
            try:
                opened = self._client.open(FtpOpcode.OPEN_FILE_RO, self._path, "open")
                if attempt == 0 or _size_in(opened) != len(self._data):
                    self._data = bytearray(_size_in(opened))
                    self._missing = [(0, len(self._data))] if self._data else []
                self._read_all(opened.session)
                self._client.close(opened.session)
            except _SessionLostError:
                continue
            return bytes(self._data)
        raise _sessions_lost(self._path, "read")

    def _read_all(self, session: int) -> None:
        while self._missing:
            start, end = self._missing[0]
            if self._knows_bursts and end - start > FTP_BURST_GAP.value:
                self._read_burst(session, start)
            else:
                self._read_piece(session, start, min(FTP_DATA_BYTES, end - start))

    def _read_burst(self, session: int, start: int) -> None:
        message = self._client.message(FtpOpcode.BURST_READ_FILE, session=session, offset=start, size=FTP_DATA_BYTES)
        for part in self._client.burst(message):
            if part.refusal == FtpRefusal.UNKNOWN_COMMAND:
                self._knows_bursts = False
            elif part.refusal != FtpRefusal.EOF:
                self._client.require(part, self._path, "read")
                self._take(part)

    def _read_piece(self, session: int, start: int, size: int) -> None:
        answer = self._client.request(FtpOpcode.READ_FILE, session=session, offset=start, size=size)
        self._client.require(answer, self._path, "read")
        if not answer.data:
            raise FileRefusedError.of(self._path, doing="read", words="it sends nothing", code=FtpRefusal.NONE)
        self._take(answer)

    def _take(self, part: FtpMessage) -> None:
        """Put a piece where it belongs; one that came before, or lies beyond the end, changes nothing."""
        end = min(part.offset + len(part.data), len(self._data))
        if part.offset >= end:
            return
        self._data[part.offset : end] = part.data[: end - part.offset]
        self._missing = [
            piece
            for low, high in self._missing
            for piece in ((low, min(high, part.offset)), (max(low, end), high))
            if piece[0] < piece[1]
        ]
        if self._progress is not None:
            done = len(self._data) - sum(high - low for low, high in self._missing)
            self._progress(done, len(self._data))


def _delay_from(first: Limit) -> AnswerDelay:
    return AnswerDelay(first_s=first.value, shortest_s=FTP_ANSWER_SHORT.value, longest_s=FTP_ANSWER_LONG.value)


def _is_answer(answer: FtpMessage, message: FtpMessage) -> bool:
    """Answer whether `answer` is for `message`: its number is one more (some aircraft repeat the same)."""
    follows = (answer.sequence - message.sequence) % _SEQUENCE_MODULUS
    return answer.asked_opcode == message.opcode and follows <= 1


def _size_in(opened: FtpMessage) -> int:
    """Return the size in the answer to an open request."""
    return int.from_bytes(opened.data[:4], "little")


def _sessions_lost(path: str, doing: str) -> FileRefusedError:
    code = FtpRefusal.INVALID_SESSION
    words = f"it forgot the session {FTP_SESSIONS.count} times"
    return FileRefusedError.of(path, doing=doing, words=words, code=code)
