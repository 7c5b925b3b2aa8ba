"""What speaks for and against one setting being the successor of another: numbers to weigh, and words for a person."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING

from rotorwright.settings.successors.description import Kind, number_of
from rotorwright.settings.successors.release_change import plain_value
from rotorwright.settings.successors.units import factor
from rotorwright.settings.successors.words import sameness, squashed, told_apart, words_of

if TYPE_CHECKING:
    from rotorwright.settings.successors.description import SettingDescription
    from rotorwright.settings.successors.release_change import ReleaseChange

Replacement = tuple[tuple[str, ...], tuple[str, ...]]

_NEAR_KINDS = ({Kind.WHOLE, Kind.REAL}, {Kind.FLAG, Kind.CHOICE}, {Kind.CHOICE, Kind.WHOLE}, {Kind.TEXT, Kind.CHOICE})
_CLOSE = 1e-6  # relative; units are converted in floating point


@dataclass(frozen=True, slots=True)
class Traits:
    """One pair, trait by trait: 0 is no evidence, 1 is full; `*_clash` and `told_apart` speak against the pair.

    `allowed_same` runs from -1 (ranges or labels without overlap, or the customised value would not fit) to 1 (equal).
    """

    same_words: float = 0.0
    contained: float = 0.0
    spelling: float = 0.0
    last_word: float = 0.0
    told_apart: float = 0.0
    kind_same: float = 0.0
    kind_clash: float = 0.0
    unit_same: float = 0.0
    unit_clash: float = 0.0
    allowed_same: float = 0.0
    default_same: float = 0.0
    default_clash: float = 0.0
    group_same: float = 0.0
    neighbours: float = 0.0
    systematic: float = 0.0

    @property
    def numbers(self) -> tuple[float, ...]:
        """All traits in the order of their names."""
        found: tuple[float, ...] = _NUMBERS(self)
        return found


TRAIT_NAMES = tuple(Traits.__dataclass_fields__)
_NUMBERS = attrgetter(
    *TRAIT_NAMES
)  # asked for tens of thousands of pairs; astuple copies deeply and takes most of the time
SPEAKS_AGAINST = frozenset({"told_apart", "kind_clash", "unit_clash", "default_clash"})


def traits_of(old: SettingDescription, new: SettingDescription, change: ReleaseChange, systematic: float) -> Traits:
    """Return the traits of a pair; `systematic` is how often the same words were replaced in other pairs, 0 to 1."""
    mine, theirs = words_of(old.name), words_of(new.name)
    both, shorter = _words_in_common(mine, theirs, change)
    kind, unit = _kinds(old.kind, new.kind), _units(old.unit, new.unit)
    default_same, default_clash = _defaults(old, new, change)
    return Traits(
        same_words=both,
        contained=shorter,
        spelling=_spelling(old.name, new.name, mine, theirs),
        last_word=float(bool(mine and theirs) and mine[-1] == theirs[-1]),
        told_apart=float(told_apart(mine, theirs)),
        kind_same=max(kind, 0.0),
        kind_clash=max(-kind, 0.0),
        unit_same=max(unit, 0.0),
        unit_clash=max(-unit, 0.0),
        allowed_same=allowed(old, new),
        default_same=default_same,
        default_clash=default_clash,
        group_same=float(bool(old.group) and old.group == new.group),
        neighbours=change.neighbours(old.name, new.name),
        systematic=systematic,
    )


def replacement(old: str, new: str) -> Replacement | None:
    """Return the words that left and the words that came, or nothing if the names share no word or all of them."""
    mine, theirs = words_of(old), words_of(new)
    left, came = _without(mine, theirs), _without(theirs, mine)
    if len(left) == len(mine) or not (left or came):
        return None
    return left, came


def allowed(old: SettingDescription, new: SettingDescription) -> float:
    """Return -1 to 1: how alike the allowed values are; -1 if what the aircraft holds is not among the new ones."""
    if value_is_outside(old, new):
        return -1.0
    if old.choices and new.choices:
        return 2 * _overlap(old.choices, new.choices) - 1
    return _ranges(old, new)


def value_is_outside(old: SettingDescription, new: SettingDescription) -> bool:
    """Answer whether the customised value, taken as it is, has no place in the new range."""
    if old.choices or new.choices or old.unit != new.unit:
        return False  # labels and units may have changed with the name, so the value alone says nothing
    value = number_of(old.value)
    if value is None:
        return False
    return (new.minimum is not None and value < new.minimum) or (new.maximum is not None and value > new.maximum)


def default_agrees(old: SettingDescription, new: SettingDescription) -> bool | None:
    """Answer whether the defaults are equal, the unit's change reckoned in; nothing if one is unknown."""
    if not old.default or not new.default:
        return None
    if plain_value(old.default) == plain_value(new.default):
        return True
    ratio, mine, theirs = factor(old.unit, new.unit), number_of(old.default), number_of(new.default)
    if ratio is None or mine is None or theirs is None:
        return False
    return abs(mine * ratio - theirs) <= _CLOSE * abs(theirs)


