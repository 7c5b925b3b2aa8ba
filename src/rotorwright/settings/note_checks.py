"""Checking change notes against the two releases they speak of, for whoever writes them."""

from __future__ import annotations

from collections import defaultdict
from itertools import combinations
from typing import TYPE_CHECKING

from rotorwright.settings.conditions import Sign, can_hold, comparisons, exclude_each_other, settings_in, words_of
from rotorwright.settings.laws import SAME, BitField, parse_rational
from rotorwright.settings.note_entries import (
    NoteProblem,
    Relabel,
    Rename,
    Severity,
    Split,
    Uncomposed,
    new_names,
    old_names,
)
from rotorwright.settings.note_ranges import check_ranges
from rotorwright.settings.refits import FORMULA_NAME, Refit
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.settings.conditions import Comparison, Condition
    from rotorwright.settings.note_entries import ChangeNotes, DefaultChanged, Note


def check_notes(notes: ChangeNotes, old: Catalogue, new: Catalogue) -> tuple[NoteProblem, ...]:
    """Return everything in `notes` that does not fit the two catalogues, in the order of the entries.

    docs/how-to/write-change-notes.md lists what is found, by id and severity.
    """
    found = [problem for note in notes.entries for problem in _check_note(note, old, new)]
    found += [problem for advice in notes.advice for problem in _check_advice(advice, old, new)]
    return (*found, *_twice(notes), *_unexplained(notes, old, new))


def check_reversing(notes: ChangeNotes) -> tuple[NoteProblem, ...]:
    """Return the entries that have no way back, and why, as information."""
    return notes.reversed().cannot


def check_composing(notes: ChangeNotes) -> tuple[NoteProblem, ...]:
    """Return what composed notes could not say in one entry, as information."""
    return tuple(
        NoteProblem(note.place, old_names(note)[0], note.because, "cannot-compose", Severity.INFORMATION)
        for note in notes.entries
        if isinstance(note, Uncomposed)
    )


