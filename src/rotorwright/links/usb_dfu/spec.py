"""What DFU 1.1 and ST AN3156 say, as tables. The code reads these tables; the tests walk them.

Sources: "Universal Serial Bus Device Class Specification for Device Firmware Upgrade", version 1.1 (USB-IF, 2004);
ST AN3156 "USB DFU protocol used in the STM32 bootloader"; ST UM0424 4.3.2 for the memory strings. Codes were compared
with an independent host (tests/outside/data/dfu_tables.csv); what AN3156 says and was not compared is marked so.
"""

from __future__ import annotations

from enum import IntEnum, IntFlag

from rotorwright.links.limits import Limit

INTERFACE_CLASS, INTERFACE_SUBCLASS, INTERFACE_PROTOCOL = 0xFE, 0x01, 0x02
"""An interface in DFU mode: application specific, device firmware upgrade, DFU mode (DFU 1.1, table 4.4)."""

FUNCTIONAL_TYPE = 0x21
FUNCTIONAL_BYTES = 9
"""The functional descriptor (DFU 1.1, 4.1.3). Devices of version 1.0 leave out the last two bytes."""

FIRST_DATA_BLOCK = 2
"""Number of the first data block: block 0 carries commands (AN3156, UM0424)."""

LAST_BLOCK = 0xFFFF
"""The block number is a 16-bit field (DFU 1.1, 6.1.1)."""

ERASED = 0xFF
WORD_BYTES = 4
"""Flash is written by words, each once (AN3155 asks it of its write command; AN3156 does not say; own choice)."""

UNIQUE_ID_BYTES = 12

FLASH_NAME = "internal flash"
"""How the memory string of the flash begins, in lower case (seen on real devices, dfuse_layouts.csv)."""


class Request(IntEnum):
    """Requests (DFU 1.1, table 3.2)."""

    DETACH = 0
    DOWNLOAD = 1
    UPLOAD = 2
    GET_STATUS = 3
    CLEAR_STATUS = 4
    GET_STATE = 5
    ABORT = 6


class State(IntEnum):
    """States of a device (DFU 1.1, 6.1.2)."""

    APP_IDLE = 0
    APP_DETACH = 1
    IDLE = 2
    DOWNLOAD_SYNC = 3
    DOWNLOAD_BUSY = 4
    DOWNLOAD_IDLE = 5
    MANIFEST_SYNC = 6
    MANIFEST = 7
    MANIFEST_WAIT_RESET = 8
    UPLOAD_IDLE = 9
    ERROR = 10


class Status(IntEnum):
    """What a device says about its last request (DFU 1.1, 6.1.2)."""

    OK = 0
    TARGET = 1
    FILE = 2
    WRITE = 3
    ERASE = 4
    CHECK_ERASED = 5
    PROGRAM = 6
    VERIFY = 7
    ADDRESS = 8
    NOT_DONE = 9
    FIRMWARE = 10
    VENDOR = 11
    USB_RESET = 12
    POWER_ON_RESET = 13
    UNKNOWN = 14
    STALLED_PACKET = 15


STATUS_WORDS = {
    Status.OK: "no error",
    Status.TARGET: "not for this device, or an address that it may not use",
    Status.FILE: "the data fails a check of the device",
    Status.WRITE: "memory could not be written",
    Status.ERASE: "memory could not be erased",
    Status.CHECK_ERASED: "memory was not erased",
    Status.PROGRAM: "programming failed",
    Status.VERIFY: "programmed memory failed verification",
    Status.ADDRESS: "address out of range",
    Status.NOT_DONE: "the transfer ended before the device had everything",
    Status.FIRMWARE: "the firmware in the device is damaged",
    Status.VENDOR: "vendor's error: read protection",
    Status.USB_RESET: "unexpected USB reset",
    Status.POWER_ON_RESET: "unexpected power-on reset",
    Status.UNKNOWN: "something went wrong that the device does not know",
    Status.STALLED_PACKET: "a request that it did not expect",
}
"""Meanings (DFU 1.1, 6.1.2, in our words). That VENDOR is read protection: AN3156, from memory, unconfirmed."""


class Attribute(IntFlag):
    """Bits of the functional descriptor's attributes (DFU 1.1, 4.1.3)."""

    CAN_DOWNLOAD = 1 << 0
    CAN_UPLOAD = 1 << 1
    MANIFESTATION_TOLERANT = 1 << 2
    WILL_DETACH = 1 << 3


class MemoryCommand(IntEnum):
    """Commands of the memory extension, each sent as the first byte of download block 0 (AN3156)."""

    GET_COMMANDS = 0x00
    SET_ADDRESS = 0x21
    ERASE = 0x41
    READ_UNPROTECT = 0x92


_OWN = "own choice"
TRANSFER = Limit("longest wait for one transfer", 1.0, "s", f"{_OWN}: 2 KiB take some 3 ms")
BUSY_TRANSFER = Limit(
    "longest wait for a status while flash is erased",
    35.0,
    "s",
    "the ROM of an F405 says 100 ms for an erase that takes up to 32 s (note in the code of two independent hosts)",
)
BUSY = Limit("longest time that one block may keep the device busy", 10.0, "s", _OWN)
ERASE_SECTOR = Limit(
    "longest time that the erase of one sector may take when its part is not known",
    35.0,
    "s",
    "as for the longest wait for a status",
)
MOST_POLL = Limit("longest pause that a device may ask for", 40.0, "s", f"{_OWN}: more is no answer but noise")
TRIES = Limit("tries of one command", 6, "", _OWN)
RECOVERIES = Limit("requests to bring the device back to idle", 16, "", _OWN)
STRING_TRIES = Limit("tries to read a string", 4, "", _OWN)
LIMITS = (TRANSFER, BUSY_TRANSFER, BUSY, ERASE_SECTOR, MOST_POLL, TRIES, RECOVERIES, STRING_TRIES)

MOST_SECTORS = 65536
"""More sectors than any flash has; a memory string that claims more is damaged (own choice)."""
