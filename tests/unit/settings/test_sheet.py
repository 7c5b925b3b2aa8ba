from __future__ import annotations

import json
from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, INT16, UINT8, Pair, about, catalogue, notes, setting

from rotorwright.settings.carry_over import DecisionKind
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.sheet import (
    CarryOverSheet,
    NotHeldError,
    SheetDigestError,
    SheetEntryError,
    SheetError,
    SheetFormatError,
    SheetNotJsonError,
    SheetVersionError,
    UndecidedSettingsError,
    UnknownOptionError,
    parse_sheet,
    print_sheet,
)
from rotorwright.settings.structured import canonical_sha256
from rotorwright.settings.values import Value

PAIR = Pair(
    catalogue(
        setting("CHANGED", INT16, 5),
        setting("GONE", INT16, 5),
        setting("KEPT", FLOAT, 0),
        setting("LEFT", UINT8, 1),
        setting("PIN_A", UINT8, 1),
        setting("RIGHT", UINT8, 2),
    ),
    catalogue(
        setting("ADDED", UINT8, 1),
        setting("BOTH", UINT8, 3),
        setting("CHANGED", INT16, 9),
        setting("KEPT", FLOAT, 0),
        setting("PIN_A", UINT8, 2),
    ),
    notes('[[join]]\nold = ["LEFT", "RIGHT"]\nnew = "BOTH"\nhow = "sum"\n'),
    SettingClasses(board=("PIN_*",)),
)
ODD = Value(FLOAT, 0x7F800001)


def sheet() -> CarryOverSheet:
    return PAIR.sheet(CHANGED=7, GONE=7, KEPT=ODD, LEFT=4)


def decided() -> CarryOverSheet:
    return sheet().decide("CHANGED", "keep-mine").decide("GONE", "leave-out")


def test_nothing_is_written_while_something_is_undecided() -> None:
    made = sheet()
    assert [each.found for each in made.undecided] == [("CHANGED",), ("GONE",)]
    with pytest.raises(UndecidedSettingsError) as caught:
        _ = made.writes
    assert "CHANGED, GONE" in caught.value.what
    with pytest.raises(UndecidedSettingsError):
        made.expected_settings(PAIR.new.defaults)
    with pytest.raises(UndecidedSettingsError):
        _ = made.decide("GONE", "leave-out").writes


def test_a_decided_line_stays_held_and_notes_the_choice() -> None:
    made = decided()
    assert [(each.found, each.kind, each.chosen) for each in made.held] == [
        (("CHANGED",), DecisionKind.HELD, "keep-mine"),
        (("GONE",), DecisionKind.HELD, "leave-out"),
    ]
    assert made.undecided == ()
    assert sheet().undecided != ()


def test_the_writes_are_sorted_and_the_expected_values_are_complete() -> None:
    made = decided()
    assert [(each.name, each.value.text) for each in made.writes] == [
        ("BOTH", "6"),
        ("CHANGED", "7"),
        ("KEPT", "nan(0x7f800001)"),
    ]
    expected = made.expected_settings(PAIR.new.defaults)
    assert {name: value.text for name, value in expected.items()} == {
        "ADDED": "1",
        "BOTH": "6",
        "CHANGED": "7",
        "KEPT": "nan(0x7f800001)",
        "PIN_A": "2",
    }
    assert list(expected) == sorted(expected)


def test_a_choice_can_be_made_anew() -> None:
    made = decided().decide("CHANGED", "take-new-default")
    assert "CHANGED" not in {each.name for each in made.writes}
    assert about(made, "CHANGED").chosen == "take-new-default"


def test_each_name_of_a_group_decides_the_group() -> None:
    pair = replace(PAIR, new=catalogue(*PAIR.new.settings.values(), setting("BOTH", UINT8, 30)))
    made = pair.sheet(LEFT=4)
    assert made.decide("RIGHT", "keep-mine").decisions == made.decide("LEFT", "keep-mine").decisions


def test_a_name_that_is_not_held_is_refused_and_the_likely_one_named() -> None:
    for name in ("KEPT", "CHANGD", "NOWHERE"):
        with pytest.raises(NotHeldError) as caught:
            sheet().decide(name, "keep-mine")
        assert name in caught.value.what
    with pytest.raises(NotHeldError, match="Decide CHANGED instead"):
        sheet().decide("CHANGD", "keep-mine")


