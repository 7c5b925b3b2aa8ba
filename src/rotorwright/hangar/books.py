"""Release books: what a firmware family knows of its releases, boards and settings (docs/reference/release-book.md).

`book.toml` is read at once; every other part when it is asked for. A part that is missing is knowledge that the book
does not have; a part that is there but cannot be read is an error that names it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from rotorwright.display.characters import parse_characters
from rotorwright.errors import RotorwrightError
from rotorwright.firmware.board import Board, resolve_board
from rotorwright.firmware.mcu import microcontroller, microcontrollers
from rotorwright.hangar.book_parts import BOOK_FILE, BookParts, open_parts
from rotorwright.hangar.errors import BookFormError, NewerBookError
from rotorwright.settings.catalogue import parse_catalogue
from rotorwright.settings.classes import parse_classes
from rotorwright.settings.composing import compose_notes
from rotorwright.settings.constraints import parse_constraints
from rotorwright.settings.notes import parse_notes
from rotorwright.settings.structured import DataFaultError, Table, likely, read_toml

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path
    from typing import TypeVar

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.classes import SettingClasses
    from rotorwright.settings.constraints import Constraints
    from rotorwright.settings.notes import ChangeNotes

    _T = TypeVar("_T")

BOOK_FORMAT = "rotorwright-release-book"
BOOK_VERSION = 1

_RELEASE_NAME = re.compile(r"[0-9]+\.[0-9]+\Z")
_DIGEST = re.compile(r"[0-9a-f]{64}\Z")
_USB_ID = re.compile(r"([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4})\Z")

# A book is asked for the same part many times in one changeover; the results never change, so the content is the key.
_read_catalogue = lru_cache(maxsize=8)(parse_catalogue)
_read_notes = lru_cache(maxsize=8)(parse_notes)
_read_classes = lru_cache(maxsize=8)(parse_classes)
_read_constraints = lru_cache(maxsize=8)(parse_constraints)

# Composed notes by what they were composed of, which is kept beside them so that its identity stays its own.
_COMPOSED: dict[tuple[int, ...], tuple[ChangeNotes, object]] = {}
_MOST_COMPOSED = 8


@dataclass(frozen=True, slots=True)
class BookRelease:
    """A release: its line (`5.2`), the version that the aircraft answers with (`5.2.0`), words for a person."""

    name: str
    version: str
    summary: str = ""


@dataclass(frozen=True, slots=True)
class ReleaseBook:
    """A book: its family, its releases oldest first, its boards; the other parts are read when asked for."""

    source: str
    family: str
    releases: tuple[BookRelease, ...]
    boards: tuple[Board, ...]
    _parts: BookParts = field(repr=False, compare=False)

    def release(self, line: str) -> BookRelease | None:
        """Return the release of this line (`5.2`), None if the book has none."""
        return next((release for release in self.releases if release.name == line), None)

    def board_named(self, name: str) -> Board | None:
        """Return the board that has this very name now or had it in some release; never the nearest-looking one."""
        return resolve_board(self.boards, name)

    def release_of_image(self, board: Board, sha256: str) -> str | None:
        """Return the line of the release whose image for `board` has this digest (`Image.sha256`)."""
        listed = [*board.image_sha256.items(), *board.generic_sha256.items()]
        return next((line for line, digest in listed if digest == sha256), None)

    def catalogue(self, release: str, board: str) -> Catalogue | None:
        """Return what this release line knows to set on this board.

        Raises:
            BookFormError: the part is there but cannot be read.
        """
        found = self.board_named(board)
        if found is None or self.release(release) is None:
            return None
        return self._parsed(f"catalogues/{release}/{board_key(found.name)}.json", _catalogue)

    def notes(self, from_release: str, to_release: str) -> ChangeNotes | None:
        """Return the change notes between two release lines.

        Where the book has no notes for just these two, those of the releases between are composed, in the order of the
        book, if none of them is missing.

        Raises:
            NotesError: the part is there but cannot be read.
            BookFormError: it is about another family or other releases than its place says.
        """
        direct = self.own_notes(from_release, to_release)
        if direct is not None:
            return direct
        return self._composed_notes(from_release, to_release)

    def _composed_notes(self, from_release: str, to_release: str) -> ChangeNotes | None:
        names = [release.name for release in self.releases]
        if from_release not in names or to_release not in names:
            return None
        lines = names[names.index(from_release) : names.index(to_release) + 1]
        steps = [self.own_notes(old, new) for old, new in pairwise(lines)]
        found = [step for step in steps if step is not None]
        if len(found) < 2 or len(found) < len(steps):
            return None
        composed = found[0]
        for place, step in enumerate(found[1:], 1):
            composed = _compose(composed, step, self._catalogues(lines[0], *lines[place : place + 2]))
        return composed

    def _catalogues(self, *lines: str) -> tuple[tuple[Catalogue, Catalogue, Catalogue], ...]:
        """Return the catalogues of three releases, for each board that has all three."""
        found = []
        for board in self.boards:
            first, between, last = (self.catalogue(line, board.name) for line in lines)
            if first is not None and between is not None and last is not None:
                found.append((first, between, last))
        return tuple(found)

    def own_notes(self, from_release: str, to_release: str) -> ChangeNotes | None:
        """Return the change notes that the book has for just these two release lines.

        Raises:
            NotesError: the part is there but cannot be read.
            BookFormError: it is about another family or other releases than its place says.
        """
        name = f"notes/{from_release}-to-{to_release}.toml"
        notes = self._parsed(name, lambda data, source: _read_notes(_utf8(data, source), source=source))
        if notes is None:
            return None
        found = (notes.family, notes.from_release, notes.to_release)
        if found != (self.family, from_release, to_release):
            words = f"it is about {found[0]} {found[1]} to {found[2]}, not {self.family} {from_release} to {to_release}"
            raise _bad_part(self._parts.source(name), words)
        return notes

    @property
    def classes(self) -> SettingClasses | None:
        """Which settings belong to the board or its sensors, and what settings are for."""
        return self._parsed("classes.toml", lambda data, source: _read_classes(_utf8(data, source), source=source))

    def constraints(self, release: str) -> Constraints | None:
        """Return what has to hold between the settings of this release line.

        Raises:
            ConstraintsError: the part is there but cannot be read.
            BookFormError: it is about another family or another release than its place says.
        """
        name = f"constraints/{release}.toml"
        found = self._parsed(name, lambda data, source: _read_constraints(_utf8(data, source), source=source))
        if found is not None and (found.family, found.release) != (self.family, release):
            words = f"it is about {found.family} {found.release}, not {self.family} {release}"
            raise _bad_part(self._parts.source(name), words)
        return found

    def characters(self, release: str) -> bytes | None:
        """Return the display characters of this release line, 16384 bytes.

        Raises:
            BookFormError: the part is there but has another length.
        """
        return self._parsed(f"display/{release}.bin", _characters)

    def _parsed(self, name: str, parse: Callable[[bytes, str], _T]) -> _T | None:
        data = self._parts.read(name)
        return None if data is None else parse(data, self._parts.source(name))


@dataclass(frozen=True, slots=True)
class _NoParts:
    """What there is without a book: nothing."""

    def read(self, _name: str) -> None:
        return None

    def source(self, name: str) -> str:
        return f"no release book, part {name}"


EMPTY_BOOK = ReleaseBook("no release book", "", (), (), _NoParts())
"""The book that knows nothing, where there is none."""


def read_book(path: Path) -> ReleaseBook:
    """Return the book at `path`, a folder or a zip.

    Raises:
        BookNotFoundError: there is none.
        BookUnsafeError: it holds what no book holds.
        BookFormError: the words name the part, the key and what is wrong.
        NewerBookError: it is written in a newer form.
        DiskError: it cannot be read.
    """
    parts = open_parts(path)
    source = parts.source(BOOK_FILE)
    text = _utf8(parts.read(BOOK_FILE) or b"", source)
    try:
        document = read_toml(text)
        _check_form(document, source)
        document.only("format", "version", "family", "release", "board")
        releases = tuple(_release(table) for table in _some(document, "release"))
        lines = tuple(release.name for release in releases)
        boards = tuple(_board(table, lines) for table in _some(document, "board"))
        _refuse_doubled(lines, "release")
        _refuse_doubled([name for board in boards for name in _names_of(board)], "board")
        return ReleaseBook(str(path), document.text("family"), releases, boards, parts)
    except DataFaultError as fault:
        raise _bad_part(source, str(fault)) from fault


def board_key(name: str) -> str:
    """Return how files of a book name a board: `Corvane C405` gives `corvane-c405`."""
    return name.lower().replace(" ", "-")


def _check_form(document: Table, source: str) -> None:
    if document.text("format") != BOOK_FORMAT:
        document.fault("format", f"{BOOK_FORMAT!r} is expected, not {document.text('format')!r}")
    version = document.whole("version")
    if version > BOOK_VERSION:
        raise NewerBookError(
            f"{source} is written in form {version}; this Rotorwright knows form {BOOK_VERSION}.",
            why="A newer Rotorwright wrote it, and an older one could not read it truly.",
            todo="Use the newer Rotorwright, or an older edition of the book.",
            source=source,
            found=version,
            newest_known=BOOK_VERSION,
        )
    if version != BOOK_VERSION:
        document.fault("version", f"there never was a form {version}")


def _some(document: Table, key: str) -> tuple[Table, ...]:
    tables = document.tables(key)
    if not tables:
        document.fault(key, "a book has at least one")
    return tables


def _release(table: Table) -> BookRelease:
    table.only("name", "version", "summary")
    name, version = table.text("name"), table.text("version")
    if not _RELEASE_NAME.match(name):
        table.fault("name", f"a release line like '5.2' is expected, not {name!r}")
    if not version.startswith(f"{name}."):
        table.fault("version", f"a version of the line {name} is expected, not {version!r}")
    return BookRelease(name, version, table.text("summary", ""))


def _board(table: Table, lines: tuple[str, ...]) -> Board:
    table.only("name", "mcu", "aliases", "reserved_sectors", "images", "usb_ids", "flash_kib")
    mcu = table.text("mcu")
    known = [part.name for part in microcontrollers()]
    if mcu not in known:
        meant = likely(mcu, known)
        table.fault(
            "mcu", f"the microcontroller {mcu!r} is not known{f'; perhaps {meant!r} was meant' if meant else ''}"
        )
    own, generic = _digests(table, lines)
    return Board(
        name=_filled(table, "name"),
        mcu=mcu,
        aliases=_by_release(table, "aliases", lines),
        reserved_sectors=_sectors(table, mcu),
        image_sha256=own,
        generic_sha256=generic,
        usb_ids=_usb_ids(table),
        flash_size_bytes=_flash_size_bytes(table, mcu),
    )


def _usb_ids(table: Table) -> tuple[tuple[int, int], ...]:
    found = []
    for text in table.texts("usb_ids") if "usb_ids" in table else ():
        match = _USB_ID.match(text)
        if match is None:
            table.fault("usb_ids", f"vendor and product like '1209:0001' are expected, not {text!r}")
        found.append((int(match[1], 16), int(match[2], 16)))
    return tuple(found)


def _flash_size_bytes(table: Table, mcu: str) -> int | None:
    if "flash_kib" not in table:
        return None
    part, size_bytes = microcontroller(mcu), table.whole("flash_kib") * 1024
    if not part.has_external_flash:
        table.fault("flash_kib", f"the flash of the {mcu} is inside, and its size is known")
    if not 0 < size_bytes <= part.flash_size_bytes:
        table.fault("flash_kib", f"the {mcu} reaches 1 to {part.flash_size_bytes // 1024} KiB")
    return size_bytes


def _sectors(table: Table, mcu: str) -> tuple[int, ...]:
    sectors = table.wholes("reserved_sectors") if "reserved_sectors" in table else ()
    last = microcontroller(mcu).sectors[-1].number
    for sector in sectors:
        if not 0 <= sector <= last:
            table.fault("reserved_sectors", f"the {mcu} has sectors 0 to {last}, not {sector}")
    return sectors


def _digests(table: Table, lines: tuple[str, ...]) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Return the digests of the images for this board alone, and of the generic ones, by release."""
    own: dict[str, str] = {}
    generic: dict[str, str] = {}
    if "images" in table:
        entries = table.table("images")
        for line in entries.data:
            _known_release(entries, line, lines)
            for digest, is_generic in _images(entries, line):
                kind = generic if is_generic else own
                if line in kind:
                    entries.fault(line, "a release has at most one image of each kind: for this board, and generic")
                kind[line] = digest
    return MappingProxyType(own), MappingProxyType(generic)


