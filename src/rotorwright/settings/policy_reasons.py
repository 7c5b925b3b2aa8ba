"""The reasons of decisions that a policy made, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.reasons import default_words, had_set, plan_values, small_print, value_words

if TYPE_CHECKING:
    from rotorwright.settings.cases import Case
    from rotorwright.settings.plans import TargetPlan
    from rotorwright.settings.sides import Sides

ASKED = "your policy holds customised settings of this class"


def kept_over_default(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Customised, the default changed, and the policy keeps what a person set."""
    other = f"The default of {sides.new_words} is another one, {default_words(sides, case)}; your policy keeps yours"
    return f"{_stood(sides, case)} {other}: {plan_values(sides, case, plans)}.{small_print(case, plans)}"


def pinned(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Never customised, but the new default would change the feel."""
    other = f"The pilot feels it, and the default of {sides.new_words} is another one, {default_words(sides, case)}."
    kept = f"Your policy keeps the old feel: {plan_values(sides, case, plans)}."
    return f"{_stood(sides, case)} {other} {kept}{small_print(case, plans)}"


def kept_by_class(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Customised, and the policy keeps settings of this class."""
    kept = f"Your policy keeps settings of this class: {plan_values(sides, case, plans)}."
    return f"{_stood(sides, case)} {kept}{small_print(case, plans)}"


def kept_by_name(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """The policy names the setting: keep it."""
    kept = f"Your policy says to keep it: {plan_values(sides, case, plans)}."
    return f"{_stood(sides, case)} {kept}{small_print(case, plans)}"


def new_default_taken(sides: Sides, case: Case) -> str:
    """The policy takes the new default."""
    return f"{_stood(sides, case)} Your policy takes the default of {sides.new_words}: {default_words(sides, case)}."


def left_out(sides: Sides, case: Case) -> str:
    """The policy leaves out what has no place in the new release."""
    return f"{_stood(sides, case)} It has no certain place in {sides.new_words}, and your policy leaves it out."


def not_possible(reason: str) -> str:
    """The policy wants to keep what cannot be kept; the rules stand."""
    return f"{reason} Your policy says to keep it, which is not possible."


def _stood(sides: Sides, case: Case) -> str:
    return f"It stood at its default, {value_words(sides, case)}." if case.is_untouched else had_set(sides, case)
