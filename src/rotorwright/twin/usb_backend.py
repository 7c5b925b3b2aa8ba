"""Virtual aircraft as devices of pyusb: a backend that any program may use which can be given one."""

from __future__ import annotations

import errno
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Final, Protocol

import usb.backend
import usb.core

from rotorwright.twin.usb_port import (
    IN,
    PRODUCT,
    VENDOR,
    Outcome,
    Transfer,
    TransferEnd,
    UsbFace,
    UsbPort,
    alternate_string_index,
    set_interface,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.twin.clock import VirtualClock

_PIPE, _TIMEOUT, _NO_DEVICE = -9, -7, -4  # codes of libusb
TRANSFER_S: Final = 0.0005  # a control transfer without data: own choice, half a frame of USB full speed
BYTE_S: Final = 1e-6  # a byte of data: 64-byte packets at full speed, own choice


class UsbCarrier(Protocol):
    """How transfers reach virtual aircraft; devices are told apart by their number."""

    def faces(self) -> dict[int, UsbFace]:
        """Return what is plugged in, by number."""
        ...

    def transfer(self, number: int, transfer: Transfer, timeout_s: float) -> TransferEnd:
        """Let a transfer happen and return how it ended, never BUSY; waits at most `timeout_s`."""
        ...


class DirectCarrier:
    """Aircraft in this process, in virtual time.

    Args:
        ports: their USB sockets.
        clock: the time of both ends.
    """

    def __init__(self, ports: Sequence[UsbPort], clock: VirtualClock) -> None:
        self._ports = ports
        self._clock = clock

    def faces(self) -> dict[int, UsbFace]:
        """Return what is plugged in, by number."""
        now_s = self._clock.now_s()
        faces = ((number, port.face(now_s)) for number, port in enumerate(self._ports, 1))
        return {number: face for number, face in faces if face is not None}

    def transfer(self, number: int, transfer: Transfer, timeout_s: float) -> TransferEnd:
        """Let a transfer happen; waiting turns the clock."""
        port, clock = self._ports[number - 1], self._clock
        deadline_s = clock.now_s() + timeout_s
        clock.sleep_s(TRANSFER_S + BYTE_S * max(len(transfer.data), transfer.length))
        end = port.transfer(transfer, clock.now_s())
        while end.outcome is Outcome.BUSY and clock.now_s() < deadline_s:
            due_s = port.aircraft.next_event_s()
            clock.sleep_until_s(deadline_s if due_s is None else min(due_s, deadline_s))
            end = port.transfer(transfer, clock.now_s())
        if comes_too_late(end, timeout_s):
            clock.sleep_until_s(deadline_s)
            return TransferEnd(Outcome.LOST)
        clock.sleep_s(end.late_s)
        return end


class TwinUsbBackend(usb.backend.IBackend):  # type: ignore[misc]  # pyusb has no types
    """A pyusb backend whose devices are virtual aircraft in their bootloaders."""

    def __init__(self, carrier: UsbCarrier) -> None:
        self._carrier = carrier

    def enumerate_devices(self) -> Iterator[int]:
        """Yield the number of each device that is there."""
        yield from self._carrier.faces()

    def get_parent(self, dev: int) -> None:
        """Return None: every device hangs on the root."""
        return

    def get_device_descriptor(self, dev: int) -> Any:
        """Return the device descriptor (USB 2.0, 9.6.1)."""
        return SimpleNamespace(
            bLength=18, bDescriptorType=1, bcdUSB=0x0100, bDeviceClass=0, bDeviceSubClass=0, bDeviceProtocol=0,
            bMaxPacketSize0=64, idVendor=VENDOR, idProduct=PRODUCT, bcdDevice=0x2200, iManufacturer=1, iProduct=2,
            iSerialNumber=3, bNumConfigurations=1, bus=1, address=dev, port_number=dev, port_numbers=(dev,), speed=2,
        )  # fmt: skip

    def get_configuration_descriptor(self, dev: int, config: int) -> Any:
        """Return the only configuration (USB 2.0, 9.6.3)."""
        if config:
            raise IndexError("one configuration only")
        return SimpleNamespace(
            bLength=9, bDescriptorType=2, wTotalLength=27 + 9, bNumInterfaces=1, bConfigurationValue=1,
            iConfiguration=0, bmAttributes=0xC0, bMaxPower=50, extra_descriptors=[],
        )  # fmt: skip

    def get_interface_descriptor(self, dev: int, intf: int, alt: int, config: int) -> Any:
        """Return an alternate setting; the functional descriptor stands behind the last, as in the ROM."""
        face = self._carrier.faces().get(dev)
        if config or intf or face is None or alt >= len(face.alternates):
            raise IndexError("no such interface")
        extra = list(face.functional) if alt == len(face.alternates) - 1 else []
        return SimpleNamespace(
            bLength=9, bDescriptorType=4, bInterfaceNumber=0, bAlternateSetting=alt, bNumEndpoints=0,
            bInterfaceClass=0xFE, bInterfaceSubClass=1, bInterfaceProtocol=2, iInterface=alternate_string_index(alt),
            extra_descriptors=extra,
        )  # fmt: skip

    def get_endpoint_descriptor(self, dev: int, ep: int, intf: int, alt: int, config: int) -> Any:
        """Raise IndexError: everything goes through endpoint 0."""
        raise IndexError("no endpoints")

    def open_device(self, dev: int) -> int:
        """Return the handle of a device: its number."""
        if dev not in self._carrier.faces():
            raise _gone()
        return dev

    def close_device(self, dev_handle: int) -> None:
        """Do nothing: nothing is held."""

    def set_configuration(self, dev_handle: int, config_value: int) -> None:
        """Do nothing: there is one configuration."""

    def get_configuration(self, dev_handle: int) -> int:
        """Return the only configuration."""
        return 1

    def set_interface_altsetting(self, dev_handle: int, intf: int, altsetting: int) -> None:
        """Turn to the memory of an alternate setting."""
        _require_done(self._carrier.transfer(dev_handle, set_interface(altsetting), 1.0))

    def claim_interface(self, dev_handle: int, intf: int) -> None:
        """Do nothing: nobody else is there."""

    def release_interface(self, dev_handle: int, intf: int) -> None:
        """Do nothing."""

    def reset_device(self, dev_handle: int) -> None:
        """Do nothing: a bus reset does not leave this bootloader."""

    def clear_halt(self, dev_handle: int, ep: int) -> None:
        """Do nothing: a stall of endpoint 0 ends with the next request."""

    def is_kernel_driver_active(self, dev_handle: int, intf: int) -> bool:
        """Return False."""
        return False

    def ctrl_transfer(  # noqa: PLR0917 - pyusb calls it so
        self, dev_handle: int, kind: int, request: int, value: int, index: int, data: Any, timeout: int
    ) -> int:
        """Let a control transfer happen and return how many bytes went; `timeout` is in ms."""
        is_in = bool(kind & IN)
        body = b"" if is_in else data.tobytes()
        transfer = Transfer(kind, request, value, index, body, len(data) if is_in else 0)
        end = self._carrier.transfer(dev_handle, transfer, timeout / 1000)
        _require_done(end)
        if not is_in:
            return len(body)
        data[: len(end.data)] = type(data)(data.typecode, end.data)
        return len(end.data)


def comes_too_late(end: TransferEnd, timeout_s: float) -> bool:
    """Whether a host that waits `timeout_s` never hears how a transfer ended."""
    return end.outcome in {Outcome.BUSY, Outcome.LOST} or end.late_s >= timeout_s


def _require_done(end: TransferEnd) -> None:
    match end.outcome:
        case Outcome.STALLED:
            raise usb.core.USBError("Pipe error", _PIPE, errno.EPIPE)
        case Outcome.GONE:
            raise _gone()
        case Outcome.LOST | Outcome.BUSY:
            raise usb.core.USBTimeoutError("Operation timed out", _TIMEOUT, errno.ETIMEDOUT)


def _gone() -> Exception:
    error: Exception = usb.core.USBError("No such device (it may have been disconnected)", _NO_DEVICE, errno.ENODEV)
    return error
