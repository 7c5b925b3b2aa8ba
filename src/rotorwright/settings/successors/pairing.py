"""From strengths to pairs: each arrived setting goes to at most one vanished one, so that the whole fits best."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.settings.successors.weighing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.settings.successors.candidates import Candidate
    from rotorwright.settings.successors.release_change import ReleaseChange
    from rotorwright.settings.successors.weighing import Weights

NO_SUCCESSOR = -4.0  # log odds: a pair weaker than about 1 in 50 takes no arrived setting from another
_FORBIDDEN = 1e6  # far beyond any sum of log odds

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Weighed:
    """A candidate with its standing among its rivals."""

    candidate: Candidate
    standing: Standing


def weigh(candidates: Sequence[Candidate], weights: Weights) -> tuple[Weighed, ...]:
    """Return the candidates with their standings."""
    strengths = {(each.old, each.new): weights.strength(each.traits) for each in candidates}
    of_old, of_new = _two_best(strengths, 0), _two_best(strengths, 1)
    found = []
    for each in candidates:
        strength = strengths[each.old, each.new]
        standing = Standing(strength, _lead(strength, of_old[each.old]), _lead(strength, of_new[each.new]))
        found.append(Weighed(each, standing))
    return tuple(found)


def pair_up(weighed: Sequence[Weighed], change: ReleaseChange) -> dict[int, Weighed]:
    """Return, by place of the vanished setting, the pair that it has in the best assignment; without it: no successor.

    An assignment is best if the strengths of its pairs add up to the most, a vanished setting without a successor
    counting `NO_SUCCESSOR`.
    """
    if not weighed:
        return {}
    import numpy as np  # noqa: PLC0415 - kept off the start-up path
    from scipy.optimize import linear_sum_assignment  # noqa: PLC0415

    olds, news = len(change.vanished), len(change.arrived)
    cost = np.full((olds, news + olds), _FORBIDDEN)
    cost[np.arange(olds), news + np.arange(olds)] = -NO_SUCCESSOR
    by_pair = {(each.candidate.old, each.candidate.new): each for each in weighed}
    for (old, new), each in by_pair.items():
        cost[old, new] = -each.standing.strength
    rows, columns = linear_sum_assignment(cost)
    return {
        int(row): by_pair[int(row), int(column)] for row, column in zip(rows, columns, strict=True) if column < news
    }


def _two_best(strengths: Mapping[Pair, float], side: int) -> dict[int, list[float]]:
    found: defaultdict[int, list[float]] = defaultdict(list)
    for pair, strength in strengths.items():
        found[pair[side]].append(strength)
    return {place: sorted(each, reverse=True)[:2] for place, each in found.items()}


def _lead(strength: float, best: Sequence[float]) -> float:
    """Return the lead over the best other one, of which no successor at all is always one."""
    rivals = best[1:] if strength == best[0] else best[:1]
    return strength - max([*rivals, NO_SUCCESSOR])
