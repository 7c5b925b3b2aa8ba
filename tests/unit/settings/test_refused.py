"""What the aircraft did not take is held, and no way of the line leads there again."""

from __future__ import annotations

from tests.unit.settings.builders import UINT8, Pair, catalogue, only, setting, ways

from rotorwright.settings.outcomes import How, Outcome
from rotorwright.settings.refused import hold_refused
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.values import Value

SAME = Pair(catalogue(setting("A", UINT8, 5)), catalogue(setting("A", UINT8, 5)))
OTHER_DEFAULT = Pair(catalogue(setting("A", UINT8, 5)), catalogue(setting("A", UINT8, 7)))


def _outcome(sent: int, stands: int, how: How) -> Outcome:
    return Outcome("A", Value.of(UINT8, sent), Value.of(UINT8, stands), how)


def _held(sheet: CarryOverSheet, outcome: Outcome) -> CarryOverSheet:
    once = hold_refused(sheet, [outcome])
    assert hold_refused(once, [outcome]) == once
    return once


def test_a_refused_value_is_held_with_the_default_alone() -> None:
    held = _held(SAME.sheet(A=9), _outcome(9, 5, How.REFUSED))
    assert only(held).rule == "refused-by-aircraft"
    assert ways(only(held)) == {"take-new-default": {}}
    assert "sent 9, stands 5 (refused)" in only(held).reason
    assert held.undecided


def test_a_limited_value_may_be_taken_as_the_aircraft_made_it() -> None:
    held = _held(SAME.sheet(A=9), _outcome(9, 8, How.LIMITED))
    assert ways(only(held)) == {"take-what-stands": {"A": "8"}, "take-new-default": {}}


def test_a_choice_that_led_to_a_refused_value_is_undone_and_others_stand() -> None:
    sheet = OTHER_DEFAULT.sheet(A=9)
    refused = _outcome(9, 7, How.REFUSED)
    assert _held(sheet.decide("A", "keep-mine"), refused).undecided
    assert not _held(sheet.decide("A", "take-new-default"), refused).undecided


def test_a_sheet_of_which_nothing_was_refused_stays_the_very_same() -> None:
    sheet = SAME.sheet(A=9)
    assert hold_refused(sheet, []) is sheet
    assert hold_refused(sheet, [_outcome(10, 5, How.REFUSED)]) is sheet
