"""Names of settings, taken apart into words, and how far two words may be the same word."""

from __future__ import annotations

import re
from functools import lru_cache

_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+|[^\W\d_]+")
_SHORTEST_START = 3  # letters; shorter starts fit too many words
_ALIKE = 0.8  # from here on two spellings of one word; lower ones are other words more often than not
_LONGEST_PLURAL_KEPT = 3  # letters; "gps" and "bus" are no plurals

# Words that tell settings of one family apart. If two names differ in them, they are siblings, not successors.
# Plain English and geometry.
_RIVALS = (
    ("min", "max"),
    ("minimum", "maximum"),
    ("low", "high"),
    ("lower", "upper"),
    ("first", "last"),
    ("start", "stop"),
    ("in", "out"),
    ("read", "write"),
    ("left", "right"),
    ("front", "rear"),
    ("up", "down"),
    ("on", "off"),
    ("x", "y", "z"),
    ("roll", "pitch", "yaw"),
)
_FAMILY = {word: (family, word) for family, words in enumerate(_RIVALS) for word in words}


@lru_cache(maxsize=65536)
def words_of(name: str) -> tuple[str, ...]:
    """Return the words of `name` in lower case and singular; numbers are words of their own."""
    return tuple(_singular(found.lower()) for found in _WORD.findall(name))


@lru_cache(maxsize=65536)
def squashed(name: str) -> str:
    """Return the name in lower case without its separators."""
    return re.sub(r"[\W_]+", "", name).lower()


@lru_cache(maxsize=262144)
def sameness(one: str, other: str) -> float:
    """Return 0 to 1: how far two words may be the same, spelled out, shortened or misspelled."""
    if one == other:
        return 1.0
    if one.isdigit() or other.isdigit():
        return 0.0
    if is_short_for(one, other) or is_short_for(other, one):
        return 0.8
    return _spelling(one, other)


def is_short_for(short: str, long: str) -> bool:
    """Answer whether `short` starts `long`, or keeps its first letter and some later ones without a vowel."""
    if not _SHORTEST_START <= len(short) < len(long):
        return False
    if long.startswith(short):
        return True
    return short[0] == long[0] and not set(short[1:]) & set("aeiou") and _is_within(short, long)


def told_apart(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Answer whether the words mark siblings: other numbers, another axis, the opposite end."""
    return _numbers_clash(one, other) or _rivals_clash(set(one), set(other))


def _singular(word: str) -> str:
    if len(word) <= _LONGEST_PLURAL_KEPT or not word.endswith("s") or word.endswith("ss"):
        return word
    return word[:-3] + "y" if word.endswith("ies") else word[:-1]


def _spelling(one: str, other: str) -> float:
    from rapidfuzz.distance import Indel  # noqa: PLC0415 - kept off the start-up path

    found = Indel.normalized_similarity(one, other, score_cutoff=_ALIKE)
    return found if min(len(one), len(other)) > _SHORTEST_START else 0.0


def _is_within(short: str, long: str) -> bool:
    letters = iter(long)
    return all(letter in letters for letter in short)


def _numbers_clash(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    mine, theirs = ([word for word in words if word.isdigit()] for words in (one, other))
    return bool(mine and theirs) and mine != theirs


def _rivals_clash(one: set[str], other: set[str]) -> bool:
    mine, theirs = ({_FAMILY[word] for word in words if word in _FAMILY} for words in (one - other, other - one))
    return bool({family for family, _ in mine} & {family for family, _ in theirs})
