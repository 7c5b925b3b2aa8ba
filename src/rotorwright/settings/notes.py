"""Change notes: reading them from TOML.

The file says what changed between two release lines of a family; docs/reference/change-notes.md describes it. Notes are
written by hand, so every fault names its entry and key, and the key or name that was likely meant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypedDict

from rotorwright.errors import SettingsError
from rotorwright.settings.conditions import read_condition
from rotorwright.settings.documents import DocumentKind, read_document
from rotorwright.settings.law_texts import read_law
from rotorwright.settings.laws import SAME, BitField, Labels
from rotorwright.settings.note_checks import check_notes
from rotorwright.settings.note_entries import (
    ChangeNotes,
    Convert,
    DefaultChanged,
    Join,
    JoinHow,
    Note,
    NoteProblem,
    Prefers,
    Relabel,
    Rename,
    Retire,
    ReversedNotes,
    Split,
    SplitPart,
    new_names,
    old_names,
)
from rotorwright.settings.note_fields import choice_of, different_names, filled
from rotorwright.settings.refits import Refit, RefitKind, read_refit
from rotorwright.settings.structured import DataFaultError, Table

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.settings.conditions import Condition

__all__ = [
    "NOTES_FORMAT",
    "NOTES_VERSION",
    "ChangeNotes",
    "Convert",
    "DefaultChanged",
    "Join",
    "JoinHow",
    "Note",
    "NoteProblem",
    "NotesError",
    "NotesFormatError",
    "NotesVersionError",
    "Prefers",
    "Refit",
    "RefitKind",
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
_LONGEST_CHOICE = 11

_NUMBER = "{n}"


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
    return read_document(text, _KIND, source=source)


def _notes(document: Table) -> ChangeNotes:
    document.only("format", "version", "family", "from", "to", *_READERS, "move", "default-changed")
    entries = [read(entry) for kind, read in _READERS.items() for entry in document.tables(kind)]
    entries += [rename for entry in document.tables("move") for rename in _move(entry)]
    advice = tuple(_default_changed(entry) for entry in document.tables("default-changed"))
    family, old, new = filled(document, "family"), filled(document, "from"), filled(document, "to")
    return ChangeNotes(family, old, new, tuple(entries), advice)


def _rename(entry: Table) -> Rename:
    entry.only("old", "new", "why", "when")
    old, new = filled(entry, "old"), filled(entry, "new")
    if old == new:
        entry.fault("new", f"{new} is the old name too, so nothing is renamed")
    return Rename(old=old, new=new, **_about(entry))


def _convert(entry: Table) -> Convert:
    entry.only("old", "new", "law", "why", "when")
    law = read_law(entry.table("law"))
    return Convert(old=filled(entry, "old"), new=filled(entry, "new"), law=law, **_about(entry))


def _relabel(entry: Table) -> Relabel:
    entry.only("old", "new", "map", "why", "when")
    old, new = filled(entry, "old"), filled(entry, "new")
    labels = _labels(entry.table("map"))
    return Relabel(old=old, new=new, labels=labels, **_about(entry))


def _split(entry: Table) -> Split:
    entry.only("old", "into", "why", "when")
    parts = tuple(_part(each) for each in entry.tables("into"))
    if len(parts) < 2:
        entry.fault("into", "a split has two parts or more")
    if len({part.new for part in parts}) != len(parts):
        entry.fault("into", "two parts have the same name")
    return Split(old=filled(entry, "old"), into=parts, **_about(entry))


def _part(entry: Table) -> SplitPart:
    entry.only("new", "law", "bits")
    new = filled(entry, "new")
    if "bits" in entry and "law" in entry:
        entry.fault("bits", "a part has either bits or a law, not both")
    if "bits" in entry:
        bits = _bits(entry, "bits")
        if not bits or len(set(bits)) != len(bits):
            entry.fault("bits", "each bit is listed once, and there is at least one")
        return SplitPart(new, BitField(bits))
    if "law" not in entry:
        return SplitPart(new, SAME)
    return SplitPart(new, read_law(entry.table("law")))


def _join(entry: Table) -> Join:
    entry.only("old", "new", "how", "bits", "widths", "why", "when")
    old = different_names(entry, "old", least=2)
    how = choice_of(entry, "how", JoinHow, "way to join")
    bits, widths = _join_bits(entry, how, len(old))
    return Join(old=old, new=filled(entry, "new"), how=how, bits=bits, widths=widths, **_about(entry))


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
    entry.only("old", "loses", "why", "when")
    loses = filled(entry, "loses")
    return Retire(old=filled(entry, "old"), loses=loses, **_about(entry))


def _refit(entry: Table) -> Refit:
    return read_refit(entry, read_condition(entry))


def _move(entry: Table) -> Iterator[Rename]:
    """Yield the renames that a move between numbered copies stands for."""
    entry.only("old", "new", "map", "why", "when")
    old, new = filled(entry, "old"), filled(entry, "new")
    for key, name in (("old", old), ("new", new)):
        if _NUMBER not in name:
            entry.fault(key, f"{name!r} has no {_NUMBER} in it, which stands for the number of the copy")
    numbers = _numbers(entry.table("map"))
    if len(set(numbers.values())) != len(numbers):
        entry.fault("map", "two copies would come to the same place")
    for number, target in numbers.items():
        names = old.replace(_NUMBER, str(number)), new.replace(_NUMBER, str(target))
        if names[0] != names[1]:
            yield Rename(old=names[0], new=names[1], **_about(entry))


def _default_changed(entry: Table) -> DefaultChanged:
    entry.only("name", "advice", "prefers", "when")
    prefers = entry.optional_text("prefers")
    if prefers is not None and prefers not in set(Prefers):
        entry.fault("prefers", f"{prefers!r} is no preference; known are {', '.join(Prefers)}")
    return DefaultChanged(
        name=filled(entry, "name"),
        advice=filled(entry, "advice"),
        prefers=None if prefers is None else Prefers(prefers),
        when=read_condition(entry),
        place=entry.where,
    )


class _About(TypedDict):
    why: str
    when: Condition | None
    place: str


def _about(entry: Table) -> _About:
    return _About(why=entry.text("why", ""), when=read_condition(entry), place=entry.where)


_READERS: dict[str, Callable[[Table], Note]] = {
    "rename": _rename,
    "convert": _convert,
    "relabel": _relabel,
    "split": _split,
    "join": _join,
    "retire": _retire,
    "refit": _refit,
}


def _labels(table: Table) -> Labels:
    return Labels(_numbers(table))


def _numbers(table: Table) -> dict[int, int]:
    if not table.data:
        raise DataFaultError("it maps no number at all", where=table.where)
    numbers: dict[int, int] = {}
    for key in table.data:
        if not key.removeprefix("-").isdecimal() or not key.isascii() or len(key) > _LONGEST_CHOICE:
            table.fault(key, "the old number of a choice is expected")
        number = table.whole(key)
        if not -_LARGEST_CHOICE < number < _LARGEST_CHOICE:
            table.fault(key, f"{number} is in no setting")
        if int(key) in numbers:
            table.fault(key, f"the old number {int(key)} is there twice")
        numbers[int(key)] = number
    return dict(sorted(numbers.items()))


def _bits(entry: Table, key: str) -> tuple[int, ...]:
    bits = entry.wholes(key)
    for bit in bits:
        if not 0 <= bit <= _HIGHEST_BIT:
            entry.fault(key, f"there is no bit {bit}; bits are 0 to {_HIGHEST_BIT}")
    return bits


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


_KIND = DocumentKind(NOTES_FORMAT, NOTES_VERSION, _notes, _wrong_format, _newer_version, _bad_entry)
