"""The engine: take the next step, do it, look again. It stops at an error with the state of the aircraft in words."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from rotorwright.changeover import choosing, learn, plan, prove, receive, restore, roll_back, sheets, sign, write
from rotorwright.changeover.errors import ChangeoverOverError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.proving.checks import BENCH_CHECKS
from rotorwright.changeover.steps import Step, StepRule, next_step, standing
from rotorwright.errors import LinkError, RotorwrightError

if TYPE_CHECKING:
    from rotorwright.changeover.state import ChangeoverState
    from rotorwright.changeover.workshop import Workshop


def _prove_on_bench(shop: Workshop, *, check: str) -> object:
    # Off the start-up path: what judges the measurements brings large libraries along.
    from rotorwright.changeover.proving.settling import prove_check  # noqa: PLC0415

    return prove_check(shop, check)


PERFORM: dict[Step, Callable[[Workshop], object]] = {
    Step.IDENTIFY: receive.identify,
    Step.SAVE: receive.save,
    Step.CHOOSE_IMAGE: choosing.choose_image,
    Step.MAKE_SHEET: sheets.make_sheet,
    Step.DECIDE: plan.decide,
    Step.ACCEPT: plan.accept,
    Step.ACCEPT_WRITE: plan.accept_write,
    Step.LEARN_OLD_DEFAULTS: learn.learn_old_defaults,
    Step.SAVE_OLD_IMAGE: write.save_old_image,
    Step.WRITE_IMAGE: write.write_image,
    Step.START: write.start,
    Step.APPLY_DEFAULTS: restore.apply_defaults,
    Step.WRITE_DISPLAY: restore.write_display,
    Step.WRITE_SETTINGS: restore.write_settings,
    Step.PROVE_RELEASE: prove.prove_release,
    Step.PROVE_SETTINGS: prove.prove_settings,
    Step.PROVE_DISPLAY: prove.prove_display,
    Step.PROVE_ATTITUDE: prove.prove_attitude,
    **{Step(f"prove-{check}"): partial(_prove_on_bench, check=check) for check in BENCH_CHECKS},
    Step.SIGN: sign.sign,
    Step.ROLL_BACK_IMAGE: roll_back.roll_back_image,
    Step.ROLL_BACK_START: roll_back.roll_back_start,
    Step.ROLL_BACK_SETTINGS: roll_back.roll_back_settings,
    Step.ROLL_BACK_DISPLAY: roll_back.roll_back_display,
    Step.ROLL_BACK_CLOSE: roll_back.roll_back_close,
}

OnStep = Callable[[StepRule], None]


def run(shop: Workshop, *, on_step: OnStep = lambda _rule: None) -> ChangeoverState:
    """Do every step that is left and return the final state.

    An error that a second try may mend is put before the person, who may say to go on; any other ends the run.

    Raises:
        RotorwrightError: with the state of the aircraft in its `state`; the journal has it too.
    """
    while rule := next_step(shop.state):
        on_step(rule)
        try:
            PERFORM[rule.step](shop)
        except RotorwrightError as error:
            own = _own(error)
            error.with_state(f"{standing(shop.state, changeover_id=shop.journal.changeover_id)} {own}".strip())
            if isinstance(error, LinkError):
                shop.was_sent_to_bootloader = False  # whatever is there after a pulled cable may be another board
            shop.note(EventKind.INTERRUPTED, step=str(rule.step), error=error.id, what=error.what)
            if not (error.retry_helps and shop.person.go_on_after(error)):
                raise
    return shop.state


def resume(shop: Workshop) -> None:
    """Note that a changeover is taken up again.

    Raises:
        ChangeoverOverError: it is over.
    """
    if shop.state.is_over:
        raise ChangeoverOverError(
            f"The changeover {shop.journal.changeover_id} is over.",
            why="It was rolled back." if shop.state.is_rolled_back else f"{shop.state.signed_by} signed it.",
            state=standing(shop.state, changeover_id=shop.journal.changeover_id),
            todo="Start a new one with `changeover`.",
        )
    shop.note(EventKind.RESUMED, standing=standing(shop.state, changeover_id=shop.journal.changeover_id))


def _own(error: RotorwrightError) -> str:
    """Return what the error itself knows of the state, where it says more than the journal does."""
    return "" if error.state.startswith("Nothing was sent") else error.state
