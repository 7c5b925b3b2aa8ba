"""TOML documents of ours: every one says its format and version before anything else of it is believed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from rotorwright.settings.structured import DataFaultError, Table, read_toml

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.errors import SettingsError

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class DocumentKind(Generic[_T]):
    """A kind of document, with the errors that a person meets when one cannot be used.

    Args:
        format: what its key `format` must say.
        version: the newest version that this tool knows; versions count from 1.
        read: makes of the document what it stands for.
        wrong_format: for a text that is no TOML, or another kind of document; gets source and words.
        newer_version: for a document of a newer version; gets source and version.
        bad_entry: for an entry that cannot be used; gets source and fault.
    """

    format: str
    version: int
    read: Callable[[Table], _T]
    wrong_format: Callable[[str, str], SettingsError]
    newer_version: Callable[[str, int], SettingsError]
    bad_entry: Callable[[str, DataFaultError], SettingsError]


def read_document(text: str, kind: DocumentKind[_T], *, source: str) -> _T:
    """Return what a document stands for; `source` names the file in error texts.

    Raises:
        SettingsError: one of those of `kind`.
    """
    try:
        document = read_toml(text)
    except DataFaultError as fault:
        raise kind.wrong_format(source, str(fault)) from fault
    if document.data.get("format") != kind.format:
        raise kind.wrong_format(source, f"it does not say format = {kind.format!r}")
    try:
        version = document.whole("version")
        if version > kind.version:
            raise kind.newer_version(source, version)
        if version < 1:
            document.fault("version", f"there is no version {version}")
        return kind.read(document)
    except DataFaultError as fault:
        raise kind.bad_entry(source, fault) from fault
