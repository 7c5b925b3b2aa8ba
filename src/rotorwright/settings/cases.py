"""From notes to cases: which found settings belong together, and what their values would be in the new release."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from rotorwright.settings.conditions import holds, settings_in, words_of
from rotorwright.settings.decisions import DecisionKind, Rule
from rotorwright.settings.laws import SAME, BitField, Conversion, Law, convert
from rotorwright.settings.meanings import MeaningChange, meaning_change
from rotorwright.settings.note_entries import (
    Convert,
    Join,
    Note,
    Relabel,
    Rename,
    Retire,
    Split,
    Uncomposed,
    Woven,
    laws_of,
    new_names,
    old_names,
)
from rotorwright.settings.refits import Refit
from rotorwright.settings.weaving import (
    goes_through_bits,
    join_values,
    left_over_words,
    lost_bits,
    names_in,
    woven_value,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.sides import Sides
    from rotorwright.settings.values import SettingType, Value

__all__ = ["OF_ONE", "Case", "Target", "case_with_note", "case_without_note", "join_values", "laws_of", "may_hold"]


@dataclass(frozen=True, slots=True)
class Target:
    """One setting of the new release with what would come into it.

    Args:
        name: in the new release.
        ours: what the values as found become.
        base: what the old defaults become; nothing where they are not known.
        theirs: the new default; nothing where it is not known.
        meaning: how the meaning changed, where no note speaks for it.
        is_bit_field: whether only some bits of the found value come here, so that it may be untouched by itself.
    """

    name: str
    ours: Conversion
    base: Conversion | None
    theirs: Value | None
    meaning: MeaningChange | None = None
    is_bit_field: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """Found settings that are decided as one.

    Args:
        found: their names, sorted.
        ours: their values as found.
        base: their old defaults; nothing where not known.
        kind: what becomes of them if all goes well.
        rule: by which rule.
        targets: the settings of the new release that they become.
        missing: successors by the notes that the new release does not have.
        note: the note that speaks of them, if one does.
        left_over: what of the found value no successor takes, in words.
        doubt: why nobody can tell whether the note holds at all, in words.
    """

    found: tuple[str, ...]
    ours: tuple[Value, ...]
    base: tuple[Value | None, ...]
    kind: DecisionKind
    rule: Rule
    targets: tuple[Target, ...] = ()
    missing: tuple[str, ...] = ()
    note: Note | None = None
    left_over: str = ""
    doubt: str = ""

    @property
    def is_untouched(self) -> bool:
        """Whether every found value is its old default."""
        return self.ours == self.base


def case_without_note(sides: Sides, name: str) -> Case:
    """Return the case of a found setting of which no note speaks: it stays what it is, if the new release has it."""
    ours, base = _ours(sides, name), sides.base(name)
    type_ = sides.new_type(name)
    targets = () if type_ is None else (_target(sides, name, name, SAME, type_),)
    return Case((name,), (ours,), (base,), DecisionKind.KEEP, Rule.SAME_MEANING, targets)


def may_hold(sides: Sides, note: Note) -> bool:
    """Return whether a note holds on this aircraft, or may hold for all that anyone can tell."""
    return note.when is None or holds(note.when, sides.ours) is not False


def case_with_note(sides: Sides, note: Note) -> Case:
    """Return the case of the found settings that a note speaks of; at least one must have been found."""
    found = tuple(sorted(name for name in old_names(note) if sides.ours(name) is not None))
    kind, rule = _KINDS[type(note)]
    if isinstance(note, Woven) and len(note.old) == 1:
        kind = DecisionKind.SPLIT if len(note.into) > 1 else DecisionKind.CONVERT
    targets = tuple([target for target in _targets(sides, note) if target is not None])
    names = new_names(note)
    missing = () if len(targets) == len(names) else tuple(name for name in names if sides.new_type(name) is None)
    if isinstance(note, Uncomposed) and targets:
        missing = ()  # these are all that may become of it
    return Case(
        found,
        tuple(_ours(sides, name) for name in found),
        tuple(sides.base(name) for name in found),
        kind,
        rule,
        targets,
        missing,
        note,
        _left_over(sides, note),
        _doubt(sides, note),
    )


_KINDS: dict[type, tuple[DecisionKind, Rule]] = {
    Rename: (DecisionKind.RENAME, Rule.NOTE_RENAME),
    Convert: (DecisionKind.CONVERT, Rule.NOTE_CONVERT),
    Relabel: (DecisionKind.RELABEL, Rule.NOTE_RELABEL),
    Split: (DecisionKind.SPLIT, Rule.NOTE_SPLIT),
    Join: (DecisionKind.JOIN, Rule.NOTE_JOIN),
    Retire: (DecisionKind.RETIRED, Rule.NOTE_RETIRE),
    Refit: (DecisionKind.REFIT, Rule.REFIT_WANTED),
    Woven: (DecisionKind.JOIN, Rule.NOTES_COMPOSED),
    Uncomposed: (DecisionKind.HELD, Rule.NOTES_NOT_COMPOSED),
}


def _doubt(sides: Sides, note: Note) -> str:
    if note.when is None or holds(note.when, sides.ours) is not None:
        return ""
    missing = [name for name in settings_in(note.when) if sides.ours(name) is None]
    why = f"{' and '.join(missing)} was not found on the aircraft" if missing else "its value cannot be compared"
    return f"whether this note holds cannot be told: it holds if {words_of(note.when)}, and {why}"


def _targets(sides: Sides, note: Note) -> Iterable[Target | None]:
    if isinstance(note, OF_ONE):
        return [_part(sides, note, name, law) for name, law in laws_of(note)]
    match note:
        case Join():
            type_ = sides.new_type(note.new)
            return () if type_ is None else (_joined(sides, note, type_),)
        case Woven():
            return [_woven(sides, note, place) for place in range(len(note.into))]
        case Refit():
            words = f"its law changed in {sides.new_words}, and the settings with the same effect have to be worked out"
            return [_wanting(sides, name, words, "refit-wanted") for name in note.new]
        case Uncomposed():
            return [_wanting(sides, name, note.because, "not-composed") for name in note.new]


OF_ONE = (Rename, Convert, Relabel, Split, Retire)
"""The notes that speak of one setting of the old release."""


def _wanting(sides: Sides, name: str, words: str, problem: str) -> Target | None:
    if sides.new_type(name) is None:
        return None
    return Target(name, Conversion(words=words, problem=problem), None, sides.theirs(name))


def _woven(sides: Sides, note: Woven, place: int) -> Target | None:
    part = note.into[place]
    type_ = sides.new_type(part.new)
    if type_ is None:
        return None
    absent = [name for name in names_in(part.value) if _found_or_default(sides, name) is None]
    came = Conversion(words=f"{' and '.join(absent)} was not found on the aircraft", problem="join-differs")
    known_base = all(sides.base(name) is not None for name in names_in(part.value))
    return Target(
        part.new,
        came if absent else woven_value(part.value, partial(_found_or_default, sides), type_),
        woven_value(part.value, sides.base, type_) if known_base else None,
        sides.theirs(part.new),
        None,
        goes_through_bits(part.value),
    )


def _part(sides: Sides, note: Rename | Convert | Relabel | Split | Retire, name: str, law: Law) -> Target | None:
    type_ = sides.new_type(name)
    if type_ is None:
        return None
    return _target(sides, note.old, name, law, type_, speaks_for_meaning=not isinstance(note, Rename))


def _left_over(sides: Sides, note: Note) -> str:
    if isinstance(note, Woven):
        found = (left_over_words(each, partial(_found_or_default, sides), sides.base) for each in note.taken)
        return "; ".join(words for words in found if words)
    if not isinstance(note, Split):
        return ""
    ours, base = _ours(sides, note.old), sides.base(note.old)
    fields = [part.law for part in note.into if isinstance(part.law, BitField)]
    if len(fields) < len(note.into) or not ours.type.is_whole:
        return ""
    taken = 0
    for each in fields:
        taken |= each.mask
    return lost_bits((ours.bits ^ (0 if base is None else base.bits)) & ~taken)


def _target(
    sides: Sides, old: str, new: str, law: Law, type_: SettingType, *, speaks_for_meaning: bool = False
) -> Target:
    ours, base = _ours(sides, old), sides.base(old)
    became = convert(ours, law, type_)
    if ours == base:
        return Target(new, became, became, sides.theirs(new), None, isinstance(law, BitField))
    changed = None if speaks_for_meaning else meaning_change(sides.old_setting(old), sides.new_setting(new), ours)
    base_became = None if base is None else convert(base, law, type_)
    return Target(new, became, base_became, sides.theirs(new), changed, isinstance(law, BitField))


def _joined(sides: Sides, note: Join, type_: SettingType) -> Target:
    ours = [_found_or_default(sides, name) for name in note.old]
    base = [sides.base(name) for name in note.old]
    absent = [name for name, value in zip(note.old, ours, strict=True) if value is None]
    known = [value for value in ours if value is not None]
    known_base = [value for value in base if value is not None]
    came = Conversion(words=f"{' and '.join(absent)} was not found on the aircraft", problem="join-differs")
    return Target(
        note.new,
        came if absent else join_values(note, known, type_),
        None if len(known_base) < len(base) else join_values(note, known_base, type_),
        sides.theirs(note.new),
    )


def _ours(sides: Sides, name: str) -> Value:
    value = sides.ours(name)
    assert value is not None, f"{name} was not found"
    return value


def _found_or_default(sides: Sides, name: str) -> Value | None:
    found = sides.ours(name)
    return sides.base(name) if found is None else found
