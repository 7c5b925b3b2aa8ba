"""Laws of the order in which settings are written."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st
from tests.unit.settings.builders import UINT8, catalogue, setting

from rotorwright.settings.constraint_rules import Constraint, Excludes, Needs, Order, Sum, Term, is_broken
from rotorwright.settings.decisions import Write
from rotorwright.settings.values import Value
from rotorwright.settings.write_order import WritePlan, plan_writes

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.settings.catalogue import Catalogue

NAMES = tuple("ABCDEFG")

States = tuple[dict[str, int], dict[str, int], list[Order]]


def values(numbers: Mapping[str, int]) -> dict[str, Value]:
    return {name: Value.of(UINT8, number) for name, number in numbers.items()}


def writes(start: Mapping[str, int], end: Mapping[str, int]) -> list[Write]:
    return [Write(name, value) for name, value in values(end).items() if start.get(name) != end[name]]


def states_on_the_way(start: Mapping[str, int], plan: WritePlan) -> list[dict[str, Value]]:
    state = values(start)
    found = [dict(state)]
    for write in plan.writes:
        state[write.name] = write.value
        found.append(dict(state))
    return found


@st.composite
def ordered_states(draw: st.DrawFn) -> States:
    """Two states of some settings, and orders that both keep; settings stand in the order of their ranks or anyhow."""
    ranks = draw(st.permutations(NAMES))
    pairs = draw(st.lists(st.sampled_from(list(combinations(ranks, 2))), unique=True, max_size=10))
    orders = [Order(lower, upper, or_equal=draw(st.booleans())) for lower, upper in pairs]

    def state() -> dict[str, int]:
        numbers = [draw(st.integers(0, 12)) for _ in ranks]
        return dict(zip(ranks, sorted(numbers) if draw(st.booleans()) else numbers, strict=True))

    start, end = state(), state()
    kept = [each for each in orders if not is_broken(each, values(start)) and not is_broken(each, values(end))]
    return start, end, kept


@given(ordered_states(), st.sets(st.sampled_from(NAMES)))
def test_orders_that_hold_before_and_after_hold_at_every_step(states: States, restarting: set[str]) -> None:
    start, end, orders = states
    plan = plan_writes(writes(start, end), current=values(start), catalogue=known(restarting), constraints=orders)
    assert plan.restarts_between == 0, "no value has to be in force for another one to be taken"
    for state in states_on_the_way(start, plan):
        assert not any(is_broken(each, state) for each in orders)


def known(restarting: set[str]) -> Catalogue:
    return catalogue(*(replace(setting(name, UINT8), reboot_required=name in restarting) for name in NAMES))


def is_one(name: str, number: int = 1) -> Term:
    return Term(name, among=(Fraction(number),))


@st.composite
def any_constraints(draw: st.DrawFn) -> list[Constraint]:
    """Constraints of all forms, with circles and contradictions."""
    pairs = st.permutations(NAMES).map(lambda names: names[:2])
    terms = st.integers(0, 1)
    forms: list[st.SearchStrategy[Constraint]] = [
        st.builds(lambda pair, equal: Order(pair[0], pair[1], or_equal=equal), pairs, st.booleans()),
        st.builds(lambda pair, a, b: Needs(is_one(pair[0], a), is_one(pair[1], b)), pairs, terms, terms),
        st.builds(lambda pair, a, b: Excludes(is_one(pair[0], a), is_one(pair[1], b)), pairs, terms, terms),
        st.builds(lambda names, limit: Sum(tuple(names), Fraction(limit)), pairs, st.integers(0, 9)),
        st.builds(lambda names: Order(names[0], names[1], when=is_one(names[2])), st.permutations(NAMES)),
    ]
    return draw(st.lists(st.one_of(forms), max_size=8))


STATES = st.fixed_dictionaries(dict.fromkeys(NAMES, st.integers(0, 4)))
RESTARTING = st.sets(st.sampled_from(NAMES))


@given(STATES, STATES, any_constraints(), RESTARTING)
def test_every_write_is_in_the_plan_once_whatever_the_constraints(
    start: dict[str, int], end: dict[str, int], constraints: list[Constraint], restarting: set[str]
) -> None:
    todo = writes(start, end)
    plan = plan_writes(todo, current=values(start), catalogue=known(restarting), constraints=constraints)
    assert sorted(plan.writes, key=lambda each: each.name) == sorted(todo, key=lambda each: each.name)
    assert all(batch.writes and batch.words for batch in plan.batches)


@given(STATES, STATES, any_constraints(), RESTARTING, st.randoms(use_true_random=False))
def test_the_plan_does_not_depend_on_the_order_of_the_writes(
    start: dict[str, int],
    end: dict[str, int],
    constraints: list[Constraint],
    restarting: set[str],
    chance: random.Random,
) -> None:
    todo = writes(start, end)
    one = plan_writes(todo, current=values(start), catalogue=known(restarting), constraints=constraints)
    other = plan_writes(
        chance.sample(todo, len(todo)),
        current=dict(chance.sample(list(values(start).items()), len(start))),
        catalogue=known(restarting),
        constraints=constraints,
    )
    assert one == other


def chains(names: Sequence[str]) -> list[Constraint]:
    """Each needs the one before it in the alphabet of `names`."""
    return [Needs(is_one(later), is_one(earlier)) for earlier, later in pairwise(names)]


@given(st.permutations(NAMES), RESTARTING, st.sets(st.sampled_from(NAMES)))
def test_what_enables_others_comes_first_with_as_few_restarts_as_can_be(
    names: list[str], restarting: set[str], besides: set[str]
) -> None:
    chain = [name for name in names if name not in besides]
    start, end = dict.fromkeys(NAMES, 0), dict.fromkeys(NAMES, 1)
    plan = plan_writes(
        writes(start, end), current=values(start), catalogue=known(restarting), constraints=chains(chain)
    )
    order = [each.name for each in plan.writes]
    places = [order.index(name) for name in chain]
    assert places == sorted(places)
    assert plan.restarts_between == sum(name in restarting for name in chain[:-1])
    batch_of = {write.name: place for place, batch in enumerate(plan.batches) for write in batch.writes}
    for earlier, later in pairwise(chain):
        assert batch_of[later] - batch_of[earlier] >= (earlier in restarting)


@given(STATES, STATES)
def test_a_sum_that_holds_before_and_after_holds_at_every_step(start: dict[str, int], end: dict[str, int]) -> None:
    constraint = Sum(NAMES, Fraction(max(sum(start.values()), sum(end.values()))))
    plan = plan_writes(writes(start, end), current=values(start), constraints=[constraint])
    assert not any(is_broken(constraint, state) for state in states_on_the_way(start, plan))
