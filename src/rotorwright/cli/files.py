"""Files that a person names on the command line, with clear errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.errors import StorageError

if TYPE_CHECKING:
    from pathlib import Path

LARGEST_INPUT_BYTES = 64 * 1024 * 1024


class InputFileError(StorageError):
    """A file named on the command line cannot be read."""

    id = "storage.input-file"


class OutputNameError(StorageError):
    """Nothing can be saved under the name that was given."""

    id = "storage.output-name"


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


def require_free_name(path: Path) -> None:
    """Refuse a name that cannot be used, before anything is read or worked out for nothing.

    Raises:
        OutputNameError: the folder is missing, the name is taken, or it has signs that not every system takes.
    """
    from rotorwright.hangar.errors import KeptNameError
    from rotorwright.hangar.files import check_kept_name

    if path.exists():
        raise _bad_output(path, "it is there already, and nothing is ever overwritten")
    if not path.parent.is_dir():
        raise _bad_output(path, f"there is no folder {path.parent}")
    try:
        check_kept_name(path.name)
    except KeptNameError as error:
        raise _bad_output(path, "the name has signs that not every system takes") from error


def _bad_output(path: Path, why: str) -> OutputNameError:
    return OutputNameError(
        f"Nothing can be saved as {path}: {why}.",
        why="A saved file is made of letters, digits, dots, dashes and underscores, and is kept for good.",
        todo="Say it again with another name.",
        path=str(path),
    )


def _unreadable(path: Path, why: str) -> InputFileError:
    return InputFileError(
        f"The file {path} cannot be read: {why}.",
        why="It was named on the command line.",
        todo="Check the name and your rights, then say it again.",
        path=str(path),
    )
