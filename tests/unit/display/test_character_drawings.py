from __future__ import annotations

import pytest

from rotorwright.display.characters import COUNTS, draw_character, parse_characters, print_characters
from rotorwright.display.drawings import DrawingsFileError, outlined, parse_drawings, print_drawings
from rotorwright.twin.thornbill.glyphs import draw_glyph
from rotorwright.twin.thornbill.release import characters

ROW = "." * 12
DOT = [ROW] * 8 + ["....oo......"] + [ROW] * 9


def file_of(*lines: str) -> str:
    return "\n".join(lines) + "\n"


def test_a_drawn_character_comes_mark_by_mark() -> None:
    found = parse_drawings(file_of("; my symbols", "", "character 7", *DOT, "", "character 0x1F", *["#" * 12] * 18))
    assert sorted(found) == [7, 31]
    assert draw_character(found[7]).split("\n") == DOT
    assert found[31] == bytes(54)


def test_outlined_puts_black_around_what_is_white_and_nowhere_else() -> None:
    found = parse_drawings(file_of("character 7 outlined", *DOT))
    rows = draw_character(found[7]).split("\n")
    assert rows[6:11] == [ROW, "...####.....", "...#oo#.....", "...####.....", ROW]


def test_the_outline_stops_at_the_edge_of_the_cell() -> None:
    assert outlined(["o.", "..", ".."]) == ["o#", "##", ".."]


def test_a_row_that_begins_with_a_black_pixel_is_no_remark() -> None:
    black_first = "#..........."
    assert draw_character(parse_drawings(file_of("character 0", *[black_first] * 18))[0]).startswith(black_first)


def test_ends_of_lines_and_blanks_behind_do_not_matter() -> None:
    text = file_of("character 7", *DOT)
    assert parse_drawings("\ufeff" + text.replace("\n", "  \r\n")) == parse_drawings(text)


def test_a_whole_set_drawn_and_read_looks_the_same() -> None:
    memory = parse_characters(characters("6.0"))
    again = parse_characters(print_characters(parse_drawings(print_drawings(memory))))
    assert again == memory


def test_a_set_of_two_banks_takes_higher_numbers() -> None:
    text = file_of("character 511", *DOT)
    found = parse_drawings(text, count=512)
    large = parse_characters(print_characters(found, count=512), counts=COUNTS)
    assert print_drawings(large) == text
    with pytest.raises(DrawingsFileError, match="no character 511 in a set of 256"):
        parse_drawings(text)


def test_the_drawing_of_a_glyph_of_the_twin_can_be_taken_over() -> None:
    drawing = draw_character(draw_glyph("A"))
    assert parse_drawings(f"character 65\n{drawing}\n")[65] == draw_glyph("A")


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        (["charcter 7"], 1, "'character NUMBER' or 'character NUMBER outlined' is expected, not 'charcter 7'"),
        (["", "character"], 2, "is expected"),
        (["character 7 outline"], 1, "is expected"),
        (["character seven"], 1, "'seven' is no number"),
        (["character 0x"], 1, "'0x' is no number"),
        (["character -1"], 1, "'-1' is no number"),
        (["character ٣"], 1, r"'\u0663' is no number"),
        (["character 256"], 1, "no character 256"),
        (["character 7", *DOT, "character 7", *DOT], 20, "drawn twice"),
        (["character 7", *DOT[:5]], 6, "ends after 5 of 18 rows"),
        (["character 7", *DOT[:5], "..........."], 7, "row 6 of character 7 has to be 12 marks, not '...........'"),
        (["character 7", *DOT[:5], "", *DOT[6:]], 7, "row 6 of character 7"),
        (["character 7", *DOT[:4], "x" * 12, *DOT], 6, "row 5"),
        (["character 7", *DOT, ROW], 20, "is expected"),
    ],
)
def test_a_line_that_does_not_belong_is_named(lines: list[str], line: int, words: str) -> None:
    with pytest.raises(DrawingsFileError) as caught:
        parse_drawings(file_of(*lines))
    assert caught.value.facts == {"line": line}
    assert f"Line {line} " in caught.value.what
    assert words in caught.value.what


def test_an_empty_file_draws_nothing() -> None:
    assert parse_drawings("") == {}
