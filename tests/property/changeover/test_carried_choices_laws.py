"""A sheet made anew from the same facts is the one that a person decided: nobody is asked twice."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st
from tests.property.settings.test_policy_laws import decide_all, decided_worlds, slow_is_fine

from rotorwright.changeover.carried_choices import carry_all_choices
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.holding import ask_again


@slow_is_fine
@given(decided_worlds(), st.randoms(use_true_random=False))
def test_a_sheet_made_anew_from_the_same_facts_needs_no_new_answer(
    inputs: CarryOverInputs, chance: random.Random
) -> None:
    constraints, known, defaults = inputs.constraints or (), inputs.new_catalogue, inputs.new_defaults
    sheet = decide_all(carry_over(inputs), chance)
    while (again := ask_again(sheet, constraints, new_defaults=defaults, new_catalogue=known)) is not sheet:
        sheet = decide_all(again, chance)
    anew = carry_all_choices(sheet, carry_over(inputs), constraints, new_defaults=defaults, new_catalogue=known)
    assert anew.undecided == ()
    assert anew.writes == sheet.writes
    assert carry_all_choices(anew, carry_over(inputs), constraints, new_defaults=defaults, new_catalogue=known) == anew
