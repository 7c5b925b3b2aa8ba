"""What the blocks of a UF2 file say about themselves; no I/O. Whether the file is sound, `firmware.uf2` judges."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from rotorwright.links.uf2_drive.spec import ABSOLUTE_FAMILY, BLOCK_BYTES, BlockFlag

if TYPE_CHECKING:
    from collections.abc import Iterator

_FLAGS = struct.Struct("<I")
_FLAGS_AT, _FAMILY_AT = 8, 28


def families_in(data: bytes) -> frozenset[int]:
    """Return the families that the blocks of a whole UF2 file are for; blocks that name none are left out.

    A filler for an absolute address, which some writers put in front for one chip, does not count beside a family.
    """
    found = frozenset(family for flags, family in _heads(data) if flags & BlockFlag.FAMILY_PRESENT)
    return found - {ABSOLUTE_FAMILY} or found


def _heads(data: bytes) -> Iterator[tuple[int, int]]:
    for offset in range(0, len(data) - BLOCK_BYTES + 1, BLOCK_BYTES):
        flags = _FLAGS.unpack_from(data, offset + _FLAGS_AT)[0]
        if not flags & BlockFlag.NOT_MAIN_FLASH:
            yield flags, _FLAGS.unpack_from(data, offset + _FAMILY_AT)[0]
