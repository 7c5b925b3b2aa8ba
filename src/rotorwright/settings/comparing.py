"""Two sets of settings side by side, also where one of them only has the texts of a listing.

Typed values are compared bit by bit, texts sign by sign. A text beside a typed value is read in that type; where it is
no such number, as an exact number (on and off are 1 and 0); where it is none at all, the two cannot be compared, and
that is said.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.listing import OFF, ON
from rotorwright.settings.values import Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.values import SettingType

_NUMBER = re.compile(r"[-+]?([0-9]{1,40}(\.[0-9]{0,40})?|\.[0-9]{1,40})([eE][-+]?[0-9]{1,2})?\Z")
_FLAG_NUMBERS = {ON: 1, OFF: 0}


class Likeness(StrEnum):
    """How two values stand to each other."""

    EQUAL = "equal"
    DIFFERENT = "different"
    ONLY_BEFORE = "only before"
    ONLY_AFTER = "only after"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, slots=True)
class Comparison:
    """One name in both sets; `words` say why two values cannot be compared."""

    name: str
    likeness: Likeness
    before: Value | None
    after: Value | None
    words: str = ""


def compare_settings(before: Mapping[str, Value], after: Mapping[str, Value]) -> tuple[Comparison, ...]:
    """Return one comparison for each name that occurs, sorted by name."""
    return tuple(_compare(name, before.get(name), after.get(name)) for name in sorted({*before, *after}))


def read_in_types_of(
    settings: Mapping[str, Value], known: Mapping[str, Value], *, flags: frozenset[str] = frozenset()
) -> dict[str, Value]:
    """Return `settings` with each text read in the type that `known` has under its name.

    Only where the text says exactly that value; all others stay texts. On and off of the lines called `flags` become 1
    and 0.
    """
    return {name: _read_as(value, known.get(name), is_flag=name in flags) for name, value in settings.items()}


def _compare(name: str, before: Value | None, after: Value | None) -> Comparison:
    if after is None:
        return Comparison(name, Likeness.ONLY_BEFORE, before, None)
    if before is None:
        return Comparison(name, Likeness.ONLY_AFTER, None, after)
    if before.type.is_text is after.type.is_text:
        return Comparison(name, _alike(before == after), before, after)
    text, typed = (before, after) if before.type.is_text else (after, before)
    alike = _text_says(text.text, typed)
    if alike is None:
        words = f"{text.text!a} is no number, and the other side is a {typed.type}"
        return Comparison(name, Likeness.NOT_COMPARABLE, before, after, words)
    return Comparison(name, _alike(alike), before, after)


def _alike(equal: bool) -> Likeness:  # noqa: FBT001 - the answer of a comparison
    return Likeness.EQUAL if equal else Likeness.DIFFERENT


def _text_says(text: str, typed: Value) -> bool | None:
    """Answer whether a text stands for a typed value; nothing where it stands for no number."""
    parsed = _parsed(typed.type, text)
    if parsed is None and text in _FLAG_NUMBERS:  # what a listing says of a flag; typed settings have 1 and 0 there
        parsed = Value.of(typed.type, _FLAG_NUMBERS[text])
    if parsed is not None:
        return parsed == typed
    number = _exact(text)
    return None if number is None else number == typed.decimal


def _read_as(value: Value, known: Value | None, *, is_flag: bool) -> Value:
    if known is None or not value.type.is_text or known.type.is_text:
        return value
    if is_flag:
        return Value.of(known.type, _FLAG_NUMBERS[value.text])
    parsed = _parsed(known.type, value.text)
    if parsed is None or (parsed.decimal is not None and parsed.decimal != _exact(value.text)):
        return value
    return parsed


def _parsed(type_: SettingType, text: str) -> Value | None:
    try:
        return Value.parse(type_, text)
    except ValueNotInTypeError:
        return None


def _exact(text: str) -> Fraction | None:
    return Fraction(text) if _NUMBER.match(text) else None
