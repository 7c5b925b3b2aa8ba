"""Conditions of change notes: comparisons of a setting as found with a value, combined with all, any and not.

A condition is data, never code. It is true, false or not to be told: a setting that was not found makes a comparison
that cannot be told, and so does whatever hangs on it alone (Kleene's three values).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.settings.laws import SAME, Law, convert_freely, parse_rational
from rotorwright.settings.note_fields import filled, literal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from rotorwright.settings.laws import Carrier
    from rotorwright.settings.structured import Table
    from rotorwright.settings.values import Value

_DEEPEST = 8
_MOST_PARTS = 32


class Sign(StrEnum):
    """How a setting is compared."""

    IS = "is"
    IS_NOT = "is_not"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    ONE_OF = "one_of"


@dataclass(frozen=True, slots=True)
class Comparison:
    """A setting as found compared with a value.

    Args:
        setting: name in the old release.
        test: how it is compared.
        values: as written: one, or for `one_of` several.
        law: what becomes of the value before it is compared; only composed notes have one.
    """

    setting: str
    test: Sign
    values: tuple[str, ...]
    law: Law = SAME


@dataclass(frozen=True, slots=True)
class All:
    """Every part must hold."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Any:
    """At least one part must hold."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """The part must not hold."""

    part: Condition


Condition: TypeAlias = Comparison | All | Any | Not


def read_condition(entry: Table, key: str = "when") -> Condition | None:
    """Return the condition under `key`, or nothing where there is none.

    Raises:
        DataFaultError: it is no condition; the words name the place.
    """
    return _read(entry.table(key), 1) if key in entry else None


def holds(condition: Condition, found: Callable[[str], Value | None]) -> bool | None:
    """Return whether a condition holds for the settings that `found` looks up; nothing where that cannot be told."""
    match condition:
        case Comparison():
            return _compare(condition, found(condition.setting))
        case Not():
            inner = holds(condition.part, found)
            return None if inner is None else not inner
        case All():
            verdicts = [holds(part, found) for part in condition.parts]
            return False if False in verdicts else None if None in verdicts else True
        case Any():
            verdicts = [holds(part, found) for part in condition.parts]
            return True if True in verdicts else None if None in verdicts else False


def settings_in(condition: Condition) -> tuple[str, ...]:
    """Return the names that a condition speaks of, each once, in order."""
    return tuple(dict.fromkeys(each.setting for each in comparisons(condition)))


def comparisons(condition: Condition) -> Iterator[Comparison]:
    """Yield the comparisons in a condition."""
    if isinstance(condition, Comparison):
        yield condition
        return
    for part in (condition.part,) if isinstance(condition, Not) else condition.parts:
        yield from comparisons(part)


def words_of(condition: Condition) -> str:
    """Return a condition in words."""
    match condition:
        case Comparison():
            return _comparison_words(condition)
        case Not():
            return f"not ({words_of(condition.part)})"
        case All():
            return " and ".join(_grouped(part) for part in condition.parts)
        case Any():
            return " or ".join(_grouped(part) for part in condition.parts)


def exclude_each_other(one: Condition | None, other: Condition | None) -> bool | None:
    """Return whether two conditions can never hold together; nothing where that cannot be decided here.

    Decided is what follows from comparisons of one and the same setting: disjoint values and ranges, and a condition
    beside its own opposite.
    """
    if one is None or other is None:
        return False
    if Not(one) == other or Not(other) == one:
        return True
    if isinstance(one, Comparison) and isinstance(other, Comparison):
        return _comparisons_exclude(one, other)
    return _combined_exclude(one, other)


def can_hold(condition: Condition) -> bool | None:
    """Return false where a condition can never hold; true for a single comparison; nothing where it is not decided."""
    if isinstance(condition, Comparison):
        return True
    if isinstance(condition, All):
        parts = condition.parts
        pairs = ((a, b) for place, a in enumerate(parts) for b in parts[place + 1 :])
        return False if any(exclude_each_other(a, b) for a, b in pairs) else None
    return None


def both(one: Condition | None, other: Condition | None) -> Condition | None:
    """Return the condition that both hold; nothing for always."""
    if one is None or other is None:
        return one or other
    parts = (*(one.parts if isinstance(one, All) else (one,)), *(other.parts if isinstance(other, All) else (other,)))
    return All(tuple(dict.fromkeys(parts)))


def none_of(conditions: tuple[Condition, ...]) -> Condition:
    """Return the condition that none of these holds."""
    return Not(conditions[0] if len(conditions) == 1 else Any(conditions))


def with_comparisons(condition: Condition, change: Mapping[Comparison, Comparison]) -> Condition:
    """Return a condition with comparisons exchanged for others."""
    match condition:
        case Comparison():
            return change.get(condition, condition)
        case Not():
            return Not(with_comparisons(condition.part, change))
        case _:
            return replace(condition, parts=tuple(with_comparisons(part, change) for part in condition.parts))


def _read(table: Table, depth: int) -> Condition:
    if depth > _DEEPEST:
        table.fault("when", f"conditions are nested up to {_DEEPEST} deep")
    if "setting" in table:
        return _read_comparison(table)
    table.only("all", "any", "not")
    if len(table.data) != 1:
        table.fault("all", "one of 'setting', 'all', 'any' and 'not' is expected")
    if "not" in table:
        return Not(_read(table.table("not"), depth + 1))
    key = "all" if "all" in table else "any"
    parts = tuple(_read(each, depth + 1) for each in table.tables(key))
    if not 1 <= len(parts) <= _MOST_PARTS:
        table.fault(key, f"1 to {_MOST_PARTS} conditions are expected")
    return All(parts) if key == "all" else Any(parts)


def _read_comparison(table: Table) -> Comparison:
    table.only("setting", *Sign)
    tests = [test for test in Sign if test in table]
    if len(tests) != 1:
        table.fault("setting", f"one comparison is expected beside it: {', '.join(Sign)}")
    (test,) = tests
    return Comparison(filled(table, "setting"), test, _literals(table, test))


def _literals(table: Table, test: Sign) -> tuple[str, ...]:
    data = table.data[test]
    if test is Sign.ONE_OF:
        if not isinstance(data, list) or not data:
            table.fault(test, "a list of one or more values is expected")
        return tuple(literal(table, test, each) for each in data)
    text = literal(table, test, data)
    if test in {Sign.AT_LEAST, Sign.AT_MOST} and parse_rational(text) is None:
        table.fault(test, f"{text!r} is no number to compare with")
    return (text,)


def _compare(comparison: Comparison, value: Value | None) -> bool | None:
    carrier = None if value is None else convert_freely(value, comparison.law)
    if carrier is None:
        return None
    match comparison.test:
        case Sign.AT_LEAST | Sign.AT_MOST:
            return _in_order(comparison, carrier)
        case Sign.IS_NOT:
            return not _is(carrier, comparison.values[0])
        case _:
            return any(_is(carrier, each) for each in comparison.values)


def _in_order(comparison: Comparison, carrier: Carrier) -> bool | None:
    limit = parse_rational(comparison.values[0])
    number = _number(carrier)
    if number is None or limit is None:
        return None
    return number >= limit if comparison.test is Sign.AT_LEAST else number <= limit


def _number(carrier: Carrier) -> Fraction | float | None:
    if isinstance(carrier, Fraction):
        return carrier
    if isinstance(carrier, str):
        return parse_rational(carrier)
    if carrier.decimal is not None:
        return carrier.decimal
    return None if math.isnan(carrier.number) else carrier.number


def _is(carrier: Carrier, text: str) -> bool:
    if isinstance(carrier, str):
        return carrier == text
    number = carrier if isinstance(carrier, Fraction) else carrier.decimal
    if number is not None:
        return parse_rational(text) == number
    return not isinstance(carrier, Fraction) and carrier.text == text


def _comparison_words(comparison: Comparison) -> str:
    values = comparison.values
    told = {
        Sign.IS: f"is {values[0]}",
        Sign.IS_NOT: f"is not {values[0]}",
        Sign.AT_LEAST: f"is at least {values[0]}",
        Sign.AT_MOST: f"is at most {values[0]}",
        Sign.ONE_OF: f"is one of {', '.join(values)}",
    }
    converted = "" if comparison.law == SAME else " (as the release between counted it)"
    return f"{comparison.setting}{converted} {told[comparison.test]}"


def _grouped(condition: Condition) -> str:
    words = words_of(condition)
    return f"({words})" if isinstance(condition, All | Any) else words


def _comparisons_exclude(one: Comparison, other: Comparison) -> bool | None:
    if one.setting != other.setting or one.law != other.law:
        return None
    for first, second in ((one, other), (other, one)):
        if first.test in {Sign.IS, Sign.ONE_OF}:
            return not any(_literal_passes(second, each) for each in first.values)
    if {one.test, other.test} == {Sign.AT_LEAST, Sign.AT_MOST}:
        low, high = (one, other) if one.test is Sign.AT_LEAST else (other, one)
        lowest, highest = parse_rational(low.values[0]), parse_rational(high.values[0])
        return lowest is not None and highest is not None and lowest > highest
    return False


def _literal_passes(comparison: Comparison, text: str) -> bool:
    number = parse_rational(text)
    carrier: Carrier = text if number is None else number
    if comparison.test in {Sign.AT_LEAST, Sign.AT_MOST}:
        return bool(_in_order(comparison, carrier))
    same = any(_is(carrier, each) for each in comparison.values)
    return not same if comparison.test is Sign.IS_NOT else same


def _combined_exclude(one: Condition, other: Condition) -> bool | None:
    for first, second in ((one, other), (other, one)):
        if isinstance(first, All) and any(exclude_each_other(part, second) for part in first.parts):
            return True
        if isinstance(first, Any):
            verdicts = [exclude_each_other(part, second) for part in first.parts]
            return True if all(verdicts) else None if None in verdicts else False
    return None
