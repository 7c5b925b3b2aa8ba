"""What was decided for the aircraft before, so that the same thing is not worked out ten thousand times for a fleet.

Most settings of most aircraft stand where they stood on the last one. A decision hangs on what the whole fleet shares
(catalogues, defaults, notes, classes, policy) and on the found values that the rules looked at while they worked. The
memory notes which values these were, and takes an old decision only where every one of them is the same.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.settings.sides import CarryOverInputs, Sides

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    from rotorwright.settings.cases import Case
    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.note_entries import Note
    from rotorwright.settings.values import Value

MOST_FOR_ONE = 8  # values that come again come soon; calibrations differ on each aircraft and would fill the memory

_SHARED = tuple(each.name for each in fields(CarryOverInputs) if each.name != "ours")


@dataclass(frozen=True, slots=True)
class Judged:
    """The decision that a case gets by itself.

    Args:
        decision: on found settings that belong together.
        note: that speaks of them, if one does.
        case: the case itself, if it had to be made for the decision.
    """

    decision: Decision
    note: Note | None = None
    case: Case | None = None


@dataclass(frozen=True, slots=True)
class _Kept:
    looked_at: tuple[tuple[str, Value | None], ...]
    judged: Judged


_Place: TypeAlias = "dict[Hashable, tuple[Note | None, list[_Kept]]]"  # holds the note, so that its id stays its own


class _WatchedSides(Sides):
    """Sides that note whose found value was looked at."""

    @cached_property
    def looked_at(self) -> set[str]:
        """The names whose found value a rule has asked for, since this was last emptied."""
        return set()

    def ours(self, name: str) -> Value | None:
        """Return the value as found."""
        self.looked_at.add(name)
        return super().ours(name)


class DecisionMemory:
    """The decisions on earlier aircraft, for as long as the very same catalogues, defaults, notes and so on are given.

    These are told apart by being the same objects, so they must not be changed while the memory is in use. Where they
    are others, everything is forgotten; the result never depends on what is remembered.
    """

    def __init__(self) -> None:
        self._shared: tuple[object, ...] = ()
        self._places: dict[tuple[str, ...], _Place] = {}

    def recall(self, inputs: CarryOverInputs) -> Recollection:
        """Return what is remembered for an aircraft with the family, release, board and build of this one."""
        shared = tuple(getattr(inputs, name) for name in _SHARED)
        if len(shared) != len(self._shared) or any(a is not b for a, b in zip(shared, self._shared, strict=True)):
            self._shared, self._places = shared, {}
        who = inputs.ours.identity
        place = self._places.setdefault((who.family, who.release, who.board, who.build), {})
        return Recollection(_WatchedSides(inputs), place)


class Recollection:
    """The memory opened for one aircraft."""

    def __init__(self, sides: _WatchedSides, place: _Place) -> None:
        self.sides: Sides = sides
        self._watched = sides
        self._found = sides.inputs.ours.settings
        self._place = place

    def by_note(self, note: Note, judge: Callable[[Sides], Judged]) -> Judged:
        """Return what `judge` would return of this very note."""
        return self._judged(id(note), note, judge)  # two notes may look alike, and a note has no hash

    def by_name(self, name: str, judge: Callable[[Sides], Judged], *, gives_way: bool) -> Judged:
        """Return what `judge` would return of a setting that no note speaks of."""
        return self._judged((name, gives_way), None, judge)

    def _judged(self, key: Hashable, note: Note | None, judge: Callable[[Sides], Judged]) -> Judged:
        _, known = self._place.setdefault(key, (note, []))
        for kept in known:
            if self._is_same(kept):
                return kept.judged
        self._watched.looked_at.clear()
        judged = judge(self._watched)
        if len(known) < MOST_FOR_ONE:
            names = sorted(self._watched.looked_at)
            known.append(_Kept(tuple((name, self._found.get(name)) for name in names), judged))
        return judged

    def _is_same(self, kept: _Kept) -> bool:
        for name, value in kept.looked_at:
            found = self._found.get(name)
            if found is not value and found != value:
                return False
        return True
