"""MAVLink FTP: the files that the aircraft holds, and the protocol that reads and writes them.

No file can be made, removed or renamed. An answer that was lost is given again: a request that repeats the last one of
the same sender, byte for byte, gets the very same answer and has no second effect.

Source: MAVLink guide, page "file transfer protocol"; the tables below are checked against tests/outside/data.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Protocol

from pymavlink.dialects.v20 import common

from rotorwright.twin.mavlink_codec import Packet
from rotorwright.twin.metadata_service import file_crc

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.twin.mavlink_codec import Incoming

MOST_DATA = 239
MOST_SESSIONS = 4
_HEAD = struct.Struct("<HBBBBBxI")
_PAYLOAD_BYTES = 251
_TARGET = struct.Struct("<BBB")  # network, system, component


class Opcode(IntEnum):
    """What a request asks for, and the two kinds of answer."""

    NONE = 0
    TERMINATE_SESSION = 1
    RESET_SESSIONS = 2
    LIST_DIRECTORY = 3
    OPEN_FILE_RO = 4
    READ_FILE = 5
    CREATE_FILE = 6
    WRITE_FILE = 7
    REMOVE_FILE = 8
    CREATE_DIRECTORY = 9
    REMOVE_DIRECTORY = 10
    OPEN_FILE_WO = 11
    TRUNCATE_FILE = 12
    RENAME = 13
    CALC_FILE_CRC32 = 14
    BURST_READ_FILE = 15
    ACK = 128
    NAK = 129


class Refusal(IntEnum):
    """Why a request was refused."""

    FAIL = 1
    FAIL_ERRNO = 2
    INVALID_DATA_SIZE = 3
    INVALID_SESSION = 4
    NO_SESSIONS_AVAILABLE = 5
    EOF = 6
    UNKNOWN_COMMAND = 7
    FILE_EXISTS = 8
    FILE_PROTECTED = 9
    FILE_NOT_FOUND = 10


@dataclass(frozen=True, slots=True)
class FtpMessage:
    """The 251 bytes inside FILE_TRANSFER_PROTOCOL. `size` is of the data, or of the data asked for."""

    sequence: int
    opcode: int
    session: int = 0
    size: int = 0
    request_opcode: int = 0
    burst_complete: bool = False
    offset: int = 0
    data: bytes = b""

    def to_bytes(self) -> bytes:
        """Return the message as it goes over the wire, filled up with zeros."""
        head = _HEAD.pack(
            self.sequence, self.session, self.opcode, self.size, self.request_opcode, self.burst_complete, self.offset
        )
        return (head + self.data).ljust(_PAYLOAD_BYTES, b"\0")

    @classmethod
    def from_bytes(cls, raw: bytes) -> FtpMessage:
        """Return the message in `raw`, all 239 data bytes with it: `size` says how many count."""
        sequence, session, opcode, size, request_opcode, burst_complete, offset = _HEAD.unpack_from(raw)
        return cls(
            sequence,
            opcode,
            session,
            size,
            request_opcode,
            bool(burst_complete),
            offset,
            raw[_HEAD.size : _PAYLOAD_BYTES],
        )


class File(Protocol):
    """A file of the aircraft; its size never changes."""

    @property
    def size_bytes(self) -> int:
        """How many bytes it has."""
        ...

    @property
    def is_writable(self) -> bool:
        """Whether it may be opened for writing."""
        ...

    def read(self, offset: int, length: int) -> bytes:
        """Return bytes, fewer at the end."""
        ...

    def write(self, offset: int, data: bytes) -> None:
        """Write bytes that lie inside the file."""
        ...

    def close(self) -> None:
        """Hear that the session which had the file open has ended."""
        ...


@dataclass(frozen=True, slots=True)
class FixedFile:
    """A file that is only read."""

    content: bytes
    is_writable: bool = False

    @property
    def size_bytes(self) -> int:
        """How many bytes it has."""
        return len(self.content)

    def read(self, offset: int, length: int) -> bytes:
        """Return bytes, fewer at the end."""
        return self.content[offset : offset + length]

    def write(self, offset: int, data: bytes) -> None:
        """Never called: the file cannot be opened for writing."""

    def close(self) -> None:
        """Nothing ends with the session."""


class RequestRefusedError(Exception):
    """A request cannot be done. Inside this module only; the other side gets a NAK."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.name)
        self.refusal = refusal


@dataclass(frozen=True, slots=True)
class _Session:
    file: File
    is_writing: bool


@dataclass(slots=True)
class _Burst:
    """A burst read under way."""

    sender: tuple[int, int]
    session: int
    file: File
    sequence: int
    offset: int
    size: int


