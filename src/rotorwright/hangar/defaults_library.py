"""The library of captured defaults: what a release holds fresh on a board, as aircraft after aircraft showed it.

It fills as changeovers happen and spares the next aircraft the reset that tells what a person changed. Each capture is
an entry of its own, never written over. Entries are kept by exact release, since a default may change between two
patches, and by how they were read, since a console gives texts where MAVLink gives typed values.

Order of an addition: the files first (flushed, read back), then the row, in one commit. A stop in between leaves a file
that nothing names; the next addition of the same content takes it up.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from rotorwright.errors import RotorwrightError, SettingsError
from rotorwright.hangar.errors import (
    DamagedDefaultsError,
    DamagedFileError,
    DefaultsNotUsableError,
    MissingFileError,
    NameTakenError,
    UnknownDefaultsError,
)
from rotorwright.hangar.files import KeptFile, read_kept_file, set_aside, write_kept_file
from rotorwright.hangar.rows import DefaultsRow, ReadBy
from rotorwright.hangar.tables import CAPTURED_DEFAULTS
from rotorwright.settings.catalogue import parse_catalogue
from rotorwright.settings.snapshot import parse_snapshot, print_snapshot
from rotorwright.settings.structured import canonical_sha256

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from sqlalchemy import ColumnElement, Connection, Row

    from rotorwright.hangar.store import Hangar
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.snapshot import Snapshot
    from rotorwright.settings.values import Value

__all__ = ["CapturedDefaults", "DefaultsLibrary", "DefaultsRow", "ReadBy"]

DEFAULTS_FOLDER = "defaults"


@dataclass(frozen=True, slots=True)
class CapturedDefaults:
    """The defaults of a release on a board, as far as every capture of them agrees.

    Args:
        rows: the entries that had a say, the newest first.
        settings: name to default, sorted; only where all of them agree in type and bits.
        varying: names whose value or presence differs between the entries: nobody can say what is their default.
        catalogue_data: the newest catalogue that an aircraft gave, as kept, or nothing.
    """

    rows: tuple[DefaultsRow, ...]
    settings: Mapping[str, Value]
    varying: tuple[str, ...] = ()
    catalogue_data: bytes | None = None

    @property
    def row(self) -> DefaultsRow:
        """The newest entry."""
        return self.rows[0]

    @property
    def aircraft(self) -> tuple[str, ...]:
        """The unique ids of the aircraft that it was read from, sorted."""
        return tuple(sorted({row.unique_id for row in self.rows}))

    @property
    def catalogue(self) -> Catalogue | None:
        """The newest catalogue that an aircraft gave, or nothing.

        Raises:
            CatalogueError: this Rotorwright cannot read it any more.
        """
        return None if self.catalogue_data is None else parse_catalogue(self.catalogue_data)


class DefaultsLibrary:
    """The captured defaults in a hangar."""

    def __init__(self, hangar: Hangar) -> None:
        self._hangar = hangar

    def add(self, snapshot: Snapshot, *, catalogue: bytes | None, read_by: str) -> CapturedDefaults:
        """Keep the settings of an aircraft fresh after a reset, and return the entry.

        Nobody here can tell whether the aircraft was fresh; the caller must know. The same content of the same aircraft
        again is no second entry, unless the first one's files are damaged: then they are kept anew.

        Args:
            snapshot: every setting after the reset.
            catalogue: what the aircraft gave of its own, as a parameter metadata document, if it gave one.
            read_by: `mavlink` or `console`.

        Raises:
            DefaultsNotUsableError: no settings, or no family, release or board, or an unknown `read_by`.
            CatalogueError: the catalogue cannot be read.
            StorageError: the disk or the database refused; nothing was added.
        """
        how = _read_by(read_by)
        _require_usable(snapshot)
        if catalogue is not None:
            parse_catalogue(catalogue)
        known = self._sound_entry(snapshot, catalogue, how)
        row = known if known is not None else self._insert(snapshot, catalogue, how)
        return CapturedDefaults((row,), snapshot.settings, catalogue_data=catalogue)

    def find(self, family: str, release: str, board: str, *, read_by: str) -> CapturedDefaults | None:
        """Return what is known of the defaults of this exact release on this board, or nothing.

        What the entries agree on is returned; names that they do not agree on (measured values, calibrations, another
        build) stand in `varying`, and a merge must treat their old default as unknown.

        Raises:
            DamagedDefaultsError: an entry cannot be read and no other one holds the same. Half the evidence could call
                a default certain that is not, so none is returned.
        """
        columns = CAPTURED_DEFAULTS.c
        rows = self._rows(
            columns.family == family,
            columns.release == release,
            columns.board == board,
            columns.read_by == str(_read_by(read_by)),
        )
        if not rows:
            return None
        every = [snapshot.settings for snapshot in self._one_snapshot_of_each_content(rows)]
        varying = _varying(every)
        agreed = {name: value for name, value in every[0].items() if name not in varying}
        return CapturedDefaults(rows, agreed, tuple(sorted(varying)), self._newest_catalogue(rows))

    def entries(self) -> tuple[DefaultsRow, ...]:
        """Return every entry, the newest first. Their files are not read."""
        return self._rows()

    def entry(self, number: int) -> tuple[DefaultsRow, Snapshot]:
        """Return one entry with its snapshot.

        Raises:
            UnknownDefaultsError: there is no such entry.
            DamagedDefaultsError: it cannot be read as it was captured.
        """
        rows = self._rows(CAPTURED_DEFAULTS.c.number == number)
        if not rows:
            raise _unknown(number)
        return rows[0], self._snapshot(rows[0])

    def _rows(self, *conditions: ColumnElement[bool]) -> tuple[DefaultsRow, ...]:
        with self._hangar.reading() as connection:
            return _select(connection, *conditions)

    def _insert(self, snapshot: Snapshot, catalogue: bytes | None, how: ReadBy) -> DefaultsRow:
        file = self._keep("snapshot", print_snapshot(snapshot))
        catalogue_file = None if catalogue is None else self._keep("catalogue", catalogue)
        columns = _columns(snapshot, how, file=file, catalogue_file=catalogue_file)
        with self._hangar.writing() as connection:
            for row in _same_content(connection, snapshot, catalogue, how):
                if (row.file, row.catalogue_file) == (file, catalogue_file):
                    return row  # another process was faster, or the very files of a damaged entry were kept anew
            new = insert(CAPTURED_DEFAULTS).values(columns).returning(CAPTURED_DEFAULTS.c.number)
            number = connection.execute(new).scalar_one()
            return _select(connection, CAPTURED_DEFAULTS.c.number == number)[0]

    def _sound_entry(self, snapshot: Snapshot, catalogue: bytes | None, how: ReadBy) -> DefaultsRow | None:
        with self._hangar.reading() as connection:
            rows = _same_content(connection, snapshot, catalogue, how)
        return next((row for row in rows if self._is_sound(row)), None)

    def _is_sound(self, row: DefaultsRow) -> bool:
        try:
            self._snapshot(row)
            if row.catalogue_file is not None:
                self._fetch(row.catalogue_file)
        except DamagedDefaultsError:
            return False
        except (DamagedFileError, MissingFileError):
            return False
        return True

    def _keep(self, kind: str, data: bytes) -> KeptFile:
        path = self._path(f"{kind}-{hashlib.sha256(data).hexdigest()[:32]}.json")
        try:
            return write_kept_file(path, data)
        except NameTakenError:  # the name tells the content, so what is there is damaged
            set_aside(path)
            return write_kept_file(path, data)

    def _path(self, name: str) -> Path:
        return self._hangar.kept_folder(DEFAULTS_FOLDER) / name

    def _fetch(self, kept: KeptFile) -> bytes:
        return read_kept_file(self._path(kept.name), kept.sha256)

    def _snapshot(self, row: DefaultsRow) -> Snapshot:
        try:
            snapshot = parse_snapshot(self._fetch(row.file), source=row.file.name)
        except (DamagedFileError, MissingFileError, SettingsError) as error:
            raise _damaged(row, error) from error
        if _row_key(row) != _snapshot_key(snapshot):
            raise _contradicting(row)
        return snapshot

    def _one_snapshot_of_each_content(self, rows: Iterable[DefaultsRow]) -> list[Snapshot]:
        """Return the newest readable snapshot of each content, so that a fleet of equals costs one reading."""
        read: dict[str, Snapshot] = {}
        faults: dict[str, DamagedDefaultsError] = {}
        for row in rows:
            if row.values_sha256 in read:
                continue
            try:
                read[row.values_sha256] = self._snapshot(row)
            except DamagedDefaultsError as error:
                faults.setdefault(row.values_sha256, error)
        for values, fault in faults.items():
            if values not in read:
                raise fault
        return list(read.values())

    def _newest_catalogue(self, rows: Iterable[DefaultsRow]) -> bytes | None:
        fault: DamagedDefaultsError | None = None
        for row in rows:
            if row.catalogue_file is None:
                continue
            try:
                return self._fetch(row.catalogue_file)
            except (DamagedFileError, MissingFileError) as error:
                fault = fault or _damaged(row, error)
        if fault is not None:
            raise fault
        return None


def _read_by(word: str) -> ReadBy:
    try:
        return ReadBy(word)
    except ValueError as error:
        raise DefaultsNotUsableError(
            f"{word!r} is no way of reading settings; known are {', '.join(ReadBy)}.",
            why="Texts of a console and typed values of MAVLink must not be taken for each other.",
            todo=f"Say one of {', '.join(ReadBy)}.",
            read_by=word,
        ) from error


def _require_usable(snapshot: Snapshot) -> None:
    identity = snapshot.identity
    missing = [word for word in ("family", "release", "board") if not getattr(identity, word)]
    if not snapshot.settings:
        missing.append("settings")
    if missing:
        raise DefaultsNotUsableError(
            f"The snapshot of {identity.unique_id} has no {', no '.join(missing)}.",
            why="Defaults can be found again only by family, release and board, and an empty list says nothing.",
            todo="Save the aircraft again, fresh after a reset to defaults, and add that snapshot.",
            missing=", ".join(missing),
        )


def _varying(every: list[Mapping[str, Value]]) -> set[str]:
    first = every[0]
    return {name for other in every[1:] for name in first.keys() | other.keys() if first.get(name) != other.get(name)}


def _same_content(
    connection: Connection, snapshot: Snapshot, catalogue: bytes | None, how: ReadBy
) -> tuple[DefaultsRow, ...]:
    columns = CAPTURED_DEFAULTS.c
    digest = None if catalogue is None else hashlib.sha256(catalogue).hexdigest()
    return _select(
        connection,
        columns.snapshot_sha256 == snapshot.sha256,
        columns.read_by == str(how),
        columns.catalogue_sha256.is_(None) if digest is None else columns.catalogue_sha256 == digest,
    )


def _select(connection: Connection, *conditions: ColumnElement[bool]) -> tuple[DefaultsRow, ...]:
    wanted = select(CAPTURED_DEFAULTS).where(*conditions).order_by(CAPTURED_DEFAULTS.c.number.desc())
    return tuple(_row(found) for found in connection.execute(wanted))


def _columns(
    snapshot: Snapshot, how: ReadBy, *, file: KeptFile, catalogue_file: KeptFile | None
) -> dict[str, str | int | None]:
    identity = snapshot.identity
    return {
        "family": identity.family,
        "release": identity.release,
        "board": identity.board,
        "build": identity.build,
        "read_by": str(how),
        "unique_id": identity.unique_id,
        "captured_at": snapshot.taken_at,
        "settings": len(snapshot.settings),
        "snapshot_sha256": snapshot.sha256,
        "values_sha256": _values_sha256(snapshot.settings),
        "file": file.name,
        "file_sha256": file.sha256,
        "file_bytes": file.size_bytes,
        "catalogue": catalogue_file.name if catalogue_file else None,
        "catalogue_sha256": catalogue_file.sha256 if catalogue_file else None,
        "catalogue_bytes": catalogue_file.size_bytes if catalogue_file else None,
    }


def _values_sha256(settings: Mapping[str, Value]) -> str:
    return canonical_sha256([[name, str(value.type), value.text] for name, value in sorted(settings.items())])


def _row(row: Row[tuple[object, ...]]) -> DefaultsRow:
    catalogue = (
        None if row.catalogue is None else KeptFile(row.catalogue, row.catalogue_sha256, int(row.catalogue_bytes))
    )
    return DefaultsRow(
        number=row.number,
        family=row.family,
        release=row.release,
        board=row.board,
        build=row.build,
        read_by=ReadBy(row.read_by),
        unique_id=row.unique_id,
        captured_at=row.captured_at,
        settings_count=row.settings,
        snapshot_sha256=row.snapshot_sha256,
        values_sha256=row.values_sha256,
        file=KeptFile(row.file, row.file_sha256, row.file_bytes),
        catalogue_file=catalogue,
    )


def _row_key(row: DefaultsRow) -> tuple[str, ...]:
    return (row.family, row.release, row.board, row.build, row.unique_id, row.snapshot_sha256, row.values_sha256)


def _snapshot_key(snapshot: Snapshot) -> tuple[str, ...]:
    who = snapshot.identity
    return (
        who.family,
        who.release,
        who.board,
        who.build,
        who.unique_id,
        snapshot.sha256,
        _values_sha256(snapshot.settings),
    )


_WAY_ROUND = "Until then, the old defaults can be had from an aircraft itself, by a reset after the save."


def _damaged(row: DefaultsRow, error: RotorwrightError) -> DamagedDefaultsError:
    return DamagedDefaultsError(
        f"The captured defaults number {row.number} ({row.family} {row.release}, {row.board}) cannot be read: "
        f"{error.what}",
        why=f"{error.why} Where several computers share one database, each has only the files that it kept itself.",
        todo=f"Put the file back into the folder {DEFAULTS_FOLDER} from a copy of the hangar. {_WAY_ROUND}",
        number=row.number,
        file=row.file.name,
    )


def _contradicting(row: DefaultsRow) -> DamagedDefaultsError:
    return DamagedDefaultsError(
        f"The captured defaults number {row.number} are not those of {row.family} {row.release} on {row.board} "
        "that the library says they are.",
        why="Another program wrote into the database of the hangar, or it is damaged.",
        todo=f"Put the hangar back from a copy. {_WAY_ROUND}",
        number=row.number,
        file=row.file.name,
    )


def _unknown(number: int) -> UnknownDefaultsError:
    return UnknownDefaultsError(
        f"There are no captured defaults number {number}.",
        why="The number is mistyped, or they are in another hangar.",
        todo="See `rotorwright defaults` for those there are.",
        number=number,
    )
