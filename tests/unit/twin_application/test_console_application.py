"""The demo firmware's text console, word for word."""

from __future__ import annotations

import math

import pytest
from tests.unit.twin_application.console_desk import CATALOGUE, PROMPT, Desk
from tests.unit.twin_application.ground_station import NEXT_BUILD, UNIQUE_ID

from rotorwright.settings.dialects.shipped import thornbill_console, thornbill_sample
from rotorwright.twin.boot import ApplicationBuild
from rotorwright.twin.console_application import MOST_WAITING
from rotorwright.twin.console_lines import LONGEST_LINE_BYTES, LineReader
from rotorwright.twin.settings_memory import MemoryInRam
from rotorwright.twin.thornbill.release import catalogue

DISPLAY_BYTES = 64 * 256


def test_nobody_is_heard_before_the_greeting() -> None:
    desk = Desk(greeted=False)
    assert desk.heard() == ("-- Thornbill 5.2.0 on Corvane One is awake\r\n-- No saved settings: defaults in force\r\n")
    assert desk.type(b"tell all\r\nforget all\r\nwake anew\r\nGOOD DAY\r\n\xff\r\n") == ""
    assert desk.app.wants is None
    assert desk.type(b"good day\r\n") == f"-- good day, this is Thornbill 5.2.0 on Corvane One\r\n{PROMPT}"


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r"])
def test_a_line_may_end_in_any_way_and_come_in_pieces(end: bytes) -> None:
    desk = Desk()
    typed = b"how" + end + b"tell COUNT" + end
    said = "".join(desk.type(bytes([byte])) for byte in typed)
    assert said == f"unknown: how\r\n{PROMPT}let COUNT be 200\r\n{PROMPT}"


def test_an_empty_line_and_a_comment_get_the_prompt_alone() -> None:
    desk = Desk()
    assert (desk.say(""), desk.say("  -- tell all"), desk.say("-- tell all")) == ([], [], [])


def test_it_says_who_it_is() -> None:
    assert Desk().say("who are you") == [
        "I am Thornbill 5.2.0",
        "my board is Corvane One",
        "my build is 0123456789abcdef0123",
        f"my number is {UNIQUE_ID.hex()}",
    ]


def test_all_settings_are_told_by_group_with_units_and_count() -> None:
    assert Desk().say("tell all") == [
        "-- Thornbill 5.2.0 on Corvane One",
        "let COUNT be 200",
        "let Count be -3",
        "~~ Lights ~~",
        "without LAMP",
        "~~ Moving ~~",
        "let PACE be 0.15  -- m/s",
        "-- 4 settings",
    ]


def test_the_sample_that_is_shipped_is_what_6_0_says_fresh_on_its_board() -> None:
    build = ApplicationBuild("Thornbill", "6.0.0", "Corvane C405", "STM32F405xG")
    said = Desk(catalogue("6.0", "C405"), build=build).say("tell all")
    assert "\r\n".join(said) + "\r\n" == thornbill_sample().decode()


def test_one_setting_is_told_and_names_that_differ_in_case_are_two() -> None:
    desk = Desk()
    assert (desk.say("tell COUNT"), desk.say("tell Count")) == (["let COUNT be 200"], ["let Count be -3"])
    assert desk.say("tell count") == ["unknown: count"]


