"""What breaks a constraint between settings is held: once after all decisions are made, and again after a person's.

Only decisions that write something into the constraint are held; what breaks by the new defaults alone is told and held
by nobody, because nothing of ours can mend it.
"""

from __future__ import annotations

import math
from collections import ChainMap
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.settings.constraint_rules import (
    Broken,
    Constraint,
    Needs,
    Order,
    Sum,
    Term,
    all_names,
    broken_constraints,
    is_broken,
    number_of,
)
from rotorwright.settings.decisions import (
    KEEP_MINE,
    NEAREST_FITTING,
    TAKE_NEW_DEFAULT,
    Decision,
    DecisionKind,
    Option,
    Rule,
    Write,
)
from rotorwright.settings.values import Value, ValueNotInTypeError, nearest_float32

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import SettingType

_MOST_STEPS = 4  # floats beside the exact result, until one of them keeps the constraint


@dataclass(frozen=True, slots=True)
class _World:
    """The result as it stands: new defaults, what is written over them, and what is not decided yet."""

    constraints: tuple[Constraint, ...]
    catalogue: Catalogue | None
    defaults: Mapping[str, Value]
    result: dict[str, Value]

    def show(self, name: str, value: Value) -> str:
        setting = self.catalogue.get(name) if self.catalogue else None
        return setting.show(value) if setting is not None and setting.type is value.type else value.text

    def refuses(self, name: str, value: Value) -> bool:
        setting = self.catalogue.get(name) if self.catalogue else None
        return setting is not None and setting.refusal(value) is not None


def hold_broken_constraints(
    constraints: Iterable[Constraint],
    decisions: Sequence[Decision],
    *,
    new_defaults: Mapping[str, Value],
    new_catalogue: Catalogue | None = None,
) -> tuple[list[Decision], tuple[str, ...]]:
    """Return the decisions, those held that write something into a broken constraint, and what to tell besides.

    A constraint on a setting that is not decided yet is left until it is. The second part has a sentence for each
    constraint that the new defaults break by themselves.
    """
    entries = tuple(constraints)
    if not entries:
        return list(decisions), ()
    world = _World(entries, new_catalogue, new_defaults, _result(decisions, new_defaults))
    broken = _decided(broken_constraints(entries, world.result, show=world.show), decisions)
    return _hold(world, decisions, broken), _told(broken, decisions)


def broken_by_decisions(
    sheet: CarryOverSheet,
    constraints: Iterable[Constraint],
    *,
    new_defaults: Mapping[str, Value],
    new_catalogue: Catalogue | None = None,
) -> tuple[Broken, ...]:
    """Return what the sheet as decided breaks and nobody has agreed to: what only the new defaults break is left out.

    A person agrees by deciding a line that was held for this very constraint with these very values.
    """
    world = _World(tuple(constraints), new_catalogue, new_defaults, _result(sheet.decisions, new_defaults))
    broken = _decided(broken_constraints(world.constraints, world.result, show=world.show), sheet.decisions)
    writing = _writers(sheet.decisions)
    return tuple(each for each in broken if _is_news(each, writing))


def ask_again(
    sheet: CarryOverSheet,
    constraints: Iterable[Constraint],
    *,
    new_defaults: Mapping[str, Value],
    new_catalogue: Catalogue | None = None,
) -> CarryOverSheet:
    """Return the sheet with every decision held anew that breaks a constraint nobody has agreed to break.

    The very same sheet comes back where there is nothing to ask. What was chosen before is the first way again.
    """
    entries = tuple(constraints)
    broken = broken_by_decisions(sheet, entries, new_defaults=new_defaults, new_catalogue=new_catalogue)
    if not broken:
        return sheet
    world = _World(entries, new_catalogue, new_defaults, _result(sheet.decisions, new_defaults))
    return replace(sheet, decisions=tuple(_hold(world, sheet.decisions, broken)))


def _result(decisions: Sequence[Decision], defaults: Mapping[str, Value]) -> dict[str, Value]:
    written = {write.name: write.value for each in decisions for write in each.writes_in_force}
    return {**defaults, **written}


