"""Ways by which an image can be written."""

from __future__ import annotations

from enum import StrEnum


class WriteWay(StrEnum):
    """Ways to write an image; with `auto` the one by which the bootloader shows itself."""

    AUTO = "auto"
    UART = "uart"
    USB = "usb"
    DRIVE = "drive"
