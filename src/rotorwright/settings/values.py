"""Setting values in their exact machine form.

A value is its type and its bits. A 32-bit float stays that very 32-bit float through file, screen and wire: signalling
NaN patterns, negative zero and denormals included. Equality is equality of bits, so NaN equals itself and -0 differs
from 0; use `number` for arithmetic.

Type names are those of the open MAVLink parameter metadata schema, and three of our own for what text consoles hold:
`Uint64`, `Int64` and `Text`.
"""

from __future__ import annotations

import math
import re
import struct
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from unicodedata import combining

from rotorwright.errors import SettingsError


class ValueNotInTypeError(SettingsError):
    """A number or text has no exact place in the type of the setting."""

    id = "settings.value-not-in-type"


class SettingType(StrEnum):
    """The types of the parameter metadata schema, and the three that only text consoles have."""

    UINT8 = "Uint8"
    INT8 = "Int8"
    UINT16 = "Uint16"
    INT16 = "Int16"
    UINT32 = "Uint32"
    INT32 = "Int32"
    FLOAT = "Float"
    UINT64 = "Uint64"
    INT64 = "Int64"
    TEXT = "Text"

    @property
    def size_bytes(self) -> int:
        """Width in bytes: 1, 2, 4 or 8; 0 for text, which has no fixed one."""
        return _SIZES[self]

    @property
    def is_text(self) -> bool:
        """Whether values are text, of which nobody knows what number they mean."""
        return self is _TEXT

    @property
    def is_whole(self) -> bool:
        """Whether values are whole numbers."""
        return self is not _FLOAT and self is not _TEXT

    @property
    def is_float(self) -> bool:
        """Whether values are 32-bit floats."""
        return self is _FLOAT

    @property
    def is_signed(self) -> bool:
        """Whether negative numbers have a place in this type."""
        return self in _SIGNED

    @property
    def lowest(self) -> int | float:
        """The lowest finite number of this type; minus infinity for text, which has none."""
        if self.is_float:
            return -FLOAT32_MAX
        if self.is_text:
            return -math.inf
        return -(1 << (8 * self.size_bytes - 1)) if self.is_signed else 0

    @property
    def highest(self) -> int | float:
        """The highest finite number of this type; infinity for text, which has none."""
        if self.is_float:
            return FLOAT32_MAX
        if self.is_text:
            return math.inf
        return (1 << (8 * self.size_bytes - int(self.is_signed))) - 1


CONSOLE_ONLY_TYPES = frozenset({SettingType.UINT64, SettingType.INT64, SettingType.TEXT})
"""Ours: no metadata schema lists them, and no parameter message carries them exactly."""

SCHEMA_TYPES = tuple(each for each in SettingType if each not in CONSOLE_ONLY_TYPES)
"""The types of the MAVLink parameter metadata schema."""

# Looked up for each of a thousand settings, and looking a member up through its class is slow.
_FLOAT = SettingType.FLOAT
_TEXT = SettingType.TEXT
_SIGNED = frozenset({SettingType.INT8, SettingType.INT16, SettingType.INT32, SettingType.INT64, SettingType.FLOAT})

_SIZES = {
    SettingType.UINT8: 1,
    SettingType.INT8: 1,
    SettingType.UINT16: 2,
    SettingType.INT16: 2,
    SettingType.UINT32: 4,
    SettingType.INT32: 4,
    SettingType.FLOAT: 4,
    SettingType.UINT64: 8,
    SettingType.INT64: 8,
    SettingType.TEXT: 0,
}
_WORDS = {type_: 1 << (8 * size) for type_, size in _SIZES.items()}

_TEXT_MARK = 1  # stands before the UTF-8 bytes in the word of a text, so that leading zero bytes are not lost

FLOAT32_MAX = 3.4028234663852886e38  # (2 - 2**-23) * 2**127, IEEE 754-2019 table 3.5, binary32

_NAN_TEXT = re.compile(r"nan\(0x([0-9a-f]{8})\)\Z")
_INT_TEXT = re.compile(r"-?[0-9]+\Z")
_LONGEST_WHOLE = 24  # the longest whole number has 20 characters; a few zeros before it are no reason to refuse
_FLOAT_TEXT = re.compile(r"-?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?\Z")


