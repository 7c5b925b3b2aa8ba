"""Pictures of sets. `comparison.svg` was looked at in a browser; a change of it has to be looked at again."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from rotorwright.display.characters import (
    COLUMNS,
    COUNTS,
    LARGE_CHARACTERS,
    ROWS,
    CharacterMemory,
    draw_character,
    parse_characters,
    parse_drawing,
    print_characters,
)
from rotorwright.display.pictures import (
    BLOCKS,
    PIXEL,
    PLAIN,
    character_lines,
    comparison_lines,
    draw_comparison_svg,
    draw_set_svg,
    set_lines,
)
from rotorwright.twin.thornbill.glyphs import draw_glyph
from rotorwright.twin.thornbill.release import characters

GOLDEN = Path(__file__).resolve().parents[2] / "golden" / "display" / "comparison.svg"
SVG = "{http://www.w3.org/2000/svg}"
RUN = re.compile(r"M(\d+) (\d+)h(\d+)v3h-\d+z")


def memory(characters: dict[int, bytes], count: int = 256) -> CharacterMemory:
    return parse_characters(print_characters(characters, count=count), counts=COUNTS)


ONE = memory({65: draw_glyph("A"), 66: draw_glyph("B"), 90: draw_glyph("Z")})
OTHER = memory({65: draw_glyph("A"), 66: draw_glyph("8"), 144: draw_glyph("arrow-north")})


def pixels(root: ET.Element, kind: str) -> set[tuple[int, int]]:
    """Return the left upper corner of each pixel that the paths of one kind cover, in the drawing's own units."""
    found = set()
    for path in root.iter(f"{SVG}path"):
        if path.get("class") == kind:
            for x, y, length in RUN.findall(path.get("d", "")):
                found |= {(int(x) + step, int(y)) for step in range(0, int(length), PIXEL)}
    return found


@pytest.mark.parametrize(("kind", "mark"), [("w", "o"), ("k", "#")])
def test_every_pixel_of_a_character_stands_in_the_picture(kind: str, mark: str) -> None:
    root = ET.fromstring(draw_set_svg(memory({0: draw_glyph("A")}), title="one"))
    drawn = pixels(root, kind)
    left, top = min(x for x, _ in pixels(root, "k")), min(y for _, y in pixels(root, "k"))
    rows = draw_character(draw_glyph("A")).split("\n")
    blacks = [(column, row) for row in range(ROWS) for column in range(COLUMNS) if rows[row][column] == "#"]
    first_column, first_row = min(column for column, _ in blacks), min(row for _, row in blacks)
    wanted = {
        (left + (column - first_column) * PIXEL, top + (row - first_row) * PIXEL)
        for row in range(ROWS)
        for column in range(COLUMNS)
        if rows[row][column] == mark
    }
    assert drawn == wanted


@pytest.mark.parametrize("count", COUNTS)
def test_every_number_of_a_set_has_its_cell_and_its_label(count: int) -> None:
    root = ET.fromstring(draw_set_svg(memory({}, count), title="all"))
    assert sum(rect.get("class") == "ground" for rect in root.iter(f"{SVG}rect")) == count
    labels = [text.text for text in root.iter(f"{SVG}text")]
    assert "0h 0" in labels
    assert f"{count - 1:X}h {count - 1}" in labels


def test_nothing_is_drawn_outside_the_sheet() -> None:
    for svg in (
        draw_set_svg(parse_characters(characters("6.0")), title="6.0"),
        draw_comparison_svg(*(parse_characters(characters(each)) for each in ("5.2", "6.0")), titles=("a", "b")),
    ):
        root = ET.fromstring(svg)
        width, height = (int(side) for side in root.get("viewBox", "").split()[2:])
        for rect in root.iter(f"{SVG}rect"):
            if rect.get("x"):
                assert float(rect.get("x", 0)) + float(rect.get("width", 0)) <= width
                assert float(rect.get("y", 0)) + float(rect.get("height", 0)) <= height


