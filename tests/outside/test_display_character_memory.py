"""The display character memory against figures taken from outside.

Source: tests/outside/data/osd_character_memory.csv, which lists Maxim 19-0576 rev 0 (8/07), Maxim AN4117 and an
independent worked example, each value with how sure it is.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

from rotorwright.display.characters import (
    BLANK_CHARACTER,
    BYTES_PER_CHARACTER,
    BYTES_USED,
    CHARACTERS,
    COLUMNS,
    MEMORY_BYTES,
    ROWS,
    draw_character,
    geometry,
    parse_characters,
    print_characters,
)
from rotorwright.display.exchange import parse_character_text, print_character_text

TABLE = Path(__file__).parent / "data" / "osd_character_memory.csv"


def rows() -> dict[str, str]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {row["quantity"]: row["value"] for row in csv.DictReader(file)}


def first_number(text: str) -> int:
    found = re.search(r"\d+", text)
    assert found is not None
    return int(found[0])


def test_sizes_are_those_of_the_datasheet() -> None:
    table = rows()
    assert int(table["characters"]) == CHARACTERS
    assert table["cell"] == f"{COLUMNS} x {ROWS} pixels"
    assert first_number(table["bits per pixel"]) == geometry()["bits_per_pixel"].value
    assert first_number(table["bytes used per character"]) == BYTES_USED
    assert first_number(table["memory row"]) == BYTES_PER_CHARACTER
    assert table["memory size"] == f"{CHARACTERS} x {BYTES_PER_CHARACTER} = {MEMORY_BYTES} bytes"
    assert first_number(table["pixel row"]) * ROWS == BYTES_USED


def test_pixel_codes_draw_what_the_application_note_says() -> None:
    table = rows()
    assert table["pixel code 00"] == "black"
    assert table["pixel code 10"] == "white"
    assert table["pixel code 01 and 11"] == "transparent"
    drawing = draw_character(bytes([0b00_01_10_11]) * BYTES_USED)
    assert set(drawing.split("\n")) == {"#.o." * 3}


def test_the_blank_character_is_the_one_of_the_table() -> None:
    assert rows()["blank character"] == "54 bytes of 0x55"
    assert bytes([0x55]) * 54 == BLANK_CHARACTER


def test_what_the_table_calls_unconfirmed_is_marked_as_from_memory_here() -> None:
    assert geometry()["first_pixel_in_top_bits"].status == "memory"
    with TABLE.open(encoding="utf-8", newline="") as file:
        status = {row["quantity"]: row["status"] for row in csv.DictReader(file)}
    assert "from memory" in status["pixel order"]


def test_the_text_form_is_the_font_file_of_the_evaluation_kit() -> None:
    """Maxim AN4117: 64 lines for each of 256 characters, 54 used; the name in the first line is from memory."""
    form = re.fullmatch(
        r"text; first line (\w+); then (\d+) lines of 8 binary digits \((\d+) per character, (\d+) used\)",
        rows()["evaluation-kit font file"],
    )
    assert form is not None
    text = print_character_text(parse_characters(print_characters({1: b"\xaa" * int(form[4])})))
    first, *digits = text.splitlines()
    assert (first, len(digits)) == (form[1], int(form[2]))
    second = digits[int(form[3]) : 2 * int(form[3])]
    assert second[: int(form[4])] == ["10101010"] * int(form[4])  # 10 is white
    assert digits[0] == "01010101"  # the blank of the table, 0x55
    assert parse_character_text(text.encode()).chip == form[1]


def test_what_is_unconfirmed_about_the_text_form_and_large_chips_is_marked_so() -> None:
    assert geometry()["exchange_lines_per_character"].status == "confirmed"
    assert geometry()["exchange_header"].status == "memory"
    assert geometry()["large_characters"].status == "memory"
