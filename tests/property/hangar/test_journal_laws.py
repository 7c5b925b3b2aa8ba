"""Laws of the journal on generated facts."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from rotorwright.errors import StorageError
from rotorwright.hangar.errors import JournalDamagedError
from rotorwright.hangar.journal import Event, JsonValue, canonical_json, next_event, parse_facts, verify_chain
from rotorwright.hangar.store import Hangar

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
WHOLE = st.integers(-(2**53) + 1, 2**53 - 1)
SCALARS = st.none() | st.booleans() | WHOLE | st.floats(allow_nan=False, allow_infinity=False) | TEXTS
VALUES: st.SearchStrategy[JsonValue] = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4), max_leaves=12
)
FACTS = st.dictionaries(TEXTS, VALUES, max_size=5)
HISTORIES = st.lists(st.tuples(TEXTS, FACTS), min_size=1, max_size=6)

STORED = Path(__file__).parents[2] / "unit" / "hangar" / "data" / "hangar-form-0001.db"


def chain(history: list[tuple[str, dict[str, JsonValue]]]) -> list[Event]:
    events: list[Event] = []
    for kind, facts in history:
        events.append(next_event(events[-1] if events else None, kind, facts, "2026-11-24T12:00:00Z"))
    return events


@given(FACTS)
def test_canonical_json_read_and_written_again_is_the_same(facts: dict[str, JsonValue]) -> None:
    text = canonical_json(facts)
    assert canonical_json(parse_facts(text.decode())) == text


@given(FACTS)
def test_the_order_of_keys_makes_no_difference(facts: dict[str, JsonValue]) -> None:
    assert canonical_json(dict(reversed(facts.items()))) == canonical_json(facts)


@given(FACTS)
def test_facts_keep_their_values(facts: dict[str, JsonValue]) -> None:
    assert next_event(None, "noted", facts, "").facts == facts


# The standard library writes the same bytes as RFC 8785 for whole numbers and text under ASCII keys.
PLAIN = st.dictionaries(
    st.text(st.characters(max_codepoint=0x7E), max_size=9), WHOLE | TEXTS | st.none() | st.booleans()
)


@given(PLAIN, TEXTS, TEXTS)
def test_the_digest_is_the_one_that_any_other_program_computes(facts: dict[str, JsonValue], kind: str, at: str) -> None:
    before = next_event(None, "first", {}, "")
    event = next_event(before, kind, facts, at)
    whole = {"previous": before.sha256, "sequence": 2, "kind": kind, "facts": facts, "at": at}
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert event.sha256 == hashlib.sha256(text.encode()).hexdigest()


@given(HISTORIES)
def test_what_was_chained_verifies(history: list[tuple[str, dict[str, JsonValue]]]) -> None:
    verify_chain(chain(history))


@given(HISTORIES, st.data())
def test_no_event_can_be_changed_unseen(history: list[tuple[str, dict[str, JsonValue]]], data: st.DataObject) -> None:
    events = chain(history)
    place = data.draw(st.integers(0, len(events) - 1))
    facts = data.draw(FACTS)
    assume(canonical_json(facts) != canonical_json(events[place].facts))
    events[place] = replace(events[place], facts=facts)
    with pytest.raises(JournalDamagedError) as caught:
        verify_chain(events)
    assert caught.value.facts["sequence"] == place + 1


@given(HISTORIES, st.data())
def test_no_event_but_the_last_can_be_left_out_unseen(
    history: list[tuple[str, dict[str, JsonValue]]], data: st.DataObject
) -> None:
    events = chain([*history, ("last", {})])
    del events[data.draw(st.integers(0, len(events) - 2))]
    with pytest.raises(JournalDamagedError):
        verify_chain(events)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(history=HISTORIES)
def test_a_journal_comes_back_from_the_disk_as_it_was_added(
    tmp_path: Path, history: list[tuple[str, dict[str, JsonValue]]]
) -> None:
    with Hangar.open(tmp_path) as hangar:
        name = hangar.new_changeover("0f" * 12, "2026-11-24T12:00:00Z")
        added = tuple(hangar.append(name, kind, facts, "2026-11-24T12:00:00Z") for kind, facts in history)
    with Hangar.open(tmp_path) as hangar:
        assert hangar.events(name) == added


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(0, STORED.stat().st_size - 1), byte=st.integers(0, 255))
def test_a_damaged_byte_never_shows_another_journal(tmp_path: Path, place: int, byte: int) -> None:
    content = bytearray(STORED.read_bytes())
    content[place] = byte
    shutil.rmtree(tmp_path / "hangar", ignore_errors=True)
    (tmp_path / "hangar").mkdir()
    (tmp_path / "hangar" / "hangar.db").write_bytes(STORED.read_bytes())
    written = events_in(tmp_path / "hangar")
    (tmp_path / "hangar" / "hangar.db").write_bytes(content)
    try:
        found = events_in(tmp_path / "hangar")
    except StorageError:
        return
    assert found == written


def events_in(folder: Path) -> tuple[Event, ...]:
    with Hangar.open(folder) as hangar:
        return hangar.events("c0001")
