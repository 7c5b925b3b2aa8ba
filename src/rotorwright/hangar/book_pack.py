"""One file made of a release book, so that a changeover keeps the very book it was planned with."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING

from rotorwright.hangar.book_parts import MOST_BOOK_BYTES
from rotorwright.hangar.books import read_book
from rotorwright.hangar.errors import BookUnsafeError
from rotorwright.hangar.files import disk_error

if TYPE_CHECKING:
    from pathlib import Path

_PLACES = ("book.toml", "classes.toml", "catalogues/*/*.json", "notes/*.toml", "constraints/*.toml", "display/*.bin")
_ZIP_BIRTH = (1980, 1, 1, 0, 0, 0)  # the earliest moment of the format: the same book gives the same bytes


def pack_book(path: Path) -> bytes:
    """Return the book at `path`, a folder or a zip, as the bytes of a zip; the same book gives the same bytes.

    Raises:
        BookError: it is no book, or has larger parts than a book ever needs.
        KeptFileError: it cannot be read.
    """
    read_book(path)
    try:
        return path.read_bytes() if path.is_file() else _zip_folder(path)
    except OSError as error:
        raise disk_error(error, path, act="read") from error


def _zip_folder(folder: Path) -> bytes:
    files = sorted({file for place in _PLACES for file in folder.glob(place) if file.is_file()})
    total = sum(file.stat().st_size for file in files)
    if total > MOST_BOOK_BYTES:
        raise BookUnsafeError(
            f"The parts of the book in {folder} are {total} bytes together; a book has at most {MOST_BOOK_BYTES}.",
            why="A book like this is damaged or made to do harm.",
            todo="Take the release book from its publisher again.",
            path=str(folder),
        )
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in files:
            entry = zipfile.ZipInfo(file.relative_to(folder).as_posix(), _ZIP_BIRTH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, file.read_bytes())
    return packed.getvalue()
