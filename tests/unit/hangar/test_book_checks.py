from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rotorwright.hangar.book_checks import BookProblem, check_book
from rotorwright.hangar.books import read_book
from rotorwright.twin.thornbill.book import write_book

if TYPE_CHECKING:
    from pathlib import Path

STEP = "notes/6.0-to-6.1.toml"


def problems(folder: Path, part: str = "", old: str = "", new: str = "") -> list[BookProblem]:
    """Return what is wrong with the book of Thornbill after one text in it was exchanged for another."""
    book = write_book(folder / "book")
    if part:
        text = (book / part).read_text(encoding="utf-8")
        assert old in text
        (book / part).write_text(text.replace(old, new, 1), encoding="utf-8")
    return [each for each in check_book(read_book(book)) if each.severity != "information"]


def test_the_book_that_is_shipped_is_clean(tmp_path: Path) -> None:
    assert problems(tmp_path) == []


def test_what_has_no_way_back_is_information(tmp_path: Path) -> None:
    found = check_book(read_book(write_book(tmp_path / "book")))
    assert {(each.id, str(each.severity)) for each in found} == {("cannot-reverse", "information")}
    assert any(each.name == "BEACON_OWNER" and each.part == STEP for each in found)


@pytest.mark.parametrize(
    ("part", "old", "new", "id_", "words"),
    [
        (
            STEP,
            'old = "LAND_QUIET_MS"',
            'old = "LAND_QUITE_MS"',
            "in-neither-release",
            "perhaps LAND_QUIET_MS was meant",
        ),
        (STEP, 'factor = "0.001"', 'factor = "10"', "range-clash", "finds a place in LAND_QUIET_S"),
        (STEP, '"1" = 2, "2" = 1', '"1" = 2, "2" = 7', "unknown-choice", "no choice 7 in the new"),
        (STEP, "at_most = 1", "at_most = -1", "unreachable-condition", "makes this true"),
        (STEP, "at_least = 3", "at_least = 1", "two-notes", "2 notes say what becomes of MOTOR_CAP"),
        (
            STEP,
            'setting = "MOTOR_SIGNAL", at_least',
            'setting = "MOTOR_REST", at_least',
            "perhaps-two-notes",
            "exclude",
        ),
        (STEP, 'setting = "MOTOR_SIGNAL"', 'setting = "MOTOR_SIGNL"', "unknown-name", "perhaps MOTOR_SIGNAL was meant"),
        (
            STEP,
            '[[retire]]\nold = "LIGHT_CHAN"',
            '[[retire]]\nold = "BEACON_OWNER"',
            "gone-without-note",
            "LIGHT_CHAN is gone",
        ),
        (STEP, 'name = "CRASH_RATE"', 'name = "CRASH_LEAN"', "default-unchanged", "the same in both releases"),
        (STEP, 'name = "CRASH_RATE"', 'name = "CRASH_RAET"', "unknown-name", "perhaps CRASH_RATE was meant"),
        (STEP, "STICK1_ROLL_TOP * stick *", "STICK1_ROLL_TOP * stickk *", "unknown-name", "a formula names stickk"),
        (STEP, 'new = "TAPE_HALVINGS"', 'new = "TAPE_LOOP"', "still-there", "in both releases"),
        (STEP, "version = 1", "version = one", "notes.wrong-format", "not TOML"),
        (STEP, 'how = "equal"', 'how = "bits"\nbits = [0, 9]', "range-clash", "beyond RADIO_DEAD_LEAN"),
        ("classes.toml", '"BARO_OFF"', '"BARR_OFF"', "matches-nothing", "'BARR_OFF' matches no setting"),
        ("classes.toml", '= "READY_CHAN"', '= "READY_CHANEL"', "unknown-name", "perhaps READY_CHAN was meant"),
        (
            "constraints/6.1.toml",
            '"READY_FROM"',
            '"READY_FORM"',
            "unknown-name",
            "6.1 knows no setting READY_FORM; perhaps READY_FROM was meant",
        ),
        (
            "catalogues/6.1/corvane-c405.json",
            '"default":600,"min":100',
            '"default":60,"min":100',
            "default-not-allowed",
            "not allowed",
        ),
    ],
)
def test_a_mistake_is_found_and_named(tmp_path: Path, part: str, old: str, new: str, id_: str, words: str) -> None:
    found = problems(tmp_path, part, old, new)
    assert [each for each in found if each.id == id_ and words in each.words], found


def test_a_step_without_notes_is_named_once(tmp_path: Path) -> None:
    book = write_book(tmp_path / "book")
    (book / STEP).unlink()
    found = [each for each in check_book(read_book(book)) if each.severity != "information"]
    assert [(each.id, each.part) for each in found] == [("no-notes", STEP)]
