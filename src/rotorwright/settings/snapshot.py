"""Every setting as read at one moment, with the identity of the aircraft and a digest.

The digest is the SHA-256 over the canonical JSON (RFC 8785) of everything but the time, so two snapshots of the same
aircraft with the same settings have the same digest whenever they were taken.
"""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.identity import Identity, UniqueIdError
from rotorwright.settings.structured import (
    DataFaultError,
    Table,
    canonical_sha256,
    has_lone_surrogate,
    json_line,
    read_json,
)
from rotorwright.settings.values import SettingType, Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.structured import Json

SNAPSHOT_FORMAT = "rotorwright-snapshot"
SNAPSHOT_VERSION = 1

_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,9})?(Z|\+00:00)\Z")

_ANOTHER_COPY = "Use another copy of the snapshot. If the aircraft still holds its settings, save them again."


class SnapshotError(SettingsError):
    """A snapshot cannot be used."""

    id = "snapshot"


class SnapshotNotJsonError(SnapshotError):
    """The file is no JSON document: cut short, damaged, or something else altogether."""

    id = "snapshot.not-json"


class SnapshotFormatError(SnapshotError):
    """The document is no snapshot."""

    id = "snapshot.wrong-format"


class SnapshotVersionError(SnapshotError):
    """The snapshot was written by a newer version of this tool."""

    id = "snapshot.newer-version"


class SnapshotEntryError(SnapshotError):
    """Something in the snapshot is missing or not as the format says."""

    id = "snapshot.bad-entry"


class SnapshotValueError(SnapshotError):
    """A setting in the snapshot has a type or value that does not exist."""

    id = "snapshot.bad-value"


class SnapshotDuplicateNameError(SnapshotError):
    """A setting is in the snapshot twice."""

    id = "snapshot.duplicate-name"


