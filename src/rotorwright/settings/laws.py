"""The laws by which a value of the old release becomes a value of the new one, in exact arithmetic.

A law says what becomes of a number. `convert` applies it to a value and says in words whatever is not exact: nothing is
rounded, cut or guessed in silence.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.settings.values import FLOAT32_MAX, SettingType, Value, ValueNotInTypeError, nearest_float32

if TYPE_CHECKING:
    from collections.abc import Mapping

_RATIONAL = re.compile(r"(-?[0-9]{1,30})(?:/([0-9]{1,30})|\.([0-9]{1,30}))?\Z")

_NEGATIVE_ZERO = Value(SettingType.FLOAT, 0x80000000)


def parse_rational(text: str) -> Fraction | None:
    """Return the exact number that `text` stands for (`10`, `-0.01`, `1/60`), or nothing if it is none."""
    match = _RATIONAL.match(text)
    return Fraction(text) if match and (match[2] is None or int(match[2])) else None


@dataclass(frozen=True, slots=True)
class Linear:
    """new = factor x old + offset."""

    factor: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)

    def exact(self, old: Fraction) -> Fraction | None:
        """Return the new number."""
        return self.factor * old + self.offset

    def inverse(self) -> Linear:
        """Return the law of the way back."""
        return Linear(1 / self.factor, -self.offset / self.factor)


@dataclass(frozen=True, slots=True)
class Reciprocal:
    """new = numerator / old, as between a frequency and a period."""

    numerator: Fraction

    def exact(self, old: Fraction) -> Fraction | None:
        """Return the new number; nothing for zero."""
        return self.numerator / old if old else None

    def inverse(self) -> Reciprocal:
        """Return the law of the way back, which is the same."""
        return self


@dataclass(frozen=True, slots=True)
class Labels:
    """A choice whose numbers were given out anew: old number to new number."""

    numbers: Mapping[int, int]

    @property
    def is_bijective(self) -> bool:
        """Whether no two old numbers become one new number."""
        return len(set(self.numbers.values())) == len(self.numbers)


@dataclass(frozen=True, slots=True)
class BitField:
    """Some bits of the old machine word: the k-th listed bit becomes bit k of the new value."""

    bits: tuple[int, ...]

    def pick(self, word: int) -> int:
        """Return the new value."""
        return sum((word >> bit & 1) << place for place, bit in enumerate(self.bits))

    @property
    def mask(self) -> int:
        """The bits of the old word that this field takes."""
        return sum(1 << bit for bit in set(self.bits))

    @property
    def is_contiguous(self) -> bool:
        """Whether the bits follow each other upwards, so that a join can put them back."""
        return self.bits == tuple(range(self.bits[0], self.bits[0] + len(self.bits)))


Law: TypeAlias = Linear | Reciprocal | Labels | BitField

SAME = Linear()


@dataclass(frozen=True, slots=True)
class Conversion:
    """What became of one value.

    Args:
        value: the new value; nothing where there is no exact one.
        words: what a person should know of it: how far from exact, or why there is none.
        problem: stable word for the kind of trouble (`not-exact`, `no-number`, `no-label`), or nothing.
        below: the nearest value below, where there is no exact one.
        above: the nearest value above, where there is no exact one.
    """

    value: Value | None = None
    words: str = ""
    problem: str = ""
    below: Value | None = None
    above: Value | None = None


def convert(value: Value, law: Law, target: SettingType) -> Conversion:
    """Return what becomes of `value` by `law` in a setting of type `target`.

    A float is rounded to the nearest 32-bit float, and the words say how far that is from the mathematical value. A
    whole-number target takes a result only if it is whole, or if the way back gives the very same float; else there is
    no value, and the two whole neighbours are named.
    """
    if value.type is target and (law is SAME or law == SAME):
        return Conversion(value)
    if isinstance(law, Labels):
        return _relabelled(value, law, target)
    if isinstance(law, BitField):
        return _picked(value, law, target)
    return _scaled(value, law, target)


def convert_exact(exact: Fraction, target: SettingType) -> Conversion:
    """Return the number `exact` as a value of `target`, for numbers that come from several settings."""
    return _to_float(None, SAME, exact) if target.is_float else _to_whole(None, SAME, exact, target)


def show_exact(number: Fraction) -> str:
    """Return a number as text: whole or as a short decimal where it is one, else as a fraction and a decimal."""
    if number.denominator == 1:
        return str(number.numerator) if abs(number) < 10**15 else f"{float(number):.6g}"
    short = f"{float(number):.9g}"
    return short if Fraction(short) == number else f"about {short}"


def _scaled(value: Value, law: Linear | Reciprocal, target: SettingType) -> Conversion:
    old = value.decimal
    if old is None:
        return Conversion(words=f"{value.text} is no number that can be converted", problem="no-number")
    new = law.exact(old)
    if new is None:
        return Conversion(words=f"there is no number for {value.text} here (division by zero)", problem="no-number")
    return _to_float(value, law, new) if target.is_float else _to_whole(value, law, new, target)


def _relabelled(value: Value, law: Labels, target: SettingType) -> Conversion:
    number = law.numbers.get(int(value.number)) if _is_whole(value) else None
    if number is None:
        return Conversion(words=f"no choice of the new release answers to {value.text}", problem="no-label")
    return _in_type(number, target)


def _picked(value: Value, law: BitField, target: SettingType) -> Conversion:
    if value.type.is_float:
        return Conversion(words=f"{value.text} is a float, and has no bits to part", problem="no-number")
    return _in_type(law.pick(value.bits), target)


def _in_type(number: int, target: SettingType) -> Conversion:
    try:
        return Conversion(Value.of(target, number))
    except ValueNotInTypeError as error:
        return Conversion(words=f"{number} has no place there: {error.why}", problem="not-exact")


def _to_float(value: Value | None, law: Linear | Reciprocal, new: Fraction) -> Conversion:
    try:
        nearest = nearest_float32(new)
    except ValueNotInTypeError:
        limit = Value.of(SettingType.FLOAT, FLOAT32_MAX if new > 0 else -FLOAT32_MAX)
        below, above = (limit, None) if new > 0 else (None, limit)
        return Conversion(
            words=f"the exact result, {show_exact(new)}, is beyond any 32-bit float",
            problem="not-exact",
            below=below,
            above=above,
        )
    if value == _NEGATIVE_ZERO and isinstance(law, Linear) and new == 0:
        return Conversion(value if law.factor > 0 else nearest)  # the sign of a zero is part of its machine form
    difference = abs(Fraction(nearest.number) - new)
    words = f"the nearest 32-bit float is {nearest.text}, {float(difference):.2g} away from the exact result"
    return Conversion(nearest, words=words if difference else "")


def _to_whole(value: Value | None, law: Linear | Reciprocal, new: Fraction, target: SettingType) -> Conversion:
    nearest = round(new)
    if new != nearest and not _comes_back(value, law, nearest):
        return _neighbours(new, target)
    if not target.lowest <= nearest <= target.highest:
        return _neighbours(new, target)
    words = f"the exact result {show_exact(new)} is not whole, but {nearest} gives the very same float on the way back"
    return Conversion(Value.of(target, nearest), words=words if new != nearest else "")


def _comes_back(value: Value | None, law: Linear | Reciprocal, whole: int) -> bool:
    if value is None or not value.type.is_float:
        return False
    back = law.inverse().exact(Fraction(whole))
    try:
        return back is not None and nearest_float32(back) == value
    except ValueNotInTypeError:
        return False


def _neighbours(new: Fraction, target: SettingType) -> Conversion:
    lowest, highest = int(target.lowest), int(target.highest)
    low, high = math.floor(new), math.ceil(new)
    below = Value.of(target, min(low, highest)) if low >= lowest else None
    above = Value.of(target, max(high, lowest)) if high <= highest else None
    outside = "beyond what the new setting holds" if below is None or above is None else "not a whole number"
    words = f"the exact result, {show_exact(new)}, is {outside}"
    return Conversion(words=words, problem="not-exact", below=below, above=above)


def _is_whole(value: Value) -> bool:
    return math.isfinite(value.number) and value.number == int(value.number)