def _images(entries: Table, line: str) -> list[tuple[str, bool]]:
    """Return digest and kind of each image of a release: one digest, or a table for each."""
    if isinstance(entries.data[line], str):
        return [(_digest(entries, line), False)]
    found = []
    for image in entries.tables(line):
        image.only("sha256", "generic")
        found.append((_digest(image, "sha256"), image.flag("generic", default=False)))
    return found


def _digest(table: Table, key: str) -> str:
    digest = table.text(key)
    if not _DIGEST.match(digest):
        table.fault(key, "a SHA-256 is 64 lower-case hex digits")
    return digest


def _known_release(entries: Table, line: str, lines: tuple[str, ...]) -> None:
    if line not in lines:
        entries.fault(line, f"the book has no such release; it has {', '.join(lines)}")


def _by_release(table: Table, key: str, lines: tuple[str, ...]) -> Mapping[str, str]:
    if key not in table:
        return MappingProxyType({})
    entries = table.table(key)
    for line in entries.data:
        _known_release(entries, line, lines)
    return MappingProxyType({line: _filled(entries, line) for line in entries.data})


def _filled(table: Table, key: str) -> str:
    text = table.text(key)
    if not text.strip():
        table.fault(key, "it is empty")
    return text


def _names_of(board: Board) -> set[str]:
    return {board.name, *board.aliases.values()}


