from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tests.unit.settings.builders import UINT8, UINT16, catalogue, setting

from rotorwright.settings.constraint_rules import Constraint, Excludes, Needs, Order, Sum, Term
from rotorwright.settings.decisions import Write
from rotorwright.settings.values import Value
from rotorwright.settings.write_order import WritePlan, plan_writes


def plan(now: dict[str, int], then: dict[str, int], *constraints: Constraint, restarts: str = "") -> WritePlan:
    known = catalogue(*(replace(setting(name, UINT16), reboot_required=name in restarts.split()) for name in now))
    return plan_writes(
        [Write(name, Value.of(UINT16, number)) for name, number in then.items()],
        current={name: Value.of(UINT16, number) for name, number in now.items()},
        catalogue=known,
        constraints=constraints,
    )


def order_of(found: WritePlan) -> list[list[str]]:
    return [[each.name for each in batch.writes] for batch in found.batches]


def on(name: str) -> Term:
    return Term(name, among=(Fraction(1),))


def test_nothing_to_write_is_no_batch() -> None:
    assert plan_writes([], current={}) == WritePlan()
    assert WritePlan().restarts_between == 0


def test_without_constraints_the_names_are_in_order_those_that_need_a_restart_last() -> None:
    found = plan({"C": 0, "A": 0, "B": 0}, {"C": 1, "A": 1, "B": 1}, restarts="A")
    assert order_of(found) == [["B", "C", "A"]]
    assert found.batches[0].words == "Then the restart that proves them."


def test_an_upper_bound_is_raised_before_the_lower_one_and_a_lower_one_lowered_before_the_upper() -> None:
    bounds = Order("A_LOW", "B_HIGH")
    assert order_of(plan({"A_LOW": 1, "B_HIGH": 2}, {"A_LOW": 5, "B_HIGH": 6}, bounds)) == [["B_HIGH", "A_LOW"]]
    assert order_of(plan({"A_LOW": 5, "B_HIGH": 6}, {"A_LOW": 1, "B_HIGH": 2}, bounds)) == [["A_LOW", "B_HIGH"]]


def test_what_enables_comes_first_and_after_a_restart_where_it_counts_only_then() -> None:
    needs = Needs(on("A_NOTCH"), on("Z_SPEED"))
    now, then = {"A_NOTCH": 0, "B": 0, "Z_SPEED": 0}, {"A_NOTCH": 1, "B": 1, "Z_SPEED": 1}
    assert order_of(plan(now, then, needs)) == [["B", "Z_SPEED", "A_NOTCH"]]
    found = plan(now, then, needs, restarts="Z_SPEED")
    assert order_of(found) == [["B", "Z_SPEED"], ["A_NOTCH"]]
    assert found.batches[0].words == "Then a restart: A_NOTCH needs Z_SPEED, which counts only after a restart."


def test_what_needs_is_switched_off_before_what_it_needs() -> None:
    needs = Needs(on("Z_NOTCH"), on("A_SPEED"))
    assert order_of(plan({"Z_NOTCH": 1, "A_SPEED": 1}, {"Z_NOTCH": 0, "A_SPEED": 0}, needs)) == [["Z_NOTCH", "A_SPEED"]]


def test_of_two_that_exclude_each_other_one_goes_before_the_other_comes() -> None:
    excludes = Excludes(on("A"), on("B"))
    assert order_of(plan({"A": 0, "B": 1}, {"A": 1, "B": 0}, excludes)) == [["B", "A"]]
    assert order_of(plan({"A": 0, "B": 1}, {"A": 1, "B": 0}, excludes, restarts="B")) == [["B"], ["A"]]


def test_an_order_holds_across_a_restart_that_something_else_asks_for() -> None:
    """B_HIGH waits for a restart, so A_LOW, which may rise only after it, waits too."""
    found = plan(
        {"A_LOW": 1, "B_HIGH": 2, "ON": 0},
        {"A_LOW": 5, "B_HIGH": 6, "ON": 1},
        Order("A_LOW", "B_HIGH"),
        Needs(Term("B_HIGH", at_least=Fraction(6)), on("ON")),
        restarts="ON",
    )
    assert order_of(found) == [["ON"], ["B_HIGH", "A_LOW"]]


def test_in_a_sum_what_shrinks_goes_first() -> None:
    limit = Sum(("A", "B", "C"), Fraction(10))
    assert order_of(plan({"A": 1, "B": 8, "C": 1}, {"A": 7, "B": 1, "C": 2}, limit)) == [["B", "A", "C"]]


def test_settings_that_need_each_other_in_a_circle_are_written_all_the_same() -> None:
    circle = (Needs(on("A"), on("B")), Needs(on("B"), on("A")))
    found = plan({"A": 0, "B": 0}, {"A": 1, "B": 1}, *circle, restarts="A B")
    assert sorted(each.name for each in found.writes) == ["A", "B"]


def test_a_constraint_on_a_setting_that_the_aircraft_does_not_have_orders_nothing() -> None:
    writes = [Write("A", Value.of(UINT8, 1)), Write("B", Value.of(UINT8, 1))]
    found = plan_writes(
        writes, current={"A": Value.of(UINT8, 0)}, constraints=[Order("B", "Z"), Needs(on("A"), on("Z"))]
    )
    assert order_of(found) == [["A", "B"]]
