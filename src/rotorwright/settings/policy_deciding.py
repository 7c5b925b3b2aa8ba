"""Decisions under a policy: what the rules decide, and where the policy says otherwise.

The rules of `deciding` are the policy `careful`. Everything here starts from their decision, so that a policy can only
change what it names; docs/reference/policies.md says which decisions these are.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.settings import policy_reasons as reasons
from rotorwright.settings.deciding import decide_case, hold_case, made, writes_of
from rotorwright.settings.decisions import Decision, DecisionKind, Rule
from rotorwright.settings.meanings import meaning_change
from rotorwright.settings.note_entries import Rename
from rotorwright.settings.plans import TargetPlan, plan_target
from rotorwright.settings.policies import Base, ClassChoice, SettingChoice, SettingClass
from rotorwright.settings.successors.caution import touches_danger
from rotorwright.settings.successors.description import SettingDescription, describe

if TYPE_CHECKING:
    from rotorwright.settings.cases import Case, Target
    from rotorwright.settings.catalogue import Setting
    from rotorwright.settings.sides import Sides

_CLOSED = {Rule.VOLATILE, Rule.CALIBRATE_AGAIN, Rule.NOTE_RETIRE}


def decide_under_policy(sides: Sides, case: Case) -> Decision:
    """Return the decision on found settings that belong together, as the policy of the inputs wants it."""
    decision = decide_case(sides, case)
    if sides.is_careful:
        return decision
    wanted = sides.inputs.policy.of_setting(_names_of(case))
    if wanted is not None:
        return _as_wanted(sides, case, decision, wanted)
    return _by_policy(sides, case, decision) if _is_open(case, decision) else decision


def _by_policy(sides: Sides, case: Case, decision: Decision) -> Decision:
    choice = _class_choice(sides, case, decision)
    if choice is not None and not case.is_untouched:
        return _by_class(sides, case, decision, choice)
    policy = sides.inputs.policy
    if policy.base is Base.ONLY_WHAT_I_CHANGED:
        return _kept_if_safe(sides, case, decision)
    if policy.base is Base.SAME_FEEL:
        return _pinned_if_felt(sides, case, decision)
    return decision


def _names_of(case: Case) -> tuple[str, ...]:
    return (*case.found, *(target.name for target in case.targets))


def _is_open(case: Case, decision: Decision) -> bool:
    """Answer whether a policy has a say: the new release has the setting, and it is not measured anew."""
    return bool(case.targets) and not case.missing and decision.rule not in _CLOSED


def _as_wanted(sides: Sides, case: Case, decision: Decision, wanted: SettingChoice) -> Decision:
    if wanted is SettingChoice.KEEP_MINE:
        return _kept_by_name(sides, case, decision)
    if _is_open(case, decision):
        return _dropped(decision, DecisionKind.ADOPT, Rule.POLICY_SETTING, reasons.new_default_taken(sides, case))
    if decision.kind is not DecisionKind.HELD:
        return decision  # nothing of it is written anyway
    return _dropped(decision, DecisionKind.RETIRED, Rule.POLICY_SETTING, reasons.left_out(sides, case))


def _kept_by_name(sides: Sides, case: Case, decision: Decision) -> Decision:
    plans = _plans(sides, case, _unmasked(case))
    is_possible = _is_open(case, decision) and not case.doubt and not case.left_over
    if not is_possible or any(plan.value is None for plan in plans):
        return replace(decision, reason=reasons.not_possible(decision.reason))
    return _carried(case, plans, Rule.POLICY_SETTING, reasons.kept_by_name(sides, case, plans))


def _by_class(sides: Sides, case: Case, decision: Decision, choice: ClassChoice) -> Decision:
    if choice is ClassChoice.TAKE_NEW_DEFAULT:
        return _dropped(decision, DecisionKind.ADOPT, Rule.POLICY_CLASS, reasons.new_default_taken(sides, case))
    plans = _plans(sides, case, case.targets)
    if not _is_certain(case, plans):
        return decision if decision.kind is DecisionKind.HELD else hold_case(sides, case, plans)
    if choice is ClassChoice.HOLD:
        return decision if decision.kind is DecisionKind.HELD else _asked(sides, case, plans)
    if decision.writes == writes_of(plans):
        return decision
    return _carried(case, plans, Rule.POLICY_CLASS, reasons.kept_by_class(sides, case, plans))


def _kept_if_safe(sides: Sides, case: Case, decision: Decision) -> Decision:
    """Keep a customised value whose default changed, where that is the only doubt and no motor depends on it."""
    if decision.rule != Rule.DEFAULT_CHANGED or case.left_over or _is_dangerous(sides, case):
        return decision
    strict = tuple(plan_target(sides, case, target, defaults_matter=True) for target in case.targets)
    if any(plan.problem not in {None, Rule.DEFAULT_CHANGED} for plan in strict):
        return decision
    plans = _plans(sides, case, case.targets)
    return _carried(case, plans, Rule.POLICY_KEPT, reasons.kept_over_default(sides, case, plans))


def _pinned_if_felt(sides: Sides, case: Case, decision: Decision) -> Decision:
    """Keep the old default of a setting that the pilot feels, where the new release has another one."""
    if decision.rule != Rule.NEVER_CUSTOMISED or not _is_in(sides, case, SettingClass.FEEL):
        return decision
    plans = _plans(sides, case, tuple(_with_meaning(sides, case, target) for target in _unmasked(case)))
    if all(plan.problem is None and plan.value == plan.theirs for plan in plans):
        return decision
    if not _is_certain(case, plans):
        return hold_case(sides, case, plans)
    return _carried(case, plans, Rule.POLICY_PINNED, reasons.pinned(sides, case, plans))


def _with_meaning(sides: Sides, case: Case, target: Target) -> Target:
    """Return the target with any change of meaning, which nobody looks for while a value is not carried."""
    note_speaks = case.note is not None and not isinstance(case.note, Rename)
    if note_speaks or len(case.found) > 1:
        return target
    changed = meaning_change(sides.old_setting(case.found[0]), sides.new_setting(target.name), case.ours[0])
    return replace(target, meaning=changed)


def _unmasked(case: Case) -> tuple[Target, ...]:
    """Return the targets so that the parts of a bit field which nobody touched are carried too."""
    return tuple(replace(target, is_bit_field=False) for target in case.targets)


def _plans(sides: Sides, case: Case, targets: tuple[Target, ...]) -> tuple[TargetPlan, ...]:
    return tuple(plan_target(sides, case, target, defaults_matter=False) for target in targets)


def _is_certain(case: Case, plans: tuple[TargetPlan, ...]) -> bool:
    return not (case.doubt or case.left_over or any(plan.problem for plan in plans))


def _asked(sides: Sides, case: Case, plans: tuple[TargetPlan, ...]) -> Decision:
    asked = tuple(replace(plan, problem=Rule.POLICY_HELD, words=reasons.ASKED) for plan in plans)
    return hold_case(sides, case, asked)


def _carried(case: Case, plans: tuple[TargetPlan, ...], rule: Rule, reason: str) -> Decision:
    writes = writes_of(plans)
    kind = DecisionKind.PIN if case.is_untouched else case.kind
    return made(case, kind if writes else DecisionKind.ADOPT, rule, reason, writes)


def _dropped(decision: Decision, kind: DecisionKind, rule: Rule, reason: str) -> Decision:
    return replace(decision, kind=kind, rule=str(rule), reason=reason, writes=(), options=())


def _class_choice(sides: Sides, case: Case, decision: Decision) -> ClassChoice | None:
    policy = sides.inputs.policy
    if not policy.classes:
        return None
    if decision.rule == Rule.CLASS_BOARD:
        return policy.of_class(SettingClass.BOARD)
    if _is_in(sides, case, SettingClass.CALIBRATION):
        return policy.of_class(SettingClass.CALIBRATION)
    return policy.of_class(SettingClass.FEEL) if _is_in(sides, case, SettingClass.FEEL) else None


def _is_in(sides: Sides, case: Case, which: SettingClass) -> bool:
    classes = sides.inputs.classes
    if classes is None:
        return False
    is_one = classes.is_feel if which is SettingClass.FEEL else classes.is_calibration
    return any(is_one(name) for name in _names_of(case))


def _is_dangerous(sides: Sides, case: Case) -> bool:
    """Answer whether any setting of a case touches arming, motors or failsafe, by its name, role or description."""
    classes = sides.inputs.classes
    roles = {name: role for role, name in classes.roles.items()} if classes is not None else {}
    described = [_described(sides.old_setting(name), name, roles) for name in case.found]
    described += [_described(sides.new_setting(target.name), target.name, roles) for target in case.targets]
    return any(touches_danger(each) for each in described)


def _described(setting: Setting | None, name: str, roles: dict[str, str]) -> SettingDescription:
    role = roles.get(name, "")
    return SettingDescription(name, role=role) if setting is None else describe(setting, role=role)
