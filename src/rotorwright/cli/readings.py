"""Settings from wherever a person has them: a saved snapshot, a printed listing, or an aircraft on a port."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.cli.console import err
from rotorwright.cli.files import read_input_file
from rotorwright.errors import SettingsError
from rotorwright.settings.identity import Identity, release_line
from rotorwright.settings.snapshot import SNAPSHOT_FORMAT, Snapshot, parse_snapshot

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.hangar.books import ReleaseBook
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.dialects.dialect import Dialect
    from rotorwright.settings.values import Value

NOBODY = "0" * 24  # the unique id of a listing that nobody named: no microcontroller has it

_WINDOWS_PORT = re.compile(r"COM[0-9]+\Z", re.IGNORECASE)


class DialectNeededError(SettingsError):
    """A file that is no snapshot can only be read as a listing, and for that a dialect is needed."""

    id = "settings.dialect-needed"


class UnplacedLinesError(SettingsError):
    """Lines of a listing fit nothing in the dialect, so a snapshot of it would lose them."""

    id = "settings.unplaced-lines"


class DescriptionMissingError(SettingsError):
    """What is asked for needs to know the board or the release of a listing, and nobody said it."""

    id = "settings.description-missing"


@dataclass(frozen=True, slots=True)
class Told:
    """What a person says about how settings are to be read.

    Args:
        dialect: a dialect file, or the name of the shipped one; listings and consoles need it.
        book: release book, for the types of a listing's settings.
        catalogue: catalogue file for the same, in place of a book.
        family: of the listing, where no book says it.
        release: of the listing.
        board: of the listing.
        unique_id: of the aircraft that printed the listing.
        baud: of a port.
        by_messages: a port speaks messages although a dialect is given for a listing.
    """

    dialect: str | None = None
    book: Path | None = None
    catalogue: Path | None = None
    family: str = ""
    release: str = ""
    board: str = ""
    unique_id: str = NOBODY
    baud: int = 115_200
    by_messages: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """Settings with where they come from; `snapshot` where they were read from an aircraft or saved from one.

    Args:
        source: file or port.
        settings: by name.
        snapshot: the whole snapshot; nothing for a listing.
        flags: names that a listing says with on and off.
        unplaced: lines of a listing that found no place in the dialect, with their numbers.
    """

    source: str
    settings: Mapping[str, Value]
    snapshot: Snapshot | None = None
    flags: frozenset[str] = frozenset()
    unplaced: tuple[tuple[int, str], ...] = ()


def read_source(name: str, told: Told) -> Reading:
    """Return the settings in the file or on the port called `name`.

    Raises:
        InputFileError: no such file.
        DialectNeededError: it is no snapshot, and no dialect is given.
        SnapshotError, ListedTwiceError, ListedValueError: it cannot be used.
        LinkError, ProtocolError: the aircraft on the port does not answer as it should.
    """
    if is_port(name):
        return _of_snapshot(name, read_port(name, told))
    data = read_input_file(Path(name))
    if told.dialect is None or _is_snapshot(data):
        return _of_snapshot(name, _snapshot(data, name))
    return read_listing(data, name, told)


def is_port(name: str) -> bool:
    """Answer whether a name is that of a port, not of a file."""
    return bool(_WINDOWS_PORT.match(name)) or name.startswith("/dev/") or Path(name).is_char_device()


def read_listing(data: bytes, name: str, told: Told) -> Reading:
    """Return the settings that a listing prints, typed as far as a catalogue knows them."""
    from rotorwright.settings.dialects.learnt_text import shown
    from rotorwright.settings.dialects.listing import parse_listing
    from rotorwright.settings.dialects.typed import typed_settings

    listing = parse_listing(_dialect(told), data)
    return Reading(
        source=name,
        settings=typed_settings(listing, listing_catalogue(told)),
        flags=frozenset(each.name for each in listing.settings if each.is_flag),
        unplaced=tuple((number, shown(line.text)) for number, line in listing.unplaced),
    )


def read_port(name: str, told: Told) -> Snapshot:
    """Return the settings of the aircraft on a port, read twice and equal."""
    from rotorwright.changeover.reading import read_aircraft
    from rotorwright.cli.jobs import utc_now
    from rotorwright.cli.progress import shown_progress
    from rotorwright.links.clock import RealClock
    from rotorwright.links.serial_port import SerialPort
    from rotorwright.links.wire import LineSettings

    dialect = _dialect(told) if told.dialect and not told.by_messages else None
    with shown_progress() as bar:
        return read_aircraft(
            SerialPort(name),
            RealClock(),
            LineSettings(told.baud),
            dialect,
            now=utc_now,
            progress=bar.show,
            catalogue_for=_catalogues(told),
        )


def snapshot_of(reading: Reading, told: Told) -> Snapshot:
    """Return the snapshot of a reading; a listing gets the identity that the person told.

    Raises:
        UniqueIdError: the unique id that was told is none.
    """
    from rotorwright.cli.jobs import utc_now

    if reading.snapshot is not None:
        return reading.snapshot
    family = told.family or (_book(told.book).family if told.book else "")
    identity = Identity(told.unique_id, family, told.release, told.board)
    return Snapshot(identity, reading.settings, utc_now())


def warn_of_unplaced(reading: Reading) -> None:
    """Say on standard error which lines of a listing found no place: they are in nothing that follows."""
    from rich.markup import escape

    if not reading.unplaced:
        return
    number, text = reading.unplaced[0]
    err.print(
        escape(
            f"Left out, since the dialect has no place for them: {len(reading.unplaced)} of the lines of "
            f"{reading.source}, the first is line {number}: {text} (`rotorwright dialect check` shows all of them)"
        ),
        soft_wrap=True,
    )


def require_all_placed(reading: Reading) -> None:
    """Refuse a listing of which lines would be lost.

    Raises:
        UnplacedLinesError: they would.
    """
    if not reading.unplaced:
        return
    number, text = reading.unplaced[0]
    raise UnplacedLinesError(
        f"In {reading.source} the dialect has no place for {len(reading.unplaced)} of the lines, "
        f"the first is line {number}: {text}",
        why="A snapshot is complete or it is none; these lines would be missing in it.",
        todo="See them with `rotorwright dialect check`; mend the dialect, or say --leave-out-unplaced.",
        source=reading.source,
        unplaced=len(reading.unplaced),
    )


def listing_catalogue(told: Told) -> Catalogue | None:
    """Return the catalogue that gives a listing its types; nothing where the person names none.

    Raises:
        DescriptionMissingError: a book is given, but not which release and board the listing is of.
    """
    from rotorwright.settings.catalogue import parse_catalogue

    if told.catalogue is not None:
        return parse_catalogue(read_input_file(told.catalogue))
    if told.book is None:
        return None
    if not (told.release and told.board):
        raise DescriptionMissingError(
            "The release book has a catalogue for each release and board; nobody said which the listing is of.",
            why="A printed listing does not say it in a way that a program can rely on.",
            todo="Add --release and --board, for example --release 6.0 --board 'Corvane C405'; or leave --book out.",
        )
    return _catalogues(told)(Identity(NOBODY, "", told.release, told.board))


def _catalogues(told: Told) -> Callable[[Identity], Catalogue | None]:
    """Return who knows the catalogue of an aircraft that says only who it is."""

    def find(identity: Identity) -> Catalogue | None:
        from rotorwright.settings.catalogue import parse_catalogue

        if told.catalogue is not None:
            return parse_catalogue(read_input_file(told.catalogue))
        if told.book is None:
            return None
        return _book(told.book).catalogue(release_line(identity.release), identity.board)

    return find


def _book(path: Path) -> ReleaseBook:
    from rotorwright.hangar.books import read_book

    return read_book(path)


def _dialect(told: Told) -> Dialect:
    from rotorwright.cli.jobs import read_dialect
    from rotorwright.settings.dialects.dialect_file import dialect_from

    assert told.dialect is not None
    return dialect_from(read_dialect(told.dialect), source=told.dialect)


def _of_snapshot(name: str, snapshot: Snapshot) -> Reading:
    return Reading(source=name, settings=snapshot.settings, snapshot=snapshot)


def _is_snapshot(data: bytes) -> bool:
    return data.lstrip().startswith(b"{") and SNAPSHOT_FORMAT.encode() in data[:200]


def _snapshot(data: bytes, name: str) -> Snapshot:
    if data.strip() and not data.lstrip().startswith((b"{", b"[")):
        raise DialectNeededError(
            f"{name} is no snapshot; it looks like a printed listing.",
            why="Only a dialect says how the lines of a listing are to be read, and none was given.",
            todo="Add --dialect FILE, or --dialect thornbill; `rotorwright dialect learn` works one out from the text.",
            source=name,
        )
    return parse_snapshot(data, source=name)
