"""Which ports are there, which came, which went, and what to try when none came.

The port of the aircraft is the one that vanishes when its cable is pulled (common practice, no source).
"""

from __future__ import annotations

import os
import stat
import warnings
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from rotorwright.links.limits import Limit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

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
    """A port and what is known about it. `leads_to` is where a link leads."""

    name: str
    kind: PortKind
    description: str = ""
    usb: UsbIds | None = None
    leads_to: str = ""

    def as_json(self) -> dict[str, object]:
        """Return the port as plain data."""
        return {
            "name": self.name,
            "kind": str(self.kind),
            "description": self.description,
            "usb": None if self.usb is None else str(self.usb),
            "serial_number": "" if self.usb is None else self.usb.serial_number,
            "leads_to": self.leads_to,
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


@dataclass(frozen=True, slots=True)
class Cause:
    """Why no port came: what to check, and how. The likeliest to be cheap comes first."""

    what: str
    sign: str
    todo: str


NOTHING_CAME: tuple[Cause, ...] = (
    Cause(
        what="the driver",
        sign="The computer shows an unknown device, or the bootloader alone does not come while the application did.",
        todo="Install the driver of the adapter or of the bootloader. One desktop system often lacks the latter; the "
        "others hardly ever do.",
    ),
    Cause(
        what="the cable",
        sign="The board has light, and nothing at all happens on the computer.",
        todo="Take another cable, one that moved data before: many carry only power.",
    ),
    Cause(
        what="the board",
        sign="Another board comes with the same cable on the same socket; this one does not.",
        todo="Hold its boot button while plugging it in. If nothing comes then either, it needs its maker.",
    ),
)
"""What to try when no port came, in this order. Source: common practice, no published source."""


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


def watch_ports(
    clock: Clock,
    *,
    extra_folders: Sequence[Path] | None = None,
    look: Callable[[], tuple[PortInfo, ...]] | None = None,
    timeout_s: float | None = None,
) -> Iterator[PortEvent | None]:
    """Yield ports as they come and go, first those that went; None after each look that found no change.

    Ends after `timeout_s`, if given. `look` is how ports are listed; left out, as list_ports does.
    """
    find = look if look is not None else lambda: list_ports(extra_folders)
    deadline = None if timeout_s is None else clock.now_s() + timeout_s
    before = {_key(port): port for port in find()}
    while deadline is None or clock.now_s() < deadline:
        clock.sleep_s(LOOK.value)
        after = {_key(port): port for port in find()}
        events: list[PortEvent | None] = [
            *(PortEvent(PortChange.WENT, port) for key, port in before.items() if key not in after),
            *(PortEvent(PortChange.CAME, port) for key, port in after.items() if key not in before),
        ]
        yield from events or [None]
        before = after


def _key(port: PortInfo) -> tuple[str, str]:
    """Return what makes a port the same one: a link that leads elsewhere now has gone and come."""
    return port.name, port.leads_to


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
