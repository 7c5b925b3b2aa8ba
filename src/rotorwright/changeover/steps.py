"""The steps of a changeover and which one is next. Pure: events in, step out.

A step is done when the state says so; the first one that is not done is next. So the same rule serves a first run, a
run taken up again after a cut, and one that went back because the aircraft showed something new.

There are two orders of the way forward. Where the defaults of both releases are known, everything is decided before the
write (`FORWARD`). Where they are not, the aircraft itself is asked before and after the write, and the settings are
decided after it (`FORWARD_LEARNING`); nothing of the aircraft's own is lost by that, since it was saved first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.changeover.state import ChangeoverState


class Stage(StrEnum):
    """Stages of a changeover, as the job card shows them."""

    RECEIVE = "receive"
    PLAN = "plan"
    WRITE = "write"
    RESTORE = "restore"
    PROVE = "prove"
    SIGN = "sign"
    ROLL_BACK = "roll back"


class Step(StrEnum):
    """Steps, in the order of the job."""

    IDENTIFY = "identify"
    SAVE = "save"
    CHOOSE_IMAGE = "choose-image"
    MAKE_SHEET = "make-sheet"
    DECIDE = "decide"
    ACCEPT = "accept"
    ACCEPT_WRITE = "accept-write"
    LEARN_OLD_DEFAULTS = "learn-old-defaults"
    SAVE_OLD_IMAGE = "save-old-image"
    WRITE_IMAGE = "write-image"
    START = "start"
    APPLY_DEFAULTS = "apply-defaults"
    WRITE_DISPLAY = "write-display"
    WRITE_SETTINGS = "write-settings"
    PROVE_RELEASE = "prove-release"
    PROVE_SETTINGS = "prove-settings"
    PROVE_DISPLAY = "prove-display"
    PROVE_ATTITUDE = "prove-attitude"
    PROVE_POWER = "prove-power"
    PROVE_ORIENTATION = "prove-orientation"
    PROVE_RECEIVER = "prove-receiver"
    PROVE_ARMING = "prove-arming"
    PROVE_FAILSAFE = "prove-failsafe"
    PROVE_MOTORS = "prove-motors"
    SIGN = "sign"
    ROLL_BACK_IMAGE = "roll-back-image"
    ROLL_BACK_START = "roll-back-start"
    ROLL_BACK_SETTINGS = "roll-back-settings"
    ROLL_BACK_DISPLAY = "roll-back-display"
    ROLL_BACK_CLOSE = "roll-back-close"


@dataclass(frozen=True, slots=True)
class StepRule:
    """One row of the job: `again` says in words why the step may be done again after an interruption."""

    step: Step
    stage: Stage
    words: str
    is_done: Callable[[ChangeoverState], bool]
    again: str


FORWARD: tuple[StepRule, ...] = (
    StepRule(
        Step.IDENTIFY, Stage.RECEIVE, "Identify the aircraft", lambda s: s.received is not None, "It only listens."
    ),
    StepRule(
        Step.SAVE,
        Stage.RECEIVE,
        "Save everything the aircraft holds, twice, and compare",
        lambda s: s.as_found is not None,
        "It only reads.",
    ),
    StepRule(
        Step.CHOOSE_IMAGE,
        Stage.PLAN,
        "Judge the image against the board",
        lambda s: s.image is not None,
        "It only reads a file.",
    ),
    StepRule(
        Step.MAKE_SHEET,
        Stage.PLAN,
        "Decide what becomes of each setting",
        lambda s: s.sheet is not None,
        "It only computes.",
    ),
    StepRule(
        Step.DECIDE, Stage.PLAN, "Ask about the held settings", lambda s: s.is_decided, "Each answer is kept by itself."
    ),
    StepRule(Step.ACCEPT, Stage.PLAN, "Accept the plan", lambda s: s.is_accepted, "It only asks."),
    StepRule(
        Step.SAVE_OLD_IMAGE,
        Stage.WRITE,
        "Enter the bootloader and keep the old image",
        lambda s: s.old_image is not None or s.is_old_image_unreadable or s.is_image_written,
        "It only reads.",
    ),
    StepRule(
        Step.WRITE_IMAGE,
        Stage.WRITE,
        "Write the image and read it back",
        lambda s: s.is_image_written,
        "It compares first and writes only sectors that differ; where it cannot look, it writes all of them again.",
    ),
    StepRule(
        Step.START,
        Stage.WRITE,
        "Start the new release and hear it answer",
        lambda s: s.new_identity is not None,
        "Starting twice is harmless.",
    ),
    StepRule(
        Step.APPLY_DEFAULTS,
        Stage.RESTORE,
        "Apply the board's own defaults",
        lambda s: s.new_defaults is not None,
        "A second reset gives the same defaults.",
    ),
    StepRule(
        Step.WRITE_DISPLAY,
        Stage.RESTORE,
        "Refresh the display characters",
        lambda s: s.is_display_verified,
        "It compares first and writes only what differs.",
    ),
    StepRule(
        Step.WRITE_SETTINGS,
        Stage.RESTORE,
        "Bring the settings back",
        lambda s: s.as_left is not None,
        "It reads first and writes only what differs from the plan.",
    ),
    StepRule(
        Step.PROVE_RELEASE,
        Stage.PROVE,
        "The release answers after a restart",
        lambda s: s.has_proved("release"),
        "It only asks.",
    ),
    StepRule(
        Step.PROVE_SETTINGS,
        Stage.PROVE,
        "The settings are those of the plan",
        lambda s: s.has_proved("settings"),
        "It only reads.",
    ),
    StepRule(
        Step.PROVE_DISPLAY,
        Stage.PROVE,
        "The display characters are those of the release",
        lambda s: s.has_proved("display"),
        "It only reads.",
    ),
    StepRule(
        Step.PROVE_ATTITUDE,
        Stage.PROVE,
        "The aircraft understands how it is held",
        lambda s: s.is_settled("attitude"),
        "It only watches.",
    ),
    StepRule(
        Step.PROVE_POWER,
        Stage.PROVE,
        "The battery is sound and measured right",
        lambda s: s.is_settled("power"),
        "It only watches.",
    ),
    StepRule(
        Step.PROVE_ORIENTATION,
        Stage.PROVE,
        "The sensors sit as the settings say",
        lambda s: s.is_settled("orientation"),
        "It only watches.",
    ),
    StepRule(
        Step.PROVE_RECEIVER,
        Stage.PROVE,
        "Each stick moves what it should",
        lambda s: s.is_settled("receiver"),
        "It only watches.",
    ),
    StepRule(
        Step.PROVE_ARMING,
        Stage.PROVE,
        "The motors are armed by the switch and by nothing else",
        lambda s: s.is_settled("arming"),
        "It watches while the switch is moved.",
    ),
    StepRule(
        Step.PROVE_FAILSAFE,
        Stage.PROVE,
        "A lost signal does what the settings say",
        lambda s: s.is_settled("failsafe"),
        "It watches while the transmitter is off.",
    ),
    StepRule(
        Step.PROVE_MOTORS,
        Stage.PROVE,
        "Each motor sits and turns as the aircraft thinks",
        lambda s: s.is_settled("motors"),
        "Each motor turns for a second behind its gate, and stops by itself.",
    ),
    StepRule(Step.SIGN, Stage.SIGN, "Sign off", lambda s: s.signed_by is not None, "It only asks."),
)

_ACCEPT_WRITE = StepRule(
    Step.ACCEPT_WRITE,
    Stage.PLAN,
    "Accept the write; what becomes of the settings is decided after it",
    lambda s: s.is_write_accepted,
    "It only asks.",
)
_LEARN_OLD_DEFAULTS = StepRule(
    Step.LEARN_OLD_DEFAULTS,
    Stage.PLAN,
    "Learn the defaults of the old release from the aircraft",
    lambda s: s.old_defaults is not None,
    "A second reset gives the same defaults; what the aircraft held is saved.",
)
_BY_STEP = {rule.step: rule for rule in (*FORWARD, _ACCEPT_WRITE, _LEARN_OLD_DEFAULTS)}

FORWARD_LEARNING: tuple[StepRule, ...] = tuple(
    _BY_STEP[step]
    for step in (
        Step.IDENTIFY,
        Step.SAVE,
        Step.CHOOSE_IMAGE,
        Step.ACCEPT_WRITE,
        Step.LEARN_OLD_DEFAULTS,
        Step.SAVE_OLD_IMAGE,
        Step.WRITE_IMAGE,
        Step.START,
        Step.APPLY_DEFAULTS,
        Step.MAKE_SHEET,
        Step.DECIDE,
        Step.ACCEPT,
        Step.WRITE_DISPLAY,
        Step.WRITE_SETTINGS,
        Step.PROVE_RELEASE,
        Step.PROVE_SETTINGS,
        Step.PROVE_DISPLAY,
        Step.PROVE_ATTITUDE,
        Step.PROVE_POWER,
        Step.PROVE_ORIENTATION,
        Step.PROVE_RECEIVER,
        Step.PROVE_ARMING,
        Step.PROVE_FAILSAFE,
        Step.PROVE_MOTORS,
        Step.SIGN,
    )
)

BACK: tuple[StepRule, ...] = (
    StepRule(
        Step.ROLL_BACK_IMAGE,
        Stage.ROLL_BACK,
        "Write the old image back",
        lambda s: s.is_old_image_written or not s.is_flash_touched,
        "It compares first and writes only sectors that differ.",
    ),
    StepRule(
        Step.ROLL_BACK_START,
        Stage.ROLL_BACK,
        "Start the old release and hear it answer",
        lambda s: s.is_old_application_answered,
        "Starting twice is harmless.",
    ),
    StepRule(
        Step.ROLL_BACK_SETTINGS,
        Stage.ROLL_BACK,
        "Bring the as-found settings back",
        lambda s: s.is_old_settings_verified,
        "It reads first and writes only what differs.",
    ),
    StepRule(
        Step.ROLL_BACK_DISPLAY,
        Stage.ROLL_BACK,
        "Bring the as-found display characters back",
        lambda s: s.is_old_display_verified,
        "It compares first and writes only what differs.",
    ),
    StepRule(Step.ROLL_BACK_CLOSE, Stage.ROLL_BACK, "Close the way back", lambda s: s.is_rolled_back, "It only notes."),
)


def next_step(state: ChangeoverState) -> StepRule | None:
    """Return the next step, or None when the changeover is over."""
    if state.is_over:
        return None
    rules = BACK if state.is_rolling_back else forward(state)
    return next((rule for rule in rules if not rule.is_done(state)), None)


def forward(state: ChangeoverState) -> tuple[StepRule, ...]:
    """Return the steps of the way forward in the order that fits what is known."""
    is_learning = state.image is not None and not state.image.are_settings_known
    return FORWARD_LEARNING if is_learning else FORWARD


def standing(state: ChangeoverState, *, changeover_id: str) -> str:
    """Return in words what is on the aircraft and where the saved settings are, for errors and for `resume`."""
    return f"{_on_board(state)} {_saved(state, changeover_id)}"


_STANDING: tuple[tuple[Callable[[ChangeoverState], bool], str], ...] = (
    (lambda s: s.is_rolled_back, "The aircraft is as it was found."),
    (
        lambda s: s.is_rolling_back and s.is_flash_touched and not s.is_old_image_written,
        "The old image is being written back; until it is whole the board answers only from its bootloader.",
    ),
    (lambda s: s.is_rolling_back, "The old release is on the board; its settings are being brought back: do not fly."),
    (
        lambda s: s.signed_by is not None,
        "The new release and the settings of the plan are on the board, proved and signed.",
    ),
    (
        lambda s: s.as_left is not None,
        "The new release and the settings of the plan are on the board; not everything is proved yet: do not fly.",
    ),
    (
        lambda s: s.new_identity is not None,
        "The new release is on the board and answers; the settings are not all back yet: do not fly.",
    ),
    (
        lambda s: s.is_image_verified,
        "The new image is on the board and was read back; it has not answered yet: do not fly.",
    ),
    (
        lambda s: s.is_image_written,
        (
            "The new image was written and could not be read back; it has not answered yet: do not fly, and do not "
            "take it for whole."
        ),
    ),
    (
        lambda s: s.is_flash_touched,
        (
            "The write was begun and not finished: the board may stay silent and answer only from its bootloader. "
            "Nothing is broken by that."
        ),
    ),
    (
        lambda s: s.is_reset_for_reading,
        (
            "The old release is on the board with its defaults, so that they can be read; its own settings are saved "
            "and not on it: do not fly. `roll-back` brings them back."
        ),
    ),
    (lambda _: True, "Nothing was changed on the aircraft."),
)
"""What is on the board, the first row that holds."""


def _on_board(state: ChangeoverState) -> str:
    return next(words for holds, words in _STANDING if holds(state))


def _saved(state: ChangeoverState, changeover_id: str) -> str:
    if state.as_found is None:
        return "No copy of its settings was needed or made yet."
    return f"Its {state.as_found_count} as-found settings are safe in {changeover_id}/{state.as_found.name}."
