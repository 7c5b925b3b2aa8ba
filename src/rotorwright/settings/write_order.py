"""In which order settings are written, and where the aircraft is restarted in between.

What enables others comes first. Where constraints order the values, an upper one is raised before the lower one and a
lower one is lowered before the upper one, so that no state in between breaks what holds before and after. A restart in
between is planned only where a setting counts after a restart alone and another one needs it.
"""

from __future__ import annotations

from collections import ChainMap, defaultdict
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.settings.constraint_rules import Constraint, Excludes, Needs, all_names, is_broken

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.decisions import Write
    from rotorwright.settings.values import Value

_Key: TypeAlias = "tuple[int, bool, str]"


@dataclass(frozen=True, slots=True)
class WriteBatch:
    """Settings that are written one after the other, then saved; the aircraft is restarted afterwards.

    Args:
        writes: in their order.
        words: why the restart comes here, for a person.
    """

    writes: tuple[Write, ...]
    words: str


@dataclass(frozen=True, slots=True)
class WritePlan:
    """All writes in their order, batch by batch.

    The restart after the last batch is the one that proves what was kept; those before are needed by what follows.
    """

    batches: tuple[WriteBatch, ...] = ()

    @property
    def writes(self) -> tuple[Write, ...]:
        """All of them in their order."""
        return tuple(write for batch in self.batches for write in batch.writes)

    @property
    def restarts_between(self) -> int:
        """How many restarts come before the last one."""
        return max(len(self.batches) - 1, 0)


def plan_writes(
    writes: Iterable[Write],
    *,
    current: Mapping[str, Value],
    catalogue: Catalogue | None = None,
    constraints: Iterable[Constraint] = (),
) -> WritePlan:
    """Return the plan for `writes` on an aircraft that holds `current` now.

    The same writes in another order give the same plan. Where the constraints leave no way without breaking one in
    between, as few as possible are broken at each step.
    """
    todo = {each.name: each for each in sorted(writes, key=lambda each: each.name)}
    spoken = [each for each in constraints if any(name in todo for name in all_names(each))]
    ways = _Ways(todo, current, catalogue)
    for constraint in spoken:
        ways.add(constraint)
    levels = ways.levels()
    ordered = _in_order(ways, levels, spoken)
    groups = [(level, tuple(group)) for level, group in groupby(ordered, key=lambda each: levels[each.name])]
    last = len(groups) - 1
    return WritePlan(
        tuple(
            WriteBatch(group, ways.words_after(group) if place < last else "Then the restart that proves them.")
            for place, (_, group) in enumerate(groups)
        )
    )


@dataclass
class _Ways:
    """Which write has to come before which other one, and whether a restart has to lie between them."""

    todo: dict[str, Write]
    current: Mapping[str, Value]
    catalogue: Catalogue | None
    before: dict[str, dict[str, int]] = field(default_factory=lambda: defaultdict(dict))

    def counts_after_restart(self, name: str) -> bool:
        setting = self.catalogue.get(name) if self.catalogue else None
        return setting is not None and setting.reboot_required

    def add(self, constraint: Constraint) -> None:
        names = [name for name in all_names(constraint) if name in self.todo]
        if isinstance(constraint, Needs) and len(names) > 1 and constraint.if_.is_true(self._end(constraint.if_.name)):
            self._put(constraint.then.name, constraint.if_.name, needs_force=True)
        elif len(names) == 2:
            self._add_pair(constraint, *names)

    def _add_pair(self, constraint: Constraint, one: str, other: str) -> None:
        """Add that one comes first, where the other way round would break what holds before and after."""
        if any(name not in self.current and name not in self.todo for name in all_names(constraint)):
            return
        states = [self._is_broken(constraint, written) for written in ((), (one, other), (one,), (other,))]
        if states[0] or states[1] or states[2] == states[3]:
            return
        first, second = (other, one) if states[2] else (one, other)
        self._put(first, second, needs_force=isinstance(constraint, Needs | Excludes))

    def _is_broken(self, constraint: Constraint, written: tuple[str, ...]) -> bool:
        return is_broken(constraint, {**self.current, **{name: self.todo[name].value for name in written}})

    def _end(self, name: str) -> Value:
        return self.todo[name].value

    def _put(self, first: str, second: str, *, needs_force: bool) -> None:
        restarts = int(needs_force and self.counts_after_restart(first))
        self.before[second][first] = max(restarts, self.before[second].get(first, 0))

    def levels(self) -> dict[str, int]:
        """Return in which batch each write can be at the earliest, the first being 0."""
        levels: dict[str, int] = {}
        waiting = dict.fromkeys(self.todo)
        while waiting:
            ready = [name for name in waiting if all(first in levels for first in self.before.get(name, ()))]
            for name in ready or list(waiting)[:1]:  # where they need each other in a circle, one has to begin
                known = [
                    levels[first] + restarts for first, restarts in self.before.get(name, {}).items() if first in levels
                ]
                levels[name] = max(known, default=0)
                del waiting[name]
        return levels

    def words_after(self, group: tuple[Write, ...]) -> str:
        names = [each.name for each in group]
        told = [
            f"{second} needs {first}, which counts only after a restart"
            for second, firsts in sorted(self.before.items())
            for first, restarts in sorted(firsts.items())
            if restarts and first in names
        ]
        return f"Then a restart: {'; '.join(told)}."


def _in_order(ways: _Ways, levels: Mapping[str, int], constraints: list[Constraint]) -> list[Write]:
    """Return the writes, level by level; in each the next one is the first that breaks least in between."""
    touching: dict[str, list[Constraint]] = defaultdict(list)
    for constraint in constraints:
        for name in all_names(constraint):
            touching[name].append(constraint)
    state = dict(ways.current)
    ordered: list[Write] = []
    done: set[str] = set()
    for level in sorted(set(levels.values())):
        names = [name for name in ways.todo if levels[name] == level]
        free = sorted((0, ways.counts_after_restart(name), name) for name in names if name not in touching)[::-1]
        bound = [name for name in names if name in touching]
        while free or bound:
            best = _best(ways, bound, done, state, touching)
            is_free = bool(free) and (best is None or free[-1] < best)
            name = free.pop()[2] if is_free or best is None else best[2]
            if not is_free:
                bound.remove(name)
            done.add(name)
            state[name] = ways.todo[name].value
            ordered.append(ways.todo[name])
    return ordered


def _best(
    ways: _Ways,
    bound: list[str],
    done: set[str],
    state: dict[str, Value],
    touching: Mapping[str, list[Constraint]],
) -> _Key | None:
    ready = [name for name in bound if all(first in done for first in ways.before.get(name, ()))] or bound
    keys = [(_newly_broken(name, ways, state, touching[name]), ways.counts_after_restart(name), name) for name in ready]
    return min(keys, default=None)


def _newly_broken(name: str, ways: _Ways, state: dict[str, Value], touching: list[Constraint]) -> int:
    """Return how many more constraints are broken once this is written; fewer than none where it mends some."""
    after = ChainMap({name: ways.todo[name].value}, state)
    return sum(is_broken(each, after) - is_broken(each, state) for each in touching)
