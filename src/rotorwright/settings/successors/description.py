"""What is known about one setting when its successor is looked for: anything but the name may be unknown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.settings.catalogue import Setting
    from rotorwright.settings.values import SettingType, Value


class Kind(StrEnum):
    """What a setting holds, told by its use and not by its machine type."""

    WHOLE = "whole number"
    REAL = "number with decimals"
    FLAG = "on or off"
    CHOICE = "choice"
    TEXT = "text"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class SettingDescription:
    """One setting as a listing or a catalogue tells it.

    Args:
        name: as the aircraft spells it.
        kind: what it holds.
        unit: unit of its values, as spelled by its source.
        default: what a fresh aircraft holds, as text; nothing if unknown.
        minimum: lowest allowed value, in the unit.
        maximum: highest allowed value, in the unit.
        choices: labels or names of the allowed values, of a choice.
        group: the heading that it stands under.
        value: what the aircraft holds, as text, if a person customised it.
        role: what it is for, in the words of a release book.
        about: what it is, in words for a person.
    """

    name: str
    kind: Kind = Kind.UNKNOWN
    unit: str = ""
    default: str | None = None
    minimum: float | None = None
    maximum: float | None = None
    choices: tuple[str, ...] = ()
    group: str = ""
    value: str | None = None
    role: str = ""
    about: str = ""


def describe(
    setting: Setting, *, default: Value | None = None, value: Value | None = None, role: str = ""
) -> SettingDescription:
    """Return the description of a catalogue's setting.

    Args:
        setting: from the catalogue.
        default: what a fresh aircraft with this board holds, where it is known better than the catalogue says.
        value: what the aircraft holds, if customised.
        role: what it is for, in the words of a release book.
    """
    return SettingDescription(
        name=setting.name,
        kind=_kind(setting),
        unit=setting.unit,
        default=_shown(setting, setting.default if default is None else default),
        minimum=None if setting.minimum is None else float(setting.minimum.number),
        maximum=None if setting.maximum is None else float(setting.maximum.number),
        choices=tuple(each.label for each in (*setting.choices, *setting.bits)),
        group=setting.group or setting.category,
        value=_shown(setting, value),
        role=role,
        about=f"{setting.short} {setting.long}".strip(),
    )


def describe_value(
    name: str, *, type_: SettingType, default: Value | None = None, value: Value | None = None
) -> SettingDescription:
    """Return the description of a setting that no catalogue tells of, from its name and what is held in it.

    A small whole number may be a number, a choice or a flag, and a text anything; of those the kind is unknown.
    """
    kind = Kind.REAL if type_.is_float else Kind.WHOLE if type_.size_bytes > 1 else Kind.UNKNOWN
    return SettingDescription(
        name=name,
        kind=kind,
        default=None if default is None else default.text,
        value=None if value is None else value.text,
    )


def number_of(text: str | None) -> float | None:
    """Return the finite number that `text` spells, or nothing."""
    try:
        number = float(text or "")
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _kind(setting: Setting) -> Kind:
    labels = {each.label.strip().lower() for each in setting.choices}
    if labels and labels <= _FLAG_LABELS:
        return Kind.FLAG
    if setting.choices or setting.bits:
        return Kind.CHOICE
    return Kind.REAL if setting.type.is_float else Kind.WHOLE


def _shown(setting: Setting, value: Value | None) -> str | None:
    """Choices are compared by label: the numbers behind them are what a release likes to change."""
    if value is None:
        return None
    return setting.label(value.number) or value.text


_FLAG_LABELS = frozenset({"on", "off", "yes", "no", "true", "false", "enabled", "disabled", "enable", "disable"})
