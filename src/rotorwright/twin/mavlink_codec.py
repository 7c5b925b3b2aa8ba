"""MAVLink frames of the twin: out of noisy bytes, and into bytes.

Fields are read and packed by pymavlink's common dialect, imported directly. Three things are ours:

- Framing. pymavlink's parser skips as many bytes as a damaged header claims and loses the good frames among them. Here
  a frame that fails is left by one byte, so whatever whole frame follows is found.
- Parameter values. Their four bytes never pass through a Python float: a signalling NaN would come out quiet, and
  integers are sent as such bytes ("bytewise").
- Messages of the open standard that this pymavlink lacks: PROTOCOL_VERSION, COMPONENT_INFORMATION_BASIC and
  COMPONENT_METADATA.

Source: MAVLink guide, pages "packet serialization" and "parameter protocol"; message definitions common.xml.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from fastcrc import crc16
from pymavlink.dialects.v20 import common

from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Iterator

SYSTEM_ID = 1
COMPONENT_ID = 1  # MAV_COMP_ID_AUTOPILOT1
STALL_S = 0.1
"""A frame that is not whole this long after its start is taken for noise if whole frames follow. The largest takes
24 ms at 115,200 baud; the rest is for hosts that pause."""

_MARKER_V1 = 0xFE
_MARKER_V2 = 0xFD
_HEAD_V1 = 6
_HEAD_V2 = 10
_CRC_BYTES = 2
_SIGNED_FLAG = 0x01
_SIGNATURE_BYTES = 13
_HEAD_OUT = struct.Struct("<BBBBBBBHB")
_LONGEST_NAME = 16
_CODEC = common.MAVLink(None)  # only packs and unpacks fields; neither its parser nor its numbering is used

TYPE_NUMBERS = {  # MAV_PARAM_TYPE of common.xml
    SettingType.UINT8: 1,
    SettingType.INT8: 2,
    SettingType.UINT16: 3,
    SettingType.INT16: 4,
    SettingType.UINT32: 5,
    SettingType.INT32: 6,
    SettingType.FLOAT: 9,
}
TYPES_BY_NUMBER = {number: type_ for type_, number in TYPE_NUMBERS.items()}


@dataclass(frozen=True, slots=True)
class Packet:
    """A message to be sent: all but its place in the sequence. The payload is not cut yet."""

    message_id: int
    crc_extra: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class Incoming:
    """A message that came whole: sender, kind, the payload filled up with zeros to its full length, and its frame."""

    system: int
    component: int
    message_id: int
    payload: bytes
    frame: bytes

    @property
    def sender(self) -> tuple[int, int]:
        """System and component that sent it."""
        return self.system, self.component


class FrameWriter:
    """Numbers the messages of one sender and makes MAVLink 2 frames of them."""

    def __init__(self, *, system: int = SYSTEM_ID, component: int = COMPONENT_ID) -> None:
        self._system = system
        self._component = component
        self._sequence = 0

    def frame(self, packet: Packet) -> bytes:
        """Return the next frame. Zeros at the end of the payload are cut, the first byte never."""
        payload = packet.payload.rstrip(b"\0") or packet.payload[:1]
        number = packet.message_id
        head = _HEAD_OUT.pack(
            _MARKER_V2, len(payload), 0, 0, self._sequence, self._system, self._component, number & 0xFFFF, number >> 16
        )
        self._sequence = (self._sequence + 1) & 0xFF
        body = head + payload
        crc = crc16.mcrf4xx(body[1:] + bytes([packet.crc_extra]))
        return body + crc.to_bytes(_CRC_BYTES, "little")


class FrameReader:
    """Finds frames of both MAVLink versions in whatever bytes arrive.

    Unknown messages cannot be checked (their CRC needs a number of the definition), so they are passed over like noise.
    Signatures are not checked: the aircraft has no key.
    """

    def __init__(self) -> None:
        self._waiting = bytearray()
        self._overdue_s: float | None = None  # when what waits should have become a whole frame
        self._look_s: float | None = None

    def feed(self, data: bytes, now_s: float) -> list[Incoming]:
        """Take bytes that arrived at `now_s`; return the messages that are whole now, in order."""
        before = len(self._waiting)
        self._waiting += data
        found = list(self._whole_frames())
        if not self._waiting:
            self._overdue_s = self._look_s = None
            return found
        if not before or len(self._waiting) < before + len(data) or self._overdue_s is None:  # another start waits now
            self._overdue_s = now_s + STALL_S
        self._look_s = self._overdue_s
        return found + self.look_again(now_s)

    def look_again(self, now_s: float) -> list[Incoming]:
        """Return whole messages behind the start of a frame that did not become whole within `STALL_S`.

        A damaged length would else swallow every message until as many bytes have come, however often the sender asks.
        If there is none, the started frame may still go on later: nothing is thrown away.
        """
        if self._look_s is None or now_s < self._look_s:
            return []
        self._look_s = None
        for start in range(1, len(self._waiting)):
            tail = FrameReader()
            if found := tail.feed(bytes(self._waiting[start:]), now_s):
                self._waiting, self._overdue_s, self._look_s = tail._waiting, tail._overdue_s, tail._look_s
                return found
        return []

    @property
    def next_event_s(self) -> float | None:
        """When `look_again` has something to do."""
        return self._look_s

    def _whole_frames(self) -> Iterator[Incoming]:
        while self._skip_to_marker():
            length = _frame_length(self._waiting)
            if length is None:
                del self._waiting[0]
            elif length > len(self._waiting):
                return
            elif (found := _opened(bytes(self._waiting[:length]))) is None:
                del self._waiting[0]
            else:
                del self._waiting[:length]
                yield found

    def _skip_to_marker(self) -> bool:
        starts = [at for at in (self._waiting.find(_MARKER_V1), self._waiting.find(_MARKER_V2)) if at >= 0]
        del self._waiting[: min(starts, default=len(self._waiting))]
        return bool(starts)


def packet(message: Any) -> Packet:
    """Return a message object of pymavlink as a packet."""
    message.pack(_CODEC)
    kind = type(message)  # some messages have a field called id, which hides the number of the message in the object
    return Packet(kind.id, kind.crc_extra, bytes(message.get_payload()).ljust(kind.unpacker.size, b"\0"))


def fields(incoming: Incoming) -> Any:
    """Return what came as a message object of pymavlink. Parameter values are not to be taken from it: see above."""
    return _CODEC.decode(bytearray(incoming.frame))


def name_bytes(name: str) -> bytes:
    """Return a setting's name as `param_id`: 16 bytes, zeros behind a shorter one and none behind one of 16."""
    return name.encode("ascii").ljust(_LONGEST_NAME, b"\0")


