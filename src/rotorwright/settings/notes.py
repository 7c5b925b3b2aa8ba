"""Change notes: reading them from TOML.

The file says what changed between two release lines of a family; docs/reference/change-notes.md describes it. Notes are
written by hand, so every fault names its entry and key, and the key or name that was likely meant.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.laws import SAME, BitField, Labels, Linear, Reciprocal, parse_rational
from rotorwright.settings.note_checks import check_notes
from rotorwright.settings.note_entries import (
    ChangeNotes,
    Convert,
    Join,
    JoinHow,
    Note,
    NoteProblem,
    Relabel,
    Rename,
    Retire,
    ReversedNotes,
    Split,
    SplitPart,
    new_names,
    old_names,
)
from rotorwright.settings.structured import DataFaultError, Table, likely, read_toml

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "NOTES_FORMAT",
    "NOTES_VERSION",
    "ChangeNotes",
    "Convert",
    "Join",
    "JoinHow",
    "Note",
    "NoteProblem",
    "NotesError",
    "NotesFormatError",
    "NotesVersionError",
    "Relabel",
    "Rename",
    "Retire",
    "ReversedNotes",
    "Split",
    "SplitPart",
    "check_notes",
    "new_names",
    "old_names",
    "parse_notes",
]

NOTES_FORMAT = "rotorwright-change-notes"
NOTES_VERSION = 1

_HIGHEST_BIT = 31  # no setting is wider than 32 bits
_LARGEST_CHOICE = 1 << 32


class NotesError(SettingsError):
    """Change notes cannot be used; the words name the entry and the key."""

    id = "notes.bad-entry"


class NotesFormatError(NotesError):
    """The file is no change notes."""

    id = "notes.wrong-format"


class NotesVersionError(NotesError):
    """The change notes were written for a newer version of this tool."""

    id = "notes.newer-version"


def parse_notes(text: str, *, source: str) -> ChangeNotes:
    """Return the change notes in a TOML text; `source` names the file in error texts.

    Raises:
        NotesFormatError: not TOML, or no change notes.
        NotesVersionError: for a newer version of this tool.
        NotesError: an entry that cannot be used.
    """
    try:
        document = read_toml(text)
    except DataFaultError as fault:
        raise _wrong_format(source, str(fault)) from fault
    if document.data.get("format") != NOTES_FORMAT:
        raise _wrong_format(source, f"it does not say format = {NOTES_FORMAT!r}")
    try:
        version = document.whole("version")
        if version > NOTES_VERSION:
            raise _newer_version(source, version)
        if version < 1:
            document.fault("version", f"there is no version {version}")
        return _notes(document)
    except DataFaultError as fault:
        raise _bad_entry(source, fault) from fault


def _notes(document: Table) -> ChangeNotes:
    document.only("format", "version", "family", "from", "to", *_READERS)
    entries = tuple(read(entry) for kind, read in _READERS.items() for entry in document.tables(kind))
    return ChangeNotes(_name(document, "family"), _name(document, "from"), _name(document, "to"), entries)


def _rename(entry: Table) -> Rename:
    entry.only("old", "new", "why")
    old, new = _name(entry, "old"), _name(entry, "new")
    if old == new:
        entry.fault("new", f"{new} is the old name too, so nothing is renamed")
    return Rename(old=old, new=new, why=entry.text("why", ""), place=entry.where)


def _convert(entry: Table) -> Convert:
    entry.only("old", "new", "law", "why")
    law = _law(entry.table("law"))
    return Convert(
        old=_name(entry, "old"), new=_name(entry, "new"), law=law, why=entry.text("why", ""), place=entry.where
    )


def _relabel(entry: Table) -> Relabel:
    entry.only("old", "new", "map", "why")
    old, new = _name(entry, "old"), _name(entry, "new")
    labels = _labels(entry.table("map"))
    return Relabel(old=old, new=new, labels=labels, why=entry.text("why", ""), place=entry.where)


def _split(entry: Table) -> Split:
    entry.only("old", "into", "why")
    parts = tuple(_part(each) for each in entry.tables("into"))
    if len(parts) < 2:
        entry.fault("into", "a split has two parts or more")
    if len({part.new for part in parts}) != len(parts):
        entry.fault("into", "two parts have the same name")
    return Split(old=_name(entry, "old"), into=parts, why=entry.text("why", ""), place=entry.where)


def _part(entry: Table) -> SplitPart:
    entry.only("new", "law", "bits")
    new = _name(entry, "new")
    if "bits" in entry and "law" in entry:
        entry.fault("bits", "a part has either bits or a law, not both")
    if "bits" in entry:
        bits = _bits(entry, "bits")
        if not bits or len(set(bits)) != len(bits):
            entry.fault("bits", "each bit is listed once, and there is at least one")
        return SplitPart(new, BitField(bits))
    if "law" not in entry:
        return SplitPart(new, SAME)
    law = _law(entry.table("law"))
    if isinstance(law, Reciprocal):
        entry.fault("law", "a part of a split has a linear law")
    return SplitPart(new, law)


def _join(entry: Table) -> Join:
    entry.only("old", "new", "how", "bits", "widths", "why")
    old = entry.texts("old")
    if len(old) < 2 or len(set(old)) != len(old) or "" in old:
        entry.fault("old", "a join has a list of two or more different names")
    how = _how(entry)
    bits, widths = _join_bits(entry, how, len(old))
    why = entry.text("why", "")
    return Join(old=old, new=_name(entry, "new"), how=how, bits=bits, widths=widths, why=why, place=entry.where)


def _how(entry: Table) -> JoinHow:
    text = entry.text("how")
    try:
        return JoinHow(text)
    except ValueError:
        meant = likely(text, JoinHow)
        hint = f"; perhaps {meant!r} was meant" if meant else ""
        return entry.fault("how", f"{text!r} is no way to join; known are {', '.join(JoinHow)}{hint}", meant=meant)


def _join_bits(entry: Table, how: JoinHow, count: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    if how is not JoinHow.BITS:
        for key in ("bits", "widths"):
            if key in entry:
                entry.fault(key, f"a join by {how} has no {key}")
        return (), ()
    bits = _bits(entry, "bits")
    if len(bits) != count or len(set(bits)) != len(bits):
        entry.fault("bits", f"one different lowest bit for each of the {count} old settings is expected")
    widths = entry.wholes("widths") if "widths" in entry else ()
    if widths and (len(widths) != count or min(widths) < 1):
        entry.fault("widths", f"one number of bits, 1 or more, for each of the {count} old settings is expected")
    _refuse_overlap(entry, bits, widths)
    return bits, widths


def _refuse_overlap(entry: Table, bits: tuple[int, ...], widths: tuple[int, ...]) -> None:
    taken = 0
    for bit, width in zip(bits, widths, strict=False):
        if bit + width - 1 > _HIGHEST_BIT:
            entry.fault("widths", f"bit {bit + width - 1} is in no setting; the highest is {_HIGHEST_BIT}")
        mask = ((1 << width) - 1) << bit
        if taken & mask:
            entry.fault("widths", "two old settings would share a bit")
        taken |= mask


def _retire(entry: Table) -> Retire:
    entry.only("old", "loses", "why")
    loses = _name(entry, "loses")
    return Retire(old=_name(entry, "old"), loses=loses, why=entry.text("why", ""), place=entry.where)


_READERS: dict[str, Callable[[Table], Note]] = {
    "rename": _rename,
    "convert": _convert,
    "relabel": _relabel,
    "split": _split,
    "join": _join,
    "retire": _retire,
}


def _law(table: Table) -> Linear | Reciprocal:
    kind = table.text("kind")
    if kind == "linear":
        table.only("kind", "factor", "offset")
        return Linear(_nonzero(table, "factor"), _rational(table, "offset") if "offset" in table else Fraction(0))
    if kind == "reciprocal":
        table.only("kind", "numerator")
        return Reciprocal(_nonzero(table, "numerator"))
    meant = likely(kind, ("linear", "reciprocal"))
    hint = f"; perhaps {meant!r} was meant" if meant else ""
    return table.fault("kind", f"{kind!r} is no law; known are linear and reciprocal{hint}", meant=meant)


def _labels(table: Table) -> Labels:
    if not table.data:
        raise DataFaultError("it maps no number at all", where=table.where)
    numbers: dict[int, int] = {}
    for key in table.data:
        if not key.removeprefix("-").isdecimal() or not key.isascii() or len(key) > 11:
            table.fault(key, "the old number of a choice is expected")
        number = table.whole(key)
        if not -_LARGEST_CHOICE < number < _LARGEST_CHOICE:
            table.fault(key, f"{number} is in no setting")
        if int(key) in numbers:
            table.fault(key, f"the old number {int(key)} is there twice")
        numbers[int(key)] = number
    return Labels(dict(sorted(numbers.items())))


def _bits(entry: Table, key: str) -> tuple[int, ...]:
    bits = entry.wholes(key)
    for bit in bits:
        if not 0 <= bit <= _HIGHEST_BIT:
            entry.fault(key, f"there is no bit {bit}; bits are 0 to {_HIGHEST_BIT}")
    return bits


def _name(entry: Table, key: str) -> str:
    text = entry.text(key)
    if not text.strip():
        entry.fault(key, "it is empty")
    return text


def _nonzero(table: Table, key: str) -> Fraction:
    number = _rational(table, key)
    if number == 0:
        table.fault(key, "zero would make every value the same")
    return number


def _rational(table: Table, key: str) -> Fraction:
    if key in table and not isinstance(table.data[key], str):
        table.fault(key, 'an exact number in quotes is expected, like "10", "0.01" or "1/60"')
    text = table.text(key)
    number = parse_rational(text)
    if number is None:
        table.fault(key, f'{text!r} is no exact number like "10", "0.01" or "1/60"')
    return number


def _wrong_format(source: str, words: str) -> NotesFormatError:
    return NotesFormatError(
        f"{source} cannot be read as change notes: {words}.",
        why="The file is damaged or mistyped, or it is another kind of file.",
        todo=f"Correct it at that place, or give the file whose first line is format = {NOTES_FORMAT!r}.",
        source=source,
    )


def _newer_version(source: str, version: int) -> NotesVersionError:
    return NotesVersionError(
        f"{source} has change notes of version {version}; this tool knows up to version {NOTES_VERSION}.",
        why="They were written for a newer version of this tool. Half understood, they would change settings wrongly.",
        todo="Use the newer version of this tool. Nothing was decided from these notes.",
        source=source,
        version=version,
    )


def _bad_entry(source: str, fault: DataFaultError) -> NotesError:
    return NotesError(
        f"The change notes {source} cannot be used: {fault}.",
        why="Notes decide what becomes of settings, so none of them is used while one of them is unclear.",
        todo="Correct that entry" + (f" (likely {fault.meant!r})" if fault.meant else "") + " and try again.",
        source=source,
        place=fault.where,
        meant=fault.meant,
    )