def test_an_option_that_does_not_exist_is_refused_and_the_ways_are_named() -> None:
    with pytest.raises(UnknownOptionError) as caught:
        sheet().decide("CHANGED", "keep-mien")
    assert "keep-mine, take-new-default" in caught.value.why
    assert "'keep-mine' is likely meant" in caught.value.todo


def test_counts_name_each_kind_that_occurs_once() -> None:
    assert sheet().counts == {
        DecisionKind.KEEP: 1,
        DecisionKind.JOIN: 1,
        DecisionKind.BOARD: 1,
        DecisionKind.HELD: 2,
    }
    assert sheet().found_names == PAIR.old.names


@pytest.mark.parametrize("made", [sheet(), decided(), PAIR.sheet(), Pair(catalogue(), catalogue()).sheet()])
def test_a_sheet_goes_through_its_file_and_back_to_the_same_sheet_and_bytes(made: CarryOverSheet) -> None:
    data = print_sheet(made)
    assert parse_sheet(data, source="sheet.json") == made
    assert print_sheet(parse_sheet(data, source="sheet.json")) == data
    assert parse_sheet(data, source="sheet.json").sha256 == made.sha256


def test_the_digest_changes_with_every_choice() -> None:
    assert len({sheet().sha256, decided().sha256, decided().decide("CHANGED", "take-new-default").sha256}) == 3


FILE = print_sheet(sheet())


def changed(path: tuple[str | int, ...], value: object) -> bytes:
    """Return the file with one place changed and the digest made right again."""
    data = json.loads(FILE)
    place = data
    for step in path[:-1]:
        place = place[step]
    if value is ...:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    if path != ("sha256",):
        data["sha256"] = canonical_sha256({key: each for key, each in data.items() if key != "sha256"})
    return json.dumps(data).encode()


FIRST = ("decisions", 0)

BAD: dict[str, tuple[bytes, type[SheetError], str]] = {
    "an empty file": (b"", SheetNotJsonError, "line 1"),
    "another format": (changed(("format",), "other"), SheetFormatError, "does not say"),
    "a newer version": (changed(("version",), 2), SheetVersionError, "version 2"),
    "version nought": (changed(("version",), 0), SheetEntryError, "version 0"),
    "no decisions": (changed(("decisions",), ...), SheetEntryError, "'decisions'"),
    "an unknown key": (changed((*FIRST, "reasn"), ""), SheetEntryError, "'reason'"),
    "an unknown kind": (changed((*FIRST, "kind"), "guess"), SheetEntryError, "'guess'"),
    "a decision about nothing": (changed((*FIRST, "found"), []), SheetEntryError, "'found'"),
    "a decision twice": (changed((*FIRST, "found"), ["GONE"]), SheetEntryError, "GONE is decided on twice"),
    "a value too few": (changed((*FIRST, "ours"), []), SheetEntryError, "1 values are expected"),
    "a value missing": (changed((*FIRST, "ours"), [None]), SheetEntryError, "a value is missing"),
    "a value out of its type": (
        changed((*FIRST, "ours", 0, "text"), "99999"),
        SheetEntryError,
        "decisions entry 1, ours entry 1, key 'text'",
    ),
    "an unknown type": (changed((*FIRST, "ours", 0, "type"), "Double"), SheetEntryError, "'Double'"),
    "a choice that is no option": (changed((*FIRST, "chosen"), "guess"), SheetEntryError, "'guess'"),
    "an arrival without words": (changed(("arrivals", 0, "words"), ...), SheetEntryError, "'words'"),
    "a changed reason": (FILE.replace(b"You had set 7", b"You had set 8", 1), SheetDigestError, "digest"),
    "another digest": (changed(("sha256",), "0" * 64), SheetDigestError, "digest"),
}


@pytest.mark.parametrize(("data", "error", "named"), BAD.values(), ids=BAD)
def test_a_bad_sheet_is_refused_with_four_answers(data: bytes, error: type[SheetError], named: str) -> None:
    with pytest.raises(error) as caught:
        parse_sheet(data, source="bad.json")
    assert "bad.json" in caught.value.what
    assert named in caught.value.what
    assert all((caught.value.why, caught.value.state, caught.value.todo))


def test_a_sheet_cut_short_anywhere_is_refused() -> None:
    for length in range(0, len(FILE) - 2, 7):
        with pytest.raises(SheetError):
            parse_sheet(FILE[:length], source="cut.json")
