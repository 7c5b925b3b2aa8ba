from __future__ import annotations

import re
import tomllib
from pathlib import Path

from rotorwright.firmware.mcu import microcontroller
from rotorwright.hangar.books import read_book
from rotorwright.twin.thornbill.book import boards, book_files, write_book
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import catalogue, characters


def test_the_book_has_the_files_of_the_reference_page() -> None:
    assert sorted(book_files()) == [
        "book.toml",
        "catalogues/5.2/corvane-c405.json",
        "catalogues/6.0/corvane-c405.json",
        "catalogues/6.1/corvane-c405.json",
        "classes.toml",
        "constraints/6.0.toml",
        "constraints/6.1.toml",
        "display/5.2.bin",
        "display/6.0.bin",
        "display/6.1.bin",
        "notes/5.2-to-6.0.toml",
        "notes/6.0-to-6.1.toml",
    ]


def test_the_same_book_is_written_each_time() -> None:
    assert book_files() == book_files()


def test_the_book_names_both_boards_and_what_5_2_called_the_first() -> None:
    book = tomllib.loads(book_files()["book.toml"].decode())
    assert [board["name"] for board in book["board"]] == ["Corvane C405", "Corvane H7"]
    assert book["board"][0]["aliases"] == {"5.2": "Corvane One"}
    assert all(re.fullmatch("[0-9a-f]{64}", digest) for board in book["board"] for digest in board["images"].values())


def test_the_reserved_sector_exists_and_no_image_reaches_it() -> None:
    board = boards()[0]
    sectors = {sector.number: sector for sector in microcontroller(board.mcu).sectors}
    for number in board.reserved_sectors:
        assert all(build_image(release, "C405").end <= sectors[number].address for release in ("5.2", "6.0", "6.1"))


def test_the_written_book_is_read_back_by_the_hangar(tmp_path: Path) -> None:
    book = read_book(write_book(tmp_path / "thornbill"))
    assert [release.version for release in book.releases] == ["5.2.0", "6.0.0", "6.1.0"]
    board = book.board_named("Corvane One")
    assert board is not None
    assert board.name == "Corvane C405"
    assert board.image_sha256["6.0"] == build_image("6.0", "C405").sha256
    for release in ("5.2", "6.0", "6.1"):
        found = book.catalogue(release, "Corvane C405")
        assert found is not None
        assert found.settings == catalogue(release, "C405").settings
        assert book.characters(release) == characters(release)
    assert book.notes("5.2", "6.0") is not None
    assert book.notes("6.0", "6.1") is not None
    assert book.classes is not None
