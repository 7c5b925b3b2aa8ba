"""The few acts on a drive that writing needs. Errors of the system come out as they are; `writing` words them."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from pathlib import Path


class OpenFile(Protocol):
    """A file on a drive, open for writing."""

    def write(self, data: bytes) -> None:
        """Write all of `data` and wait until the drive has it.

        Raises:
            OSError: as the system says.
        """
        ...

    def close(self) -> None:
        """Close it.

        Raises:
            OSError: as the system says.
        """
        ...


class DriveFiles(Protocol):
    """The file system of a drive."""

    def free_bytes(self, folder: Path) -> int:
        """Return how much room there is."""
        ...

    def create(self, path: Path) -> OpenFile:
        """Open an empty file of this name, whatever it held before."""
        ...


class _SystemFile:
    def __init__(self, path: Path) -> None:
        self._folder = path.parent
        self._file = path.open("wb", buffering=0)

    def write(self, data: bytes) -> None:
        rest = memoryview(data)
        while rest:
            rest = rest[self._file.write(rest) :]
        os.fsync(self._file.fileno())

    def close(self) -> None:
        self._file.close()
        if sys.platform != "win32":  # the entry of the file, where folders can be synced; the drive may be gone by now
            with contextlib.suppress(OSError):
                number = os.open(self._folder, os.O_RDONLY)
                try:
                    os.fsync(number)
                finally:
                    os.close(number)


class SystemFiles:
    """The file system as this computer has it."""

    def free_bytes(self, folder: Path) -> int:
        """Return how much room there is."""
        return shutil.disk_usage(folder).free

    def create(self, path: Path) -> OpenFile:
        """Open an empty file of this name, whatever it held before."""
        return _SystemFile(path)