def _refuse_doubled(names: Iterable[str], what: str) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise DataFaultError(f"two of them answer to the name {name!r}", where=f"the {what} tables")
        seen.add(name)


def _compose(
    first: ChangeNotes, second: ChangeNotes, catalogues: tuple[tuple[Catalogue, Catalogue, Catalogue], ...]
) -> ChangeNotes:
    """Compose notes once for the same notes and catalogues, which are parsed once for the same content."""
    key = (id(first), id(second), *(id(each) for three in catalogues for each in three))
    known = _COMPOSED.get(key)
    if known is None:
        known = (compose_notes(first, second, catalogues), (first, second, catalogues))
        if len(_COMPOSED) >= _MOST_COMPOSED:
            _COMPOSED.clear()
        _COMPOSED[key] = known
    return known[0]


def _catalogue(data: bytes, source: str) -> Catalogue:
    try:
        return _read_catalogue(data)
    except RotorwrightError as error:
        raise _bad_part(source, error.what) from error


def _characters(data: bytes, source: str) -> bytes:
    try:
        parse_characters(data)
    except RotorwrightError as error:
        raise _bad_part(source, error.what) from error
    return data


def _utf8(data: bytes, source: str) -> str:
    try:
        return data.decode()
    except UnicodeDecodeError as error:
        raise _bad_part(source, f"it is not UTF-8 text: byte {error.start} is {data[error.start]:#04x}") from error


def _bad_part(source: str, words: str) -> BookFormError:
    return BookFormError(
        f"{source} cannot be used: {words.removesuffix('.')}.",
        why="The book was written with a mistake, or damaged on its way.",
        todo="Take the book from its publisher again, or tell them; its form is in docs/reference/release-book.md.",
        source=source,
    )
