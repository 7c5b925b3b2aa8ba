"""Characters from the glyphs of a TrueType or OpenType font: white, with a black outline, in the cell of the display.

The bytes of the font come in and characters go out; no file is read here. The glyphs are drawn by Pillow (FreeType),
which is loaded only when a font is used: `pip install 'rotorwright[fonts]'`. Another version of FreeType may place a
pixel differently, so a set is built once and kept, not built again on each computer.

Use fonts whose licence allows it: what is made of a font's glyphs may be bound by its licence.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.display.characters import CLEAR_MARK, COLUMNS, ROWS, WHITE_MARK, parse_drawing
from rotorwright.display.drawings import outlined
from rotorwright.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from PIL.Image import Image
    from PIL.ImageFont import FreeTypeFont

PRINTABLE = "".join(chr(code) for code in range(0x21, 0x7F))
"""The signs of ASCII that leave ink; each stands under its own code."""

_OUTLINE = 1  # pixel on each side; own choice, the thinnest that parts white from a bright picture
_LARGEST_PIXELS = 24  # no font has glyphs so flat that more would fit the cell
_SMALLEST_PIXELS = 5
_SHEET_EMS = 8  # side of the sheet on which a sign is drawn: at any size, what is cut off there is too large anyway
_LOOK_PIXELS = 64  # size at which a glyph is compared with the one of an unknown sign
_UNKNOWN = "\uffff"  # never a character (Unicode, noncharacters)


class FontsNotInstalledError(SettingsError):
    """Glyphs of a font cannot be drawn, because the library for it is not installed."""

    id = "display.fonts-not-installed"


class FontError(SettingsError):
    """A file is no font that can be used."""

    id = "display.font"


class FontGlyphError(SettingsError):
    """A font does not have a sign that is asked for, or the sign does not fit the cell."""

    id = "display.font-glyph"


@dataclass(frozen=True, slots=True)
class FontCharacters:
    """Characters made of a font, by number, with the font's own name and the size in pixels that was used."""

    characters: Mapping[int, bytes]
    font: str
    size_pixels: int


@dataclass(frozen=True, slots=True)
class _Glyph:
    """The lit pixels of a sign, counted from the pen on the base line: column to the right, row down."""

    lit: frozenset[tuple[int, int]]

    @property
    def left(self) -> int:
        return min(column for column, _ in self.lit)

    @property
    def width(self) -> int:
        return max(column for column, _ in self.lit) + 1 - self.left


def characters_of_font(
    font: bytes, signs: Mapping[int, str] | None = None, *, size_pixels: int | None = None
) -> FontCharacters:
    """Return a character for each sign, drawn from the font: all on one base line, each in the middle of its cell.

    White pixels keep one pixel free on every side for the outline, so they lie within 10 x 16.

    Args:
        font: a TrueType or OpenType file.
        signs: the sign for each number; printable ASCII under its own codes if left out. A blank gives a blank.
        size_pixels: size of the font (its em) in pixels; the largest at which every sign fits if left out.

    Raises:
        FontsNotInstalledError: Pillow is not installed.
        FontError: the bytes are no font.
        FontGlyphError: the font lacks a sign, or it does not fit at this size (or at any that can still be read).
    """
    wanted = dict(signs) if signs is not None else {ord(sign): sign for sign in PRINTABLE}
    _require_single_signs(wanted)
    if size_pixels is not None and not _SMALLEST_PIXELS <= size_pixels <= _LARGEST_PIXELS:
        raise _wrong_size(size_pixels)
    _require_signs(_opened(font, _LOOK_PIXELS), wanted.values())
    sizes = (size_pixels,) if size_pixels is not None else range(_LARGEST_PIXELS, _SMALLEST_PIXELS - 1, -1)
    misfit = ""
    for size in sizes:
        opened = _opened(font, size)
        glyphs = {sign: _glyph(opened, sign) for sign in dict.fromkeys(wanted.values())}
        misfit = _misfit(glyphs)
        if not misfit:
            name = " ".join(part for part in opened.getname() if part)
            drawn = _in_cells(glyphs)
            return FontCharacters({number: drawn[sign] for number, sign in wanted.items()}, name, size)
    raise _does_not_fit(misfit, sizes[0] if size_pixels is not None else _SMALLEST_PIXELS)


def _opened(font: bytes, size: int) -> FreeTypeFont:
    try:
        from PIL import ImageFont  # noqa: PLC0415 - an extra that most people do not need
    except ImportError as error:
        raise _not_installed() from error
    try:
        return ImageFont.truetype(io.BytesIO(font), size, layout_engine=ImageFont.Layout.BASIC)
    except (OSError, ValueError) as error:
        raise _no_font(len(font), str(error)) from error


def _glyph(font: FreeTypeFont, sign: str) -> _Glyph:
    """Return the pixels of a sign as FreeType draws them without grey, from the pen on the base line."""
    drawn, pen = _drawn(font, sign)
    left, top, right, bottom = drawn.getbbox() or (0, 0, 0, 0)
    lit = (
        (column - pen, row - pen)
        for row in range(top, bottom)
        for column in range(left, right)
        if drawn.getpixel((column, row))
    )
    return _Glyph(frozenset(lit))


