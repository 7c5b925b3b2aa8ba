"""Characters from fonts. The exact pixels are checked on a font whose glyphs are boxes on whole pixels, built here."""

from __future__ import annotations

import importlib.util
import io
import sys
from pathlib import Path

import pytest

from rotorwright.display.characters import BLANK_CHARACTER, draw_character
from rotorwright.display.fonts import (
    PRINTABLE,
    FontError,
    FontGlyphError,
    FontsNotInstalledError,
    characters_of_font,
)

pytest.importorskip("PIL.ImageFont", reason="glyphs are drawn by Pillow, an extra")

EM = 1600  # units; at 16 pixels, 100 units are a pixel
BOXES = {
    "I": (300, 0, 500, 1000),  # 2 x 10 pixels on the base line
    "_": (0, -200, 800, 0),  # 8 x 2 below it
    "W": (0, 0, 1200, 1000),  # too wide for the cell at 16 pixels
}


def box_font() -> bytes:
    builder = pytest.importorskip("fontTools.fontBuilder", reason="the test font is built with fontTools")
    pens = pytest.importorskip("fontTools.pens.ttGlyphPen")
    names = {".notdef": (100, 0, 900, 900), "space": None, **{f"g{ord(sign)}": box for sign, box in BOXES.items()}}
    made = builder.FontBuilder(EM, isTTF=True)
    made.setupGlyphOrder(list(names))
    made.setupCharacterMap({32: "space", **{ord(sign): f"g{ord(sign)}" for sign in BOXES}})
    glyphs = {}
    for name, box in names.items():
        pen = pens.TTGlyphPen(None)
        if box is not None:
            left, bottom, right, top = box
            pen.moveTo((left, bottom))
            for corner in ((left, top), (right, top), (right, bottom)):
                pen.lineTo(corner)
            pen.closePath()
        glyphs[name] = pen.glyph()
    made.setupGlyf(glyphs)
    made.setupHorizontalMetrics({name: (1000, box[0] if box else 0) for name, box in names.items()})
    made.setupHorizontalHeader(ascent=1200, descent=-400)
    made.setupNameTable({"familyName": "Boxes", "styleName": "Regular"})
    made.setupOS2()
    made.setupPost()
    file = io.BytesIO()
    made.save(file)
    return file.getvalue()


def open_font() -> bytes:
    """Return the open font that a plotting library brings along, if it is here."""
    found = importlib.util.find_spec("matplotlib")
    path = Path(found.origin or "").parent / "mpl-data/fonts/ttf/DejaVuSansMono.ttf" if found else None
    if path is None or not path.is_file():
        pytest.skip("no open font is here")
    return path.read_bytes()


def rows(used: bytes) -> list[str]:
    return draw_character(used).split("\n")


def test_a_glyph_is_white_with_a_black_outline_in_the_middle_of_the_cell() -> None:
    made = characters_of_font(box_font(), {7: "I"}, size_pixels=16)
    assert (made.font, made.size_pixels) == ("Boxes Regular", 16)
    clear, edge, lit = "............", "....####....", "....#oo#...."
    assert rows(made.characters[7]) == [*[clear] * 3, edge, *[lit] * 10, edge, *[clear] * 3]


def test_all_signs_stand_on_one_base_line() -> None:
    made = characters_of_font(box_font(), {1: "I", 2: "_"}, size_pixels=16)
    upright, line = rows(made.characters[1]), rows(made.characters[2])
    assert max(row for row in range(18) if "o" in upright[row]) == 12
    assert [row for row in range(18) if "o" in line[row]] == [13, 14]
    assert line[13] == ".#oooooooo#."


def test_a_blank_gives_a_blank() -> None:
    assert characters_of_font(box_font(), {32: " "}).characters == {32: BLANK_CHARACTER}


def test_the_largest_size_at_which_everything_fits_is_taken() -> None:
    made = characters_of_font(box_font(), {1: "W"})
    assert max(row.count("o") for row in rows(made.characters[1])) == 10
    assert made.size_pixels in {13, 14}  # 12 of 16 units wide: 10 pixels at 13.3


def test_what_does_not_fit_is_named_with_its_width() -> None:
    with pytest.raises(FontGlyphError, match="'W' is 12 pixels wide, and 10 are free"):
        characters_of_font(box_font(), {1: "I", 2: "W"}, size_pixels=16)


def test_signs_that_the_font_lacks_are_named() -> None:
    with pytest.raises(FontGlyphError, match="no picture for 2 of the signs: 'A', 'B'"):
        characters_of_font(box_font(), {1: "I", 65: "A", 66: "B"})


@pytest.mark.parametrize("size", [-1, 0, 4, 25, 100_000])
def test_a_size_that_makes_no_character_is_refused(size: int) -> None:
    with pytest.raises(FontGlyphError, match=f"A size of {size} pixels"):
        characters_of_font(box_font(), {1: "I"}, size_pixels=size)


@pytest.mark.parametrize("sign", ["", "AB"])
def test_a_character_shows_one_sign(sign: str) -> None:
    with pytest.raises(FontGlyphError, match="has to be one sign"):
        characters_of_font(box_font(), {1: sign})


def test_what_is_no_font_is_refused_in_words() -> None:
    font = box_font()
    for data in (b"", b"no font at all", font[: len(font) // 2], bytes(5000)):
        with pytest.raises(FontError) as caught:
            characters_of_font(data)
        assert caught.value.facts == {"length": len(data)}


def test_a_font_with_any_byte_damaged_gives_characters_or_words() -> None:
    font, refused = box_font(), 0
    for place in range(0, len(font), 7):
        damaged = bytearray(font)
        damaged[place] ^= 0xFF
        try:
            characters_of_font(bytes(damaged), {1: "I"}, size_pixels=16)
        except (FontError, FontGlyphError):
            refused += 1
    assert refused > 0


def test_half_a_pair_of_signs_is_refused_in_words() -> None:
    with pytest.raises(FontGlyphError):
        characters_of_font(box_font(), {1: "\ud800"})


def test_without_pillow_the_words_say_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "PIL", None)
    with pytest.raises(FontsNotInstalledError) as caught:
        characters_of_font(b"")
    assert "rotorwright[fonts]" in caught.value.todo


def test_an_open_font_gives_printable_ascii_that_can_be_told_apart() -> None:
    made = characters_of_font(open_font())
    assert sorted(made.characters) == [ord(sign) for sign in PRINTABLE]
    assert len(set(made.characters.values())) == len(PRINTABLE)
    assert made.size_pixels >= 12


def test_every_white_pixel_of_an_open_font_has_its_outline() -> None:
    for used in characters_of_font(open_font()).characters.values():
        drawn = rows(used)
        for row in range(18):
            for column in range(12):
                if drawn[row][column] == "o":
                    assert 0 < row < 17
                    assert 0 < column < 11
                    around = "".join(line[column - 1 : column + 2] for line in drawn[row - 1 : row + 2])
                    assert "." not in around


def test_the_same_font_gives_the_same_characters() -> None:
    font = open_font()
    assert characters_of_font(font) == characters_of_font(font)
