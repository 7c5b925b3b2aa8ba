"""Fields that several entries of change notes share: names, exact numbers, literals."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar

from rotorwright.settings.laws import parse_rational
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from fractions import Fraction

    from rotorwright.settings.structured import Table

_Choice = TypeVar("_Choice", bound=StrEnum)

_LONGEST_LITERAL = 200


def filled(entry: Table, key: str) -> str:
    """Return the text under `key`, which must not be empty."""
    text = entry.text(key)
    if not text.strip():
        entry.fault(key, "it is empty")
    return text


def choice_of(entry: Table, key: str, choices: type[_Choice], what: str) -> _Choice:
    """Return the one of `choices` under `key`; a fault says that it is no `what`, and which was likely meant."""
    text = entry.text(key)
    try:
        return choices(text)
    except ValueError:
        meant = likely(text, choices)
        hint = f"; perhaps {meant!r} was meant" if meant else ""
        return entry.fault(key, f"{text!r} is no {what}; known are {', '.join(choices)}{hint}", meant=meant)


def different_names(entry: Table, key: str, *, least: int) -> tuple[str, ...]:
    """Return the list of names under `key`: at least so many, none empty, none twice."""
    names = entry.texts(key)
    if len(names) < least or len(set(names)) != len(names) or any(not name.strip() for name in names):
        words = "two or more different names" if least == 2 else "one or more different names"
        entry.fault(key, f"a list of {words} is expected")
    return names


def rational(table: Table, key: str) -> Fraction:
    """Return the exact number that stands in quotes under `key`."""
    if key in table and not isinstance(table.data[key], str):
        table.fault(key, 'an exact number in quotes is expected, like "10", "0.01" or "1/60"')
    text = table.text(key)
    number = parse_rational(text)
    if number is None:
        table.fault(key, f'{text!r} is no exact number like "10", "0.01" or "1/60"')
    return number


def positive(table: Table, key: str) -> Fraction:
    """Return the exact number above zero under `key`."""
    number = rational(table, key)
    if number <= 0:
        table.fault(key, "a number above zero is expected")
    return number


def nonzero(table: Table, key: str) -> Fraction:
    """Return the exact number other than zero under `key`."""
    number = rational(table, key)
    if number == 0:
        table.fault(key, "zero would make every value the same")
    return number


def literal(table: Table, key: str, value: object) -> str:
    """Return a value written in the notes as its text: a whole number as it is, anything else in quotes."""
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value)
    if not isinstance(value, str):
        table.fault(key, 'a whole number, or a number or text in quotes like "0.5" or "slow", is expected')
    if len(value) > _LONGEST_LITERAL:
        table.fault(key, f"no value of a setting has {len(value)} characters")
    return value
