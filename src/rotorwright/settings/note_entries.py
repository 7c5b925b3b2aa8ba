"""The entries of change notes: what a release did to its settings, and which of it can be undone without loss."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

from rotorwright.settings.laws import SAME, BitField, Labels, Linear, Reciprocal


class JoinHow(StrEnum):
    """How several old settings become one."""

    BITS = "bits"
    EQUAL = "equal"
    SUM = "sum"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rename:
    """The name changed and nothing else."""

    old: str
    new: str
    why: str = ""
    place: str = field(default="", compare=False)

    def reversed(self) -> Rename | str:
        """Return the note of the way back."""
        return Rename(old=self.new, new=self.old, why=self.why, place=self.place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Convert:
    """The unit or the scale changed, and perhaps the name."""

    old: str
    new: str
    law: Linear | Reciprocal
    why: str = ""
    place: str = field(default="", compare=False)

    def reversed(self) -> Convert | str:
        """Return the note of the way back."""
        return Convert(old=self.new, new=self.old, law=self.law.inverse(), why=self.why, place=self.place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relabel:
    """The numbers of the choices were given out anew, and perhaps the name changed."""

    old: str
    new: str
    labels: Labels
    why: str = ""
    place: str = field(default="", compare=False)

    def reversed(self) -> Relabel | str:
        """Return the note of the way back, or why there is none."""
        if not self.labels.is_bijective:
            return "two old choices became one, and nobody can tell which it was"
        back = Labels({new: old for old, new in self.labels.numbers.items()})
        return Relabel(old=self.new, new=self.old, labels=back, why=self.why, place=self.place)


@dataclass(frozen=True, slots=True)
class SplitPart:
    """One of the new settings of a split, with the law that gives its value."""

    new: str
    law: Linear | BitField


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """One old setting became several."""

    old: str
    into: tuple[SplitPart, ...]
    why: str = ""
    place: str = field(default="", compare=False)

    def reversed(self) -> Join | str:
        """Return the note of the way back, or why there is none."""
        names = tuple(part.new for part in self.into)
        fields = tuple(part.law for part in self.into if isinstance(part.law, BitField))
        if all(part.law == SAME for part in self.into):
            return Join(old=names, new=self.old, how=JoinHow.EQUAL, why=self.why, place=self.place)
        if len(fields) != len(self.into):
            return "the parts were scaled, and a join cannot scale them back"
        if not all(each.is_contiguous for each in fields) or _overlap(fields):
            return "the bits of the parts are not in one piece each, and a join cannot scatter them again"
        return Join(
            old=names,
            new=self.old,
            how=JoinHow.BITS,
            bits=tuple(each.bits[0] for each in fields),
            widths=tuple(len(each.bits) for each in fields),
            why=self.why,
            place=self.place,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """Several old settings became one.

    Args:
        old: the old names.
        new: the new name.
        how: by bits, by being equal, or as a sum.
        bits: for a join by bits: the lowest bit of each old setting in the new one.
        widths: for a join by bits: how many bits each old setting takes; where none are given, each reaches up to the
            next one, and the topmost as far as the type goes.
        why: in words, for a person.
        place: of the entry in the file.
    """

    old: tuple[str, ...]
    new: str
    how: JoinHow
    bits: tuple[int, ...] = ()
    widths: tuple[int, ...] = ()
    why: str = ""
    place: str = field(default="", compare=False)

    def widths_known(self) -> tuple[int | None, ...]:
        """Return how many bits each old setting takes; nothing for a topmost one of unstated width."""
        if self.widths:
            return self.widths
        above = (min((other for other in self.bits if other > bit), default=None) for bit in self.bits)
        return tuple(None if top is None else top - bit for top, bit in zip(above, self.bits, strict=True))

    def reversed(self) -> Split | str:
        """Return the note of the way back, or why there is none."""
        if self.how is JoinHow.SUM:
            return "a sum does not say what it was the sum of"
        if self.how is JoinHow.EQUAL:
            return Split(
                old=self.new, into=tuple(SplitPart(old, SAME) for old in self.old), why=self.why, place=self.place
            )
        parts: list[SplitPart] = []
        for old, bit, width in zip(self.old, self.bits, self.widths_known(), strict=True):
            if width is None:
                return f"the note does not say how many bits {old} takes (give the key 'widths')"
            parts.append(SplitPart(old, BitField(tuple(range(bit, bit + width)))))
        return Split(old=self.new, into=tuple(parts), why=self.why, place=self.place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Retire:
    """The new release does without the setting."""

    old: str
    loses: str
    why: str = ""
    place: str = field(default="", compare=False)

    def reversed(self) -> Retire | str:
        """Return why there is no way back."""
        return "the setting is gone, and its value with it"


Note: TypeAlias = Rename | Convert | Relabel | Split | Join | Retire


def old_names(note: Note) -> tuple[str, ...]:
    """Return the names of the old release that a note speaks of."""
    return note.old if isinstance(note, Join) else (note.old,)


def new_names(note: Note) -> tuple[str, ...]:
    """Return the names of the new release that a note speaks of."""
    if isinstance(note, Retire):
        return ()
    return tuple(part.new for part in note.into) if isinstance(note, Split) else (note.new,)


@dataclass(frozen=True, slots=True)
class NoteProblem:
    """Something in change notes that does not fit the releases, or that cannot be undone."""

    place: str
    name: str
    words: str


@dataclass(frozen=True, slots=True)
class ReversedNotes:
    """Change notes for the way back, and which entries have none."""

    notes: ChangeNotes
    cannot: tuple[NoteProblem, ...]


@dataclass(frozen=True, slots=True)
class ChangeNotes:
    """What changed in the settings from one release line to another."""

    family: str
    from_release: str
    to_release: str
    entries: tuple[Note, ...] = ()

    def reversed(self) -> ReversedNotes:
        """Return the notes for the way back; entries that lose something have none and are named."""
        entries: list[Note] = []
        cannot: list[NoteProblem] = []
        for note in self.entries:
            back = note.reversed()
            if isinstance(back, str):
                cannot.append(NoteProblem(note.place, old_names(note)[0], back))
            else:
                entries.append(back)
        notes = ChangeNotes(self.family, self.to_release, self.from_release, tuple(entries))
        return ReversedNotes(notes, tuple(cannot))


def _overlap(fields: tuple[BitField, ...]) -> bool:
    taken = [bit for each in fields for bit in each.bits]
    return len(set(taken)) != len(taken)
