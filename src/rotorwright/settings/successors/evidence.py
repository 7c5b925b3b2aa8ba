"""Why a pair is suggested, in words for a person: what speaks for it, and what against."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.successors.description import Kind
from rotorwright.settings.successors.traits import (
    default_agrees,
    replacement,
    value_is_outside,
)
from rotorwright.settings.successors.words import sameness, squashed, told_apart, words_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.successors.candidates import Candidate
    from rotorwright.settings.successors.description import SettingDescription

_ONE_WORD = 0.8  # sameness from which two words are shown as one
_MUCH = 0.9  # of the allowed values, on the scale of -1 to 1
_LITTLE = -0.5


def evidence_for(old: SettingDescription, new: SettingDescription, candidate: Candidate) -> tuple[str, ...]:
    """Return the reasons for and against the pair, the name first."""
    return (
        *_name_words(old.name, new.name),
        *_companion_words(old.name, new.name, candidate.companions),
        *_kind_words(old, new, candidate),
        *_unit_words(old, new, candidate),
        *_allowed_words(old, new, candidate),
        *_default_words(old, new),
        *_place_words(old, new, candidate),
    )


def _name_words(old: str, new: str) -> Iterator[str]:
    if squashed(old) == squashed(new):
        yield "the name differs in capitals and separators only"
        return
    mine, theirs = words_of(old), words_of(new)
    shared = [word for word in dict.fromkeys(mine) if word in theirs]
    if shared:
        yield f"the names share {_listed(shared)}"
    for word in dict.fromkeys(mine):
        other = max(theirs, key=lambda each: sameness(word, each), default="")
        if word != other and sameness(word, other) >= _ONE_WORD:
            yield f"“{word}” may be another spelling of “{other}”"
    if told_apart(mine, theirs):
        yield "against it: number, axis or end differ, as in the names of siblings"


def _companion_words(old: str, new: str, companions: int) -> Iterator[str]:
    replaced = replacement(old, new)
    if not companions or replaced is None:
        return
    left, came = (_listed(words) if words else "nothing" for words in replaced)
    yield f"the same change of words ({left} to {came}) fits {companions} other name{'s' if companions > 1 else ''}"


def _kind_words(old: SettingDescription, new: SettingDescription, candidate: Candidate) -> Iterator[str]:
    if Kind.UNKNOWN in {old.kind, new.kind}:
        return
    if old.kind is new.kind:
        yield f"both hold the same kind of value: {old.kind}"
    elif candidate.traits.kind_clash:
        yield f"against it: the kind of value changed from {old.kind} to {new.kind}"
    else:
        yield f"the kind of value changed from {old.kind} to {new.kind}, which is near it"


def _unit_words(old: SettingDescription, new: SettingDescription, candidate: Candidate) -> Iterator[str]:
    if candidate.traits.unit_same == 1.0:
        yield f"same unit: {new.unit}"
    elif candidate.traits.unit_same:
        yield f"the unit changed from {old.unit} to {new.unit}, which measure the same: the value must be converted"
    elif candidate.traits.unit_clash:
        yield f"against it: the unit changed from {old.unit or 'none'} to {new.unit or 'none'}"


def _allowed_words(old: SettingDescription, new: SettingDescription, candidate: Candidate) -> Iterator[str]:
    what = "labels" if old.choices and new.choices else "range"
    if value_is_outside(old, new):
        yield f"against it: the value {old.value} is outside the new range"
    elif candidate.traits.allowed_same == 1.0:
        yield f"same {what}"
    elif candidate.traits.allowed_same >= _MUCH:
        yield f"nearly the same {what}"
    elif candidate.traits.allowed_same <= _LITTLE:
        yield f"against it: another {what}"


def _default_words(old: SettingDescription, new: SettingDescription) -> Iterator[str]:
    agrees = default_agrees(old, new)
    if agrees:
        yield f"same default: {new.default}"
    elif agrees is False:
        yield f"against it: the default changed from {old.default} to {new.default}"


def _place_words(old: SettingDescription, new: SettingDescription, candidate: Candidate) -> Iterator[str]:
    if candidate.traits.neighbours == 1.0:
        yield "stands between the same neighbours in both listings"
    elif candidate.traits.neighbours:
        yield "stands beside the same neighbour in both listings"
    if candidate.traits.group_same:
        yield f"same group: {old.group}"
    elif old.group and new.group:
        yield f"the group changed from {old.group} to {new.group}"


def _listed(words: tuple[str, ...] | list[str]) -> str:
    return ", ".join(f"“{word}”" for word in words)
