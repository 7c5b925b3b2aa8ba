"""What the aircraft did not take as it was sent is held, so that a person decides it and not the aircraft's clamp."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.settings.decisions import (
    TAKE_NEW_DEFAULT,
    TAKE_WHAT_STANDS,
    Decision,
    DecisionKind,
    Option,
    Rule,
    Write,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.outcomes import Outcome
    from rotorwright.settings.sheet import CarryOverSheet


def hold_refused(sheet: CarryOverSheet, refusals: Iterable[Outcome]) -> CarryOverSheet:
    """Return the sheet with every decision held that writes a refused value; no way of a held one leads there again.

    The very same sheet comes back where nothing of it was refused; doing it twice changes nothing more.
    """
    refused = {Write(each.name, each.sent): each for each in refusals}
    if not refused:
        return sheet
    decisions = tuple(_held(each, refused) for each in sheet.decisions)
    return sheet if decisions == sheet.decisions else replace(sheet, decisions=decisions)


def _held(decision: Decision, refused: dict[Write, Outcome]) -> Decision:
    ways = [decision.writes, *(option.writes for option in decision.options)]
    met = list(dict.fromkeys(refused[write] for writes in ways for write in writes if write in refused))
    if not met:
        return decision
    options = [option for option in decision.options if not any(write in refused for write in option.writes)]
    options = [*_standing(decision, met), *options]
    if not any(option.key == TAKE_NEW_DEFAULT for option in options):
        options.append(Option(TAKE_NEW_DEFAULT, "Take the new default"))
    keys = {option.key for option in options}
    told = "; ".join(each.words for each in met)
    return replace(
        decision,
        kind=DecisionKind.HELD,
        rule=str(Rule.REFUSED_BY_AIRCRAFT),
        reason=f"{decision.reason} The aircraft did not take it. {told}. Please decide.",
        writes=(),
        options=tuple(options),
        chosen=decision.chosen if decision.chosen in keys else None,
    )


def _standing(decision: Decision, met: list[Outcome]) -> list[Option]:
    """Return the way to take what the aircraft itself made of the values, where that is no default."""
    stands = {each.name: each.stands for each in met}
    theirs = dict(zip(decision.new_names, decision.theirs, strict=True))
    made = {name: value for name, value in stands.items() if value is not None and value != theirs.get(name)}
    if not made:
        return []
    ways = [decision.writes, *(option.writes for option in decision.options)]
    way = next(writes for writes in ways if any(write.name in made for write in writes))
    writes = tuple(
        Write(write.name, made[write.name]) if write.name in made else write
        for write in way
        if write.name not in stands or write.name in made
    )
    shown = ", ".join(f"{write.name} {write.value.text}" for write in writes)
    return [Option(TAKE_WHAT_STANDS, f"Take what the aircraft made of it: {shown}", writes)]
