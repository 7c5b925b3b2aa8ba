from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.display.characters import COUNTS, CharacterMemory, parse_characters
from rotorwright.display.exchange import parse_character_set, parse_character_text, print_character_text
from rotorwright.display.need import needed_characters
from rotorwright.errors import SettingsError

# A block of random bytes, repeated to the full length, keeps the generated data small and every value possible.
memories = st.builds(
    lambda block, count: parse_characters((block * (count * 64 // len(block) + 1))[: count * 64], counts=COUNTS),
    st.binary(min_size=1, max_size=700),
    st.sampled_from(COUNTS),
)


@settings(max_examples=25, deadline=None)
@given(memories)
def test_binary_to_text_to_binary_is_the_same_bytes(memory: CharacterMemory) -> None:
    assert parse_character_text(print_character_text(memory).encode()).memory == memory


@settings(max_examples=25, deadline=None)
@given(memories)
def test_a_file_of_either_form_is_taken_for_what_it_is(memory: CharacterMemory) -> None:
    assert parse_character_set(memory.data).memory == memory
    assert parse_character_set(print_character_text(memory).encode()).memory == memory


@settings(deadline=None)
@given(st.binary(max_size=400) | st.text("01 \r\nMAX7", max_size=400).map(str.encode))
def test_short_rubbish_is_always_refused_in_words(data: bytes) -> None:
    with pytest.raises(SettingsError) as caught:
        parse_character_set(data)
    assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))


@settings(max_examples=15, deadline=None)
@given(memories, memories)
def test_missing_and_differing_are_needed_and_apart_and_nothing_for_itself(
    release: CharacterMemory, found: CharacterMemory
) -> None:
    need = needed_characters(release, found)
    assert set(need.missing) | set(need.differing) <= set(need.needed)
    assert not set(need.missing) & set(need.differing)
    assert not set(need.unneeded) & set(need.needed)
    itself = needed_characters(release, release)
    assert (itself.missing, itself.differing, itself.unneeded) == ((), (), ())
