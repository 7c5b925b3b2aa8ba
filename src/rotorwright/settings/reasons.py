"""The reasons of decisions in words, with the values and units, for a person who has never seen the code."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.conditions import holds, words_of
from rotorwright.settings.decisions import Rule
from rotorwright.settings.note_entries import Convert, Join, Prefers, Relabel, Split, Woven

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.settings.cases import Case, Target
    from rotorwright.settings.note_entries import Retire
    from rotorwright.settings.plans import TargetPlan
    from rotorwright.settings.sides import Sides
    from rotorwright.settings.values import Value


def adopted(sides: Sides, case: Case) -> str:
    """Never customised: the new default stands."""
    stands = [(target.name, target.theirs) for target in case.targets]
    is_same = all(_is_same_default(case, target) for target in case.targets)
    if len(case.found) == 1:
        return adopted_alone(sides, case.found[0], case.ours[0], stands, is_same_default=is_same)
    start = f"Never changed: all at their defaults, {value_words(sides, case)}"
    return f"{start}. The default of {sides.new_words} stands: {_defaults(sides, case.found, stands)}."


def adopted_alone(
    sides: Sides, found: str, ours: Value, stands: Sequence[tuple[str, Value | None]], *, is_same_default: bool
) -> str:
    """Never customised, of one setting: the defaults of its successors stand."""
    start = f"Never changed: it stood at its default, {sides.show_old(found, ours)}"
    if is_same_default:
        return f"{start}, and the default is the same in {sides.new_words}."
    return f"{start}. The default of {sides.new_words} stands: {_defaults(sides, (found,), stands)}."


def already_default(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Customised, but the new default is that very value."""
    new = plan_values(sides, case, plans)
    return f"{had_set(sides, case)} That is now the default of {sides.new_words}: {new}.{small_print(case, plans)}"