def test_what_differs_is_framed_marked_and_listed_and_nothing_else_is() -> None:
    root = ET.fromstring(draw_comparison_svg(ONE, OTHER, titles=("one", "other")))
    assert sum(rect.get("class") == "differs" for rect in root.iter(f"{SVG}rect")) == 3
    texts = [text.text or "" for text in root.iter(f"{SVG}text")]
    assert [text for text in texts if text.startswith("*")] == ["* 42h 66", "* 5Ah 90", "* 90h 144"]
    assert "3 of 256 characters differ: framed, and marked *" in texts
    assert "66 90 144" in texts
    assert "232 numbers in rows that are blank and the same in both are not drawn." in texts


def test_a_comparison_of_a_set_with_itself_frames_nothing() -> None:
    svg = draw_comparison_svg(ONE, ONE, titles=("one", "one"))
    assert 'class="differs"' not in svg
    assert "0 of 256 characters differ" in svg
    assert svg.count('class="ground"') == 2 * 2 * 8  # the rows of A, B and of Z are drawn all the same


def test_a_larger_set_is_compared_in_all_its_numbers() -> None:
    svg = draw_comparison_svg(memory({}), memory({}, LARGE_CHARACTERS), titles=("small", "large"))
    assert svg.count('class="differs"') == 256
    assert "* 1FFh 511" in svg


def test_the_comparison_is_the_picture_that_was_looked_at() -> None:
    assert draw_comparison_svg(ONE, OTHER, titles=("one", "other")) == GOLDEN.read_text(encoding="utf-8")


def test_a_title_cannot_put_marks_or_steering_signs_into_the_picture() -> None:
    title = 'a<script>&"\x1b[31m\u202e\ud800'
    for svg in (draw_set_svg(ONE, title=title), draw_comparison_svg(ONE, OTHER, titles=(title, title))):
        assert "<script" not in svg
        assert svg.encode()
        found = ET.fromstring(svg).findtext(f"{SVG}title")
        assert found is not None
        assert found.startswith('a<script>&"\ufffd[31m\ufffd\ufffd')


def test_two_pixels_above_each_other_are_one_sign_in_text() -> None:
    rows = ["o" + "." * 11, "." * 12, "." * 12, "o" + "#" * 11, "oo" + "#" * 10, "o." + "#" * 10, *["." * 12] * 12]
    lines = character_lines(parse_drawing("\n".join(rows)))
    assert lines[:3] == ("▀" + "░" * 11, "▄" + " " * 11, "█▀" + " " * 10)
    assert [len(line) for line in lines] == [12] * 9


def test_plain_signs_are_ascii_and_tell_the_same() -> None:
    plain, blocks = (character_lines(draw_glyph("A"), ink) for ink in (PLAIN, BLOCKS))
    assert all(line.isascii() for line in plain)
    swap = str.maketrans({BLOCKS.both: "8", BLOCKS.upper: '"', BLOCKS.lower: "o", BLOCKS.ground: "."})
    assert tuple(line.translate(swap) for line in blocks) == plain


def test_the_lines_of_a_set_show_only_what_is_not_blank_and_keep_to_the_width() -> None:
    lines = list(set_lines(parse_characters(characters("6.0")), width=60))
    assert max(map(len, lines)) <= 60
    assert lines[0].split() == ["16", "17", "18", "19"]
    assert list(set_lines(memory({}))) == []
    assert len(list(set_lines(ONE, width=1))) == 3 * 11  # even where nothing fits, one is shown beside no other


def test_the_lines_of_a_comparison_show_both_sides_of_what_differs() -> None:
    lines = list(comparison_lines(ONE, OTHER, width=80))
    assert lines[0].split() == ["66", "*", "90", "*", "144", "*"]
    left, right = lines[1][:25].split("|")
    assert left == character_lines(draw_glyph("B"))[0]
    assert right == character_lines(draw_glyph("8"))[0]
    assert list(comparison_lines(ONE, ONE)) == []


def test_a_number_that_one_set_does_not_have_is_an_empty_place() -> None:
    lines = list(comparison_lines(memory({}), memory({300: draw_glyph("A")}, LARGE_CHARACTERS)))
    assert lines[0] == "300 *"
    assert [line[:13] for line in lines[1:10]] == [" " * 12 + "|"] * 9
    assert len(lines) == 11  # nothing is shown for 255 other numbers that are blank or not there
