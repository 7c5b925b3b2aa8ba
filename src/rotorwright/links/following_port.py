"""A serial port that is found again when its USB device comes back under another name.

A board on USB goes and comes with each restart, and the system may give its port another name then (common practice, no
source). What stays is what the device says about itself: vendor, product and serial number.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.links.ports import PortInfo, UsbIds, list_ports
from rotorwright.links.serial_port import SerialPort

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.links.wire import LineSettings, Port, Wire


class FollowingPort:
    """The port of one device, under whatever name.

    Args:
        name: as a person types it.
        usb: the device that it belonged to when it was first seen; None looks it up while the port is there.
        look: how ports are listed.
        port_named: makes the port of a name.
    """

    def __init__(
        self,
        name: str,
        *,
        usb: UsbIds | None = None,
        look: Callable[[], tuple[PortInfo, ...]] = list_ports,
        port_named: Callable[[str], Port] = SerialPort,
    ) -> None:
        self._port = port_named(name)
        self._usb = usb
        self._was_looked_up = usb is not None
        self._look = look
        self._port_named = port_named

    @property
    def name(self) -> str:
        """Name of the port now."""
        return self._port.name

    @property
    def usb(self) -> UsbIds | None:
        """The USB device of the port; None where it has none, or was never seen."""
        self._remember()
        return self._usb

    def is_present(self) -> bool:
        """Answer whether the port is there now, under its name or under another."""
        if self._port.is_present():
            self._remember()
            return True
        found = self._same_device()
        if found is not None:
            self._port = self._port_named(found)
        return found is not None

    def open(self, line: LineSettings) -> Wire:
        """Open the port.

        Raises:
            LinkError: as the port of the present name.
        """
        self.is_present()
        return self._port.open(line)

    def _remember(self) -> None:
        if self._was_looked_up or not self._port.is_present():
            return
        self._was_looked_up = True
        self._usb = next((port.usb for port in self._look() if port.name == self._port.name), None)

    def _same_device(self) -> str | None:
        """Return the name of the only port of the same device; None if there is none, or several that are alike."""
        if self._usb is None:
            return None
        found = [port.name for port in self._look() if port.usb is not None and _is_same(port.usb, self._usb)]
        return found[0] if len(found) == 1 else None


def _is_same(one: UsbIds, other: UsbIds) -> bool:
    return (one.vendor, one.product, one.serial_number) == (other.vendor, other.product, other.serial_number)
