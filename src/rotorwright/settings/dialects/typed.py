"""From the texts of a listing to values with their types, and back; exact both ways, nothing rounded in silence."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.dialects.changing import ValueNotPrintableError
from rotorwright.settings.dialects.form import SlotKind
from rotorwright.settings.dialects.listing import OFF, ON, split_values
from rotorwright.settings.values import SettingType, Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.dialects.dialect import Dialect, LineForm
    from rotorwright.settings.dialects.listing import Line, ListedSetting, Listing


class ListedValueError(SettingsError):
    """A text in a listing is no value of the type that the catalogue names, or cannot be kept as it is."""

    id = "dialect.listed-value"


class ListedTwiceError(SettingsError):
    """A listing has two settings of the same name."""

    id = "dialect.listed-twice"


def typed_settings(listing: Listing, catalogue: Catalogue | None) -> dict[str, Value]:
    """Return the settings of a listing by name, in the order of its lines. Names that differ in case stay apart.

    A name that the catalogue knows gets its type there, on and off becoming 1 and 0 where that is a number. All others
    are texts: `on` or `off` for a flag, several values as they were printed, nothing where no value stands.

    Raises:
        ListedTwiceError: a name is there twice, so it is not clear which of the two counts.
        ListedValueError: a text is no value of its type; the words name line and text.
    """
    found: dict[str, Value] = {}
    lines: dict[str, int] = {}
    for number, line, setting in _numbered(listing):
        name = setting.name
        if name in found:
            raise _twice(name, lines[name], number)
        lines[name] = number
        found[name] = _in_line(number, line, setting, catalogue)
    return found


def typed_value(line: Line, setting: ListedSetting, type_: SettingType) -> Value:
    """Return the value of one setting in its line as a value of `type_`.

    Raises:
        ValueNotInTypeError: the text is no number of the type, or holds more digits than the type keeps.
    """
    text = printed_text(line, setting)
    if type_.is_text:
        return Value.of_text(text)
    if setting.is_flag:
        return Value.of(type_, 1 if text == ON else 0)
    value = Value.parse(type_, text)
    if type_.is_float and not _is_same_number(text, value):
        raise _too_many_digits(text, value)
    return value


def printed_text(line: Line, setting: ListedSetting) -> str:
    """Return what stands in the line as the value of a setting; `on` or `off` for a flag."""
    if setting.is_flag or not setting.spans:
        return " ".join(setting.values)
    return line.text[setting.spans[0][0] : setting.spans[-1][1]]


def listed_values(value: Value, family: LineForm, dialect: Dialect) -> tuple[str, ...]:
    """Return the texts that stand for `value` in a line of `family`: what `changed_line` and `line_to_set` take.

    Raises:
        ValueNotPrintableError: such a line cannot say this value.
    """
    slots = family.form.slots
    if SlotKind.STATE in slots:
        return (_state(value, family),)
    if SlotKind.VALUES in slots:
        return split_values(value.text, family.between, dialect.quotes)
    if SlotKind.VALUE in slots or SlotKind.PAIRS in slots:
        return (value.text,)
    if value.text:
        raise _not_sayable(value, f"Lines of the family {family.id!r} have no place for a value.")
    return ()


def _numbered(listing: Listing) -> Iterator[tuple[int, Line, ListedSetting]]:
    return ((n, line, setting) for n, line in enumerate(listing.lines, 1) for setting in line.settings)


def _in_line(number: int, line: Line, setting: ListedSetting, catalogue: Catalogue | None) -> Value:
    name, text = setting.name, printed_text(line, setting)
    known = catalogue is not None and name in catalogue
    type_ = catalogue[name].type if catalogue is not None and known else SettingType.TEXT
    try:
        name.encode()
        return typed_value(line, setting, type_)
    except UnicodeEncodeError as error:
        raise _bad_value(number, name, text, "its name has bytes that are no UTF-8 text") from error
    except ValueNotInTypeError as error:
        raise _bad_value(number, name, text, f"the catalogue says {type_}: {error.why}") from error


def _state(value: Value, family: LineForm) -> str:
    if value.text == ON or value.number == 1:
        return ON
    if value.text == OFF or value.number == 0:
        return OFF
    raise _not_sayable(value, f"Lines of the family {family.id!r} say on or off only.")


def _is_same_number(text: str, value: Value) -> bool:
    """Answer whether the decimal says no more than the float.

    It is the shortest one that reads back to it, or the float itself rounded to as many places, as consoles print them.
    """
    if value.decimal is None:
        return True
    if value.number == 0:  # not by a fraction: a small exponent would make it endless
        return not any(digit in "123456789" for digit in text.lower().partition("e")[0])
    said, unit = Fraction(text), _last_place(text)
    return said == value.decimal or abs(said - Fraction(value.number)) * 2 <= unit


def _last_place(text: str) -> Fraction:
    """Return what 1 in the last place of a decimal stands for: 1/100 for `0.25`, 1000 for `12e3`."""
    digits, _, exponent = text.lower().partition("e")
    places = len(digits.partition(".")[2])
    return Fraction(10) ** (int(exponent or 0) - places)


def _too_many_digits(text: str, value: Value) -> ValueNotInTypeError:
    return ValueNotInTypeError(
        f"{text!r} is not a value of type {value.type}.",
        why=f"It holds more digits than a 32-bit float keeps; the nearest one is {value.text}.",
        todo="Correct the value where it comes from; nothing is rounded or cut to fit.",
        type=str(value.type),
    )


def _bad_value(number: int, name: str, text: str, because: str) -> ListedValueError:
    shown = ascii(text if len(text) <= 80 else text[:77] + "...")
    return ListedValueError(
        f"Line {number} of the listing gives {name!a} the value {shown}, which cannot be taken: {because}",
        why="The line was damaged on its way, the catalogue is of another release, or the dialect reads it wrongly.",
        todo="Read the listing again; if it stays so, look at that line and check dialect and catalogue.",
        line=number,
        name=name,
        text=text,
    )


def _twice(name: str, first: int, second: int) -> ListedTwiceError:
    return ListedTwiceError(
        f"The setting {name!a} stands twice in the listing, in lines {first} and {second}.",
        why="Two listings ran together, a line was damaged, or the dialect does not see what tells the two apart.",
        todo="Read the listing again; if it stays so, give the dialect the sections or rows that tell them apart.",
        name=name,
        first=first,
        second=second,
    )


def _not_sayable(value: Value, why: str) -> ValueNotPrintableError:
    return ValueNotPrintableError(
        f"The value {value.text!a} cannot be said in its line.",
        why=why,
        todo="Give a value that this kind of line can say.",
        text=value.text,
    )
