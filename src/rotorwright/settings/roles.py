"""Settings by what they are for: the values that a check needs, whatever the firmware calls and counts them.

A release book names each role's setting in its newest release. Change notes lead from there to the name in an older
one; the catalogue tells the unit. What a role's number means where a unit cannot say it (a bit field, a choice) is on
the page docs/reference/roles.md, which a book follows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rotorwright.settings.note_entries import Convert, Rename
from rotorwright.settings.successors.units import factor
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.settings.classes import SettingClasses
    from rotorwright.settings.note_entries import ChangeNotes


@dataclass(frozen=True, slots=True)
class RoleValues:
    """What an aircraft holds, by role.

    Args:
        names: the name of each role's setting in the release that runs; a role that it lacks is missing.
        values: what the aircraft holds, by name.
        catalogue: units and labels; None where nobody knows them.
        bits: the bit of each role that is one bit of its setting.
    """

    names: Mapping[str, str]
    values: Mapping[str, Value]
    catalogue: Catalogue | None = None
    bits: Mapping[str, int] = field(default_factory=dict)

    def name(self, role: str) -> str | None:
        """Return what the running release calls this role's setting, or nothing."""
        return self.names.get(role)

    def number(self, role: str, unit: str = "") -> float | None:
        """Return the number of a role in `unit`; nothing where it is unknown, of another kind of unit, or text."""
        value = self._value(role)
        if value is None or value.type.is_text:
            return None
        found = self._setting(role)
        if not unit or found is None or not found.unit:
            return float(value.number)
        scale = factor(found.unit, unit)
        return None if scale is None else float(value.number) * scale

    def whole(self, role: str) -> int | None:
        """Return a count, a channel or a bit field; nothing where it is not known or no whole number."""
        number = self.number(role)
        return int(number) if number is not None and number == int(number) else None

    def flag(self, role: str) -> bool | None:
        """Return whether a role that is one bit of its setting is set; nothing where that is not known."""
        word, bit = self.whole(role), self.bits.get(role)
        return None if word is None or bit is None else bool(word >> bit & 1)

    def label(self, role: str) -> str | None:
        """Return the label of a choice, or nothing."""
        value, found = self._value(role), self._setting(role)
        return None if value is None or found is None or value.type.is_text else found.label(value.number)

    def value_for(self, role: str, number: float, unit: str = "") -> Value | None:
        """Return `number` (in `unit`) as the value that this role's setting takes; nothing where it has none."""
        held, found = self._value(role), self._setting(role)
        if held is None or held.type.is_text:
            return None
        scale = factor(unit, found.unit) if unit and found is not None and found.unit else 1.0
        if scale is None:
            return None
        scaled = number * scale
        text = str(round(scaled)) if held.type.is_whole else repr(scaled)
        return Value.parse(held.type, text)

    def _value(self, role: str) -> Value | None:
        name = self.names.get(role)
        return None if name is None else self.values.get(name)

    def _setting(self, role: str) -> Setting | None:
        name = self.names.get(role)
        return None if name is None or self.catalogue is None else self.catalogue.get(name)


def role_values(
    classes: SettingClasses | None,
    values: Mapping[str, Value],
    *,
    catalogue: Catalogue | None = None,
    to_newest: ChangeNotes | None = None,
) -> RoleValues:
    """Return what the aircraft holds by role.

    Args:
        classes: names of the roles in the newest release; None where no book tells them.
        values: what the aircraft holds.
        catalogue: of the release that runs.
        to_newest: notes from the release that runs to the newest; None where it is the newest.
    """
    roles = classes.roles if classes is not None else {}
    bits = classes.role_bits if classes is not None else {}
    older = _older_names(to_newest)
    named = {role: _name_here(name, values, older) for role, name in roles.items()}
    return RoleValues({role: name for role, name in named.items() if name is not None}, values, catalogue, bits)


def _older_names(notes: ChangeNotes | None) -> dict[str, str]:
    """Return the older name of each setting that was one setting before and is one now."""
    if notes is None:
        return {}
    single = [note for note in notes.entries if isinstance(note, Rename | Convert) and note.when is None]
    return {note.new: note.old for note in single}


def _name_here(newest: str, values: Mapping[str, Value], older: Mapping[str, str]) -> str | None:
    if newest in older:
        return older[newest] if older[newest] in values else None
    return newest if newest in values else None
