"""Reading what a person names on the command line, with clear errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.errors import StorageError

if TYPE_CHECKING:
    from pathlib import Path

LARGEST_INPUT_BYTES = 64 * 1024 * 1024


class InputFileError(StorageError):
    """A file named on the command line cannot be read."""

    id = "storage.input-file"


def read_input_file(path: Path) -> bytes:
    """Return the content of `path`.

    Raises:
        InputFileError: it is not there, may not be read, is a folder, or is far larger than any such file.
    """
    try:
        if path.is_file() and path.stat().st_size > LARGEST_INPUT_BYTES:
            raise _unreadable(path, f"it is larger than {LARGEST_INPUT_BYTES // 1024 // 1024} MiB")
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(path, error.strerror or str(error)) from error


def _unreadable(path: Path, why: str) -> InputFileError:
    return InputFileError(
        f"The file {path} cannot be read: {why}.",
        why="It was named on the command line.",
        todo="Check the name and your rights, then say it again.",
        path=str(path),
    )