@dataclass(frozen=True, slots=True)
class Value:
    """One setting value: `bits` is the unsigned machine word, `type.size_bytes` wide.

    The word of a text is its UTF-8 bytes behind one byte 1, the first byte highest; see `of_text`.
    """

    type: SettingType
    bits: int

    def __post_init__(self) -> None:
        if self.type is _TEXT:
            _text_of(self.bits)
        elif not 0 <= self.bits < _WORDS[self.type]:
            raise _not_in_type(f"bits {self.bits:#x}", self.type, "The word is wider than the type.")

    @classmethod
    def of_text(cls, text: str) -> Value:
        """Return a text as a value, whatever stands in it, also nothing.

        Raises:
            ValueNotInTypeError: it has a lone surrogate, as text from bytes that are no UTF-8 may.
        """
        try:
            raw = text.encode()
        except UnicodeEncodeError as error:
            why = "It came from bytes that are no UTF-8 text, and no file of ours could keep it as it is."
            raise _not_in_type(ascii(text), _TEXT, why) from error
        return cls(_TEXT, int.from_bytes(bytes((_TEXT_MARK,)) + raw, "big"))

    @classmethod
    def of(cls, type_: SettingType, number: float) -> Value:
        """Return `number` as a value of `type_`.

        A float is rounded to the nearest 32-bit float, as writing a decimal does; callers who must not round compare
        `number` afterwards. An integer type takes only whole numbers within its width.

        Raises:
            ValueNotInTypeError: the number has no place in the type.
        """
        if type_.is_float:
            if math.isnan(number):
                return cls(type_, 0x7FC00000)
            try:
                return cls(type_, int.from_bytes(struct.pack("<f", number), "little"))
            except OverflowError as error:
                raise _not_in_type(repr(number), type_, "It is larger than the largest 32-bit float.") from error
        if type_.is_text:
            raise _not_in_type(repr(number), type_, "A number is no text; write it out.")
        if not math.isfinite(number) or number != int(number):
            raise _not_in_type(repr(number), type_, "The type holds whole numbers only.")
        whole = int(number)
        if not type_.lowest <= whole <= type_.highest:
            raise _not_in_type(str(whole), type_, f"The type holds {type_.lowest} to {type_.highest}.")
        return cls(type_, whole & ((1 << (8 * type_.size_bytes)) - 1))

    @classmethod
    def parse(cls, type_: SettingType, text: str) -> Value:
        """Return the value that `text` (as made by `text`) stands for; the round trip is exact, bit for bit.

        Raises:
            ValueNotInTypeError: the text is no number of this type.
        """
        return cls.of_text(text) if type_ is _TEXT else _parse_number(type_, text)

    @classmethod
    def from_bytes(cls, type_: SettingType, raw: bytes) -> Value:
        """Return the value whose little-endian machine form is `raw`; for a text, its UTF-8 bytes.

        Raises:
            ValueNotInTypeError: for a text: the bytes are no UTF-8.
        """
        if type_.is_text:
            return cls(type_, int.from_bytes(bytes((_TEXT_MARK,)) + raw, "big"))
        return cls(type_, int.from_bytes(raw[: type_.size_bytes], "little"))

    def to_bytes(self) -> bytes:
        """Return the little-endian machine form, `type.size_bytes` long; for a text, its UTF-8 bytes."""
        if self.type.is_text:
            return _text_bytes(self.bits)
        return self.bits.to_bytes(self.type.size_bytes, "little")

    @property
    def number(self) -> int | float:
        """The value as a Python number. A NaN loses its payload here: use `bits` to keep it. A text is NaN."""
        return math.nan if self.type is _TEXT else _number_of(self.type, self.bits)

    @property
    def text(self) -> str:
        """The shortest decimal that reads back to these very bits; NaN as `nan(0x7fc00000)`; a text as it is."""
        return _text_of(self.bits) if self.type is _TEXT else _text_of_number(self.type, self.bits)

    @property
    def shown(self) -> str:
        """The value for a person: `text`, but a text in quotes where an eye would miss or misread what it holds.

        That is an empty one, one with blanks at an end, and one with signs that do not print: those are spelt out.
        """
        return _shown_text(self.text) if self.type is _TEXT else self.text

    @property
    def decimal(self) -> Fraction | None:
        """The number that a person sees, exactly: `text` as a fraction; nothing for infinities, NaN and texts.

        A 32-bit float stands for the shortest decimal that reads back to it: 0.12 is 12/100 here, although the float
        nearest to it is 0.119999997....
        """
        return None if self.type is _TEXT else _decimal_of(self.type, self.bits)

    def __str__(self) -> str:
        return self.text


# A fleet holds the same few thousand numbers again and again, and so do the three sides of one aircraft. Values never
# change, so they may be shared.
@lru_cache(maxsize=1 << 16)
def _parse_number(type_: SettingType, text: str) -> Value:
    if type_.is_float:
        if match := _NAN_TEXT.match(text):
            value = Value(type_, int(match[1], 16))
            if math.isnan(value.number):
                return value
        elif text in {"inf", "-inf"} or _FLOAT_TEXT.match(text):
            number = float(text)
            if math.isinf(number) and text not in {"inf", "-inf"}:
                raise _not_in_type(repr(text), type_, "It is larger than the largest 32-bit float.")
            return _nearest_to_text(text, number)
    elif _INT_TEXT.match(text):
        return Value.of(type_, int(text)) if len(text) <= _LONGEST_WHOLE else _refuse_long(text, type_)
    raise _not_in_type(repr(text), type_, "The text is not a number of this type.")