def test_a_value_is_taken_and_told_as_it_stands() -> None:
    desk = Desk()
    assert desk.say("let PACE be 0.1000  -- m/s") == ["let PACE be 0.1  -- m/s"]
    assert desk.say("let  COUNT\tbe   10 ") == ["let COUNT be 10"]
    assert desk.say("with LAMP") == ["with LAMP"]
    assert desk.say("tell LAMP") == ["with LAMP"]


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("let COUNT be 221", "cannot: 221 is above the highest allowed, 220"),
        ("let COUNT be 1.5", "cannot: COUNT takes a Uint8"),
        ("let COUNT be", "cannot: COUNT takes a Uint8"),
        ("let LAMP be 1", "cannot: say with LAMP or without LAMP"),
        ("with COUNT", "cannot: COUNT is not on or off, it takes a value"),
        ("let NOTHING be 1", "unknown: NOTHING"),
        ("without NOTHING", "unknown: NOTHING"),
        ("let COUNT 7", "unknown: let COUNT 7"),
        ("Tell all", "unknown: Tell all"),
        ("tell", "unknown: tell"),
        ("show picture 256", "cannot: there is no picture 256"),
        ("let picture 256 be 00", "cannot: there is no picture 256"),
        ("let picture 3 be 00", "cannot: a picture has 108 hexadecimal digits"),
        ("let picture 3", "unknown: let picture 3"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words_and_changes_nothing(line: str, answer: str) -> None:
    desk = Desk()
    before = desk.say("tell all")
    assert desk.say(line) == [answer]
    assert desk.say("tell all") == before
    assert any(form.match(answer, 0, len(answer)) is not None for form in thornbill_console().session.refusals)


def test_what_is_kept_outlives_a_restart_and_the_rest_does_not() -> None:
    desk = Desk()
    desk.say("let COUNT be 11")
    assert desk.say("keep it") == ["-- kept"]
    desk.say("let COUNT be 12")
    again = Desk(settings=desk.settings)
    assert again.say("tell COUNT") == ["let COUNT be 11"]
    assert again.say("forget all") == ["-- all forgotten, the defaults are in force"]
    assert again.say("tell COUNT") == ["let COUNT be 200"]
    assert Desk(settings=desk.settings).say("tell COUNT") == ["let COUNT be 11"]


def test_settings_that_another_release_kept_are_not_taken() -> None:
    desk = Desk()
    desk.say("let COUNT be 11")
    desk.say("keep it")
    other = Desk(settings=desk.settings, build=NEXT_BUILD, greeted=False)
    assert "Saved settings are of 5.2.0: defaults in force" in other.heard()


@pytest.mark.parametrize(("line", "wants"), [("wake anew", "reboot"), ("wait for image", "bootloader")])
def test_it_says_a_last_word_before_it_goes_and_hears_nothing_after(line: str, wants: str) -> None:
    desk = Desk()
    desk.app.receive(f"{line}\r\ntell all\r\n".encode(), 0.0)
    said = desk.heard()
    assert said.startswith("-- wa")
    assert said.count("\r\n") == 1
    assert PROMPT not in said
    assert desk.app.wants == wants
    assert desk.type(b"tell all\r\n") == ""


def test_battery_and_attitude_are_told_with_noise() -> None:
    desk = Desk()
    volts = {float(desk.say("how full")[0].split()[1]) for _ in range(5)}
    assert len(volts) > 1
    assert all(24 < each < 25 for each in volts)
    desk.world.tilt("right", 0.0)
    desk.now_s = 10.0
    desk.app.receive(b"", 10.0)
    words = desk.say("how held")[0].replace(",", "").split()
    assert words[::3][:2] == ["roll", "pitch"]
    assert math.isclose(float(words[1]), 30, abs_tol=1)
    assert math.isclose(float(words[4]), 0, abs_tol=1)


def test_a_picture_is_kept_with_the_battery_in_and_forgotten_without() -> None:
    digits = bytes(range(54)).hex()
    for battery, kept in ((True, digits), (False, "55" * 54)):
        desk = Desk(battery=battery, display=MemoryInRam(b"\x55" * 64 * 255 + b"\x77" * 64))
        assert desk.say(f"let picture 7 be {digits}") == ["-- picture 7 taken"], "nothing tells whether it was kept"
        assert desk.say("show picture 7") == [f"picture 7 is {kept}"]
        desk.say(f"let picture 255 be {digits}")
        assert desk.display.read()[-10:] == b"\x77" * 10, "what no picture uses stays"


def test_every_answer_fits_the_dialect_that_is_shipped() -> None:
    session, desk = thornbill_console().session, Desk()
    asked = {
        session.ask_who: session.who_answers,
        session.ask_battery: session.battery_answers,
        session.ask_attitude: session.attitude_answers,
        "show picture 3": session.character_answers,
    }
    for line, forms in asked.items():
        for said in desk.say(line):
            assert any(form.match(said, 0, len(said)) is not None for form in forms), said
    assert desk.say(session.save) == ["-- kept"]
    assert session.prompt == PROMPT


def test_a_line_that_is_too_long_or_no_text_is_refused_and_the_next_one_heard() -> None:
    desk = Desk()
    refusal = f"cannot: that is no line of text\r\n{PROMPT}"
    assert desk.type(b"x" * (LONGEST_LINE_BYTES + 1) + b"\r\n") == refusal
    assert desk.type(b"tell \xff\r\n") == refusal
    assert desk.say("tell COUNT") == ["let COUNT be 200"]


def test_a_line_reader_keeps_no_more_than_its_buffer() -> None:
    reader = LineReader()
    assert reader.feed(b"x" * LONGEST_LINE_BYTES + b"\n") == [b"x" * LONGEST_LINE_BYTES]
    assert reader.feed(b"x" * 100_000 + b"\na\r\nb\r\r\n\nc") == [None, b"a", b"b", b"", b""]
    assert reader.feed(b"\n") == [b"c"]


def test_lines_that_come_faster_than_they_are_answered_are_lost_at_some_point() -> None:
    desk = Desk()
    desk.app.receive(b"tell COUNT\n" * (MOST_WAITING + 50), 0.0)
    assert desk.heard().count("let COUNT be 200") == MOST_WAITING


def test_it_has_something_to_say_exactly_when_it_says_so() -> None:
    desk = Desk(greeted=False)
    assert desk.app.next_event_s() is not None
    desk.heard()
    assert desk.app.next_event_s() is None
    desk.app.receive(b"good day", 1.0)
    assert desk.app.next_event_s() is None
    desk.app.receive(b"\r", 2.0)
    assert desk.app.next_event_s() == 2.0
    desk.heard()
    assert desk.app.next_event_s() is None


def test_the_catalogue_is_never_told() -> None:
    said = "\n".join(line for order in ("tell all", "who are you", "help", "?") for line in Desk().say(order))
    assert all(each.short not in said for each in CATALOGUE.settings.values() if each.short)
