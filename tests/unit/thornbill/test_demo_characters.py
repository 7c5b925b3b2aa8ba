from __future__ import annotations

import pytest

from rotorwright.display.characters import (
    BYTES_PER_CHARACTER,
    BYTES_USED,
    CHARACTERS,
    CharacterMemory,
    differing_characters,
    draw_character,
    parse_characters,
)
from rotorwright.twin.thornbill.glyphs import draw_glyph, draw_release, drawn_glyphs
from rotorwright.twin.thornbill.release import RELEASES, characters

TEXT = range(ord("!"), ord("_") + 1)


def memory(release: str) -> CharacterMemory:
    return parse_characters(characters(release))


@pytest.mark.parametrize("release", RELEASES)
def test_every_printable_sign_up_to_the_capitals_is_drawn(release: str) -> None:
    assert not any(memory(release).is_blank(number) for number in TEXT)


def test_no_two_signs_are_alike_in_6_0_where_5_2_drew_zero_like_the_letter_o() -> None:
    assert len({memory("6.0").character(number) for number in TEXT}) == len(TEXT)
    assert len({memory("5.2").character(number) for number in TEXT}) == len(TEXT) - 1
    assert memory("5.2").character(ord("0")) == memory("5.2").character(ord("O"))


@pytest.mark.parametrize("release", RELEASES)
def test_the_space_is_blank(release: str) -> None:
    assert memory(release).is_blank(ord(" "))


@pytest.mark.parametrize("release", RELEASES)
def test_at_least_a_dozen_icons_are_drawn_besides_the_text(release: str) -> None:
    icons = [number for number in range(CHARACTERS) if number not in TEXT and not memory(release).is_blank(number)]
    assert len(icons) >= 12


@pytest.mark.parametrize("release", RELEASES)
def test_the_ten_unused_bytes_of_each_character_are_those_of_a_blank(release: str) -> None:
    data = characters(release)
    for number in range(CHARACTERS):
        start = number * BYTES_PER_CHARACTER
        assert data[start + BYTES_USED : start + BYTES_PER_CHARACTER] == b"\x55" * (BYTES_PER_CHARACTER - BYTES_USED)


def test_at_least_sixty_characters_are_new_in_6_0() -> None:
    assert len(differing_characters(memory("5.2"), memory("6.0"))) >= 60


@pytest.mark.parametrize("release", RELEASES)
def test_drawing_again_gives_the_same_bytes(release: str) -> None:
    draw_glyph.cache_clear()
    assert draw_release(release) == characters(release)


def test_a_letter_is_white_in_a_black_outline() -> None:
    assert draw_character(draw_glyph("L")).splitlines() == [
        "............",
        "####........",
        *["#oo#........"] * 11,
        "#oo#########",
        "#oooooooooo#",
        "#oooooooooo#",
        "############",
        "............",
    ]


def test_every_white_pixel_has_no_transparent_neighbour() -> None:
    for name in drawn_glyphs():
        rows = draw_character(draw_glyph(name)).splitlines()
        for row, line in enumerate(rows):
            for column, mark in enumerate(line):
                if mark == "o":
                    around = [other[max(column - 1, 0) : column + 2] for other in rows[max(row - 1, 0) : row + 2]]
                    assert "." not in "".join(around), name


def test_the_battery_fills_from_empty_to_full() -> None:
    white = [draw_character(draw_glyph(f"battery-{level}")).count("o") for level in range(9)]
    assert white == sorted(white)
    assert len(set(white)) == 9


def test_the_horizon_bar_rises_and_joins_its_neighbours() -> None:
    tops = [draw_character(draw_glyph(f"horizon-{level}")).splitlines().index("o" * 12) for level in range(9)]
    assert tops == sorted(tops, reverse=True)
    assert len(set(tops)) == 9


def test_an_arrow_turned_twice_points_the_other_way() -> None:
    north = draw_character(draw_glyph("arrow-north")).splitlines()
    south = draw_character(draw_glyph("arrow-south")).splitlines()
    assert [line[::-1] for line in reversed(north)] == south
