from __future__ import annotations

import pytest

from rotorwright.display.characters import (
    BLANK_CHARACTER,
    BYTES_PER_CHARACTER,
    BYTES_USED,
    CHARACTERS,
    MEMORY_BYTES,
    CharacterDrawingError,
    CharacterMemoryError,
    CharacterNumberError,
    differing_characters,
    draw_character,
    geometry,
    parse_characters,
    parse_drawing,
    print_characters,
)

EMPTY = print_characters({})
WHITE = b"\xaa" * BYTES_USED


def test_a_memory_of_any_other_length_is_refused_with_both_lengths_named() -> None:
    for length in (0, 1, MEMORY_BYTES - 1, MEMORY_BYTES + 1, CHARACTERS * BYTES_USED):
        with pytest.raises(CharacterMemoryError) as caught:
            parse_characters(bytes(length))
        assert str(length) in caught.value.what
        assert str(MEMORY_BYTES) in caught.value.what
        assert caught.value.facts == {"length": length, "expected": MEMORY_BYTES}


def test_an_empty_memory_has_blank_characters_only() -> None:
    memory = parse_characters(EMPTY)
    assert all(memory.is_blank(number) for number in range(CHARACTERS))
    assert memory.character(0) == BLANK_CHARACTER


def test_both_transparent_codes_are_blank() -> None:
    memory = parse_characters(print_characters({7: b"\xff" * BYTES_USED, 8: b"\x00" * BYTES_USED}))
    assert memory.is_blank(7)
    assert not memory.is_blank(8)


def test_only_the_used_bytes_are_compared() -> None:
    changed = bytearray(EMPTY)
    for number in range(CHARACTERS):
        start = number * BYTES_PER_CHARACTER
        changed[start + BYTES_USED : start + BYTES_PER_CHARACTER] = b"\x00" * (BYTES_PER_CHARACTER - BYTES_USED)
    assert differing_characters(parse_characters(EMPTY), parse_characters(bytes(changed))) == ()


@pytest.mark.parametrize("offset", [0, 1, BYTES_USED - 1])
@pytest.mark.parametrize("number", [0, 1, 128, 255])
def test_one_changed_pixel_names_its_character(number: int, offset: int) -> None:
    changed = bytearray(EMPTY)
    changed[number * BYTES_PER_CHARACTER + offset] ^= 0x80
    assert differing_characters(parse_characters(EMPTY), parse_characters(bytes(changed))) == (number,)


def test_differing_characters_come_in_order() -> None:
    other = parse_characters(print_characters({200: WHITE, 3: WHITE, 90: WHITE}))
    assert differing_characters(parse_characters(EMPTY), other) == (3, 90, 200)


def test_a_character_that_is_not_there_is_refused() -> None:
    for number in (-1, CHARACTERS):
        with pytest.raises(CharacterNumberError):
            parse_characters(EMPTY).character(number)
        with pytest.raises(CharacterNumberError):
            print_characters({number: WHITE})


def test_the_first_pixel_is_drawn_from_the_top_bits() -> None:
    drawing = draw_character(b"\x1b" + BLANK_CHARACTER[1:])  # codes 00 01 10 11
    assert drawing.splitlines()[0] == "#.o........."


def test_the_last_pixel_is_drawn_from_the_low_bits_of_byte_54() -> None:
    drawing = draw_character(BLANK_CHARACTER[:-1] + b"\x56")
    assert drawing.splitlines()[17] == "...........o"


def test_the_whole_row_of_64_bytes_draws_the_same_character() -> None:
    assert draw_character(WHITE + b"\x00" * 10) == draw_character(WHITE)


def test_a_character_of_another_length_is_refused() -> None:
    for length in (0, 53, 55, 63, 65):
        with pytest.raises(CharacterMemoryError):
            draw_character(bytes(length))
    with pytest.raises(CharacterMemoryError, match="Display character 4 has 54 bytes"):
        print_characters({4: bytes(53)})


@pytest.mark.parametrize(
    "drawing",
    [
        "",
        "\n".join(["." * 12] * 17),
        "\n".join(["." * 12] * 19),
        "\n".join(["." * 11] * 18),
        "\n".join(["x" * 12] * 18),
    ],
    ids=["empty", "row-missing", "row-too-many", "column-missing", "unknown-mark"],
)
def test_a_drawing_of_another_shape_is_refused(drawing: str) -> None:
    with pytest.raises(CharacterDrawingError):
        parse_drawing(drawing)


def test_every_fact_of_the_geometry_names_its_source_and_how_sure_it_is() -> None:
    for fact in geometry().values():
        assert fact.source
        assert fact.unit
        assert fact.status in {"confirmed", "documented", "memory"}


def test_the_facts_of_the_geometry_agree_with_each_other() -> None:
    facts = geometry()
    pixels = facts["columns"].value * facts["rows"].value
    assert pixels * facts["bits_per_pixel"].value == 8 * facts["bytes_used"].value
    assert facts["bytes_used"].value < facts["bytes_per_character"].value
    assert {facts["pixel_black"].value, facts["pixel_white"].value, facts["pixel_transparent"].value} == {0, 1, 2}
