"""The three sides of a carry-over: as found (ours), old defaults (base), new defaults (theirs)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.identity import release_line
from rotorwright.settings.laws import SAME, convert
from rotorwright.settings.policies import CAREFUL, Policy

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.settings.classes import SettingClasses
    from rotorwright.settings.constraints import Constraints
    from rotorwright.settings.note_entries import ChangeNotes
    from rotorwright.settings.snapshot import Snapshot
    from rotorwright.settings.values import SettingType, Value


class NotesOfOtherReleaseError(SettingsError):
    """The change notes speak of another family or of other releases than the aircraft and the plan."""

    id = "carry-over.notes-of-other-release"


@dataclass(frozen=True, slots=True)
class CarryOverInputs:
    """Everything a carry-over may look at.

    Args:
        ours: as found on the aircraft.
        old_defaults: what a fresh aircraft of the old release holds; may be incomplete or empty.
        new_defaults: what a fresh aircraft of the new release holds on this board.
        old_catalogue: of the old release, if known.
        new_catalogue: of the new release, if known.
        notes: what changed between the two, if known.
        classes: which settings are of the board and which are calibrations, if known.
        same_aircraft: whether the settings go back to the unique id they came from.
        to_release: the new release, `6.0` or `6.0.0`; taken from the notes if not given.
        constraints: what has to hold between the settings of the new release, if known.
        policy: how doubtful settings are decided.
    """

    ours: Snapshot
    old_defaults: Mapping[str, Value]
    new_defaults: Mapping[str, Value]
    old_catalogue: Catalogue | None = None
    new_catalogue: Catalogue | None = None
    notes: ChangeNotes | None = None
    classes: SettingClasses | None = None
    same_aircraft: bool = True
    to_release: str = ""
    constraints: Constraints | None = None
    policy: Policy = CAREFUL


@dataclass(frozen=True)
class Sides:
    """Look-ups over the inputs, the same for every rule.

    Raises:
        NotesOfOtherReleaseError: the notes do not belong to this pair of releases.
    """

    inputs: CarryOverInputs

    def __post_init__(self) -> None:
        notes, identity = self.inputs.notes, self.inputs.ours.identity
        if notes is None:
            return
        wanted = (identity.family, release_line(identity.release), release_line(self.to_release))
        found = (notes.family, release_line(notes.from_release), release_line(notes.to_release))
        if wanted != found:
            raise _notes_of_other_release(wanted, found)

    @cached_property
    def to_release(self) -> str:
        """The new release, or nothing where nobody said."""
        return self.inputs.to_release or (self.inputs.notes.to_release if self.inputs.notes else "")

    @cached_property
    def new_words(self) -> str:
        """The new release in words."""
        return (
            f"{self.inputs.ours.identity.family} {release_line(self.to_release)}"
            if self.to_release
            else "the new release"
        )

    @cached_property
    def is_same_release(self) -> bool:
        """Whether old and new are the very same release, as far as anyone can tell."""
        inputs = self.inputs
        if self.to_release and release_line(self.to_release) != release_line(inputs.ours.identity.release):
            return False
        return inputs.old_defaults == inputs.new_defaults and inputs.old_catalogue == inputs.new_catalogue

    @cached_property
    def is_careful(self) -> bool:
        """Whether the policy has no say: whatever is not certain is held."""
        return self.inputs.policy is CAREFUL or self.inputs.policy == CAREFUL

    def ours(self, name: str) -> Value | None:
        """Return the value as found."""
        return self.inputs.ours.settings.get(name)

    def base(self, name: str) -> Value | None:
        """Return the old default in the type that the aircraft itself uses."""
        default, found = self.inputs.old_defaults.get(name), self.ours(name)
        if default is None or found is None or default.type is found.type:
            return default
        return convert(default, SAME, found.type).value

    def theirs(self, name: str) -> Value | None:
        """Return the new default."""
        return self.inputs.new_defaults.get(name)

    def old_setting(self, name: str) -> Setting | None:
        """Return what the old catalogue says."""
        catalogue = self.inputs.old_catalogue
        return None if catalogue is None else catalogue.get(name)

    def new_setting(self, name: str) -> Setting | None:
        """Return what the new catalogue says."""
        catalogue = self.inputs.new_catalogue
        return None if catalogue is None else catalogue.get(name)

    def new_type(self, name: str) -> SettingType | None:
        """Return the type in the new release; nothing if the new release does not have the setting."""
        default = self.theirs(name)
        if default is not None:
            return default.type
        setting = self.new_setting(name)
        return setting.type if setting else None

    def refusal(self, name: str, value: Value) -> str | None:
        """Return in words why the new release does not allow the value, or nothing."""
        setting = self.new_setting(name)
        return setting.refusal(value) if setting else None

    def show_old(self, name: str, value: Value) -> str:
        """Return a value of the old release in words."""
        setting = self.old_setting(name)
        return setting.show(value) if setting and setting.type is value.type else value.shown

    def show_new(self, name: str, value: Value) -> str:
        """Return a value of the new release in words."""
        setting = self.new_setting(name)
        return setting.show(value) if setting and setting.type is value.type else value.shown


def _notes_of_other_release(wanted: tuple[str, str, str], found: tuple[str, str, str]) -> NotesOfOtherReleaseError:
    return NotesOfOtherReleaseError(
        f"The change notes are for {_pair(found)}; the job is {_pair(wanted)}.",
        why="Notes of other releases would rename and convert settings that did not change.",
        todo="Take the release book that has the notes for this pair of releases, or plan without notes.",
        wanted=_pair(wanted),
        found=_pair(found),
    )


def _pair(releases: tuple[str, str, str]) -> str:
    return f"{releases[0]} {releases[1]} to {releases[2] or 'an unnamed release'}"
