"""`rotorwright display`: show, compare, convert, build, and what is refused in words."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from rich.console import Console
from tests.unit.cli.desk import Desk

from rotorwright.display.characters import COUNTS, draw_character, parse_characters, print_characters
from rotorwright.display.exchange import parse_character_text, print_character_text
from rotorwright.twin.thornbill.glyphs import draw_glyph
from rotorwright.twin.thornbill.release import characters

OLD, NEW = characters("5.2"), characters("6.0")
SYMBOLS = "character 200 outlined\n" + "............\n" * 8 + "....oo......\n" + "............\n" * 9


def _lay_out(folder: Path) -> None:
    (folder / "old.bin").write_bytes(OLD)
    (folder / "new.bin").write_bytes(NEW)
    (folder / "new.txt").write_text(print_character_text(parse_characters(NEW)), encoding="ascii", newline="")
    (folder / "symbols.txt").write_text(SYMBOLS, encoding="utf-8", newline="")


@pytest.fixture
def bench(desk: Desk) -> Desk:
    _lay_out(desk.folder)
    return desk


def font_file() -> str:
    matplotlib = pytest.importorskip("matplotlib", reason="the open font is the one that it brings along")
    pytest.importorskip("PIL.ImageFont", reason="glyphs are drawn by Pillow, an extra")
    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSansMono.ttf"
    if not path.is_file():
        pytest.skip("no open font is here")
    return str(path)


def test_a_set_is_shown_as_pictures_under_their_numbers(bench: Desk) -> None:
    code, out, _ = bench.run("display", "show", "new.bin")
    assert code == 0
    assert out.startswith("new.bin: 256 characters, 121 of them not blank, binary form\n")
    assert "\n16 " in out
    assert "█" in out


def test_both_forms_and_the_release_book_show_the_same_set(bench: Desk) -> None:
    shown = [bench.json("display", "show", each) for each in ("new.bin", "new.txt", "book:6.0")]
    assert [each["form"] for each in shown] == ["binary", "text", "binary"]
    assert [each["chip"] for each in shown] == [None, "MAX7456", None]
    assert [each["source"] for each in shown] == ["new.bin", "new.txt", "Thornbill 6.0"]
    assert len({each["sha256"] for each in shown}) == 1
    assert len(shown[0]["not_blank"]) == 121


@pytest.mark.parametrize("number", ["65", "0x41"])
def test_one_character_is_shown_mark_by_mark(bench: Desk, number: str) -> None:
    code, out, _ = bench.run("display", "show", "new.bin", "--number", number)
    assert code == 0
    assert out == (f"new.bin, character 65 (41h): # black, o white, . transparent\n{draw_character(draw_glyph('A'))}\n")
    facts = bench.json("display", "show", "new.bin", "-n", number)["character"]
    assert facts["rows"] == draw_character(draw_glyph("A")).split("\n")
    assert bytes.fromhex(facts["bytes"]) == draw_glyph("A")


def test_a_terminal_without_half_blocks_gets_plain_signs(bench: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Console, "encoding", property(lambda _: "ascii"))
    code, out, _ = bench.run("display", "show", "new.bin")
    assert code == 0
    assert out.isascii()


def test_the_same_sets_compare_as_the_same_and_others_end_with_1(bench: Desk) -> None:
    code, out, _ = bench.run("display", "compare", "new.bin", "new.txt")
    assert (code, "All 256 characters are the same." in out) == (0, True)
    code, out, _ = bench.run("display", "compare", "book:6.0", "old.bin")
    assert code == 1
    assert "70 of 256 characters differ: 16, 17," in out
    assert "Of 121 characters that the release draws, missing: 37 (number 16, 17," in out
    assert "\n16 *" in out


def test_a_comparison_as_data(bench: Desk) -> None:
    facts = bench.json("display", "compare", "new.bin", "old.bin")
    assert facts["same"] is False
    assert len(facts["differing"]) == 70
    needed = facts["needed"]
    assert not needed["is_met"]
    assert sorted(needed["missing"] + needed["differing"] + needed["unneeded"]) == facts["differing"]
    assert bench.json("display", "compare", "new.bin", "new.txt")["needed"]["is_met"]


@pytest.mark.parametrize("words", [("show", "new.bin"), ("compare", "old.bin", "new.bin")], ids=["show", "compare"])
def test_a_picture_is_drawn_into_a_new_file_and_never_over_an_old_one(bench: Desk, words: tuple[str, ...]) -> None:
    code, out, _ = bench.run("display", *words, "--svg", "picture.svg")
    assert code == (1 if words[0] == "compare" else 0)
    assert "It is drawn in picture.svg" in out
    assert ET.fromstring((bench.folder / "picture.svg").read_text(encoding="utf-8")).tag.endswith("svg")
    assert "nothing is ever overwritten" in bench.refused(8, "display", *words, "--svg", "picture.svg")


def test_with_json_a_picture_leaves_standard_output_to_the_json(bench: Desk) -> None:
    assert bench.json("display", "show", "new.bin", "--svg", "picture.svg")["characters"] == 256
    assert (bench.folder / "picture.svg").is_file()


def test_binary_goes_to_text_and_back_byte_for_byte(bench: Desk) -> None:
    assert bench.run("display", "convert", "new.bin", "out.txt")[0] == 0
    assert (bench.folder / "out.txt").read_bytes() == (bench.folder / "new.txt").read_bytes()
    assert bench.run("display", "convert", "out.txt", "again.bin")[0] == 0
    assert (bench.folder / "again.bin").read_bytes() == NEW
    assert "nothing is ever overwritten" in bench.refused(8, "display", "convert", "new.bin", "out.txt")


def test_the_name_of_the_chip_is_kept_or_given(bench: Desk) -> None:
    assert bench.run("display", "convert", "new.bin", "a.txt", "--chip", "CHIP-2")[0] == 0
    assert bench.run("display", "convert", "a.txt", "b.txt", "--as", "text")[0] == 0
    assert parse_character_text((bench.folder / "b.txt").read_bytes()).chip == "CHIP-2"
    assert "Line 1" in bench.refused(6, "display", "convert", "new.bin", "c.txt", "--chip", "two words")
    assert not (bench.folder / "c.txt").exists()


def test_drawings_say_what_they_do_not_keep(bench: Desk) -> None:
    odd = print_characters({3: b"\xff" * 53 + b"\xaa"})
    (bench.folder / "odd.bin").write_bytes(odd)
    code, out, _ = bench.run("display", "convert", "odd.bin", "odd.txt", "--as", "drawings")
    assert code == 0
    assert "only their look is kept there, and not every byte: 3" in out
    assert (
        bench.run("display", "convert", "new.bin", "new-drawn.txt", "--as", "drawings")[1].count("only their look") == 0
    )
    assert bench.run("display", "build", "again.bin", "--symbols", "new-drawn.txt")[0] == 0
    assert (bench.folder / "again.bin").read_bytes() == NEW


def test_a_set_is_built_from_drawn_symbols_over_another_set(bench: Desk) -> None:
    code, out, _ = bench.run("display", "build", "out.bin", "--symbols", "symbols.txt", "--base", "book:5.2")
    assert code == 0
    assert "Drawn: 200." in out
    made, old = (parse_characters(data) for data in ((bench.folder / "out.bin").read_bytes(), OLD))
    assert [n for n in range(256) if made.character(n) != old.character(n)] == [200]
    assert draw_character(made.character(200)).split("\n")[8] == "...#oo#....."


def test_a_set_is_built_from_an_open_font_and_symbols_go_before_it(bench: Desk) -> None:
    (bench.folder / "a.txt").write_text(SYMBOLS.replace("200", "65"), encoding="utf-8")
    facts = bench.json("display", "build", "out.bin", "--font", font_file(), "--symbols", "a.txt")
    assert facts["font"]["name"] == "DejaVu Sans Mono Book"
    assert facts["not_blank"] == list(range(33, 127))
    assert facts["drawn_instead_of_the_font"] == [65]
    made = parse_characters((bench.folder / "out.bin").read_bytes())
    assert draw_character(made.character(65)).count("o") == 2
    assert draw_character(made.character(66)).count("o") > 20


def test_a_large_set_is_built_as_text_and_shown(bench: Desk) -> None:
    (bench.folder / "far.txt").write_text(SYMBOLS.replace("200", "511"), encoding="utf-8")
    words = ("--symbols", "far.txt", "--large", "--as", "text")
    assert bench.run("display", "build", "large.txt", *words)[0] == 0
    shown = bench.json("display", "show", "large.txt")
    assert (shown["characters"], shown["not_blank"], shown["form"]) == (512, [511], "text")
    assert bench.run("display", "compare", "large.txt", "new.bin")[0] == 1
    built = parse_character_text((bench.folder / "large.txt").read_bytes()).memory
    assert built.count == COUNTS[1]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (NEW[:-1], "ends 63 bytes into character 255"),
        (NEW + NEW[:64], "257 characters, and there can be 256 or 512"),
        (NEW[: 256 * 54], "without the 10 unused bytes"),
        (b"", "0 characters"),
        (b"MAX7456\n01010101\n0101010x\n", "Line 3 has to be 8 binary digits, and it is '0101010x'"),
        (b"MAX7456\n" + b"01010101\n" * 70, "ends at line 71, 6 of 64 lines into character 1"),
        (b"01010101\n" * 16384, "Line 1 has to name the display chip"),
    ],
    ids=["cut", "257", "54-each", "empty", "digit", "half-a-character", "no-chip"],
)
def test_a_file_that_is_no_set_is_refused_with_what_it_looks_like(bench: Desk, content: bytes, words: str) -> None:
    (bench.folder / "bad").write_bytes(content)
    for command in (("show", "bad"), ("compare", "new.bin", "bad"), ("convert", "bad", "out")):
        assert words in bench.refused(6, "display", *command)
    assert not (bench.folder / "out").exists()


def test_what_is_not_there_is_refused_in_words(bench: Desk) -> None:
    assert "There is no display character 256" in bench.refused(6, "display", "show", "new.bin", "--number", "256")
    assert "cannot be read" in bench.refused(8, "display", "show", "nothing.bin")
    assert "cannot be read" in bench.refused(8, "display", "build", "out.bin", "--symbols", "nothing.txt")
    assert "no display characters of 9.9" in bench.refused(6, "display", "show", "book:9.9")
    assert "no-book" in bench.refused(8, "display", "show", "no-book:6.0")
    bench.refused(2, "display", "show", "new.bin", "--number", "many")


def test_a_build_that_cannot_be_is_refused_before_anything_is_written(bench: Desk) -> None:
    bench.refused(2, "display", "build", "out.bin")
    bench.refused(2, "display", "build", "out.bin", "--symbols", "symbols.txt", "--size", "12")
    bench.refused(2, "display", "build", "out.bin", "--font", "new.bin", "--letters", "\u0416")
    (bench.folder / "bad.txt").write_text(SYMBOLS + "x", encoding="utf-8")
    assert "Line 20 of the drawings" in bench.refused(6, "display", "build", "out.bin", "--symbols", "bad.txt")
    (bench.folder / "bytes.txt").write_bytes(b"; ok\n\xff\n")
    assert "Line 2 of the drawings is no UTF-8" in bench.refused(
        6, "display", "build", "out.bin", "--symbols", "bytes.txt"
    )
    pytest.importorskip("PIL.ImageFont")
    assert "no font that can be used" in bench.refused(6, "display", "build", "out.bin", "--font", "new.bin")
    assert not (bench.folder / "out.bin").exists()


def test_an_error_as_data_names_its_line(bench: Desk) -> None:
    (bench.folder / "worse").write_bytes(b"MAX7456\n01010101\n0101010\n01010101")
    code, out, _ = bench.run("display", "show", "worse", "--json")
    assert code == 6
    error = json.loads(out)["error"]
    assert (error["id"], error["facts"]) == ("display.text-line", {"line": 3, "character": 0})
