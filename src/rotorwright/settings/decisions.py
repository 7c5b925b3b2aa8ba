"""What a carry-over decides, as data: one decision for each found setting, with its reason in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.settings.values import Value


class DecisionKind(StrEnum):
    """What becomes of a setting."""

    ADOPT = "adopt"
    KEEP = "keep"
    RENAME = "rename"
    CONVERT = "convert"
    RELABEL = "relabel"
    SPLIT = "split"
    JOIN = "join"
    REFIT = "refit"
    PIN = "pin"
    BOARD = "board"
    CALIBRATION = "calibration"
    RETIRED = "retired"
    HELD = "held"


class Rule(StrEnum):
    """By which rule it was decided. These ids are stable; docs/explanation/carry-over.md says what each means."""

    NEVER_CUSTOMISED = "never-customised"
    ALREADY_DEFAULT = "already-default"
    SAME_MEANING = "same-meaning"
    NOTE_RENAME = "note.rename"
    NOTE_CONVERT = "note.convert"
    NOTE_RELABEL = "note.relabel"
    NOTE_SPLIT = "note.split"
    NOTE_JOIN = "note.join"
    NOTE_RETIRE = "note.retire"
    NOTES_COMPOSED = "notes-composed"
    GONE_AT_DEFAULT = "gone-at-default"
    VOLATILE = "volatile"
    CLASS_BOARD = "class.board"
    CLASS_CALIBRATION = "class.calibration"
    CALIBRATE_AGAIN = "class.calibration.again"
    DEFAULT_CHANGED = "default-changed"
    OLD_DEFAULT_UNKNOWN = "old-default-unknown"
    NEW_DEFAULT_UNKNOWN = "new-default-unknown"
    NOT_EXACT = "not-exact"
    NO_NUMBER = "no-number"
    NOT_ALLOWED = "not-allowed"
    NO_LABEL = "no-label"
    LABEL_MOVED = "label-moved"
    UNIT_CHANGED = "unit-changed"
    BITS_LEFT_OVER = "bits-left-over"
    JOIN_DIFFERS = "join-differs"
    UNKNOWN_NAME = "unknown-name"
    REFUSED_BY_AIRCRAFT = "refused-by-aircraft"
    SUCCESSOR_MISSING = "successor-missing"
    NOTES_CONTRADICT = "notes-contradict"
    CONSTRAINT_BROKEN = "constraint-broken"
    POLICY_KEPT = "policy.kept"
    POLICY_PINNED = "policy.pinned"
    POLICY_CLASS = "policy.class"
    POLICY_HELD = "policy.held"
    POLICY_SETTING = "policy.setting"
    NOTES_NOT_COMPOSED = "notes-not-composed"
    CONDITION_UNKNOWN = "condition-unknown"
    REFIT_WANTED = "refit-wanted"
    NOTE_REFIT = "note.refit"


KEEP_MINE = "keep-mine"
TAKE_NEW_DEFAULT = "take-new-default"
LEAVE_OUT = "leave-out"
TAKE_WHAT_STANDS = "take-what-stands"
NEAREST_BELOW = "nearest-below"
NEAREST_ABOVE = "nearest-above"
NEAREST_FITTING = "nearest-fitting"
FOLLOW_LABEL = "follow-label"
CONVERT_UNIT = "convert-unit"
KNOWN_BITS_ONLY = "known-bits-only"
BY_HAND = "by-hand"
REFIT = "refit"
_TO_NEW_NAME = "to-"


def to_new_name(name: str) -> str:
    """Return the key of the option that takes the new setting `name` for one whose name vanished."""
    return _TO_NEW_NAME + name


@dataclass(frozen=True, slots=True)
class Write:
    """A value to be written to a setting of the new release."""

    name: str
    value: Value


@dataclass(frozen=True, slots=True)
class Option:
    """One way to decide a held setting: a stable key, words for a person, and what it writes."""

    key: str
    words: str
    writes: tuple[Write, ...] = ()


@dataclass(frozen=True, slots=True)
class Printed:
    """A decision as text: as it stands in a sheet, and canonical (RFC 8785) for its digest."""

    line: str
    canonical: str


@dataclass(frozen=True, slots=True)
class Decision:
    """What becomes of one found setting, or of several that only make sense together.

    Args:
        found: names as found on the aircraft, sorted.
        kind: what becomes of them.
        rule: by which rule, a stable id (see `Rule`).
        reason: why, in words, with the values and units.
        ours: value of each found name, as found.
        base: old default of each found name; nothing where it is not known.
        new_names: names in the new release.
        theirs: new default of each new name; nothing where it is not known.
        writes: what is to be written; never more than is needed over the new defaults.
        options: for a held decision: the ways to decide it.
        chosen: for a held decision: the key of the option taken.
    """

    found: tuple[str, ...]
    kind: DecisionKind
    rule: str
    reason: str
    ours: tuple[Value, ...]
    base: tuple[Value | None, ...]
    new_names: tuple[str, ...] = ()
    theirs: tuple[Value | None, ...] = ()
    writes: tuple[Write, ...] = ()
    options: tuple[Option, ...] = ()
    chosen: str | None = None
    _printed: list[Printed] = field(init=False, repr=False, compare=False, default_factory=list)

    def printed(self, make: Callable[[Decision], Printed]) -> Printed:
        """Return what `make` makes of this decision, made once: sheets are digested again and again, fleets share."""
        if not self._printed:
            self._printed.append(make(self))
        return self._printed[0]

    @property
    def is_undecided(self) -> bool:
        """Whether a person still has to decide it."""
        return self.kind is DecisionKind.HELD and self.chosen is None

    @property
    def is_customised(self) -> bool:
        """Whether some found value differs from its old default, or the old default is not known."""
        return self.ours != self.base

    @property
    def writes_in_force(self) -> tuple[Write, ...]:
        """What is written by this decision as it stands: nothing while it is undecided."""
        if self.chosen is None:
            return self.writes
        return next(option.writes for option in self.options if option.key == self.chosen)

    @property
    def claims(self) -> tuple[str, ...]:
        """The new settings that it speaks for as it stands, also where nothing is written: no other one may."""
        names = dict.fromkeys(each.name for each in self.writes_in_force)
        if self.chosen is not None and self.chosen.startswith(_TO_NEW_NAME):
            names[self.chosen.removeprefix(_TO_NEW_NAME)] = None
        return tuple(names)


@dataclass(frozen=True, slots=True)
class Arrival:
    """A setting of the new release that nothing found became: its default stands."""

    name: str
    default: Value | None
    words: str
