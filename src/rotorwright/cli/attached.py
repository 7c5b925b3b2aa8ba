"""Where bootloaders on USB and drives are looked for: on this computer, or at a virtual aircraft.

A virtual aircraft has its USB socket and its drive in its folder, beside the link to its port; whoever names that port
means that aircraft.
"""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.links.uf2_drive.finding import find_drives
from rotorwright.links.usb_dfu.usb_port import UsbBus

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.links.uf2_drive.finding import Uf2Drive
    from rotorwright.twin.state import StateFolder


@contextmanager
def attached_beside(port: str) -> Iterator[tuple[Callable[[], UsbBus], Callable[[], tuple[Uf2Drive, ...]]]]:
    """Give how the USB is reached to which the aircraft on `port` belongs, and how the drives are listed."""
    folder = _virtual_aircraft(port)
    if folder is None:
        yield UsbBus, find_drives
        return
    from rotorwright.twin.usb_socket import SocketUsbBackend

    backend = SocketUsbBackend([folder.path])
    try:
        yield lambda: UsbBus(backend), lambda: find_drives([folder.drive_folder])
    finally:
        backend.close()


def _virtual_aircraft(port: str) -> StateFolder | None:
    from rotorwright.twin.state import StateFolder

    folder = StateFolder(Path(port).parent)
    return folder if Path(port) == folder.port_link and folder.is_made else None