def name_from(raw: bytes) -> str:
    """Return the name in a `param_id`; bytes that no name has become a replacement character."""
    return raw[:_LONGEST_NAME].partition(b"\0")[0].decode("ascii", errors="replace")


def value_bytes(value: Value) -> bytes:
    """Return a value as `param_value`, bytewise: its machine form in the low bytes, zeros above."""
    return value.to_bytes().ljust(4, b"\0")


_PARAM_VALUE = struct.Struct("<4sHH16sB")
_PARAM_SET = struct.Struct("<4sBB16sB")


def param_value_packet(name: str, value: Value, *, count: int, index: int) -> Packet:
    """Return a PARAM_VALUE made from raw bytes."""
    payload = _PARAM_VALUE.pack(value_bytes(value), count, index, name_bytes(name), TYPE_NUMBERS[value.type])
    return Packet(common.MAVLINK_MSG_ID_PARAM_VALUE, common.MAVLink_param_value_message.crc_extra, payload)


@dataclass(frozen=True, slots=True)
class ParamSet:
    """PARAM_SET with its value as raw bytes; `type_number` is a MAV_PARAM_TYPE."""

    target_system: int
    target_component: int
    name: str
    raw: bytes
    type_number: int


def param_set(payload: bytes) -> ParamSet:
    """Return the fields of a PARAM_SET payload of full length."""
    raw, system, component, name, type_number = _PARAM_SET.unpack(payload)
    return ParamSet(system, component, name_from(name), raw, type_number)


def param_set_packet(name: str, *, type_number: int, raw: bytes, target: tuple[int, int]) -> Packet:
    """Return a PARAM_SET made from raw bytes, as a ground station sends it."""
    payload = _PARAM_SET.pack(raw.ljust(4, b"\0"), *target, name_bytes(name), type_number)
    return Packet(common.MAVLINK_MSG_ID_PARAM_SET, common.MAVLink_param_set_message.crc_extra, payload)


# -- messages that this pymavlink lacks --------------------------------------------------------------------------------

_SIZES = {"char": 1, "uint8_t": 1, "uint16_t": 2, "uint32_t": 4, "uint64_t": 8}


@dataclass(frozen=True, slots=True)
class Field:
    """A field as common.xml has it; `length` 0 is a plain field, else an array."""

    type: str
    name: str
    length: int = 0


def wire_order(fields_: tuple[Field, ...]) -> tuple[Field, ...]:
    """Return fields as they stand in the payload: larger types first, else as defined (arrays by their element)."""
    return tuple(sorted(fields_, key=lambda each: -_SIZES[each.type]))


def crc_extra(name: str, fields_: tuple[Field, ...]) -> int:
    """Return the CRC_EXTRA of a message without extension fields.

    Source: MAVLink guide, "packet serialization", CRC_EXTRA calculation.
    """
    text = f"{name} ".encode()
    for each in wire_order(fields_):
        text += f"{each.type} {each.name} ".encode() + (bytes([each.length]) if each.length else b"")
    crc = crc16.mcrf4xx(text)
    return (crc & 0xFF) ^ (crc >> 8)