def _drawn(font: FreeTypeFont, sign: str) -> tuple[Image, int]:
    """Return one sign on a sheet of pixels without grey, and where on it the pen was, both across and down."""
    from PIL import Image, ImageDraw  # noqa: PLC0415 - an extra that most people do not need

    pen = round(font.size * _SHEET_EMS / 2)
    sheet = Image.new("1", (2 * pen, 2 * pen))
    try:
        ImageDraw.Draw(sheet).text((pen, pen), sign, fill=1, font=font, anchor="ls")
    except (OSError, ValueError) as error:
        raise _no_glyph(f"The font's picture of {sign!a} cannot be drawn: {error}.", "The font is damaged.") from error
    return sheet, pen


def _in_cells(glyphs: Mapping[str, _Glyph]) -> dict[str, bytes]:
    """Return the 54 bytes of each sign, with the highest and the lowest of all in the middle between them."""
    rows = [row for glyph in glyphs.values() for _, row in glyph.lit]
    top = min(rows, default=0)
    down = (ROWS - (max(rows, default=0) + 1 - top)) // 2 - top
    return {sign: _in_cell(glyph, down) for sign, glyph in glyphs.items()}


def _in_cell(glyph: _Glyph, down: int) -> bytes:
    right = (COLUMNS - glyph.width) // 2 - glyph.left if glyph.lit else 0
    lit = {(row + down, column + right) for column, row in glyph.lit}
    marks = [
        "".join(WHITE_MARK if (row, column) in lit else CLEAR_MARK for column in range(COLUMNS)) for row in range(ROWS)
    ]
    return parse_drawing("\n".join(outlined(marks)))


def _misfit(glyphs: Mapping[str, _Glyph]) -> str:
    """Return the words for what does not fit the cell with its outline; empty if everything does."""
    widest = max((glyph for glyph in glyphs.items() if glyph[1].lit), key=lambda one: one[1].width, default=None)
    free = COLUMNS - 2 * _OUTLINE
    if widest is not None and widest[1].width > free:
        return f"{widest[0]!r} is {widest[1].width} pixels wide, and {free} are free"
    rows = [row for glyph in glyphs.values() for _, row in glyph.lit]
    high = max(rows, default=0) + 1 - min(rows, default=0)
    free = ROWS - 2 * _OUTLINE
    return f"the signs together are {high} pixels high, and {free} are free" if high > free else ""


def _require_single_signs(wanted: Mapping[int, str]) -> None:
    for number, sign in wanted.items():
        if len(sign) != 1:
            raise _no_glyph(
                f"Character {number} has to be one sign, and it is {sign!a}.", "A character shows one sign."
            )


def _require_signs(font: FreeTypeFont, signs: Iterable[str]) -> None:
    """Refuse signs for which the font draws what it draws for a sign that no font has."""
    looks = {sign: _drawn(font, sign)[0].tobytes() for sign in (_UNKNOWN, *signs) if not sign.isspace()}
    lacking = [sign for sign, look in looks.items() if sign != _UNKNOWN and (look == looks[_UNKNOWN] or not any(look))]
    if lacking:
        shown = ", ".join(f"{sign!a}" for sign in lacking[:8])
        raise _no_glyph(
            f"The font has no picture for {len(lacking)} of the signs: {shown}{', ...' if len(lacking) > 8 else ''}.",
            "It draws for them what it draws for a sign that no font has.",
        )


def _not_installed() -> FontsNotInstalledError:
    return FontsNotInstalledError(
        "Glyphs of a font cannot be drawn here: Pillow is not installed.",
        why="It is needed only for this, so it comes only when asked for.",
        todo="pip install 'rotorwright[fonts]', then say it again; drawn characters need no font.",
    )


def _no_font(length: int, words: str) -> FontError:
    return FontError(
        f"The {length} bytes are no font that can be used: {words}.",
        why="A TrueType or OpenType file (.ttf, .otf) is expected; this one is damaged or something else.",
        state="The display characters of the aircraft were not touched.",
        todo="Give another font file.",
        length=length,
    )


def _no_glyph(what: str, why: str) -> FontGlyphError:
    return FontGlyphError(
        what,
        why=why,
        state="The display characters of the aircraft were not touched.",
        todo="Leave those signs out, draw them in a file of drawings, or give another font.",
    )


def _wrong_size(size: int) -> FontGlyphError:
    return FontGlyphError(
        f"A size of {size} pixels makes no character.",
        why=f"Below {_SMALLEST_PIXELS} nothing can be read, and above {_LARGEST_PIXELS} nothing fits {ROWS} rows.",
        state="The display characters of the aircraft were not touched.",
        todo="Leave the size out: the largest that fits is taken.",
        size_pixels=size,
    )


def _does_not_fit(misfit: str, size: int) -> FontGlyphError:
    return FontGlyphError(
        f"At {size} pixels the font does not fit the cell: {misfit}.",
        why=f"A character is {COLUMNS} x {ROWS} pixels, one on each side is kept for the black outline, and all signs "
        "stand on one base line.",
        state="The display characters of the aircraft were not touched.",
        todo="Give a smaller size or a narrower font, or leave the widest signs out.",
        size_pixels=size,
    )
