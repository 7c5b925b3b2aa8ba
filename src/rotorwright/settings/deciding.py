"""From a case to its decision. Each function here is one rule; `decide_case` asks them in order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings import reasons
from rotorwright.settings.cases import OF_ONE
from rotorwright.settings.decisions import (
    KEEP_MINE,
    LEAVE_OUT,
    NEAREST_ABOVE,
    NEAREST_BELOW,
    TAKE_NEW_DEFAULT,
    Decision,
    DecisionKind,
    Option,
    Rule,
    Write,
)
from rotorwright.settings.laws import SAME, convert
from rotorwright.settings.note_entries import Retire, laws_of, new_names
from rotorwright.settings.plans import TargetPlan, plan_target

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.cases import Case
    from rotorwright.settings.note_entries import Note
    from rotorwright.settings.sides import Sides
    from rotorwright.settings.values import Value


_NEVER_CUSTOMISED = str(Rule.NEVER_CUSTOMISED)
_ALWAYS_NAMED = {NEAREST_BELOW, NEAREST_ABOVE, TAKE_NEW_DEFAULT}


def decide_untouched(sides: Sides, name: str, note: Note | None) -> Decision | None:
    """Return the decision on one found setting that stands at its default, or nothing where there is more to look at.

    It is the very decision that `decide_case` takes on the case of this setting, with `note` the only one that speaks
    of it. Nearly every setting of an aircraft is decided here, so no case is made for it.
    """
    ours, base = sides.ours(name), sides.inputs.old_defaults.get(name)
    if ours is None or (ours is not base and ours != base):  # the same object nearly always: values are shared
        return None
    names = _plain_successors(sides, name, note)
    if not names or _is_special(sides, name, names):
        return None
    theirs = tuple([sides.theirs(each) for each in names])
    is_same = names == (name,) and _became_default(sides, name, ours, theirs[0], note)
    stands = list(zip(names, theirs, strict=True))
    return Decision(
        (name,),
        DecisionKind.ADOPT,
        _NEVER_CUSTOMISED,
        reasons.adopted_alone(sides, name, ours, stands, is_same_default=is_same),
        (ours,),
        (ours,),
        names,
        theirs,
    )


def _plain_successors(sides: Sides, name: str, note: Note | None) -> tuple[str, ...]:
    """Return what one setting becomes without any doubt, if the new release has all of it; else nothing."""
    if note is None:
        return (name,) if sides.new_type(name) is not None else ()
    if not isinstance(note, OF_ONE):
        return ()
    found = new_names(note)
    return () if None in map(sides.new_type, found) else found


def _is_special(sides: Sides, name: str, successors: tuple[str, ...]) -> bool:
    if _any_volatile(sides, (name,), successors):
        return True
    classes = sides.inputs.classes
    if classes is None:
        return False
    names = successors if successors == (name,) else (name, *successors)
    return any(map(classes.is_board, names)) or any(map(classes.is_calibration, names))


def _became_default(sides: Sides, name: str, ours: Value, theirs: Value | None, note: Note | None) -> bool:
    """Answer whether the old default, which still stands under the same name, became the new default."""
    law = laws_of(note)[0][1] if isinstance(note, OF_ONE) else SAME
    if law is SAME and theirs is not None and theirs.type is ours.type:
        return ours is theirs or ours == theirs
    type_ = sides.new_type(name)
    return theirs is not None and type_ is not None and convert(ours, law, type_).value == theirs


def decide_case(sides: Sides, case: Case) -> Decision:
    """Return the decision on found settings that belong together."""
    if isinstance(case.note, Retire) and not case.doubt:
        return made(case, DecisionKind.RETIRED, Rule.NOTE_RETIRE, reasons.retired(sides, case, case.note))
    if _is_volatile(sides, case):
        return made(case, DecisionKind.ADOPT, Rule.VOLATILE, reasons.volatile(sides, case))
    if _is_calibration(sides, case):
        return _decide_calibration(sides, case)
    if case.missing or not case.targets:
        return _decide_without_successor(sides, case)
    return _decide_with_successor(sides, case)


def _decide_with_successor(sides: Sides, case: Case) -> Decision:
    if _is_board(sides, case) and not sides.is_same_release:
        return made(case, DecisionKind.BOARD, Rule.CLASS_BOARD, reasons.board(sides, case))
    if case.is_untouched:
        return made(case, DecisionKind.ADOPT, Rule.NEVER_CUSTOMISED, reasons.adopted(sides, case))
    return _decide_customised(sides, case)


def _decide_customised(sides: Sides, case: Case) -> Decision:
    plans = tuple(plan_target(sides, case, target, defaults_matter=True) for target in case.targets)
    if case.doubt or case.left_over or any(plan.problem for plan in plans):
        return hold_case(sides, case, plans)
    writes = writes_of(plans)
    if not writes:
        return made(case, DecisionKind.ADOPT, Rule.ALREADY_DEFAULT, reasons.already_default(sides, case, plans))
    return made(case, case.kind, case.rule, reasons.carried(sides, case, plans), writes)


def _decide_calibration(sides: Sides, case: Case) -> Decision:
    if not sides.inputs.same_aircraft:
        return made(case, DecisionKind.CALIBRATION, Rule.CALIBRATE_AGAIN, reasons.calibrate_again(sides, case))
    if case.missing or not case.targets:
        return _decide_without_successor(sides, case)
    if case.is_untouched:
        return made(case, DecisionKind.CALIBRATION, Rule.CLASS_CALIBRATION, reasons.never_calibrated(sides, case))
    plans = tuple(plan_target(sides, case, target, defaults_matter=False) for target in case.targets)
    if case.doubt or case.left_over or any(plan.problem for plan in plans):
        return hold_case(sides, case, plans)
    reason = reasons.calibration_carried(sides, case, plans)
    return made(case, DecisionKind.CALIBRATION, Rule.CLASS_CALIBRATION, reason, writes_of(plans))


def _decide_without_successor(sides: Sides, case: Case) -> Decision:
    if case.is_untouched:
        return made(case, DecisionKind.RETIRED, Rule.GONE_AT_DEFAULT, reasons.gone_at_default(sides, case))
    rule = Rule.SUCCESSOR_MISSING if case.missing else Rule.UNKNOWN_NAME
    rule = Rule.CONDITION_UNKNOWN if case.doubt else rule
    leave_out = Option(LEAVE_OUT, f"Leave it out; {sides.new_words} runs without it")
    return made(case, DecisionKind.HELD, rule, reasons.without_successor(sides, case), options=(leave_out,))


def hold_case(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> Decision:
    """Return the held decision on a case, with the ways to decide it."""
    problems = [plan.problem for plan in plans if plan.problem is not None]
    rule = problems[0] if problems else Rule.BITS_LEFT_OVER
    rule = Rule.CONDITION_UNKNOWN if case.doubt else rule
    return made(
        case, DecisionKind.HELD, rule, reasons.held(sides, case, plans, rule), options=_options(sides, case, plans)
    )


def _options(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> tuple[Option, ...]:
    ways: list[Option] = []
    if all(plan.value is not None for plan in plans):
        ways.append(Option(KEEP_MINE, reasons.keep_mine(sides, case, plans), writes_of(plans)))
    keys = dict.fromkeys(key for plan in plans for key in plan.alternatives)
    others = [option for key in keys if (option := _alternative(plans, key)) is not None]
    # The same number in another unit is another value: where it can be counted anew, that comes first.
    counts_anew = any(plan.problem is Rule.UNIT_CHANGED for plan in plans)
    ways = [*others, *ways] if counts_anew else [*ways, *others]
    ways.append(Option(TAKE_NEW_DEFAULT, reasons.take_new_default(sides, plans)))
    return tuple(_without_doubles(ways))


def _alternative(plans: tuple[TargetPlan, ...], key: str) -> Option | None:
    words: list[str] = []
    writes: list[Write] = []
    for plan in plans:
        way = plan.alternatives.get(key)
        if way is None and plan.value is None:
            return None
        if way is not None:
            words.append(way.words)
            writes += [Write(plan.name, way.value)] if way.value != plan.theirs else []
        else:
            writes += writes_of((plan,))
    return Option(key, "; ".join(words), tuple(writes))


def _without_doubles(options: list[Option]) -> list[Option]:
    """Drop options that write what an earlier one writes; the neighbours and the new default are always named."""
    kept: list[Option] = []
    for option in options:
        is_double = not option.writes or option.writes in [other.writes for other in kept]
        if option.key in _ALWAYS_NAMED or not is_double:
            kept.append(option)
    return kept


def writes_of(plans: tuple[TargetPlan, ...]) -> tuple[Write, ...]:
    """Return what has to be written over the new defaults."""
    return tuple(
        Write(plan.name, plan.value)
        for plan in plans
        if plan.value is not None and not plan.takes_default and plan.value != plan.theirs
    )


def made(
    case: Case,
    kind: DecisionKind,
    rule: Rule,
    reason: str,
    writes: tuple[Write, ...] = (),
    *,
    options: tuple[Option, ...] = (),
) -> Decision:
    """Return a decision on a case."""
    return Decision(
        found=case.found,
        kind=kind,
        rule=str(rule),
        reason=reason,
        ours=case.ours,
        base=case.base,
        new_names=tuple([target.name for target in case.targets]),
        theirs=tuple([target.theirs for target in case.targets]),
        writes=writes,
        options=options,
    )


def _is_volatile(sides: Sides, case: Case) -> bool:
    return _any_volatile(sides, case.found, [target.name for target in case.targets])


def _any_volatile(sides: Sides, old_names: Iterable[str], new_names: Iterable[str]) -> bool:
    old, new = sides.inputs.old_catalogue, sides.inputs.new_catalogue
    if old is not None and any(map(old.is_volatile, old_names)):
        return True
    return new is not None and any(map(new.is_volatile, new_names))


def _is_board(sides: Sides, case: Case) -> bool:
    classes = sides.inputs.classes
    return classes is not None and any(map(classes.is_board, _all_names(case)))


def _is_calibration(sides: Sides, case: Case) -> bool:
    classes = sides.inputs.classes
    return classes is not None and any(map(classes.is_calibration, _all_names(case)))


def _all_names(case: Case) -> tuple[str, ...]:
    """Return every name that the case has, each once: asked of each setting twice, so the usual case is short."""
    if len(case.targets) == 1 and case.found == (case.targets[0].name,):
        return case.found
    return (*case.found, *(target.name for target in case.targets))
