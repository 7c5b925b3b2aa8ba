"""The state folder: what a virtual aircraft keeps when its power goes, or when its process is killed."""

from __future__ import annotations

import json
import mmap
import os
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from rotorwright.twin.errors import TwinStateError
from rotorwright.twin.flash import erased_flash

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller

_FORMAT = "rotorwright-twin"
_VERSION = 1
UNIQUE_ID_BYTES = 12  # 96 bits


@dataclass(frozen=True, slots=True)
class Papers:
    """What a virtual aircraft is, and its option bytes.

    Args:
        unique_id: 24 lower-case hex digits, bytes in the order as read from the microcontroller.
        board: key of the board, "C405".
        microcontroller: name of the part, "STM32F405xG".
        read_out_protected: whether the bootloader refuses to read, write, erase and start.
        write_protected_sectors: sectors that accept erase and program and do neither.
        console: whether its firmware speaks by its text console instead of messages.
        drive: whether its bootloader shows itself as a drive, instead of that in the ROM on UART and USB.
        planted: what is wrong with the aircraft itself, by the names of the bench's faults.
    """

    unique_id: str
    board: str
    microcontroller: str
    read_out_protected: bool = False
    write_protected_sectors: tuple[int, ...] = field(default=())
    console: bool = False
    drive: bool = False
    planted: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if len(bytes.fromhex(self.unique_id)) != UNIQUE_ID_BYTES or self.unique_id != self.unique_id.lower():
            raise ValueError(f"{self.unique_id!r} is not 24 lower-case hex digits")


class StateFolder:
    """The folder of one virtual aircraft.

    `flash.bin` is the flash, byte by byte, changed in place; `settings.bin` and `display.bin` are written by the
    application; `aircraft.json` holds the papers. While a process keeps the aircraft alive there are also `port` (a
    link to its port), `hands.json` (how to act on it), `usb.json` (its USB socket) and `alive.lock`.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    @property
    def flash_file(self) -> Path:
        """The flash memory."""
        return self.path / "flash.bin"

    @property
    def settings_file(self) -> Path:
        """The settings memory of the application."""
        return self.path / "settings.bin"

    @property
    def display_file(self) -> Path:
        """The character memory of the display chip."""
        return self.path / "display.bin"

    @property
    def papers_file(self) -> Path:
        """What the aircraft is."""
        return self.path / "aircraft.json"

    @property
    def port_link(self) -> Path:
        """Where the port of the living aircraft is; gone while its cable is pulled."""
        return self.path / "port"

    @property
    def hands_file(self) -> Path:
        """Address and token of the hands control."""
        return self.path / "hands.json"

    @property
    def drive_folder(self) -> Path:
        """Where the drive of its bootloader appears, if it has such a one and is in it."""
        return self.path / "drive"

    @property
    def lock_file(self) -> Path:
        """Held by the process that keeps the aircraft alive."""
        return self.path / "alive.lock"

    @property
    def is_made(self) -> bool:
        """Whether an aircraft is in this folder."""
        return self.papers_file.exists()

    def make(self, papers: Papers) -> None:
        """Write the papers of a new aircraft, its flash still erased when first looked at.

        Raises:
            TwinStateError: the folder cannot be written.
        """
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise self._broken(f"The folder cannot be made: {problem}.") from problem
        self.write_papers(papers)

    def write_papers(self, papers: Papers) -> None:
        """Replace the papers, whole or not at all.

        Raises:
            TwinStateError: the file cannot be written.
        """
        text = json.dumps({"format": _FORMAT, "version": _VERSION, **asdict(papers)}, indent=2) + "\n"
        write_whole(self.papers_file, text)

    def give_console(self) -> None:
        """Let the firmware speak by its text console from now on; only while nobody flies it.

        Raises:
            TwinStateError: the folder cannot be used.
        """
        self.write_papers(replace(self.read_papers(), console=True))

    def give_drive(self) -> None:
        """Let its bootloader show itself as a drive from now on; only while nobody flies it.

        Raises:
            TwinStateError: the folder cannot be used.
        """
        self.write_papers(replace(self.read_papers(), drive=True))

    def plant(self, faults: Sequence[str]) -> None:
        """Let these things be wrong with the aircraft itself from now on; only while nobody flies it.

        Raises:
            TwinStateError: the folder cannot be used.
        """
        self.write_papers(replace(self.read_papers(), planted=tuple(faults)))

    def read_papers(self) -> Papers:
        """Return the papers.

        Raises:
            TwinStateError: there are none, or they cannot be understood.
        """
        try:
            data = json.loads(self.papers_file.read_text(encoding="utf-8"))
            return _papers(data)
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as problem:
            raise self._broken(f"Its {self.papers_file.name} cannot be used: {problem!r}.") from problem

    def open_flash(self, mcu: Microcontroller) -> mmap.mmap:
        """Return the flash as `open_memory` does; its size is that of the flash of `mcu`."""
        return self.open_memory(self.flash_file, bytes(erased_flash(mcu)))

    def open_memory(self, file: Path, fresh: bytes) -> mmap.mmap:
        """Return a file as memory: what is changed there is in the file at once, even if this process dies.

        Args:
            file: one of this folder's; if missing it is made.
            fresh: what a new one holds; gives the size too.

        Raises:
            TwinStateError: the file cannot be used, or has another size.
        """
        try:
            if not file.exists():
                write_whole(file, fresh)
            if (size := file.stat().st_size) != len(fresh):
                raise self._broken(f"Its {file.name} has {size} bytes and should have {len(fresh)}.")
            with file.open("r+b") as opened:
                return mmap.mmap(opened.fileno(), 0)
        except OSError as problem:
            raise self._broken(f"Its {file.name} cannot be opened: {problem}.") from problem

    def write_image(self, image: Image, mcu: Microcontroller) -> None:
        """Put `image` into an otherwise erased flash, as the maker of the aircraft did; only while nobody flies it.

        Raises:
            TwinStateError: the file cannot be written.
        """
        content = erased_flash(mcu)
        size = len(content)
        for segment in image.segments:
            offset = segment.address - mcu.flash_start
            content[offset : offset + len(segment.data)] = segment.data
        if len(content) != size:  # a slice past the end lets a bytearray grow
            raise self._broken(f"The image has bytes outside the flash of a {mcu.name}.")
        write_whole(self.flash_file, bytes(content))

    def _broken(self, why: str) -> TwinStateError:
        return TwinStateError(
            f"The virtual aircraft in {self.path} cannot be used.",
            why=why,
            state="No virtual aircraft was started; the folder is as it was.",
            todo="Name another folder, or remove this one to start with a new aircraft.",
            folder=str(self.path),
        )


def _papers(data: dict[str, Any]) -> Papers:
    if (data.pop("format"), data.pop("version")) != (_FORMAT, _VERSION):
        raise ValueError("another format or a newer version")
    lists = {key: tuple(data.get(key, ())) for key in ("write_protected_sectors", "planted")}
    return Papers(**{**data, **lists})


def write_whole(path: Path, content: bytes | str) -> None:
    """Write a file so that it is there whole or not at all, readable by its owner only.

    Raises:
        TwinStateError: it cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    temporary = path.with_name(f".{path.name}.new")
    try:
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        temporary.replace(path)
    except OSError as problem:
        raise TwinStateError(
            f"The file {path} cannot be written.",
            why=str(problem),
            state="The virtual aircraft keeps what it had before.",
            todo="Make room or give write access to that folder, then start again.",
            file=str(path),
        ) from problem
