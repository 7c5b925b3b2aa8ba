"""What a person decided is taken over to a sheet made anew, as long as the very same is offered."""

from __future__ import annotations

from dataclasses import replace

from tests.unit.settings.builders import UINT8, Pair, catalogue, setting

from rotorwright.changeover.carried_choices import carry_choices
from rotorwright.settings.decisions import Write
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.values import Value

PAIR = Pair(catalogue(setting("A", UINT8, 5)), catalogue(setting("A", UINT8, 7, high=100)))


def _reworded(sheet: CarryOverSheet) -> CarryOverSheet:
    """Return the sheet as another version of the tool might put it."""
    (held,) = sheet.held
    options = tuple(replace(option, words=f"{option.words}, in other words") for option in held.options)
    return replace(sheet, decisions=(replace(held, reason="Put otherwise.", options=options),))


def test_a_question_put_in_other_words_is_not_asked_again() -> None:
    sheet = PAIR.sheet(A=9)
    decided = sheet.decide("A", "keep-mine")
    anew = carry_choices(decided, _reworded(sheet))
    assert anew.undecided == ()
    assert anew.writes == decided.writes


def test_a_value_given_by_hand_outlives_other_words_too() -> None:
    sheet = PAIR.sheet(A=9)
    decided = sheet.decide_by_hand("A", [Write("A", Value.of(UINT8, 11))])
    assert carry_choices(decided, _reworded(sheet)).writes == (Write("A", Value.of(UINT8, 11)),)


def test_values_by_hand_are_carried_so_that_the_sheet_is_the_very_same() -> None:
    """A sheet that differs in its words alone would ask for a second consent to the same plan."""
    new = catalogue(setting("B", UINT8, 1, unit="s"), setting("C", UINT8, 2, unit="s"))
    sheet = Pair(catalogue(setting("A", UINT8, 5)), new).sheet(A=9)
    writes = [Write("C", Value.of(UINT8, 9)), Write("B", Value.of(UINT8, 9))]
    decided = sheet.decide_by_hand("A", writes, new_catalogue=new)
    assert carry_choices(decided, sheet, new_catalogue=new) == decided


def test_a_value_by_hand_that_the_aircraft_itself_does_not_allow_is_asked_about_again() -> None:
    sheet = PAIR.sheet(A=9)
    decided = sheet.decide_by_hand("A", [Write("A", Value.of(UINT8, 200))])
    assert carry_choices(decided, sheet, new_catalogue=PAIR.new).undecided


def test_another_offer_is_asked_about_again() -> None:
    decided = PAIR.sheet(A=9).decide("A", "keep-mine")
    other = Pair(catalogue(setting("A", UINT8, 5)), catalogue(setting("A", UINT8, 8, high=100))).sheet(A=10)
    assert carry_choices(decided, other).undecided
