"""How each message is laid out: from pymavlink's common dialect, and from a table of ours for what it lacks.

The dialect is imported on first use, off the start-up path, and never through pymavlink's connection module, which
would bring dialects of single makers along.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, TypeAlias

from fastcrc import crc16

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FieldValue: TypeAlias = int | float | bytes | tuple[int | float, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """One message: its fields in the order of the wire, and the number that its checksum starts from.

    `lengths` are the numbers of values that a field takes; text counts as one value.
    """

    message_id: int
    name: str
    packer: struct.Struct
    fields: tuple[str, ...]
    lengths: tuple[int, ...]
    crc_extra: int

    @property
    def size_bytes(self) -> int:
        """Length of the whole payload, extension fields too."""
        return self.packer.size

    def pack(self, values: Mapping[str, FieldValue]) -> bytes:
        """Return the whole payload; fields that are not given are zero."""
        flat: list[FieldValue] = []
        for field, length in zip(self.fields, self.lengths, strict=True):
            value = values.get(field)
            if value is None:
                flat += self._zeros(field, length)
            elif isinstance(value, tuple):
                flat += value
            else:
                flat.append(value)
        return self.packer.pack(*flat)

    def unpack(self, payload: bytes) -> dict[str, FieldValue]:
        """Return the fields of a payload of any length: what is missing is zero, what is too long is cut."""
        padded = payload[: self.packer.size].ljust(self.packer.size, b"\0")
        flat = self.packer.unpack(padded)
        values: dict[str, FieldValue] = {}
        at = 0
        for field, length in zip(self.fields, self.lengths, strict=True):
            values[field] = flat[at] if length == 1 else flat[at : at + length]
            at += length
        return values

    def _zeros(self, field: str, length: int) -> Sequence[FieldValue]:
        is_text = self.unpack(b"")[field].__class__ is bytes
        return [b""] if is_text else [0] * length


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One field in the order of the XML: C type, name, and length if it is an array."""

    type: str
    name: str
    array: int = 0


# Messages of the open standard that pymavlink 2.4.50 lacks. Source: mavlink/mavlink common.xml, commit de1e078a; the
# checksum numbers that follow from these rows are 50 and 182, as in tests/outside/data/mavlink_messages.csv.
OUR_ROWS: Mapping[int, tuple[str, tuple[FieldRow, ...]]] = {
    396: (
        "COMPONENT_INFORMATION_BASIC",
        (
            FieldRow("uint32_t", "time_boot_ms"),
            FieldRow("uint64_t", "capabilities"),
            FieldRow("uint32_t", "time_manufacture_s"),
            FieldRow("char", "vendor_name", 32),
            FieldRow("char", "model_name", 32),
            FieldRow("char", "software_version", 24),
            FieldRow("char", "hardware_version", 24),
            FieldRow("char", "serial_number", 32),
        ),
    ),
    397: (
        "COMPONENT_METADATA",
        (
            FieldRow("uint32_t", "time_boot_ms"),
            FieldRow("uint32_t", "file_crc"),
            FieldRow("char", "uri", 100),
        ),
    ),
}

_C_TYPES = {"char": ("s", 1), "uint8_t": ("B", 1), "uint16_t": ("H", 2), "uint32_t": ("I", 4), "uint64_t": ("Q", 8)}


def layout(message_id: int) -> Layout | None:
    """Return how a message is laid out; None for one that neither pymavlink's common dialect nor our table has."""
    return _layouts().get(message_id)


def layout_from_rows(message_id: int, name: str, rows: Sequence[FieldRow]) -> Layout:
    """Return the layout that follows from the fields of the XML.

    Wire order is by size of the type, largest first, else as in the XML (MAVLink guide, packet serialization, field
    reordering). The rows have no extension fields.
    """
    ordered = sorted(rows, key=lambda row: -_C_TYPES[row.type][1])
    codes = "".join(f"{row.array or ''}{_C_TYPES[row.type][0]}" for row in ordered)
    lengths = tuple(1 if row.type == "char" else row.array or 1 for row in ordered)
    fields = tuple(row.name for row in ordered)
    return Layout(message_id, name, struct.Struct(f"<{codes}"), fields, lengths, crc_extra(name, ordered))


def crc_extra(name: str, ordered: Sequence[FieldRow]) -> int:
    """Return the number that a checksum starts from (MAVLink guide, packet serialization, CRC_EXTRA calculation)."""
    text = f"{name} ".encode()
    for row in ordered:
        text += f"{row.type} {row.name} ".encode()
        if row.array:
            text += bytes((row.array,))
    crc = crc16.mcrf4xx(text)
    return (crc & 0xFF) ^ (crc >> 8)


@cache
def _layouts() -> Mapping[int, Layout]:
    from pymavlink.dialects.v20 import common  # noqa: PLC0415 - off the start-up path

    theirs = {number: _layout_of(kind) for number, kind in common.mavlink_map.items()}
    ours = {number: layout_from_rows(number, name, rows) for number, (name, rows) in OUR_ROWS.items()}
    return theirs | ours


def _layout_of(kind: Any) -> Layout:
    return Layout(
        message_id=kind.id,
        name=kind.msgname,
        packer=kind.unpacker,
        fields=tuple(kind.ordered_fieldnames),
        lengths=tuple(kind.lengths),
        crc_extra=kind.crc_extra,
    )
