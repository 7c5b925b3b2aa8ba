"""MAVLink frames: out of noisy bytes, and into bytes. No I/O.

Framing is ours, not pymavlink's: its parser skips as many bytes as a damaged header claims, and the good frames among
them are lost. Here a frame that fails is left by one byte, so the whole frames behind it are found. And values of
settings are taken from the bytes of the frame: through a Python float a signalling NaN would come out quiet.

Source: MAVLink guide, page "packet serialization".
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastcrc import crc16

from rotorwright.links.mavlink.messages import FieldValue, layout

if TYPE_CHECKING:
    from collections.abc import Iterator

_MARKER_V1 = 0xFE
_MARKER_V2 = 0xFD
_HEADER_V1 = 6
_HEADER_V2 = 10
_CRC_BYTES = 2
_SIGNED = 0x01
_SIGNATURE_BYTES = 13
_HEADER = struct.Struct("<BBBBBBBHB")


@dataclass(frozen=True, slots=True)
class Frame:
    """A message that came whole, its checksum right. `payload` is filled up with zeros to its full length."""

    message_id: int
    system: int
    component: int
    sequence: int
    payload: bytes

    @property
    def fields(self) -> Fields:
        """The values in it."""
        found = layout(self.message_id)
        assert found is not None
        return Fields(found.unpack(self.payload))


@dataclass(frozen=True, slots=True)
class Fields:
    """Values of one message by the names of common.xml."""

    values: dict[str, FieldValue]

    def integer(self, name: str) -> int:
        """Return a whole number."""
        value = self.values[name]
        assert isinstance(value, int)
        return value

    def number(self, name: str) -> float:
        """Return a number; not for values of settings (see the head of this module)."""
        value = self.values[name]
        assert isinstance(value, int | float)
        return value

    def integers(self, name: str) -> tuple[int, ...]:
        """Return the whole numbers of an array."""
        value = self.values[name]
        assert isinstance(value, tuple)
        return tuple(int(one) for one in value)

    def text(self, name: str) -> str:
        """Return text up to its first zero byte; bytes that are no UTF-8 are shown as replacement characters."""
        value = self.values[name]
        assert isinstance(value, bytes)
        return value.partition(b"\0")[0].decode("utf-8", errors="replace")


@dataclass(frozen=True, slots=True)
class Sender:
    """Who a frame comes from."""

    system: int
    component: int


def encode(message_id: int, payload: bytes, *, sender: Sender, sequence: int) -> bytes:
    """Return a MAVLink 2 frame. Zeros at the end of the payload are cut, the first byte never."""
    found = layout(message_id)
    assert found is not None
    cut = payload.rstrip(b"\0") or payload[:1]
    low, high = message_id & 0xFFFF, message_id >> 16
    header = _HEADER.pack(_MARKER_V2, len(cut), 0, 0, sequence & 0xFF, sender.system, sender.component, low, high)
    body = header[1:] + cut
    return header[:1] + body + _crc(body, found.crc_extra)


class FrameReader:
    """Finds frames of both MAVLink versions in whatever bytes arrive.

    A message that we have no layout for cannot be checked, so it is passed over like noise. Signatures are not checked:
    on a cable there is nobody to sign against.
    """

    def __init__(self) -> None:
        self._waiting = bytearray()
        self.skipped_bytes = 0

    def feed(self, data: bytes) -> list[Frame]:
        """Take bytes; return the frames that are whole now, in order."""
        self._waiting += data
        return list(self._frames())

    def give_up(self) -> list[Frame]:
        """Hear that the line went silent, so an unfinished frame stays so; return the frames behind its start."""
        found: list[Frame] = []
        while self._waiting:
            self._skip(1)
            found += self._frames()
        return found

    def _frames(self) -> Iterator[Frame]:
        while self._seek_marker():
            length = self._frame_length()
            if length is None or len(self._waiting) < length:
                return
            frame = _checked(bytes(self._waiting[:length]))
            if frame is None:
                self._skip(1)
            else:
                del self._waiting[:length]
                yield frame

    def _seek_marker(self) -> bool:
        """Drop what comes before the next byte that may begin a frame."""
        for place, byte in enumerate(self._waiting):
            if byte in {_MARKER_V1, _MARKER_V2}:
                self._skip(place)
                return True
        self._skip(len(self._waiting))
        return False

    def _skip(self, count: int) -> None:
        del self._waiting[:count]
        self.skipped_bytes += count

    def _frame_length(self) -> int | None:
        """Return how long the frame at the front is; None when too little of it is there to tell."""
        waiting = self._waiting
        if waiting[0] == _MARKER_V1:
            return _HEADER_V1 + waiting[1] + _CRC_BYTES if len(waiting) > 1 else None
        if len(waiting) < 3:
            return None
        signature = _SIGNATURE_BYTES if waiting[2] & _SIGNED else 0
        return _HEADER_V2 + waiting[1] + _CRC_BYTES + signature


def _checked(raw: bytes) -> Frame | None:
    """Return the frame that `raw` is, or None if it is none that we can check."""
    if raw[0] == _MARKER_V1:
        sequence, system, component, message_id = raw[2:_HEADER_V1]
        header = _HEADER_V1
    else:
        if raw[2] & ~_SIGNED:
            return None  # a flag that we do not know may change what the bytes mean (packet serialization page)
        sequence, system, component = raw[4:7]
        message_id = int.from_bytes(raw[7:_HEADER_V2], "little")
        header = _HEADER_V2
    found = layout(message_id)
    if found is None:
        return None
    end = header + raw[1]
    if _crc(raw[1:end], found.crc_extra) != raw[end : end + _CRC_BYTES]:
        return None
    payload = raw[header:end][: found.size_bytes].ljust(found.size_bytes, b"\0")
    return Frame(message_id, system, component, sequence, payload)


def _crc(body: bytes, crc_extra: int) -> bytes:
    return crc16.mcrf4xx(body + bytes((crc_extra,))).to_bytes(_CRC_BYTES, "little")
