"""Which pairs are worth a closer look: for each vanished setting the arrived ones alike in spelling or in words.

Comparing everything with everything closely would take minutes for two thousand names; a coarse look takes a second.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from math import log1p
from typing import TYPE_CHECKING

from rotorwright.settings.successors.traits import Replacement, Traits, replacement, traits_of
from rotorwright.settings.successors.words import squashed, words_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from rotorwright.settings.successors.release_change import ReleaseChange

PER_SETTING = 10  # candidates by spelling, and as many by words
_MANY = log1p(10)  # eleven pairs with the same replacement are as telling as any more


@dataclass(frozen=True, slots=True)
class Candidate:
    """A pair worth weighing: places in `vanished` and `arrived`, its traits, and how many other pairs do the same."""

    old: int
    new: int
    traits: Traits
    companions: int


def candidates_of(change: ReleaseChange) -> tuple[Candidate, ...]:
    """Return the pairs worth weighing, in order of their places."""
    if not change.vanished or not change.arrived:
        return ()
    pairs = _pairs(change)
    replaced = [replacement(change.vanished[old].name, change.arrived[new].name) for old, new in pairs]
    counts = Counter(each for each in replaced if each is not None)
    return tuple(_candidate(pair, each, counts, change) for pair, each in zip(pairs, replaced, strict=True))


def _candidate(
    pair: tuple[int, int], replaced: Replacement | None, counts: Counter[Replacement], change: ReleaseChange
) -> Candidate:
    old, new = pair
    companions = counts[replaced] - 1 if replaced is not None else 0
    systematic = min(log1p(companions) / _MANY, 1.0)
    return Candidate(old, new, traits_of(change.vanished[old], change.arrived[new], change, systematic), companions)


def _pairs(change: ReleaseChange) -> list[tuple[int, int]]:
    olds = [each.name for each in change.vanished]
    news = [each.name for each in change.arrived]
    found: set[tuple[int, int]] = set()
    for alike in (_alike_in_spelling(olds, news), _alike_in_words(olds, news, change)):
        found.update(_best(alike))
    return sorted(found)


def _best(alike: NDArray[np.float32]) -> list[tuple[int, int]]:
    import numpy as np  # noqa: PLC0415 - kept off the start-up path

    count = min(PER_SETTING, alike.shape[1])
    columns = np.argpartition(-alike, count - 1, axis=1)[:, :count]
    return [(row, int(column)) for row, chosen in enumerate(columns) for column in chosen if alike[row, column] > 0]


def _alike_in_spelling(olds: Sequence[str], news: Sequence[str]) -> NDArray[np.float32]:
    import numpy as np  # noqa: PLC0415 - kept off the start-up path
    from rapidfuzz.distance import Indel  # noqa: PLC0415
    from rapidfuzz.process import cdist  # noqa: PLC0415

    found: NDArray[np.float32] = cdist(
        [squashed(name) for name in olds],
        [squashed(name) for name in news],
        scorer=Indel.normalized_similarity,
        dtype=np.float32,
    )
    return found


def _alike_in_words(olds: Sequence[str], news: Sequence[str], change: ReleaseChange) -> NDArray[np.float32]:
    import numpy as np  # noqa: PLC0415 - kept off the start-up path

    places = {word: place for place, word in enumerate(sorted({word for name in olds for word in words_of(name)}))}
    mine, theirs = (np.zeros((len(names), len(places) or 1), np.float32) for names in (olds, news))
    for names, rows in ((olds, mine), (news, theirs)):
        for row, name in enumerate(names):
            for word in words_of(name):
                if word in places:
                    rows[row, places[word]] = change.rarity(word) ** 0.5
    # Long names share more words by chance, so what is shared is held against the length of the new name.
    lengths = np.array([sum(map(change.rarity, words_of(name))) + 1 for name in news], np.float32)
    found: NDArray[np.float32] = (mine @ theirs.T) / lengths
    return found
