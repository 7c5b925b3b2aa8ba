"""On-screen characters: the memory of the display chip, read, compared and drawn.

The chip keeps 256 characters of 12 x 18 pixels, each in a row of 64 bytes of which 54 are used; chips with a larger
memory keep two banks of 256. What stands in the other 10 bytes is not said by the maker and differs from chip to chip,
so it is never compared. The facts and their sources are in `geometry.toml`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

BLACK_MARK, WHITE_MARK, CLEAR_MARK = "#", "o", "."
"""How a pixel is drawn in text art: black, white, transparent."""


class CharacterMemoryError(SettingsError):
    """The bytes are no display character memory."""

    id = "display.characters-length"


class CharacterNumberError(SettingsError):
    """There is no display character of this number."""

    id = "display.character-number"


class CharacterDrawingError(SettingsError):
    """A drawing in text art is no display character."""

    id = "display.character-drawing"


@dataclass(frozen=True, slots=True)
class GeometryFact:
    """One fact of the chip, with where it comes from and how sure it is."""

    value: int
    unit: str
    source: str
    status: str


@cache
def geometry() -> Mapping[str, GeometryFact]:
    """Return the facts of the character memory by name."""
    text = resources.files("rotorwright.display").joinpath("geometry.toml").read_text(encoding="utf-8")
    return MappingProxyType({name: GeometryFact(**row) for name, row in tomllib.loads(text).items()})


CHARACTERS = geometry()["characters"].value
COLUMNS = geometry()["columns"].value
ROWS = geometry()["rows"].value
BYTES_PER_CHARACTER = geometry()["bytes_per_character"].value
BYTES_USED = geometry()["bytes_used"].value
MEMORY_BYTES = CHARACTERS * BYTES_PER_CHARACTER
LARGE_CHARACTERS = geometry()["large_characters"].value
COUNTS = (CHARACTERS, LARGE_CHARACTERS)
"""How many characters a set can have: one bank of 256, or two."""

_BITS = geometry()["bits_per_pixel"].value
_PIXELS_PER_BYTE = 8 // _BITS
_PIXEL_MASK = (1 << _BITS) - 1
_BLACK = geometry()["pixel_black"].value
_WHITE = geometry()["pixel_white"].value
_CLEAR = geometry()["pixel_transparent"].value
_MARKS = {_BLACK: BLACK_MARK, _WHITE: WHITE_MARK}  # both other codes are transparent
_CODES = {BLACK_MARK: _BLACK, WHITE_MARK: _WHITE, CLEAR_MARK: _CLEAR}

BLANK_CHARACTER = bytes([geometry()["blank_byte"].value]) * BYTES_USED
"""A character of transparent pixels only: the picture shows through."""


@dataclass(frozen=True, slots=True)
class CharacterMemory:
    """The whole character memory, as the chip holds it: 256 rows of 64 bytes, or 512 (bank 0, then bank 1)."""

    data: bytes

    @property
    def count(self) -> int:
        """How many characters there are: 256 or 512."""
        return len(self.data) // BYTES_PER_CHARACTER

    def character(self, number: int) -> bytes:
        """Return the 54 used bytes of character `number` (0 to 255; to 511 in a set of two banks).

        Raises:
            CharacterNumberError: there is no such character.
        """
        if not 0 <= number < self.count:
            raise _no_such_character(number, self.count)
        start = number * BYTES_PER_CHARACTER
        return self.data[start : start + BYTES_USED]

    def is_blank(self, number: int) -> bool:
        """Answer whether every pixel of character `number` is transparent."""
        return set(draw_character(self.character(number))) <= {CLEAR_MARK, "\n"}


def parse_characters(data: bytes, *, counts: Sequence[int] = (CHARACTERS,)) -> CharacterMemory:
    """Return the character memory in `data`; any bytes of a right length are one.

    Args:
        data: 64 bytes for each character, bank 0 first.
        counts: how many characters there may be; `COUNTS` takes sets of one bank and of two.

    Raises:
        CharacterMemoryError: not exactly 16,384 bytes (or what `counts` allows).
    """
    if len(data) not in {count * BYTES_PER_CHARACTER for count in counts}:
        raise _wrong_length(len(data), counts)
    return CharacterMemory(bytes(data))


def differing_characters(one: CharacterMemory, other: CharacterMemory) -> tuple[int, ...]:
    """Return the numbers of the characters whose 54 used bytes differ, in order.

    A character that only one of the two has, being the larger, differs.
    """
    both = min(one.count, other.count)
    differing = [number for number in range(both) if one.character(number) != other.character(number)]
    return (*differing, *range(both, max(one.count, other.count)))


def print_characters(characters: Mapping[int, bytes], *, count: int = CHARACTERS) -> bytes:
    """Return a whole memory of `count` characters with `characters` (54 bytes each) in it; all others are blank.

    Raises:
        CharacterNumberError: a number beyond the memory.
        CharacterMemoryError: a character that is not 54 bytes long.
    """
    memory = bytearray(BLANK_CHARACTER[:1] * (count * BYTES_PER_CHARACTER))
    for number, used in characters.items():
        if not 0 <= number < count:
            raise _no_such_character(number, count)
        if len(used) != BYTES_USED:
            raise _wrong_character_length(number, len(used))
        start = number * BYTES_PER_CHARACTER
        memory[start : start + BYTES_USED] = used
    return bytes(memory)


def draw_character(used: bytes) -> str:
    """Return the character as 18 lines of 12 marks: `#` black, `o` white, `.` transparent.

    Raises:
        CharacterMemoryError: not 54 bytes (the whole 64-byte row is taken too).
    """
    if len(used) not in {BYTES_USED, BYTES_PER_CHARACTER}:
        raise _wrong_character_length(None, len(used))
    marks = "".join(_MARKS.get(code, CLEAR_MARK) for byte in used[:BYTES_USED] for code in _pixels(byte))
    return "\n".join(marks[start : start + COLUMNS] for start in range(0, len(marks), COLUMNS))


def parse_drawing(drawing: str) -> bytes:
    """Return the 54 bytes of a character drawn as `draw_character` draws it.

    Raises:
        CharacterDrawingError: not 18 lines of 12 marks.
    """
    lines = drawing.split("\n")
    if len(lines) != ROWS or any(len(line) != COLUMNS or not set(line) <= _CODES.keys() for line in lines):
        raise _no_drawing(lines)
    codes = [_CODES[mark] for line in lines for mark in line]
    return bytes(_byte(codes[start : start + _PIXELS_PER_BYTE]) for start in range(0, len(codes), _PIXELS_PER_BYTE))


def _pixels(byte: int) -> list[int]:
    return [byte >> shift & _PIXEL_MASK for shift in range(8 - _BITS, -1, -_BITS)]


def _byte(codes: Sequence[int]) -> int:
    byte = 0
    for code in codes:
        byte = byte << _BITS | code
    return byte


def _wrong_length(length: int, counts: Sequence[int]) -> CharacterMemoryError:
    sizes = " or ".join(str(count * BYTES_PER_CHARACTER) for count in counts)
    return CharacterMemoryError(
        f"A display character memory has {sizes} bytes, and this has {length}.",
        why=_why_wrong(length, counts),
        state="The display characters of the aircraft were not touched.",
        todo="Read the characters again, or take the file from the release book again.",
        length=length,
        expected=counts[0] * BYTES_PER_CHARACTER,
    )


def _why_wrong(length: int, counts: Sequence[int]) -> str:
    """Return what the length itself tells of what went wrong."""
    whole, rest = divmod(length, BYTES_PER_CHARACTER)
    if length in {count * BYTES_USED for count in COUNTS}:
        return (
            f"It has the length of {length // BYTES_USED} characters of {BYTES_USED} bytes, without the "
            f"{BYTES_PER_CHARACTER - BYTES_USED} unused bytes that follow each in the chip, and nothing is filled in."
        )
    if rest:
        return f"It ends {rest} bytes into character {whole}: the file is cut short or is something else."
    known = " or ".join(str(count) for count in counts)
    return f"It would be {whole} characters, and there can be {known}: the file is cut short or is something else."


def _wrong_character_length(number: int | None, length: int) -> CharacterMemoryError:
    which = "A display character" if number is None else f"Display character {number}"
    return CharacterMemoryError(
        f"{which} has {BYTES_USED} bytes, and this has {length}.",
        why="One character is 12 x 18 pixels of 2 bits.",
        state="The display characters of the aircraft were not touched.",
        todo="Correct the character where it comes from.",
        length=length,
        expected=BYTES_USED,
    )


def _no_such_character(number: int, count: int) -> CharacterNumberError:
    return CharacterNumberError(
        f"There is no display character {number}.",
        why=f"The display chip keeps {count} characters, numbered 0 to {count - 1}.",
        state="The display characters of the aircraft were not touched.",
        todo=f"Give a number from 0 to {count - 1}.",
        number=number,
    )


def _no_drawing(lines: Sequence[str]) -> CharacterDrawingError:
    widths = sorted({len(line) for line in lines})
    return CharacterDrawingError(
        f"A drawn character is {ROWS} lines of {COLUMNS} marks; this has {len(lines)} lines of {widths} marks.",
        why=f"The only marks are {BLACK_MARK} black, {WHITE_MARK} white and {CLEAR_MARK} transparent.",
        state="The display characters of the aircraft were not touched.",
        todo="Correct the drawing.",
        lines=len(lines),
    )
