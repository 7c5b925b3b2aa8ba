"""A fleet is decided as its aircraft one by one: what is remembered of the others never shows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.settings.test_carry_over_laws import MISSING, some_knowledge
from tests.property.settings.worlds import World, found_values, worlds
from tests.unit.settings.builders import snapshot

from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.remembering import DecisionMemory

if TYPE_CHECKING:
    from rotorwright.settings.values import Value

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


@st.composite
def fleets(draw: st.DrawFn) -> tuple[CarryOverInputs, list[dict[str, Value]]]:
    """Return what a fleet shares, and what a few aircraft hold: often what another one holds, some settings missing."""
    world: World = draw(worlds())
    inputs = some_knowledge(world.inputs(same_aircraft=draw(st.booleans())), draw(MISSING))
    held = [world.found]
    for _ in range(draw(st.integers(1, 3))):
        found = dict(draw(st.sampled_from(held)))
        for name in draw(st.lists(st.sampled_from(sorted(world.old)), max_size=4)) if world.old else ():
            found[name] = draw(found_values(world.old[name]))
        for name in draw(st.lists(st.sampled_from(sorted(found)), max_size=2)) if found else ():
            found.pop(name, None)
        held.append(found)
    return inputs, held


@slow_is_fine
@given(fleets())
def test_what_was_decided_for_others_changes_nothing(fleet: tuple[CarryOverInputs, list[dict[str, Value]]]) -> None:
    inputs, held = fleet
    memory = DecisionMemory()
    for found in held:
        one = replace(inputs, ours=snapshot(found))
        assert carry_over(one, memory=memory) == carry_over(one)


@slow_is_fine
@given(worlds(), worlds())
def test_a_memory_used_for_another_job_forgets_the_first(one: World, two: World) -> None:
    memory = DecisionMemory()
    for world in (one, two, one):
        assert carry_over(world.inputs(), memory=memory) == carry_over(world.inputs())


@slow_is_fine
@given(worlds(), st.sampled_from(["family", "release", "board", "build"]))
def test_an_aircraft_of_another_release_or_board_is_decided_by_itself(world: World, what: str) -> None:
    memory = DecisionMemory()
    inputs = replace(world.inputs(), notes=None)
    other = replace(inputs, ours=replace(inputs.ours, identity=replace(inputs.ours.identity, **{what: "6.0.0"})))
    for each in (inputs, other, inputs):
        assert carry_over(each, memory=memory) == carry_over(each)