def _check_note(note: Note, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    yield from _dangling(note, old_names(note), old, new, side="old")
    yield from _dangling(note, new_names(note), new, old, side="new")
    if not isinstance(note, Refit | Uncomposed):
        yield from _still_there(note, old, new)
    yield from check_ranges(note, old, new)
    if note.when is not None:
        yield from _check_condition(note.place, old_names(note)[0], note.when, old)
    match note:
        case Relabel():
            yield from _check_choices(note, old.get(note.old), new.get(note.new))
        case Split():
            yield from _check_bits(note, old.get(note.old))
        case Rename():
            yield from _check_rename(note, old.get(note.old), new.get(note.new))
        case Refit():
            yield from _check_formulas(note, old, new)
        case _:
            pass


def _dangling(
    note: Note, names: tuple[str, ...], catalogue: Catalogue, other: Catalogue, *, side: str
) -> Iterator[NoteProblem]:
    for name in names:
        if name in catalogue:
            continue
        meant = likely(name, catalogue.names)
        hint = f"; perhaps {meant} was meant" if meant else ""
        nowhere = "" if name in other else ", nor has the other one"
        words = f"the {side} release has no setting {name}{nowhere}{hint}"
        yield NoteProblem(note.place, name, words, "unknown-name" if name in other else "in-neither-release")


def _still_there(note: Note, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    for name in new_names(note):
        if name in old and name in new and name not in old_names(note) and _is_same_setting(old[name], new[name]):
            words = f"{name} is in both releases, so it can hardly be the successor"
            yield NoteProblem(note.place, name, words, "still-there", Severity.WARNING)


def _is_same_setting(old: Setting, new: Setting) -> bool:
    return (old.type, old.unit, old.short) == (new.type, new.unit, new.short)


def _check_choices(note: Relabel, old: Setting | None, new: Setting | None) -> Iterator[NoteProblem]:
    for number in note.labels.numbers:
        if old is not None and old.choices and old.label(number) is None:
            words = f"{note.old} has no choice {number} in the old release"
            yield NoteProblem(note.place, note.old, words, "unknown-choice")
    for number in note.labels.numbers.values():
        if new is not None and new.choices and new.label(number) is None:
            words = f"{note.new} has no choice {number} in the new release"
            yield NoteProblem(note.place, note.new, words, "unknown-choice")


def _check_bits(note: Split, old: Setting | None) -> Iterator[NoteProblem]:
    if old is None:
        return
    fields = [part.law for part in note.into if isinstance(part.law, BitField)]
    if fields and not old.type.is_whole:
        kind = "float" if old.type.is_float else "text"
        yield NoteProblem(note.place, note.old, f"{note.old} is a {kind} and has no bits to part", "type-clash")
    beyond = [bit for each in fields for bit in each.bits if bit >= 8 * old.type.size_bytes]
    if fields and old.type.is_whole and beyond:
        words = f"bit {max(beyond)} is beyond {note.old}, a {old.type}"
        yield NoteProblem(note.place, note.old, words, "range-clash")


def _check_rename(note: Rename, old: Setting | None, new: Setting | None) -> Iterator[NoteProblem]:
    if old is None or new is None:
        return
    if old.unit and new.unit and old.unit != new.unit:
        words = f"{old.unit} became {new.unit}; if the number stays, say so with a convert by factor 1"
        yield NoteProblem(note.place, note.old, words, "unit-passed-over", Severity.WARNING)
    for each in old.choices:
        if new.choices and new.label(each.number) != each.label:
            words = f"choice {each.number} ({each.label}) is {new.label(each.number) or 'none'} in the new release"
            yield NoteProblem(note.place, note.old, words, "label-passed-over", Severity.WARNING)


def _check_formulas(note: Refit, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    old_texts = (note.old_law, note.old_loop, *(each.cutoff for each in note.old_filters))
    new_texts = (note.new_law, note.new_loop, *(each.cutoff for each in note.new_filters))
    for side, texts, catalogue in (("old", old_texts, old), ("new", new_texts, new)):
        for name in dict.fromkeys(name for text in texts for name in _settings_in_formula(text)):
            if name not in catalogue:
                meant = likely(name, catalogue.names)
                hint = f"; perhaps {meant} was meant" if meant else ""
                words = f"a formula names {name}, which the {side} release does not have{hint}"
                yield NoteProblem(note.place, name, words, "unknown-name")


def _settings_in_formula(text: str) -> list[str]:
    """Return the names in a formula that are neither the stick nor followed by a bracket, as functions are."""
    found = FORMULA_NAME.finditer(text)
    return [each[0] for each in found if each[0] != "stick" and not text[each.end() :].lstrip().startswith("(")]


def _check_advice(advice: DefaultChanged, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    if advice.name not in new:
        meant = likely(advice.name, new.names)
        hint = f"; perhaps {meant} was meant" if meant else ""
        words = f"there is advice on {advice.name}, which the new release does not have{hint}"
        yield NoteProblem(advice.place, advice.name, words, "unknown-name")
    elif advice.name in old and old[advice.name].default == new[advice.name].default:
        words = f"there is advice on a new default of {advice.name}, and its default is the same in both releases"
        yield NoteProblem(advice.place, advice.name, words, "default-unchanged", Severity.WARNING)
    if advice.when is not None:
        yield from _check_condition(advice.place, advice.name, advice.when, old)


def _check_condition(place: str, name: str, when: Condition, old: Catalogue) -> Iterator[NoteProblem]:
    if can_hold(when) is False:
        yield NoteProblem(place, name, f"the condition can never hold: {words_of(when)}", "unreachable-condition")
    for each in settings_in(when):
        if each not in old:
            meant = likely(each, old.names)
            hint = f"; perhaps {meant} was meant" if meant else ""
            words = f"the condition asks for {each}, which the old release does not have{hint}"
            yield NoteProblem(place, name, words, "unknown-name")
    for comparison in comparisons(when):
        setting = old.get(comparison.setting)
        if setting is not None and not setting.type.is_text and not _is_reachable(comparison, setting):
            words = f"no value that {comparison.setting} allows makes this true: {words_of(comparison)}"
            yield NoteProblem(place, name, words, "unreachable-condition")


def _is_reachable(comparison: Comparison, setting: Setting) -> bool:
    numbers = [parse_rational(text) for text in comparison.values]
    if comparison.law != SAME or comparison.test is Sign.IS_NOT:
        return True
    low, high = setting.minimum, setting.maximum
    match comparison.test:
        case Sign.AT_LEAST:
            return high is None or numbers[0] is None or high.number >= numbers[0]
        case Sign.AT_MOST:
            return low is None or numbers[0] is None or low.number <= numbers[0]
        case _:
            known = [number for number in numbers if number is not None]
            return any(_may_be(setting, float(number)) for number in known)


def _may_be(setting: Setting, number: float) -> bool:
    if setting.default is not None and setting.default.number == number:
        return True
    if setting.choices:
        return setting.label(number) is not None
    low, high = setting.minimum, setting.maximum
    return (low is None or number >= low.number) and (high is None or number <= high.number)


def _twice(notes: ChangeNotes) -> Iterator[NoteProblem]:
    yield from _clashing(notes.entries, old_names, "{count} notes say what becomes of {name}")
    yield from _clashing(notes.entries, new_names, "{count} notes give {name} its value")


def _clashing(
    entries: Iterable[Note], names_of: Callable[[Note], tuple[str, ...]], words: str
) -> Iterator[NoteProblem]:
    by_name: dict[str, list[Note]] = defaultdict(list)
    for note in entries:
        for name in names_of(note):
            by_name[name].append(note)
    for name, found in by_name.items():
        verdict = _exclude(found)
        told = words.format(count=len(found), name=name)
        if verdict is False:
            yield from (NoteProblem(note.place, name, told, "two-notes") for note in found)
        elif verdict is None:
            unsure = f"{told}, and it cannot be decided here whether their conditions exclude each other"
            yield NoteProblem(found[0].place, name, unsure, "perhaps-two-notes", Severity.WARNING)


def _exclude(notes: list[Note]) -> bool | None:
    """Return whether no two of these notes can hold together; nothing where that cannot be decided."""
    verdicts = [exclude_each_other(one.when, other.when) for one, other in combinations(notes, 2)]
    return False if False in verdicts else None if None in verdicts else True


def _unexplained(notes: ChangeNotes, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    noted = {name for note in notes.entries for name in old_names(note)}
    for name, setting in old.settings.items():
        if name in noted:
            continue
        after = new.get(name)
        if after is None:
            words = f"{name} is gone, and no note says what became of it"
            yield NoteProblem("", name, words, "gone-without-note")
        elif setting.unit and after.unit and setting.unit != after.unit:
            words = f"{name} counts in {after.unit} instead of {setting.unit}, and no note says so"
            yield NoteProblem("", name, words, "unit-without-note")
