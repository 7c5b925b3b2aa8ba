"""What a report shows, as plain values: whoever fills it needs no knowledge of how it looks.

Texts are in the words of a person who stands at the bench. Moments are ISO 8601 texts with their offset, as the journal
keeps them. Numbers stay numbers, so that the report writes them all in one way; settings are texts already, because
their exact form is the business of `rotorwright.settings`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """How the changeover stands."""

    SIGNED = "signed"
    ROLLED_BACK = "rolled back"
    NOT_FINISHED = "not finished"


class StageState(StrEnum):
    """How far one stage is."""

    DONE = "done"
    OPEN = "open"
    STOPPED = "stopped"
    NOT_REACHED = "not reached"


class Verdict(StrEnum):
    """What a check found."""

    PASSED = "passed"
    FAILED = "failed"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One thing that was measured, read or counted. `value` may be a text; `unit` may be empty."""

    label: str
    value: str | int | float
    unit: str = ""
    verdict: Verdict | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StageCard:
    """One stage of the job: receive, plan, rehearse, write, restore, prove, sign."""

    name: str
    state: StageState
    entries: tuple[Evidence, ...] = ()
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AircraftFacts:
    """Which aircraft this is, before and after. Texts that are not known are empty."""

    unique_id: str
    airframe: str
    family: str
    release_before: str
    release_after: str
    board_before: str
    board_after: str
    microcontroller: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsCount:
    """How many settings were found, decided, held for a person, written, and read back equal to the plan."""

    found: int
    decided: int
    held: int
    written: int
    verified: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """What became of one setting, or of several that were joined.

    Args:
        names: the name or names in the release before.
        new_names: the name or names in the release after; empty when unchanged or gone.
        before: the value found, as a person reads it.
        after: the value now; empty when there is none.
        reason: why.
        decision: for a held line, what was decided and by whom; empty elsewhere.
    """

    names: str
    before: str
    after: str
    reason: str
    new_names: str = ""
    decision: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetGroup:
    """All lines of the carry-over sheet with one kind of decision."""

    kind: str
    title: str
    explanation: str
    lines: tuple[SheetLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """A condition that had to hold before a step; `held_by` says how it is known: measured, or the person's word."""

    name: str
    verdict: Verdict
    words: str
    held_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageFacts:
    """The image that was written, and what was found when it was read back."""

    name: str
    sha256: str
    size_bytes: int
    sectors_written: int
    sectors_in_image: int
    verified: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One line of a plot: points (x, y) in the order of x. An expected course is drawn dashed."""

    label: str
    points: tuple[tuple[float, float], ...]
    is_expected: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Measured samples over one axis, small enough to stand beside the number made from them."""

    title: str
    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    traces: tuple[Trace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """A bench check: a measured proof of one property, with its evidence."""

    name: str
    verdict: Verdict
    words: str
    entries: tuple[Evidence, ...] = ()
    plots: tuple[Plot, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFact:
    """A file that was kept, and the digest to know it by."""

    name: str
    sha256: str
    size_bytes: int
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something that went wrong on the way and was survived: what, and how the job went on."""

    name: str
    words: str
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalLine:
    """One event of the journal."""

    sequence: int
    at: str
    kind: str
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportData:
    """Everything that one job card shows. `todo` is the one next action while the job is not finished."""

    title: str
    aircraft: AircraftFacts
    outcome: Outcome
    started_at: str
    finished_at: str
    stages: tuple[StageCard, ...]
    settings: SettingsCount | None = None
    groups: tuple[SheetGroup, ...] = ()
    image: ImageFacts | None = None
    gates: tuple[Gate, ...] = ()
    proofs: tuple[Proof, ...] = ()
    faults: tuple[Fault, ...] = ()
    files: tuple[FileFact, ...] = ()
    events: tuple[JournalLine, ...] = ()
    remarks: tuple[str, ...] = ()
    todo: str = ""
    made_by: str = ""
