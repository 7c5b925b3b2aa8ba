"""`plan` in all its forms, from snapshots and listings, with a book and without."""

from __future__ import annotations

import csv
import io
import json

import pytest
from tests.unit.cli.desk import CUSTOMISED, Desk

from rotorwright.settings.sheet import parse_sheet
from rotorwright.settings.sheet_csv import COLUMNS

BOOK = ("--book", "book", "--to", "6.0")
LISTING = ("listing.txt", "--dialect", "thornbill")


def test_the_sheet_comes_as_json_that_is_the_sheet_itself(desk: Desk) -> None:
    code, out, _ = desk.run("plan", "found.json", *BOOK, "--as", "json")
    assert code == 0
    assert out == desk.run("plan", "found.json", *BOOK, "--json")[1]
    held = {each.found[0] for each in parse_sheet(out.encode(), source="out").held}
    assert held == set(CUSTOMISED) - {"SIEVE_DAMP_ROLL"}


def test_the_sheet_comes_as_csv_with_one_row_for_each_found_setting(desk: Desk) -> None:
    code, out, _ = desk.run("plan", "found.json", *BOOK, "--as", "csv")
    assert code == 0
    rows = list(csv.DictReader(io.StringIO(out, newline="")))
    assert tuple(rows[0]) == COLUMNS
    assert sorted(row["setting"] for row in rows if row["setting"]) == sorted(desk.snapshot().settings)


def test_the_sheet_comes_as_a_page_that_shows_units_and_labels(desk: Desk) -> None:
    code, out, _ = desk.run("plan", "found.json", *BOOK, "--as", "html")
    assert code == 0
    assert out.startswith("<!DOCTYPE html>")
    assert "600 ms" in out


@pytest.mark.parametrize("form", ["table", "json", "csv", "html"])
def test_each_form_can_be_written_to_a_file_and_is_the_same_each_time(form: str, desk: Desk) -> None:
    for name in ("one", "two"):
        code, out, _ = desk.run("plan", "found.json", *BOOK, "--as", form, "--output", f"{name}.{form}")
        assert code == 0
        assert "held for a person: 4" in out
        assert "rotorwright decide" in out
    assert (desk.folder / f"one.{form}").read_bytes() == (desk.folder / f"two.{form}").read_bytes()
    assert b"\x1b" not in (desk.folder / f"one.{form}").read_bytes()


def test_a_sheet_is_never_written_over_a_file(desk: Desk) -> None:
    assert "already" in desk.refused(8, "plan", "found.json", *BOOK, "--as", "csv", "--output", "old.json")
    assert "no folder" in desk.refused(8, "plan", "found.json", *BOOK, "--output", "nowhere/x.json")


def test_a_form_that_does_not_exist_is_a_mistake_of_usage(desk: Desk) -> None:
    assert "table, json, csv, html" in desk.refused(2, "plan", "found.json", *BOOK, "--as", "xml")


def test_without_a_book_both_defaults_are_enough(desk: Desk) -> None:
    assert desk.run("save", "--from", *LISTING, "--release", "6.0.0", "--board", "Corvane C405", "--book", "book",
                    "-o", "new.json")[0] == 0  # fmt: skip
    sheet = desk.json("plan", "found.json", "--old-defaults", "old.json", "--new-defaults", "new.json")
    assert (sheet["from_release"], sheet["to_release"]) == ("5.2.0", "6.0.0")
    by_name = {name: each for each in sheet["decisions"] for name in each["found"]}
    assert by_name["LOSS_HOLD"]["rule"] == "unknown-name"
    assert by_name["LIGHT_BRIGHT"]["kind"] == "keep"
    assert by_name["ACC_GAIN_X"]["kind"] == "adopt"


def test_new_defaults_may_be_a_listing_read_in_the_types_that_were_found(desk: Desk) -> None:
    sheet = desk.json("plan", "found.json", "--old-defaults", "old.json", "--new-defaults", *LISTING, "--to", "6.0")
    by_name = {name: each for each in sheet["decisions"] for name in each["found"]}
    assert by_name["LIGHT_BRIGHT"]["theirs"] == [{"type": "Uint8", "text": "40"}]
    assert by_name["MOTOR_TELLS_RPM"]["theirs"] == [{"type": "Uint8", "text": "0"}]
    assert by_name["LIGHT_BRIGHT"]["kind"] == "keep"


