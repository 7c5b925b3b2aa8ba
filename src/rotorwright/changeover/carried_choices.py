"""A sheet made anew with all that a person decided on the one before, questions that came of answers included."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.settings.by_hand import ByHandRefusedError
from rotorwright.settings.decisions import BY_HAND, KEEP_MINE, Decision, Rule, Write
from rotorwright.settings.holding import ask_again

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.constraint_rules import Constraint
    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value

MOST_QUESTIONS = 8  # as often as one setting is asked about again; more and a person is asked anew


def carry_all_choices(
    old: CarryOverSheet,
    new: CarryOverSheet,
    constraints: Iterable[Constraint],
    *,
    new_defaults: Mapping[str, Value],
    new_catalogue: Catalogue | None,
) -> CarryOverSheet:
    """Return `new` with the choices of `old`, also those that were asked for because earlier ones broke a constraint.

    Where nothing changed between the two, it is `old` again, so that nobody is asked twice.
    """
    entries = tuple(constraints)
    sheet = carry_choices(old, new, new_catalogue=new_catalogue)
    for _ in range(MOST_QUESTIONS):
        answered = _with_answers_behind(old, sheet)
        asked = ask_again(answered, entries, new_defaults=new_defaults, new_catalogue=new_catalogue)
        carried = carry_choices(old, asked, new_catalogue=new_catalogue)
        if carried == sheet:
            break
        sheet = carried
    return sheet


def _with_answers_behind(old: CarryOverSheet, sheet: CarryOverSheet) -> CarryOverSheet:
    """Return the sheet with the earlier answers that a later question, about a broken constraint, tells of."""
    asked_later = {each.found: each for each in old.held if each.rule == Rule.CONSTRAINT_BROKEN and each.chosen}
    for held in sheet.undecided:
        later = asked_later.get(held.found)
        key = None if later is None else _answer_behind(later, held)
        if key is not None:
            sheet = sheet.decide(held.found[0], key)
    return sheet


def _answer_behind(later: Decision, held: Decision) -> str | None:
    kept = next((option.writes for option in later.options if option.key == KEEP_MINE), ())
    return next((option.key for option in held.options if option.writes == kept), None)


def carry_choices(
    old: CarryOverSheet, new: CarryOverSheet, *, new_catalogue: Catalogue | None = None
) -> CarryOverSheet:
    """Return `new` with the choices of `old` taken over where the very same question is asked again.

    A value by hand that what is known now does not allow is left to be decided anew.
    """
    asked = {decision.found: decision for decision in old.held}
    for held in new.undecided:
        before = asked.get(held.found)
        if before is None or before.chosen is None or _asked(before) != _asked(held):
            continue
        if before.chosen != BY_HAND:
            new = new.decide(held.found[0], before.chosen)
            continue
        with contextlib.suppress(ByHandRefusedError):
            new = _with_own_values(new, held, before, new_catalogue)
    return new


def _with_own_values(
    new: CarryOverSheet, held: Decision, before: Decision, new_catalogue: Catalogue | None
) -> CarryOverSheet:
    """Return the sheet with a person's own values for a line, judged anew and put as they were.

    Raises:
        ByHandRefusedError: what is known now does not allow them.
    """
    new.decide_by_hand(held.found[0], before.writes_in_force, new_catalogue=new_catalogue)
    own = next(option for option in before.options if option.key == BY_HAND)
    again = replace(held, options=(*held.options, own), chosen=BY_HAND)
    return replace(new, decisions=tuple(again if each is held else each for each in new.decisions))


def _asked(held: Decision) -> tuple[tuple[str, tuple[Write, ...]], ...]:
    """Return what was offered, without what a person added; its words may be put otherwise by another version."""
    return tuple((option.key, option.writes) for option in held.options if option.key != BY_HAND)
