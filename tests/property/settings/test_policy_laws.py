"""Laws of policies and constraints over generated releases."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.settings.worlds import World, worlds

from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, Rule, carry_over
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.constraint_rules import (
    Constraint,
    Excludes,
    Needs,
    Order,
    Sum,
    Term,
    all_names,
    broken_constraints,
)
from rotorwright.settings.constraints import Constraints
from rotorwright.settings.holding import ask_again, broken_by_decisions
from rotorwright.settings.policies import CAREFUL, Base, ClassChoice, Policy, SettingChoice, SettingClass
from rotorwright.settings.sheet import parse_sheet, print_sheet

if TYPE_CHECKING:
    from rotorwright.settings.sheet import CarryOverSheet

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])

CLASSES = SettingClasses(board=("PIN_*",), calibration=("CAL_*",), feel=("SET_*[02468]*",))

BASES = st.sampled_from(Base)
CLASS_CHOICES = st.dictionaries(st.sampled_from(SettingClass), st.sampled_from(ClassChoice))


def policies(names: st.SearchStrategy[str]) -> st.SearchStrategy[Policy]:
    choices = st.dictionaries(names, st.sampled_from(SettingChoice), max_size=4)
    return st.builds(
        lambda base, classes, chosen: Policy(base, tuple(classes.items()), tuple(chosen.items())),
        BASES,
        CLASS_CHOICES,
        choices,
    )


@given(policies(st.text(min_size=1)))
def test_the_text_of_a_policy_gives_that_very_policy_back(policy: Policy) -> None:
    assert Policy.parse(policy.text) == policy
    assert Policy.parse(policy.text).text == policy.text


def known_names(world: World) -> list[str]:
    return sorted({*world.found, *world.new})


@st.composite
def decided_worlds(draw: st.DrawFn) -> CarryOverInputs:
    """A world with a policy that may name its settings, and constraints between its new settings."""
    world = draw(worlds())
    names = known_names(world)
    policy = draw(policies(st.sampled_from(names)) if names else st.builds(Policy, BASES))
    inputs = world.inputs(same_aircraft=draw(st.booleans()), classes=CLASSES)
    if len(world.new) < 2:
        return replace(inputs, policy=policy)
    entries = draw(st.lists(constraints_between(sorted(world.new)), max_size=4))
    return replace(inputs, policy=policy, constraints=Constraints("Thornbill", "6.0", tuple(entries)))


def constraints_between(names: list[str]) -> st.SearchStrategy[Constraint]:
    pairs = st.permutations(names).map(lambda each: each[:2])
    number = st.integers(-1, 20).map(Fraction)

    def terms(name: str) -> st.SearchStrategy[Term]:
        return st.one_of(
            st.builds(lambda each: Term(name, among=(each,)), number),
            st.builds(lambda each: Term(name, not_among=(each,)), number),
            st.builds(lambda each: Term(name, at_least=each), number),
            st.builds(lambda each: Term(name, at_most=each), number),
        )

    def built(pair: list[str]) -> st.SearchStrategy[Constraint]:
        one, other = pair
        return st.one_of(
            st.builds(lambda equal: Order(one, other, or_equal=equal), st.booleans()),
            st.builds(lambda limit: Sum((one, other), limit), number),
            st.builds(Needs, terms(one), terms(other)),
            st.builds(Excludes, terms(one), terms(other)),
        )

    return pairs.flatmap(built)


def decide_all(sheet: CarryOverSheet, chance: random.Random) -> CarryOverSheet:
    for held in sheet.undecided:
        sheet = sheet.decide(held.found[0], chance.choice(held.options).key)
    return sheet


@slow_is_fine
@given(decided_worlds())
def test_each_found_setting_is_in_exactly_one_decision_whatever_the_policy(inputs: CarryOverInputs) -> None:
    sheet = carry_over(inputs)
    assert sheet.found_names == tuple(sorted(inputs.ours.settings))
    assert all(each.rule in set(Rule) and each.reason.endswith(".") for each in sheet.decisions)
    assert sheet.policy == inputs.policy.text
    assert parse_sheet(print_sheet(sheet), source="sheet") == sheet


@slow_is_fine
@given(decided_worlds())
def test_nothing_is_written_outside_type_range_and_labels_whatever_the_policy(inputs: CarryOverInputs) -> None:
    sheet = carry_over(inputs)
    writes = [write for each in sheet.decisions for write in each.writes]
    writes += [write for each in sheet.held for option in each.options for write in option.writes]
    for write in writes:
        assert inputs.new_catalogue is not None
        setting = inputs.new_catalogue[write.name]
        assert setting.refusal(write.value) is None
        assert write.value != inputs.new_defaults.get(write.name)


@slow_is_fine
@given(decided_worlds())
def test_held_lines_write_nothing_and_can_be_decided_whatever_the_policy(inputs: CarryOverInputs) -> None:
    sheet = carry_over(inputs)
    assert all(not each.writes and each.options for each in sheet.held)
    assert all(not each.options for each in sheet.decisions if each.kind is not DecisionKind.HELD)


@slow_is_fine
@given(decided_worlds(), st.randoms(use_true_random=False))
def test_the_order_of_the_input_does_not_matter_whatever_the_policy(
    inputs: CarryOverInputs, chance: random.Random
) -> None:
    policy = inputs.policy
    shuffled = replace(
        inputs,
        policy=Policy(policy.base, policy.classes[::-1], policy.settings[::-1]),
        new_defaults=dict(chance.sample(list(inputs.new_defaults.items()), len(inputs.new_defaults))),
        old_defaults=dict(chance.sample(list(inputs.old_defaults.items()), len(inputs.old_defaults))),
    )
    assert print_sheet(carry_over(shuffled)) == print_sheet(carry_over(inputs))


@slow_is_fine
@given(decided_worlds())
def test_no_sure_decision_writes_into_a_broken_constraint(inputs: CarryOverInputs) -> None:
    sheet = carry_over(inputs)
    result = {**inputs.new_defaults}
    result |= {write.name: write.value for each in sheet.decisions for write in each.writes_in_force}
    open_names = {name for each in sheet.undecided for name in each.new_names}
    open_names |= {write.name for each in sheet.undecided for option in each.options for write in option.writes}
    for broken in broken_constraints(inputs.constraints or (), result):
        names = set(all_names(broken.constraint))
        if names.isdisjoint(open_names):
            assert not any(write.name in names for each in sheet.decisions for write in each.writes_in_force)
            assert any(broken.constraint.words in remark for remark in sheet.remarks)


@slow_is_fine
@given(decided_worlds(), st.randoms(use_true_random=False))
def test_asking_again_ends_and_leaves_nothing_broken_that_nobody_agreed_to(
    inputs: CarryOverInputs, chance: random.Random
) -> None:
    constraints, known = inputs.constraints or (), inputs.new_catalogue
    sheet = decide_all(carry_over(inputs), chance)
    for _ in range(50):
        again = ask_again(sheet, constraints, new_defaults=inputs.new_defaults, new_catalogue=known)
        if again is sheet:
            break
        sheet = decide_all(again, chance)
    assert again is sheet, "a person is asked for ever"
    assert broken_by_decisions(sheet, constraints, new_defaults=inputs.new_defaults, new_catalogue=known) == ()


@slow_is_fine
@given(worlds())
def test_careful_is_what_is_decided_without_a_policy(world: World) -> None:
    inputs = world.inputs(classes=CLASSES)
    assert carry_over(replace(inputs, policy=CAREFUL)) == carry_over(replace(inputs, policy=Policy.parse("careful")))


@slow_is_fine
@given(worlds(), BASES)
def test_a_base_policy_never_asks_more_of_what_a_person_changed(world: World, base: Base) -> None:
    """It may ask about settings that nobody changed, where an old default cannot be kept exactly.

    These may be among those of which two notes contradict each other, and are then decided with others.
    """
    inputs = world.inputs(classes=CLASSES)
    asked = [each for each in carry_over(replace(inputs, policy=Policy(base))).held if each.is_customised]
    held = {each.found for each in asked if each.rule != Rule.NOTES_CONTRADICT}
    assert held <= {each.found for each in carry_over(inputs).held}
