"""A person's own values for a held line, judged before they become an option of it; and who claims which new name."""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import TYPE_CHECKING

from rotorwright.errors import WorkflowError
from rotorwright.settings.decisions import BY_HAND, Option
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.decisions import Decision, Write
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value


class ClaimedTwiceError(WorkflowError):
    """Two lines of a sheet speak for one setting of the new release."""

    id = "carry-over.claimed-twice"


class ByHandRefusedError(WorkflowError):
    """A value given by hand cannot stand in the new release, or is not for this line to write."""

    id = "carry-over.by-hand-refused"


def claimed_twice(decisions: Iterable[Decision]) -> dict[str, tuple[Decision, ...]]:
    """Return, by new name, the decisions that speak for it as they stand, where there are several."""
    owners: defaultdict[str, list[Decision]] = defaultdict(list)
    for each in decisions:
        for name in each.claims:
            owners[name].append(each)
    return {name: tuple(found) for name, found in sorted(owners.items()) if len(found) > 1}


def refuse_claimed_twice(decisions: Iterable[Decision]) -> None:
    """Refuse decisions of which two speak for one new name.

    Raises:
        ClaimedTwiceError: the words name both.
    """
    for name, owners in claimed_twice(decisions).items():
        shown = " and ".join(" with ".join(each.found) for each in owners)
        raise ClaimedTwiceError(
            f"{shown} are both decided to become {name}, which can hold one value only.",
            why="Several held lines may be offered the same new name; it can be given to one of them.",
            todo="Decide one of them anew: leave it out, or take another new name.",
            name=name,
            found=shown,
        )


def by_hand_option(
    sheet: CarryOverSheet, held: Decision, writes: Sequence[Write], new_catalogue: Catalogue | None
) -> Option:
    """Return the option that writes a person's own values for the held decision.

    Raises:
        ByHandRefusedError: nothing is to be written, a name is no setting of the new release, is given twice, or is
            decided on by another line, or its value is outside type, range or labels.
    """
    _refuse_bad_names(sheet, held, writes, new_catalogue)
    defaults = _defaults(sheet)
    shown = [_shown(each, defaults.get(each.name), new_catalogue) for each in writes]
    return Option(BY_HAND, f"By hand: {', '.join(shown)}", tuple(sorted(writes, key=lambda each: each.name)))


def _refuse_bad_names(
    sheet: CarryOverSheet, held: Decision, writes: Sequence[Write], new_catalogue: Catalogue | None
) -> None:
    if not writes:
        raise _refused("No value was given.", todo="Give at least one, or leave the setting out.")
    twice = [name for name, count in Counter(each.name for each in writes).items() if count > 1]
    if twice:
        raise _refused(f"{twice[0]} was given two values.", todo="Give it one.")
    known = {*_defaults(sheet), *(new_catalogue or ())}
    for name in (each.name for each in writes):
        if name not in known and (new_catalogue is None or new_catalogue.get(name) is None):
            meant = likely(name, known)
            raise _refused(
                f"{name} is no setting of the new release.",
                todo=f"Give {meant}, if that was meant." if meant else "Look at the sheet for the new names.",
            )
        other = next((each for each in sheet.decisions if name in each.new_names and each.found != held.found), None)
        if other is not None:
            of = " and ".join(other.found)
            raise _refused(f"{name} is decided on in the line of {of}.", todo=f"Decide {of} instead, if it is held.")


def _shown(write: Write, default: Value | None, new_catalogue: Catalogue | None) -> str:
    """Return the write in words, if it may stand."""
    setting = None if new_catalogue is None else new_catalogue.get(write.name)
    refusal = None if setting is None else setting.refusal(write.value)
    if default is not None and default.type is not write.value.type:
        refusal = f"{write.name} holds a {default.type}, and {write.value.text} is a {write.value.type}"
    if refusal is not None:
        raise _refused(f"{write.name} cannot be {write.value.text}: {refusal}.", todo="Give a value that it may hold.")
    return f"{write.name} {write.value.text if setting is None else setting.show(write.value)}"


def _defaults(sheet: CarryOverSheet) -> Mapping[str, Value | None]:
    """Return the settings of the new release that the sheet knows, with their defaults as far as they are known."""
    known = {each.name: each.default for each in sheet.arrivals}
    for decision in sheet.decisions:
        known |= zip(decision.new_names, decision.theirs, strict=True)
    return known


def _refused(what: str, *, todo: str) -> ByHandRefusedError:
    return ByHandRefusedError(
        what,
        why="What is given by hand is written as it is, so it is judged like every other value before.",
        state="The line is as it was; nothing was changed on the aircraft.",
        todo=todo,
    )
