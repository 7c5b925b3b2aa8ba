"""The laws of the carry-over on generated releases, notes and aircraft."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.settings.worlds import CLASSES, World, lossless_worlds, worlds
from tests.unit.settings.builders import IDENTITY, NOON, snapshot

from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, Rule, carry_over
from rotorwright.settings.catalogue import Catalogue
from rotorwright.settings.notes import ChangeNotes
from rotorwright.settings.sheet import UndecidedSettingsError, parse_sheet, print_sheet
from rotorwright.settings.snapshot import Snapshot

if TYPE_CHECKING:
    from rotorwright.settings.carry_over import Write
    from rotorwright.settings.sheet import CarryOverSheet

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def some_knowledge(inputs: CarryOverInputs, missing: frozenset[str]) -> CarryOverInputs:
    """Return the inputs with some of what is known taken away."""
    if "defaults" in missing:
        kept = dict(list(inputs.old_defaults.items())[::2])
        inputs = replace(inputs, old_defaults=kept, new_defaults=dict(list(inputs.new_defaults.items())[1::2]))
    return replace(
        inputs,
        old_catalogue=None if "old_catalogue" in missing else inputs.old_catalogue,
        new_catalogue=None if "new_catalogue" in missing else inputs.new_catalogue,
        notes=None if "notes" in missing else inputs.notes,
        classes=None if "classes" in missing else inputs.classes,
    )


MISSING = st.frozensets(st.sampled_from(["old_catalogue", "new_catalogue", "notes", "classes", "defaults"]))
MISSING_BUT_DEFAULTS = MISSING.map(lambda missing: missing - {"defaults"})


def decide_all(sheet: CarryOverSheet, seed: int) -> CarryOverSheet:
    """Decide everything held, in some order and some way; no new name is given to two of them."""
    chance = random.Random(seed)
    for held in sorted(sheet.held, key=lambda _: chance.random()):
        taken = {name for each in sheet.decisions if each.found != held.found for name in each.claims}
        free = [each.key for each in held.options if not taken & {*replace(held, chosen=each.key).claims}]
        sheet = sheet.decide(chance.choice(held.found), chance.choice(free))
    return sheet


def all_possible_writes(sheet: CarryOverSheet) -> list[Write]:
    return [
        write
        for decision in sheet.decisions
        for writes in (decision.writes, *(option.writes for option in decision.options))
        for write in writes
    ]


@slow_is_fine
@given(worlds(), st.booleans(), MISSING)
def test_each_found_setting_is_in_exactly_one_decision_with_a_reason(
    world: World, same_aircraft: bool, missing: frozenset[str]
) -> None:
    sheet = carry_over(some_knowledge(world.inputs(same_aircraft=same_aircraft), missing))
    assert sheet.found_names == tuple(sorted(world.found))
    for decision in sheet.decisions:
        assert decision.reason.endswith(".")
        assert decision.rule in set(Rule)
        assert decision.ours == tuple(world.found[name] for name in decision.found)
        assert len(decision.base) == len(decision.found)
        assert len(decision.theirs) == len(decision.new_names)


@slow_is_fine
@given(worlds(), MISSING)
def test_each_new_setting_either_came_from_something_or_is_an_arrival(world: World, missing: frozenset[str]) -> None:
    inputs = some_knowledge(world.inputs(), missing)
    sheet = carry_over(inputs)
    came = [name for decision in sheet.decisions for name in decision.new_names]
    arrived = [each.name for each in sheet.arrivals]
    known = inputs.new_defaults.keys() | set(inputs.new_catalogue or ())
    assert sorted(came + arrived) == sorted(known)


@slow_is_fine
@given(worlds(), MISSING)
def test_nothing_is_ever_written_outside_type_range_and_labels(world: World, missing: frozenset[str]) -> None:
    inputs = some_knowledge(world.inputs(), missing)
    sheet = carry_over(inputs)
    for write in all_possible_writes(sheet):
        default = inputs.new_defaults.get(write.name)
        setting = None if inputs.new_catalogue is None else inputs.new_catalogue.get(write.name)
        assert default is not None or setting is not None
        assert default is None or (write.value.type is default.type and write.value != default)
        assert setting is None or setting.refusal(write.value) is None


@slow_is_fine
@given(worlds(), MISSING, st.integers())
def test_held_lines_are_never_written_until_they_are_decided(world: World, missing: frozenset[str], seed: int) -> None:
    sheet = carry_over(some_knowledge(world.inputs(), missing))
    assert all(decision.writes == () and decision.options for decision in sheet.held)
    assert all(not decision.options for decision in sheet.decisions if decision.kind is not DecisionKind.HELD)
    if sheet.undecided:
        with pytest.raises(UndecidedSettingsError):
            _ = sheet.writes
    decided = decide_all(sheet, seed)
    names = [write.name for write in decided.writes]
    assert names == sorted(set(names))


@slow_is_fine
@given(worlds(), st.randoms(use_true_random=False), MISSING)
def test_decisions_do_not_depend_on_the_order_of_input(
    world: World, chance: random.Random, missing: frozenset[str]
) -> None:
    shuffled = World(
        dict(chance.sample(list(world.old.items()), len(world.old))),
        dict(chance.sample(list(world.new.items()), len(world.new))),
        chance.sample(world.notes, len(world.notes)),
        dict(chance.sample(list(world.found.items()), len(world.found))),
    )
    inputs = some_knowledge(world.inputs(), missing)
    again = replace(
        shuffled.inputs(),
        old_defaults={name: inputs.old_defaults[name] for name in reversed(list(inputs.old_defaults))},
        new_defaults={name: inputs.new_defaults[name] for name in reversed(list(inputs.new_defaults))},
    )
    again = some_knowledge(again, missing - {"defaults"})
    assert print_sheet(carry_over(inputs)) == print_sheet(carry_over(again))


@slow_is_fine
@given(worlds(), st.integers(), st.integers())
def test_the_order_of_deciding_does_not_matter(world: World, seed: int, other: int) -> None:
    sheet = carry_over(world.inputs())
    decided = decide_all(sheet, seed)
    again = sheet
    for held in sorted(decided.held, key=lambda each: random.Random(f"{other}{each.found}").random()):
        assert held.chosen is not None
        again = again.decide(held.found[-1], held.chosen)
    assert again == decided


@slow_is_fine
@given(worlds(), st.integers(), st.booleans(), MISSING_BUT_DEFAULTS)
def test_a_second_run_changes_nothing(world: World, seed: int, same_aircraft: bool, missing: frozenset[str]) -> None:
    inputs = some_knowledge(world.inputs(same_aircraft=same_aircraft), missing)
    left = decide_all(carry_over(inputs), seed).expected_settings(inputs.new_defaults)
    again = carry_over(
        CarryOverInputs(
            ours=Snapshot(replace(IDENTITY, release="6.0.0"), left, NOON),
            old_defaults=inputs.new_defaults,
            new_defaults=inputs.new_defaults,
            old_catalogue=inputs.new_catalogue,
            new_catalogue=inputs.new_catalogue,
            classes=inputs.classes,
            to_release="6.0.0",
        )
    )
    assert again.held == ()
    assert again.expected_settings(inputs.new_defaults) == left


@slow_is_fine
@given(worlds(), st.booleans())
def test_the_same_release_to_itself_is_the_identity(world: World, knows_the_catalogue: bool) -> None:
    old = Catalogue(world.old) if knows_the_catalogue else None
    allowed = {
        name: value
        for name, value in world.found.items()
        if not knows_the_catalogue or (world.old[name].refusal(value) is None and not world.old[name].volatile)
    }
    defaults = Catalogue(world.old).defaults
    inputs = CarryOverInputs(snapshot(allowed), defaults, defaults, old, old, None, CLASSES, True, "5.2.0")
    sheet = carry_over(inputs)
    assert set(sheet.counts) <= {DecisionKind.ADOPT, DecisionKind.KEEP, DecisionKind.CALIBRATION}
    assert sheet.expected_settings(defaults) == {**defaults, **allowed}
    assert {write.name for write in sheet.writes} == {name for name in allowed if allowed[name] != defaults[name]}


@slow_is_fine
@given(worlds(), MISSING_BUT_DEFAULTS)
def test_where_nobody_changed_anything_the_new_defaults_stand_and_nobody_is_asked(
    world: World, missing: frozenset[str]
) -> None:
    inputs = some_knowledge(world.inputs(), missing)
    untouched = {name: inputs.old_defaults[name] for name in world.found}
    sheet = carry_over(replace(inputs, ours=snapshot(untouched)))
    assert sheet.held == ()
    assert sheet.writes == ()
    assert sheet.expected_settings(inputs.new_defaults) == dict(sorted(inputs.new_defaults.items()))


@slow_is_fine
@given(worlds(), st.integers(0, 2**32), MISSING_BUT_DEFAULTS)
def test_where_only_the_aircraft_changed_its_values_stand(world: World, seed: int, missing: frozenset[str]) -> None:
    """The new release is the old one with other settings beside it, so nothing else can have changed."""
    old = Catalogue(world.old)
    allowed = {name: each for name, each in world.found.items() if old[name].refusal(each) is None}
    allowed = {name: each for name, each in allowed.items() if not old[name].volatile}
    more = Catalogue(world.old | {f"MORE_{seed}": replace(each, name=f"MORE_{seed}") for each in world.new.values()})
    inputs = replace(world.inputs(classes=None), ours=snapshot(allowed), new_defaults=more.defaults, new_catalogue=more)
    sheet = carry_over(some_knowledge(replace(inputs, notes=None, old_catalogue=old), missing))
    assert sheet.held == ()
    expected = sheet.expected_settings(more.defaults)
    assert {name: expected[name] for name in allowed} == allowed


@slow_is_fine
@given(worlds())
def test_where_both_changed_to_the_same_value_it_stands_without_a_write(world: World) -> None:
    old, new = Catalogue(world.old), Catalogue(world.new)
    both = {
        name: each for name, each in new.defaults.items() if name in world.old and world.old[name].type is each.type
    }
    inputs = CarryOverInputs(snapshot(both), old.defaults, new.defaults, to_release="6.0.0")
    sheet = carry_over(inputs)
    assert sheet.writes == ()
    assert set(sheet.counts) <= {DecisionKind.ADOPT}


@slow_is_fine
@given(lossless_worlds())
def test_lossless_notes_go_there_and_back_bit_for_bit(world: World) -> None:
    there = world.inputs(classes=None)
    sheet = carry_over(there)
    assert sheet.held == ()
    left = sheet.expected_settings(there.new_defaults)
    back = there.notes.reversed() if there.notes else None
    assert back is not None
    assert back.cannot == ()
    sheet_back = carry_over(
        CarryOverInputs(
            ours=Snapshot(replace(IDENTITY, release="6.0.0"), left, NOON),
            old_defaults=there.new_defaults,
            new_defaults=there.old_defaults,
            old_catalogue=there.new_catalogue,
            new_catalogue=there.old_catalogue,
            notes=back.notes,
            to_release="5.2.0",
        )
    )
    assert sheet_back.held == ()
    assert sheet_back.expected_settings(there.old_defaults) == dict(sorted(world.found.items()))


@slow_is_fine
@given(worlds())
def test_the_way_back_of_the_way_back_is_the_way_there(world: World) -> None:
    notes = ChangeNotes("Thornbill", "5.2", "6.0", tuple(world.notes))
    back = notes.reversed().notes
    assert back.reversed().notes.reversed().notes == back
    assert len(back.entries) + len(notes.reversed().cannot) == len(notes.entries)


@slow_is_fine
@given(worlds(), st.integers(), MISSING)
def test_a_sheet_goes_through_its_file_and_back(world: World, seed: int, missing: frozenset[str]) -> None:
    sheet = carry_over(some_knowledge(world.inputs(), missing))
    for made in (sheet, decide_all(sheet, seed)):
        data = print_sheet(made)
        assert parse_sheet(data, source="sheet.json") == made
        assert print_sheet(parse_sheet(data, source="sheet.json")) == data