class FtpService:
    """The server side of MAVLink FTP over a fixed set of files.

    Args:
        files: files by path; folders are what stands before a slash.
    """

    def __init__(self, files: Mapping[str, File]) -> None:
        self._files = dict(files)
        self._sessions: dict[int, _Session] = {}
        self._last: dict[tuple[int, int], tuple[bytes, Packet | None]] = {}
        self._burst: _Burst | None = None
        self._acts: Mapping[int, Callable[[FtpMessage], FtpMessage]] = {
            Opcode.NONE: _ack,
            Opcode.TERMINATE_SESSION: self._terminate,
            Opcode.RESET_SESSIONS: self._reset,
            Opcode.LIST_DIRECTORY: self._list,
            Opcode.OPEN_FILE_RO: self._open_for_reading,
            Opcode.READ_FILE: self._read,
            Opcode.CREATE_FILE: self._open_for_writing,
            Opcode.WRITE_FILE: self._write,
            Opcode.REMOVE_FILE: _protected,
            Opcode.CREATE_DIRECTORY: _protected,
            Opcode.REMOVE_DIRECTORY: _protected,
            Opcode.OPEN_FILE_WO: self._open_for_writing,
            Opcode.TRUNCATE_FILE: _protected,
            Opcode.RENAME: _protected,
            Opcode.CALC_FILE_CRC32: self._crc,
        }

    def on_request(self, incoming: Incoming) -> Packet | None:
        """Return the answer to a FILE_TRANSFER_PROTOCOL message, or nothing if a burst answers it."""
        raw = incoming.payload[_TARGET.size :]
        known, answer = self._last.get(incoming.sender, (b"", None))
        request = FtpMessage.from_bytes(raw)
        if request.opcode == Opcode.BURST_READ_FILE:  # asked again, a burst runs again: reading has no effect to double
            answer = self._start_burst(request, incoming.sender)
        elif raw != known:
            answer = _packet(self._answer(request), incoming.sender)
        self._last[incoming.sender] = (raw, answer)
        return answer

    @property
    def has_more(self) -> bool:
        """Whether a burst is under way."""
        return self._burst is not None

    def next_packet(self) -> Packet | None:
        """Return the next part of the burst."""
        burst = self._burst
        if burst is None:
            return None
        data = burst.file.read(burst.offset, burst.size)
        is_last = burst.offset + len(data) >= burst.file.size_bytes
        part = FtpMessage(
            sequence=burst.sequence,
            opcode=Opcode.ACK,
            session=burst.session,
            size=len(data),
            request_opcode=Opcode.BURST_READ_FILE,
            burst_complete=is_last,
            offset=burst.offset,
            data=data,
        )
        burst.sequence = (burst.sequence + 1) & 0xFFFF
        burst.offset += len(data)
        if is_last:
            self._burst = None
        return _packet(part, burst.sender)

    def stop(self) -> None:
        """End the burst."""
        self._burst = None

    def _answer(self, request: FtpMessage) -> FtpMessage:
        act = self._acts.get(request.opcode, _unknown)
        try:
            return _too_long(request) if request.size > MOST_DATA else act(request)
        except RequestRefusedError as refused:
            return _nak(request, refused.refusal)

    def _start_burst(self, request: FtpMessage, sender: tuple[int, int]) -> Packet | None:
        try:
            file = self._reading(request).file
        except RequestRefusedError as refused:
            return _packet(_nak(request, refused.refusal), sender)
        size = min(request.size or MOST_DATA, MOST_DATA)
        self._burst = _Burst(sender, request.session, file, (request.sequence + 1) & 0xFFFF, request.offset, size)
        return None

    def _terminate(self, request: FtpMessage) -> FtpMessage:
        self._session(request)
        self._end(request.session)
        return _ack(request)

    def _reset(self, request: FtpMessage) -> FtpMessage:
        for number in list(self._sessions):
            self._end(number)
        return _ack(request)

    def _end(self, number: int) -> None:
        self._sessions.pop(number).file.close()
        if self._burst is not None and self._burst.session == number:
            self._burst = None

    def _list(self, request: FtpMessage) -> FtpMessage:
        entries = self._entries(_path(request))[request.offset :]
        if not entries:
            raise RequestRefusedError(Refusal.EOF)
        data = b""
        for entry in entries:
            if len(data) + len(entry) > MOST_DATA:
                break
            data += entry
        return _ack(request, data)

    def _entries(self, folder: str) -> list[bytes]:
        """Return the entries of a folder, `D` name or `F` name, tab and size, each with its zero byte."""
        inside = f"{folder.rstrip('/')}/"
        names = sorted(path.removeprefix(inside) for path in self._files if path.startswith(inside))
        if not names:
            raise RequestRefusedError(Refusal.FILE_NOT_FOUND)
        folders = dict.fromkeys(f"D{name.partition('/')[0]}\0" for name in names if "/" in name)
        files = [f"F{name}\t{self._files[inside + name].size_bytes}\0" for name in names if "/" not in name]
        return [entry.encode("ascii") for entry in (*folders, *files)]

    def _open_for_reading(self, request: FtpMessage) -> FtpMessage:
        return self._open(request, self._file(request), is_writing=False)

    def _open_for_writing(self, request: FtpMessage) -> FtpMessage:
        """Open for writing. Creating a file that is there opens it too: its size is fixed, so nothing is cut."""
        if request.opcode == Opcode.CREATE_FILE and _path(request) not in self._files:
            raise RequestRefusedError(Refusal.FILE_PROTECTED)
        file = self._file(request)
        if not file.is_writable:
            raise RequestRefusedError(Refusal.FILE_PROTECTED)
        return self._open(request, file, is_writing=True)

    def _open(self, request: FtpMessage, file: File, *, is_writing: bool) -> FtpMessage:
        number = next((each for each in range(MOST_SESSIONS) if each not in self._sessions), None)
        if number is None:
            raise RequestRefusedError(Refusal.NO_SESSIONS_AVAILABLE)
        self._sessions[number] = _Session(file, is_writing)
        return _ack(request, struct.pack("<I", file.size_bytes), session=number)

    def _read(self, request: FtpMessage) -> FtpMessage:
        return _ack(request, self._reading(request).file.read(request.offset, request.size))

    def _reading(self, request: FtpMessage) -> _Session:
        """Return the session to read from; refuse to read from the end on."""
        session = self._session(request)
        if request.offset >= session.file.size_bytes:
            raise RequestRefusedError(Refusal.EOF)
        return session

    def _write(self, request: FtpMessage) -> FtpMessage:
        session = self._session(request)
        if not session.is_writing:
            raise RequestRefusedError(Refusal.FILE_PROTECTED)
        if request.offset + request.size > session.file.size_bytes:
            raise RequestRefusedError(Refusal.INVALID_DATA_SIZE)
        session.file.write(request.offset, request.data[: request.size])
        return _ack(request)

    def _crc(self, request: FtpMessage) -> FtpMessage:
        file = self._file(request)
        return _ack(request, struct.pack("<I", file_crc(file.read(0, file.size_bytes))))

    def _session(self, request: FtpMessage) -> _Session:
        session = self._sessions.get(request.session)
        if session is None:
            raise RequestRefusedError(Refusal.INVALID_SESSION)
        return session

    def _file(self, request: FtpMessage) -> File:
        file = self._files.get(_path(request))
        if file is None:
            raise RequestRefusedError(Refusal.FILE_NOT_FOUND)
        return file


