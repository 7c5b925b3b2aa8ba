"""What breaks a constraint between settings is held, with the settings involved and ways out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from tests.unit.settings.builders import FLOAT, UINT8, UINT16, Pair, about, catalogue, setting, ways, written
from tests.unit.settings.test_constraints import constraints

from rotorwright.settings.carry_over import carry_over
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.decisions import DecisionKind
from rotorwright.settings.holding import ask_again, broken_by_decisions
from rotorwright.settings.policies import Policy
from rotorwright.settings.sheet import parse_sheet, print_sheet

if TYPE_CHECKING:
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.constraints import Constraints
    from rotorwright.settings.sheet import CarryOverSheet

ORDER = '[[order]]\nlower = "LOW"\nupper = "HIGH"\nwhy = "So."\n'
SUM = '[[sum]]\nof = ["A", "B"]\nat_most = 10\nwhy = "So."\n'
NEEDS = '[[needs]]\nif = { setting = "A", is = 1 }\nthen = { setting = "B", is = [2, 3] }\nwhy = "So."\n'


def sheet(old: Catalogue, new: Catalogue, rules: Constraints, **mine: float) -> CarryOverSheet:
    inputs = replace(Pair(old, new).inputs(**mine), constraints=rules)
    return carry_over(inputs)


def same(rules: str, known: Catalogue, **mine: float) -> CarryOverSheet:
    return sheet(known, known, constraints(rules), **mine)


BOUNDS = catalogue(setting("LOW", UINT8, 10, high=200), setting("HIGH", UINT8, 100, high=200))


def test_what_keeps_the_constraint_is_carried_as_ever() -> None:
    found = same(ORDER, BOUNDS, LOW=20, HIGH=90)
    assert written(about(found, "LOW")) == {"LOW": "20"}
    assert found.held == ()
    assert found.remarks == ()


def test_the_one_that_writes_into_a_broken_constraint_is_held_and_the_untouched_one_is_not() -> None:
    found = same(ORDER, BOUNDS, LOW=150)
    held = about(found, "LOW")
    assert (held.kind, held.rule, held.writes) == ("held", "constraint-broken", ())
    assert "LOW has to be below HIGH, but LOW is 150, HIGH is 100. So." in held.reason
    assert held.reason.endswith("Please decide.")
    assert ways(held) == {"keep-mine": {"LOW": "150"}, "nearest-fitting": {"LOW": "99"}, "take-new-default": {}}
    assert about(found, "HIGH").kind is DecisionKind.ADOPT


def test_both_are_held_where_both_write() -> None:
    found = same(ORDER, BOUNDS, LOW=50, HIGH=40)
    assert [each.found for each in found.held] == [("HIGH",), ("LOW",)]
    assert ways(about(found, "HIGH"))["nearest-fitting"] == {"HIGH": "51"}
    assert ways(about(found, "LOW"))["nearest-fitting"] == {"LOW": "39"}


def test_equal_numbers_are_near_enough_where_the_order_allows_them() -> None:
    found = same(ORDER + "equal = true\n", BOUNDS, LOW=150)
    assert ways(about(found, "LOW"))["nearest-fitting"] == {"LOW": "100"}


def test_a_float_moves_by_the_step_of_the_catalogue() -> None:
    volts = catalogue(
        replace(setting("LOW", FLOAT, 3.3), increment=0.01), replace(setting("HIGH", FLOAT, 3.5), increment=0.01)
    )
    assert ways(about(same(ORDER, volts, LOW=3.6), "LOW"))["nearest-fitting"] == {"LOW": "3.49"}
    assert ways(about(same(ORDER, volts, HIGH=3.2), "HIGH"))["nearest-fitting"] == {"HIGH": "3.31"}


def test_without_a_step_it_is_the_next_float() -> None:
    volts = catalogue(setting("LOW", FLOAT, 0.5), setting("HIGH", FLOAT, 1))
    assert ways(about(same(ORDER, volts, LOW=2), "LOW"))["nearest-fitting"] == {"LOW": "0.99999994"}
    below_zero = catalogue(setting("LOW", FLOAT, -2), setting("HIGH", FLOAT, 0))
    assert ways(about(same(ORDER, below_zero, LOW=1), "LOW"))["nearest-fitting"] == {"LOW": "-1e-45"}


def test_a_sum_is_brought_down_by_its_excess() -> None:
    known = catalogue(setting("A", UINT8, 1), setting("B", UINT8, 2))
    found = same(SUM, known, A=9)
    assert ways(about(found, "A"))["nearest-fitting"] == {"A": "8"}


def test_what_is_needed_is_offered() -> None:
    known = catalogue(setting("A", UINT8, 1), setting("B", UINT8, 2))
    found = same(NEEDS, known, B=9)
    assert ways(about(found, "B")) == {
        "keep-mine": {"B": "9"},
        "nearest-fitting": {"B": "3"},
        "take-new-default": {},
    }


def test_where_nothing_near_keeps_all_constraints_only_two_ways_are_left() -> None:
    known = catalogue(setting("A", UINT8, 0), setting("B", UINT8, 0))
    assert list(ways(about(same(NEEDS, known, A=1), "A"))) == ["keep-mine", "take-new-default"]
    both = ORDER + '[[order]]\nlower = "HIGH"\nupper = "LOW"\nwhy = "Never."\n'
    assert list(ways(about(same(both, BOUNDS, LOW=150), "LOW"))) == ["keep-mine", "take-new-default"]


def test_what_the_new_defaults_break_by_themselves_is_told_and_holds_nobody() -> None:
    new = catalogue(setting("LOW", UINT8, 100), setting("HIGH", UINT8, 50), setting("LAMP", UINT8, 0))
    old = catalogue(setting("LAMP", UINT8, 0))
    found = sheet(old, new, constraints(ORDER), LAMP=5)
    assert found.held == ()
    assert found.remarks == (
        "The new defaults break this by themselves: LOW has to be below HIGH, but LOW is 100, HIGH is 50. So.",
    )
    assert parse_sheet(print_sheet(found), source="x") == found


def test_a_value_that_the_release_does_not_allow_is_not_offered() -> None:
    known = catalogue(setting("LOW", UINT8, 10, low=120, high=200), setting("HIGH", UINT8, 100, high=200))
    assert list(ways(about(same(ORDER, known, LOW=150), "LOW"))) == ["keep-mine", "take-new-default"]


def test_nobody_is_asked_again_about_what_the_new_defaults_break_by_themselves() -> None:
    new = catalogue(setting("LOW", UINT8, 100), setting("HIGH", UINT8, 50), setting("LAMP", UINT8, 0))
    found = sheet(catalogue(setting("LAMP", UINT8, 0)), new, constraints(ORDER), LAMP=5)
    assert asked(found, ORDER, new) is found


def test_what_may_go_together_with_an_undecided_setting_is_not_held_for_it() -> None:
    old = catalogue(setting("LOW", UINT8, 5), setting("HIGH", UINT8, 100))
    new = catalogue(setting("LOW", UINT8, 20), setting("HIGH", UINT8, 100))
    found = sheet(old, new, constraints(ORDER), LOW=6, HIGH=15)
    assert [each.found for each in found.held] == [("LOW",)]
    assert about(found, "LOW").rule == "default-changed"
    assert asked(found.decide("LOW", "keep-mine"), ORDER, new).undecided == ()
    assert [each.found for each in asked(found.decide("LOW", "take-new-default"), ORDER, new).undecided] == [("HIGH",)]


def test_a_constraint_on_something_undecided_waits() -> None:
    old, new = catalogue(setting("LOW", UINT8, 10)), catalogue(setting("LOW", UINT8, 20), setting("HIGH", UINT8, 30))
    found = sheet(old, new, constraints(ORDER), LOW=90)
    assert about(found, "LOW").rule == "default-changed"
    decided = found.decide("LOW", "keep-mine")
    (broken,) = broken_by_decisions(decided, constraints(ORDER), new_defaults=new.defaults, new_catalogue=new)
    assert broken.words == "LOW has to be below HIGH, but LOW is 90, HIGH is 30. So."
    assert [(name, value.text) for name, value in broken.settings] == [("LOW", "90"), ("HIGH", "30")]


def asked(found: CarryOverSheet, rules: str, known: Catalogue) -> CarryOverSheet:
    return ask_again(found, constraints(rules), new_defaults=known.defaults, new_catalogue=known)


def test_what_a_person_decided_so_that_it_breaks_is_asked_again_once() -> None:
    old, new = catalogue(setting("LOW", UINT8, 10)), catalogue(setting("LOW", UINT8, 20), setting("HIGH", UINT8, 30))
    decided = sheet(old, new, constraints(ORDER), LOW=90).decide("LOW", "keep-mine")
    again = asked(decided, ORDER, new)
    held = about(again, "LOW")
    assert (held.rule, held.chosen, again.undecided) == ("constraint-broken", None, (held,))
    assert ways(held)["nearest-fitting"] == {"LOW": "29"}
    agreed = again.decide("LOW", "keep-mine")
    assert asked(agreed, ORDER, new) is agreed, "who agreed knowingly is not asked for ever"
    mended = again.decide("LOW", "nearest-fitting")
    assert asked(mended, ORDER, new) is mended


def test_agreeing_to_one_pair_of_values_is_no_agreement_to_another() -> None:
    found = same(ORDER, BOUNDS, LOW=150, HIGH=90)
    decided = found.decide("LOW", "keep-mine").decide("HIGH", "take-new-default")
    again = asked(decided, ORDER, BOUNDS)
    assert [each.found for each in again.undecided] == [("LOW",)]
    assert "LOW is 150, HIGH is 100" in about(again, "LOW").reason


def test_a_pinned_default_that_breaks_a_constraint_is_held_too() -> None:
    old = catalogue(setting("LOW", UINT16, 60))
    new = catalogue(setting("LOW", UINT16, 10), setting("HIGH", UINT16, 50))
    inputs = replace(
        Pair(old, new).inputs(),
        constraints=constraints(ORDER),
        policy=Policy.parse("same-feel"),
        classes=SettingClasses(feel=("LOW",)),
    )
    assert ways(about(carry_over(inputs), "LOW"))["nearest-fitting"] == {"LOW": "49"}
