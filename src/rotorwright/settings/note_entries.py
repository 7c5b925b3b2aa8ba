"""The entries of change notes: what a release did to its settings, and which of it can be undone without loss."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.settings.laws import SAME, BitField, Labels, Law, inverse_of
from rotorwright.settings.refits import Refit

if TYPE_CHECKING:
    from rotorwright.settings.conditions import Condition
    from rotorwright.settings.values import SettingType

_CONDITIONAL = "its condition speaks of settings as they were found in the old release"


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
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Rename | str:
        """Return the note of the way back, or why there is none."""
        if self.when is not None:
            return _CONDITIONAL
        return Rename(old=self.new, new=self.old, why=self.why, place=self.place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Convert:
    """The unit or the scale changed, and perhaps the name."""

    old: str
    new: str
    law: Law
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Convert | str:
        """Return the note of the way back, or why there is none."""
        if self.when is not None:
            return _CONDITIONAL
        back = inverse_of(self.law)
        if back is None:
            return "two old values became one, and nobody can tell which it was"
        return Convert(old=self.new, new=self.old, law=back, why=self.why, place=self.place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relabel:
    """The numbers of the choices were given out anew, and perhaps the name changed."""

    old: str
    new: str
    labels: Labels
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Relabel | str:
        """Return the note of the way back, or why there is none."""
        if self.when is not None:
            return _CONDITIONAL
        if not self.labels.is_bijective:
            return "two old choices became one, and nobody can tell which it was"
        back = Labels({new: old for old, new in self.labels.numbers.items()})
        return Relabel(old=self.new, new=self.old, labels=back, why=self.why, place=self.place)


@dataclass(frozen=True, slots=True)
class SplitPart:
    """One of the new settings of a split, with the law that gives its value."""

    new: str
    law: Law


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """One old setting became several."""

    old: str
    into: tuple[SplitPart, ...]
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Join | str:
        """Return the note of the way back, or why there is none."""
        if self.when is not None:
            return _CONDITIONAL
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
        when: under which condition the entry holds; nothing for always.
        place: of the entry in the file.
    """

    old: tuple[str, ...]
    new: str
    how: JoinHow
    bits: tuple[int, ...] = ()
    widths: tuple[int, ...] = ()
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def widths_known(self) -> tuple[int | None, ...]:
        """Return how many bits each old setting takes; nothing for a topmost one of unstated width."""
        if self.widths:
            return self.widths
        above = (min((other for other in self.bits if other > bit), default=None) for bit in self.bits)
        return tuple(None if top is None else top - bit for top, bit in zip(above, self.bits, strict=True))

    def reversed(self) -> Split | str:
        """Return the note of the way back, or why there is none."""
        if self.when is not None:
            return _CONDITIONAL
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
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Retire | str:
        """Return why there is no way back."""
        return "the setting is gone, and its value with it"


@dataclass(frozen=True, slots=True)
class Converted:
    """A value by a law from another value; `type` is that of the setting between, nothing for the last step."""

    source: Source
    law: Law
    type: SettingType | None = None


@dataclass(frozen=True, slots=True)
class Joined:
    """A value from several others; `type` is that of the setting between, nothing for the last step.

    `names` and `new` are those of the release where they are joined, for words.
    """

    sources: tuple[Source, ...]
    names: tuple[str, ...]
    new: str
    how: JoinHow
    bits: tuple[int, ...] = ()
    widths: tuple[int | None, ...] = ()
    type: SettingType | None = None


Source: TypeAlias = str | Converted | Joined
"""Where a value comes from: the setting of this name, or something made of such."""


@dataclass(frozen=True, slots=True)
class WovenPart:
    """One of the new settings of woven notes, with what its value is made of."""

    new: str
    value: Source


@dataclass(frozen=True, slots=True)
class TakenBits:
    """Bits of a value that find a place; a customised bit outside them is lost."""

    value: Source
    mask: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Woven:
    """Splits, joins and laws of two notes after each other that no single other note can say.

    No file of notes has it: it comes from composing notes of two releases. `taken` says which bits of which values find
    a place, so that a customised bit that finds none is held as it would be on the way by the release between.
    """

    old: tuple[str, ...]
    into: tuple[WovenPart, ...]
    taken: tuple[TakenBits, ...] = ()
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Woven | str:
        """Return why there is no way back in one step."""
        return "it was composed of two notes; turn each of them round and compose the two"


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncomposed:
    """Two notes after each other that cannot be said as one: whatever they speak of is held for a person."""

    old: tuple[str, ...]
    new: tuple[str, ...]
    because: str
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Uncomposed | str:
        """Return why there is no way back."""
        return f"it could not be composed: {self.because}"


