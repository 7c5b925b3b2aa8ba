"""The parts of a release book as bytes, from a folder or a zip, with nothing taken on trust.

A book comes from somebody else. Nothing is unpacked to the disk; a name that leads out of the book, a link, and more or
larger parts than a book ever needs are refused before anything of it is read.
"""

from __future__ import annotations

import io
import re
import stat
import struct
import zipfile
import zlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from rotorwright.hangar.errors import BookFormError, BookNotFoundError, BookUnsafeError
from rotorwright.hangar.files import disk_error

if TYPE_CHECKING:
    from pathlib import Path

BOOK_FILE = "book.toml"

# Ours, about ten times what the book of the demo needs (a catalogue of 450 settings is about 150 KB).
MOST_PARTS = 2_000
MOST_PART_BYTES = 4 * 2**20
MOST_BOOK_BYTES = 64 * 2**20

_PART_NAME = re.compile(r"[^/\\:\x00-\x1f\x7f]+(/[^/\\:\x00-\x1f\x7f]+)*\Z")

_PACKINGS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_ZIP_FAULTS = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, RuntimeError, ValueError)


class BookParts(Protocol):
    """Where the parts of a book are read from."""

    def read(self, name: str) -> bytes | None:
        """Return the part of this name (relative, with `/`), None if the book has none."""
        ...

    def source(self, name: str) -> str:
        """Return how errors name this part."""
        ...


def open_parts(path: Path) -> BookParts:
    """Return the parts of the book at `path`, a folder or a zip with a book.toml in it.

    Raises:
        BookNotFoundError: there is no such thing.
        BookUnsafeError: the zip holds what no book holds; nothing was unpacked.
        BookFormError: neither a folder nor a zip.
        DiskError: it cannot be read.
    """
    if path.is_dir():
        if not (path / BOOK_FILE).is_file():
            raise _no_book(path, f"The folder has no {BOOK_FILE}, which every release book has.")
        return _FolderParts(path)
    if not path.is_file():
        raise _no_book(path, "There is no folder and no file of this name.")
    packed = _packed(path)
    return _ZipParts(path, _book_root(path, packed), packed)


@dataclass(frozen=True, slots=True)
class _FolderParts:
    folder: Path

    def source(self, name: str) -> str:
        return str(self.folder / name)

    def read(self, name: str) -> bytes | None:
        path = self.folder / name
        if not _is_plain(name):
            return None
        try:
            if not path.is_file():
                return None
            if not path.resolve().is_relative_to(self.folder.resolve()):
                raise _unsafe(str(path), "it is a link that leads out of the book")
            with path.open("rb") as file:
                data = file.read(MOST_PART_BYTES + 1)
        except OSError as error:
            raise disk_error(error, path, act="read") from error
        return _within_bounds(data, str(path))


@dataclass(frozen=True, slots=True)
class _ZipParts:
    path: Path
    root: str
    packed: bytes = field(repr=False)

    def source(self, name: str) -> str:
        return f"{self.path}, part {self.root}{name}"

    def read(self, name: str) -> bytes | None:
        try:
            with zipfile.ZipFile(io.BytesIO(self.packed)) as archive:
                if self.root + name not in archive.namelist():
                    return None
                with archive.open(self.root + name) as member:
                    data = member.read(MOST_PART_BYTES + 1)
        except _ZIP_FAULTS as error:
            raise _damaged_zip(self.source(name), error) from error
        return _within_bounds(data, self.source(name))


def _packed(path: Path) -> bytes:
    """Return the zip itself, read once, so that what was checked is what is read later."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BOOK_BYTES + 1)
    except OSError as error:
        raise disk_error(error, path, act="read") from error
    if len(data) > MOST_BOOK_BYTES:
        raise _unsafe(str(path), f"it is larger than {MOST_BOOK_BYTES} bytes, which no book is")
    return data


def _book_root(path: Path, packed: bytes) -> str:
    """Return what stands before `book.toml` in the zip: nothing, or the one folder that somebody zipped."""
    try:
        with zipfile.ZipFile(io.BytesIO(packed)) as archive:
            entries = archive.infolist()
    except _ZIP_FAULTS as error:
        raise _damaged_zip(str(path), error) from error
    _check_entries(path, entries)
    roots = [entry.filename.removesuffix(BOOK_FILE) for entry in entries if _holds_book(entry.filename)]
    if len(roots) != 1:
        raise _no_book(path, f"The zip has {len(roots) or 'no'} {BOOK_FILE}; a release book has exactly one.")
    return roots[0]


def _holds_book(name: str) -> bool:
    folders, _, last = name.rpartition("/")
    return last == BOOK_FILE and "/" not in folders


def _check_entries(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_PARTS:
        raise _unsafe(str(path), f"it has {len(entries)} parts; a book has at most {MOST_PARTS}")
    names: set[str] = set()
    for entry in entries:
        fault = _entry_fault(entry)
        if entry.filename in names:
            fault = "its name is there twice"
        if fault:
            raise _unsafe(f"{path}, part {entry.filename!r}", fault)
        names.add(entry.filename)
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BOOK_BYTES:
        raise _unsafe(str(path), f"its parts are {total} bytes together; a book has at most {MOST_BOOK_BYTES}")


def _entry_fault(entry: zipfile.ZipInfo) -> str:
    if not _is_plain(entry.filename.removesuffix("/")):
        return "its name leads out of the book, or has signs that no part of a book has"
    if stat.S_ISLNK(entry.external_attr >> 16):  # the upper half holds the Unix mode (APPNOTE.TXT 4.4.15, in practice)
        return "it is a link"
    if entry.compress_type not in _PACKINGS:
        return f"it is packed by method {entry.compress_type}; parts of a book are deflated or stored as they are"
    if entry.file_size > MOST_PART_BYTES:
        return f"it is {entry.file_size} bytes; a part of a book has at most {MOST_PART_BYTES}"
    return ""


def _is_plain(name: str) -> bool:
    return bool(_PART_NAME.match(name)) and not any(piece.strip(" .") == "" for piece in name.split("/"))


def _within_bounds(data: bytes, source: str) -> bytes:
    if len(data) > MOST_PART_BYTES:
        raise _unsafe(source, f"it is larger than {MOST_PART_BYTES} bytes, which no part of a book is")
    return data


def _no_book(path: Path, why: str) -> BookNotFoundError:
    return BookNotFoundError(
        f"There is no release book at {path}.",
        why=why,
        todo="Name the folder that has the book.toml, or the zip made of it. Without a book, leave the option out.",
        path=str(path),
    )


def _unsafe(source: str, words: str) -> BookUnsafeError:
    return BookUnsafeError(
        f"{source} is refused: {words}.",
        why="A book like this is damaged or made to do harm.",
        state="Nothing was sent to the aircraft, and nothing was unpacked to this computer.",
        todo="Take the release book from its publisher again.",
        source=source,
    )


def _damaged_zip(source: str, error: Exception) -> BookFormError:
    return BookFormError(
        f"{source} cannot be read as a zip: {error}.",
        why="The file was cut short or damaged on its way, is locked by a password, or is no zip at all.",
        todo="Take the release book from its publisher again, or name its folder.",
        source=source,
    )
