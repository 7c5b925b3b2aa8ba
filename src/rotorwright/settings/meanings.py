"""Whether a number still means the same, as far as two catalogues tell: units, labels of choices, labels of bits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.settings.decisions import Rule
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from rotorwright.settings.catalogue import Choice, Setting


@dataclass(frozen=True, slots=True)
class MeaningChange:
    """The same number would say something else in the new release.

    Args:
        rule: which kind of change.
        words: what changed, for a person.
        followed: the value that says the same as before, if the labels tell.
    """

    rule: Rule
    words: str
    followed: Value | None = None


def meaning_change(old: Setting | None, new: Setting | None, value: Value) -> MeaningChange | None:
    """Return how the meaning of `value` changed though its name and number did not; nothing if it did not.

    An empty unit or label says nothing, so it is never taken for a change.
    """
    if old is None or new is None:
        return None
    if old.unit and new.unit and old.unit != new.unit:
        return MeaningChange(Rule.UNIT_CHANGED, f"it counted in {old.unit} and now counts in {new.unit}")
    if old.choices and new.choices and old.choices != new.choices:
        return _choice_change(old, new, value)
    if old.bits and new.bits and old.bits != new.bits and value.type.is_whole:
        return _bit_change(old, new, value)
    return None


def _choice_change(old: Setting, new: Setting, value: Value) -> MeaningChange | None:
    wanted, now = old.label(value.number), new.label(value.number)
    if not wanted or (now is not None and _alike(now, wanted)):
        return None
    number = _number_of(wanted, new.choices)
    if number is None and now is None:
        return None  # the number is no choice any more; that it is not allowed says enough
    words = f"{value.text} was {wanted!r} and is now {now!r}" if now is not None else f"{value.text} was {wanted!r}"
    if number is None:
        return MeaningChange(Rule.LABEL_MOVED, words)
    return MeaningChange(Rule.LABEL_MOVED, f"{words}; {wanted!r} is now {number}", _in_type(new, number))


def _bit_change(old: Setting, new: Setting, value: Value) -> MeaningChange | None:
    before, after = _by_number(old.bits), _by_number(new.bits)
    moved: list[str] = []
    word: int | None = 0
    for bit, label in before.items():
        if not value.bits >> bit & 1:
            continue
        now = after.get(bit)
        if label and now and not _alike(label, now):
            moved.append(f"bit {bit} was {label!r} and is now {now!r}")
        number = _number_of(label, new.bits)
        word = None if word is None or number is None else word | 1 << number
    if not moved:
        return None
    fits = word is not None and word < 1 << (8 * new.type.size_bytes) and not value.bits & ~old.known_bits
    return MeaningChange(
        Rule.LABEL_MOVED, ", ".join(moved), Value(new.type, word) if fits and word is not None else None
    )


def _number_of(label: str, choices: tuple[Choice, ...]) -> int | None:
    found = [each.number for each in choices if _alike(each.label, label)]
    return found[0] if len(found) == 1 else None


def _by_number(choices: tuple[Choice, ...]) -> dict[int, str]:
    return {each.number: each.label for each in choices}


def _alike(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _in_type(new: Setting, number: int) -> Value | None:
    return Value.of(new.type, number) if new.type.lowest <= number <= new.type.highest else None