def carried(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Customised and carried over."""
    new = plan_values(sides, case, plans)
    kept = f"{_first_up(sides.new_words)} has the same default, so yours is kept: {new}."
    became = _what_becomes(sides, case, plans) if case.note is not None else kept
    return f"{had_set(sides, case)} {became}{small_print(case, plans)}"


def held(sides: Sides, case: Case, plans: tuple[TargetPlan, ...], rule: Rule) -> str:
    """A person must decide."""
    several = len(plans) > 1
    facts = [f"{plan.name}: {plan.words}" if several else plan.words for plan in plans if plan.problem is not None]
    if case.left_over:
        facts.append(case.left_over)
    if case.doubt:
        facts.insert(0, case.doubt)
    told = _sentence("; ".join(facts))
    if rule is Rule.DEFAULT_CHANGED and case.note is not None:
        told = f"{_what_becomes(sides, case, plans)} But {'; '.join(facts)}."
    return f"{had_set(sides, case)} {told}{_advice(sides, plans)} Please decide.{_why(case)}"


def retired(sides: Sides, case: Case, note: Retire) -> str:
    """Gone, with what the aircraft loses by it."""
    stood = f"It stood at its default, {value_words(sides, case)}." if case.is_untouched else had_set(sides, case)
    return f"{sides.new_words} does without it. {stood} What is lost: {note.loses.rstrip('.')}.{_why(case)}"


def gone_at_default(sides: Sides, case: Case) -> str:
    """Gone without a successor, but nobody had set it."""
    gone = "has another setting of this name" if sides.new_type(case.found[0]) is not None else "does not have it"
    return f"{_first_up(sides.new_words)} {gone}. It stood at its default, {value_words(sides, case)}."


def without_successor(sides: Sides, case: Case) -> str:
    """Customised, and the new release has no such setting."""
    if case.doubt:
        what = _sentence(case.doubt)
    elif case.missing:
        names = " and ".join(case.missing)
        what = f"By the change notes it becomes {names}, which {sides.new_words} does not have."
    else:
        what = f"{_first_up(sides.new_words)} knows no setting of this name, and no note says what became of it."
    return f"{had_set(sides, case)} {what} Please decide."


def volatile(sides: Sides, case: Case) -> str:
    """The aircraft changes it by itself."""
    return f"The aircraft measures it by itself, so what it held, {value_words(sides, case)}, is not carried over."


def board(sides: Sides, case: Case) -> str:
    """Belongs to the board: its defaults stand."""
    stands = f"It belongs to the board, whose default in {sides.new_words} stands: {default_words(sides, case)}."
    if case.is_untouched:
        return f"{stands} You had not changed it."
    return f"{had_set(sides, case)} {stands} Yours is not carried over: if you had a reason for it, set it again."


def calibration_carried(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Measured on this very aircraft: carried."""
    became = f" {_what_becomes(sides, case, plans)}" if case.note is not None else ""
    carried_over = f"Calibrated on this very aircraft: {value_words(sides, case)}. It is carried over."
    return f"{carried_over}{became}{small_print(case, plans)}"


def never_calibrated(sides: Sides, case: Case) -> str:
    """A calibration that was never done."""
    return f"Never calibrated: it stood at its default, {value_words(sides, case)}. There is nothing to carry over."


def calibrate_again(sides: Sides, case: Case) -> str:
    """Measured on another aircraft."""
    whose = f"It was calibrated on another aircraft, {value_words(sides, case)}, and belongs to that one's sensors."
    return f"{whose} It is not carried over; the calibration must be done again on this one."


def keep_mine(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """The option to carry ours over all the same."""
    return f"Keep yours: {plan_values(sides, case, plans)}"


def take_new_default(sides: Sides, plans: tuple[TargetPlan, ...]) -> str:
    """The option to let the new default stand."""
    known = [
        f"{_prefix(plans, plan)}{sides.show_new(plan.name, plan.theirs)}" for plan in plans if plan.theirs is not None
    ]
    shown = ", ".join(known) if len(known) == len(plans) else "not known yet"
    return f"Take the default of {sides.new_words}: {shown}"


def had_set(sides: Sides, case: Case) -> str:
    """Return what a person had set, with the old defaults."""
    parts = []
    for name, ours, base in zip(case.found, case.ours, case.base, strict=True):
        shown = sides.show_old(name, ours)
        if base is None:
            words = f"{shown} (old default not known)"
        elif base == ours:
            words = f"{shown} (its default)"
        else:
            words = f"{shown} (default {sides.show_old(name, base)})"
        parts.append(words if len(case.found) == 1 else f"{name} {words}")
    start = "It held" if any(base is None for base in case.base) else "You had set"
    return f"{start} {' and '.join(parts)}."


def value_words(sides: Sides, case: Case) -> str:
    """Return the found values."""
    shown = [sides.show_old(name, ours) for name, ours in zip(case.found, case.ours, strict=True)]
    if len(shown) == 1:
        return shown[0]
    return ", ".join(f"{name} {words}" for name, words in zip(case.found, shown, strict=True))


def default_words(sides: Sides, case: Case) -> str:
    """Return the new defaults, of a case that has a successor."""
    return _defaults(sides, case.found, [(target.name, target.theirs) for target in case.targets])


def _defaults(sides: Sides, found: tuple[str, ...], stands: Sequence[tuple[str, Value | None]]) -> str:
    several = len(stands) > 1 or found != (stands[0][0],)
    words = []
    for name, theirs in stands:
        shown = "not known yet" if theirs is None else sides.show_new(name, theirs)
        words.append(f"{name} {shown}" if several else shown)
    return ", ".join(words)


def _is_same_default(case: Case, target: Target) -> bool:
    same_name = case.found == (target.name,)
    return same_name and target.base is not None and target.theirs is not None and target.base.value == target.theirs


def _what_becomes(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    new = plan_values(sides, case, plans)
    names = " and ".join(plan.name for plan in plans)
    renamed = "" if case.found == (names,) else f" and calls it {names}"
    match case.note:
        case Convert():
            return _converted(sides, case, plans)
        case Relabel():
            words = f"numbers its choices anew{renamed}"
        case Split():
            words = f"has {names} instead"
        case Join():
            words = f"has one setting for them, {names}"
        case Woven():
            words = f"has {names} for {' and '.join(case.found)}"
        case _:
            words = f"calls it {names}"
    return f"{sides.new_words} {words}: {new}."


def _converted(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    (plan,) = plans
    setting = sides.new_setting(plan.name)
    unit = f"in {setting.unit}" if setting is not None and setting.unit else "otherwise"
    name = "" if case.found == (plan.name,) else f"calls it {plan.name} and "
    shown = "" if plan.value is None else plan.value.text
    return f"{sides.new_words} {name}counts it {unit}: {shown}."


def plan_values(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Return the values that would stand in the new release."""
    shown = []
    for plan in plans:
        value = plan.theirs if plan.takes_default and plan.theirs is not None else plan.value
        words = "no value" if value is None else sides.show_new(plan.name, value)
        untouched = " (untouched: its default)" if plan.takes_default and len(plans) > 1 else ""
        shown.append(f"{_prefix(plans, plan)}{words}{untouched}")
    return ", ".join(shown)


def _prefix(plans: tuple[TargetPlan, ...], plan: TargetPlan) -> str:
    return f"{plan.name} " if len(plans) > 1 else ""


def small_print(case: Case, plans: tuple[TargetPlan, ...]) -> str:
    """Return what else a person should know, and why the note is there."""
    words = "; ".join(dict.fromkeys(plan.words for plan in plans if plan.words))
    return (f" {_sentence(words)}" if words else "") + _why(case)


def _why(case: Case) -> str:
    if case.note is None:
        return ""
    why = case.note.why.strip()
    words = f" {_sentence(why)}" if why else ""
    if case.note.when is None or case.doubt:
        return words
    return f"{words} The note holds because {words_of(case.note.when)}."


_PREFERENCES = {
    None: "",
    Prefers.KEEP: " Whoever wrote them would keep yours.",
    Prefers.NEW: " Whoever wrote them would take the new default.",
}


def _advice(sides: Sides, plans: tuple[TargetPlan, ...]) -> str:
    """Return what the change notes think of defaults that changed; it decides nothing."""
    if sides.inputs.notes is None:
        return ""
    told = ""
    for plan in plans:
        for each in sides.inputs.notes.advice_on(plan.name):
            if each.when is None or holds(each.when, sides.ours):
                advice = each.advice.strip().rstrip(".")
                told += f" The change notes advise: {advice}.{_PREFERENCES[each.prefers]}"
    return told


def _sentence(words: str) -> str:
    return f"{_first_up(words).rstrip('.')}." if words else ""


def _first_up(words: str) -> str:
    return words[:1].upper() + words[1:]
