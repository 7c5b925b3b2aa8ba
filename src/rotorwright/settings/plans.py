"""What can be done for one setting of the new release: the value to write, or what stands against it, and ways out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rotorwright.settings.decisions import (
    CONVERT_UNIT,
    FOLLOW_LABEL,
    KNOWN_BITS_ONLY,
    NEAREST_ABOVE,
    NEAREST_BELOW,
    Rule,
)
from rotorwright.settings.laws import SAME, Linear, Reciprocal, convert
from rotorwright.settings.successors.units import exact_factor, exact_reciprocal
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from rotorwright.settings.cases import Case, Target
    from rotorwright.settings.catalogue import Setting
    from rotorwright.settings.sides import Sides


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another value that a person may take."""

    words: str
    value: Value


@dataclass(frozen=True, slots=True)
class TargetPlan:
    """What can be done for one target.

    Args:
        name: of the setting in the new release.
        theirs: its new default.
        value: what of ours would stand there; nothing where there is no allowed value of ours.
        problem: why a person must decide, or nothing.
        words: what a person should know.
        takes_default: whether the new default stands because ours is the same or did not touch this part.
        alternatives: other values that may be taken, by key.
    """

    name: str
    theirs: Value | None
    value: Value | None
    problem: Rule | None = None
    words: str = ""
    takes_default: bool = False
    alternatives: dict[str, Alternative] = field(default_factory=dict)


_PROBLEMS = {
    "not-exact": Rule.NOT_EXACT,
    "no-number": Rule.NO_NUMBER,
    "no-label": Rule.NO_LABEL,
    "join-differs": Rule.JOIN_DIFFERS,
    "refit-wanted": Rule.REFIT_WANTED,
    "not-composed": Rule.NOTES_NOT_COMPOSED,
}


def plan_target(sides: Sides, case: Case, target: Target, *, defaults_matter: bool) -> TargetPlan:
    """Return what can be done for one target of a customised case.

    `defaults_matter` is false for settings that are carried whatever became of their default, such as calibrations.
    """
    value = target.ours.value
    if value is None:
        return _without_value(sides, case, target)
    if target.meaning is not None:
        return _with_other_meaning(sides, case, target, value)
    if value == target.theirs:
        return TargetPlan(target.name, target.theirs, value, words=target.ours.words, takes_default=True)
    refusal = sides.refusal(target.name, value)
    if refusal is not None:
        return _refused(sides, target, value, refusal)
    if target.is_bit_field and target.base is not None and target.base.value == value:
        return TargetPlan(target.name, target.theirs, value, takes_default=True)
    problem, words = _default_problem(sides, target) if defaults_matter else (None, "")
    return TargetPlan(target.name, target.theirs, value, problem, words or target.ours.words)


def _without_value(sides: Sides, case: Case, target: Target) -> TargetPlan:
    problem = _PROBLEMS[target.ours.problem]
    ways = _near(sides, target.name, target.ours.below, target.ours.above)
    if problem is Rule.NO_LABEL:
        ways |= _choices(sides, target.name)
    if problem is Rule.JOIN_DIFFERS:
        ways |= _each_of(sides, case, target)
    return TargetPlan(target.name, target.theirs, None, problem, target.ours.words, alternatives=ways)


def _with_other_meaning(sides: Sides, case: Case, target: Target, value: Value) -> TargetPlan:
    assert target.meaning is not None
    followed = target.meaning.followed
    ways: dict[str, Alternative] = {}
    if followed is not None and sides.refusal(target.name, followed) is None:
        shown = sides.show_new(target.name, followed)
        ways[FOLLOW_LABEL] = Alternative(f"Follow the label: {shown}", followed)
    if target.meaning.rule is Rule.UNIT_CHANGED:
        ways |= _in_new_unit(sides, case, target)
    allowed = value if sides.refusal(target.name, value) is None else None
    return TargetPlan(target.name, target.theirs, allowed, target.meaning.rule, target.meaning.words, alternatives=ways)


