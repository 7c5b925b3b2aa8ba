"""Sets of characters as pictures: SVG that stands alone, and text for a terminal. Readable without colour.

White is drawn light, black dark, transparent as a checkered ground. A character that differs has a heavy dashed frame
and its number in bold with a mark, so neither colour nor print quality is needed to find it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.display.characters import (
    BLACK_MARK,
    BLANK_CHARACTER,
    COLUMNS,
    ROWS,
    WHITE_MARK,
    differing_characters,
    draw_character,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.display.characters import CharacterMemory

# Layout of the SVG in its own units, own choice.
PIXEL = 3
_WIDE, _HIGH = COLUMNS * PIXEL, ROWS * PIXEL
_EDGE, _GAP, _LABEL, _HEAD, _LINE = 24, 26, 20, 74, 17
_SHEET_COLUMNS, _PAIR_COLUMNS = 16, 8
_NUMBERS_PER_LINE = 24
_DIFFERS = "*"

_STYLE = (
    "<style>text{font:12px ui-monospace,monospace;fill:#1f2328}.name{font-weight:bold;font-size:15px}"
    ".sheet{fill:#fffdf7}.ground{fill:url(#clear)}.w{fill:#fffefa}.k{fill:#15181c}"
    ".same{fill:none;stroke:#8a8577;stroke-width:1}"
    ".differs{fill:none;stroke:#1f2328;stroke-width:3;stroke-dasharray:7 3}.strong{font-weight:bold}</style>"
)
_GROUND = (
    '<defs><pattern id="clear" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" fill="#c9c3b4"/><path d="M0 0h3v3h-3zM3 3h3v3h-3z" fill="#aaa391"/></pattern></defs>'
)


@dataclass(frozen=True, slots=True)
class Ink:
    """The five signs of a picture in text: two pixels, one above the other, are one sign.

    Only white pixels are ink. Where both pixels are transparent the ground shows; black leaves the sign empty.
    """

    both: str
    upper: str
    lower: str
    ground: str
    empty: str = " "


BLOCKS = Ink(both="█", upper="▀", lower="▄", ground="░")
"""Half blocks, for terminals with Unicode."""

PLAIN = Ink(both="8", upper='"', lower="o", ground=".")
"""The same in plain ASCII."""


def draw_set_svg(memory: CharacterMemory, *, title: str) -> str:
    """Return the whole set as one SVG: 16 characters a row, each with its number (decimal and hexadecimal)."""
    step_x, step_y = _WIDE + _GAP, _HIGH + _LABEL + _GAP
    width = 2 * _EDGE + _SHEET_COLUMNS * step_x - _GAP
    height = _HEAD + memory.count // _SHEET_COLUMNS * step_y + _EDGE
    shown = [number for number in range(memory.count) if not memory.is_blank(number)]
    words = f"{memory.count} characters, {len(shown)} of them not blank"
    lines = [*_head(width, height, title, (words,), tallest=_HEAD)]
    for number in range(memory.count):
        x = _EDGE + number % _SHEET_COLUMNS * step_x
        y = _HEAD + number // _SHEET_COLUMNS * step_y
        lines.append(f'<text x="{x}" y="{y + 12}">{number:X}h {number}</text>')
        lines.extend(_cell(memory.character(number), x, y + _LABEL))
        lines.append(f'<rect class="same" x="{x - 1}" y="{y + _LABEL - 1}" width="{_WIDE + 2}" height="{_HIGH + 2}"/>')
    return "\n".join([*lines, "</svg>"]) + "\n"


def draw_comparison_svg(one: CharacterMemory, other: CharacterMemory, *, titles: tuple[str, str]) -> str:
    """Return two sets as one SVG: each number once, with `one` on the left and `other` on the right.

    Those that differ in any of their 54 bytes are framed, marked and listed by number. A number that one of the sets
    does not have is drawn as an empty place; a row that is blank and the same in both is left out.
    """
    differing = differing_characters(one, other)
    count = max(one.count, other.count)
    rows = [row for row in range(-(-count // _PAIR_COLUMNS)) if _is_worth_drawing(one, other, row, differing)]
    listed = [*_number_lines(differing), *_left_out(count, rows)]
    top = _HEAD + _LINE * len(listed)
    step_x, step_y = 2 * _WIDE + 6 + _GAP, _HIGH + _LABEL + _GAP
    width = 2 * _EDGE + _PAIR_COLUMNS * step_x - _GAP
    height = top + len(rows) * step_y + _EDGE
    words = f"{len(differing)} of {count} characters differ" + (f": framed, and marked {_DIFFERS}" if differing else "")
    lines = [*_head(width, height, f"{titles[0]}  |  {titles[1]}", (words, *listed), tallest=top)]
    for place, row in enumerate(rows):
        for column in range(_PAIR_COLUMNS):
            number, x, y = row * _PAIR_COLUMNS + column, _EDGE + column * step_x, top + place * step_y
            lines.extend(_pair(_used(one, number), _used(other, number), number, x, y, differs=number in differing))
    return "\n".join([*lines, "</svg>"]) + "\n"


def character_lines(used: bytes | None, ink: Ink = BLOCKS) -> tuple[str, ...]:
    """Return one character as 9 lines of 12 signs; None, a place without a character, is all empty."""
    if used is None:
        return (ink.empty * COLUMNS,) * (ROWS // 2)
    rows = draw_character(used).split("\n")
    return tuple(
        "".join(_sign(upper, lower, ink) for upper, lower in zip(*pair, strict=True))
        for pair in zip(rows[::2], rows[1::2], strict=True)
    )


def set_lines(memory: CharacterMemory, *, width: int = 80, ink: Ink = BLOCKS) -> Iterator[str]:
    """Yield the characters of a set that are not blank, as many beside each other as fit in `width` columns."""
    cells = [
        (str(number), character_lines(memory.character(number), ink))
        for number in range(memory.count)
        if not memory.is_blank(number)
    ]
    yield from _beside(cells, COLUMNS, width)


def comparison_lines(
    one: CharacterMemory, other: CharacterMemory, *, width: int = 80, ink: Ink = BLOCKS
) -> Iterator[str]:
    """Yield the characters that differ: under each number `one` on the left, `other` on the right.

    Where neither side has anything to show (blank against blank in other bytes, or against no such number), nothing is.
    """
    cells = []
    for number in differing_characters(one, other):
        if not any(number < each.count and not each.is_blank(number) for each in (one, other)):
            continue
        left, right = (character_lines(_used(each, number), ink) for each in (one, other))
        cells.append((f"{number} {_DIFFERS}", tuple(f"{a}|{b}" for a, b in zip(left, right, strict=True))))
    yield from _beside(cells, 2 * COLUMNS + 1, width)


def _is_worth_drawing(one: CharacterMemory, other: CharacterMemory, row: int, differing: Sequence[int]) -> bool:
    numbers = range(row * _PAIR_COLUMNS, (row + 1) * _PAIR_COLUMNS)
    return any(number in differing or not one.is_blank(number) for number in numbers)


def _left_out(count: int, rows: Sequence[int]) -> Iterator[str]:
    blank = count - len(rows) * _PAIR_COLUMNS
    if blank:
        yield f"{blank} numbers in rows that are blank and the same in both are not drawn."


def _used(memory: CharacterMemory, number: int) -> bytes | None:
    return memory.character(number) if number < memory.count else None


def _beside(cells: Sequence[tuple[str, tuple[str, ...]]], cell: int, width: int) -> Iterator[str]:
    each = max(1, (width + 2) // (cell + 2))
    for start in range(0, len(cells), each):
        row = cells[start : start + each]
        yield "  ".join(label.ljust(cell) for label, _ in row).rstrip()
        for lines in zip(*(lines for _, lines in row), strict=True):
            yield "  ".join(lines).rstrip()
        yield ""


def _sign(upper: str, lower: str, ink: Ink) -> str:
    if WHITE_MARK in (upper, lower):
        return ink.both if upper == lower else ink.upper if upper == WHITE_MARK else ink.lower
    return ink.empty if BLACK_MARK in (upper, lower) else ink.ground


def _head(width: int, height: int, title: str, words: Sequence[str], *, tallest: int) -> Iterator[str]:
    yield f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img">'
    yield f"<title>{_text(f'{title}: {words[0]}')}</title>{_STYLE}{_GROUND}"
    yield f'<rect class="sheet" width="{width}" height="{height}"/>'
    yield f'<text class="name" x="{_EDGE}" y="28">{_text(title)}</text>'
    for index, line in enumerate(words):
        yield f'<text x="{_EDGE}" y="{48 + _LINE * index}">{_text(line)}</text>'
    yield f'<path class="same" d="M{_EDGE} {tallest - 14}H{width - _EDGE}"/>'


def _number_lines(numbers: Sequence[int]) -> Iterator[str]:
    for start in range(0, len(numbers), _NUMBERS_PER_LINE):
        yield " ".join(str(number) for number in numbers[start : start + _NUMBERS_PER_LINE])


def _pair(left: bytes | None, right: bytes | None, number: int, x: int, y: int, *, differs: bool) -> Iterator[str]:
    label = f"{number:X}h {number}"
    if differs:
        yield f'<text class="strong" x="{x}" y="{y + 11}">{_DIFFERS} {label}</text>'
    else:
        yield f'<text x="{x}" y="{y + 11}">{label}</text>'
    for used, start in ((left, x), (right, x + _WIDE + 6)):
        if used is not None:
            yield from _cell(used, start, y + _LABEL)
    kind, around = ("differs", 3) if differs else ("same", 1)
    yield (
        f'<rect class="{kind}" x="{x - around}" y="{y + _LABEL - around}" '
        f'width="{2 * _WIDE + 6 + 2 * around}" height="{_HIGH + 2 * around}"/>'
    )


def _cell(used: bytes, x: int, y: int) -> Iterator[str]:
    """Yield the ground of a character and, where it has any, its white and black pixels."""
    yield f'<rect class="ground" x="{x}" y="{y}" width="{_WIDE}" height="{_HIGH}"/>'
    if used == BLANK_CHARACTER:
        return
    rows = draw_character(used).split("\n")
    for name, mark in (("w", WHITE_MARK), ("k", BLACK_MARK)):
        runs = "".join(_runs(rows, mark, x, y))
        if runs:
            yield f'<path class="{name}" shape-rendering="crispEdges" d="{runs}"/>'


def _runs(rows: Sequence[str], mark: str, x: int, y: int) -> Iterator[str]:
    """Yield a closed path for each run of pixels beside each other that have `mark`."""
    for row, line in enumerate(rows):
        start = 0
        while start < COLUMNS:
            end = start
            while end < COLUMNS and line[end] == mark:
                end += 1
            if end > start:
                length = (end - start) * PIXEL
                yield f"M{x + start * PIXEL} {y + row * PIXEL}h{length}v{PIXEL}h-{length}z"
            start = max(end, start + 1)


def _text(words: str) -> str:
    """Return `words` for SVG: marks escaped, and what steers or cannot be written shown as U+FFFD."""
    safe = "".join(sign if sign.isprintable() else "\ufffd" for sign in words)
    return safe.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
