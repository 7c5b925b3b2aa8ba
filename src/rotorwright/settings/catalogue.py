"""The settings that a release knows, in the open MAVLink parameter metadata schema (version 1).

The document is JSON: `{"version": 1, "parameters": [...]}`. Keys that this reader does not know are passed over, as the
schema grows. Numbers of a `Float` setting denote the nearest 32-bit float. A name may hold `{n}`, which stands for an
index: such an entry answers for every name with a number in that place.

Our own additions to the schema are the types `Uint64`, `Int64` and `Text`, for firmware that is set by a text console;
the default of a `Text` is a JSON string, and it has neither range nor labels.

Source: MAVLink component metadata protocol, parameter metadata schema.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.structured import MOST_DIGITS, DataFaultError, Table, json_line, read_json
from rotorwright.settings.values import SettingType, Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rotorwright.settings.structured import Json

CATALOGUE_VERSION = 1


class CatalogueError(SettingsError):
    """A catalogue cannot be used; the words name the entry and what is wrong with it."""

    id = "catalogue.bad-entry"


@dataclass(frozen=True, slots=True)
class Choice:
    """A number with its label: of a choice the value itself, of a bitmask the index of the bit (from 0)."""

    number: int
    label: str


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting of a release.

    Args:
        name: as the aircraft spells it.
        type: machine form of its values.
        short: what it is, in a few words.
        long: what it is, in full.
        unit: unit of its values, as the catalogue spells it.
        default: what a fresh aircraft holds; nothing if the catalogue does not say.
        minimum: lowest allowed value, in the unit.
        maximum: highest allowed value, in the unit.
        increment: step that a person would change it by, in the unit.
        decimals: decimal places worth showing.
        reboot_required: whether a change takes effect after a restart only.
        category: for grouping.
        group: for grouping.
        volatile: whether the aircraft changes it by itself (a count, a learned state): it is never carried over.
        choices: the allowed numbers, if the setting is a choice.
        bits: the known bits, if the setting is a bitmask.

    Raises:
        CatalogueError: default or range are of another type or not finite, or the range is upside down.
    """

    name: str
    type: SettingType
    short: str = ""
    long: str = ""
    unit: str = ""
    default: Value | None = None
    minimum: Value | None = None
    maximum: Value | None = None
    increment: float | None = None
    decimals: int | None = None
    reboot_required: bool = False
    category: str = ""
    group: str = ""
    volatile: bool = False
    choices: tuple[Choice, ...] = ()
    bits: tuple[Choice, ...] = ()

    def __post_init__(self) -> None:
        if self.type.is_text:
            self._refuse_numbers_of_a_text()
        for key, value in (("default", self.default), ("min", self.minimum), ("max", self.maximum)):
            if value is None:
                continue
            if value.type is not self.type:
                raise _bad_entry(self.name, f"its {key} is a {value.type}, the setting a {self.type}")
            if not self.type.is_text and not math.isfinite(value.number):
                raise _bad_entry(self.name, f"its {key} is {value.text}, which JSON cannot write")
        if self.minimum is not None and self.maximum is not None and self.minimum.number > self.maximum.number:
            raise _bad_entry(self.name, f"its range is upside down: {self.minimum.text} to {self.maximum.text}")

    def refusal(self, value: Value) -> str | None:
        """Return in words why `value` is not allowed, or nothing if it is. The default is always allowed."""
        if value.type is not self.type:
            return f"{self.name} holds a {self.type}, and {value.shown} is a {value.type}"
        if value == self.default:
            return None
        return self._range_refusal(value) or self._choice_refusal(value) or self._bit_refusal(value)

    def label(self, number: float) -> str | None:
        """Return the label of a choice, or nothing if the number has none."""
        for each in self.choices:  # asked of each choice of an aircraft: a generator takes twice as long
            if each.number == number:
                return each.label
        return None

    @property
    def known_bits(self) -> int:
        """The mask of all listed bits."""
        return sum(1 << number for number in {each.number for each in self.bits})

    def show(self, value: Value) -> str:
        """Return the value as text with its label or unit, for a person."""
        if self.bits and value.type.is_whole:
            return f"{value.text} = {self._bit_words(value)}"
        if self.choices and not value.type.is_text:
            label = self.label(value.number)
            return f"{value.text}, no label" if label is None else f"{value.text} = {label}"
        return f"{value.shown} {self.unit}" if self.unit else value.shown

    def _refuse_numbers_of_a_text(self) -> None:
        numbers = {"min": self.minimum, "max": self.maximum, "values": self.choices, "bitmask": self.bits}
        given = next((key for key, found in numbers.items() if found), None)
        if given is not None:
            raise _bad_entry(self.name, f"it is a {SettingType.TEXT}, and {given} is for numbers only")

    def _range_refusal(self, value: Value) -> str | None:
        low, high = self.minimum, self.maximum
        if low is None and high is None:
            return None
        if math.isnan(value.number):
            return f"{self.name} has a range, and {value.text} is not in any"
        if low is not None and value.number < low.number:
            return f"{self.show(value)} is below the lowest allowed, {self.show(low)}"
        if high is not None and value.number > high.number:
            return f"{self.show(value)} is above the highest allowed, {self.show(high)}"
        return None

    def _choice_refusal(self, value: Value) -> str | None:
        if not self.choices or self.label(value.number) is not None:
            return None
        return f"{value.text} is none of the choices of {self.name}"

    def _bit_refusal(self, value: Value) -> str | None:
        if not self.bits or not value.type.is_whole:
            return None
        unknown = value.bits & ~self.known_bits
        return f"{self.name} has no {_bit_list(unknown)}" if unknown else None

    def _bit_words(self, value: Value) -> str:
        labels = {each.number: each.label for each in self.bits}
        return " + ".join(labels.get(bit, f"bit {bit}") for bit in _set_bits(value.bits)) or "none"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """The settings of one release, sorted by name; entries with `{n}` in the name stand apart."""

    settings: Mapping[str, Setting]
    _templates: tuple[tuple[re.Pattern[str], Setting], ...] = field(init=False, repr=False, compare=False)
    _volatile: frozenset[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        ordered = dict(sorted(self.settings.items()))
        object.__setattr__(self, "settings", ordered)
        object.__setattr__(
            self, "_templates", tuple((_template(name), each) for name, each in ordered.items() if "{n}" in name)
        )
        object.__setattr__(self, "_volatile", frozenset(name for name, each in ordered.items() if each.volatile))

    @property
    def names(self) -> tuple[str, ...]:
        """All listed names, sorted."""
        return tuple(self.settings)

    def get(self, name: str) -> Setting | None:
        """Return the setting called `name`, or nothing."""
        found = self.settings.get(name)
        if found is not None or not self._templates:
            return found
        template = next((each for pattern, each in self._templates if pattern.fullmatch(name)), None)
        return None if template is None else replace(template, name=name)

    def is_volatile(self, name: str) -> bool:
        """Answer whether the aircraft changes the setting called `name` by itself; not, as far as nobody knows it."""
        if not self._templates or name in self.settings:
            return name in self._volatile
        found = self.get(name)
        return found is not None and found.volatile

    def __getitem__(self, name: str) -> Setting:
        found = self.get(name)
        if found is None:
            raise KeyError(name)
        return found

    def __contains__(self, name: str) -> bool:
        return self.get(name) is not None

    def __iter__(self) -> Iterator[str]:
        return iter(self.settings)

    def __len__(self) -> int:
        return len(self.settings)

    @property
    def defaults(self) -> dict[str, Value]:
        """The defaults that the catalogue states, sorted by name."""
        return {
            name: each.default for name, each in self.settings.items() if each.default is not None and "{n}" not in name
        }


def parse_catalogue(data: bytes) -> Catalogue:
    """Return the catalogue in a parameter metadata document (JSON, not compressed).

    Raises:
        CatalogueError: not such a document, or an entry that cannot be used; the words name the entry.
    """
    try:
        document = read_json(data)
        version = document.whole("version")
        if version != CATALOGUE_VERSION:
            document.fault("version", f"this is version {version}, and only version {CATALOGUE_VERSION} is known")
        if "parameters" not in document:
            document.fault("parameters", "it is missing")
        return _catalogue(document.tables("parameters"))
    except DataFaultError as fault:
        raise _bad_document(str(fault)) from fault


def print_catalogue(catalogue: Catalogue) -> bytes:
    """Return the catalogue as a parameter metadata document, one parameter a line; equal catalogues, equal bytes."""
    lines = [_entry_text(each) for each in catalogue.settings.values()]
    body = ",\n".join(lines)
    return f'{{"version":{CATALOGUE_VERSION},"parameters":[\n{body}\n]}}\n'.encode()


def _catalogue(entries: tuple[Table, ...]) -> Catalogue:
    settings: dict[str, Setting] = {}
    for entry in entries:
        setting = _setting(entry)
        if setting.name in settings:
            raise _bad_entry(setting.name, "it is listed twice")
        settings[setting.name] = setting
    return Catalogue(settings)


def _setting(entry: Table) -> Setting:
    name = entry.text("name")
    if not name or name != name.strip() or not name.isprintable():
        entry.fault("name", f"{name!r} is no name of a setting")
    named = Table(entry.data, f"{entry.where} ({name})")
    type_ = _type(named)
    return Setting(
        name=name,
        type=type_,
        short=named.text("shortDesc", ""),
        long=named.text("longDesc", ""),
        unit=named.text("units", ""),
        default=_value(named, "default", type_),
        minimum=_value(named, "min", type_),
        maximum=_value(named, "max", type_),
        increment=_float(named, "increment"),
        decimals=named.whole("decimalPlaces") if "decimalPlaces" in named else None,
        reboot_required=named.flag("rebootRequired", default=False),
        category=named.text("category", ""),
        group=named.text("group", ""),
        volatile=named.flag("volatile", default=False),
        choices=_choices(named, "values", "value"),
        bits=_bits(named, type_),
    )


def _type(entry: Table) -> SettingType:
    text = entry.text("type")
    try:
        return SettingType(text)
    except ValueError:
        return entry.fault("type", f"{text!r} is no type; known are {', '.join(SettingType)}")


def _value(entry: Table, key: str, type_: SettingType) -> Value | None:
    if type_.is_text and key in entry:
        return Value.of_text(entry.text(key))
    text = entry.numeral(key)
    if text is None:
        return None
    try:
        if type_.is_float or text.lstrip("-").isdigit():
            return Value.parse(type_, text)
        return Value.parse(type_, _whole_text(text))
    except ValueNotInTypeError as error:
        return entry.fault(key, f"{error.what} {error.why}".rstrip("."))


def _whole_text(text: str) -> str:
    """Return `1.5e3` as `1500`; a number that is not whole, or longer than any, as it is. No digit is ever rounded."""
    try:
        number = Decimal(text)
    except ArithmeticError:  # its exponent is beyond what any decimal holds
        return text
    is_short = number.is_zero() or abs(number.adjusted()) < MOST_DIGITS
    return str(int(number)) if is_short and number == number.to_integral_value() else text


def _float(entry: Table, key: str) -> float | None:
    text = entry.numeral(key)
    if text is not None and not math.isfinite(float(text)):
        entry.fault(key, f"{text} is too large")
    return None if text is None else float(text)


def _choices(entry: Table, key: str, number_key: str) -> tuple[Choice, ...]:
    found = tuple(Choice(each.whole(number_key), each.text("description", "")) for each in entry.tables(key))
    if len({each.number for each in found}) != len(found):
        entry.fault(key, "a number is listed twice")
    return tuple(sorted(found, key=lambda each: each.number))


def _bits(entry: Table, type_: SettingType) -> tuple[Choice, ...]:
    found = _choices(entry, "bitmask", "index")
    width = 8 * type_.size_bytes
    if type_.is_text and found:
        entry.fault("bitmask", f"it is a {type_}, and a text has no bits")
    for each in found:
        if not 0 <= each.number < width:
            entry.fault("bitmask", f"bit {each.number} is not in a word of {width} bits")
    return found


def _entry_text(setting: Setting) -> str:
    numbers = {"default": setting.default, "min": setting.minimum, "max": setting.maximum}
    parts = [("name", json_line(setting.name)), ("type", json_line(str(setting.type)))]
    texts = {"shortDesc": setting.short, "longDesc": setting.long, "units": setting.unit}
    parts += [(key, json_line(text)) for key, text in texts.items() if text]
    as_json = json_line if setting.type.is_text else str
    parts += [(key, as_json(value.text)) for key, value in numbers.items() if value is not None]
    if setting.increment is not None:
        parts.append(("increment", repr(setting.increment)))
    if setting.decimals is not None:
        parts.append(("decimalPlaces", str(setting.decimals)))
    parts += [
        (key, json_line(text)) for key, text in (("category", setting.category), ("group", setting.group)) if text
    ]
    flags = {"rebootRequired": setting.reboot_required, "volatile": setting.volatile}
    parts += [(key, "true") for key, flag in flags.items() if flag]
    parts += _label_parts(setting)
    return "{" + ",".join(f'"{key}":{text}' for key, text in parts) + "}"


def _label_parts(setting: Setting) -> list[tuple[str, str]]:
    values: list[Json] = [{"value": each.number, "description": each.label} for each in setting.choices]
    bits: list[Json] = [{"index": each.number, "description": each.label} for each in setting.bits]
    return [(key, json_line(found)) for key, found in (("values", values), ("bitmask", bits)) if found]


def _template(name: str) -> re.Pattern[str]:
    return re.compile("[0-9]+".join(re.escape(part) for part in name.split("{n}")))


def _set_bits(word: int) -> list[int]:
    return [bit for bit in range(word.bit_length()) if word >> bit & 1]


def _bit_list(word: int) -> str:
    found = _set_bits(word)
    return f"bit{'s' if len(found) > 1 else ''} {', '.join(map(str, found))}"


def _bad_entry(name: str, words: str) -> CatalogueError:
    return CatalogueError(
        f"The catalogue's entry {name} cannot be used: {words}.",
        why="The catalogue is damaged, or it was made by a tool that does not keep to the parameter metadata schema.",
        todo="Read the catalogue from the aircraft again, or correct the entry in the release book.",
        name=name,
    )


def _bad_document(words: str) -> CatalogueError:
    return CatalogueError(
        f"The catalogue cannot be read: {words}.",
        why="The file is damaged, cut short, or no parameter metadata of the version that is known here.",
        todo="Read the catalogue from the aircraft again, or correct that place in the release book.",
    )
