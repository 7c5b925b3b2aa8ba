"""The settings memory: how the application keeps its settings so that a power cut never takes them all.

Two slots take turns. A save goes to the slot that does not hold the newest settings, the body first and the head with
its CRC last, so until the last byte stands the older slot is what counts. Layout of a slot, little-endian:

    0   8   magic "THBSLOT1"
    8   4   number of this save, one more than the newest before
    12  4   length of the body in bytes
    16  16  release, ASCII, zero-padded
    32  28  board, ASCII, zero-padded
    60  4   CRC-32 (ISO-HDLC) of bytes 0 to 59 and the body
    64      body: per setting length of the name, name, type (MAV_PARAM_TYPE), machine form (4 bytes, zero-padded;
            8 where the type has 8); a text (type 255, ours) has its length in 4 bytes and its UTF-8 bytes

Anything that does not read as such a slot is an empty slot: fresh memory, torn write, damage.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.mavlink_codec import TYPE_NUMBERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

SLOT_BYTES = 16384
SETTINGS_MEMORY_BYTES = 2 * SLOT_BYTES
PAGE_BYTES = 256  # one write; a save is many, so that a cut can come between any two
_MAGIC = b"THBSLOT1"
_HEAD = struct.Struct("<8sII16s28s")
_HEAD_BYTES = 64
_SHORTEST_BYTES = 4  # of a machine form here
_LENGTH_BYTES = 4

# Besides those of parameter messages: 64-bit numbers as common.xml numbers them, and texts, which it does not have.
_TYPE_NUMBERS = {**TYPE_NUMBERS, SettingType.UINT64: 7, SettingType.INT64: 8, SettingType.TEXT: 255}
_TYPES_BY_NUMBER = {number: type_ for type_, number in _TYPE_NUMBERS.items()}


class SettingsMemory(Protocol):
    """The bytes that last without power; the hardware side implements it."""

    def read(self) -> bytes:
        """Return the whole memory, `SETTINGS_MEMORY_BYTES` long; a shorter one counts as empty from there on."""
        ...

    def write(self, offset: int, data: bytes) -> None:
        """Store `data` at byte `offset`. A power cut may come before, in the middle or after."""
        ...


@dataclass(frozen=True, slots=True)
class StoredSettings:
    """One save: the release and board that made it, and the settings by name."""

    release: str
    board: str
    settings: Mapping[str, Value]
    number: int = 0


def load_settings(memory: SettingsMemory) -> StoredSettings | None:
    """Return the newest save that is whole, or nothing."""
    return max(_saves(memory.read()).values(), key=lambda save: save.number, default=None)


def save_settings(memory: SettingsMemory, save: StoredSettings) -> bool:
    """Store `save`; answer False, with nothing written, if it is too large for a slot. The number is given here."""
    found = _saves(memory.read())
    newest = max(found, key=lambda slot: found[slot].number, default=1)
    number = found[newest].number + 1 if newest in found else 1
    head, body = _slot(save, number)
    if len(head) + len(body) > SLOT_BYTES:
        return False
    start = (1 - newest) * SLOT_BYTES
    for offset, page in _pages(body):
        memory.write(start + _HEAD_BYTES + offset, page)
    memory.write(start, head)
    return True


def settings_memory_with(save: StoredSettings) -> bytes:
    """Return a whole settings memory that holds `save` alone, as an aircraft that was set up long ago has it.

    Raises:
        ValueError: the settings are too large for a slot.
    """
    memory = MemoryInRam()
    if not save_settings(memory, save):
        raise ValueError(f"{len(save.settings)} settings do not fit into a slot of {SLOT_BYTES} bytes")
    return memory.read()


class MemoryInRam:
    """A memory that lasts as long as this object: for tests, and to lay out a state folder."""

    def __init__(self, content: bytes = b"\xff" * SETTINGS_MEMORY_BYTES) -> None:
        self._content = bytearray(content)

    def read(self) -> bytes:
        """Return the whole memory."""
        return bytes(self._content)

    def write(self, offset: int, data: bytes) -> None:
        """Store `data` at byte `offset`."""
        self._content[offset : offset + len(data)] = data


def _saves(memory: bytes) -> dict[int, StoredSettings]:
    slots = {slot: _read_slot(memory[slot * SLOT_BYTES : (slot + 1) * SLOT_BYTES]) for slot in (0, 1)}
    return {slot: save for slot, save in slots.items() if save is not None}


def _slot(save: StoredSettings, number: int) -> tuple[bytes, bytes]:
    body = b"".join(_entry(name, value) for name, value in save.settings.items())
    head = _HEAD.pack(_MAGIC, number, len(body), save.release.encode("ascii"), save.board.encode("ascii"))
    return head + struct.pack("<I", zlib.crc32(body, zlib.crc32(head))), body


def _entry(name: str, value: Value) -> bytes:
    text, held = name.encode("ascii"), value.to_bytes()
    length = len(held).to_bytes(_LENGTH_BYTES, "little") if value.type.is_text else b""
    form = length + (held if value.type.is_text else held.ljust(_SHORTEST_BYTES, b"\0"))
    return bytes([len(text)]) + text + bytes([_TYPE_NUMBERS[value.type]]) + form


def _pages(data: bytes) -> Iterator[tuple[int, bytes]]:
    return ((offset, data[offset : offset + PAGE_BYTES]) for offset in range(0, len(data), PAGE_BYTES))


def _read_slot(slot: bytes) -> StoredSettings | None:
    if len(slot) < _HEAD_BYTES or not slot.startswith(_MAGIC):
        return None
    _, number, length, release, board = _HEAD.unpack_from(slot)
    body = slot[_HEAD_BYTES : _HEAD_BYTES + length]
    (crc,) = struct.unpack_from("<I", slot, _HEAD.size)
    if len(body) != length or crc != zlib.crc32(body, zlib.crc32(slot[: _HEAD.size])):
        return None
    return StoredSettings(_text(release), _text(board), dict(_entries(body)), number)


def _entries(body: bytes) -> Iterator[tuple[str, Value]]:
    """Walk a body whose CRC is right, so only what was packed above can stand there."""
    at = 0
    while at < len(body):
        end = at + 1 + body[at]
        type_, start = _TYPES_BY_NUMBER[body[end]], end + 1
        if type_.is_text:
            start += _LENGTH_BYTES
            size = int.from_bytes(body[start - _LENGTH_BYTES : start], "little")
        else:
            size = max(_SHORTEST_BYTES, type_.size_bytes)
        yield body[at + 1 : end].decode("ascii"), Value.from_bytes(type_, body[start : start + size])
        at = start + size


def _text(field: bytes) -> str:
    return field.rstrip(b"\0").decode("ascii")
