"""Change notes that contradict each other: what they claim is decided as one, by a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.decisions import KEEP_MINE, TAKE_NEW_DEFAULT, Decision, DecisionKind, Option, Rule

if TYPE_CHECKING:
    from rotorwright.settings.cases import Case
    from rotorwright.settings.decisions import Write
    from rotorwright.settings.sides import Sides
    from rotorwright.settings.values import Value


def decide_contradiction(sides: Sides, cases: list[Case], decisions: list[Decision]) -> Decision:
    """Return one decision for cases that claim the same settings, given what each would be by itself.

    Where nothing was customised the new defaults stand; else a person says which note to follow.
    """
    values: dict[str, Value] = {}
    base: dict[str, Value | None] = {}
    theirs: dict[str, Value | None] = {}
    for case in cases:
        values |= dict(zip(case.found, case.ours, strict=True))
        base |= dict(zip(case.found, case.base, strict=True))
        theirs |= {target.name: target.theirs for target in case.targets}
    found, new_names = tuple(sorted(values)), tuple(sorted(theirs))
    options = _options(sides, cases, decisions)
    is_held = any(decision.kind is DecisionKind.HELD or decision.writes for decision in decisions)
    start = f"The change notes contradict each other about {', '.join(found)}:"
    told = " ".join(
        f"({i}) {_place(case)}: {each.reason}" for i, (case, each) in enumerate(zip(cases, decisions, strict=True), 1)
    )
    end = " Please decide." if is_held else f" Nothing of it was set by you; the default of {sides.new_words} stands."
    return Decision(
        found=found,
        kind=DecisionKind.HELD if is_held else DecisionKind.ADOPT,
        rule=str(Rule.NOTES_CONTRADICT),
        reason=f"{start} {told}{end}",
        ours=tuple(values[name] for name in found),
        base=tuple(base[name] for name in found),
        new_names=new_names,
        theirs=tuple(theirs[name] for name in new_names),
        options=options if is_held else (),
    )


def _options(sides: Sides, cases: list[Case], decisions: list[Decision]) -> tuple[Option, ...]:
    ways: list[Option] = []
    for number, (case, decision) in enumerate(zip(cases, decisions, strict=True), 1):
        writes = _writes(decision)
        if writes and writes not in [other.writes for other in ways]:
            shown = ", ".join(f"{each.name} {sides.show_new(each.name, each.value)}" for each in writes)
            ways.append(Option(f"follow-{number}", f"Follow {_place(case)}: {shown}", writes))
    return (*ways, Option(TAKE_NEW_DEFAULT, f"Take the default of {sides.new_words}"))


def _writes(decision: Decision) -> tuple[Write, ...]:
    if decision.kind is not DecisionKind.HELD:
        return decision.writes
    return next((option.writes for option in decision.options if option.key == KEEP_MINE), ())


def _place(case: Case) -> str:
    return (case.note.place or type(case.note).__name__.lower()) if case.note is not None else "the unchanged name"
