"""Composing change notes: from 5.2 to 6.1 out of 5.2 to 6.0 and 6.0 to 6.1.

Whatever can be said is said in one entry that takes every value the same way, through the types of the settings in the
release between. What cannot be said is an entry of its own (`Uncomposed`) that names the reason, and whatever it speaks
of is held for a person.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.settings.between import (
    Between,
    NotComposableError,
    NotesDoNotMeetError,
    ThreeCatalogues,
    is_plain,
    uncomposed,
)
from rotorwright.settings.conditions import both, comparisons, none_of, with_comparisons
from rotorwright.settings.laws import SAME, Chain, Law
from rotorwright.settings.note_entries import (
    ChangeNotes,
    Convert,
    DefaultChanged,
    Note,
    Relabel,
    Rename,
    Uncomposed,
    new_names,
    old_names,
)
from rotorwright.settings.refit_texts import refit_after, refit_before, refit_twice
from rotorwright.settings.refits import Refit
from rotorwright.settings.stitching import stitch

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.settings.conditions import Comparison, Condition

__all__ = ["NotesDoNotMeetError", "compose_notes"]


def compose_notes(first: ChangeNotes, second: ChangeNotes, catalogues: Sequence[ThreeCatalogues] = ()) -> ChangeNotes:
    """Return the notes that say at once what `first` and then `second` say.

    `catalogues` are those of the old release, of the one between and of the new one, three for each board. Without them
    numbers go from law to law exactly, as if the settings between could hold any number; splits joined again and
    conditions of the second notes cannot be composed then.

    Raises:
        NotesDoNotMeetError: other families, or `first` does not end where `second` begins.
    """
    if (first.family, first.to_release) != (second.family, second.from_release):
        raise _do_not_meet(first, second)
    between = Between(first, second, catalogues)
    entries = [entry for part in _parts(between) for entry in _composed(part, between)]
    advice = (*_advice_after(between), *_advice_of_second(between))
    return ChangeNotes(first.family, first.from_release, second.to_release, tuple(entries), advice)


_Part = tuple[tuple[Note, ...], tuple[Note, ...]]


def _parts(between: Between) -> list[_Part]:
    """Return the entries of both notes in parts that have nothing to do with each other."""
    firsts, seconds = between.first.entries, between.second.entries
    conditional = {name for note in firsts if note.when is not None for name in old_names(note)}
    owners: dict[tuple[str, str], list[int]] = defaultdict(list)
    for place, note in enumerate(firsts):
        for name in old_names(note):
            owners["old", name].append(place)
        for name in new_names(note):
            owners["between", name].append(place)
    for place, note in enumerate(seconds, len(firsts)):
        for name in old_names(note):
            owners["between", name].append(place)
            if name in conditional and name not in between.givers:
                owners["old", name].append(place)  # where no condition holds, it is still the old setting
    leaders = _leaders(len(firsts) + len(seconds), list(owners.values()))
    parts: dict[int, tuple[list[Note], list[Note]]] = defaultdict(lambda: ([], []))
    for place, note in enumerate((*firsts, *seconds)):
        parts[leaders[place]][place >= len(firsts)].append(note)
    return [(tuple(ones), tuple(others)) for ones, others in parts.values()]


def _leaders(count: int, together: list[list[int]]) -> list[int]:
    leaders = list(range(count))

    def lead(place: int) -> int:
        while leaders[place] != place:
            place = leaders[place]
        return place

    for places in together:
        for place in places[1:]:
            leaders[lead(place)] = lead(places[0])
    return [lead(place) for place in range(count)]


def _composed(part: _Part, between: Between) -> Iterator[Note]:
    firsts, seconds = part
    if not seconds:
        yield from firsts
        return
    try:
        yield from _compose(firsts, seconds, between)
    except NotComposableError as error:
        held = uncomposed(firsts, seconds, str(error), between)
        if held is not None:
            yield held


def _compose(firsts: Sequence[Note], seconds: Sequence[Note], between: Between) -> tuple[Note, ...]:
    for note in (*firsts, *seconds):
        if isinstance(note, Uncomposed):
            raise NotComposableError(note.because)
    if any(isinstance(note, Refit) for note in (*firsts, *seconds)):
        return _compose_refits(firsts, seconds, between)
    if all(note.when is None for note in (*firsts, *seconds)):
        return stitch(firsts, seconds, between)
    return tuple(_compose_conditional(firsts, seconds, between))


def _compose_refits(firsts: Sequence[Note], seconds: Sequence[Note], between: Between) -> tuple[Note, ...]:
    before = [note for note in firsts if isinstance(note, Refit)]
    after = [note for note in seconds if isinstance(note, Refit)]
    if any(note.when is not None for note in firsts) and after:
        raise NotComposableError("a condition and a refit come together")
    if len(before) == len(after) == len(firsts) == len(seconds) == 1:
        return (refit_twice(before[0], after[0]),)
    if len(before) == len(firsts) == 1 and not after:
        return (refit_before(before[0], seconds, between),)
    if len(after) == len(seconds) == 1 and not before:
        when = None if after[0].when is None else _pulled_back(after[0].when, between)
        if not any(between.comes_unchanged(name) or name in between.givers for name in after[0].old):
            return ()
        return (replace(refit_after(firsts, after[0], between), when=when),)
    raise NotComposableError("a refit hangs together with other entries")


def _compose_conditional(firsts: Sequence[Note], seconds: Sequence[Note], between: Between) -> Iterator[Note]:
    """Yield an entry for each way that the conditions leave open, where each entry speaks of one setting."""
    if not firsts and len(seconds) == 1:
        (only,) = seconds
        when = None if only.when is None else _pulled_back(only.when, between)
        yield from stitch((), (replace(only, when=None),), between, when)
        return
    if not all(is_plain(note) for note in (*firsts, *seconds)):
        raise NotComposableError("a condition and a join come together")
    unchanged = [name for note in seconds for name in old_names(note) if between.comes_unchanged(name)]
    spoken_of = [name for note in firsts for name in old_names(note)]
    for old in dict.fromkeys((*spoken_of, *unchanged)):
        for before, first in _ways(old, firsts):
            names = (old,) if first is None else new_names(first)
            if len(names) == 1:
                for after, second in _ways(names[0], seconds):
                    yield from _one_way(before, first, after, second, between)
            else:
                assert first is not None
                yield from _split_way(before, first, seconds, between)


def _ways(name: str, notes: Sequence[Note]) -> list[tuple[Condition | None, Note | None]]:
    """Return what may become of a setting: the entries with their conditions, and that none of them holds."""
    ways: list[tuple[Condition | None, Note | None]] = [(n.when, n) for n in notes if name in old_names(n)]
    conditions = tuple(when for when, _ in ways if when is not None)
    if len(conditions) == len(ways):
        ways.append((none_of(conditions) if conditions else None, None))
    return ways


def _one_way(
    before: Condition | None, first: Note | None, after: Condition | None, second: Note | None, between: Between
) -> Iterator[Note]:
    firsts = () if first is None else (replace(first, when=None),)
    seconds = () if second is None else (replace(second, when=None),)
    if not (firsts or seconds):
        return
    when = both(before, None if after is None else _pulled_back(after, between))
    if not seconds:
        yield from (replace(note, when=when) for note in firsts)
    elif firsts:
        yield from stitch(firsts, seconds, between, when)
    else:
        yield from (replace(note, when=when) for note in seconds)


def _split_way(before: Condition | None, first: Note, seconds: Sequence[Note], between: Between) -> tuple[Note, ...]:
    meeting = [note for note in seconds if set(old_names(note)) & set(new_names(first))]
    if any(note.when is not None for note in meeting):
        raise NotComposableError("a condition speaks of one of several parts")
    return stitch((replace(first, when=None),), meeting, between, before)


def _pulled_back(condition: Condition, between: Between) -> Condition:
    """Return a condition on settings of the release between as one on settings of the old release.

    Raises:
        NotComposableError: nobody can tell from the old settings whether it will hold.
    """
    return with_comparisons(condition, {each: _comparison_before(each, between) for each in comparisons(condition)})


def _comparison_before(comparison: Comparison, between: Between) -> Comparison:
    name = comparison.setting
    old, law = _origin(name, between)
    if not between.keeps_default(old, law, name):
        words = f"a condition asks for {name}, which may have another default in the release between"
        raise NotComposableError(words)
    type_ = between.type(name)
    if law == SAME and (type_ is between.old_type(old) or type_ is None):
        return replace(comparison, setting=old)
    laws = (law,) if comparison.law == SAME else (law, comparison.law)
    chain = Chain((*laws, SAME), (type_,) * len(laws)) if len(laws) == 1 else Chain(laws, (type_,))
    return replace(comparison, setting=old, law=chain)


def _origin(name: str, between: Between) -> tuple[str, Law]:
    if between.comes_unchanged(name):
        return name, SAME
    givers = between.givers.get(name, ())
    if len(givers) == 1 and givers[0].when is None:
        match givers[0]:
            case Rename() as note:
                return note.old, SAME
            case Convert() as note:
                return note.old, note.law
            case Relabel() as note:
                return note.old, note.labels
            case _:
                pass
    raise NotComposableError(f"a condition asks for {name}, which does not come from one setting of the old release")


def _advice_after(between: Between) -> Iterator[DefaultChanged]:
    """Yield the advice of the first notes, on the names of the new release."""
    speaking: dict[str, list[Note]] = defaultdict(list)
    for note in between.second.entries:
        for name in old_names(note):
            speaking[name].append(note)
    for each in between.first.advice:
        notes = speaking.get(each.name, [])
        names = [name for note in notes for name in new_names(note)] if notes else [each.name]
        yield from (replace(each, name=name) for name in dict.fromkeys(names))


def _advice_of_second(between: Between) -> Iterator[DefaultChanged]:
    for each in between.second.advice:
        if each.when is None:
            yield each
            continue
        try:
            yield replace(each, when=_pulled_back(each.when, between))
        except NotComposableError:
            continue  # advice decides nothing, and advice for another aircraft would mislead


def _do_not_meet(first: ChangeNotes, second: ChangeNotes) -> NotesDoNotMeetError:
    one = f"{first.family} {first.from_release} to {first.to_release}"
    other = f"{second.family} {second.from_release} to {second.to_release}"
    return NotesDoNotMeetError(
        f"The change notes {one} and {other} cannot follow each other.",
        why="The first have to end at the release where the second begin, in one family.",
        todo="Give change notes that follow each other.",
        first=one,
        second=other,
    )
