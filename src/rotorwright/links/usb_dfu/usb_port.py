"""USB as the loader sees it: which bootloaders are plugged in, and control transfers to one of them.

All of pyusb is in here. A backend may be given, so that a virtual device and a real one are used in the same way; what
pyusb raises becomes one of our errors, or one of the three `TransferFailed` that a caller may answer by trying again.
"""

from __future__ import annotations

import errno
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import usb.core
import usb.util

from rotorwright.links.usb_dfu.codec import Functional, find_functional
from rotorwright.links.usb_dfu.errors import (
    DfuDeviceMissingError,
    DfuDevicesSeveralError,
    DfuForbiddenError,
    DfuGoneError,
    DfuUnusableError,
    UsbLibraryMissingError,
)
from rotorwright.links.usb_dfu.spec import (
    INTERFACE_CLASS,
    INTERFACE_PROTOCOL,
    INTERFACE_SUBCLASS,
    STRING_TRIES,
    Request,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

_OUT, _IN = 0x21, 0xA1  # class request to an interface (DFU 1.1, table 3.2)
_KIND = (INTERFACE_CLASS, INTERFACE_SUBCLASS, INTERFACE_PROTOCOL)
_GONE = {errno.ENODEV, errno.ENXIO, errno.ESHUTDOWN}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EBUSY}


class TransferFailed(Exception):  # noqa: N818 - a signal between our own modules, never seen by a person
    """A transfer did not do what it should; after a recovery it may be tried again."""


class Stalled(TransferFailed):
    """The device refused the request."""


class TimedOut(TransferFailed):
    """Nothing came in time, or the transfer was lost: whether the device saw the request is not known."""


@dataclass(frozen=True, slots=True)
class DfuDevice:
    """A bootloader on USB, as its descriptors tell; `alternates` are (number, index of its memory string)."""

    vendor: int
    product: int
    bus: int
    address: int
    serial_number: str
    interface: int
    alternates: tuple[tuple[int, int], ...]
    functional: Functional | None
    handle: Any

    @property
    def place(self) -> str:
        """Bus and address, as a person types them."""
        return f"{self.bus}-{self.address}"

    @property
    def name(self) -> str:
        """What messages call the device."""
        serial = f", serial number {self.serial_number}" if self.serial_number else ""
        return f"{self.vendor:04x}:{self.product:04x} at {self.place}{serial}"

    def is_called(self, wanted: str) -> bool:
        """Answer whether `wanted` is its bus and address ("1-4") or its serial number."""
        return wanted == self.place or (bool(wanted) and wanted.casefold() == self.serial_number.casefold())


class UsbBus:
    """Every bootloader that this computer sees.

    Args:
        backend: a pyusb backend; None for the USB of this computer.

    Raises:
        UsbLibraryMissingError: there is no USB library.
    """

    def __init__(self, backend: object | None = None) -> None:
        self._backend = real_backend() if backend is None else backend

    def devices(self) -> tuple[DfuDevice, ...]:
        """Return the devices with an interface in DFU mode, by bus and address.

        They are told by the class of the interface, never by their maker's number alone. What may not be opened by this
        user is listed without its serial number.
        """
        try:
            found = list(usb.core.find(find_all=True, backend=self._backend))
        except usb.core.USBError as problem:
            raise DfuUnusableError.named("of this computer", detail=str(problem)) from problem
        devices = [device for handle in found for device in _dfu_interfaces(handle)]
        return tuple(sorted(devices, key=lambda device: (device.bus, device.address, device.interface)))

    def find(self, wanted: str = "") -> DfuDevice:
        """Return the device that is called `wanted` (see `DfuDevice.is_called`), or the only one.

        Raises:
            DfuDeviceMissingError: there is none.
            DfuDevicesSeveralError: there are several; the error lists them.
        """
        devices = [device for device in self.devices() if not wanted or device.is_called(wanted)]
        if not devices:
            raise DfuDeviceMissingError.wanted(wanted)
        if len(devices) > 1:
            raise DfuDevicesSeveralError.among([device.name for device in devices])
        return devices[0]


