"""One family of errors. Each answers four questions: what, why, in what state the aircraft is, what to do next.

The facts are attributes and the text is made from them, so the terminal, the report and the journal show the same
object. A caller handles families (`LinkError`, `ImageError`, ...); a person sees a stable short id (`image.cut-short`)
that the reference page docs/reference/errors.md lists.

Three questions that a caller may ask are attributes too: whose doing it is (`blame`), whether the same act may succeed
when tried again (`retry_helps`), and which exit code the command line ends with (`exit_code`).
"""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar, TypeAlias

Fact: TypeAlias = str | int | float | bool | None

NOTHING_SENT = "Nothing was sent to the aircraft; it is as it was."


class Blame(StrEnum):
    """Whose doing an error is."""

    OURS = "ours"
    DEVICE = "device"
    INPUT = "input"
    PERSON = "person"
    SURROUNDINGS = "surroundings"


class RotorwrightError(Exception):
    """Base of every error that a person may see.

    Args:
        what: what happened, with the values seen and expected.
        why: why, as far as known, and what is not known.
        state: what was written, what is on the aircraft now, whether the saved settings are safe.
        todo: the one thing to do next, as a command or an action of the hands.
        facts: the values in the texts, for programs.
    """

    id: ClassVar[str] = "error"
    exit_code: ClassVar[int] = 70
    blame: ClassVar[Blame] = Blame.OURS
    retry_helps: ClassVar[bool] = False

    def __init__(self, what: str, *, why: str, state: str = NOTHING_SENT, todo: str, **facts: Fact) -> None:
        super().__init__(what)
        self.what = what
        self.why = why
        self.state = state
        self.todo = todo
        self.facts = facts

    def with_state(self, state: str) -> RotorwrightError:
        """Return this same error, with what the caller knows about the aircraft put in its place."""
        self.state = state
        return self

    def as_json(self) -> dict[str, object]:
        """Return the error as plain data with the keys id, what, why, state, todo, facts, exit_code."""
        return {
            "id": self.id,
            "what": self.what,
            "why": self.why,
            "state": self.state,
            "todo": self.todo,
            "facts": dict(self.facts),
            "exit_code": self.exit_code,
        }

    def __str__(self) -> str:
        return f"{self.what}\nWhy: {self.why}\nAircraft: {self.state}\nNext: {self.todo}"


class LinkError(RotorwrightError):
    """Bytes do not reach the aircraft or do not come back: port, cable, driver, silence."""

    id = "link"
    exit_code = 3
    blame = Blame.SURROUNDINGS
    retry_helps = True


class ProtocolError(RotorwrightError):
    """The aircraft answered, but refused or answered something that the protocol does not allow here."""

    id = "protocol"
    exit_code = 4
    blame = Blame.DEVICE


class ImageError(RotorwrightError):
    """A firmware file cannot be read, is damaged, or does not belong on this board."""

    id = "image"
    exit_code = 5
    blame = Blame.INPUT


class SettingsError(RotorwrightError):
    """Settings data cannot be used: snapshot, catalogue, change notes, a value out of its type or range."""

    id = "settings"
    exit_code = 6
    blame = Blame.INPUT


class WorkflowError(RotorwrightError):
    """The job cannot go on here: a gate is shut, a decision is missing, a stage is not reached."""

    id = "workflow"
    exit_code = 7
    blame = Blame.PERSON


class StorageError(RotorwrightError):
    """The hangar or a file on this computer cannot be read or written."""

    id = "storage"
    exit_code = 8
    blame = Blame.SURROUNDINGS


class WrongAircraftError(RotorwrightError):
    """The device that answers is not the aircraft that was received."""

    id = "aircraft.wrong-one"
    exit_code = 9
    blame = Blame.PERSON
