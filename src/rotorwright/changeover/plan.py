"""Stage plan: the person decides what is held, and accepts what will be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.errors import (
    DecisionMissingError,
    PlanNotAcceptedError,
)
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.knowledge import (
    are_old_defaults_known,
)
from rotorwright.changeover.person import PlanSummary
from rotorwright.settings.holding import ask_again

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Workshop

from rotorwright.changeover.sheets import (
    current_sheet,
    keep_answer,
    keep_sheet,
    known_catalogue,
    known_constraints,
    known_defaults,
)


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
    image, received = shop.state.image, shop.state.received
    assert image is not None
    assert received is not None
    summary = PlanSummary(
        aircraft=f"{image.board}, id {received.unique_id}",
        release_before=f"{received.family} {received.release}",
        release_after=f"{received.family} {image.release or 'of an unnamed release'}",
        image_bytes=image.size_bytes,
        sectors=image.sectors,
        counts={},
        settings_to_write=0,
        note=_later(shop),
    )
    if not shop.person.accept_plan(summary):
        raise _not_accepted()
    shop.note(EventKind.WRITE_ACCEPTED, sectors=list(image.sectors), by=shop.person.name)


def _later(shop: Workshop) -> str:
    saved = f"all {shop.state.as_found_count} are saved; they are decided after the write"
    if are_old_defaults_known(shop):
        return f"{saved}, when the new release has shown its defaults"
    return f"{saved}. Before it the old release is reset to its defaults, so that they can be read"


def _not_accepted() -> PlanNotAcceptedError:
    return PlanNotAcceptedError(
        "The plan was not accepted.",
        why="Nothing is changed on an aircraft without a person's word.",
        todo="Go on with `resume` when it is right, or leave the aircraft as it is.",
    )


def accept(shop: Workshop) -> None:
    """Show the plan and ask for consent.

    Raises:
        PlanNotAcceptedError: the person did not accept it.
    """
    if is_asked_again(shop):
        return  # the next step asks about what does not go together
    sheet = current_sheet(shop)
    writes = sheet.writes
    image, received = shop.state.image, shop.state.received
    assert image is not None
    assert received is not None
    shop.pass_measured(Gate.NOTHING_HELD, f"{len(sheet.held)} held settings, all decided")
    summary = PlanSummary(
        aircraft=f"{image.board}, id {received.unique_id}",
        release_before=f"{received.family} {received.release}",
        release_after=f"{received.family} {image.release}",
        image_bytes=image.size_bytes,
        sectors=image.sectors,
        counts={str(kind): count for kind, count in sheet.counts.items()},
        settings_to_write=len(writes),
    )
    if not shop.person.accept_plan(summary):
        raise _not_accepted()
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
    sheet = ask_again(
        before,
        known_constraints(shop) or (),
        new_defaults=known_defaults(shop),
        new_catalogue=known_catalogue(shop),
    )
    if sheet == before:
        return False
    shop.person.tell("What was decided does not go together; those settings are asked about again.")
    keep_sheet(shop, sheet, EventKind.SHEET_MADE, because="what was decided breaks a constraint between settings")
    return True
