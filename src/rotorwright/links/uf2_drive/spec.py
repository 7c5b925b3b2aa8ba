"""What the UF2 specification says, as tables. The code reads these tables; the tests walk them.

Source: "USB Flashing Format (UF2)", README of microsoft/uf2 as published with the package adafruit-uf2 1.0.0 (MIT);
the layout of a block was compared with four independent writers (tests/outside/data).
"""

from __future__ import annotations

from enum import IntFlag

from rotorwright.links.limits import Limit

BLOCK_BYTES = 512
HEADER_BYTES = 32
MOST_PAYLOAD_BYTES = 476
FIRST_MAGIC = 0x0A324655
SECOND_MAGIC = 0x9E5D5157
LAST_MAGIC = 0x0AB16F30
"""Block layout (section "File format")."""


class BlockFlag(IntFlag):
    """What a block says about itself (section "Flags")."""

    NOT_MAIN_FLASH = 0x0000_0001
    FILE_CONTAINER = 0x0000_1000
    FAMILY_PRESENT = 0x0000_2000
    MD5_PRESENT = 0x0000_4000
    TAGS_PRESENT = 0x0000_8000


ABSOLUTE_FAMILY = 0xE48B_FF57
"""RP2XXX_ABSOLUTE in the published list of families (utils/uf2families.json, commit 90e9741)."""

INFO_FILE = "INFO_UF2.TXT"
"""The file by which a drive is known, in upper or lower case (section "Files exposed by bootloaders")."""

CURRENT_FILE = "CURRENT.UF2"
"""What stands in the flash now; not every bootloader shows it (the same section)."""

MOST_INFO_BYTES = 4096
"""Longest info file that is read (own choice: the usual one has three lines)."""

MOST_CURRENT_BYTES = 64 * 1024 * 1024
"""Longest file of present contents that is read (own choice: twice the largest flash known, and room)."""

VANISH = Limit("longest wait for the drive to go away after the last block", 30.0, "s", "own choice: a slow erase")
COME_BACK = Limit(
    "time after which a drive that went is gone for good", 3.0, "s", "own choice: no bootloader is slower"
)
LOOK = Limit("time between two looks at the drive", 0.1, "s", "own choice")
CHUNK_BLOCKS = Limit("blocks written between two syncs", 64, "blocks", "own choice: 32 KiB, an answer often enough")

LIMITS = (VANISH, COME_BACK, LOOK, CHUNK_BLOCKS)
