"""What a USB device is, by what it says of itself: a table, with the source beside each row.

The first row that fits is taken, so rows with a product stand above rows that go by class alone. A number says what a
maker had in mind; whether it is so, only the device itself can show when it is spoken to.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Collection

InterfaceClass: TypeAlias = tuple[int, int, int]
"""Class, subclass and protocol of one interface of a USB device."""

PUBLIC_LIST = "public USB id list (linux-usb.org/usb.ids, as in the hardware database of systemd 252)"
DFU_SPECIFICATION = "USB DFU 1.1, tables 4.1 and 4.4"

DFU_RUNNING: InterfaceClass = (0xFE, 0x01, 0x01)
DFU_LOADER: InterfaceClass = (0xFE, 0x01, 0x02)


class DeviceRole(StrEnum):
    """What a device is to us."""

    APPLICATION = "running application"
    BOOTLOADER = "bootloader on USB"
    UF2_DRIVE = "UF2 drive"
    UNKNOWN_SERIAL = "unknown serial device"
    NAMED_PORT = "virtual aircraft or named port"
    OTHER = "something else"


@dataclass(frozen=True, slots=True)
class UsbFact:
    """One row: what has these numbers, or such an interface, is this. `product` None means any."""

    role: DeviceRole
    words: str
    source: str
    vendor: int | None = None
    product: int | None = None
    interface: InterfaceClass | None = None

    def fits(self, vendor: int, product: int, interfaces: Collection[InterfaceClass]) -> bool:
        """Answer whether a device is what this row is about."""
        if self.interface is not None and self.interface not in interfaces:
            return False
        return self.vendor in {None, vendor} and self.product in {None, product}


USB_FACTS: tuple[UsbFact, ...] = (
    UsbFact(DeviceRole.BOOTLOADER, "STM Device in DFU Mode", PUBLIC_LIST, 0x0483, 0xDF11),
    UsbFact(DeviceRole.BOOTLOADER, "GD32 DFU Bootloader", PUBLIC_LIST, 0x28E9, 0x0189),
    UsbFact(DeviceRole.BOOTLOADER, "it has an interface for writing firmware", DFU_SPECIFICATION, interface=DFU_LOADER),
    UsbFact(
        DeviceRole.APPLICATION,
        "it runs, and can be sent to its bootloader",
        DFU_SPECIFICATION,
        interface=DFU_RUNNING,
    ),
    UsbFact(DeviceRole.APPLICATION, "Virtual COM Port", PUBLIC_LIST, 0x0483, 0x5740),
    UsbFact(DeviceRole.UNKNOWN_SERIAL, "FT232 Serial (UART) IC", PUBLIC_LIST, 0x0403, 0x6001),
    UsbFact(DeviceRole.UNKNOWN_SERIAL, "Bridge(I2C/SPI/UART/FIFO)", PUBLIC_LIST, 0x0403, 0x6015),
    UsbFact(DeviceRole.UNKNOWN_SERIAL, "PL2303 Serial Port", PUBLIC_LIST, 0x067B, 0x2303),
    UsbFact(DeviceRole.UNKNOWN_SERIAL, "CP210x UART Bridge", PUBLIC_LIST, 0x10C4, 0xEA60),
    UsbFact(DeviceRole.UNKNOWN_SERIAL, "CH341 in serial mode", PUBLIC_LIST, 0x1A86, 0x5523),
    UsbFact(DeviceRole.UNKNOWN_SERIAL, "CH340 serial converter", PUBLIC_LIST, 0x1A86, 0x7523),
)
"""Every row that we know. An adapter is an unknown serial device: nobody knows from here what hangs behind it."""


def usb_fact(
    vendor: int, product: int, interfaces: Collection[InterfaceClass] = (), *, more: Collection[UsbFact] = ()
) -> UsbFact | None:
    """Return what is known of a USB device, or nothing; rows of `more` (from a release book) go before ours."""
    return next((fact for fact in (*more, *USB_FACTS) if fact.fits(vendor, product, interfaces)), None)
