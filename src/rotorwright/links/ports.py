"""What is plugged in, what it is, what came and what went.

The port of the aircraft is the one that vanishes when its cable is pulled (common practice, no source). A bootloader on
USB has no port: it is listed as the device, or as the drive, that it is.
"""

from __future__ import annotations

import os
import stat
import warnings
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from rotorwright.links.limits import Limit
from rotorwright.links.uf2_drive.finding import find_drives
from rotorwright.links.usb_devices import list_usb_devices
from rotorwright.links.usb_facts import DeviceRole, usb_fact

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from rotorwright.links.uf2_drive.finding import Uf2Drive
    from rotorwright.links.usb_devices import UsbDevice
    from rotorwright.links.usb_facts import UsbFact
    from rotorwright.links.wire import Clock

PORTS_FOLDERS_VARIABLE = "ROTORWRIGHT_PORTS_DIR"
"""Environment variable with more folders to look for ports in, apart by the system's path separator."""

_LINK_WORDS = "a virtual aircraft or a named port"

LOOK = Limit("time between two looks for ports that came or went", 0.25, "s", "own choice: quicker than a person")


class PortKind(StrEnum):
    """What a port is, as far as its name and its driver tell."""

    USB = "usb"
    BUILT_IN = "built-in"
    LINK = "link"
    DEVICE = "device"
    DRIVE = "drive"


