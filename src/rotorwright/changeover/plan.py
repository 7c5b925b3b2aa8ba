"""Stage plan: the person decides what is held, and accepts what will be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.errors import DecisionMissingError, PlanNotAcceptedError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.knowledge import are_old_defaults_known
from rotorwright.changeover.person import PlanSummary
from rotorwright.changeover.sheets import asked_again, current_sheet, keep_answer, keep_sheet

if TYPE_CHECKING:
    from rotorwright.changeover.state import ChosenImage
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.settings.sheet import CarryOverSheet


def decide(shop: Workshop) -> None:
    """Ask the person about each held setting; each answer is committed by itself.

    Raises:
        DecisionMissingError: the person left one undecided.
    """
    while undecided := current_sheet(shop).undecided:
        held = undecided[0]
        choice = shop.person.decide(held)
        if choice is None:
            raise DecisionMissingError(
                f"{len(undecided)} held settings are not decided, the first is {' and '.join(held.found)}.",
                why=held.reason,
                state="The answers given so far are kept.",
                todo=f"Decide them with `rotorwright decide --changeover {shop.journal.changeover_id}` and go on with "
                "`resume`, or let `resume` ask.",
                undecided=len(undecided),
            )
        keep_answer(shop, held, choice)


def accept_write(shop: Workshop) -> None:
    """Show what will be written and ask for consent to that alone; the settings are decided after the write.

    Raises:
        PlanNotAcceptedError: the person did not accept it.
    """
    image = _consented(shop)
    shop.note(EventKind.WRITE_ACCEPTED, sectors=list(image.sectors), by=shop.person.name)


def _later(shop: Workshop) -> str:
    saved = f"all {shop.state.as_found_count} are saved; they are decided after the write"
    if are_old_defaults_known(shop):
        return f"{saved}, when the new release has shown its defaults"
    return f"{saved}. Before it the old release is reset to its defaults, so that they can be read"


def _consented(shop: Workshop, sheet: CarryOverSheet | None = None) -> ChosenImage:
    """Show what will be done, with the decided sheet if there is one, and return the image of the accepted plan.

    Raises:
        PlanNotAcceptedError: the person did not accept it.
    """
    image, received = shop.state.image, shop.state.received
    assert image is not None
    assert received is not None
    summary = PlanSummary(
        aircraft=f"{image.board}, id {received.unique_id}",
        release_before=f"{received.family} {received.release}",
        release_after=f"{received.family} {shop.state.expected_release or 'of an unnamed release'}",
        image_bytes=image.size_bytes,
        sectors=image.sectors,
        counts={str(kind): count for kind, count in sheet.counts.items()} if sheet else {},
        settings_to_write=len(sheet.writes) if sheet else 0,
        note="" if sheet else _later(shop),
    )
    if not shop.person.accept_plan(summary):
        raise PlanNotAcceptedError(
            "The plan was not accepted.",
            why="Nothing is changed on an aircraft without a person's word.",
            todo="Go on with `resume` when it is right, or leave the aircraft as it is.",
        )
    return image


def accept(shop: Workshop) -> None:
    """Show the plan and ask for consent.

    Raises:
        PlanNotAcceptedError: the person did not accept it.
    """
    if is_asked_again(shop):
        return  # the next step asks about what does not go together
    sheet = current_sheet(shop)
    writes = sheet.writes
    shop.pass_measured(Gate.NOTHING_HELD, f"{len(sheet.held)} held settings, all decided")
    image = _consented(shop, sheet)
    assert shop.state.sheet is not None
    shop.note(
        EventKind.PLAN_ACCEPTED,
        sheet=kept_facts(shop.state.sheet),
        sectors=list(image.sectors),
        writes=len(writes),
        by=shop.person.name,
    )


def is_asked_again(shop: Workshop) -> bool:
    """Hold anew what was decided so that it breaks a constraint between settings; answer whether anything was."""
    before = current_sheet(shop)
    sheet = asked_again(shop, before)
    if sheet == before:
        return False
    shop.person.tell("What was decided does not go together; those settings are asked about again.")
    keep_sheet(shop, sheet, EventKind.SHEET_MADE, because="what was decided breaks a constraint between settings")
    return True
