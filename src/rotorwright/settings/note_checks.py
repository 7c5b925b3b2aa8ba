"""Checking change notes against the two releases they speak of, for whoever writes them."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rotorwright.settings.laws import BitField
from rotorwright.settings.note_entries import (
    NoteProblem,
    Relabel,
    Rename,
    Split,
    new_names,
    old_names,
)
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.settings.note_entries import ChangeNotes, Note


def check_notes(notes: ChangeNotes, old: Catalogue, new: Catalogue) -> tuple[NoteProblem, ...]:
    """Return everything in `notes` that does not fit the two catalogues, in the order of the entries.

    Found are: names that a release does not have, several notes for one name, choices that do not exist, bits of a
    float, units and labels that a rename passes over; and settings that are gone, or count in another unit, without any
    note.
    """
    found = [problem for note in notes.entries for problem in _check_note(note, old, new)]
    return (*found, *_twice(notes), *_unexplained(notes, old, new))


def _check_note(note: Note, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    yield from _dangling(note, old_names(note), old, notes_side="old")
    yield from _dangling(note, new_names(note), new, notes_side="new")
    for name in new_names(note):
        if name in old and name in new and name not in old_names(note) and _is_same_setting(old[name], new[name]):
            yield NoteProblem(note.place, name, f"{name} is in both releases, so it can hardly be the successor")
    if isinstance(note, Relabel):
        yield from _check_choices(note, old.get(note.old), new.get(note.new))
    if isinstance(note, Split) and note.old in old:
        yield from _check_bits(note, old[note.old])
    if isinstance(note, Rename):
        yield from _check_rename(note, old.get(note.old), new.get(note.new))


def _dangling(note: Note, names: tuple[str, ...], catalogue: Catalogue, *, notes_side: str) -> Iterator[NoteProblem]:
    for name in names:
        if name not in catalogue:
            meant = likely(name, catalogue.names)
            hint = f"; perhaps {meant} was meant" if meant else ""
            yield NoteProblem(note.place, name, f"the {notes_side} release has no setting {name}{hint}")


def _is_same_setting(old: Setting, new: Setting) -> bool:
    return (old.type, old.unit, old.short) == (new.type, new.unit, new.short)


def _check_choices(note: Relabel, old: Setting | None, new: Setting | None) -> Iterator[NoteProblem]:
    for number in note.labels.numbers:
        if old is not None and old.choices and old.label(number) is None:
            yield NoteProblem(note.place, note.old, f"{note.old} has no choice {number} in the old release")
    for number in note.labels.numbers.values():
        if new is not None and new.choices and new.label(number) is None:
            yield NoteProblem(note.place, note.new, f"{note.new} has no choice {number} in the new release")


def _check_bits(note: Split, old: Setting) -> Iterator[NoteProblem]:
    if old.type.is_float and any(isinstance(part.law, BitField) for part in note.into):
        yield NoteProblem(note.place, note.old, f"{note.old} is a float and has no bits to part")


def _check_rename(note: Rename, old: Setting | None, new: Setting | None) -> Iterator[NoteProblem]:
    if old is None or new is None:
        return
    if old.unit and new.unit and old.unit != new.unit:
        words = f"{old.unit} became {new.unit}; if the number stays, say so with a convert by factor 1"
        yield NoteProblem(note.place, note.old, words)
    for each in old.choices:
        if new.choices and new.label(each.number) != each.label:
            words = f"choice {each.number} ({each.label}) is {new.label(each.number) or 'none'} in the new release"
            yield NoteProblem(note.place, note.old, words)


def _twice(notes: ChangeNotes) -> Iterator[NoteProblem]:
    olds = Counter(name for note in notes.entries for name in old_names(note))
    news = Counter(name for note in notes.entries for name in new_names(note))
    for note in notes.entries:
        for name in old_names(note):
            if olds[name] > 1:
                yield NoteProblem(note.place, name, f"{olds[name]} notes say what becomes of {name}")
        for name in new_names(note):
            if news[name] > 1:
                yield NoteProblem(note.place, name, f"{news[name]} notes give {name} its value")


def _unexplained(notes: ChangeNotes, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    noted = {name for note in notes.entries for name in old_names(note)}
    for name, setting in old.settings.items():
        if name in noted:
            continue
        after = new.get(name)
        if after is None:
            yield NoteProblem("", name, f"{name} is gone, and no note says what became of it")
        elif setting.unit and after.unit and setting.unit != after.unit:
            yield NoteProblem("", name, f"{name} counts in {after.unit} instead of {setting.unit}, and no note says so")