def test_old_defaults_may_be_a_listing_too_and_what_was_found_is_read_in_the_types_of_typed_defaults(
    desk: Desk,
) -> None:
    about = ("--release", "6.0.0", "--board", "Corvane C405", "--book", "book")
    assert desk.run("save", "--from", *LISTING, *about, "-o", "typed.json")[0] == 0
    texts_as_base = desk.json("plan", "typed.json", "--old-defaults", *LISTING, "--new-defaults", "typed.json")
    assert {each["kind"] for each in texts_as_base["decisions"]} == {"adopt"}
    assert texts_as_base["decisions"][0]["base"][0]["type"] == "Float"
    texts_found = desk.json("plan", *LISTING, "--old-defaults", "typed.json", "--new-defaults", "typed.json")
    assert {each["kind"] for each in texts_found["decisions"]} == {"adopt"}
    assert texts_found["decisions"][0]["ours"][0]["type"] == "Float"


def test_a_listing_alone_can_be_planned_with_its_own_kind_as_defaults(desk: Desk) -> None:
    text = (desk.folder / "listing.txt").read_text(encoding="utf-8")
    desk.write("mine.txt", text.replace("let LIGHT_BRIGHT be 40", "let LIGHT_BRIGHT be 55"))
    sheet = desk.json("plan", "mine.txt", "--new-defaults", *LISTING, "--old-defaults", "listing.txt")
    carried = [each for each in sheet["decisions"] if each["kind"] != "adopt"]
    assert [(each["found"], each["kind"]) for each in carried] == [(["LIGHT_BRIGHT"], "keep")]
    assert carried[0]["writes"] == [{"name": "LIGHT_BRIGHT", "value": {"type": "Text", "text": "55"}}]


def test_a_listing_is_planned_with_a_book_once_its_release_and_board_are_named(desk: Desk) -> None:
    about = ("--release", "6.0", "--board", "Corvane C405")
    assert "--release and --board" in desk.refused(6, "plan", *LISTING, "--book", "book", "--to", "6.0")
    sheet = desk.json("plan", *LISTING, *about, "--book", "book", "--to", "6.0")
    assert {each["kind"] for each in sheet["decisions"]} <= {"adopt", "board", "calibration"}


def test_a_refitted_stick_curve_is_drawn_on_the_page(desk: Desk) -> None:
    text = (desk.folder / "listing.txt").read_text(encoding="utf-8")
    desk.write("mine.txt", text.replace("let STICK1_ROLL_TOP be 600", "let STICK1_ROLL_TOP be 720"))
    about = ("--dialect", "thornbill", "--release", "6.0", "--board", "Corvane C405", "--book", "book", "--to", "6.1")
    sheet = desk.json("plan", "mine.txt", *about)
    lines = [each for each in sheet["decisions"] if "STICK1_ROLL_TOP" in each["found"]]
    assert [each["rule"] for each in lines] != ["refit-to-work-out"]
    code, out, err = desk.run("plan", "mine.txt", *about, "--as", "html")
    assert code == 0, err
    assert out.count("<svg") >= 1
    assert "Rate of turn over the stick" in out


@pytest.mark.parametrize("options", [(), ("--to", "6.0"), ("--book", "book"), ("--old-defaults", "old.json")])
def test_without_any_word_of_the_new_release_nothing_is_planned(options: tuple[str, ...], desk: Desk) -> None:
    assert "--new-defaults" in desk.refused(6, "plan", "found.json", *options)


def test_a_line_without_a_place_is_told_and_hinders_no_plan(desk: Desk) -> None:
    text = (desk.folder / "listing.txt").read_text(encoding="utf-8")
    desk.write("odd.txt", text + "???\n")
    code, out, err = desk.run("plan", "found.json", "--new-defaults", "odd.txt", "--dialect", "thornbill", "--json")
    assert code == 0
    json.loads(out)
    assert "no place" in err
    assert "???" in err


def test_why_tells_the_story_without_a_book_too(desk: Desk) -> None:
    story = desk.json("plan", "found.json", "--old-defaults", "old.json", "--new-defaults", "old.json", "--to", "5.2",
                      "--why", "LIGHT_BRIGHT")  # fmt: skip
    assert story["yours"] == ["LIGHT_BRIGHT = 95"]
