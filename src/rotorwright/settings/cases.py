"""From notes to cases: which found settings belong together, and what their values would be in the new release."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.settings.decisions import DecisionKind, Rule
from rotorwright.settings.laws import SAME, BitField, Conversion, Law, convert, convert_exact
from rotorwright.settings.meanings import MeaningChange, meaning_change
from rotorwright.settings.note_entries import (
    Convert,
    Join,
    JoinHow,
    Note,
    Relabel,
    Rename,
    Retire,
    Split,
    new_names,
    old_names,
)
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.sides import Sides


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


def case_with_note(sides: Sides, note: Note) -> Case:
    """Return the case of the found settings that a note speaks of; at least one must have been found."""
    found = tuple(sorted(name for name in old_names(note) if sides.ours(name) is not None))
    kind, rule = _KINDS[type(note)]
    targets = tuple(target for target in _targets(sides, note) if target is not None)
    missing = tuple(name for name in new_names(note) if sides.new_type(name) is None)
    return Case(
        found,
        tuple(_ours(sides, name) for name in found),
        tuple(sides.base(name) for name in found),
        kind,
        rule,
        targets,
        missing,
        note,
        _left_over(sides, note) if isinstance(note, Split) else "",
    )


_KINDS: dict[type, tuple[DecisionKind, Rule]] = {
    Rename: (DecisionKind.RENAME, Rule.NOTE_RENAME),
    Convert: (DecisionKind.CONVERT, Rule.NOTE_CONVERT),
    Relabel: (DecisionKind.RELABEL, Rule.NOTE_RELABEL),
    Split: (DecisionKind.SPLIT, Rule.NOTE_SPLIT),
    Join: (DecisionKind.JOIN, Rule.NOTE_JOIN),
    Retire: (DecisionKind.RETIRED, Rule.NOTE_RETIRE),
}


def _targets(sides: Sides, note: Note) -> Iterable[Target | None]:
    if isinstance(note, Join):
        type_ = sides.new_type(note.new)
        return () if type_ is None else (_joined(sides, note, type_),)
    return tuple(_part(sides, note, name, law) for name, law in _laws(note))


def _laws(note: Rename | Convert | Relabel | Split | Retire) -> tuple[tuple[str, Law], ...]:
    match note:
        case Rename():
            return ((note.new, SAME),)
        case Convert():
            return ((note.new, note.law),)
        case Relabel():
            return ((note.new, note.labels),)
        case Split():
            return tuple((part.new, part.law) for part in note.into)
        case Retire():
            return ()


def _part(sides: Sides, note: Rename | Convert | Relabel | Split | Retire, name: str, law: Law) -> Target | None:
    type_ = sides.new_type(name)
    if type_ is None:
        return None
    return _target(sides, note.old, name, law, type_, speaks_for_meaning=not isinstance(note, Rename))


def _left_over(sides: Sides, note: Split) -> str:
    ours, base = _ours(sides, note.old), sides.base(note.old)
    fields = [part.law for part in note.into if isinstance(part.law, BitField)]
    if len(fields) < len(note.into):
        return ""
    taken = 0
    for each in fields:
        taken |= each.mask
    lost = (ours.bits ^ (0 if base is None else base.bits)) & ~taken
    bits = [str(bit) for bit in range(lost.bit_length()) if lost >> bit & 1]
    return f"bit{'s' if len(bits) > 1 else ''} {', '.join(bits)} of it went nowhere" if bits else ""


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


def join_values(note: Join, values: list[Value], type_: SettingType) -> Conversion:
    """Return what several values become together; the values are in the order of the note."""
    if note.how is JoinHow.BITS:
        return _join_bits(note, values, type_)
    if note.how is JoinHow.EQUAL:
        return _join_equal(note, values, type_)
    numbers = [value.decimal for value in values]
    finite = [number for number in numbers if number is not None]
    if len(finite) < len(numbers):
        return Conversion(words="one of them is no number that can be added", problem="no-number")
    return convert_exact(sum(finite[1:], finite[0]), type_)


def _join_equal(note: Join, values: list[Value], type_: SettingType) -> Conversion:
    together = {value.decimal if value.decimal is not None else value.bits for value in values}
    if len(together) == 1:
        return convert(values[0], SAME, type_)
    shown = " and ".join(f"{name} is {value.text}" for name, value in zip(note.old, values, strict=True))
    return Conversion(words=f"they have to be equal, but {shown}", problem="join-differs")


def _join_bits(note: Join, values: list[Value], type_: SettingType) -> Conversion:
    word, width_of_all = 0, 8 * type_.size_bytes
    for name, value, bit, width in zip(note.old, values, note.bits, note.widths_known(), strict=True):
        room = width_of_all - bit if width is None else min(width, width_of_all - bit)
        number = value.number
        if value.type.is_float or number < 0 or number >= 1 << max(room, 0):
            words = f"{name} is {value.text}, which has no place in {max(room, 0)} bits of {note.new}"
            return Conversion(words=words, problem="not-exact")
        word |= int(number) << bit
    return (
        Conversion(words="a float has no bits", problem="no-number")
        if type_.is_float
        else Conversion(Value(type_, word))
    )


def _ours(sides: Sides, name: str) -> Value:
    value = sides.ours(name)
    assert value is not None, f"{name} was not found"
    return value


def _found_or_default(sides: Sides, name: str) -> Value | None:
    found = sides.ours(name)
    return sides.base(name) if found is None else found
