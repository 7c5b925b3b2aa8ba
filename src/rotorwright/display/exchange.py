"""The text form in which sets of display characters are exchanged: the one of the chip maker's evaluation kit.

One line names the chip, then comes one line of 8 binary digits for each byte: 64 lines for each character, 54 of them
used. Source: Maxim AN4117; the name in the first line is from memory, unconfirmed, so any name of a chip is taken and
kept. Sets of two banks in this form (bank 1 after bank 0) are our own widening.
Form: docs/reference/display-characters.md.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.display.characters import (
    BYTES_PER_CHARACTER,
    BYTES_USED,
    COUNTS,
    CharacterMemory,
    geometry,
    parse_characters,
)
from rotorwright.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Sequence

USUAL_CHIP = "MAX7456"
"""The name in the first line, if no other is asked for (AN4117; from memory, unconfirmed)."""

LINES_PER_CHARACTER = geometry()["exchange_lines_per_character"].value

_UNTOUCHED = "The display characters of the aircraft were not touched."
_BYTE = re.compile(r"[01]{8}\Z")
_CHIP = re.compile(r"(?=.*[A-Za-z])[A-Za-z0-9][A-Za-z0-9._-]{1,31}\Z")
_LOOK_BYTES = 200  # by which the form is told: some 20 lines
_LONGEST_SHOWN = 24  # marks of a wrong line that are shown


class CharacterTextError(SettingsError):
    """A line of a set of display characters in the text form is wrong; the message has its number."""

    id = "display.text-line"


class CharacterTextLengthError(SettingsError):
    """A set of display characters in the text form has lines too few or too many."""

    id = "display.text-length"


class SetForm(StrEnum):
    """In what form a file keeps a set of characters."""

    BINARY = "binary"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class CharacterSet:
    """A set as a file has it: the memory, the form of the file, the chip that it names (empty in the binary form)."""

    memory: CharacterMemory
    form: SetForm
    chip: str = ""


def parse_character_set(data: bytes) -> CharacterSet:
    """Return the set of 256 or 512 characters in a file of either form, recognised by its content.

    A file whose first or second line is 8 binary digits is text; everything else of the right length is binary.

    Raises:
        CharacterMemoryError: binary of another length.
        CharacterTextError, CharacterTextLengthError: text with a wrong line, or cut short, or too long.
    """
    if _is_text(data):
        return parse_character_text(data)
    return CharacterSet(parse_characters(data, counts=COUNTS), SetForm.BINARY)


def parse_character_text(data: bytes) -> CharacterSet:
    """Return the set of 256 or 512 characters in a file of the text form.

    Lines may end in line feed, with or without carriage return; blanks at the end of a line and empty lines at the end
    of the file mean nothing.

    Raises:
        CharacterTextError: no chip is named, or a line is not 8 binary digits.
        CharacterTextLengthError: not exactly 64 lines for each of 256 or 512 characters.
    """
    lines = _lines(data)
    chip = _chip(lines)
    memory = bytes(_byte(line, number) for number, line in enumerate(lines[1:], 2))
    if len(memory) not in {count * BYTES_PER_CHARACTER for count in COUNTS}:
        raise _wrong_length(len(memory))
    return CharacterSet(parse_characters(memory, counts=COUNTS), SetForm.TEXT, chip)


def print_character_text(memory: CharacterMemory, *, chip: str = USUAL_CHIP) -> str:
    """Return the set in the text form, every one of the 64 bytes of each character as it is; lines end in line feed.

    Raises:
        CharacterTextError: `chip` cannot be the name of a chip.
    """
    if not _CHIP.match(chip) or _BYTE.match(chip):
        raise _no_chip(chip, 1)
    return "\n".join([chip, *(f"{byte:08b}" for byte in memory.data)]) + "\n"


def _is_text(data: bytes) -> bool:
    start = data[:_LOOK_BYTES].removeprefix(b"\xef\xbb\xbf").decode("latin-1")
    if any(_BYTE.match(line.rstrip(" \t\r")) for line in start.split("\n")[:2]):
        return True
    if len(data) in {count * BYTES_PER_CHARACTER for count in COUNTS}:
        return False
    # It will be refused in either form. As text it is told better, if it looks like lines of text at all.
    return "\n" in start and all(sign in "\t\r\n" or " " <= sign <= "~" for sign in start)


def _lines(data: bytes) -> list[str]:
    """Return the lines without what may end them; bytes beyond ASCII stay visible as other signs."""
    text = data.removeprefix(b"\xef\xbb\xbf").decode("latin-1")
    lines = [line.rstrip(" \t\r") for line in text.split("\n")]
    while lines and not lines[-1]:
        lines.pop()
    return lines


def _chip(lines: Sequence[str]) -> str:
    first = lines[0] if lines else ""
    if not _CHIP.match(first) or _BYTE.match(first):
        raise _no_chip(first, 1)
    return first


def _byte(line: str, number: int) -> int:
    if not _BYTE.match(line):
        raise _wrong_line(line, number)
    return int(line, 2)


def _no_chip(line: str, number: int) -> CharacterTextError:
    return CharacterTextError(
        f"Line {number} has to name the display chip, and it is {_shown(line)}.",
        why=f"A set of characters in the text form begins with one line that names the chip, such as {USUAL_CHIP}.",
        state=_UNTOUCHED,
        todo=f"If the first line is missing, put {USUAL_CHIP} (or the name of your chip) before the others.",
        line=number,
    )


def _wrong_line(line: str, number: int) -> CharacterTextError:
    character, byte = divmod(number - 2, LINES_PER_CHARACTER)
    return CharacterTextError(
        f"Line {number} has to be 8 binary digits, and it is {_shown(line)}.",
        why=f"It is byte {byte} of character {character}; each byte is a line of 8 digits 0 or 1.",
        state=_UNTOUCHED,
        todo="Correct that line, or take the file from where it comes from again.",
        line=number,
        character=character,
    )


def _shown(line: str) -> str:
    if not line:
        return "empty"
    return ascii(line) if len(line) <= _LONGEST_SHOWN else f"{line[:_LONGEST_SHOWN]!a} and {len(line)} marks long"


def _wrong_length(count: int) -> CharacterTextLengthError:
    known = " or ".join(str(each) for each in COUNTS)
    return CharacterTextLengthError(
        f"A set of display characters has {' or '.join(f'{each * LINES_PER_CHARACTER:,}' for each in COUNTS)} lines "
        f"of digits after the first, and this has {count:,}.",
        why=_why_wrong(count, known),
        state=_UNTOUCHED,
        todo="Take the file from where it comes from again, whole.",
        lines=count,
        line=count + 1,
    )


def _why_wrong(count: int, known: str) -> str:
    whole, rest = divmod(count, LINES_PER_CHARACTER)
    if count in {each * BYTES_USED for each in COUNTS}:
        return (
            f"It is {count // BYTES_USED} characters of {BYTES_USED} lines; the form has {LINES_PER_CHARACTER} for "
            "each, and nothing is filled in unasked."
        )
    if rest:
        return f"It ends at line {count + 1}, {rest} of {LINES_PER_CHARACTER} lines into character {whole}."
    return f"It would be {whole} characters, and there can be {known}."