class SnapshotDigestError(SnapshotError):
    """The content of the snapshot is not what its digest says."""

    id = "snapshot.digest"


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Every setting as read at one moment.

    Args:
        identity: of the aircraft that was read.
        settings: every setting, by name; kept sorted.
        taken_at: when, ISO 8601 in UTC (`2026-05-01T09:30:00Z`).

    Raises:
        SnapshotEntryError: the time has another form, a name is empty, or a name or text is no Unicode text.
    """

    identity: Identity
    settings: Mapping[str, Value]
    taken_at: str
    _sha256: list[str] = field(init=False, repr=False, compare=False, default_factory=list)

    def __post_init__(self) -> None:
        if not _TIME.match(self.taken_at):
            raise _bad_entry("a snapshot", f"{self.taken_at!r} is no time in UTC like 2026-05-01T09:30:00Z")
        if "" in self.settings:
            raise _bad_entry("a snapshot", "a setting has no name")
        if half := next(filter(has_lone_surrogate, (*self.settings, *asdict(self.identity).values())), None):
            raise _bad_entry("a snapshot", f"{half!a} holds half a character (a lone surrogate)")
        object.__setattr__(self, "settings", dict(sorted(self.settings.items())))

    @property
    def sha256(self) -> str:
        """SHA-256 in hexadecimal over the canonical JSON of everything but the time."""
        if not self._sha256:  # worked out once: it takes as long as deciding half of a carry-over
            self._sha256.append(canonical_sha256(_content(self)))
        return self._sha256[0]


@dataclass(frozen=True, slots=True)
class Difference:
    """A setting that two snapshots do not agree on; nothing where one of them lacks it."""

    name: str
    before: Value | None
    after: Value | None


def compare_snapshots(before: Snapshot, after: Snapshot) -> tuple[Difference, ...]:
    """Return every setting whose type or bits differ or that only one of them has, sorted by name."""
    names = sorted(before.settings.keys() | after.settings.keys())
    pairs = ((name, before.settings.get(name), after.settings.get(name)) for name in names)
    return tuple(Difference(name, old, new) for name, old, new in pairs if old != new)


def print_snapshot(snapshot: Snapshot) -> bytes:
    """Return the snapshot as a file: JSON, one setting a line. Equal snapshots, equal bytes."""
    lines = ",\n".join(json_line(each) for each in _setting_entries(snapshot))
    head: dict[str, Json] = {
        "format": SNAPSHOT_FORMAT,
        "version": SNAPSHOT_VERSION,
        "identity": asdict(snapshot.identity),
    }
    opened = json_line({**head, "taken_at": snapshot.taken_at}).removesuffix("}")
    return f'{opened},"settings":[\n{lines}\n],"sha256":"{snapshot.sha256}"}}\n'.encode()


def parse_snapshot(data: bytes, *, source: str) -> Snapshot:
    """Return the snapshot in a file; `source` names the file in error texts.

    Raises:
        SnapshotNotJsonError: no JSON document; a file cut short is none.
        SnapshotFormatError: a JSON document, but no snapshot.
        SnapshotVersionError: written by a newer version of this tool.
        SnapshotEntryError: something is missing or not as the format says.
        SnapshotValueError: a type or value that does not exist.
        SnapshotDuplicateNameError: a setting is there twice.
        SnapshotDigestError: the content is not what the digest says.
    """
    document = _document(data, source)
    try:
        snapshot, written = _read(document, source)
    except DataFaultError as fault:
        raise _bad_entry(source, str(fault)) from fault
    if snapshot.sha256 != written:
        raise _digest_error(source, written, snapshot.sha256)
    return snapshot


def _content(snapshot: Snapshot) -> dict[str, Json]:
    return {
        "format": SNAPSHOT_FORMAT,
        "version": SNAPSHOT_VERSION,
        "identity": asdict(snapshot.identity),
        "settings": _setting_entries(snapshot),
    }


def _setting_entries(snapshot: Snapshot) -> list[dict[str, str]]:
    return [{"name": name, "type": str(value.type), "value": value.text} for name, value in snapshot.settings.items()]


def _document(data: bytes, source: str) -> Table:
    try:
        document = read_json(data)
    except DataFaultError as fault:
        raise _not_json(source, str(fault)) from fault
    if document.data.get("format") != SNAPSHOT_FORMAT:
        raise _wrong_format(source, document.data.get("format"))
    return document


def _read(document: Table, source: str) -> tuple[Snapshot, str]:
    version = document.whole("version")
    if version > SNAPSHOT_VERSION:
        raise _newer_version(source, version)
    if version < 1:
        document.fault("version", f"there is no version {version}")
    document.only("format", "version", "identity", "taken_at", "settings", "sha256")
    identity = _identity(document.table("identity"))
    if "settings" not in document:
        document.fault("settings", "it is missing")
    settings = _settings(document.tables("settings"), source)
    taken_at = document.text("taken_at")
    if not _TIME.match(taken_at):
        document.fault("taken_at", f"{taken_at!r} is no time in UTC like 2026-05-01T09:30:00Z")
    return Snapshot(identity, settings, taken_at), document.text("sha256")


def _identity(table: Table) -> Identity:
    keys = ("unique_id", "family", "release", "board", "build")
    table.only(*keys)
    try:
        return Identity(**{key: table.text(key) for key in keys})
    except UniqueIdError as error:
        return table.fault("unique_id", error.what)


def _settings(entries: tuple[Table, ...], source: str) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for entry in entries:
        entry.only("name", "type", "value")
        name = entry.text("name")
        if not name:
            entry.fault("name", "it is empty")
        if name in found:
            raise _duplicate(source, name)
        found[name] = _value(entry, name, source)
    return found


def _value(entry: Table, name: str, source: str) -> Value:
    type_text, text = entry.text("type"), entry.text("value")
    try:
        return Value.parse(SettingType(type_text), text)
    except ValueNotInTypeError as error:
        raise _bad_value(source, name, f"{error.what} {error.why}") from error
    except ValueError as error:
        raise _bad_value(source, name, f"There is no type {type_text!r}.") from error


def _not_json(source: str, words: str) -> SnapshotNotJsonError:
    return SnapshotNotJsonError(
        f"{source} is not a readable snapshot: {words}.",
        why="The file was cut short or damaged, or it is another kind of file.",
        todo=_ANOTHER_COPY,
        source=source,
    )


def _wrong_format(source: str, found: object) -> SnapshotFormatError:
    named = f"it says {found!r}" if isinstance(found, str) else "it does not say what it is"
    return SnapshotFormatError(
        f"{source} is no snapshot: {named}, and a snapshot says {SNAPSHOT_FORMAT!r}.",
        why="Another kind of file was given.",
        todo="Give the snapshot file that was written when the aircraft was saved.",
        source=source,
    )


def _newer_version(source: str, version: int) -> SnapshotVersionError:
    return SnapshotVersionError(
        f"{source} is a snapshot of version {version}; this tool knows up to version {SNAPSHOT_VERSION}.",
        why="It was written by a newer version of this tool. Reading it half would lose settings.",
        todo="Use the newer version of this tool. The file was not touched.",
        source=source,
        version=version,
    )


def _bad_entry(source: str, words: str) -> SnapshotEntryError:
    return SnapshotEntryError(
        f"The content of {source} is not that of a snapshot: {words}.",
        why="The file was damaged or changed after it was written.",
        todo=_ANOTHER_COPY,
        source=source,
    )


def _bad_value(source: str, name: str, words: str) -> SnapshotValueError:
    return SnapshotValueError(
        f"Setting {name} in {source} cannot be read: {words}",
        why="The file was damaged or changed after it was written.",
        todo=_ANOTHER_COPY,
        source=source,
        name=name,
    )


def _duplicate(source: str, name: str) -> SnapshotDuplicateNameError:
    return SnapshotDuplicateNameError(
        f"Setting {name} is in {source} twice.",
        why="The file was damaged or changed after it was written; nobody can tell which of the two values is true.",
        todo=_ANOTHER_COPY,
        source=source,
        name=name,
    )


def _digest_error(source: str, written: str, found: str) -> SnapshotDigestError:
    return SnapshotDigestError(
        f"The content of {source} is not what it was: its digest is {found[:16]}..., written was {written[:16]}...",
        why="The file was damaged or changed after it was written.",
        todo=_ANOTHER_COPY,
        source=source,
        written=written,
        found=found,
    )
