"""Release books: what is read from a folder or a zip, and every mistake told with its place."""

from __future__ import annotations

import struct
import warnings
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from rotorwright.errors import SettingsError
from rotorwright.firmware.board import Board
from rotorwright.hangar import book_parts
from rotorwright.hangar.book_parts import MOST_PART_BYTES, MOST_PARTS
from rotorwright.hangar.books import BookRelease, ReleaseBook, board_key, read_book
from rotorwright.hangar.errors import BookFormError, BookNotFoundError, BookUnsafeError, NewerBookError

DIGEST = "ab" * 32

BOOK = f"""
format = "rotorwright-release-book"
version = 1
family = "Thornbill"

[[release]]
name = "5.2"
version = "5.2.0"
summary = "The old one."

[[release]]
name = "6.0"
version = "6.0.0"

[[board]]
name = "Corvane C405"
mcu = "STM32F405xG"
aliases = {{ "5.2" = "Corvane One" }}
reserved_sectors = [11]
images = {{ "5.2" = "{DIGEST}" }}

[[board]]
name = "Corvane H7"
mcu = "STM32F405xG"
"""

CATALOGUE = b'{"version": 1, "parameters": [{"name": "RATE_P", "type": "Float", "shortDesc": "rate", "default": 0.1}]}'

NOTES = """
format = "rotorwright-change-notes"
version = 1
family = "Thornbill"
from = "5.2"
to = "6.0"

[[rename]]
old = "RATE_P"
new = "RATE_GAIN_P"
why = "Named like its neighbours."
"""

CLASSES = """
[classes]
board = ["PIN_*"]
calibration = ["ACC_OFF_*"]

[roles]
"battery.cells" = "SUPPLY_CELLS"
"""

FILES: dict[str, bytes] = {
    "book.toml": BOOK.encode(),
    "catalogues/5.2/corvane-c405.json": CATALOGUE,
    "notes/5.2-to-6.0.toml": NOTES.encode(),
    "classes.toml": CLASSES.encode(),
    "display/6.0.bin": bytes(16384),
    "README.md": b"For people.",
}

Maker = Callable[[Path, Mapping[str, bytes]], Path]


def as_folder(place: Path, files: Mapping[str, bytes]) -> Path:
    folder = place / "book"
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder


def as_zip(place: Path, files: Mapping[str, bytes]) -> Path:
    with zipfile.ZipFile(place / "book.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return place / "book.zip"


def as_zipped_folder(place: Path, files: Mapping[str, bytes]) -> Path:
    return as_zip(place, {"thornbill/": b"", **{f"thornbill/{name}": data for name, data in files.items()}})


@pytest.fixture(params=[as_folder, as_zip, as_zipped_folder], ids=["folder", "zip", "zipped folder"])
def make(request: pytest.FixtureRequest) -> Maker:
    maker: Maker = request.param
    return maker


def book_of(place: Path, **changes: bytes) -> ReleaseBook:
    return read_book(as_folder(place, FILES | changes))


def with_text(old: str, new: str) -> dict[str, bytes]:
    assert BOOK.count(old) >= 1
    return FILES | {"book.toml": BOOK.replace(old, new, 1).encode()}


def test_a_book_says_what_is_in_it(tmp_path: Path, make: Maker) -> None:
    book = read_book(make(tmp_path, FILES))
    assert book.family == "Thornbill"
    assert book.releases == (BookRelease("5.2", "5.2.0", "The old one."), BookRelease("6.0", "6.0.0"))
    assert book.release("6.0") == BookRelease("6.0", "6.0.0")
    assert book.release("6.1") is None
    board = book.boards[0]
    assert (board.name, board.mcu, board.reserved_sectors) == ("Corvane C405", "STM32F405xG", (11,))
    assert board.aliases == {"5.2": "Corvane One"}
    assert book.release_of_image(board, DIGEST) == "5.2"
    assert book.release_of_image(board, "cd" * 32) is None


def test_a_board_may_have_a_generic_image_beside_its_own_usb_ids_and_a_chip_for_its_flash(tmp_path: Path) -> None:
    generic = "cd" * 32
    files = with_text(
        f'"{DIGEST}"', f'[{{ sha256 = "{generic}", generic = true }}, {{ sha256 = "{DIGEST}", generic = false }}]'
    )
    text = files["book.toml"].decode()
    text = text.replace(
        'mcu = "STM32F405xG"\naliases', 'mcu = "RP2040"\nflash_kib = 8192\nusb_ids = ["1209:00aF"]\naliases'
    )
    book = read_book(as_folder(tmp_path, files | {"book.toml": text.encode()}))
    board = book.boards[0]
    assert (board.image_sha256, board.generic_sha256) == ({"5.2": DIGEST}, {"5.2": generic})
    assert book.release_of_image(board, generic) == book.release_of_image(board, DIGEST) == "5.2"
    assert board.usb_ids == ((0x1209, 0xAF),)
    assert board.flash_size_bytes == 8192 * 1024


def test_a_board_is_known_by_every_name_it_had_and_by_no_other(tmp_path: Path) -> None:
    book = book_of(tmp_path)
    board = book.boards[0]
    assert isinstance(board, Board)
    assert book.board_named("Corvane C405") == board
    assert book.board_named("Corvane One") == board
    assert book.board_named("Corvane C40") is None


def test_the_other_parts_are_read_when_asked_for(tmp_path: Path, make: Maker) -> None:
    book = read_book(make(tmp_path, FILES))
    for name in ("Corvane C405", "Corvane One"):
        catalogue = book.catalogue("5.2", name)
        assert catalogue is not None
        assert list(catalogue.names) == ["RATE_P"]
    notes = book.notes("5.2", "6.0")
    assert notes is not None
    assert notes.family == "Thornbill"
    assert book.classes is not None
    assert book.characters("6.0") == bytes(16384)


def test_what_the_book_does_not_have_is_nothing_not_an_error(tmp_path: Path, make: Maker) -> None:
    book = read_book(make(tmp_path, {"book.toml": BOOK.encode()}))
    assert book.catalogue("5.2", "Corvane C405") is None
    assert book.catalogue("5.2", "No such board") is None
    assert book.catalogue("9.9", "Corvane C405") is None
    assert book.notes("5.2", "6.0") is None
    assert book.classes is None
    assert book.characters("6.0") is None


def test_files_name_a_board_in_lower_case_with_dashes() -> None:
    assert board_key("Corvane C405") == "corvane-c405"


MISTAKES = [
    ("[[release]]\nname", "[[relase]]\nname", "'relase'"),
    ('format = "rotorwright-release-book"\n', "", "format"),
    ("rotorwright-release-book", "rotorwright-snapshot", "format"),
    ("version = 1\n", "version = 0\n", "form 0"),
    ("version = 1\n", 'version = "1"\n', "version"),
    ('family = "Thornbill"', "family = 5", "family"),
    ('name = "5.2"', 'name = "5"', "release entry 1, key 'name'"),
    ('name = "6.0"', 'name = "5.2"', "release entry 2, key 'version'"),
    ('name = "6.0"\nversion = "6.0.0"', 'name = "5.2"\nversion = "5.2.0"', "two of them answer to the name '5.2'"),
    ('version = "6.0.0"', 'version = "6.1.0"', "release entry 2, key 'version'"),
    ("summary", "sumary", "perhaps 'summary' was meant"),
    ("reserved_sectors = [11]", "reserved_sector = [11]", "perhaps 'reserved_sectors' was meant"),
    ("reserved_sectors = [11]", 'reserved_sectors = ["11"]', "key 'reserved_sectors'"),
    ("reserved_sectors = [11]", "reserved_sectors = [-1]", "key 'reserved_sectors'"),
    ('mcu = "STM32F405xG"', 'mcu = "STM32F405xH"', "perhaps 'STM32F405xG' was meant"),
    ('aliases = { "5.2"', 'aliases = { "5.1"', "no such release"),
    ('"Corvane One"', '" "', "it is empty"),
    ('"Corvane One"', '"Corvane H7"', "two of them answer to the name 'Corvane H7'"),
    ('name = "Corvane H7"', 'name = "Corvane C405"', "two of them answer to the name 'Corvane C405'"),
    (DIGEST, DIGEST[:-1], "64 lower-case hex digits"),
    (DIGEST, DIGEST.upper(), "64 lower-case hex digits"),
    ('images = { "5.2"', 'images = { "7.0"', "no such release"),
    ("reserved_sectors = [11]", "reserved_sectors = [12]", "the STM32F405xG has sectors 0 to 11, not 12"),
    ("reserved_sectors = [11]", 'usb_ids = ["1209-0001"]', "'1209-0001'"),
    ("reserved_sectors = [11]", "usb_ids = [1209]", "key 'usb_ids'"),
    ("reserved_sectors = [11]", "flash_kib = 1024", "the flash of the STM32F405xG is inside"),
    ('mcu = "STM32F405xG"\n', 'mcu = "RP2040"\nflash_kib = 16385\n', "the RP2040 reaches 1 to 16384 KiB"),
    ('mcu = "STM32F405xG"\n', 'mcu = "RP2040"\nflash_kib = 0\n', "the RP2040 reaches 1 to 16384 KiB"),
    (f'"{DIGEST}"', '[{ sha256 = "ab" }]', "64 lower-case hex digits"),
    (f'"{DIGEST}"', f'[{{ sha256 = "{DIGEST}", general = true }}]', "general"),
    (f'"{DIGEST}"', f'[{{ sha256 = "{DIGEST}", generic = 1 }}]', "true or false"),
    (f'"{DIGEST}"', "5", "key '5.2'"),
    (f'"{DIGEST}"', f'[{{ sha256 = "{DIGEST}" }}, {{ sha256 = "{"cd" * 32}" }}]', "at most one image of each kind"),
    ("[[board]]", "[[board]", "line"),
]


@pytest.mark.parametrize(("old", "new", "words"), MISTAKES)
def test_a_mistake_in_book_toml_is_told_with_file_and_key(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(BookFormError) as caught:
        read_book(as_folder(tmp_path, with_text(old, new)))
    assert str(tmp_path / "book" / "book.toml") in caught.value.what
    assert words in caught.value.what
    assert caught.value.todo


def test_a_book_without_releases_or_boards_is_refused(tmp_path: Path) -> None:
    head, _, _ = BOOK.partition("[[board]]")
    with pytest.raises(BookFormError, match="'board'"):
        book_of(tmp_path, **{"book.toml": head.encode()})


def test_a_newer_form_is_refused_in_words_whatever_else_is_in_it(tmp_path: Path) -> None:
    with pytest.raises(NewerBookError) as caught:
        read_book(as_folder(tmp_path, with_text("version = 1\n", "version = 2\nfuture = true\n")))
    assert "knows form 1" in caught.value.what


def test_a_damaged_part_is_told_when_it_is_asked_for_and_named(tmp_path: Path, make: Maker) -> None:
    damaged = {
        "catalogues/5.2/corvane-c405.json": CATALOGUE[:-5],
        "notes/5.2-to-6.0.toml": b"[[rename]",
        "classes.toml": b"\xff",
        "display/6.0.bin": bytes(100),
    }
    book = read_book(make(tmp_path, FILES | damaged))
    asked: dict[str, Callable[[], object]] = {
        "corvane-c405.json": lambda: book.catalogue("5.2", "Corvane C405"),
        "5.2-to-6.0.toml": lambda: book.notes("5.2", "6.0"),
        "classes.toml": lambda: book.classes,
        "6.0.bin": lambda: book.characters("6.0"),
    }
    for name, ask in asked.items():
        with pytest.raises((BookFormError, SettingsError)) as caught:
            ask()
        assert name in caught.value.what


@pytest.mark.parametrize(
    ("old", "new"), [("Thornbill", "Another"), ('from = "5.2"', 'from = "5.1"'), ('"6.0"', '"6.1"')]
)
def test_notes_about_something_else_are_refused(tmp_path: Path, old: str, new: str) -> None:
    book = book_of(tmp_path, **{"notes/5.2-to-6.0.toml": NOTES.replace(old, new).encode()})
    with pytest.raises(BookFormError, match="not Thornbill 5"):
        book.notes("5.2", "6.0")


CONSTRAINTS = 'format = "rotorwright-constraints"\nversion = 1\nfamily = "Thornbill"\nrelease = "6.0"\n'


def test_constraints_are_read_by_release_and_none_is_no_error(tmp_path: Path) -> None:
    book = book_of(tmp_path, **{"constraints/6.0.toml": CONSTRAINTS.encode()})
    found = book.constraints("6.0")
    assert found is not None
    assert (found.family, found.release) == ("Thornbill", "6.0")
    assert book.constraints("5.2") is None


@pytest.mark.parametrize(("old", "new"), [("Thornbill", "Another"), ('"6.0"', '"6.1"')])
def test_constraints_about_something_else_are_refused(tmp_path: Path, old: str, new: str) -> None:
    book = book_of(tmp_path, **{"constraints/6.0.toml": CONSTRAINTS.replace(old, new).encode()})
    with pytest.raises(BookFormError, match=r"not Thornbill 6[.]0"):
        book.constraints("6.0")


def test_no_book_is_told_as_such(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for path in (tmp_path / "nowhere", tmp_path / "empty", as_zip(tmp_path, {"other.txt": b""})):
        with pytest.raises(BookNotFoundError) as caught:
            read_book(path)
        assert str(path) in caught.value.what


def test_a_zip_with_two_books_is_none(tmp_path: Path) -> None:
    with pytest.raises(BookNotFoundError, match="no release book"):
        read_book(as_zip(tmp_path, {"a/book.toml": b"", "b/book.toml": b""}))


def test_a_zip_cut_anywhere_is_an_error_of_ours(tmp_path: Path) -> None:
    whole = as_zip(tmp_path, FILES).read_bytes()
    for length in range(0, len(whole), 7):
        (tmp_path / "cut.zip").write_bytes(whole[:length])
        with pytest.raises(BookFormError):
            read_book(tmp_path / "cut.zip")


def test_a_zip_with_any_byte_damaged_gives_the_book_or_an_error_of_ours(tmp_path: Path) -> None:
    whole = as_zip(tmp_path, {"book.toml": BOOK.encode()}).read_bytes()
    expected = read_book(tmp_path / "book.zip")
    damaged = 0
    for place in range(len(whole)):
        content = bytearray(whole)
        content[place] ^= 0xFF
        (tmp_path / "damaged.zip").write_bytes(content)
        try:
            found = read_book(tmp_path / "damaged.zip")
        except (BookFormError, BookUnsafeError, BookNotFoundError):
            damaged += 1
        else:
            assert (found.family, found.releases, found.boards) == (expected.family, expected.releases, expected.boards)
    assert damaged > len(whole) / 2


HOSTILE_NAMES = ["../book.toml", "/etc/x", "a/../../x", "C:/x", "a\\..\\x", "a//b", "a/./b", "a\nb", "..", " . /x"]


@pytest.mark.parametrize("name", HOSTILE_NAMES)
def test_a_zip_with_a_name_that_leads_out_is_refused_whole(tmp_path: Path, name: str) -> None:
    with pytest.raises(BookUnsafeError) as caught:
        read_book(as_zip(tmp_path, FILES | {name: b"x"}))
    assert "nothing was unpacked" in caught.value.state


def test_a_zip_with_a_link_is_refused(tmp_path: Path) -> None:
    path = as_zip(tmp_path, FILES)
    link = zipfile.ZipInfo("catalogues/6.0/corvane-c405.json")
    link.create_system = 3
    link.external_attr = 0o120777 << 16
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(link, "/etc/passwd")
    with pytest.raises(BookUnsafeError, match="it is a link"):
        read_book(path)


def test_a_zip_with_one_name_twice_is_refused(tmp_path: Path) -> None:
    path = as_zip(tmp_path, FILES)
    with warnings.catch_warnings(action="ignore"), zipfile.ZipFile(path, "a") as archive:
        archive.writestr("book.toml", BOOK.replace("Thornbill", "Another"))
    with pytest.raises(BookUnsafeError, match="twice"):
        read_book(path)


def test_a_zip_with_too_many_parts_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BookUnsafeError, match=f"at most {MOST_PARTS}"):
        read_book(as_zip(tmp_path, FILES | {f"extra/{number}": b"" for number in range(MOST_PARTS)}))


def test_a_part_that_unpacks_to_more_than_any_part_needs_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BookUnsafeError, match=f"at most {MOST_PART_BYTES}"):
        read_book(as_zip(tmp_path, FILES | {"display/5.2.bin": bytes(MOST_PART_BYTES + 1)}))


def test_parts_that_are_too_large_together_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(book_parts, "MOST_BOOK_BYTES", 10_000)
    with pytest.raises(BookUnsafeError, match="together"):
        read_book(as_zip(tmp_path, FILES))


def test_a_zip_that_lies_about_the_size_of_a_part_is_an_error_of_ours(tmp_path: Path) -> None:
    path = as_zip(tmp_path, {**FILES, "display/5.2.bin": bytes(MOST_PART_BYTES + 1)})
    content = path.read_bytes()
    size = struct.pack("<I", MOST_PART_BYTES + 1)
    assert content.count(size) == 2  # local header and central directory, APPNOTE.TXT 4.3.7 and 4.3.12
    path.write_bytes(content.replace(size, struct.pack("<I", 16384)))
    with pytest.raises((BookUnsafeError, BookFormError)):
        read_book(path).characters("5.2")


def test_a_locked_zip_is_told(tmp_path: Path) -> None:
    path = as_zip(tmp_path, FILES)
    content = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        info = archive.getinfo("book.toml")
        directory = archive.start_dir
    content[info.header_offset + 6] |= 1  # general purpose flag, bit 0: encrypted (APPNOTE.TXT 4.4.4)
    content[directory + 8] |= 1
    path.write_bytes(content)
    with pytest.raises(BookFormError, match=r"book\.toml"):
        read_book(path)


def test_a_link_out_of_a_folder_is_refused(tmp_path: Path) -> None:
    folder = as_folder(tmp_path, FILES)
    (tmp_path / "secret").write_bytes(CATALOGUE)
    (folder / "catalogues" / "6.0").mkdir()
    (folder / "catalogues" / "6.0" / "corvane-c405.json").symlink_to(tmp_path / "secret")
    with pytest.raises(BookUnsafeError, match="leads out"):
        read_book(folder).catalogue("6.0", "Corvane C405")


def test_a_part_of_a_folder_that_is_too_large_is_refused(tmp_path: Path) -> None:
    book = book_of(tmp_path, **{"display/5.2.bin": bytes(MOST_PART_BYTES + 1)})
    with pytest.raises(BookUnsafeError):
        book.characters("5.2")


@pytest.mark.parametrize("name", ["../secret", "..", "x/../../secret"])
def test_an_asked_release_cannot_lead_out_of_the_book(tmp_path: Path, name: str, make: Maker) -> None:
    (tmp_path / "secret.bin").write_bytes(bytes(16384))
    book = read_book(make(tmp_path, FILES))
    assert book.characters(name) is None
    assert book.notes(name, "6.0") is None
