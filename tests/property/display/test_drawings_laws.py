from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.display.characters import (
    BYTES_USED,
    CLEAR_MARK,
    LARGE_CHARACTERS,
    differing_characters,
    draw_character,
    parse_characters,
    print_characters,
)
from rotorwright.display.drawings import DrawingsFileError, outlined, parse_drawings, print_drawings
from rotorwright.display.pictures import character_lines, draw_comparison_svg

used_bytes = st.binary(min_size=BYTES_USED, max_size=BYTES_USED)
characters = st.dictionaries(st.integers(0, LARGE_CHARACTERS - 1), used_bytes, max_size=6)
drawings = st.lists(st.text("#o.", min_size=12, max_size=12), min_size=18, max_size=18)


@settings(deadline=None, max_examples=30)
@given(characters)
def test_a_set_drawn_and_read_has_the_same_look(drawn: dict[int, bytes]) -> None:
    memory = parse_characters(print_characters(drawn, count=LARGE_CHARACTERS), counts=(LARGE_CHARACTERS,))
    again = parse_drawings(print_drawings(memory), count=LARGE_CHARACTERS)
    assert sorted(again) == [number for number in sorted(drawn) if not memory.is_blank(number)]
    assert all(draw_character(again[number]) == draw_character(drawn[number]) for number in again)


@given(drawings)
def test_an_outline_only_makes_transparent_pixels_black_and_once_is_enough(rows: list[str]) -> None:
    once = outlined(rows)
    assert all(
        old == new or (old, new) == (CLEAR_MARK, "#")
        for line, drawn in zip(rows, once, strict=True)
        for old, new in zip(line, drawn, strict=True)
    )
    assert outlined(once) == once


@given(st.text("characteroutlined 0123456789x#o.;\n", max_size=300))
def test_any_text_is_drawings_or_refused_with_its_line(text: str) -> None:
    try:
        found = parse_drawings(text)
    except DrawingsFileError as error:
        line = error.facts["line"]
        assert isinstance(line, int)
        assert 1 <= line <= text.count("\n") + 1
    else:
        assert all(len(used) == BYTES_USED for used in found.values())


@given(used_bytes)
def test_a_character_in_blocks_has_ink_just_where_it_is_white(used: bytes) -> None:
    rows, lines = draw_character(used).split("\n"), character_lines(used)
    ink = {"█": "oo", "▀": "o-", "▄": "-o", "░": "--", " ": "--"}
    for place, line in enumerate(lines):
        for column, sign in enumerate(line):
            upper, lower = rows[2 * place][column], rows[2 * place + 1][column]
            assert "".join("o" if mark == "o" else "-" for mark in (upper, lower)) == ink[sign]
            assert (sign == "░") == (upper == lower == CLEAR_MARK)


@settings(deadline=None, max_examples=20)
@given(characters, characters)
def test_the_comparison_frames_as_many_as_differ_from_either_side(
    one: dict[int, bytes], other: dict[int, bytes]
) -> None:
    first, second = (
        parse_characters(print_characters(each, count=LARGE_CHARACTERS), counts=(LARGE_CHARACTERS,))
        for each in (one, other)
    )
    framed = len(differing_characters(first, second))
    for left, right in ((first, second), (second, first)):
        assert draw_comparison_svg(left, right, titles=("a", "b")).count('class="differs"') == framed
