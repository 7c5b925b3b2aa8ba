"""The memory of a fleet: an old decision is taken only where everything that it hung on is the same."""

from __future__ import annotations

from dataclasses import replace

from tests.unit.settings.builders import (
    IDENTITY,
    UINT8,
    Pair,
    about,
    catalogue,
    notes_of,
    setting,
    snapshot,
    written,
)

from rotorwright.settings.carry_over import CarryOverInputs, Rule, carry_over
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.note_entries import Rename
from rotorwright.settings.remembering import MOST_FOR_ONE, DecisionMemory
from rotorwright.settings.values import Value

ONE_TO_TEN = Pair(catalogue(setting("A", UINT8, 1, high=10)), catalogue(setting("A", UINT8, 1, high=10)))


def test_other_new_defaults_are_another_job() -> None:
    memory = DecisionMemory()
    inputs = ONE_TO_TEN.inputs(A=5)
    assert written(about(carry_over(inputs, memory=memory), "A")) == {"A": "5"}
    changed = replace(inputs, new_defaults={"A": Value.of(UINT8, 7)})
    assert about(carry_over(changed, memory=memory), "A").rule == Rule.DEFAULT_CHANGED


def test_an_aircraft_that_already_has_the_release_is_another_matter() -> None:
    """What belongs to the board stays as it is when the release does, and only then."""
    memory = DecisionMemory()
    inputs = replace(
        ONE_TO_TEN.inputs(A=5), classes=SettingClasses(board=("A",)), old_catalogue=ONE_TO_TEN.new, to_release="6.0.0"
    )
    inputs = replace(inputs, new_defaults=inputs.old_defaults)
    has_it = replace(inputs, ours=replace(inputs.ours, identity=replace(IDENTITY, release="6.0.0")))
    assert about(carry_over(inputs, memory=memory), "A").rule == Rule.CLASS_BOARD
    assert about(carry_over(has_it, memory=memory), "A").rule == Rule.SAME_MEANING


def test_a_name_gives_way_only_on_an_aircraft_whose_note_speaks() -> None:
    memory = DecisionMemory()
    old, new = catalogue(setting("A", UINT8), setting("B", UINT8)), catalogue(setting("B", UINT8, 3))
    inputs = Pair(old, new, notes_of(Rename(old="A", new="B"))).inputs()
    without_a = replace(inputs, ours=snapshot({"B": Value.of(UINT8, 0)}))
    for each in (without_a, inputs, without_a):
        assert carry_over(each, memory=memory) == carry_over(each)
    assert about(carry_over(without_a, memory=memory), "B").new_names == ("B",)
    assert about(carry_over(inputs, memory=memory), "B").new_names == ()


def test_the_same_decision_is_the_very_same_object() -> None:
    memory = DecisionMemory()
    inputs = ONE_TO_TEN.inputs(A=5)
    first, second = (about(carry_over(inputs, memory=memory), "A") for _ in range(2))
    assert first is second


def test_the_memory_does_not_grow_with_the_fleet() -> None:
    memory = DecisionMemory()
    shared = ONE_TO_TEN.inputs()

    def decided(number: int) -> object:
        one: CarryOverInputs = replace(shared, ours=snapshot({"A": Value.of(UINT8, number)}))
        return about(carry_over(one, memory=memory), "A")

    first = [decided(number) for number in range(2 * MOST_FOR_ONE)]
    again = [decided(number) for number in range(2 * MOST_FOR_ONE)]
    assert first == again
    assert sum(one is other for one, other in zip(first, again, strict=True)) == MOST_FOR_ONE
