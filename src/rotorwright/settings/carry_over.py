"""The carry-over: what becomes of each setting when an aircraft goes from one release to another.

Three sides are merged: the settings as found (ours), the old defaults (base) and the new defaults (theirs), with
catalogues, change notes and classes as far as there are any. Every found setting ends in exactly one decision with a
reason; whatever is not certain is held for a person.
"""

from __future__ import annotations

from collections import defaultdict
from functools import partial
from itertools import chain
from operator import attrgetter
from typing import TYPE_CHECKING

from rotorwright.settings.cases import Case, case_with_note, case_without_note, may_hold
from rotorwright.settings.conditions import words_of
from rotorwright.settings.contradictions import decide_contradiction
from rotorwright.settings.deciding import decide_untouched
from rotorwright.settings.decisions import (
    Arrival,
    Decision,
    DecisionKind,
    Option,
    Rule,
    Write,
)
from rotorwright.settings.holding import hold_broken_constraints
from rotorwright.settings.note_entries import new_names, old_names
from rotorwright.settings.policy_deciding import decide_under_policy
from rotorwright.settings.remembering import Judged
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.sides import CarryOverInputs, NotesOfOtherReleaseError, Sides
from rotorwright.settings.suggesting import with_suggestions

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.note_entries import Note
    from rotorwright.settings.remembering import DecisionMemory, Recollection

__all__ = [
    "Arrival",
    "CarryOverInputs",
    "Decision",
    "DecisionKind",
    "NotesOfOtherReleaseError",
    "Option",
    "Rule",
    "Write",
    "carry_over",
]


def carry_over(inputs: CarryOverInputs, *, memory: DecisionMemory | None = None) -> CarryOverSheet:
    """Return the carry-over sheet: one decision for each found setting, and the settings that are new.

    The result depends on the content of the inputs only, not on their order. With a `memory`, what was decided for
    earlier aircraft is not worked out again; the result is the same.

    Raises:
        NotesOfOtherReleaseError: the change notes are for another family or other releases.
        PolicySettingError: the policy speaks of a setting that nobody has.
    """
    _require_known_policy(inputs)
    recalled = None if memory is None else memory.recall(inputs)
    sides = Sides(inputs) if recalled is None else recalled.sides
    decisions = sorted(_decisions(sides, _judged(sides, recalled)), key=attrgetter("found"))
    arrivals = _arrivals(sides, decisions)
    decisions, remarks = hold_broken_constraints(
        inputs.constraints or (),
        with_suggestions(sides, decisions, arrivals),
        new_defaults=inputs.new_defaults,
        new_catalogue=inputs.new_catalogue,
    )
    return CarryOverSheet(
        decisions=tuple(decisions),
        arrivals=arrivals,
        from_release=inputs.ours.identity.release,
        to_release=sides.to_release,
        family=inputs.ours.identity.family,
        as_found_sha256=inputs.ours.sha256,
        policy=inputs.policy.text,
        remarks=remarks,
    )


def _require_known_policy(inputs: CarryOverInputs) -> None:
    if inputs.policy.settings:
        inputs.policy.require_known({*inputs.ours.settings, *inputs.new_defaults, *(inputs.new_catalogue or ())})


def _decisions(sides: Sides, judged: list[Judged]) -> list[Decision]:
    """Return the decisions; one on those that cannot be decided apart because their notes contradict each other."""
    clashes = _clashes([each.decision.found for each in judged])
    clashes += _clashes([each.decision.new_names for each in judged])
    if not clashes:
        return [each.decision for each in judged]
    return [_decide(sides, group) for group in _together(judged, clashes)]


def _decide(sides: Sides, group: list[Judged]) -> Decision:
    if len(group) == 1:
        return group[0].decision
    return decide_contradiction(sides, [_case(sides, each) for each in group], [each.decision for each in group])


def _case(sides: Sides, judged: Judged) -> Case:
    """Return the case behind a decision, made now if the decision did without."""
    if judged.case is not None:
        return judged.case
    note = judged.note
    return case_without_note(sides, judged.decision.found[0]) if note is None else case_with_note(sides, note)


