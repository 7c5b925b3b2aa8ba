from __future__ import annotations

import pytest
from tests.unit.settings_dialects.console_texts import TEXTS, every_kind, read, values

from rotorwright.settings.dialects.changing import (
    SettingNotListedError,
    ValueNotPrintableError,
    change_settings,
    line_to_set,
)
from rotorwright.settings.dialects.listing import LineKind, parse_listing, print_listing
from rotorwright.settings.dialects.round_trip import check_round_trip
from rotorwright.settings.dialects.shipped import thornbill_console, thornbill_sample
from rotorwright.twin.thornbill.release import catalogue


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("let speed be 55", {"speed": ("55",)}),
        ("let\tspeed   be  55", {"speed": ("55",)}),
        ("let speed be", {"speed": ("",)}),
        ('let title be "a # b"  # shown', {"title": ('"a # b"',)}),
        ("let title be it's # shown", {"title": ("it's",)}),
        ("let title be a#b", {"title": ("a#b",)}),
        ("let title be two words", {"title": ("two words",)}),
        ("list lamps: 1, 0,,2", {"list lamps": ("1", "0", "", "2")}),
        ("list lamps:", {"list lamps": ()}),
        ("outlet 3 1000 2000 'a b'", {"outlet 3": ("1000", "2000", "'a b'")}),
        ("uart 1 speed=9600 role=", {"uart 1 speed": ("9600",), "uart 1 role": ("",)}),
        ("axis M92 X80.00 Y-1 Z", {"M92 X": ("80.00",), "M92 Y": ("-1",), "M92 Z": ("",)}),
        ("with lamps", {"lamps": ("on",)}),
        ("without lamps", {"lamps": ("off",)}),
        ("can lamps", {"lamps": ("on",)}),
        ("can -lamps", {"lamps": ("off",)}),
        ("file /a/b", {"file /a/b": ()}),
        ("  quiet  ", {"quiet": ()}),
    ],
)
def test_a_line_gives_its_settings_with_their_exact_texts(line: str, expected: dict[str, tuple[str, ...]]) -> None:
    assert values(read(line)) == expected


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("", LineKind.BLANK),
        (" \t", LineKind.BLANK),
        ("# words", LineKind.COMMENT),
        ("  // words", LineKind.COMMENT),
        ("== Turn rates", LineKind.HEADING),
        ("bench> let speed be 5", LineKind.PROMPT),
        ("bench>", LineKind.PROMPT),
        ("cannot: no such name", LineKind.REFUSAL),
        ("part left", LineKind.SECTION),
        ("let speed 55", LineKind.UNPLACED),
        ("outlet one 5", LineKind.UNPLACED),
        ("uart 1 speed", LineKind.UNPLACED),
        ("uart 1", LineKind.UNPLACED),
        ("\x00\x01", LineKind.UNPLACED),
    ],
)
def test_other_lines_are_told_by_their_kind(line: str, kind: LineKind) -> None:
    assert read(line + "\n").lines[0].kind is kind


def test_a_line_that_opens_a_section_names_the_settings_after_it() -> None:
    listing = read("let a be 1\npart left\nlet a be 2\ncorner top\nlet a be 3\npart right\nlet a be 4\n")
    assert values(listing) == {
        "a": ("1",),
        "part left / a": ("2",),
        "part left / corner top / a": ("3",),
        "part right / a": ("4",),
    }


def test_sections_with_a_closing_line_nest() -> None:
    listing = read("frame {\n let a be 1\n arm front {\n  let a be 2\n }\n let b be 3\n}\nlet b be 4\n")
    assert values(listing) == {
        "frame / a": ("1",),
        "frame / arm front / a": ("2",),
        "frame / b": ("3",),
        "b": ("4",),
    }


def test_a_closing_line_with_nothing_open_is_kept_as_unplaced() -> None:
    assert [line.text for _, line in read("}\n").unplaced] == ["}"]


def test_sections_deeper_than_any_text_for_people_are_kept_as_unplaced() -> None:
    listing = read("a {\n" * 1000)
    assert len(listing.unplaced) == 1000 - 32


def test_unplaced_lines_carry_their_number() -> None:
    assert [number for number, _ in read("let a be 1\n?\n\n!\n").unplaced] == [2, 4]


def test_names_that_come_twice_are_listed() -> None:
    assert read("let a be 1\nlet a be 2\nlet b be 3\n").repeated == ("a",)


MIXED = b"let a be 1\r\nlet b be \xff\xfe\nlet c be 3\rlet d be \xc3\xa4 # x\n\r\r\n?\x80\nlet e be 5"


def test_mixed_line_ends_broken_bytes_and_a_missing_last_end_come_out_as_they_went_in() -> None:
    listing = parse_listing(every_kind(), MIXED)
    assert print_listing(listing) == MIXED
    assert [line.ending for line in listing.lines] == ["\r\n", "\n", "\r", "\n", "\r", "\r\n", "\n", ""]
    assert values(listing)["b"][0].encode("utf-8", "surrogateescape") == b"\xff\xfe"


