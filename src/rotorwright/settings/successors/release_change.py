"""What two releases' settings are like as a whole: rare and common words, common defaults, places in the listing."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

from rotorwright.settings.successors.description import number_of
from rotorwright.settings.successors.words import squashed, words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rotorwright.settings.successors.description import SettingDescription

_FLAGS = {"true": "on", "yes": "on", "enabled": "on", "false": "off", "no": "off", "disabled": "off"}
_TELLING_BITS = 5.0  # a default that one setting in 32 has is as telling as any rarer one


# Where a setting stands in a listing: the nearest names before and after it that both releases have.
Place = tuple[str | None, str | None]


class ReleaseChange:
    """The vanished and the arrived settings, with what is learned from all of them together."""

    def __init__(
        self,
        vanished: Sequence[SettingDescription],
        arrived: Sequence[SettingDescription],
        *,
        old_listing: Sequence[str] = (),
        new_listing: Sequence[str] = (),
    ) -> None:
        self.vanished = tuple(vanished)
        self.arrived = tuple(arrived)
        self._rarity = _rarities({each.name for each in (*vanished, *arrived)} | {*old_listing, *new_listing})
        self._defaults = Counter(plain_value(each.default) for each in arrived if each.default)
        anchors = _anchors(old_listing, new_listing)
        self._old_places = _places(old_listing, anchors)
        self._new_places = _places(new_listing, anchors)

    def rarity(self, word: str) -> float:
        """Return how telling a word is: near 0 if every name has it."""
        return self._rarity.get(word, 1.0)

    def telling_default(self, default: str) -> float:
        """Return 0 to 1: how little chance there is that two settings have this default by accident."""
        count, all_ = self._defaults[plain_value(default)], self._defaults.total()
        return min(-math.log2(count / all_) / _TELLING_BITS, 1.0) if count else 0.0

    def neighbours(self, old: str, new: str) -> float:
        """Return 1 if both stand between the same two neighbours, 0.5 if beside one of them, else 0."""
        mine, theirs = self._old_places.get(old), self._new_places.get(new)
        if mine is None or theirs is None:
            return 0.0
        return sum(one == other for one, other in zip(mine, theirs, strict=True)) / len(mine)


def plain_value(text: str | None) -> str:
    """Return a value without quotes, with numbers and on/off in one spelling."""
    plain = (text or "").strip().strip("'\"").lower()
    number = number_of(plain)
    return _FLAGS.get(plain, plain) if number is None else repr(number)


def _rarities(names: Iterable[str]) -> dict[str, float]:
    per_name = [frozenset(words_of(name)) for name in names]
    counts = Counter(word for words in per_name for word in words)
    scale = math.log1p(len(per_name)) or 1.0
    return {word: 0.1 + math.log((1 + len(per_name)) / count) / scale for word, count in counts.items()}


def _anchors(old_listing: Sequence[str], new_listing: Sequence[str]) -> frozenset[str]:
    """Return the names, squashed, that stand exactly once in either listing."""
    return frozenset(_once(old_listing) & _once(new_listing))


def _once(listing: Sequence[str]) -> set[str]:
    return {name for name, count in Counter(map(squashed, listing)).items() if count == 1}


def _places(listing: Sequence[str], anchors: frozenset[str]) -> Mapping[str, Place]:
    plain = [squashed(name) for name in listing]
    before = _nearest(plain, anchors)
    after = list(reversed(_nearest(plain[::-1], anchors)))
    return {
        name: (before[index], after[index])
        for index, name in enumerate(listing)
        if before[index] is not None or after[index] is not None
    }


def _nearest(plain: Sequence[str], anchors: frozenset[str]) -> list[str | None]:
    """Return for each place the last anchor before it."""
    found: list[str | None] = []
    last: str | None = None
    for name in plain:
        found.append(last)
        last = name if name in anchors else last
    return found
