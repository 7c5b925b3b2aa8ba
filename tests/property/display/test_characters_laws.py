from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rotorwright.display.characters import (
    BYTES_USED,
    CHARACTERS,
    differing_characters,
    draw_character,
    parse_characters,
    parse_drawing,
    print_characters,
)

used_bytes = st.binary(min_size=BYTES_USED, max_size=BYTES_USED)
numbered = st.dictionaries(st.integers(0, CHARACTERS - 1), used_bytes, max_size=8)


@given(used_bytes)
def test_a_drawing_read_back_draws_the_same(used: bytes) -> None:
    drawing = draw_character(used)
    assert draw_character(parse_drawing(drawing)) == drawing


@given(st.lists(st.text("#o.", min_size=12, max_size=12), min_size=18, max_size=18))
def test_every_drawing_comes_back_mark_by_mark(lines: list[str]) -> None:
    drawing = "\n".join(lines)
    assert draw_character(parse_drawing(drawing)) == drawing


@given(numbered)
def test_a_printed_memory_holds_what_was_put_in(characters: dict[int, bytes]) -> None:
    memory = parse_characters(print_characters(characters))
    assert {number: memory.character(number) for number in characters} == characters


@given(numbered, numbered)
def test_differing_is_the_same_both_ways_and_nothing_for_itself(one: dict[int, bytes], other: dict[int, bytes]) -> None:
    first, second = parse_characters(print_characters(one)), parse_characters(print_characters(other))
    assert differing_characters(first, second) == differing_characters(second, first)
    assert differing_characters(first, first) == ()
    assert set(differing_characters(first, second)) <= one.keys() | other.keys()
