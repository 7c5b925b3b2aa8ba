"""What to try when nothing comes: the order of causes, how to tell each, and what to do on each system.

The order is common practice, with no published source. Groups and rules of Linux: man pages group(5), udev(7).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

SERIAL_GROUPS = ("dialout", "uucp")
"""Groups to which serial ports belong, by distribution (common practice); the first that exists is named."""


class DesktopSystem(StrEnum):
    """The systems that the advice is told apart for."""

    LINUX = "Linux"
    WINDOWS = "Windows"
    MACOS = "macOS"


@dataclass(frozen=True, slots=True)
class Cause:
    """Why nothing came: how to tell it, and what to do about it on each system. The likeliest to be cheap comes first.

    `{group}` in a text stands for the group that serial ports belong to.
    """

    what: str
    sign: str
    linux: str
    windows: str
    macos: str

    def todo(self, system: DesktopSystem, *, group: str = SERIAL_GROUPS[0]) -> str:
        """Return what to do on `system`."""
        texts = {DesktopSystem.LINUX: self.linux, DesktopSystem.WINDOWS: self.windows, DesktopSystem.MACOS: self.macos}
        return texts[system].format(group=group)


_OTHER_CABLE = "Take a cable that moved data before, and a socket of the computer itself, not one of a hub."

NOTHING_CAME: tuple[Cause, ...] = (
    Cause(
        what="the cable",
        sign="The board has light, and nothing at all happens on the computer: no sound, no new device. Many cables "
        "carry only power.",
        linux=f"{_OTHER_CABLE} `sudo dmesg --follow` shows a line for each device that comes.",
        windows=f"{_OTHER_CABLE} The Device Manager shows each device that comes, unknown ones too.",
        macos=f"{_OTHER_CABLE} System Information, USB, shows each device that comes.",
    ),
    Cause(
        what="the driver",
        sign="The computer notices a device, but no port comes; or the application comes and the bootloader does not.",
        linux="Ports and bootloaders need no driver here. If `lsusb` shows the device and no port comes, the kernel "
        "lacks the module of that adapter: `sudo modprobe cdc_acm` for boards with their own USB socket.",
        windows="In the Device Manager, look for a device with a warning sign. A bootloader in DFU mode needs the "
        "WinUSB driver, an adapter the driver of its maker. A UF2 drive needs none.",
        macos="Boards with their own USB socket and bootloaders need no driver. For an adapter, install the one of its "
        "maker and allow it under Privacy & Security.",
    ),
    Cause(
        what="the permission",
        sign="`rotorwright ports` lists it and says that this user may not open it.",
        linux="Once: `sudo usermod -aG {group} $USER`, then log out and in again. For a bootloader on USB: "
        "`rotorwright udev-rule` shows a rule, `sudo rotorwright udev-rule --install` puts it in place; then plug "
        "the aircraft in again.",
        windows="No right is needed. If it says that access is denied, another program has the port: close it.",
        macos="No right is needed. When the system asks whether the accessory may connect, allow it.",
    ),
    Cause(
        what="the board",
        sign="Another board comes with the same cable on the same socket; this one does not.",
        linux="Propellers off. Hold its boot button while plugging it in: if a bootloader comes, the application is "
        "damaged and can be written anew. If nothing comes then either, it needs its maker.",
        windows="Propellers off. Hold its boot button while plugging it in: if a bootloader comes, the application is "
        "damaged and can be written anew. If nothing comes then either, it needs its maker.",
        macos="Propellers off. Hold its boot button while plugging it in: if a bootloader comes, the application is "
        "damaged and can be written anew. If nothing comes then either, it needs its maker.",
    ),
)
"""What to try when nothing came, in this order. Source: common practice, no published source."""


def system_of(platform: str = sys.platform) -> DesktopSystem:
    """Return which system the advice is for; what is neither of two others is treated as Linux."""
    return {"win32": DesktopSystem.WINDOWS, "darwin": DesktopSystem.MACOS}.get(platform, DesktopSystem.LINUX)


def serial_group(exists: Callable[[str], bool] | None = None) -> str:
    """Return the group that serial ports belong to on this computer, by which one exists."""
    has = _group_exists if exists is None else exists
    return next((name for name in SERIAL_GROUPS if has(name)), SERIAL_GROUPS[0])


def advice_text(system: DesktopSystem, *, group: str = SERIAL_GROUPS[0]) -> str:
    """Return the whole order of causes for one system as text, each with how to tell and what to do."""
    lines = [f"Nothing came? Check in this order ({system}):"]
    for number, cause in enumerate(NOTHING_CAME, 1):
        lines += [
            "",
            f"{number}. {cause.what[0].upper()}{cause.what[1:]}",
            f"   How to tell: {cause.sign}",
            f"   What to do:  {cause.todo(system, group=group)}",
        ]
    return "\n".join(lines)


def advice_page() -> str:
    """Return the order of causes for all systems as Markdown, as it stands in docs/how-to/no-port.md."""
    parts: list[str] = []
    for number, cause in enumerate(NOTHING_CAME, 1):
        parts += [f"## {number}. {cause.what[0].upper()}{cause.what[1:]}", "", f"How to tell: {cause.sign}", ""]
        parts += [f"- **{system}.** {cause.todo(system)}" for system in DesktopSystem]
        parts.append("")
    return "\n".join(parts)


def _group_exists(name: str) -> bool:
    if sys.platform == "win32":
        return False
    import grp  # noqa: PLC0415 - only this kind of system has it

    try:
        grp.getgrnam(name)
    except KeyError:
        return False
    return True
