"""Short ways to build catalogues, snapshots and carry-overs for tests of the settings room."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.settings.carry_over import CarryOverInputs, Decision, carry_over
from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.identity import Identity
from rotorwright.settings.notes import ChangeNotes, Note, parse_notes
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from rotorwright.settings.classes import SettingClasses
    from rotorwright.settings.sheet import CarryOverSheet

UINT8, INT8, UINT16, INT16 = SettingType.UINT8, SettingType.INT8, SettingType.UINT16, SettingType.INT16
UINT32, INT32, FLOAT = SettingType.UINT32, SettingType.INT32, SettingType.FLOAT

IDENTITY = Identity("0123456789abcdef01234567", "Thornbill", "5.2.0", "Corvane One", "cafe01")
NOON = "2026-05-01T12:00:00Z"

NOTES_HEAD = """
format = "rotorwright-change-notes"
version = 1
family = "Thornbill"
from = "5.2"
to = "6.0"
"""


def setting(
    name: str,
    type_: SettingType,
    default: float | None = 0,
    *,
    low: float | None = None,
    high: float | None = None,
    unit: str = "",
    choices: dict[int, str] | None = None,
    bits: dict[int, str] | None = None,
    volatile: bool = False,
) -> Setting:
    """Return a setting; numbers become values of its type."""

    def value(number: float | None) -> Value | None:
        return None if number is None else Value.of(type_, number)

    return Setting(
        name,
        type_,
        short=f"About {name}",
        unit=unit,
        default=value(default),
        minimum=value(low),
        maximum=value(high),
        volatile=volatile,
        choices=tuple(Choice(number, label) for number, label in (choices or {}).items()),
        bits=tuple(Choice(number, label) for number, label in (bits or {}).items()),
    )


def catalogue(*settings: Setting) -> Catalogue:
    """Return a catalogue of these settings."""
    return Catalogue({each.name: each for each in settings})


def snapshot(settings: dict[str, Value], *, identity: Identity = IDENTITY, taken_at: str = NOON) -> Snapshot:
    """Return a snapshot of the usual aircraft."""
    return Snapshot(identity, settings, taken_at)


def notes(text: str) -> ChangeNotes:
    """Return change notes from the entries in `text`."""
    return parse_notes(NOTES_HEAD + text, source="notes.toml")


def notes_of(*entries: Note) -> ChangeNotes:
    """Return change notes of these entries."""
    return ChangeNotes("Thornbill", "5.2", "6.0", entries)


@dataclass(frozen=True)
class Pair:
    """Two releases and what is known of them; `decide` sets some values and returns the sheet."""

    old: Catalogue
    new: Catalogue
    notes: ChangeNotes | None = None
    classes: SettingClasses | None = None
    same_aircraft: bool = True

    def inputs(self, **mine: float | Value) -> CarryOverInputs:
        """Return the inputs for an aircraft at the old defaults but for the values given."""
        settings = dict(self.old.defaults)
        for name, number in mine.items():
            settings[name] = number if isinstance(number, Value) else Value.of(self.old[name].type, number)
        return CarryOverInputs(
            ours=snapshot(settings),
            old_defaults=self.old.defaults,
            new_defaults=self.new.defaults,
            old_catalogue=self.old,
            new_catalogue=self.new,
            notes=self.notes,
            classes=self.classes,
            same_aircraft=self.same_aircraft,
            to_release="6.0.0",
        )

    def sheet(self, **mine: float | Value) -> CarryOverSheet:
        """Return the sheet for an aircraft at the old defaults but for the values given."""
        return carry_over(self.inputs(**mine))

    def without_catalogues(self, **mine: float | Value) -> CarryOverSheet:
        """Return the sheet when only defaults are known."""
        return carry_over(replace(self.inputs(**mine), old_catalogue=None, new_catalogue=None))


def only(sheet: CarryOverSheet) -> Decision:
    """Return the one decision of a sheet."""
    (decision,) = sheet.decisions
    return decision


def about(sheet: CarryOverSheet, name: str) -> Decision:
    """Return the decision on `name`."""
    (decision,) = (each for each in sheet.decisions if name in each.found)
    return decision


def written(decision: Decision) -> dict[str, str]:
    """Return what a decision writes, as text."""
    return {each.name: each.value.text for each in decision.writes}


def ways(decision: Decision) -> dict[str, dict[str, str]]:
    """Return the options of a held decision: what each writes, as text."""
    return {each.key: {write.name: write.value.text for write in each.writes} for each in decision.options}
