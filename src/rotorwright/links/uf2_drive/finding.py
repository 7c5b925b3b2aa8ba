"""Finding drives of UF2 bootloaders among the drives of this computer, by their info file."""

from __future__ import annotations

import string
import sys
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from rotorwright.links.uf2_drive.spec import INFO_FILE, MOST_INFO_BYTES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

MOUNTS = Path("/proc/self/mounts")
MAC_VOLUMES = Path("/Volumes")
FAT_TYPES = frozenset({"vfat", "msdos", "exfat"})
_NO_FACTS: Mapping[str, str] = MappingProxyType({})
_LARGEST_FAMILY = 0xFFFF_FFFF
_FAMILY_WORDS = frozenset({"family", "family-id", "familyid"})


@dataclass(frozen=True, slots=True)
class DriveInfo:
    """What the info file says.

    Args:
        bootloader: its first line: name and version of the bootloader.
        bootloader_version: the version in that line, without its `v`; "" if there is none.
        model: for people.
        board_id: for programs: processor, board and revision, with dashes between.
        others: lines that the specification does not name, by their key.
    """

    bootloader: str = ""
    bootloader_version: str = ""
    model: str = ""
    board_id: str = ""
    others: Mapping[str, str] = field(default_factory=lambda: _NO_FACTS)

    @property
    def words(self) -> str:
        """What it says of the board and of itself, for people."""
        return ", ".join(word for word in (self.model, self.board_id, self.bootloader) if word)

    @property
    def family_id(self) -> int | None:
        """The family that the drive says it takes; None if it does not say. The specification has no such line."""
        for key, value in self.others.items():
            if key.lower().replace(" ", "-") in _FAMILY_WORDS:
                return _family_in(value)
        return None


def _family_in(words: str) -> int | None:
    try:
        family = int(words.split(maxsplit=1)[0], 16)
    except (ValueError, IndexError):
        return None
    return family if 0 <= family <= _LARGEST_FAMILY else None


@dataclass(frozen=True, slots=True)
class Uf2Drive:
    """A drive of a UF2 bootloader. `device` is what is mounted there, "" where that is not known."""

    folder: Path
    info_file: Path
    info: DriveInfo
    device: str = ""


def parse_info(text: str) -> DriveInfo:
    """Return what the text of an info file says; anything it does not say is empty.

    Source: UF2 specification, "Files exposed by bootloaders".
    """
    lines = [line.strip() for line in text.replace("\0", "").splitlines() if line.strip()]
    first = lines[0] if lines and ":" not in lines[0] else ""
    facts: dict[str, str] = {}
    for line in lines:
        key, colon, value = line.partition(":")
        if colon and line != first:
            facts.setdefault(key.strip(), value.strip())
    by_lower = {key.lower(): key for key in facts}
    model, board = (facts.pop(by_lower[key]) if key in by_lower else "" for key in ("model", "board-id"))
    return DriveInfo(first, _version_in(first), model, board, MappingProxyType(facts))


def _version_in(line: str) -> str:
    for word in line.split():
        if word[:1] in {"v", "V"} and word[1:2].isdigit():
            return word[1:]
    return ""


def drive_at(folder: Path, *, device: str = "") -> Uf2Drive | None:
    """Return the drive of a UF2 bootloader at `folder`, or nothing if it is none or goes at this very moment.

    A drive that was pulled may still be listed from the memory of the system; where the `device` is known, it counts.
    """
    try:
        if device and not Path(device).exists():
            return None
        info_file = next((one for one in folder.iterdir() if one.name.upper() == INFO_FILE), None)
        if info_file is None:
            return None
        with info_file.open("rb") as file:
            text = file.read(MOST_INFO_BYTES).decode("utf-8", errors="replace")
    except OSError:
        return None
    return Uf2Drive(folder, info_file, parse_info(text), device)


def find_drives(folders: Iterable[Path] | None = None) -> tuple[Uf2Drive, ...]:
    """Return the drives of UF2 bootloaders in `folders`, or among all FAT drives of this computer."""
    places = drive_places() if folders is None else [(folder, "") for folder in folders]
    return tuple(drive for folder, device in places if (drive := drive_at(folder, device=device)) is not None)


def drive_places(
    *, mounts: Path = MOUNTS, volumes: Path = MAC_VOLUMES, system: str = sys.platform
) -> list[tuple[Path, str]]:
    """Return where such drives may be, each with its device if known. A drive that nobody mounted is not among them.

    Sources: man page proc(5) for the list of Linux, where a space is an octal code; for the others common practice.
    """
    if system == "linux":
        return sorted(_fat_mounts(mounts))
    if system == "win32":
        return [(root, "") for letter in string.ascii_uppercase[2:] if (root := Path(f"{letter}:\\")).exists()]
    try:
        return [(folder, "") for folder in sorted(volumes.iterdir())]
    except OSError:
        return []


def _fat_mounts(mounts: Path) -> list[tuple[Path, str]]:
    try:
        lines = mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return []
    words = [line.split() for line in lines]
    return [
        (Path(_unescaped(word[1])), word[0] if word[0].startswith("/dev/") else "")
        for word in words
        if len(word) > 2 and word[2] in FAT_TYPES
    ]


def _unescaped(name: str) -> str:
    for code, sign in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        name = name.replace(code, sign)
    return name