def real_backend() -> object:
    """Return the backend for the USB of this computer, from the bundled library.

    Raises:
        UsbLibraryMissingError: it does not load.
    """
    try:
        import libusb_package  # noqa: PLC0415 - loads a shared library

        backend: object | None = libusb_package.get_libusb1_backend()
    except (ImportError, OSError, ValueError):
        backend = None
    if backend is None:
        raise UsbLibraryMissingError.here()
    return backend


def _dfu_interfaces(handle: Any) -> Iterator[DfuDevice]:
    try:
        settings = [setting for configuration in handle for setting in configuration]
    except (usb.core.USBError, NotImplementedError):
        return  # a device that cannot even be described is none that we could use
    ours = [
        setting
        for setting in settings
        if (setting.bInterfaceClass, setting.bInterfaceSubClass, setting.bInterfaceProtocol) == _KIND
    ]
    for number in sorted({setting.bInterfaceNumber for setting in ours}):
        same = [setting for setting in ours if setting.bInterfaceNumber == number]
        # The descriptor stands behind the last alternate setting, or behind each of them.
        functional = [found for setting in same if (found := find_functional(bytes(setting.extra_descriptors)))]
        yield DfuDevice(
            vendor=handle.idVendor,
            product=handle.idProduct,
            bus=handle.bus or 0,
            address=handle.address or 0,
            serial_number=_string(handle, handle.iSerialNumber),
            interface=number,
            alternates=tuple((setting.bAlternateSetting, setting.iInterface) for setting in same),
            functional=functional[-1] if functional else None,
            handle=handle,
        )


def _string(handle: Any, index: int) -> str:
    try:
        return str(usb.util.get_string(handle, index) or "")
    except (usb.core.USBError, NotImplementedError, ValueError, IndexError):
        return ""  # pyusb says ValueError when this user may not read it, IndexError for an empty answer


class DfuPipe:
    """Control transfers to the interface of one device.

    Every method may raise DfuGoneError when the device went away, and Stalled or TimedOut.
    """

    def __init__(self, device: DfuDevice) -> None:
        self.device = device
        try:
            usb.util.claim_interface(device.handle, device.interface)
        except (usb.core.USBError, NotImplementedError) as problem:
            raise self._unopened(problem) from problem

    def memory_string(self, index: int) -> str:
        """Return the string of an alternate setting; "" when it has none, or none that comes over."""
        tries = range(STRING_TRIES.count)
        return next((text for _ in tries if (text := _string(self.device.handle, index))), "") if index else ""

    def select(self, alternate: int) -> None:
        """Choose which memory the next requests are about."""
        try:
            self.device.handle.set_interface_altsetting(self.device.interface, alternate)
        except usb.core.USBError as problem:
            raise self._failure(problem) from problem

    def send(self, request: Request, value: int, data: bytes, timeout_s: float) -> None:
        """Send a request, and `data` with it."""
        self._transfer(_OUT, request, value, data, timeout_s)

    def ask(self, request: Request, value: int, length: int, timeout_s: float) -> bytes:
        """Send a request and return its answer of at most `length` bytes."""
        return bytes(self._transfer(_IN, request, value, length, timeout_s))

    def close(self) -> None:
        """Give the device back; harmless when it has gone."""
        try:
            usb.util.dispose_resources(self.device.handle)
        except usb.core.USBError:
            return

    def _transfer(self, kind: int, request: int, value: int, data: bytes | int, timeout_s: float) -> Any:
        try:
            return self.device.handle.ctrl_transfer(
                kind, request, value, self.device.interface, data, max(1, round(timeout_s * 1000))
            )
        except usb.core.USBError as problem:
            raise self._failure(problem) from problem

    def _failure(self, problem: usb.core.USBError) -> Exception:
        if problem.errno in _GONE:
            return DfuGoneError.named(self.device.name, detail=str(problem.strerror))
        if problem.errno == errno.EPIPE:
            return Stalled(str(problem))
        if problem.errno in _FORBIDDEN:
            return self._unopened(problem)
        return TimedOut(str(problem))  # lost, damaged or late: all a host can do is look and try again

    def _unopened(self, problem: Exception) -> Exception:
        number = getattr(problem, "errno", None)
        if number in _FORBIDDEN:
            return DfuForbiddenError.named(self.device.name, detail=str(problem))
        if number in _GONE:
            return DfuGoneError.named(self.device.name, detail=str(problem))
        return DfuUnusableError.named(self.device.name, detail=str(problem))
