from __future__ import annotations

import pytest
from tests.unit.settings.builders import FLOAT, UINT8, UINT16, catalogue, notes, setting

from rotorwright.settings.notes import check_notes

OLD = catalogue(
    setting("GYRO_CUT", UINT8, unit="Hz"),
    setting("MODE", UINT8, choices={0: "off", 1: "on"}),
    setting("GAIN", FLOAT),
    setting("SAME", UINT8),
)
NEW = catalogue(
    setting("GYRO_CUTOFF", UINT8, unit="Hz"),
    setting("GYRO_PERIOD", UINT8, unit="ms"),
    setting("MODE", UINT8, choices={0: "on", 2: "off"}),
    setting("GAIN", FLOAT),
    setting("SAME", UINT8),
)
GYRO = '[[rename]]\nold = "GYRO_CUT"\nnew = "GYRO_CUTOFF"\n'
MODE = '[[relabel]]\nold = "MODE"\nnew = "MODE"\nmap = { "0" = 2, "1" = 0 }\n'


def test_notes_that_fit_the_two_releases_have_no_problem() -> None:
    assert check_notes(notes(GYRO + MODE), OLD, NEW) == ()


@pytest.mark.parametrize(
    ("text", "name", "words"),
    [
        (GYRO.replace('"GYRO_CUT"', '"GYRO_CUTT"') + MODE, "GYRO_CUTT", "perhaps GYRO_CUT was meant"),
        (GYRO.replace("CUTOFF", "CUTOF") + MODE, "GYRO_CUTOF", "perhaps GYRO_CUTOFF was meant"),
        (GYRO + GYRO + MODE, "GYRO_CUT", "2 notes say"),
        (GYRO + MODE + GYRO.replace('"GYRO_CUT"', '"GAIN"'), "GYRO_CUTOFF", "2 notes give"),
        (GYRO.replace("CUTOFF", "PERIOD") + MODE, "GYRO_CUT", "Hz became ms"),
        (GYRO.replace("GYRO_CUTOFF", "SAME") + MODE, "SAME", "in both releases"),
        (GYRO + MODE.replace('"0"', '"5"'), "MODE", "no choice 5 in the old"),
        (GYRO + MODE.replace("= 0", "= 7"), "MODE", "no choice 7 in the new"),
        (GYRO, "", ""),
        (MODE, "GYRO_CUT", "is gone, and no note"),
        (
            GYRO
            + MODE
            + '[[split]]\nold = "GAIN"\ninto = [{ new = "GAIN", bits = [0] }, { new = "SAME", bits = [1] }]\n',
            "GAIN",
            "has no bits",
        ),
    ],
)
def test_a_note_that_does_not_fit_is_named(text: str, name: str, words: str) -> None:
    problems = check_notes(notes(text), OLD, NEW)
    if name:
        assert any(each.name == name and words in each.words for each in problems)
    else:
        assert problems == ()


def test_a_unit_that_changed_without_a_note_is_named() -> None:
    new = catalogue(setting("GYRO_CUT", UINT8, unit="ms"))
    (problem,) = check_notes(notes(""), catalogue(setting("GYRO_CUT", UINT8, unit="Hz")), new)
    assert problem.words == "GYRO_CUT counts in ms instead of Hz, and no note says so"


def test_a_rename_that_passes_over_moved_labels_is_named() -> None:
    text = '[[rename]]\nold = "MODE"\nnew = "MODE_B"\n'
    old = catalogue(setting("MODE", UINT8, choices={0: "off", 1: "on"}))
    new = catalogue(setting("MODE_B", UINT8, choices={0: "on", 1: "off"}))
    assert [each.words for each in check_notes(notes(text), old, new)] == [
        "choice 0 (off) is on in the new release",
        "choice 1 (on) is off in the new release",
    ]


def one_convert(law: str, *, low: float, high: float) -> list[str]:
    """Return the ids of what is found for one entry from a range to a setting that holds 0 to 15."""
    old = catalogue(setting("A", UINT16, low, low=low, high=high))
    new = catalogue(setting("B", UINT8, 0, low=0, high=15))
    text = f'[[convert]]\nold = "A"\nnew = "B"\nlaw = {law}\n'
    return [each.id for each in check_notes(notes(text), old, new)]


def test_a_range_clashes_only_if_nothing_of_it_finds_a_place() -> None:
    tenth = '{ kind = "linear", factor = "0.1" }'
    assert one_convert(tenth, low=0, high=1000) == []
    assert one_convert(tenth, low=200, high=1000) == ["range-clash"]
    # only 1024 and 2048 of these have a logarithm that is whole
    assert one_convert('{ kind = "log-of-two" }', low=1000, high=3000) == []
    assert one_convert('{ kind = "log-of-two" }', low=1100, high=2000) == ["range-clash"]
    assert one_convert('{ kind = "table", pairs = { "7" = 16 } }', low=0, high=9) == ["range-clash", "range-clash"]
    assert one_convert('{ kind = "table", pairs = { "7" = "slow" } }', low=0, high=9) == ["range-clash", "type-clash"]
    assert one_convert('{ kind = "table", pairs = { "7" = 15 } }', low=0, high=9) == []
