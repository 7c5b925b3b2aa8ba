"""What is known of the release between two change notes that are composed, and errors of composing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.errors import SettingsError
from rotorwright.settings.laws import convert
from rotorwright.settings.note_entries import Join, Split, Uncomposed, new_names, old_names

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.laws import Law
    from rotorwright.settings.note_entries import ChangeNotes, Note
    from rotorwright.settings.values import SettingType


ThreeCatalogues: TypeAlias = "tuple[Catalogue, Catalogue, Catalogue]"
"""What the old release, the one between and the new one know to set on one board."""


class NotesDoNotMeetError(SettingsError):
    """Two change notes cannot follow each other: another family, or the first does not end where the second begins."""

    id = "notes.do-not-meet"


class NotComposableError(Exception):
    """Some entries cannot be said as one. Caught where notes are composed; what they speak of is held."""


@dataclass(frozen=True)
class Between:
    """The two notes, with the catalogues of the old release, the one between and the new one, for each board."""

    first: ChangeNotes
    second: ChangeNotes
    catalogues: Sequence[ThreeCatalogues]

    @cached_property
    def spoken_of(self) -> frozenset[str]:
        """The names of the old release that the first notes speak of."""
        return frozenset(name for note in self.first.entries for name in old_names(note))

    @cached_property
    def givers(self) -> dict[str, tuple[Note, ...]]:
        """For each name of the release between, the entries of the first notes that give it its value."""
        found: dict[str, tuple[Note, ...]] = {}
        for note in self.first.entries:
            for name in new_names(note):
                found[name] = (*found.get(name, ()), note)
        return found

    def comes_unchanged(self, name: str) -> bool:
        """Whether a setting of the release between is the one of this name in the old release."""
        if name in self.spoken_of or name in self.givers:
            return False
        return not self.catalogues or any(name in each[0] for each in self.catalogues)

    def type(self, name: str) -> SettingType | None:
        """Return the type of a setting of the release between, if it is known and the same on each board."""
        return self._type(1, name)

    def old_type(self, name: str) -> SettingType | None:
        """Return the type of a setting of the old release, if it is known and the same on each board."""
        return self._type(0, name)

    def new_type(self, name: str) -> SettingType | None:
        """Return the type of a setting of the new release, if it is known and the same on each board."""
        return self._type(2, name)

    def keeps_default(self, old: str, law: Law, between: str) -> bool:
        """Return whether the default of `old` becomes that of `between` by the law, as far as catalogues tell."""
        return bool(self.catalogues) and all(
            _keeps(before, after, old, law, between) for before, after, _ in self.catalogues
        )

    def _type(self, place: int, name: str) -> SettingType | None:
        settings = (each[place].get(name) for each in self.catalogues)
        types = {setting.type for setting in settings if setting is not None}
        return types.pop() if len(types) == 1 else None


def uncomposed(firsts: Sequence[Note], seconds: Sequence[Note], because: str, between: Between) -> Uncomposed | None:
    """Return the entry that holds whatever these entries of both notes speak of; nothing where no old name is in it."""
    old = [name for note in firsts for name in old_names(note)]
    old += [name for note in seconds for name in old_names(note) if between.comes_unchanged(name)]
    taken = {name for note in seconds if note.when is None for name in old_names(note)}
    new = [name for note in firsts for name in new_names(note) if name not in taken]
    new += [name for note in seconds for name in new_names(note)]
    new += [name for note in seconds if note.when is not None for name in old_names(note)]
    if not old:
        return None
    notes = (*firsts, *seconds)
    names, successors = tuple(dict.fromkeys(old)), tuple(dict.fromkeys(new))
    return Uncomposed(old=names, new=successors, because=because, why=whys(notes), place=places(notes))


def whys(notes: Iterable[Note]) -> str:
    """Return the reasons of several entries, each once."""
    return " ".join(dict.fromkeys(note.why.strip() for note in notes if note.why.strip()))


def places(notes: Iterable[Note]) -> str:
    """Return the places of several entries, each once."""
    return " and then ".join(dict.fromkeys(note.place for note in notes if note.place))


def is_plain(note: Note) -> bool:
    """Whether an entry speaks of one old name only."""
    return isinstance(note, Split) or (not isinstance(note, Join) and len(old_names(note)) == 1)


def _keeps(before: Catalogue, between: Catalogue, old: str, law: Law, new: str) -> bool:
    one, other = before.get(old), between.get(new)
    if one is None or other is None or one.default is None or other.default is None:
        return False
    return convert(one.default, law, other.type).value == other.default
