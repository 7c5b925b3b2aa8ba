"""The journal of a changeover: a chain of events, each bound to the one before by its SHA-256.

Pure: no file, no clock. The digest of an event covers the digest of the event before it, so a changed, missing, doubled
or moved event is found at the first place where the chain no longer fits. Two things a chain alone cannot show: events
cut off at its end, and a chain written anew from some place on; whoever must know keeps the last digest elsewhere (the
report prints it).

Digest: SHA-256 (FIPS 180-4) over the canonical JSON (RFC 8785) of an object with the keys `previous`, `sequence`,
`kind`, `facts`, `at`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import rfc8785

from rotorwright.hangar.errors import EventFactsError, JournalDamagedError

JsonValue: TypeAlias = "bool | int | float | str | Sequence[JsonValue] | Mapping[str, JsonValue] | None"

CHAIN_START = "0" * 64
"""What the first event of a chain that belongs to nothing is bound to."""

_LARGEST_EXACT_INT = 2**53 - 1  # RFC 8785 3.2.2.3 and RFC 7493 2.2: beyond it not every integer is a double


@dataclass(frozen=True, slots=True)
class Event:
    """One entry of a journal. `sequence` counts from 1; `at` is ISO 8601 UTC; digests are 64 lower-case hex digits."""

    sequence: int
    kind: str
    facts: Mapping[str, JsonValue]
    at: str
    previous_sha256: str
    sha256: str


def canonical_json(value: JsonValue) -> bytes:
    """Return `value` as canonical JSON (RFC 8785).

    Raises:
        EventFactsError: not JSON, NaN or infinite, a lone surrogate, or an integer that no double holds exactly.
    """
    try:
        return rfc8785.dumps(_bare(value))
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError, TypeError) as error:
        raise EventFactsError(
            f"Facts of an event have no canonical JSON form: {error}",
            why="The journal takes null, true, false, finite numbers (whole ones up to 2**53-1), text, lists, objects.",
            todo="Report this as a defect; larger numbers and bit patterns go into the journal as text.",
        ) from error


def parse_facts(text: str) -> dict[str, JsonValue]:
    """Return the facts that `text`, made by `canonical_json`, stands for.

    Raises:
        ValueError: the text is no JSON object.
    """
    facts = json.loads(text, parse_int=_number)
    if not isinstance(facts, dict):
        raise ValueError("facts are not an object")  # noqa: TRY004 - the text is wrong, not a type
    return facts


def chain_start(changeover_id: str, *, unique_id: str, started_at: str) -> str:
    """Return what the first event of this changeover is bound to, so that journals cannot change places."""
    return _digest({"changeover": changeover_id, "started_at": started_at, "unique_id": unique_id})


def next_event(
    before: Event | None, kind: str, facts: Mapping[str, JsonValue], at: str, *, start: str = CHAIN_START
) -> Event:
    """Return the event that follows `before` (None: the first one, bound to `start`).

    Numbers come out as JSON reads them again: 1.0 as 1, so an event equals itself after a round trip.

    Raises:
        EventFactsError: the facts have no canonical JSON form.
    """
    sequence, previous = (before.sequence + 1, before.sha256) if before else (1, start)
    kept = parse_facts(canonical_json(facts).decode())
    return Event(sequence, kind, kept, at, previous, _event_digest(previous, sequence, kind, kept, at))


def verify_chain(events: Sequence[Event], *, start: str | None = None) -> None:
    """Return if every event follows from the one before it.

    With `start`, the first event must be bound to it; without, to anything.

    Raises:
        JournalDamagedError: names the first event that does not fit.
    """
    for place, event in enumerate(events, start=1):
        if event.sequence != place:
            raise damaged_journal(place, f"event {place} is missing; event {event.sequence} stands in its place")
        verify_event(event)
    if events and start is not None and events[0].previous_sha256 != start:
        raise damaged_journal(1, "the first event belongs to another changeover")
    for before, after in pairwise(events):
        if after.previous_sha256 != before.sha256:
            raise damaged_journal(
                after.sequence, f"event {after.sequence} ({after.kind}) does not follow from the one before"
            )


def verify_event(event: Event) -> None:
    """Return if the content of `event` fits its digest.

    Raises:
        JournalDamagedError: it does not.
    """
    if event.sha256 != _digest_or_nothing(event):
        raise damaged_journal(
            event.sequence, f"the content of event {event.sequence} ({event.kind}) does not fit its digest"
        )


def _digest_or_nothing(event: Event) -> str:
    try:
        return _event_digest(event.previous_sha256, event.sequence, event.kind, event.facts, event.at)
    except EventFactsError:
        return ""


def _event_digest(previous: str, sequence: int, kind: str, facts: Mapping[str, JsonValue], at: str) -> str:
    return _digest({"previous": previous, "sequence": sequence, "kind": kind, "facts": facts, "at": at})


def _digest(value: Mapping[str, JsonValue]) -> str:
    return hashlib.sha256(canonical_json(value)).hexdigest()


def _bare(value: JsonValue) -> JsonValue:
    """Return `value` made of the very types that the encoder takes."""
    if isinstance(value, Mapping):
        return {key: _bare(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_bare(entry) for entry in value]
    return value


def _number(text: str) -> int | float:
    number = int(text)
    return number if abs(number) <= _LARGEST_EXACT_INT else float(text)


def damaged_journal(sequence: int, what: str) -> JournalDamagedError:
    """Return the error that names the first event that is not as it was written."""
    return JournalDamagedError(
        f"The journal of this changeover is damaged: {what}.",
        why="An event was changed, removed or moved after it was written, by another program or by the disk.",
        state="Nothing was sent to the aircraft now. The files of this changeover, the saved settings among"
        " them, were not touched and each has its own digest.",
        todo="Copy the whole hangar folder to another disk, then start a new changeover for this aircraft.",
        sequence=sequence,
    )
