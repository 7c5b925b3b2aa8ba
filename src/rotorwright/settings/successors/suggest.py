"""Suggestions: for each vanished setting its likeliest successor, how sure, and why."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.settings.successors.candidates import candidates_of
from rotorwright.settings.successors.caution import touches_danger
from rotorwright.settings.successors.evidence import evidence_for
from rotorwright.settings.successors.pairing import NO_SUCCESSOR, pair_up, weigh
from rotorwright.settings.successors.release_change import ReleaseChange
from rotorwright.settings.successors.weighing import Standing, Weights, shipped_weights

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.settings.successors.description import SettingDescription
    from rotorwright.settings.successors.pairing import Weighed

LIKELIER_THAN_NOT = 0.5
_RUNNERS_UP = 3


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The likeliest successor of one vanished setting. It is for a person to decide: nothing applies it by itself.

    Args:
        old: the vanished name.
        new: the likeliest successor, or nothing if none is likely enough.
        probability: how sure: of the pair, or of there being no successor if `new` is nothing. 0 to 1. Calibrated for
            pairs; of no successor it is too sure (docs/explanation/successors.md has the figures).
        evidence: what speaks for and against it, in words.
        may_be_offered_first: whether a page may put `new` first among the options. Never if either setting touches
            arming, motors or failsafe: then the person chooses with nothing chosen for them.
        runners_up: up to three other candidates, the strongest first. Candidates may be shared between settings.
        nearest: where there is neither: up to three names that are the least unlike, though too little speaks for them.
    """

    old: str
    new: str | None
    probability: float
    evidence: tuple[str, ...]
    may_be_offered_first: bool
    runners_up: tuple[str, ...] = ()
    nearest: tuple[str, ...] = ()


def likeliest_successors(
    vanished: Sequence[SettingDescription],
    arrived: Sequence[SettingDescription],
    *,
    old_listing: Sequence[str] = (),
    new_listing: Sequence[str] = (),
    at_least: float = LIKELIER_THAN_NOT,
    weights: Weights | None = None,
) -> tuple[Suggestion, ...]:
    """Return one suggestion for each vanished setting, in the order given. Pure: nothing is applied.

    No arrived setting is suggested for two vanished ones, so of two settings that were joined, one has the new name
    among its runners-up only. Names are expected once each in `vanished` and once each in `arrived`.

    Args:
        vanished: settings of the aircraft that the new release does not know.
        arrived: settings of the new release that the old one did not know.
        old_listing: all names of the old release, in the order of its listing, if known.
        new_listing: all names of the new release, likewise.
        at_least: probability below which a pair is no suggestion but a runner-up.
        weights: other weights than those shipped.
    """
    by = weights or shipped_weights()
    # In the order of their names, so that ties do not depend on the order in which somebody listed them.
    ordered = sorted(range(len(vanished)), key=lambda place: vanished[place].name)
    change = ReleaseChange(
        [vanished[place] for place in ordered],
        sorted(arrived, key=lambda each: each.name),
        old_listing=old_listing,
        new_listing=new_listing,
    )
    weighed = weigh(candidates_of(change), by)
    pairs = pair_up(weighed, change)
    rows = _strongest_first(weighed)
    found: dict[int, Suggestion] = {}
    for place, given in enumerate(ordered):
        pair = pairs.get(place)
        if pair is not None and (chance := by.chance(pair.standing)) >= at_least:
            found[given] = _pair_suggestion(pair, chance, rows[place], change)
        else:
            found[given] = _no_successor(vanished[given], rows[place], change, by)
    return tuple(found[place] for place in range(len(vanished)))


def _no_successor(old: SettingDescription, row: Sequence[Weighed], change: ReleaseChange, by: Weights) -> Suggestion:
    best = max((by.chance(each.standing) for each in row), default=by.chance(Standing(NO_SUCCESSOR, 0.0, 0.0)))
    return Suggestion(
        old=old.name,
        new=None,
        probability=by.chance_of_nothing(best),
        evidence=_words_for_none(row, change),
        may_be_offered_first=False,
        runners_up=(runners_up := _names(row, change)),
        nearest=() if runners_up else _nearest(row, change),
    )


def _pair_suggestion(pair: Weighed, chance: float, row: Sequence[Weighed], change: ReleaseChange) -> Suggestion:
    old, new = change.vanished[pair.candidate.old], change.arrived[pair.candidate.new]
    return Suggestion(
        old=old.name,
        new=new.name,
        probability=chance,
        evidence=evidence_for(old, new, pair.candidate),
        may_be_offered_first=not (touches_danger(old) or touches_danger(new)),
        runners_up=_names([each for each in row if each is not pair], change),
    )


def _strongest_first(weighed: Sequence[Weighed]) -> defaultdict[int, list[Weighed]]:
    rows: defaultdict[int, list[Weighed]] = defaultdict(list)
    for each in sorted(weighed, key=lambda one: -one.standing.strength):
        rows[each.candidate.old].append(each)
    return rows


def _names(row: Sequence[Weighed], change: ReleaseChange) -> tuple[str, ...]:
    """Runners-up weaker than no successor at all are noise, and are not shown."""
    strong = [each for each in row if each.standing.strength > NO_SUCCESSOR]
    return tuple(change.arrived[each.candidate.new].name for each in strong[:_RUNNERS_UP])


def _nearest(row: Sequence[Weighed], change: ReleaseChange) -> tuple[str, ...]:
    return tuple(change.arrived[each.candidate.new].name for each in row[:_RUNNERS_UP])


def _words_for_none(row: Sequence[Weighed], change: ReleaseChange) -> tuple[str, ...]:
    if not row:
        return ("no new name is anything like it",)
    nearest = change.arrived[row[0].candidate.new].name
    return (f"the nearest new name is {nearest}, and too little speaks for it",)