@dataclass(frozen=True, slots=True)
class UsbIds:
    """What a USB device says about itself, the numbers as 16 bits each."""

    vendor: int
    product: int
    serial_number: str = ""
    maker: str = ""
    product_name: str = ""

    def __str__(self) -> str:
        return f"{self.vendor:04x}:{self.product:04x}"


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A port, or another way to an aircraft, and what is known about it.

    Args:
        name: what a person types; for a USB device without a port, at which socket it is; for a drive, its folder.
        leads_to: where a link leads; for a USB device, the file that has to be opened to speak to it.
        role: what it is to us, as far as its numbers and classes tell.
        why: what that is known by, with the source.
    """

    name: str
    kind: PortKind
    description: str = ""
    usb: UsbIds | None = None
    leads_to: str = ""
    role: DeviceRole = DeviceRole.UNKNOWN_SERIAL
    why: str = ""

    @property
    def opened_file(self) -> str:
        """What a program opens to speak to it, "" if there is no such file."""
        return self.leads_to if self.kind is PortKind.DEVICE else self.name

    def as_json(self) -> dict[str, object]:
        """Return the port as plain data."""
        return {
            "name": self.name,
            "kind": str(self.kind),
            "description": self.description,
            "usb": None if self.usb is None else str(self.usb),
            "serial_number": "" if self.usb is None else self.usb.serial_number,
            "leads_to": self.leads_to,
            "what": str(self.role),
            "why": self.why,
        }


class PortChange(StrEnum):
    """What happened to a port."""

    CAME = "came"
    WENT = "went"


@dataclass(frozen=True, slots=True)
class PortEvent:
    """A port that came or went."""

    change: PortChange
    port: PortInfo


def default_port_folders() -> tuple[Path, ...]:
    """Return where virtual aircraft put links to their ports, or what the environment names instead."""
    named = os.environ.get(PORTS_FOLDERS_VARIABLE)
    if named:
        return tuple(Path(part) for part in named.split(os.pathsep) if part)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # where the system names no runtime folder, any that both sides find will do
        return (Path(platformdirs.user_runtime_dir("rotorwright")) / "ports",)


def list_ports(extra_folders: Sequence[Path] | None = None) -> tuple[PortInfo, ...]:
    """Return the serial ports of this computer and the links in `extra_folders`, sorted by name; links come first.

    Without `extra_folders` the default ones are looked into. A link to nowhere is left out: its cable is pulled.
    """
    folders = default_port_folders() if extra_folders is None else extra_folders
    links = [port for folder in folders for port in _links_in(folder)]
    return (*sorted(links, key=lambda port: port.name), *_serial_ports())


def list_attached(
    extra_folders: Sequence[Path] | None = None, *, more_facts: Collection[UsbFact] = ()
) -> tuple[PortInfo, ...]:
    """Return the ports of `list_ports`, each with what it is, then bootloaders on USB and UF2 drives.

    `more_facts` are rows that a release book has about its boards; they go before ours. Nothing is opened or sent.
    """
    devices = list_usb_devices()
    ports = [_with_role(port, devices, more_facts) for port in list_ports(extra_folders)]
    loaders = [found for device in devices if (found := _loader(device, more_facts)) is not None]
    return (*ports, *loaders, *(_drive(drive) for drive in find_drives()))


def changes_between(before: Collection[PortInfo], after: Collection[PortInfo]) -> tuple[PortEvent, ...]:
    """Return what went and what came from one listing to the next, first those that went; each once."""
    known, now = ({_key(port): port for port in listing} for listing in (before, after))
    return (
        *(PortEvent(PortChange.WENT, port) for key, port in known.items() if key not in now),
        *(PortEvent(PortChange.CAME, port) for key, port in now.items() if key not in known),
    )


def watch_ports(
    clock: Clock,
    *,
    extra_folders: Sequence[Path] | None = None,
    look: Callable[[], tuple[PortInfo, ...]] | None = None,
    before: Collection[PortInfo] | None = None,
    timeout_s: float | None = None,
) -> Iterator[PortEvent | None]:
    """Yield ports as they come and go, first those that went; None after each look that found no change.

    Ends after `timeout_s`, if given. `look` is how ports are listed; left out, as list_ports does. `before` is a
    listing that was shown already: what changed since is told too.
    """
    find = look if look is not None else lambda: list_ports(extra_folders)
    deadline = None if timeout_s is None else clock.now_s() + timeout_s
    known: Collection[PortInfo] = find() if before is None else before
    while deadline is None or clock.now_s() < deadline:
        clock.sleep_s(LOOK.value)
        now = find()
        yield from changes_between(known, now) or (None,)
        known = now


def _key(port: PortInfo) -> tuple[str, ...]:
    """Return what makes a port the same one: under one name another device may come, and a link may lead elsewhere."""
    usb = port.usb
    return port.name, str(port.kind), port.leads_to, *(() if usb is None else (str(usb), usb.serial_number))


def _with_role(port: PortInfo, devices: Collection[UsbDevice], more: Collection[UsbFact]) -> PortInfo:
    if port.kind is PortKind.LINK:
        return replace(port, role=DeviceRole.NAMED_PORT, why="its name stands in a folder of ports")
    if port.usb is None:
        return replace(port, why="a port of the computer itself; what hangs on it does not say what it is")
    usb = port.usb
    interfaces = {one for device in devices if _is_same(device, usb) for one in device.interfaces}
    fact = usb_fact(usb.vendor, usb.product, interfaces, more=more)
    if fact is None:
        return replace(port, why=f"{usb} stands in no table here")
    return replace(port, role=fact.role, why=f"{fact.words}; {fact.source}")


def _is_same(device: UsbDevice, usb: UsbIds) -> bool:
    return (device.vendor, device.product, device.serial_number) == (usb.vendor, usb.product, usb.serial_number)


def _loader(device: UsbDevice, more: Collection[UsbFact]) -> PortInfo | None:
    fact = usb_fact(device.vendor, device.product, device.interfaces, more=more)
    if fact is None or fact.role is not DeviceRole.BOOTLOADER:
        return None
    return PortInfo(
        name=f"usb {device.place}",
        kind=PortKind.DEVICE,
        description=device.product_name,
        usb=UsbIds(device.vendor, device.product, device.serial_number, device.maker, device.product_name),
        leads_to=device.file,
        role=fact.role,
        why=f"{fact.words}; {fact.source}",
    )


def _drive(drive: Uf2Drive) -> PortInfo:
    return PortInfo(
        name=str(drive.folder),
        kind=PortKind.DRIVE,
        description=drive.info.words,
        role=DeviceRole.UF2_DRIVE,
        why=f"{drive.info_file.name} in it; UF2 specification",
    )


def _links_in(folder: Path) -> Iterator[PortInfo]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:  # no such folder: no aircraft put a link there
        return
    for entry in entries:
        if _is_character_device(entry):
            leads_to = str(entry.resolve()) if entry.is_symlink() else ""
            yield PortInfo(
                str(entry), PortKind.LINK, description="a virtual aircraft or a named port", leads_to=leads_to
            )


def _is_character_device(path: Path) -> bool:
    try:
        return stat.S_ISCHR(path.stat().st_mode)
    except OSError:  # a link that leads nowhere, or a port that goes at this very moment
        return False


def _serial_ports() -> tuple[PortInfo, ...]:
    from serial.tools import list_ports as serial_ports  # noqa: PLC0415 - off the start-up path

    found = [
        PortInfo(
            name=port.device,
            kind=PortKind.BUILT_IN if port.vid is None else PortKind.USB,
            description="" if port.description in {None, "n/a"} else str(port.description),
            usb=None
            if port.vid is None
            else UsbIds(
                vendor=port.vid,
                product=port.pid or 0,
                serial_number=port.serial_number or "",
                maker=port.manufacturer or "",
                product_name=port.product or "",
            ),
        )
        for port in serial_ports.comports()
    ]
    return tuple(sorted(found, key=lambda port: (port.kind is not PortKind.USB, port.name)))
