"""The rule by which Linux lets whoever sits at the computer open serial ports and bootloaders on USB.

No group is needed: the tag `uaccess` gives the device to the person who is logged in at the screen. Source: man page
udev(7); rules 70-uaccess, 73-seat-late and 50-udev-default of systemd 252. The file's number must be below 73.
"""

from __future__ import annotations

import contextlib
import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import ClassVar

from rotorwright.errors import Blame, StorageError

RULE_FILE = Path("/etc/udev/rules.d/70-rotorwright.rules")

RULE_TEXT = """\
# Whoever sits at this computer may open the ports and bootloaders of flight controllers.
# Printed by `rotorwright udev-rule`. To take it back, remove this file.

ACTION=="remove", GOTO="rotorwright_end"

# Serial ports on USB
SUBSYSTEM=="tty", SUBSYSTEMS=="usb", KERNEL=="ttyACM[0-9]*|ttyUSB[0-9]*", TAG+="uaccess"

# Devices with an interface for writing firmware, running or waiting (USB DFU 1.1: class fe, subclass 01)
SUBSYSTEM=="usb", ENV{DEVTYPE}=="usb_device", ENV{ID_USB_INTERFACES}=="*:fe0101:*|*:fe0102:*", TAG+="uaccess"

LABEL="rotorwright_end"
"""


class Installed(StrEnum):
    """What came of installing the rule."""

    WRITTEN = "written"
    WAS_THERE = "was there already"


class UdevRuleError(StorageError):
    """The udev rule cannot be put in place."""

    id = "storage.udev-rule"


class UdevRuleRightError(UdevRuleError):
    """Only the administrator may put a udev rule in place."""

    id = "storage.udev-rule-right"
    blame: ClassVar[Blame] = Blame.PERSON


class UdevRuleOtherContentError(UdevRuleError):
    """A file of the rule's name is there with another content; it is never overwritten."""

    id = "storage.udev-rule-other-content"
    blame: ClassVar[Blame] = Blame.PERSON


def install_rule(file: Path = RULE_FILE, *, system: str = sys.platform, is_root: bool | None = None) -> Installed:
    """Put the rule in place, or say that it is there already; a file with another content is left as it is.

    Raises:
        UdevRuleError: this system has no udev, or the file cannot be written.
        UdevRuleRightError: this user is not the administrator.
        UdevRuleOtherContentError: a file of that name says something else.
    """
    if system != "linux" or not file.parent.is_dir():
        raise _no_udev(file)
    if _same_is_there(file):
        return Installed.WAS_THERE
    if not (_runs_as_root() if is_root is None else is_root):
        raise _no_right(file)
    try:
        _write_new(file)
    except FileExistsError:  # somebody put one there meanwhile
        _same_is_there(file)
        return Installed.WAS_THERE
    except OSError as error:
        raise _unwritable(file, error) from error
    return Installed.WRITTEN


def _runs_as_root() -> bool:
    return sys.platform != "win32" and os.geteuid() == 0


def _same_is_there(file: Path) -> bool:
    try:
        found = file.read_bytes()
    except FileNotFoundError:
        if file.is_symlink():
            raise _other_content(file) from None
        return False
    except OSError as error:
        raise _unwritable(file, error) from error
    if found != RULE_TEXT.encode():
        raise _other_content(file)
    return True


def _write_new(file: Path) -> None:
    """Write the whole file under another name, then give it its own, which fails if the name is taken."""
    draft = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        with draft.open("xb") as opened:
            opened.write(RULE_TEXT.encode())
            opened.flush()
            os.fsync(opened.fileno())
        draft.chmod(0o644)
        file.hardlink_to(draft)
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


_NOTHING_DONE = "Nothing was changed on this computer, and nothing was sent to any aircraft."


def _no_udev(file: Path) -> UdevRuleError:
    return UdevRuleError(
        "A udev rule cannot be put in place here.",
        why=f"Only Linux has udev, and its folder for rules ({file.parent}) is not here.",
        state=_NOTHING_DONE,
        todo="Look with `rotorwright ports --nothing-came` what to do on this system.",
        file=str(file),
    )


def _no_right(file: Path) -> UdevRuleRightError:
    return UdevRuleRightError(
        f"This user may not write {file}.",
        why="Rules for devices hold for everybody on this computer, so only its administrator may add one.",
        state=_NOTHING_DONE,
        todo="Read the rule with `rotorwright udev-rule`, then say `sudo rotorwright udev-rule --install`. If sudo "
        "does not find the command, say `rotorwright udev-rule | sudo tee "
        f"{file}` while there is no such file.",
        file=str(file),
    )


def _other_content(file: Path) -> UdevRuleOtherContentError:
    return UdevRuleOtherContentError(
        f"{file} is there already and says something else.",
        why="It is the rule of another version, or somebody changed it. It is never overwritten.",
        state=_NOTHING_DONE,
        todo="Compare it with `rotorwright udev-rule`. If the old one is not needed, move it away, then install again.",
        file=str(file),
    )


def _unwritable(file: Path, error: OSError) -> UdevRuleError:
    return UdevRuleError(
        f"{file} cannot be written: {error.strerror or error}.",
        why="The file system is full, or it may not be changed.",
        state=_NOTHING_DONE,
        todo="Make room or ask whoever looks after this computer, then install again.",
        file=str(file),
    )
