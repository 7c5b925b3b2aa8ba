"""The carry-over: what becomes of each setting when an aircraft goes from one release to another.

Three sides are merged: the settings as found (ours), the old defaults (base) and the new defaults (theirs), with
catalogues, change notes and classes as far as there are any. Every found setting ends in exactly one decision with a
reason; whatever is not certain is held for a person.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from rotorwright.settings.cases import Case, case_with_note, case_without_note
from rotorwright.settings.contradictions import decide_contradiction
from rotorwright.settings.deciding import decide_case
from rotorwright.settings.decisions import (
    Arrival,
    Decision,
    DecisionKind,
    Option,
    Rule,
    Write,
)
from rotorwright.settings.note_entries import new_names, old_names
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.sides import CarryOverInputs, NotesOfOtherReleaseError, Sides
from rotorwright.settings.suggesting import with_suggestions

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.note_entries import Note

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


def carry_over(inputs: CarryOverInputs) -> CarryOverSheet:
    """Return the carry-over sheet: one decision for each found setting, and the settings that are new.

    The result depends on the content of the inputs only, not on their order.

    Raises:
        NotesOfOtherReleaseError: the change notes are for another family or other releases.
    """
    sides = Sides(inputs)
    decisions = sorted((_decide(sides, group) for group in _groups(sides)), key=lambda each: each.found)
    arrivals = _arrivals(sides, decisions)
    return CarryOverSheet(
        decisions=tuple(with_suggestions(sides, decisions, arrivals)),
        arrivals=arrivals,
        from_release=inputs.ours.identity.release,
        to_release=sides.to_release,
        family=inputs.ours.identity.family,
        as_found_sha256=inputs.ours.sha256,
    )


def _decide(sides: Sides, group: list[Case]) -> Decision:
    if len(group) == 1:
        return decide_case(sides, group[0])
    return decide_contradiction(sides, group, [decide_case(sides, case) for case in group])


def _groups(sides: Sides) -> list[list[Case]]:
    """Return the cases, those in one list that cannot be decided apart because their notes contradict each other."""
    cases = _cases(sides)
    clashes = _clashes([case.found for case in cases])
    clashes += _clashes([tuple(target.name for target in case.targets) for case in cases])
    return _together(cases, clashes) if clashes else [[case] for case in cases]


def _clashes(names_of_all: list[tuple[str, ...]]) -> list[tuple[int, int]]:
    """Return the pairs of places that share a name."""
    owner: dict[str, int] = {}
    return [
        (owner[name], place)
        for place, names in enumerate(names_of_all)
        for name in names
        if owner.setdefault(name, place) != place
    ]


def _cases(sides: Sides) -> list[Case]:
    found = sides.inputs.ours.settings
    notes = [note for note in _notes_in_order(sides) if any(name in found for name in old_names(note))]
    spoken_of = {name for note in notes for name in old_names(note)}
    successors = {name for note in notes for name in new_names(note)}
    noted = [case_with_note(sides, note) for note in notes]
    named = [_give_way(case_without_note(sides, name), successors) for name in found if name not in spoken_of]
    return noted + named


def _give_way(case: Case, successors: set[str]) -> Case:
    """Return a case without its target where that name now means something else and nothing of ours is lost by it."""
    if case.found[0] not in successors or not case.is_untouched:
        return case
    return Case(case.found, case.ours, case.base, case.kind, case.rule)


def _notes_in_order(sides: Sides) -> Iterable[Note]:
    notes = sides.inputs.notes.entries if sides.inputs.notes else ()
    return sorted(notes, key=lambda note: (old_names(note), new_names(note), type(note).__name__))


def _together(cases: list[Case], clashes: list[tuple[int, int]]) -> list[list[Case]]:
    leader = list(range(len(cases)))

    def lead(place: int) -> int:
        while leader[place] != place:
            place = leader[place]
        return place

    for one, other in clashes:
        leader[lead(other)] = lead(one)
    groups: dict[int, list[Case]] = defaultdict(list)
    for place, case in enumerate(cases):
        groups[lead(place)].append(case)
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
