"""Write the release book of Thornbill, as its publisher would (docs/reference/release-book.md)."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from rotorwright.firmware.board import Board
from rotorwright.settings.catalogue import print_catalogue
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import (
    FAMILY,
    RELEASES,
    STEPS,
    catalogue,
    change_notes_text,
    characters,
    classes_text,
    constraints_text,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

BOOK_FORMAT = "rotorwright-release-book"
BOOK_VERSION = 1

_SUMMARIES = {
    "5.2": "The last release for the board names of the first series.",
    "6.0": "New names and units for many settings, more display elements, ten task slots. Settings do not survive.",
    "6.1": "Another law for the stick curves, a few new names and units. Settings do not survive.",
}
_MAKERS_PAGE = (11,)  # the last sector of the Corvane C405 holds the maker's own data


def boards() -> tuple[Board, ...]:
    """Return the boards of the family, with the digests of their published images."""
    return (
        Board(
            name="Corvane C405",
            mcu="STM32F405xG",
            aliases={"5.2": "Corvane One"},
            reserved_sectors=_MAKERS_PAGE,
            image_sha256={release: build_image(release, "C405").sha256 for release in RELEASES},
        ),
        Board(
            name="Corvane H7",
            mcu="STM32H743xI",
            image_sha256={release: build_image(release, "H7").sha256 for release in RELEASES[1:]},
        ),
    )


def book_files() -> dict[str, bytes]:
    """Return the files of the book by their path inside it, with `/` between; the same bytes each time."""
    files = {"book.toml": _book_toml().encode()}
    for release in RELEASES:
        files[f"catalogues/{release}/corvane-c405.json"] = print_catalogue(catalogue(release, "C405"))
        files[f"display/{release}.bin"] = characters(release)
    for old, new in STEPS:
        files[f"notes/{old}-to-{new}.toml"] = change_notes_text(old, new).encode()
        files[f"constraints/{new}.toml"] = constraints_text(new).encode()
    files["classes.toml"] = classes_text().encode()
    return files


def write_book(folder: Path) -> Path:
    """Write the book into `folder`, made if it is missing, and return the folder.

    Raises:
        OSError: the folder cannot be written.
    """
    for name, data in book_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return folder


def _book_toml() -> str:
    lines = [f"format = {_text(BOOK_FORMAT)}", f"version = {BOOK_VERSION}", f"family = {_text(FAMILY)}"]
    for release in RELEASES:
        lines += ["", "[[release]]", f"name = {_text(release)}", f"version = {_text(release + '.0')}"]
        lines.append(f"summary = {_text(_SUMMARIES[release])}")
    for board in boards():
        lines += ["", "[[board]]", *_board_lines(board)]
    return "\n".join(lines) + "\n"


def _board_lines(board: Board) -> list[str]:
    lines = [f"name = {_text(board.name)}", f"mcu = {_text(board.mcu)}"]
    if board.aliases:
        lines.append(f"aliases = {_inline(board.aliases.items())}")
    if board.reserved_sectors:
        lines.append(f"reserved_sectors = {list(board.reserved_sectors)}")
    return [*lines, f"images = {_inline(board.image_sha256.items())}"]


def _inline(pairs: Iterable[tuple[str, str]]) -> str:
    return "{ " + ", ".join(f"{_text(key)} = {_text(value)}" for key, value in pairs) + " }"


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # for text without control characters a TOML basic string is a JSON one
