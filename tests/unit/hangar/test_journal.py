"""The chain of a journal: what it is made of, and that no change to it goes unseen."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import replace
from enum import StrEnum

import pytest

from rotorwright.hangar.errors import EventFactsError, JournalDamagedError
from rotorwright.hangar.journal import (
    CHAIN_START,
    Event,
    JsonValue,
    canonical_json,
    chain_start,
    next_event,
    parse_facts,
    verify_chain,
)

NOON = "2026-11-24T12:00:00Z"


def chain_of(length: int, start: str = CHAIN_START) -> list[Event]:
    events: list[Event] = []
    for number in range(1, length + 1):
        events.append(next_event(events[-1] if events else None, "noted", {"n": number}, NOON, start=start))
    return events


def test_the_digest_covers_these_very_bytes() -> None:
    # Written out by hand after RFC 8785 3.2.3 (keys sorted, no white space), so that the form never changes unseen.
    text = '{"at":"2026-11-24T12:00:00Z","facts":{"a":1,"b":"ü"},"kind":"noted","previous":"%s","sequence":1}' % (
        "0" * 64
    )
    event = next_event(None, "noted", {"b": "ü", "a": 1.0}, NOON)
    assert event.sha256 == hashlib.sha256(text.encode()).hexdigest()
    assert (event.sequence, event.previous_sha256) == (1, "0" * 64)


# RFC 8785, appendix B, IEEE 754 bits and their text; written down from memory.
RFC_8785_NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
]


@pytest.mark.parametrize(("bits", "text"), RFC_8785_NUMBERS)
def test_numbers_have_the_text_of_the_rfc_and_keep_it_through_a_round_trip(bits: str, text: str) -> None:
    number = struct.unpack(">d", bytes.fromhex(bits))[0]
    canonical = canonical_json({"x": number})
    assert canonical == f'{{"x":{text}}}'.encode()
    assert canonical_json(parse_facts(canonical.decode())) == canonical


class Kind(StrEnum):
    ONE = "one"


def test_facts_of_other_kinds_of_mapping_text_and_list_become_plain_json() -> None:
    event = next_event(None, Kind.ONE, {"kind": Kind.ONE, "pair": (1, [None, True])}, NOON)
    assert event.facts == {"kind": "one", "pair": [1, [None, True]]}


@pytest.mark.parametrize(
    "bad",
    [float("nan"), float("inf"), 2**53, -(2**53), "\ud800", b"bytes", {1: 2}, {"\ud800": 1}, {1, 2}],
    ids=["nan", "inf", "too-large", "too-low", "surrogate", "bytes", "number-as-key", "surrogate-key", "set"],
)
def test_facts_without_an_exact_json_form_are_refused(bad: JsonValue) -> None:
    with pytest.raises(EventFactsError) as caught:
        next_event(None, "noted", {"x": bad}, NOON)
    assert caught.value.id == "storage.event-facts"


def test_facts_nested_without_end_are_refused() -> None:
    endless: list[JsonValue] = []
    endless.append(endless)
    with pytest.raises(EventFactsError):
        next_event(None, "noted", {"x": endless}, NOON)


def test_facts_text_that_is_no_object_is_refused() -> None:
    with pytest.raises(ValueError, match="not an object"):
        parse_facts("[1]")


def test_a_whole_chain_verifies_at_every_length() -> None:
    for length in range(5):
        verify_chain(chain_of(length), start=CHAIN_START)


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize(
    "change",
    [{"kind": "other"}, {"facts": {"n": 99}}, {"at": "2026-11-24T12:00:01Z"}, {"sha256": "f" * 64}],
    ids=["kind", "facts", "time", "digest"],
)
def test_a_changed_event_is_named(place: int, change: dict[str, object]) -> None:
    events = chain_of(4)
    events[place] = replace(events[place], **change)  # type: ignore[arg-type]
    with pytest.raises(JournalDamagedError) as caught:
        verify_chain(events)
    assert caught.value.facts["sequence"] == place + 1


def test_a_changed_event_with_a_fresh_digest_is_found_at_the_next_one() -> None:
    events = chain_of(4)
    events[1] = next_event(events[0], "noted", {"n": 99}, NOON)
    with pytest.raises(JournalDamagedError, match=r"event 3 .* does not follow"):
        verify_chain(events)


def test_a_missing_a_doubled_and_a_moved_event_are_found() -> None:
    one, two, three = chain_of(3)
    for wrong in ([one, three], [two, three], [one, one, two], [two, one, three]):
        with pytest.raises(JournalDamagedError):
            verify_chain(wrong)


def test_facts_that_could_never_have_been_written_are_damage_not_a_crash() -> None:
    (event,) = chain_of(1)
    with pytest.raises(JournalDamagedError):
        verify_chain([replace(event, facts={"x": float("nan")})])


def test_a_journal_of_another_changeover_does_not_fit() -> None:
    def start_of(number: str) -> str:
        return chain_start(number, unique_id="0f" * 12, started_at=NOON)

    events = chain_of(2, start=start_of("c0001"))
    verify_chain(events, start=start_of("c0001"))
    with pytest.raises(JournalDamagedError, match="another changeover"):
        verify_chain(events, start=start_of("c0002"))


def test_damage_is_told_with_the_four_answers() -> None:
    with pytest.raises(JournalDamagedError) as caught:
        verify_chain(chain_of(2)[1:])
    told = caught.value
    assert told.what == "The journal of this changeover is damaged: event 1 is missing; event 2 stands in its place."
    assert told.why
    assert told.state
    assert told.todo
    assert told.exit_code == 8
