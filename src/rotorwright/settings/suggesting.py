"""Suggestions joined to the carry-over: a held setting whose name vanished is shown its likeliest successors.

Nothing is decided here. A suggestion is one more option of a held line, for a person to take or to leave. Settings that
touch arming, motors or failsafe never have it first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.settings.decisions import DecisionKind, Option, Rule, Write, to_new_name
from rotorwright.settings.laws import Linear, Reciprocal, convert
from rotorwright.settings.meanings import meaning_change
from rotorwright.settings.successors import (
    SettingDescription,
    describe,
    describe_value,
    likeliest_successors,
    touches_danger,
)
from rotorwright.settings.successors.units import exact_factor, exact_reciprocal
from rotorwright.settings.values import SettingType, Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.settings.catalogue import Setting
    from rotorwright.settings.decisions import Arrival, Decision
    from rotorwright.settings.sides import Sides
    from rotorwright.settings.successors import Suggestion

_REASONS_SHOWN = 3
_ASKS = " Please decide."


def with_suggestions(sides: Sides, decisions: Sequence[Decision], arrivals: Sequence[Arrival]) -> list[Decision]:
    """Return the decisions, those on vanished customised names with their likeliest successors among the options.

    Vanished names that nobody had set take part in the search, because a new name may be theirs, and get no option.
    """
    asked = {each.found for each in decisions if _is_asked(each)}
    if not asked:
        return list(decisions)
    vanished = [each for each in decisions if _has_vanished(sides, each)]
    names = [each.name for each in arrivals if not _was_known(sides, each.name)]
    found = _search(
        tuple(_old_description(sides, each) for each in vanished),
        tuple(_new_description(sides, name) for name in names),
        tuple(sorted(name for each in decisions for name in each.found)),
        tuple(sorted({*sides.inputs.new_defaults, *(sides.inputs.new_catalogue or ())})),
    )
    by_name = {each.old: each for each in found}
    return [_suggested(sides, each, by_name[each.found[0]]) if each.found in asked else each for each in decisions]


@lru_cache(maxsize=32)
def _search(
    vanished: tuple[SettingDescription, ...],
    arrived: tuple[SettingDescription, ...],
    old_listing: tuple[str, ...],
    new_listing: tuple[str, ...],
) -> tuple[Suggestion, ...]:
    """Search once for all aircraft of a fleet that ask the same."""
    return likeliest_successors(vanished, arrived, old_listing=old_listing, new_listing=new_listing)


def _is_asked(decision: Decision) -> bool:
    return decision.kind is DecisionKind.HELD and decision.rule == Rule.UNKNOWN_NAME


def _has_vanished(sides: Sides, decision: Decision) -> bool:
    if _is_asked(decision):
        return True
    return decision.rule == Rule.GONE_AT_DEFAULT and sides.new_type(decision.found[0]) is None


def _was_known(sides: Sides, name: str) -> bool:
    return name in sides.inputs.old_defaults or sides.old_setting(name) is not None


def _old_description(sides: Sides, decision: Decision) -> SettingDescription:
    (name,), (ours,), (base,) = decision.found, decision.ours, decision.base
    setting = sides.old_setting(name)
    value = None if ours == base else ours
    if setting is None:
        return describe_value(name, type_=ours.type, default=base, value=value)
    return describe(setting, default=base, value=value)


def _new_description(sides: Sides, name: str) -> SettingDescription:
    setting, type_ = sides.new_setting(name), sides.new_type(name)
    if setting is None:
        assert type_ is not None, f"{name} is an arrival"
        return describe_value(name, type_=type_, default=sides.theirs(name))
    return describe(setting, default=sides.theirs(name))


def _suggested(sides: Sides, decision: Decision, suggestion: Suggestion) -> Decision:
    likeliest = () if suggestion.new is None else (suggestion.new,)
    names = (*likeliest, *suggestion.runners_up, *suggestion.nearest)
    fits = {name: _carried(sides, decision, name) for name in names}
    options = {
        name: _option(sides, name, each, is_weak=name in suggestion.nearest)
        for name, each in fits.items()
        if each.value is not None
    }
    first = [options[name] for name in likeliest if name in options and suggestion.may_be_offered_first]
    rest = [each for each in options.values() if each not in first]
    dangerous = [_old_description(sides, decision), *(_new_description(sides, name) for name in fits)]
    words = _words(suggestion, fits, is_dangerous=bool(fits) and any(map(touches_danger, dangerous)))
    reason = f"{decision.reason.removesuffix(_ASKS)} {words}{_ASKS}"
    return replace(decision, reason=reason, options=(*first, *decision.options, *rest))


def _option(sides: Sides, name: str, carried: _Carried, *, is_weak: bool) -> Option:
    assert carried.value is not None
    is_default = carried.value == sides.theirs(name)
    shown = f"Take {name} for it: {sides.show_new(name, carried.value)}{', its default' if is_default else ''}"
    told = "; ".join(filter(None, (carried.words, "little speaks for it" if is_weak else "")))
    words = f"{shown} ({told})" if told else shown
    return Option(to_new_name(name), words, () if is_default else (Write(name, carried.value),))


def _words(suggestion: Suggestion, fits: dict[str, _Carried], *, is_dangerous: bool) -> str:
    parts = [_likeliest_words(suggestion)]
    if suggestion.runners_up:
        parts.append(f"{'Other' if suggestion.new else 'New'} names to look at: {', '.join(suggestion.runners_up)}.")
    if is_dangerous:
        parts.append("Arming, motors or failsafe may depend on it: look it up before you take any.")
    shown = (suggestion.new, *suggestion.runners_up)
    parts += [f"{n} is not offered: {each.words}." for n, each in fits.items() if each.value is None and n in shown]
    return " ".join(parts)


def _likeliest_words(suggestion: Suggestion) -> str:
    evidence = "; ".join(suggestion.evidence[:_REASONS_SHOWN])
    if suggestion.new is None:
        return f"None of the new names is likely to be its successor ({_sure(suggestion.probability)}): {evidence}."
    return f"Its likeliest successor is {suggestion.new} ({_sure(suggestion.probability)}): {evidence}."


def _sure(probability: float) -> str:
    """Return a probability in words; nothing but the names and values was looked at, so it is never certain."""
    tenths = round(10 * probability)
    return f"right about {tenths} in 10 times" if tenths < 10 else "right more than 9 in 10 times"


@dataclass(frozen=True, slots=True)
class _Carried:
    """What of ours would stand in a new setting, and what a person should know; no value where there is none."""

    value: Value | None
    words: str = ""


def _carried(sides: Sides, decision: Decision, name: str) -> _Carried:
    old, new = sides.old_setting(decision.found[0]), sides.new_setting(name)
    type_ = sides.new_type(name)
    assert type_ is not None, f"{name} is an arrival"
    carried = _by_meaning(decision.ours[0], old, new, type_)
    if carried.value is None:
        return carried
    refusal = sides.refusal(name, carried.value)
    return carried if refusal is None else _Carried(None, refusal)


def _by_meaning(ours: Value, old: Setting | None, new: Setting | None, type_: SettingType) -> _Carried:
    change = meaning_change(old, new, ours)
    if change is None:
        carried = _as_it_stands(ours, new, type_)
        return replace(carried, words="; ".join(filter(None, (_unit_in_doubt(old, new), carried.words))))
    if change.rule is Rule.LABEL_MOVED:
        return _Carried(change.followed, change.words)
    assert old is not None
    assert new is not None
    told = f"converted from {ours.text} {old.unit}"
    numerator = exact_reciprocal(old.unit, new.unit)
    if numerator is not None:
        return _by_law(ours, Reciprocal(numerator), type_, told)
    factor = exact_factor(old.unit, new.unit)
    if factor is None:
        return _Carried(None, f"{change.words}, and there is no exact conversion")
    return _by_law(ours, Linear(factor), type_, told)


def _unit_in_doubt(old: Setting | None, new: Setting | None) -> str:
    if old is None or new is None:
        return "whether it counts in the same unit is not known"
    if old.unit == new.unit:
        return ""
    return f"it counts in {new.unit}, yours had no unit" if new.unit else f"yours counted in {old.unit}, it has no unit"


def _as_it_stands(ours: Value, new: Setting | None, type_: SettingType) -> _Carried:
    if type_.is_text:
        return _Carried(Value.of_text(ours.text))
    if ours.type.is_text:
        return _from_text(ours.text, new, type_)
    return _by_law(ours, Linear(Fraction(1)), type_, "")


def _from_text(text: str, new: Setting | None, type_: SettingType) -> _Carried:
    """Return the choice with this label, else the number that the text spells."""
    labelled = [each.number for each in new.choices if each.label.casefold() == text.casefold()] if new else []
    try:
        value = Value.of(type_, labelled[0]) if len(labelled) == 1 else Value.parse(type_, text)
    except ValueNotInTypeError as error:
        return _Carried(None, error.what.rstrip("."))
    return _Carried(value)


def _by_law(ours: Value, law: Linear | Reciprocal, type_: SettingType, words: str) -> _Carried:
    became = convert(ours, law, type_)
    if became.value is None:
        return _Carried(None, became.words)
    return _Carried(became.value, "; ".join(each for each in (words, became.words) if each))
