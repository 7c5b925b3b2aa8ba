"""`save --from`, `show` and `compare` on snapshots and printed listings, in any combination."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.cli.desk import UNIQUE_ID, Desk

from rotorwright.settings.snapshot import compare_snapshots, print_snapshot
from rotorwright.settings.values import SettingType, Value

LISTING = ("listing.txt", "--dialect", "thornbill")
ABOUT = ("--release", "6.0.0", "--board", "Corvane C405")


@pytest.fixture
def saved(desk: Desk) -> Desk:
    """Return the desk with the listing saved twice: as texts, and typed by the book."""
    assert desk.run("save", "--from", *LISTING, *ABOUT, "--family", "Thornbill", "-o", "texts.json")[0] == 0
    assert desk.run("save", "--from", *LISTING, *ABOUT, "--book", "book", "--out", "typed.json")[0] == 0
    return desk


def edited(desk: Desk, *changes: tuple[str, str]) -> str:
    text = (desk.folder / "listing.txt").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return desk.write("edited.txt", text)


def test_a_listing_becomes_a_snapshot_with_what_was_told_of_it(saved: Desk) -> None:
    texts, typed = saved.snapshot("texts.json"), saved.snapshot("typed.json")
    assert texts.identity == typed.identity
    assert (typed.identity.family, typed.identity.release, typed.identity.board) == (
        "Thornbill",
        "6.0.0",
        "Corvane C405",
    )
    assert {value.type for value in texts.settings.values()} == {SettingType.TEXT}
    assert typed.settings["MOTOR_TELLS_RPM"].type is SettingType.UINT8
    assert len(compare_snapshots(texts, typed)) == len(texts.settings) == 534


def test_saving_a_listing_says_that_nobody_named_its_aircraft(desk: Desk) -> None:
    code, out, _ = desk.run("save", "--from", *LISTING, "-o", "x.json")
    assert code == 0
    assert "534 settings" in out
    assert "zeros" in out
    code, out, _ = desk.run("save", "--from", *LISTING, "--unique-id", UNIQUE_ID, "-o", "y.json")
    assert code == 0
    assert "zeros" not in out
    assert desk.snapshot("y.json").identity.unique_id == UNIQUE_ID
    assert "24 hexadecimal digits" in desk.refused(6, "save", "--from", *LISTING, "--unique-id", "12", "-o", "z.json")


def test_a_listing_saved_without_a_name_gets_one_that_says_what_it_is(desk: Desk) -> None:
    facts = desk.json("save", "--from", *LISTING)
    assert facts["file"].startswith("listing-")
    assert facts["count"] == 534
    assert (desk.folder / facts["file"]).exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "either --port or --from"),
        (("--port", "COM99", "--from", "listing.txt"), "either --port or --from"),
        (("--from", "listing.txt"), "--dialect"),
    ],
)
def test_saving_needs_one_source_and_a_listing_its_dialect(options: tuple[str, ...], words: str, desk: Desk) -> None:
    assert words in desk.refused(2, "save", *options)


def test_lines_without_a_place_are_not_lost_in_silence(desk: Desk) -> None:
    edited(desk, ("~~ Calibration ~~", "?? what"))
    odd = ("edited.txt", "--dialect", "thornbill")
    assert "line 2: ?? what" in desk.refused(6, "save", "--from", *odd, "-o", "x.json")
    assert not (desk.folder / "x.json").exists()
    code, _, err = desk.run("save", "--from", *odd, "-o", "x.json", "--leave-out-unplaced")
    assert code == 0
    assert "?? what" in err
    assert "?? what" in desk.run("show", *odd)[2]
    code, out, _ = desk.run("compare", *odd[:1], "listing.txt", *odd[1:])
    assert code == 1
    assert "line 2 cannot be compared" in out
    facts = desk.json("compare", *odd[:1], "listing.txt", *odd[1:])
    assert facts["before"]["unplaced_lines"] == [{"line": 2, "text": "?? what"}]


def test_a_listing_is_shown_with_its_texts_and_with_a_book_with_meanings(desk: Desk) -> None:
    shown = desk.json("show", *LISTING, "--name", "light_bright")
    assert shown["kind"] == "listing"
    assert shown["settings"] == [{"name": "LIGHT_BRIGHT", "type": "Text", "value": "40"}]
    code, out, _ = desk.run("show", *LISTING, "--name", "LIGHT_BRIGHT", "--book", "book", *ABOUT)
    assert code == 0
    assert "40 %" in out


def test_a_listing_without_a_dialect_is_refused_and_the_way_on_named(desk: Desk) -> None:
    for command in (
        ("show", "listing.txt"),
        ("compare", "listing.txt", "found.json"),
        ("compare", "found.json", "listing.txt"),
    ):
        assert "--dialect thornbill" in desk.refused(6, *command)
    assert "thornbil" in desk.refused(8, "show", "listing.txt", "--dialect", "thornbil")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("listing.txt", "listing.txt"),
        ("listing.txt", "texts.json"),
        ("listing.txt", "typed.json"),
        ("texts.json", "typed.json"),
        ("typed.json", "listing.txt"),
    ],
)
def test_the_same_settings_are_the_same_in_whatever_form_they_come(before: str, after: str, saved: Desk) -> None:
    code, out, _ = saved.run("compare", before, after, "--dialect", "thornbill")
    assert (code, out) == (0, "No difference.\n")


def test_differences_are_shown_with_both_values_and_what_cannot_be_compared_is_said(saved: Desk) -> None:
    edited(
        saved,
        ("let LIGHT_BRIGHT be 40", "let LIGHT_BRIGHT be 55"),
        ("without MOTOR_TELLS_RPM", "with MOTOR_TELLS_RPM"),
        ("let BEACON_OWNER be 0", "let BEACON_OWNER be owl"),
        ("let BEACON_PATH be 0", "let BEACON_ROAD be 0"),
    )
    code, out, _ = saved.run("compare", "typed.json", "edited.txt", "--dialect", "thornbill")
    assert code == 1
    rows = [line.split() for line in out.splitlines()]
    assert ["LIGHT_BRIGHT", "40", "55"] in rows
    assert ["MOTOR_TELLS_RPM", "0", "on"] in rows
    assert "BEACON_OWNER cannot be compared: 'owl' is no number, and the other side is a Uint32." in out
    assert "4 differences in 535 settings; 1 cannot be compared." in out
    facts = saved.json("compare", "typed.json", "edited.txt", "--dialect", "thornbill")
    assert {row["name"]: (row["before"], row["after"]) for row in facts["differences"]} == {
        "LIGHT_BRIGHT": ("40", "55"),
        "MOTOR_TELLS_RPM": ("0", "on"),
        "BEACON_PATH": ("0", None),
        "BEACON_ROAD": (None, "0"),
    }
    assert [(row["name"], row["before"], row["after"]) for row in facts["not_comparable"]] == [
        ("BEACON_OWNER", "0", "owl")
    ]
    assert facts["equal"] == 530


def test_what_cannot_be_compared_is_never_called_the_same(saved: Desk) -> None:
    edited(saved, ("let BEACON_OWNER be 0", "let BEACON_OWNER be owl"))
    code, out, _ = saved.run("compare", "typed.json", "edited.txt", "--dialect", "thornbill")
    assert code == 1
    assert "No difference; 1 cannot be compared." in out


def test_two_values_that_look_alike_and_are_of_two_types_are_shown_with_their_types(desk: Desk) -> None:
    found = desk.snapshot()
    settings = {**found.settings, "LIGHT_BRIGHT": Value.of(SettingType.UINT16, 95)}
    (desk.folder / "wide.json").write_bytes(print_snapshot(replace(found, settings=settings)))
    code, out, _ = desk.run("compare", "found.json", "wide.json")
    assert code == 1
    assert "95 (Uint8)" in out
    assert "95 (Uint16)" in out


def test_aircraft_and_releases_are_told_apart(saved: Desk) -> None:
    code, out, _ = saved.run("compare", "old.json", "typed.json")
    assert code == 1
    assert "Two releases: 5.2.0 and 6.0.0." in out
    assert "Two aircraft" not in out  # nobody said which aircraft the listing is of
    assert saved.json("compare", "old.json", "typed.json")["same_aircraft"] is None
    assert saved.json("compare", "old.json", "found.json")["same_aircraft"] is True


def test_a_name_that_is_there_twice_and_a_value_that_fits_no_type_are_refused_with_their_line(desk: Desk) -> None:
    edited(desk, ("let ACC_GAIN_Y be 1", "let ACC_GAIN_X be 1"))
    assert "lines 3 and 4" in desk.refused(6, "show", "edited.txt", "--dialect", "thornbill")
    edited(desk, ("let LIGHT_BRIGHT be 40", "let LIGHT_BRIGHT be owl"))
    said = desk.refused(6, "show", "edited.txt", "--dialect", "thornbill", "--book", "book", *ABOUT)
    assert "'LIGHT_BRIGHT'" in said


@pytest.mark.parametrize("port", ["/dev/no-such-port", "COM98"])
def test_a_port_that_is_not_there_is_an_error_of_the_link(port: str, desk: Desk) -> None:
    assert port in desk.refused(3, "compare", "found.json", port)
    assert port in desk.refused(3, "save", "--port", port, "--dialect", "thornbill")