@lru_cache(maxsize=1 << 16)
def _number_of(type_: SettingType, bits: int) -> int | float:
    if type_.is_float:
        return float(struct.unpack("<f", bits.to_bytes(4, "little"))[0])
    width = 8 * type_.size_bytes
    return bits - (1 << width) if type_.is_signed and bits >> (width - 1) else bits


@lru_cache(maxsize=1 << 16)
def _text_of_number(type_: SettingType, bits: int) -> str:
    return _float32_text(bits) if type_.is_float else str(_number_of(type_, bits))


@lru_cache(maxsize=1 << 14)
def _decimal_of(type_: SettingType, bits: int) -> Fraction | None:
    number = _number_of(type_, bits)
    if isinstance(number, int):
        return Fraction(number)
    return Fraction(_text_of_number(type_, bits)) if math.isfinite(number) else None


def _shown_text(text: str) -> str:
    if text.isprintable() and text == text.strip() and text and not combining(text[0]):
        return text
    spelt = (each if each.isprintable() and not combining(each) else ascii(each)[1:-1] for each in text)
    return f'"{"".join(spelt)}"'


def _text_bytes(bits: int) -> bytes:
    return bits.to_bytes((bits.bit_length() + 7) // 8, "big")[1:]


@lru_cache(maxsize=4096)
def _text_of(bits: int) -> str:
    if bits <= 0 or bits >> (8 * len(_text_bytes(bits))) != _TEXT_MARK:
        raise _not_in_type(f"bits {bits:#x}", _TEXT, "The word of a text begins with one byte 1.")
    try:
        return _text_bytes(bits).decode()
    except UnicodeDecodeError as error:
        raise _not_in_type(f"bits {bits:#x}", _TEXT, "The bytes are no UTF-8 text.") from error


def nearest_float32(exact: Fraction) -> Value:
    """Return the 32-bit float nearest to `exact`, ties to the even one, rounded once (IEEE 754-2019, 4.3.1).

    Raises:
        ValueNotInTypeError: it is larger than the largest 32-bit float.
    """
    magnitude = abs(exact)
    exponent = magnitude.numerator.bit_length() - magnitude.denominator.bit_length()
    if magnitude < Fraction(2) ** exponent:
        exponent -= 1
    exponent = max(exponent, -126)  # below this, floats are denormal and evenly spaced
    steps = round(magnitude / Fraction(2) ** (exponent - 23))
    bits = ((exponent + 126) << 23) + steps if steps else 0
    if bits >= 0x7F800000:
        raise _not_in_type("the number", SettingType.FLOAT, "It is larger than the largest 32-bit float.")
    return Value(SettingType.FLOAT, bits | (0x80000000 if exact < 0 else 0))


def _nearest_to_text(text: str, number: float) -> Value:
    value = Value.of(SettingType.FLOAT, number)
    # Text to 64-bit to 32-bit rounds twice; that can only go wrong where the 64-bit float lies halfway.
    return nearest_float32(Fraction(text)) if _is_halfway(number, value.number) else value


def _is_halfway(number: float, rounded: float) -> bool:
    if number == rounded:
        return False
    step = math.ldexp(1.0, max(math.frexp(number)[1] - 1, -126) - 24)  # half the distance of 32-bit floats here
    return math.fmod(number, 2 * step) in {step, -step}


def _float32_text(bits: int) -> str:
    value = Value(SettingType.FLOAT, bits)
    number = value.number
    if math.isnan(number):
        return f"nan(0x{bits:08x})"
    if math.isinf(number):
        return "inf" if number > 0 else "-inf"
    for digits in range(1, 10):  # nine significant digits tell any two 32-bit floats apart (IEEE 754-2019, 5.12.2)
        text = f"{number:.{digits}g}"
        if _float32_bytes(float(text)) == value.to_bytes():
            return _plain(text)
    raise AssertionError(f"no nine-digit decimal for bits {bits:#010x}")


def _float32_bytes(number: float) -> bytes:
    try:
        return struct.pack("<f", number)
    except OverflowError:  # few digits of the largest float round up past it
        return b""


def _plain(text: str) -> str:
    if "e" not in text:
        return text
    number = float(text)
    return f"{number:.0f}" if abs(number) >= 1 and abs(number) < 1e9 else text


def _refuse_long(text: str, type_: SettingType) -> Value:
    raise _not_in_type(f"a number of {len(text)} digits", type_, "No type of a setting holds so many digits.")


def _not_in_type(shown: str, type_: SettingType, why: str) -> ValueNotInTypeError:
    return ValueNotInTypeError(
        f"{shown} is not a value of type {type_}.",
        why=why,
        todo="Correct the value where it comes from; nothing is rounded or cut to fit.",
        type=str(type_),
    )
