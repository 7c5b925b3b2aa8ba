"""The laws by which a value of the old release becomes a value of the new one, in exact arithmetic.

A law says what becomes of a number or a text. `convert` applies it to a value and says in words whatever is not exact:
nothing is rounded, cut or guessed in silence.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.settings.values import FLOAT32_MAX, SettingType, Value, ValueNotInTypeError, nearest_float32

if TYPE_CHECKING:
    from collections.abc import Mapping

_RATIONAL = re.compile(r"(-?[0-9]{1,30})(?:/([0-9]{1,30})|\.([0-9]{1,30}))?\Z")

_LARGEST_POWER = 1100  # beyond any value of a setting, and no number grows out of hand

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
class PowerOfTwo:
    """new = 2 to the power of old, for a setting that counted in doublings."""

    def exact(self, old: Fraction) -> Fraction | None:
        """Return the new number; nothing where the old one is not whole, or beyond all measure."""
        whole = old.denominator == 1 and abs(old) <= _LARGEST_POWER
        return Fraction(2) ** int(old) if whole else None

    def inverse(self) -> LogOfTwo:
        """Return the law of the way back."""
        return LogOfTwo()


@dataclass(frozen=True, slots=True)
class LogOfTwo:
    """old = 2 to the power of new, for a setting that counts in doublings from now on."""

    def exact(self, old: Fraction) -> Fraction | None:
        """Return the new number; nothing where the old one is no power of two."""
        powers = {old.numerator.bit_count(), old.denominator.bit_count()} == {1} and old > 0
        return Fraction(old.numerator.bit_length() - old.denominator.bit_length()) if powers else None

    def inverse(self) -> PowerOfTwo:
        """Return the law of the way back."""
        return PowerOfTwo()


@dataclass(frozen=True, slots=True)
class Labels:
    """A choice whose numbers were given out anew: old number to new number."""

    numbers: Mapping[int, int]

    def __hash__(self) -> int:
        return hash(tuple(sorted(self.numbers.items())))

    @property
    def is_bijective(self) -> bool:
        """Whether no two old numbers become one new number."""
        return len(set(self.numbers.values())) == len(self.numbers)

    def exact(self, old: Fraction) -> Fraction | None:
        """Return the new number; nothing where the old one has none."""
        found = self.numbers.get(int(old)) if old.denominator == 1 else None
        return None if found is None else Fraction(found)

    def inverse(self) -> Labels | None:
        """Return the law of the way back, if no two old numbers became one."""
        return Labels({new: old for old, new in self.numbers.items()}) if self.is_bijective else None


@dataclass(frozen=True, slots=True)
class Table:
    """Pairs of an old and a new value, each a number or a text as written; nothing between the pairs is guessed."""

    pairs: Mapping[str, str]
    _by_number: Mapping[Fraction, str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        numbers = {number: new for old, new in self.pairs.items() if (number := parse_rational(old)) is not None}
        object.__setattr__(self, "_by_number", numbers)

    def __hash__(self) -> int:
        return hash(tuple(sorted(self.pairs.items())))

    def find(self, old: Carrier) -> str | None:
        """Return the new value as written; nothing where the old one is in no pair."""
        if isinstance(old, str):
            return self.pairs.get(old)
        number = old if isinstance(old, Fraction) else old.decimal
        if number is not None:
            return self._by_number.get(number)
        return None if isinstance(old, Fraction) else self.pairs.get(old.text)

    def inverse(self) -> Table | None:
        """Return the law of the way back, if no two old values became one."""
        news = [parse_rational(new) if parse_rational(new) is not None else new for new in self.pairs.values()]
        return Table({new: old for old, new in self.pairs.items()}) if len(set(news)) == len(news) else None


@lru_cache(maxsize=1024)
def _run_of(bits: tuple[int, ...]) -> tuple[int, int] | None:
    """Return the lowest bit and the mask of bits that follow each other upwards; nothing if they do not."""
    return (bits[0], (1 << len(bits)) - 1) if bits == tuple(range(bits[0], bits[0] + len(bits))) else None


@dataclass(frozen=True, slots=True)
class BitField:
    """Some bits of the old machine word: the k-th listed bit becomes bit k of the new value."""

    bits: tuple[int, ...]

    def pick(self, word: int) -> int:
        """Return the new value."""
        run = _run_of(self.bits)
        if run is not None:
            return word >> run[0] & run[1]
        return sum((word >> bit & 1) << place for place, bit in enumerate(self.bits))

    @property
    def mask(self) -> int:
        """The bits of the old word that this field takes."""
        return sum(1 << bit for bit in set(self.bits))

    @property
    def is_contiguous(self) -> bool:
        """Whether the bits follow each other upwards, so that a join can put them back."""
        return _run_of(self.bits) is not None


@dataclass(frozen=True, slots=True)
class Chain:
    """Laws one after another, as when an aircraft skips a release.

    Args:
        laws: in order, two or more.
        types: between each two of them, the type of the setting in the release between; nothing where it is not known,
            and then the number goes on exactly, as if there had been no setting.
    """

    laws: tuple[Law, ...]
    types: tuple[SettingType | None, ...]

    def inverse(self) -> Chain | None:
        """Return the law of the way back, if each of the laws has one."""
        back = tuple(inverse_of(law) for law in reversed(self.laws))
        whole = tuple(law for law in back if law is not None)
        return Chain(whole, self.types[::-1]) if len(whole) == len(back) else None


Arithmetic: TypeAlias = Linear | Reciprocal | PowerOfTwo | LogOfTwo
Law: TypeAlias = Linear | Reciprocal | PowerOfTwo | LogOfTwo | Labels | Table | BitField | Chain

Carrier: TypeAlias = Value | Fraction | str
"""What goes from law to law: a value of a known type, or a number or text of which the type is not known."""

SAME = Linear()


def inverse_of(law: Law) -> Law | None:
    """Return the law of the way back, or nothing."""
    return None if isinstance(law, BitField) else law.inverse()


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
    match law:
        case Labels():
            return _relabelled(value, law, target)
        case BitField():
            return _picked(value, law, target)
        case Table():
            return _looked_up(value, law, target)
        case Chain():
            return _chained(value, law, target)
        case _:
            return _scaled(value, law, target)


def convert_freely(carrier: Carrier, law: Law) -> Carrier | None:
    """Return what becomes of a value, number or text by `law` where the type of the result is not known, or nothing.

    Nothing is rounded: the result is the exact number, or a text.
    """
    if law is SAME or law == SAME:
        return carrier
    if isinstance(law, Chain):
        end = _run_chain(carrier, law)
        return None if isinstance(end, Conversion) else convert_freely(end.carrier, law.laws[-1])
    if isinstance(law, Table):
        return law.find(carrier)
    number = _number_of(carrier)
    if isinstance(law, BitField):
        return _picked_number(carrier, number, law)
    return None if number is None else law.exact(number)


def land(carrier: Carrier, target: SettingType) -> Conversion:
    """Return a value, number or text in a setting of type `target`."""
    if isinstance(carrier, Value):
        return convert(carrier, SAME, target)
    if isinstance(carrier, str):
        return _written(carrier, target)
    return convert_exact(carrier, target)


def convert_exact(exact: Fraction, target: SettingType) -> Conversion:
    """Return the number `exact` as a value of `target`, for numbers that come from several settings."""
    if target.is_text:
        return _no_text(show_exact(exact))
    return _to_float(None, SAME, exact) if target.is_float else _to_whole(None, SAME, exact, target)


def show_exact(number: Fraction) -> str:
    """Return a number as text: whole or as a short decimal where it is one, else as a fraction and a decimal."""
    if number.denominator == 1:
        return str(number.numerator) if abs(number) < 10**20 else f"{float(number):.6g}"
    short = f"{float(number):.9g}"
    return short if Fraction(short) == number else f"about {short}"


def _scaled(value: Value, law: Arithmetic, target: SettingType) -> Conversion:
    old = value.decimal
    if old is None:
        return Conversion(words=f"{value.shown} is no number that can be converted", problem="no-number")
    if target.is_text:
        return _no_text(value.text)
    new = law.exact(old)
    if new is None:
        return _no_result(value, old, law, target)
    return _to_float(value, law, new) if target.is_float else _to_whole(value, law, new, target)


def _no_text(shown: str) -> Conversion:
    return Conversion(words=f"{shown} is a number, and only a table says what text it becomes", problem="no-number")


def _no_result(value: Value, old: Fraction, law: Arithmetic, target: SettingType) -> Conversion:
    match law:
        case Reciprocal():
            words = f"there is no number for {value.text} here (division by zero)"
            return Conversion(words=words, problem="no-number")
        case LogOfTwo() if old > 0:
            return _beside_power(value, old, target)
        case LogOfTwo():
            return Conversion(words=f"{value.text} is no power of two and near none", problem="no-number")
        case _:
            words = f"2 to the power of {value.text} is no number that a setting can hold exactly"
            return Conversion(words=words, problem="no-number")


def _beside_power(value: Value, old: Fraction, target: SettingType) -> Conversion:
    low = old.numerator.bit_length() - old.denominator.bit_length()
    low -= old < Fraction(2) ** low
    below, above = (convert_exact(Fraction(each), target).value for each in (low, low + 1))
    words = f"{value.text} lies between two powers of two, those of {low} and {low + 1}"
    return Conversion(words=words, problem="not-exact", below=below, above=above)


def _looked_up(value: Value, law: Table, target: SettingType) -> Conversion:
    new = law.find(value.text if value.type.is_text else value)
    if new is None:
        return Conversion(words=f"the table of the change notes has no line for {value.shown}", problem="no-label")
    return _written(new, target)


def _written(text: str, target: SettingType) -> Conversion:
    if target.is_text:
        return Conversion(Value.of_text(text))
    number = parse_rational(text)
    if number is None:
        return Conversion(words=f"{text!r} is no number, and the setting holds numbers", problem="no-number")
    return convert_exact(number, target)


@dataclass(frozen=True, slots=True)
class _BeforeLast:
    """Where a chain stands before its last law, and what was said on the way."""

    carrier: Carrier
    words: tuple[str, ...]


def _chained(value: Value, law: Chain, target: SettingType) -> Conversion:
    end = _run_chain(value, law)
    if isinstance(end, Conversion):
        return end
    last = _step(end.carrier, law.laws[-1], target)
    words = "; ".join((*end.words, *([last.words] if last.words else [])))
    return Conversion(last.value, words, last.problem, last.below, last.above)


def _run_chain(carrier: Carrier, law: Chain) -> _BeforeLast | Conversion:
    words: list[str] = []
    for each, type_ in zip(law.laws, law.types, strict=False):
        if type_ is None:
            new = convert_freely(carrier, each)
            if new is None:
                return Conversion(words=f"there is no number for {_shown(carrier)} here", problem="no-number")
            carrier = new
            continue
        came = _step(carrier, each, type_)
        if came.value is None:
            between = f"in the release between, {came.words}"
            return Conversion(words=between, problem=came.problem)
        words += [came.words] if came.words else []
        carrier = came.value
    return _BeforeLast(carrier, tuple(words))


def _step(carrier: Carrier, law: Law, target: SettingType) -> Conversion:
    if isinstance(carrier, Value):
        return convert(carrier, law, target)
    new = convert_freely(carrier, law)
    if new is None:
        return Conversion(words=f"there is no number for {_shown(carrier)} here", problem="no-number")
    return land(new, target)


def _number_of(carrier: Carrier) -> Fraction | None:
    if isinstance(carrier, Fraction):
        return carrier
    return parse_rational(carrier) if isinstance(carrier, str) else carrier.decimal


def _picked_number(carrier: Carrier, number: Fraction | None, law: BitField) -> Fraction | None:
    if isinstance(carrier, Value):
        return Fraction(law.pick(carrier.bits)) if carrier.type.is_whole else None
    if number is None or number.denominator != 1 or number < 0:
        return None
    return Fraction(law.pick(int(number)))


def _shown(carrier: Carrier) -> str:
    if isinstance(carrier, Fraction):
        return show_exact(carrier)
    return repr(carrier) if isinstance(carrier, str) else carrier.shown


def _relabelled(value: Value, law: Labels, target: SettingType) -> Conversion:
    number = law.numbers.get(int(value.number)) if _is_whole(value) else None
    if number is None:
        return Conversion(words=f"no choice of the new release answers to {value.shown}", problem="no-label")
    return _in_type(number, target)


def _picked(value: Value, law: BitField, target: SettingType) -> Conversion:
    if not value.type.is_whole:
        kind = "a float" if value.type.is_float else "a text"
        return Conversion(words=f"{value.shown} is {kind}, and has no bits to part", problem="no-number")
    return _in_type(law.pick(value.bits), target)


def _in_type(number: int, target: SettingType) -> Conversion:
    if target.is_text:
        return _no_text(str(number))
    try:
        return Conversion(Value.of(target, number))
    except ValueNotInTypeError as error:
        return Conversion(words=f"{number} has no place there: {error.why}", problem="not-exact")


def _to_float(value: Value | None, law: Arithmetic, new: Fraction) -> Conversion:
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


def _to_whole(value: Value | None, law: Arithmetic, new: Fraction, target: SettingType) -> Conversion:
    nearest = round(new)
    if new != nearest and not _comes_back(value, law, nearest):
        return _neighbours(new, target)
    if not target.lowest <= nearest <= target.highest:
        return _neighbours(new, target)
    words = f"the exact result {show_exact(new)} is not whole, but {nearest} gives the very same float on the way back"
    return Conversion(Value.of(target, nearest), words=words if new != nearest else "")


def _comes_back(value: Value | None, law: Arithmetic, whole: int) -> bool:
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