@dataclass(frozen=True, slots=True)
class ComponentInformationBasic:
    """COMPONENT_INFORMATION_BASIC (396): who made it, what it is, which software. Texts end in a zero byte."""

    capabilities: int
    time_boot_ms: int
    vendor_name: str
    model_name: str
    software_version: str
    hardware_version: str
    serial_number: str
    time_manufacture_s: int = 0  # 0: unknown

    ID: ClassVar[int] = 396
    NAME: ClassVar[str] = "COMPONENT_INFORMATION_BASIC"
    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("uint64_t", "capabilities"),
        Field("uint32_t", "time_boot_ms"),
        Field("uint32_t", "time_manufacture_s"),
        Field("char", "vendor_name", 32),
        Field("char", "model_name", 32),
        Field("char", "software_version", 24),
        Field("char", "hardware_version", 24),
        Field("char", "serial_number", 32),
    )

    def packet(self) -> Packet:
        """Return the message as a packet."""
        return _own_packet(self)


@dataclass(frozen=True, slots=True)
class ComponentMetadata:
    """COMPONENT_METADATA (397): where the general metadata file is, and its CRC."""

    time_boot_ms: int
    file_crc: int
    uri: str

    ID: ClassVar[int] = 397
    NAME: ClassVar[str] = "COMPONENT_METADATA"
    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("uint32_t", "time_boot_ms"),
        Field("uint32_t", "file_crc"),
        Field("char", "uri", 100),
    )

    def packet(self) -> Packet:
        """Return the message as a packet."""
        return _own_packet(self)


@dataclass(frozen=True, slots=True)
class ProtocolVersion:
    """PROTOCOL_VERSION (300): versions as number times 100, from 1.0 to 2.0. Which library it is, is left open."""

    version: int = 200
    min_version: int = 100
    max_version: int = 200
    spec_version_hash: bytes = b""
    library_version_hash: bytes = b""

    ID: ClassVar[int] = 300
    NAME: ClassVar[str] = "PROTOCOL_VERSION"
    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("uint16_t", "version"),
        Field("uint16_t", "min_version"),
        Field("uint16_t", "max_version"),
        Field("uint8_t", "spec_version_hash", 8),
        Field("uint8_t", "library_version_hash", 8),
    )

    def packet(self) -> Packet:
        """Return the message as a packet."""
        return _own_packet(self)


_CODES = {"char": "s", "uint8_t": "B", "uint16_t": "H", "uint32_t": "I", "uint64_t": "Q"}


def _own_packet(message: ComponentInformationBasic | ComponentMetadata | ProtocolVersion) -> Packet:
    payload = b"".join(_packed(each, getattr(message, each.name)) for each in wire_order(message.FIELDS))
    return Packet(message.ID, crc_extra(message.NAME, message.FIELDS), payload)


def _packed(field: Field, value: int | str | bytes) -> bytes:
    if isinstance(value, bytes):
        return value.ljust(field.length, b"\0")
    if isinstance(value, str):  # one byte less, so that the text is always terminated
        return struct.pack(f"<{field.length}s", value.encode("ascii", errors="replace")[: field.length - 1])
    return struct.pack(f"<{_CODES[field.type]}", value)


# -- framing -----------------------------------------------------------------------------------------------------------


def _frame_length(data: bytearray) -> int | None:
    """Return the length of the frame at the start of `data`; nothing if none can start here.

    While the head is not whole yet, the length of the shortest frame: more than there is.
    """
    head = _HEAD_V2 if data[0] == _MARKER_V2 else _HEAD_V1
    if len(data) < head:
        return head + _CRC_BYTES
    kind = common.mavlink_map.get(_message_id(data))
    if kind is None:
        return None
    if head == _HEAD_V1:
        return head + data[1] + _CRC_BYTES if data[1] <= kind.unpacker.size else None
    if data[2] & ~_SIGNED_FLAG:  # an incompatible feature that we do not know
        return None
    return head + data[1] + _CRC_BYTES + (_SIGNATURE_BYTES if data[2] & _SIGNED_FLAG else 0)


def _message_id(frame: bytes | bytearray) -> int:
    return int.from_bytes(frame[7:10], "little") if frame[0] == _MARKER_V2 else frame[5]


def _opened(frame: bytes) -> Incoming | None:
    """Return the message in a frame of right length, or nothing if its CRC is wrong."""
    number = _message_id(frame)
    kind = common.mavlink_map[number]
    head = _HEAD_V2 if frame[0] == _MARKER_V2 else _HEAD_V1
    end = head + frame[1]
    if crc16.mcrf4xx(frame[1:end] + bytes([kind.crc_extra])) != int.from_bytes(frame[end : end + 2], "little"):
        return None
    full: int = kind.unpacker.size  # a longer payload has fields of a later definition at its end
    payload = frame[head:end].ljust(full, b"\0")[:full]
    sender = 5 if head == _HEAD_V2 else 3
    return Incoming(frame[sender], frame[sender + 1], number, payload, frame)