class Prefers(StrEnum):
    """Which of two values whoever wrote the notes would take."""

    KEEP = "keep"
    NEW = "new"


@dataclass(frozen=True, slots=True, kw_only=True)
class DefaultChanged:
    """The default of a setting changed, and what to think of it. Advice only: it decides nothing.

    Args:
        name: of the setting in the new release.
        advice: in words, for a person who has a value of their own there.
        prefers: what whoever wrote the notes would take, if anything.
        when: under which condition the advice is good; nothing for always.
        place: of the entry in the file.
    """

    name: str
    advice: str
    prefers: Prefers | None = None
    when: Condition | None = None
    place: str = field(default="", compare=False)


Note: TypeAlias = Rename | Convert | Relabel | Split | Join | Retire | Refit | Woven | Uncomposed


def old_names(note: Note) -> tuple[str, ...]:
    """Return the names of the old release that a note speaks of."""
    old = note.old
    return (old,) if isinstance(old, str) else old


def new_names(note: Note) -> tuple[str, ...]:
    """Return the names of the new release that a note speaks of."""
    if isinstance(note, Retire):
        return ()
    if isinstance(note, _WITH_PARTS):
        return tuple(part.new for part in note.into)
    new = note.new
    return (new,) if isinstance(new, str) else new


_WITH_PARTS = (Split, Woven)


class Severity(StrEnum):
    """How bad a problem in a release book is."""

    ERROR = "error"
    WARNING = "warning"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True)
class NoteProblem:
    """Something in change notes that does not fit the releases, or that cannot be undone.

    Args:
        place: of the entry in the file; empty where there is no entry.
        name: of the setting.
        words: what is wrong.
        id: stable word for the kind of problem.
        severity: how bad it is.
    """

    place: str
    name: str
    words: str
    id: str = "cannot-reverse"
    severity: Severity = Severity.ERROR


@dataclass(frozen=True, slots=True)
class ReversedNotes:
    """Change notes for the way back, and which entries have none."""

    notes: ChangeNotes
    cannot: tuple[NoteProblem, ...]


@dataclass(frozen=True, slots=True)
class ChangeNotes:
    """What changed in the settings from one release line to another.

    Args:
        family: firmware family.
        from_release: the old release line.
        to_release: the new release line.
        entries: what became of settings.
        advice: what to think of changed defaults.
    """

    family: str
    from_release: str
    to_release: str
    entries: tuple[Note, ...] = ()
    advice: tuple[DefaultChanged, ...] = ()

    def advice_on(self, name: str) -> tuple[DefaultChanged, ...]:
        """Return the advice about a setting of the new release."""
        return tuple(each for each in self.advice if each.name == name)

    def reversed(self) -> ReversedNotes:
        """Return the notes for the way back; entries that lose something have none and are named, and so is advice."""
        entries: list[Note] = []
        cannot: list[NoteProblem] = []
        for note in self.entries:
            back = note.reversed()
            if isinstance(back, str):
                cannot.append(NoteProblem(note.place, old_names(note)[0], back, severity=Severity.INFORMATION))
            else:
                entries.append(back)
        for each in self.advice:
            words = "advice about a new default says nothing about the old one"
            cannot.append(NoteProblem(each.place, each.name, words, severity=Severity.INFORMATION))
        notes = ChangeNotes(self.family, self.to_release, self.from_release, tuple(entries))
        return ReversedNotes(notes, tuple(cannot))


def _overlap(fields: tuple[BitField, ...]) -> bool:
    taken = [bit for each in fields for bit in each.bits]
    return len(set(taken)) != len(taken)


def laws_of(note: Rename | Convert | Relabel | Split | Retire) -> tuple[tuple[str, Law], ...]:
    """Return each successor of one setting with the law by which its value comes there."""
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
