"""Draw the on-screen characters of a release from a small pixel font of our own (`glyphs.txt`).

`characters-<release>.csv` says which glyph stands under which number. A few families of glyphs are computed: the
battery at nine levels, the horizon bar at nine heights, eight arrows from two, digits with a decimal point.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from importlib import resources
from typing import TypeAlias

from rotorwright.display.characters import (
    BLACK_MARK,
    CLEAR_MARK,
    COLUMNS,
    ROWS,
    WHITE_MARK,
    parse_drawing,
    print_characters,
)

Rows: TypeAlias = tuple[str, ...]
"""Rows of pixels: `o` lit, `.` not lit."""

FULL_LEVEL = 8
"""Highest level of the battery and height of the horizon bar; the lowest is 0."""

_LIT, _DARK = "o", "."
_SMALL_WIDTH = 5  # glyphs this wide are doubled
_ARROWS = {"north": 0, "east": 1, "south": 2, "west": 3}  # quarter turns to the right
_SLANTED = {"north-east": 0, "south-east": 1, "south-west": 2, "north-west": 3}


def draw_release(release: str) -> bytes:
    """Return the whole character memory of a release line, 16,384 bytes; the same each time."""
    rows = csv.DictReader(io.StringIO(_read(f"characters-{release}.csv")))
    return print_characters({int(row["number"]): draw_glyph(row["glyph"]) for row in rows})


@cache
def draw_glyph(name: str) -> bytes:
    """Return the 54 bytes of the glyph called `name`: white on a black outline, the rest transparent."""
    lit = _lit_pixels(name)
    marks = ("".join(_mark(lit, row, column) for column in range(COLUMNS)) for row in range(ROWS))
    return parse_drawing("\n".join(marks))


@cache
def drawn_glyphs() -> dict[str, Rows]:
    """Return the glyphs of the font file by name, as drawn."""
    glyphs: dict[str, list[str]] = {}
    rows: list[str] = []
    for line in _read("glyphs.txt").splitlines():
        if line.startswith("glyph "):
            rows = glyphs.setdefault(line.removeprefix("glyph "), [])
        elif line and not line.startswith("#"):
            rows.append(line)
    return {name: tuple(rows) for name, rows in glyphs.items()}


def _lit_pixels(name: str) -> frozenset[tuple[int, int]]:
    """Return row and column of each white pixel in the cell."""
    family, _, which = name.rpartition("-")
    if family == "horizon":
        return _horizon_bar(int(which))
    if family == "digit-point":
        dot = {(row, column) for row in (15, 16) for column in (10, 11)}
        return frozenset(pixel for pixel in _centred(drawn_glyphs()[which]) if pixel[1] < COLUMNS - 2) | dot
    if family == "battery":
        return _centred(_battery(int(which)))
    if name.startswith("arrow-"):
        return _centred(_arrow(name.removeprefix("arrow-")))
    return _centred(drawn_glyphs()[name])


def _centred(rows: Rows) -> frozenset[tuple[int, int]]:
    drawn = _doubled(rows) if len(rows[0]) == _SMALL_WIDTH else rows
    top, left = (ROWS - len(drawn)) // 2, (COLUMNS - len(drawn[0])) // 2
    return frozenset(
        (top + row, left + column) for row, line in enumerate(drawn) for column, mark in enumerate(line) if mark == _LIT
    )


def _doubled(rows: Rows) -> Rows:
    return tuple("".join(mark * 2 for mark in row) for row in rows for _ in range(2))


def _battery(level: int) -> Rows:
    """Return an upright battery, filled from below: eight rows for a full one."""
    cap, wall = "...oooo...", ".oooooooo."
    empty, filled = ".o......o.", ".o.oooo.o."
    return (cap, wall, empty, *[empty] * (FULL_LEVEL - level), *[filled] * level, empty, wall)


def _arrow(direction: str) -> Rows:
    slanted = direction in _SLANTED
    rows = drawn_glyphs()["arrow-north-east" if slanted else "arrow-north"]
    for _ in range((_SLANTED if slanted else _ARROWS)[direction]):
        rows = tuple("".join(column) for column in zip(*reversed(rows), strict=True))  # a quarter turn to the right
    return rows


def _horizon_bar(level: int) -> frozenset[tuple[int, int]]:
    """Return a bar two rows high across the whole cell, so that neighbours join into one line."""
    top = (ROWS - 2) - level * 2
    return frozenset((row, column) for row in (top, top + 1) for column in range(COLUMNS))


def _mark(lit: frozenset[tuple[int, int]], row: int, column: int) -> str:
    if (row, column) in lit:
        return WHITE_MARK
    beside = ((row + down, column + right) for down in (-1, 0, 1) for right in (-1, 0, 1))
    return BLACK_MARK if any(pixel in lit for pixel in beside) else CLEAR_MARK


def _read(name: str) -> str:
    return resources.files("rotorwright.twin.thornbill").joinpath(name).read_text(encoding="utf-8")
