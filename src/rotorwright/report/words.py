"""The fixed words and signs of the report. A state is always a word with a sign of its own, never a colour alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.report.data import Outcome, StageState, Verdict

if TYPE_CHECKING:
    from rotorwright.report.data import ReportData


@dataclass(frozen=True, slots=True)
class Mark:
    """How a state is shown: a sign for paper and screen, one for plain text, and the words."""

    sign: str
    plain_sign: str
    words: str
    tone: str


GOOD, BAD, DOUBT, QUIET = "good", "bad", "doubt", "quiet"

VERDICT_MARKS: dict[Verdict, Mark] = {
    Verdict.PASSED: Mark("\N{CHECK MARK}", "[ok]", "passed", GOOD),
    Verdict.FAILED: Mark("\N{MULTIPLICATION X}", "[!!]", "failed", BAD),
    Verdict.UNSURE: Mark("?", "[??]", "cannot be sure", DOUBT),
}

STAGE_MARKS: dict[StageState, Mark] = {
    StageState.DONE: Mark("\N{CHECK MARK}", "[ok]", "done", GOOD),
    StageState.OPEN: Mark("\N{BLACK RIGHT-POINTING SMALL TRIANGLE}", "[>>]", "open", DOUBT),
    StageState.STOPPED: Mark("\N{MULTIPLICATION X}", "[!!]", "stopped here", BAD),
    StageState.NOT_REACHED: Mark("\N{MIDDLE DOT}", "[  ]", "not reached", QUIET),
}

OUTCOME_MARKS: dict[Outcome, Mark] = {
    Outcome.SIGNED: Mark("\N{CHECK MARK}", "[ok]", "signed", GOOD),
    Outcome.ROLLED_BACK: Mark("\N{ANTICLOCKWISE OPEN CIRCLE ARROW}", "[<<]", "rolled back", DOUBT),
    Outcome.NOT_FINISHED: Mark("\N{MULTIPLICATION X}", "[!!]", "not finished", BAD),
}

OUTCOME_SENTENCES: dict[Outcome, str] = {
    Outcome.SIGNED: "Everything of the plan was written, read back, proved on the bench and signed.",
    Outcome.ROLLED_BACK: "The aircraft was taken back to the release and the settings it was found with.",
    Outcome.NOT_FINISHED: "The job is not finished. Do not fly this aircraft; take the job up again or roll it back.",
}

SIGNED_NOT_READ_BACK = (
    "Everything of the plan was written and signed. The image could not be read back; the release that answers, the "
    "settings and the bench checks are proved."
)


def outcome_sentence(data: ReportData) -> str:
    """Return how the job ended, and no more than was shown."""
    if data.outcome is Outcome.SIGNED and data.image is not None and not data.image.verified:
        return SIGNED_NOT_READ_BACK
    return OUTCOME_SENTENCES[data.outcome]


_PROPELLERS = (
    "Everything on this card was done with the propellers off. Put them on last, outside, away from people, after "
    "checking that each motor turns the right way."
)
_BATTERIES = (
    "Lithium batteries burn when they are pierced, overcharged, short-circuited or run hot. Use none that is swollen "
    "or damaged, and never leave one on its own while it is plugged in or charging."
)
_FIRST_FLIGHT = (
    "A bench check proves what was measured here and nothing more. Hover low, alone, with the arming switch under your "
    "finger, and land at the first surprise."
)
_RULES = (
    "Local rules, licences where they are asked for, and the manufacturer's instructions stand above this card. It is "
    "a record of work, not an airworthiness approval."
)
CAUTIONS: tuple[tuple[str, str], ...] = (
    ("Propellers", _PROPELLERS),
    ("Batteries", _BATTERIES),
    ("First flight", _FIRST_FLIGHT),
    ("Rules", _RULES),
)
