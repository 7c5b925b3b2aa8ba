"""Composed notes: by way of the release between, or at once, the aircraft ends with the same settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import HealthCheck, event, given, settings
from tests.property.settings.journeys import Journey, journeys

from rotorwright.settings.carry_over import Rule, carry_over
from rotorwright.settings.composing import compose_notes
from rotorwright.settings.conditions import settings_in
from rotorwright.settings.decisions import DecisionKind
from rotorwright.settings.note_entries import new_names, old_names

if TYPE_CHECKING:
    from rotorwright.settings.notes import ChangeNotes
    from rotorwright.settings.sheet import CarryOverSheet

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def composed(journey: Journey) -> ChangeNotes:
    before, between, after = journey.catalogues
    return compose_notes(journey.notes[0], journey.notes[1], [(before, between, after)])


def left(sheet: CarryOverSheet, defaults: dict[str, object]) -> dict[str, object]:
    """Return what the aircraft holds if nothing that is held is written."""
    return {**defaults, **{write.name: write.value for each in sheet.decisions for write in each.writes}}


def doubtful(sheet: CarryOverSheet) -> set[str]:
    """Return the settings that wait for a person, and those whose customised value became a default in between.

    The release between cannot tell a value that was set from its own default, if they are the same.
    """
    is_doubtful = (DecisionKind.HELD, Rule.ALREADY_DEFAULT)
    return {
        name
        for each in sheet.decisions
        if each.kind in is_doubtful or each.rule in is_doubtful
        for name in (*each.found, *each.new_names)
    }


def asking(notes: ChangeNotes, doubted: set[str]) -> set[str]:
    """Return the settings whose notes have a condition on a doubtful setting."""
    return {
        name
        for note in notes.entries
        if note.when is not None and doubted & set(settings_in(note.when))
        for name in (*old_names(note), *new_names(note))
    }


def unsettled(
    journey: Journey, first: CarryOverSheet, second: CarryOverSheet, at_once: CarryOverSheet, notes: ChangeNotes
) -> set[str]:
    """Return the new settings on which some line is held, on either way."""
    early = doubtful(first)
    early |= asking(journey.notes[1], early)
    late = {
        name
        for sheet in (second, at_once)
        for each in sheet.decisions
        if each.kind is DecisionKind.HELD or early & set(each.found)
        for name in (*each.found, *each.new_names)
    }
    return late | asking(notes, early)


@slow_is_fine
@given(journeys())
def test_two_steps_and_the_composed_one_leave_the_same_settings_where_nobody_is_asked(journey: Journey) -> None:
    middle, end = journey.catalogues[1].defaults, journey.catalogues[2].defaults
    first = carry_over(journey.inputs(0, 1, journey.found, journey.notes[0]))
    between = {**middle, **{write.name: write.value for each in first.decisions for write in each.writes}}
    second = carry_over(journey.inputs(1, 2, between, journey.notes[1]))
    notes = composed(journey)
    at_once = carry_over(journey.inputs(0, 2, journey.found, notes))
    by_two, by_one = left(second, dict(end)), left(at_once, dict(end))
    certain = by_two.keys() - unsettled(journey, first, second, at_once, notes)
    event(f"{len([name for name in certain if by_one[name] != end[name]])} customised settings are compared")
    assert {name: by_one[name] for name in certain} == {name: by_two[name] for name in certain}
