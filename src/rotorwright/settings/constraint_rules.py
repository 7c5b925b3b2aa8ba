"""Constraints between settings of one release: what has to hold of several values together, and what does not.

Four forms, as data and nothing else: an order, a sum, *needs* and *excludes*. A constraint speaks only where all its
settings are there. Numbers are compared as a person sees them: a 32-bit float is its shortest decimal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from rotorwright.settings.values import Value

Number: TypeAlias = "Fraction | float"
"""A finite number exactly, or an infinity."""


def number_of(value: Value) -> Number | None:
    """Return the number that a person sees; nothing for a text and for what is no number."""
    exact = value.decimal
    if exact is not None:
        return exact
    return value.number if math.isinf(value.number) else None


def number_words(number: Number) -> str:
    """Return a number as a person writes it: `4.2`, `100`, `1/3`."""
    if not isinstance(number, Fraction) or number.denominator == 1:
        return str(number)
    decimal = repr(float(number))
    return decimal if Fraction(decimal) == number else str(number)


@dataclass(frozen=True, slots=True)
class Term:
    """A saying about one setting, true or false of its value.

    Exactly one of the sayings is given.

    Args:
        name: of the setting.
        among: it is one of these numbers or texts.
        not_among: it is none of these.
        at_least: lowest number for which the saying is true.
        at_most: highest number for which it is true.
        bit: number of the bit that is set.
    """

    name: str
    among: tuple[Fraction | str, ...] = ()
    not_among: tuple[Fraction | str, ...] = ()
    at_least: Fraction | None = None
    at_most: Fraction | None = None
    bit: int | None = None

    def is_true(self, value: Value) -> bool:
        """Answer whether it holds of this value. Of what is no number only `not_among` holds."""
        if self.bit is not None:
            return value.type.is_whole and bool(value.bits >> self.bit & 1)
        said: Number | str | None = value.text if value.type.is_text else number_of(value)
        if self.among:
            return said in self.among
        if self.not_among:
            return said not in self.not_among
        if said is None or isinstance(said, str):
            return False
        return said >= self.at_least if self.at_least is not None else said <= (self.at_most or 0)

    @property
    def words(self) -> str:
        """The saying without the name, e.g. `is 1 or 3`."""
        if self.bit is not None:
            return f"has bit {self.bit} set"
        if self.among or self.not_among:
            shown = [each if isinstance(each, str) else number_words(each) for each in self.among or self.not_among]
            return f"is {'' if self.among else 'not '}{' or '.join(shown)}"
        if self.at_least is not None:
            return f"is at least {number_words(self.at_least)}"
        return f"is at most {number_words(self.at_most or Fraction(0))}"

    @property
    def wish(self) -> str:
        """The saying as something that has to be, e.g. `has to be 1 or 3`."""
        if self.bit is not None:
            return f"has to have bit {self.bit} set"
        return self.words.replace("is not ", "must not be ", 1).replace("is ", "has to be ", 1)


@dataclass(frozen=True, slots=True)
class Order:
    """One setting lies below another, or with `or_equal` not above it.

    Args:
        lower: name of the setting that has the lower number.
        upper: name of the one that has the higher number.
        or_equal: whether equal numbers are allowed.
        when: the constraint speaks only where this is true.
        why: why, for a person.
        place: where it stands in its file.
    """

    lower: str
    upper: str
    or_equal: bool = False
    when: Term | None = None
    why: str = ""
    place: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The settings whose values it binds, without those that only say when."""
        return (self.lower, self.upper)

    @property
    def words(self) -> str:
        """What has to hold."""
        how = "must not be above" if self.or_equal else "has to be below"
        return f"{self.lower} {how} {self.upper}{_when_words(self.when)}"

    def holds(self, settings: Mapping[str, Value]) -> bool:
        """Answer whether it holds; what is no number has no order."""
        low, high = number_of(settings[self.lower]), number_of(settings[self.upper])
        if low is None or high is None:
            return False
        return low <= high if self.or_equal else low < high