def _without(words: tuple[str, ...], others: tuple[str, ...]) -> tuple[str, ...]:
    """Return the words, sorted, less those of the others, each as often as it is there."""
    rest = list(others)
    found = []
    for word in words:
        if word in rest:
            rest.remove(word)
        else:
            found.append(word)
    return tuple(sorted(found))


def _words_in_common(mine: tuple[str, ...], theirs: tuple[str, ...], change: ReleaseChange) -> tuple[float, float]:
    """Return the share of telling words in common, of both names and of the one with less to tell."""
    weights = [sum(map(change.rarity, words)) for words in (mine, theirs)]
    if not all(weights):
        return 0.0, 0.0
    shared = [_explained(one, other, change) for one, other in ((mine, theirs), (theirs, mine))]
    shares = [part / whole for part, whole in zip(shared, weights, strict=True)]
    return sum(shared) / sum(weights), max(shares)


def _explained(words: tuple[str, ...], by: tuple[str, ...], change: ReleaseChange) -> float:
    there = set(by)
    return sum(
        change.rarity(word) * (1.0 if word in there else max(sameness(word, each) for each in by)) for word in words
    )


def _spelling(old: str, new: str, mine: tuple[str, ...], theirs: tuple[str, ...]) -> float:
    from rapidfuzz.distance import Indel  # noqa: PLC0415 - kept off the start-up path

    as_written = Indel.normalized_similarity(squashed(old), squashed(new))
    if len(mine) == len(theirs) == 1:
        return as_written
    in_order = Indel.normalized_similarity("".join(sorted(mine)), "".join(sorted(theirs)))
    return max(as_written, in_order)


def _kinds(old: Kind, new: Kind) -> float:
    if Kind.UNKNOWN in {old, new}:
        return 0.0
    if old is new:
        return 1.0
    return 0.0 if {old, new} in _NEAR_KINDS else -1.0


def _units(old: str, new: str) -> float:
    """Both without a unit says nothing: most settings have none, or their listing does not tell."""
    if not old or not new:
        return -0.3 if old or new else 0.0
    if old == new:
        return 1.0
    return -1.0 if factor(old, new) is None else 0.7


def _ranges(old: SettingDescription, new: SettingDescription) -> float:
    bounds = (old.minimum, old.maximum, new.minimum, new.maximum)
    ratio = factor(old.unit, new.unit)
    if None in bounds or ratio is None:
        return 0.0
    low, high, new_low, new_high = (each or 0.0 for each in bounds)
    low, high = low * ratio, high * ratio
    union = max(high, new_high) - min(low, new_low)
    if union == 0:
        return 1.0
    return 2 * max(min(high, new_high) - max(low, new_low), 0.0) / union - 1


def _overlap(mine: tuple[str, ...], theirs: tuple[str, ...]) -> float:
    one, other = ({label.strip().lower() for label in labels} for labels in (mine, theirs))
    return len(one & other) / len(one | other)


def _defaults(old: SettingDescription, new: SettingDescription, change: ReleaseChange) -> tuple[float, float]:
    agrees = default_agrees(old, new)
    if agrees is None:
        return 0.0, 0.0
    return (change.telling_default(new.default or ""), 0.0) if agrees else (0.0, 1.0)
