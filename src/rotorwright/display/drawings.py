"""Characters drawn in a text file, and the outline around what is white. Form: docs/reference/display-characters.md."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.display.characters import (
    BLACK_MARK,
    CHARACTERS,
    CLEAR_MARK,
    COLUMNS,
    ROWS,
    WHITE_MARK,
    draw_character,
    parse_drawing,
)
from rotorwright.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.display.characters import CharacterMemory

_WORD, _OUTLINED, _REMARK = "character", "outlined", ";"
_MARKS = {BLACK_MARK, WHITE_MARK, CLEAR_MARK}
_LONGEST_SHOWN = 40


class DrawingsFileError(SettingsError):
    """A file with drawn characters has a line that does not belong there; the message has its number."""

    id = "display.drawings-line"


def parse_drawings(text: str, *, count: int = CHARACTERS) -> dict[int, bytes]:
    """Return the drawn characters of a file by their number, 54 bytes each.

    A drawing is a line `character NUMBER` (decimal, or hexadecimal after 0x), with `outlined` behind it if white pixels
    are to get a black outline, and then 18 lines of 12 marks: `#` black, `o` white, `.` transparent. Between drawings,
    empty lines and lines that begin with `;` mean nothing.

    Args:
        text: the whole file.
        count: how many characters the set has.

    Raises:
        DrawingsFileError: the words name the line.
    """
    found: dict[int, bytes] = {}
    lines = enumerate(text.removeprefix("\ufeff").rstrip().split("\n"), 1)
    for place, line in lines:
        words = line.split()
        if not words or words[0].startswith(_REMARK):
            continue
        number, is_outlined = _heading(words, place, line, count)
        if number in found:
            raise _fault(place, f"character {number} is drawn twice")
        rows = [_row(each, number, row, place) for row, each in enumerate(_next_lines(lines), 1)]
        if len(rows) < ROWS:
            raise _fault(place + len(rows), f"character {number} ends after {len(rows)} of {ROWS} rows")
        found[number] = parse_drawing("\n".join(outlined(rows) if is_outlined else rows))
    return found


def print_drawings(memory: CharacterMemory) -> str:
    """Return the characters of a set that are not blank as a file that `parse_drawings` reads.

    Every pixel keeps its look. The second code of a transparent pixel and the 10 unused bytes are not in a drawing.
    """
    shown = (number for number in range(memory.count) if not memory.is_blank(number))
    return "\n".join(f"{_WORD} {number}\n{draw_character(memory.character(number))}\n" for number in shown)


def outlined(rows: Sequence[str]) -> list[str]:
    """Return rows of marks in which every transparent pixel beside a white one (also over a corner) is black."""
    return [
        "".join(
            BLACK_MARK if mark == CLEAR_MARK and WHITE_MARK in _around(rows, row, column) else mark
            for column, mark in enumerate(line)
        )
        for row, line in enumerate(rows)
    ]


def _around(rows: Sequence[str], row: int, column: int) -> str:
    near = rows[max(row - 1, 0) : row + 2]
    return "".join(line[max(column - 1, 0) : column + 2] for line in near)


def _next_lines(lines: Iterator[tuple[int, str]]) -> Iterator[str]:
    for _ in range(ROWS):
        following = next(lines, None)
        if following is None:
            return
        yield following[1].rstrip()


def _heading(words: Sequence[str], place: int, line: str, count: int) -> tuple[int, bool]:
    if words[0] != _WORD or len(words) not in {2, 3} or (len(words) == 3 and words[2] != _OUTLINED):
        shown = ascii(line if len(line) <= _LONGEST_SHOWN else line[:_LONGEST_SHOWN])
        raise _fault(place, f"'{_WORD} NUMBER' or '{_WORD} NUMBER {_OUTLINED}' is expected, not {shown}")
    number = _number(words[1], place)
    if not 0 <= number < count:
        raise _fault(place, f"there is no character {number} in a set of {count}")
    return number, len(words) == 3


def _number(word: str, place: int) -> int:
    digits = word.removeprefix("0x")
    is_hex = digits != word
    allowed = "0123456789abcdefABCDEF" if is_hex else "0123456789"
    if not 0 < len(digits) <= 4 or not set(digits) <= set(allowed):
        raise _fault(place, f"{word[:_LONGEST_SHOWN]!a} is no number of a character")
    return int(digits, 16 if is_hex else 10)


def _row(line: str, number: int, row: int, heading: int) -> str:
    if len(line) != COLUMNS or not set(line) <= _MARKS:
        shown = ascii(line if len(line) <= _LONGEST_SHOWN else line[:_LONGEST_SHOWN])
        raise _fault(heading + row, f"row {row} of character {number} has to be {COLUMNS} marks, not {shown}")
    return line


def _fault(place: int, words: str) -> DrawingsFileError:
    return DrawingsFileError(
        f"Line {place} of the drawings: {words}.",
        why=f"Each drawing is a heading and {ROWS} rows of {COLUMNS} marks: {BLACK_MARK} black, {WHITE_MARK} white, "
        f"{CLEAR_MARK} transparent.",
        state="The display characters of the aircraft were not touched.",
        todo="Correct that line; docs/reference/display-characters.md has an example.",
        line=place,
    )
