"""Answers to held lines of an open job card, given between two runs and without the aircraft."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.sheets import current_sheet, keep_answer, known_catalogue
from rotorwright.changeover.steps import standing
from rotorwright.errors import WorkflowError
from rotorwright.settings.answering import apply_answers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.sheet import CarryOverSheet


class NothingToDecideError(WorkflowError):
    """The job card is not at a place where held lines can be decided."""

    id = "changeover.nothing-to-decide"


def take_answers(shop: Workshop, answers: Mapping[str, Answer]) -> CarryOverSheet:
    """Commit answers to held lines, by a found name of each; return the sheet as it stands then.

    All of them fit and each is committed by itself, or none is.

    Raises:
        NothingToDecideError: there is no sheet yet, its plan is accepted, or the job is over or on the way back.
        AnswersDoNotFitError, NotHeldError, UnknownOptionError, ByHandRefusedError, ClaimedTwiceError: none was taken.
    """
    require_open_to_answers(shop)
    sheet = current_sheet(shop)
    apply_answers(sheet, answers, new_catalogue=known_catalogue(shop))
    for name, answer in answers.items():
        held = next(each for each in sheet.held if name in each.found)
        keep_answer(shop, held, answer)
    return current_sheet(shop)


def require_sheet(shop: Workshop) -> None:
    """Return if the job card has a carry-over sheet.

    Raises:
        NothingToDecideError: it has none yet.
    """
    if shop.state.sheet is None:
        todo = f"Go on with `rotorwright resume {shop.journal.changeover_id}` first."
        raise _not_now(shop, "Its carry-over sheet is not made yet.", todo)


def require_open_to_answers(shop: Workshop) -> None:
    """Refuse answers where nobody asks for them.

    Raises:
        NothingToDecideError: nobody does.
    """
    state, card = shop.state, shop.journal.changeover_id
    if state.is_over or state.is_rolling_back:
        why = "It is over." if state.is_over else "It is on the way back to how the aircraft was found."
        raise _not_now(shop, why, "Look at it with `rotorwright cards`.")
    require_sheet(shop)
    if state.is_accepted:
        why = "The plan was accepted as it stands, and what was accepted is never changed behind it."
        raise _not_now(
            shop, why, f"Go on with `rotorwright resume {card}`, or back with `rotorwright roll-back {card}`."
        )


def _not_now(shop: Workshop, why: str, todo: str) -> NothingToDecideError:
    card = shop.journal.changeover_id
    return NothingToDecideError(
        f"Nothing can be decided on the job card {card} now.",
        why=why,
        state=standing(shop.state, changeover_id=card),
        todo=todo,
        changeover=card,
    )
