"""USB devices that are no serial port: a bootloader shows no port, only itself.

On Linux the kernel's own list is read, which needs no right to open anything. Elsewhere the USB library is asked; it
tells the numbers and the classes, and leaves out what would need the device to be opened.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.links.usb_facts import InterfaceClass

KERNEL_LIST = Path("/sys/bus/usb/devices")
DEVICE_FILES = Path("/dev/bus/usb")


@dataclass(frozen=True, slots=True)
class UsbDevice:
    """A USB device as it describes itself.

    Args:
        place: at which socket it is, in the words of the system; the same socket, the same words.
        file: what has to be opened to speak to it; empty where the system has no such file.
    """

    place: str
    vendor: int
    product: int
    interfaces: frozenset[InterfaceClass] = frozenset()
    serial_number: str = ""
    maker: str = ""
    product_name: str = ""
    file: str = ""


def list_usb_devices(*, kernel_list: Path = KERNEL_LIST, system: str = sys.platform) -> tuple[UsbDevice, ...]:
    """Return every USB device that is plugged in now, sorted by its place; nothing is opened."""
    found = _from_kernel(kernel_list) if system == "linux" else _from_library()
    return tuple(sorted(found, key=lambda device: device.place))


def _from_kernel(folder: Path) -> list[UsbDevice]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:  # no USB here
        return []
    return [device for entry in entries if ":" not in entry.name and (device := _device_at(entry)) is not None]


def _device_at(entry: Path) -> UsbDevice | None:
    try:
        numbers = [int(_text(entry / name), 16) for name in ("idVendor", "idProduct")]
        bus, number = (int(_text(entry / name)) for name in ("busnum", "devnum"))
    except ValueError:  # not a device, or one that goes at this very moment
        return None
    return UsbDevice(
        place=entry.name,
        vendor=numbers[0],
        product=numbers[1],
        interfaces=frozenset(_interfaces(entry)),
        serial_number=_text(entry / "serial"),
        maker=_text(entry / "manufacturer"),
        product_name=_text(entry / "product"),
        file=str(DEVICE_FILES / f"{bus:03d}" / f"{number:03d}"),
    )


def _interfaces(entry: Path) -> list[InterfaceClass]:
    found: list[InterfaceClass] = []
    for child in sorted(entry.glob(f"{entry.name}:*")):
        try:
            group, part, protocol = (
                int(_text(child / f"bInterface{word}"), 16) for word in ("Class", "SubClass", "Protocol")
            )
        except ValueError:
            continue
        found.append((group, part, protocol))
    return found


def _text(path: Path) -> str:
    """Return what the kernel says there, "" if nothing."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _from_library() -> list[UsbDevice]:
    import libusb_package  # noqa: PLC0415 - off the start-up path
    import usb.core  # noqa: PLC0415

    try:
        devices = list(libusb_package.find(find_all=True) or ())
    except (usb.core.USBError, usb.core.NoBackendError, NotImplementedError, OSError):  # nobody can be asked
        return []
    return [_device_of(device) for device in devices]


def _device_of(device: object) -> UsbDevice:
    ports = getattr(device, "port_numbers", None) or ()
    place = ".".join(str(number) for number in ports)
    return UsbDevice(
        place=f"{getattr(device, 'bus', 0)}-{place}",
        vendor=int(getattr(device, "idVendor", 0)),
        product=int(getattr(device, "idProduct", 0)),
        interfaces=frozenset(_classes_of(device)),
    )


def _classes_of(device: object) -> list[InterfaceClass]:
    try:
        return [
            (interface.bInterfaceClass, interface.bInterfaceSubClass, interface.bInterfaceProtocol)
            for configuration in device  # type: ignore[attr-defined]
            for interface in configuration
        ]
    except (OSError, NotImplementedError):  # a device without its driver; what USB raises is an OSError
        return []