def _in_new_unit(sides: Sides, case: Case, target: Target) -> dict[str, Alternative]:
    """Return the value counted in the new unit, where the two units measure the same; its neighbours if not exact."""
    old, new = sides.old_setting(case.found[0]), sides.new_setting(target.name)
    if old is None or new is None:
        return {}
    law = _law_of_units(old.unit, new.unit)
    if law is None:
        return {}
    became = convert(case.ours[0], law, new.type)
    if became.value is None:
        return _near(sides, target.name, became.below, became.above)
    if sides.refusal(target.name, became.value) is not None:
        return _near(sides, target.name, became.value, None)
    shown = f"Count it in {new.unit}: {sides.show_new(target.name, became.value)}"
    words = f"{shown} ({became.words})" if became.words else shown
    return {CONVERT_UNIT: Alternative(words, became.value)}


def _law_of_units(old: str, new: str) -> Linear | Reciprocal | None:
    factor, numerator = exact_factor(old, new), exact_reciprocal(old, new)
    if factor is not None:
        return Linear(factor)
    return None if numerator is None else Reciprocal(numerator)


def _refused(sides: Sides, target: Target, value: Value, refusal: str) -> TargetPlan:
    setting = sides.new_setting(target.name)
    assert setting is not None, "only a catalogue refuses"
    ways = _near(sides, target.name, *_range_neighbours(setting, value))
    if setting.choices:
        ways |= _choices(sides, target.name)
    if setting.bits and value.type is setting.type and value.type.is_whole:
        known = Value(value.type, value.bits & setting.known_bits)
        if setting.refusal(known) is None:
            ways[KNOWN_BITS_ONLY] = Alternative(f"Only the bits that it knows: {setting.show(known)}", known)
    return TargetPlan(target.name, target.theirs, None, Rule.NOT_ALLOWED, refusal, alternatives=ways)


def _default_problem(sides: Sides, target: Target) -> tuple[Rule | None, str]:
    if target.theirs is None:
        return Rule.NEW_DEFAULT_UNKNOWN, f"what {sides.new_words} takes for its default is not known"
    if target.base is None:
        return Rule.OLD_DEFAULT_UNKNOWN, "its old default is not known, so nobody can tell whether you had set it"
    if target.base.value != target.theirs:
        shown = sides.show_new(target.name, target.theirs)
        return Rule.DEFAULT_CHANGED, f"the default of {sides.new_words} is another one, {shown}"
    return None, ""


def _range_neighbours(setting: Setting, value: Value) -> tuple[Value | None, Value | None]:
    if value.type is not setting.type:
        return None, None
    low, high = setting.minimum, setting.maximum
    below = high if high is not None and value.number > high.number else None
    above = low if low is not None and value.number < low.number else None
    return below, above


def _near(sides: Sides, name: str, below: Value | None, above: Value | None) -> dict[str, Alternative]:
    found: dict[str, Alternative] = {}
    for key, value, side in ((NEAREST_BELOW, below, "below"), (NEAREST_ABOVE, above, "above")):
        allowed = None if value is None else _into_range(sides.new_setting(name), value)
        if allowed is not None and allowed not in [each.value for each in found.values()]:
            found[key] = Alternative(f"The nearest allowed value {side}: {sides.show_new(name, allowed)}", allowed)
    return found


def _into_range(setting: Setting | None, value: Value) -> Value | None:
    if setting is None:
        return value
    below, above = _range_neighbours(setting, value)
    nearest = below or above or value
    return nearest if setting.refusal(nearest) is None else None


def _choices(sides: Sides, name: str) -> dict[str, Alternative]:
    setting = sides.new_setting(name)
    type_ = sides.new_type(name)
    if setting is None or type_ is not setting.type:
        return {}
    numbers = [each.number for each in setting.choices if type_.lowest <= each.number <= type_.highest]
    values = [Value.of(type_, number) for number in numbers]
    allowed = [value for value in values if setting.refusal(value) is None]
    return {f"choose-{each.text}": Alternative(f"Choose {setting.show(each)}", each) for each in allowed}


def _each_of(sides: Sides, case: Case, target: Target) -> dict[str, Alternative]:
    found: dict[str, Alternative] = {}
    for name, ours in zip(case.found, case.ours, strict=True):
        value = _same_in_type(sides, target.name, ours)
        if value is not None:
            found[f"value-of-{name}"] = Alternative(f"Take that of {name}: {sides.show_new(target.name, value)}", value)
    return found


def _same_in_type(sides: Sides, name: str, ours: Value) -> Value | None:
    type_ = sides.new_type(name)
    value = None if type_ is None else convert(ours, SAME, type_).value
    return value if value is not None and sides.refusal(name, value) is None else None
