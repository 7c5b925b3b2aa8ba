"""The carry-over sheet of a job: made from what is known, kept beside the journal, answered line by line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.knowledge import (
    expected_catalogue,
    expected_defaults,
    old_catalogue,
    old_defaults,
)
from rotorwright.changeover.receive import as_found, catalogue_from, keep_content, snapshot_from
from rotorwright.changeover.refitting import refit_sheet
from rotorwright.settings.answering import answer_held
from rotorwright.settings.board_inference import with_inferred_board
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.holding import ask_again
from rotorwright.settings.identity import release_line
from rotorwright.settings.policies import Policy
from rotorwright.settings.refused import hold_refused
from rotorwright.settings.sheet import CarryOverSheet, parse_sheet, print_sheet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.hangar.journal import JsonValue
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.classes import SettingClasses
    from rotorwright.settings.constraints import Constraints
    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.note_entries import ChangeNotes
    from rotorwright.settings.values import Value


def make_sheet(shop: Workshop) -> None:
    """Decide what becomes of each setting: from what is known beforehand, else from what the aircraft showed."""
    keep_sheet(shop, planned_sheet(shop), EventKind.SHEET_MADE)


def known_defaults(shop: Workshop) -> Mapping[str, Value]:
    """Return the new defaults: those that the aircraft showed, else those that are expected of it."""
    image = shop.state.image
    assert image is not None
    read = snapshot_from(shop, shop.state.new_defaults)
    return (read.settings if read else expected_defaults(shop, image)) or {}


def known_constraints(shop: Workshop) -> Constraints | None:
    """Return what has to hold between the settings of the new release, if the book says so."""
    release = shop.state.expected_release
    return shop.book().constraints(release_line(release)) if release else None


def planned_sheet(shop: Workshop) -> CarryOverSheet:
    """Return the carry-over sheet for the received aircraft against what is known of the new release now."""
    received, release = shop.state.received, shop.state.expected_release
    assert received is not None
    sheet = carry_over(
        CarryOverInputs(
            ours=as_found(shop),
            old_defaults=old_defaults(shop),
            new_defaults=known_defaults(shop),
            old_catalogue=old_catalogue(shop),
            new_catalogue=known_catalogue(shop),
            notes=known_notes(shop),
            classes=_classes(shop),
            same_aircraft=True,
            to_release=release,
            constraints=known_constraints(shop),
            policy=Policy.parse(shop.state.policy),
        )
    )
    # What a refit writes has to keep the constraints as well.
    return hold_refused(asked_again(shop, with_refits(shop, sheet)), shop.state.refusals)


def asked_again(shop: Workshop, sheet: CarryOverSheet) -> CarryOverSheet:
    """Return the sheet with all held anew that breaks a constraint which nobody has agreed to break."""
    return ask_again(
        sheet,
        known_constraints(shop) or (),
        new_defaults=known_defaults(shop),
        new_catalogue=known_catalogue(shop),
    )


def _classes(shop: Workshop) -> SettingClasses | None:
    """Return the classes of the book, with what the hangar inferred about the board when the image was chosen."""
    image = shop.state.image
    classes = shop.book().classes
    return with_inferred_board(classes, image.board_settings) if image and image.board_settings else classes


def with_refits(shop: Workshop, sheet: CarryOverSheet) -> CarryOverSheet:
    """Return the sheet with the refits worked out that its change notes ask for, as far as is decided."""
    return refit_sheet(
        sheet, notes=known_notes(shop), old_catalogue=old_catalogue(shop), new_catalogue=known_catalogue(shop)
    )


def known_notes(shop: Workshop) -> ChangeNotes | None:
    """Return the change notes between the two releases, if the book has them."""
    received, release = shop.state.received, shop.state.expected_release
    assert received is not None
    return shop.book().notes(release_line(received.release), release_line(release)) if release else None


def keep_sheet(shop: Workshop, sheet: CarryOverSheet, kind: EventKind, **more: JsonValue) -> None:
    """Keep the sheet as it stands and note it."""
    file = keep_content(shop, "sheet", "json", print_sheet(sheet))
    shop.sheets[file] = sheet
    counts: dict[str, JsonValue] = {str(decision): count for decision, count in sheet.counts.items()}
    facts: dict[str, JsonValue] = {
        "file": kept_facts(file),
        "counts": counts,
        "held": len(sheet.held),
        "undecided": len(sheet.undecided),
        **more,
    }
    shop.note(kind, **facts)


def current_sheet(shop: Workshop) -> CarryOverSheet:
    """Return the sheet as decided so far."""
    kept = shop.state.sheet
    assert kept is not None
    data = shop.journal.fetch(kept)  # checks its digest, also where the sheet is still at hand
    if kept not in shop.sheets:
        shop.sheets[kept] = parse_sheet(data, source=kept.name)
    return shop.sheets[kept]


def keep_answer(shop: Workshop, held: Decision, answer: Answer) -> None:
    """Take one answer to a held line and commit it.

    Raises:
        WorkflowError, SettingsError: it is no way to decide this line; nothing was taken.
    """
    name = held.found[0]
    answered = answer_held(current_sheet(shop), name, answer, new_catalogue=known_catalogue(shop))
    decided = with_refits(shop, answered)
    choice: JsonValue = answer if isinstance(answer, str) else dict(answer)
    keep_sheet(shop, decided, EventKind.HELD_DECIDED, names=list(held.found), choice=choice, by=shop.person.name)


def known_catalogue(shop: Workshop) -> Catalogue | None:
    """Return the best that is known of the new release's settings now: the aircraft's own catalogue, else others'."""
    image = shop.state.image
    assert image is not None
    return catalogue_from(shop, shop.state.new_catalogue) or expected_catalogue(shop, image)