def _decided(broken: tuple[Broken, ...], decisions: Sequence[Decision]) -> tuple[Broken, ...]:
    """Return those of which every setting is decided."""
    open_names = {name for each in decisions if each.is_undecided for name in _may_write(each)}
    return tuple(each for each in broken if open_names.isdisjoint(all_names(each.constraint)))


def _may_write(decision: Decision) -> set[str]:
    return {*decision.new_names, *(write.name for option in decision.options for write in option.writes)}


def _writes_into(decision: Decision, constraint: Constraint) -> bool:
    names = all_names(constraint)
    return any(write.name in names for write in decision.writes_in_force)


def _writers(decisions: Sequence[Decision]) -> list[Decision]:
    return [each for each in decisions if each.writes_in_force]


def _is_news(broken: Broken, writing: Sequence[Decision]) -> bool:
    writers = [each for each in writing if _writes_into(each, broken.constraint)]
    agreed = any(each.rule == Rule.CONSTRAINT_BROKEN and broken.words in each.reason for each in writers)
    return bool(writers) and not agreed


def _told(broken: tuple[Broken, ...], decisions: Sequence[Decision]) -> tuple[str, ...]:
    written = {write.name for each in decisions for write in each.writes_in_force}
    alone = [each for each in broken if written.isdisjoint(all_names(each.constraint))]
    return tuple(f"The new defaults break this by themselves: {each.words}" for each in alone)


def _hold(world: _World, decisions: Sequence[Decision], broken: tuple[Broken, ...]) -> list[Decision]:
    if not broken:
        return list(decisions)
    involved = {name for each in broken for name in all_names(each.constraint)}
    return [each if involved.isdisjoint(_written(each)) else _held(world, each, broken) for each in decisions]


def _written(decision: Decision) -> set[str]:
    return {write.name for write in decision.writes_in_force}


def _held(world: _World, decision: Decision, all_broken: tuple[Broken, ...]) -> Decision:
    broken = [each for each in all_broken if _writes_into(decision, each.constraint)]
    told = " ".join(each.words for each in broken)
    before = decision.reason.removesuffix(" Please decide.")
    return replace(
        decision,
        kind=DecisionKind.HELD,
        rule=str(Rule.CONSTRAINT_BROKEN),
        reason=f"{before} But it does not go together with the rest: {told} Please decide.",
        writes=(),
        options=_options(world, decision, broken),
        chosen=None,
    )


def _options(world: _World, decision: Decision, broken: list[Broken]) -> tuple[Option, ...]:
    writes = decision.writes_in_force
    keep = Option(KEEP_MINE, f"Keep it all the same, though it breaks the constraint: {_shown(world, writes)}", writes)
    default = ", ".join(f"{each.name} {_default_words(world, each.name)}" for each in writes)
    take = Option(TAKE_NEW_DEFAULT, f"Take the new default: {default}")
    fitting = _fitting(world, decision, broken)
    return (keep, take) if fitting is None else (keep, fitting, take)


def _shown(world: _World, writes: Iterable[Write]) -> str:
    return ", ".join(f"{each.name} {world.show(each.name, each.value)}" for each in writes)


def _default_words(world: _World, name: str) -> str:
    value = world.defaults.get(name)
    return "not known yet" if value is None else world.show(name, value)


def _fitting(world: _World, decision: Decision, broken: list[Broken]) -> Option | None:
    """Return the option that changes one written value as little as possible so that everything holds."""
    involved = {name for each in broken for name in all_names(each.constraint)}
    looking = [each for each in world.constraints if _writes_into(decision, each)]
    best: tuple[Fraction, str, Value] | None = None
    for write in decision.writes_in_force:
        if write.name not in involved:
            continue
        for value in _candidates(world, write, broken):
            distance = _distance(write.value, value)
            if distance is None or not _mends(world, write.name, value, looking):
                continue
            if best is None or (distance, write.name) < best[:2]:
                best = (distance, write.name, value)
            break  # the candidates come in the order in which a person would try them
    if best is None:
        return None
    changed = tuple(replace(each, value=best[2]) if each.name == best[1] else each for each in decision.writes_in_force)
    return Option(NEAREST_FITTING, f"The nearest that goes together: {_shown(world, changed)}", changed)