@dataclass(frozen=True, slots=True)
class Sum:
    """Several settings together do not exceed a limit, a number or another setting."""

    of: tuple[str, ...]
    at_most: Fraction | str
    when: Term | None = None
    why: str = ""
    place: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The settings whose values it binds."""
        return (*self.of, self.at_most) if isinstance(self.at_most, str) else self.of

    @property
    def words(self) -> str:
        """What has to hold."""
        limit = self.at_most if isinstance(self.at_most, str) else number_words(self.at_most)
        return f"{' + '.join(self.of)} must not be above {limit}{_when_words(self.when)}"

    def excess(self, settings: Mapping[str, Value]) -> Number | None:
        """Return by how much the sum is above the limit, negative if below; nothing if one of them is no number."""
        numbers = [number_of(settings[name]) for name in self.of]
        limit = number_of(settings[self.at_most]) if isinstance(self.at_most, str) else self.at_most
        known = [number for number in numbers if number is not None]
        if limit is None or len(known) < len(numbers):
            return None
        if all(isinstance(number, Fraction) for number in (*known, limit)):
            return sum(known, Fraction(0)) - limit
        difference = sum(float(number) for number in known) - float(limit)
        return None if math.isnan(difference) else difference

    def holds(self, settings: Mapping[str, Value]) -> bool:
        """Answer whether it holds."""
        excess = self.excess(settings)
        return excess is not None and excess <= 0


@dataclass(frozen=True, slots=True)
class Needs:
    """Where one saying is true, another one has to be."""

    if_: Term
    then: Term
    why: str = ""
    place: str = ""
    when: None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The settings whose values it binds."""
        return (self.if_.name, self.then.name)

    @property
    def words(self) -> str:
        """What has to hold."""
        return f"{self.then.name} {self.then.wish} when {self.if_.name} {self.if_.words}"

    def holds(self, settings: Mapping[str, Value]) -> bool:
        """Answer whether it holds."""
        return not self.if_.is_true(settings[self.if_.name]) or self.then.is_true(settings[self.then.name])


@dataclass(frozen=True, slots=True)
class Excludes:
    """Two sayings are never true together."""

    one: Term
    other: Term
    why: str = ""
    place: str = ""
    when: None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The settings whose values it binds."""
        return (self.one.name, self.other.name)

    @property
    def words(self) -> str:
        """What has to hold."""
        return f"{self.one.name} {self.one.words} excludes that {self.other.name} {self.other.words}"

    def holds(self, settings: Mapping[str, Value]) -> bool:
        """Answer whether it holds."""
        return not (self.one.is_true(settings[self.one.name]) and self.other.is_true(settings[self.other.name]))


Constraint: TypeAlias = Order | Sum | Needs | Excludes


def all_names(constraint: Constraint) -> tuple[str, ...]:
    """Return every name that a constraint looks at, those that only say when it speaks included."""
    when = () if constraint.when is None else (constraint.when.name,)
    return tuple(dict.fromkeys((*constraint.names, *when)))


def is_broken(constraint: Constraint, settings: Mapping[str, Value]) -> bool:
    """Answer whether it speaks of these settings and does not hold. Where one of them is not there it is silent."""
    if any(name not in settings for name in all_names(constraint)):
        return False
    if constraint.when is not None and not constraint.when.is_true(settings[constraint.when.name]):
        return False
    return not constraint.holds(settings)


@dataclass(frozen=True, slots=True)
class Broken:
    """A constraint that does not hold.

    Args:
        constraint: which one.
        settings: the settings involved with their values.
        words: what has to hold, what the values are, and why it has to hold, in one sentence or two.
    """

    constraint: Constraint
    settings: tuple[tuple[str, Value], ...]
    words: str


def broken_constraints(
    constraints: Iterable[Constraint],
    settings: Mapping[str, Value],
    *,
    show: Callable[[str, Value], str] | None = None,
) -> tuple[Broken, ...]:
    """Return those that `settings` break, in the order given, with words; `show` writes a value for a person."""
    return tuple(_broken(each, settings, show) for each in constraints if is_broken(each, settings))


def _broken(constraint: Constraint, settings: Mapping[str, Value], show: Callable[[str, Value], str] | None) -> Broken:
    involved = tuple((name, settings[name]) for name in all_names(constraint))
    shown = ", ".join(f"{name} is {value.text if show is None else show(name, value)}" for name, value in involved)
    why = f" {constraint.why.strip().rstrip('.')}." if constraint.why.strip() else ""
    return Broken(constraint, involved, f"{constraint.words}, but {shown}.{why}")


def _when_words(when: Term | None) -> str:
    return "" if when is None else f" when {when.name} {when.words}"