def _clashes(names_of_all: list[tuple[str, ...]]) -> list[tuple[int, int]]:
    """Return the pairs of places that share a name."""
    names = list(chain.from_iterable(names_of_all))
    if len(set(names)) == len(names):
        return []  # as nearly always
    owner: dict[str, int] = {}
    return [
        (owner[name], place)
        for place, names in enumerate(names_of_all)
        for name in names
        if owner.setdefault(name, place) != place
    ]


def _judged(sides: Sides, recalled: Recollection | None) -> list[Judged]:
    """Return the decision that each case gets by itself."""
    found = sides.inputs.ours.settings
    notes = [note for note in _notes_in_order(sides) if not found.keys().isdisjoint(old_names(note))]
    spoken_of = set(chain.from_iterable(map(old_names, notes)))
    successors = set(chain.from_iterable(map(new_names, notes)))
    named = [(name, name in successors) for name in found if name not in spoken_of]
    if recalled is None:
        noted = [_judge_noted(note, sides) for note in notes]
        return noted + [_judge_named(name, sides, gives_way=gives_way) for name, gives_way in named]
    noted = [recalled.by_note(note, partial(_judge_noted, note)) for note in notes]
    return noted + [
        recalled.by_name(name, partial(_judge_named, name, gives_way=gives_way), gives_way=gives_way)
        for name, gives_way in named
    ]


def _judge_noted(note: Note, sides: Sides) -> Judged:
    plain = _judge_plainly(sides, old_names(note)[0], note)
    if plain is not None:
        return plain
    case = case_with_note(sides, note)
    return Judged(decide_under_policy(sides, case), note, case)


def _judge_named(name: str, sides: Sides, *, gives_way: bool) -> Judged:
    plain = None if gives_way else _judge_plainly(sides, name, None)
    if plain is not None:
        return plain
    case = case_without_note(sides, name)
    if gives_way:
        case = _give_way(case)
    return Judged(decide_under_policy(sides, case), None, case)


def _judge_plainly(sides: Sides, name: str, note: Note | None) -> Judged | None:
    decision = decide_untouched(sides, name, note) if sides.is_careful else None
    return None if decision is None else Judged(decision, note)


def _give_way(case: Case) -> Case:
    """Return a case without its target where that name now means something else and nothing of ours is lost by it."""
    if not case.is_untouched:
        return case
    return Case(case.found, case.ours, case.base, case.kind, case.rule)


def _notes_in_order(sides: Sides) -> Iterable[Note]:
    notes = sides.inputs.notes.entries if sides.inputs.notes else ()
    notes = tuple(note for note in notes if note.when is None or may_hold(sides, note))
    return sorted(notes, key=lambda note: (old_names(note), new_names(note), type(note).__name__, _when(note)))


def _when(note: Note) -> str:
    return "" if note.when is None else words_of(note.when)


def _together(judged: list[Judged], clashes: list[tuple[int, int]]) -> list[list[Judged]]:
    leader = list(range(len(judged)))

    def lead(place: int) -> int:
        while leader[place] != place:
            place = leader[place]
        return place

    for one, other in clashes:
        leader[lead(other)] = lead(one)
    groups: dict[int, list[Judged]] = defaultdict(list)
    for place, each in enumerate(judged):
        groups[lead(place)].append(each)
    return list(groups.values())


def _arrivals(sides: Sides, decisions: list[Decision]) -> tuple[Arrival, ...]:
    came = {name for decision in decisions for name in decision.new_names}
    listed = {name for name in sides.inputs.new_catalogue or () if "{n}" not in name}
    return tuple(_arrival(sides, name) for name in sorted((listed | sides.inputs.new_defaults.keys()) - came))


def _arrival(sides: Sides, name: str) -> Arrival:
    setting, default = sides.new_setting(name), sides.theirs(name)
    about = f": {setting.short.rstrip('.')}" if setting is not None and setting.short else ""
    known = name in sides.inputs.old_defaults or sides.old_setting(name) is not None
    start = "Not read from the aircraft before" if known else f"New in {sides.new_words}"
    stands = (
        "Its default is not known yet." if default is None else f"Its default stands: {sides.show_new(name, default)}."
    )
    return Arrival(name, default, f"{start}{about}. {stands}")
