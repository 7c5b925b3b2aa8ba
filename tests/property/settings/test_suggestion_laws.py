"""The laws of suggestions and of values by hand, on generated releases whose names nobody noted down."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from tests.property.settings.worlds import World, any_setting, found_values, successors, values
from tests.unit.settings.builders import snapshot

from rotorwright.settings.by_hand import ByHandRefusedError, ClaimedTwiceError, claimed_twice
from rotorwright.settings.carry_over import CarryOverInputs, Rule, carry_over
from rotorwright.settings.decisions import Decision, DecisionKind, Write
from rotorwright.settings.sheet import parse_sheet, print_sheet
from rotorwright.settings.successors import SettingDescription, touches_danger
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from rotorwright.settings.sheet import CarryOverSheet

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])

WORDS = (("GYRO", "SCREEN", "MOTOR"), ("FADE", "FILTER"), ("DELAY", "DELAYS", "DELAYED"))
NAMES = ["_".join(words) for words in product(*WORDS)]


@st.composite
def renamed_worlds(draw: st.DrawFn) -> World:
    """Return a world in which most names vanished, and names like them arrived."""
    world = World()
    all_names = draw(st.permutations(NAMES))[: draw(st.integers(2, 12))]
    vanished = all_names[: len(all_names) // 2]
    for old_name, new_name in zip(vanished, all_names[len(vanished) :], strict=False):
        old = draw(any_setting(old_name))
        world.old[old_name] = old
        world.found[old_name] = draw(found_values(old))
        if draw(st.integers(0, 5)):
            world.new[new_name] = draw(successors(new_name, draw(st.just(old.type)), old.default))
        if not draw(st.integers(0, 3)):
            world.new[old_name] = old
    return world


MISSING = st.frozensets(st.sampled_from(["old", "new", "defaults", "types"]))


def inputs_of(world: World, missing: frozenset[str] = frozenset()) -> CarryOverInputs:
    """Return the inputs, with some of what is known taken away; without types, all values are texts."""
    inputs = world.inputs()
    if "defaults" in missing:
        inputs = replace(inputs, old_defaults={})
    if "types" in missing:
        found, old, new = (
            {name: Value.of_text(each.text) for name, each in values.items()}
            for values in (inputs.ours.settings, inputs.old_defaults, inputs.new_defaults)
        )
        return replace(
            inputs, ours=snapshot(found), old_defaults=old, new_defaults=new, old_catalogue=None, new_catalogue=None
        )
    return replace(
        inputs,
        old_catalogue=None if "old" in missing else inputs.old_catalogue,
        new_catalogue=None if "new" in missing else inputs.new_catalogue,
    )


def vanished(sheet: CarryOverSheet) -> list[Decision]:
    return [each for each in sheet.held if each.rule == Rule.UNKNOWN_NAME]


@slow_is_fine
@given(renamed_worlds(), MISSING)
def test_a_suggestion_is_an_arrival_whose_type_range_and_labels_take_the_value(
    world: World, missing: frozenset[str]
) -> None:
    inputs = inputs_of(world, missing)
    sheet = carry_over(inputs)
    arrived = {each.name: each.default for each in sheet.arrivals}
    for held in vanished(sheet):
        assert [each.key for each in held.options].count("leave-out") == 1
        for option in held.options:
            if option.key == "leave-out":
                continue
            name = option.key.removeprefix("to-")
            event("a suggestion")
            assert name in arrived
            assert {each.name for each in option.writes} <= {name}
            setting = inputs.new_catalogue.get(name) if inputs.new_catalogue else None
            for write in option.writes:
                default = arrived[name]
                assert default is not None
                assert write.value.type is default.type
                assert write.value != default
                assert setting is None or setting.refusal(write.value) is None


@slow_is_fine
@given(renamed_worlds(), MISSING)
def test_nothing_of_arming_or_motors_has_a_suggestion_first_and_nothing_is_decided(
    world: World, missing: frozenset[str]
) -> None:
    for held in vanished(carry_over(inputs_of(world, missing))):
        assert (held.kind, held.writes, held.chosen) == (DecisionKind.HELD, (), None)
        first = held.options[0].key.removeprefix("to-")
        if first != "leave-out":
            event("offered first")
            assert not any(touches_danger(SettingDescription(name)) for name in (held.found[0], first))


@slow_is_fine
@given(renamed_worlds(), MISSING, st.randoms(use_true_random=False))
def test_suggestions_do_not_depend_on_the_order_of_input(
    world: World, missing: frozenset[str], chance: random.Random
) -> None:
    def shuffled(known: dict[str, Any]) -> dict[str, Any]:
        return dict(chance.sample(list(known.items()), len(known)))

    again = World(shuffled(world.old), shuffled(world.new), [], shuffled(world.found))
    assert print_sheet(carry_over(inputs_of(world, missing))) == print_sheet(carry_over(inputs_of(again, missing)))


@slow_is_fine
@given(renamed_worlds(), st.randoms(use_true_random=False))
def test_two_decided_lines_never_write_one_name(world: World, chance: random.Random) -> None:
    """Whatever a person takes: the names of the writes are unique, or both lines are named."""
    sheet = carry_over(inputs_of(world))
    for held in sheet.held:
        taken_too = [each for each in held.options if each.key in {other.chosen for other in sheet.held}]
        way = chance.choice(taken_too if taken_too and chance.random() < 0.8 else held.options)
        sheet = sheet.decide(held.found[0], way.key)
    taken = Counter(name for each in sheet.decisions for name in each.claims)
    assert set(claimed_twice(sheet.decisions)) == {name for name, count in taken.items() if count > 1}
    if taken and max(taken.values()) > 1:
        event("two for one")
        with pytest.raises(ClaimedTwiceError) as caught:
            _ = sheet.writes
        owners = next(iter(claimed_twice(sheet.decisions).values()))
        assert all(name in caught.value.what for each in owners for name in each.found)
    else:
        written = [each.name for each in sheet.writes]
        assert written == sorted(set(written))


@slow_is_fine
@given(renamed_worlds(), st.data())
def test_a_value_by_hand_stands_exactly_if_the_new_release_allows_it(world: World, data: st.DataObject) -> None:
    inputs = inputs_of(world)
    sheet = carry_over(inputs)
    assume(sheet.held and world.new)
    held = data.draw(st.sampled_from(sheet.held))
    new = data.draw(st.sampled_from(list(world.new.values())))
    type_ = data.draw(st.just(new.type) | st.sampled_from([SettingType.UINT8, SettingType.FLOAT]))
    value = data.draw(values(type_))
    others = {name for each in sheet.decisions if each is not held for name in each.new_names}
    is_allowed = new.refusal(value) is None and new.name not in others
    event(f"allowed: {is_allowed}")
    if not is_allowed:
        with pytest.raises(ByHandRefusedError):
            sheet.decide_by_hand(held.found[0], [Write(new.name, value)], new_catalogue=inputs.new_catalogue)
        return
    decided = sheet.decide_by_hand(held.found[0], [Write(new.name, value)], new_catalogue=inputs.new_catalogue)
    (line,) = (each for each in decided.decisions if each.found == held.found)
    assert line.writes_in_force == (Write(new.name, value),)
    assert parse_sheet(print_sheet(decided), source="sheet.json") == decided
    assert [each for each in decided.decisions if each is not line] == [
        each for each in sheet.decisions if each is not held
    ]