def _mends(world: _World, name: str, value: Value, looking: list[Constraint]) -> bool:
    """Answer whether with this value all constraints of `looking` hold, and whether it is one to be written."""
    if value == world.defaults.get(name) or world.refuses(name, value):
        return False
    mended = ChainMap({name: value}, world.result)
    return not any(is_broken(each, mended) for each in looking)


def _distance(old: Value, new: Value) -> Fraction | None:
    one, other = number_of(old), number_of(new)
    if not isinstance(one, Fraction) or not isinstance(other, Fraction):
        return None
    return abs(one - other)


def _candidates(world: _World, write: Write, broken: list[Broken]) -> list[Value]:
    """Return values that may mend one of the broken constraints, in the order in which a person would try them."""
    found: list[Value] = []
    for each in broken:
        for target, towards in _targets(each.constraint, write, world.result):
            found += _values_near(world, write, target, towards)
    return found


def _targets(constraint: Constraint, write: Write, result: Mapping[str, Value]) -> list[tuple[Fraction, int]]:
    """Return numbers that would do for the written setting, each with the side on which to look further: -1, 0 or 1."""
    match constraint:
        case Order(lower=lower, upper=upper):
            other, towards = (upper, -1) if write.name == lower else (lower, 1)
            number = number_of(result[other]) if write.name in {lower, upper} else None
            return [(number, towards)] if isinstance(number, Fraction) else []
        case Sum():
            return _targets_of_sum(constraint, write, result)
        case Needs(then=then) if then.name == write.name:
            return _targets_of_term(then)
        case _:
            return []


def _targets_of_sum(constraint: Sum, write: Write, result: Mapping[str, Value]) -> list[tuple[Fraction, int]]:
    excess, now = constraint.excess(result), number_of(write.value)
    if not isinstance(excess, Fraction) or not isinstance(now, Fraction):
        return []
    if write.name in constraint.of:
        return [(now - excess, -1)]
    return [(now + excess, 1)] if write.name == constraint.at_most else []


def _targets_of_term(term: Term) -> list[tuple[Fraction, int]]:
    numbers = [(each, 0) for each in term.among if isinstance(each, Fraction)]
    if term.at_least is not None:
        numbers.append((term.at_least, 1))
    if term.at_most is not None:
        numbers.append((term.at_most, -1))
    return numbers


def _values_near(world: _World, write: Write, target: Fraction, towards: int) -> list[Value]:
    setting = world.catalogue.get(write.name) if world.catalogue else None
    step = Fraction(repr(setting.increment)) if setting is not None and setting.increment else None
    if write.value.type.is_float:
        exact = _float(target)
        stepped = None if step is None else _float(target + towards * step)
        return [each for each in (exact, stepped, *_floats_beside(exact, towards)) if each is not None]
    if not write.value.type.is_whole:
        return []
    whole = math.floor(target) if towards < 0 else math.ceil(target)
    return [value for number in (whole, whole + towards) if (value := _whole(write.value.type, number)) is not None]


def _floats_beside(exact: Value | None, towards: int) -> list[Value]:
    """Return the floats next to `exact` on one side, the nearest first."""
    if exact is None or not towards:
        return []
    if exact.number == 0:
        first, step = (0x80000000 if towards < 0 else 0), 1
    else:
        first, step = exact.bits, towards if exact.number > 0 else -towards
    return [Value(exact.type, first + step * many) for many in range(1, _MOST_STEPS)]


def _float(number: Fraction) -> Value | None:
    try:
        return nearest_float32(number)
    except ValueNotInTypeError:
        return None


def _whole(type_: SettingType, number: int) -> Value | None:
    try:
        return Value.of(type_, number)
    except ValueNotInTypeError:
        return None