def _path(request: FtpMessage) -> str:
    text = request.data[: request.size].partition(b"\0")[0].decode("ascii", errors="replace")
    return f"/{text.strip('/')}"


def _unknown(_request: FtpMessage) -> FtpMessage:
    raise RequestRefusedError(Refusal.UNKNOWN_COMMAND)


def _too_long(_request: FtpMessage) -> FtpMessage:
    raise RequestRefusedError(Refusal.INVALID_DATA_SIZE)


def _protected(_request: FtpMessage) -> FtpMessage:
    raise RequestRefusedError(Refusal.FILE_PROTECTED)


def _ack(request: FtpMessage, data: bytes = b"", *, session: int | None = None) -> FtpMessage:
    return _reply(request, Opcode.ACK, data, request.session if session is None else session)


def _nak(request: FtpMessage, refusal: Refusal) -> FtpMessage:
    return _reply(request, Opcode.NAK, bytes([refusal]), request.session)


def _reply(request: FtpMessage, opcode: Opcode, data: bytes, session: int) -> FtpMessage:
    return FtpMessage(
        sequence=(request.sequence + 1) & 0xFFFF,
        opcode=opcode,
        session=session,
        size=len(data),
        request_opcode=request.opcode,
        offset=request.offset,
        data=data,
    )


def _packet(message: FtpMessage, to: tuple[int, int]) -> Packet:
    kind = common.MAVLink_file_transfer_protocol_message
    return Packet(kind.id, kind.crc_extra, _TARGET.pack(0, *to) + message.to_bytes())