def test_a_text_cut_off_anywhere_loses_no_line() -> None:
    whole = (TEXTS / "database.txt").read_bytes()
    for cut in range(0, len(whole), 97):
        assert print_listing(parse_listing(every_kind(), whole[:cut])) == whole[:cut]


def test_changing_one_value_rewrites_only_its_line() -> None:
    listing = parse_listing(every_kind(), MIXED)
    changed = change_settings(every_kind(), listing, {"d": ("7",)})
    assert print_listing(changed) == MIXED.replace(b"\xc3\xa4 # x", b"7 # x")
    assert [one is two for one, two in zip(listing.lines, changed.lines, strict=True)].count(False) == 1


@pytest.mark.parametrize(
    ("line", "name", "new", "expected"),
    [
        ("let a be", "a", ("5",), "let a be 5"),
        ("let a be 5 # x", "a", ("",), "let a be  # x"),
        ("list lamps: 1, 0", "list lamps", ("1", "2"), "list lamps: 1, 2"),
        ("list lamps: 1, 0", "list lamps", ("1", "2", "3"), "list lamps: 1,2,3"),
        ("outlet 3 1  2\t3", "outlet 3", ("4", "5", "6"), "outlet 3 4  5\t6"),
        ("uart 1 speed=9600 role=x", "uart 1 role", ("y",), "uart 1 speed=9600 role=y"),
        ("axis M92 X80 Y90", "M92 X", ("81.5",), "axis M92 X81.5 Y90"),
        ("  with lamps", "lamps", ("off",), "  without lamps"),
        ("can lamps", "lamps", ("off",), "can -lamps"),
        ("can -lamps", "lamps", ("on",), "can lamps"),
    ],
)
def test_a_value_is_changed_in_place(line: str, name: str, new: tuple[str, ...], expected: str) -> None:
    assert print_listing(change_settings(every_kind(), read(line), {name: new})).decode() == expected


@pytest.mark.parametrize(
    ("line", "name", "new"),
    [
        ("let a be 5", "a", ("1 # 2",)),
        ("let a be 5", "a", ("1\nlet b be 2",)),
        ("let a be 5", "a", (" 1",)),
        ("let a be 5", "a", ("1", "2")),
        ("outlet 3 1 2", "outlet 3", ("1 2", "3")),
        ("list lamps: 1", "list lamps", ("1,2",)),
        ("uart 1 speed=9600", "uart 1 speed", ("1 role=x",)),
        ("with lamps", "lamps", ("maybe",)),
        ("quiet", "quiet", ("1",)),
        ("let a be 5", "a", ("\ud800",)),
        ("let a be 5", "a", ("\udcc3\udca4",)),  # two broken bytes that together would be a letter
        ("let a be 5", "a", ("{",)),  # found by generated data: the line would open a block
    ],
)
def test_a_value_that_would_read_back_as_something_else_is_refused(line: str, name: str, new: tuple[str, ...]) -> None:
    with pytest.raises(ValueNotPrintableError) as caught:
        change_settings(every_kind(), read(line), {name: new})
    assert caught.value.facts["name"] == name


@pytest.mark.parametrize(("name", "words"), [("c", "not there"), ("a", "lines 1 and 3")])
def test_a_name_that_is_missing_or_doubtful_is_refused(name: str, words: str) -> None:
    with pytest.raises(SettingNotListedError) as caught:
        change_settings(every_kind(), read("let a be 1\nlet b be 2\nlet a be 3\n"), {name: ("5",)})
    assert words in caught.value.what


def test_the_dialect_says_which_line_sets_one() -> None:
    dialect = every_kind()
    families = {line.id: line for line in dialect.lines}
    assert line_to_set(dialect, families["one value"], "speed", ("55",)) == "let speed be 55"
    assert line_to_set(dialect, families["words"], "lamps", ("off",)) == "without lamps"


def test_the_round_trip_of_a_text_that_fits_is_proved() -> None:
    trip = check_round_trip(every_kind(), b"let a be 1\r\nuart 1 x=1 x=2\nwith lamps\n")
    assert trip.holds
    assert trip.all_placed


def test_the_round_trip_says_when_a_line_cannot_be_written_back() -> None:
    trip = check_round_trip(every_kind(), b"let a be 1\nwithlamps\n")
    assert trip.holds
    assert not trip.all_placed


def test_the_sample_of_the_shipped_dialect_lists_the_demo_firmware_completely() -> None:
    trip = check_round_trip(thornbill_console(), thornbill_sample())
    assert trip.holds
    assert trip.all_placed
    known = catalogue("6.0", "C405")
    listed = {each.name: each.values for each in trip.listing.settings}
    assert set(listed) == set(known.names)
    for name, (text,) in listed.items():
        default = known[name].default
        assert default is not None
        assert {"on": "1", "off": "0"}.get(text, text) == default.text
