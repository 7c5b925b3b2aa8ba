from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, INT16, UINT8, Pair, catalogue, notes, setting

from rotorwright.settings.decisions import Decision, DecisionKind
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.sheet_csv import COLUMNS, guarded, plain_text, print_sheet_csv
from rotorwright.settings.values import Value

PAIR = Pair(
    catalogue(
        setting("CHANGED", INT16, 5),
        setting("GONE", INT16, 5),
        setting("LEFT", UINT8, 1),
        setting("RIGHT", UINT8, 2),
        setting("WORD", INT16, 0),
    ),
    catalogue(
        setting("BOTH", UINT8, 3),
        setting("CHANGED", INT16, 9),
        setting("WORD_HIGH", UINT8, 0),
        setting("WORD_LOW", UINT8, 0),
    ),
    notes(
        '[[join]]\nold = ["LEFT", "RIGHT"]\nnew = "BOTH"\nhow = "sum"\n'
        '[[split]]\nold = "WORD"\ninto = [{new = "WORD_LOW", bits = [0, 1]}, {new = "WORD_HIGH", bits = [2, 3]}]\n'
    ),
)


def sheet() -> CarryOverSheet:
    return PAIR.sheet(CHANGED=-7, GONE=7, LEFT=4, RIGHT=2, WORD=6)


def rows(made: CarryOverSheet) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(print_sheet_csv(made).decode(), newline="")))


def odd(text: str, name: str = "ODD") -> CarryOverSheet:
    """Return a sheet whose only line has `text` wherever a text may stand."""
    value = Value.of_text(text)
    line = Decision((name,), DecisionKind.KEEP, "same-meaning", text, (value,), (value,), (name,), (value,))
    return replace(sheet(), decisions=(line,))


def test_every_found_setting_has_one_row_and_further_new_ones_follow_without_a_name() -> None:
    found = rows(sheet())
    assert [row["setting"] for row in found if row["setting"]] == ["CHANGED", "GONE", "LEFT", "RIGHT", "WORD"]
    assert [(row["setting"], row["new_setting"], row["becomes"]) for row in found] == [
        ("CHANGED", "CHANGED", ""),
        ("GONE", "", ""),
        ("LEFT", "BOTH", "6"),
        ("RIGHT", "", ""),
        ("WORD", "WORD_LOW", "2"),
        ("", "WORD_HIGH", "1"),
    ]
    assert {row["line"] for row in found if row["setting"] in {"LEFT", "RIGHT"}} == {"3"}


def test_what_is_undecided_becomes_nothing_and_a_choice_shows_what_it_writes() -> None:
    changed = rows(sheet())[0]
    assert (changed["becomes"], changed["is_written"], changed["chosen"]) == ("", "no", "")
    assert "keep-mine: " in changed["options"]
    changed = rows(sheet().decide("CHANGED", "keep-mine"))[0]
    assert (changed["becomes"], changed["is_written"], changed["chosen"]) == ("-7", "yes", "keep-mine")
    changed = rows(sheet().decide("CHANGED", "take-new-default"))[0]
    assert (changed["becomes"], changed["is_written"]) == ("9", "no")


def test_lines_end_as_the_standard_of_csv_says_and_every_row_has_every_column() -> None:
    # Source: RFC 4180, section 2, rules 1 and 4.
    data = print_sheet_csv(sheet())
    assert data.startswith(",".join(COLUMNS).encode() + b"\r\n")
    assert data.endswith(b"\r\n")
    assert {len(row) for row in csv.reader(io.StringIO(data.decode(), newline=""))} == {len(COLUMNS)}


def test_quotes_commas_and_line_ends_in_a_text_come_back_as_they_were() -> None:
    # Source: RFC 4180, section 2, rules 6 and 7.
    assert b'"a ""b"", c\nd"' in print_sheet_csv(odd('a "b", c\nd'))
    assert rows(odd('a "b", c\nd'))[0]["found"] == 'a "b", c\nd'


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+cmd", "-A1", "@SUM(A1)", "-", "\t=1", "\r=1", "\n=1", "\uff1dx", "-inf", "'", "'=1", "''", "-1-1"],
)
def test_no_cell_can_be_taken_for_a_formula_and_each_comes_back_exactly(text: str) -> None:
    row = rows(odd(text, name=text))[0]
    for column in ("setting", "found", "old_default", "new_setting", "new_default", "becomes", "reason"):
        assert row[column] == "'" + text, column
        assert plain_text(row[column]) == text


@pytest.mark.parametrize(
    "text", ["-7", "-0.5", "-1.5e-07", "-0", "+3", "-.5", "7", "", "plain", "a=b", "nan(0x7fc00000)"]
)
def test_numbers_and_plain_texts_stay_as_they_are(text: str) -> None:
    assert guarded(text) == text


def test_an_unknown_value_and_an_empty_text_are_told_apart_by_their_type() -> None:
    unknown = replace(odd("").decisions[0], base=(None,))
    row = rows(replace(sheet(), decisions=(unknown,)))[0]
    assert (row["found_type"], row["found"]) == ("Text", "")
    assert (row["old_default_type"], row["old_default"]) == ("", "")


def test_the_odd_floats_are_exact() -> None:
    line = replace(odd("").decisions[0], ours=(Value(FLOAT, 0x7F800001),), base=(Value(FLOAT, 0x80000000),))
    row = rows(replace(sheet(), decisions=(line,)))[0]
    assert (row["found"], row["old_default"]) == ("nan(0x7f800001)", "-0")
