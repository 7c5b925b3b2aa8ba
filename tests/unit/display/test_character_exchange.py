from __future__ import annotations

import pytest

from rotorwright.display.characters import (
    BLANK_CHARACTER,
    BYTES_PER_CHARACTER,
    BYTES_USED,
    CHARACTERS,
    COUNTS,
    LARGE_CHARACTERS,
    MEMORY_BYTES,
    CharacterMemoryError,
    CharacterNumberError,
    differing_characters,
    parse_characters,
    print_characters,
)
from rotorwright.display.exchange import (
    LINES_PER_CHARACTER,
    CharacterTextError,
    CharacterTextLengthError,
    SetForm,
    parse_character_set,
    parse_character_text,
    print_character_text,
)

WHITE = b"\xaa" * BYTES_USED
SMALL = parse_characters(print_characters({65: WHITE}))
LARGE = parse_characters(print_characters({65: WHITE, 300: WHITE}, count=LARGE_CHARACTERS), counts=COUNTS)
TEXT = print_character_text(SMALL)


def with_line(number: int, line: str) -> bytes:
    lines = TEXT.split("\n")
    lines[number - 1] = line
    return "\n".join(lines).encode()


def test_a_set_of_two_banks_is_read_where_it_is_asked_for_and_refused_where_it_is_not() -> None:
    assert LARGE.count == 512
    assert LARGE.character(300) == WHITE
    assert LARGE.character(301) == BLANK_CHARACTER
    with pytest.raises(CharacterMemoryError, match="has 16384 bytes, and this has 32768") as caught:
        parse_characters(LARGE.data)
    assert "512 characters, and there can be 256" in caught.value.why


def test_numbers_end_with_the_set() -> None:
    with pytest.raises(CharacterNumberError, match="no display character 512"):
        LARGE.character(512)
    with pytest.raises(CharacterNumberError, match="no display character 256"):
        SMALL.character(256)
    with pytest.raises(CharacterNumberError, match="no display character 512"):
        print_characters({512: WHITE}, count=LARGE_CHARACTERS)


def test_what_only_the_larger_of_two_sets_has_differs() -> None:
    assert differing_characters(SMALL, LARGE) == tuple(range(256, 512))
    assert differing_characters(LARGE, SMALL) == differing_characters(SMALL, LARGE)


@pytest.mark.parametrize(
    ("length", "words"),
    [
        (CHARACTERS * BYTES_USED, "without the 10 unused bytes"),
        (LARGE_CHARACTERS * BYTES_USED, "512 characters of 54 bytes, without the 10"),
        (17 * BYTES_PER_CHARACTER + 30, "ends 30 bytes into character 17"),
        (257 * BYTES_PER_CHARACTER, "257 characters, and there can be 256 or 512"),
        (0, "0 characters, and there can be 256 or 512"),
    ],
    ids=["54-each", "54-each-large", "half-a-character", "257-characters", "empty"],
)
def test_a_wrong_length_tells_what_it_looks_like(length: int, words: str) -> None:
    with pytest.raises(CharacterMemoryError) as caught:
        parse_character_set(bytes(length))
    assert words in caught.value.why


def test_text_is_a_line_for_the_chip_and_a_line_for_each_byte() -> None:
    lines = TEXT.splitlines()
    assert lines[0] == "MAX7456"
    assert len(lines) == 1 + MEMORY_BYTES
    assert lines[1 + 65 * 64 : 1 + 65 * 64 + 64] == ["10101010"] * 54 + ["01010101"] * 10
    assert set(lines[1 : 1 + 65 * 64]) == {"01010101"}


@pytest.mark.parametrize("memory", [SMALL, LARGE], ids=["256", "512"])
def test_both_forms_are_recognised_by_their_content(memory: object) -> None:
    assert isinstance(memory, type(SMALL))
    binary, text = parse_character_set(memory.data), parse_character_set(print_character_text(memory).encode())
    assert (binary.form, binary.chip, binary.memory) == (SetForm.BINARY, "", memory)
    assert (text.form, text.chip, text.memory) == (SetForm.TEXT, "MAX7456", memory)


def test_the_ends_of_lines_do_not_matter_and_another_chip_is_kept() -> None:
    given = b"\xef\xbb\xbf" + TEXT.replace("MAX7456", "CHIP-512E").replace("\n", " \r\n").encode() + b"\r\n\r\n"
    found = parse_character_set(given)
    assert (found.chip, found.memory) == ("CHIP-512E", SMALL)


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("0101010", "'0101010'"),
        ("010101011", "'010101011'"),
        ("01010102", "'01010102'"),
        ("", "empty"),
        ("0101 0101", "'0101 0101'"),
        ("\x1b[31m0101", r"'\x1b[31m0101'"),
        ("ü" * 300, "600 marks long"),
    ],
    ids=["seven", "nine", "wrong-digit", "empty", "blank-inside", "steering", "long"],
)
def test_a_wrong_line_is_named_by_its_number_and_its_character(line: str, shown: str) -> None:
    with pytest.raises(CharacterTextError) as caught:
        parse_character_set(with_line(2 + 64 * 3 + 7, line))
    assert caught.value.facts == {"line": 201, "character": 3}
    assert "Line 201" in caught.value.what
    assert shown in caught.value.what
    assert "byte 7 of character 3" in caught.value.why
    assert "\x1b" not in str(caught.value)


def test_text_whose_second_line_is_wrong_is_still_told_as_text() -> None:
    for text in (b"MAX7456\n0101010\n01010101\n", b"a font of ours\nA = 3\n"):
        with pytest.raises(CharacterTextError):
            parse_character_set(text)


def test_a_binary_set_of_printable_bytes_stays_binary() -> None:
    for data in (b"U" * MEMORY_BYTES, (b"MAX7456\nU" * 2000)[:MEMORY_BYTES]):
        assert parse_character_set(data).form is SetForm.BINARY


@pytest.mark.parametrize("line", ["two words", "", "12345", "#!"], ids=["words", "empty", "digits", "signs"])
def test_a_first_line_that_names_no_chip_is_refused(line: str) -> None:
    with pytest.raises(CharacterTextError, match="Line 1 has to name"):
        parse_character_set(with_line(1, line))
    with pytest.raises(CharacterTextError, match="Line 1 has to name"):
        print_character_text(SMALL, chip=line)


def test_a_missing_first_line_is_said_to_be_missing() -> None:
    headless = TEXT.split("\n", 1)[1].encode()
    with pytest.raises(CharacterTextError, match="'01010101'") as caught:
        parse_character_set(headless)
    assert "put MAX7456" in caught.value.todo


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (17 * 64 + 23, "ends at line 1112, 23 of 64 lines into character 17"),
        (257 * 64, "257 characters, and there can be 256 or 512"),
        (255 * 64, "255 characters"),
        (256 * 54, "256 characters of 54 lines"),
    ],
    ids=["half-a-character", "257", "255", "54-each"],
)
def test_lines_too_few_or_too_many_are_counted(count: int, words: str) -> None:
    with pytest.raises(CharacterTextLengthError) as caught:
        parse_character_set(("MAX7456\n" + "01010101\n" * count).encode())
    assert caught.value.facts == {"lines": count, "line": count + 1}
    assert words in caught.value.why


def test_no_bytes_at_all_are_no_text() -> None:
    with pytest.raises(CharacterTextError, match="Line 1 has to name the display chip, and it is empty"):
        parse_character_text(b"")


def test_the_table_and_the_form_agree() -> None:
    assert LINES_PER_CHARACTER == BYTES_PER_CHARACTER
