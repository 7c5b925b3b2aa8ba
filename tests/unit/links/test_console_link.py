"""The link to a text console against a console that is not the twin's, over good and bad lines."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from tests.unit.links.scripted_console import UNIQUE_ID, Rig

from rotorwright.errors import RotorwrightError
from rotorwright.links.console.errors import (
    AnswerCutError,
    AnswerEndlessError,
    AnswerNotUnderstoodError,
    ConsoleFileMissingError,
    ConsoleIdentityError,
    ConsoleRefusedError,
    ConsoleSettingMissingError,
    ConsoleSettingRefusedError,
    ConsoleSilentError,
    ListingNotUnderstoodError,
    ListingUnsureError,
    NoCatalogueError,
    NotInDialectError,
)
from rotorwright.links.console.link import ConsoleLink
from rotorwright.links.console.spec import LONGEST_ANSWER, READINGS, TRIES
from rotorwright.links.errors import NoAnswerError, PortVanishedError
from rotorwright.settings.dialects.changing import ValueNotPrintableError
from rotorwright.settings.dialects.typed import ListedTwiceError, ListedValueError
from rotorwright.settings.values import SettingType, Value

ALL = {"Rate": "7", "left / size": "1", "gain": "0.15", "rate": "100"}


def words(number: int, *, type_: SettingType = SettingType.UINT16) -> Value:
    return Value.of(type_, number)


def only(asked: str, change: Callable[[bytes], bytes], *, times: int = 1 << 30) -> Callable[[str, bytes], bytes]:
    """Return a spoiler that changes the first `times` answers to lines that begin with `asked`."""
    left = times

    def spoil(line: str, answer: bytes) -> bytes:
        nonlocal left
        if left and line.partition(" ")[0] == asked:
            left -= 1
            return change(answer)
        return answer

    return spoil


def has_four_answers(error: RotorwrightError) -> bool:
    return all((error.what, error.why, error.state, error.todo))


# Greeting


def test_the_console_is_greeted_until_it_shows_its_prompt() -> None:
    rig = Rig()
    rig.console.spoil = only("knock", lambda _: b"", times=2)
    rig.link.wait_heartbeat()
    assert rig.console.lines == ["knock"] * 3


def test_noise_before_the_prompt_does_no_harm() -> None:
    rig = Rig()
    rig.console.spoil = only("knock", lambda answer: b"\xff\x00 waking up\r\x80\n\xfe" + answer)
    rig.link.wait_heartbeat()
    assert rig.texts() == ALL


def test_a_silent_console_is_an_error_in_time() -> None:
    rig = Rig()
    rig.console.spoil = lambda _line, _answer: b""
    with pytest.raises(ConsoleSilentError) as caught:
        rig.link.wait_heartbeat(4.0)
    assert rig.clock.now_s() == pytest.approx(4.0)
    assert "nothing" in caught.value.why
    assert has_four_answers(caught.value)


def test_something_else_that_never_stops_talking_is_an_error_in_time() -> None:
    rig = Rig()
    for number in range(1000):
        rig.wire.reply(number * 0.02, b"\xfd\x09chatter")
    rig.console.spoil = lambda _line, _answer: b""
    with pytest.raises(ConsoleSilentError) as caught:
        rig.link.read_settings()
    assert "chatter" in caught.value.why


def test_a_port_that_vanishes_is_the_error_of_the_wire() -> None:
    for sends in range(8):
        rig = Rig()
        rig.wire.vanishes_after_sends = sends
        with pytest.raises(PortVanishedError):
            rig.link.read_settings() and rig.link.write_setting("rate", words(5))


# Reading


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
@pytest.mark.parametrize("echo", [False, True])
def test_every_setting_is_read_whatever_ends_the_lines_and_whether_the_console_echoes(end: str, *, echo: bool) -> None:
    rig = Rig()
    rig.console.end, rig.console.echo = end, echo
    assert rig.texts() == ALL


def test_names_that_differ_in_case_are_two_settings_with_their_types() -> None:
    found = Rig().link.read_settings()
    assert (found["rate"], found["Rate"]) == (words(100), words(7))
    assert found["left / size"] == Value.of_text("1")


def test_without_a_catalogue_all_values_are_texts() -> None:
    rig = Rig()
    link = ConsoleLink(rig.wire, rig.clock, rig.dialect)
    assert set(link.read_settings().values()) == {Value.of_text(each) for each in ("100", "7", "0.15", "1")}


def test_a_prompt_inside_a_comment_or_at_the_begin_of_a_line_does_not_end_a_listing() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: b"# the prompt is $ \r\n# $ \r\n$ \r\n" + answer)
    assert rig.texts() == ALL


def test_a_line_that_begins_like_the_prompt_and_comes_in_pieces_does_not_end_a_listing() -> None:
    rig = Rig()

    def in_pieces(line: str, answer: bytes) -> bytes:
        if line != "list":
            return answer
        rig.wire.reply(0.01, b"# all\r\n$ ")
        rig.wire.reply(0.02, b"is our money\r\n" + answer)
        return b""

    rig.console.spoil = in_pieces
    assert rig.texts() == ALL


def test_a_listing_that_was_cut_off_is_never_believed() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: answer[: answer.index(b"gain")])
    with pytest.raises(AnswerCutError) as caught:
        rig.link.read_settings()
    assert rig.console.count("list") == READINGS.count
    assert has_four_answers(caught.value)


@pytest.mark.parametrize("place", [1, 8, 20, 30, 40])
def test_a_listing_that_was_cut_off_or_damaged_once_is_read_again(place: int) -> None:
    for change in (lambda answer: answer[:place], lambda answer: answer[:place] + b"\xff" + answer[place + 1 :]):
        rig = Rig()
        rig.console.spoil = only("list", change, times=1)
        assert rig.texts() == ALL


@pytest.mark.parametrize("reading", [1, 2])
def test_a_line_lost_from_a_listing_is_noticed_by_another_reading(reading: int) -> None:
    rig = Rig()

    def lose(answer: bytes) -> bytes:
        return answer.replace(b"gain = 0.15\r\n", b"") if rig.console.count("list") == reading else answer

    rig.console.spoil = only("list", lose)
    assert rig.texts() == ALL
    assert rig.console.count("list") == 3


def test_a_line_that_stops_for_a_while_after_the_sign_of_the_prompt_does_not_end_a_listing() -> None:
    rig = Rig()

    def in_pieces(line: str, answer: bytes) -> bytes:
        if line != "list":
            return answer
        rig.wire.reply(0.01, b"# the prompt is $ ")
        rig.wire.reply(1.0, b"and nothing else\r\n" + answer)
        return b""

    rig.console.spoil = in_pieces
    assert rig.texts() == ALL


def test_a_late_answer_to_an_earlier_greeting_is_no_answer_to_the_next_question() -> None:
    rig = Rig()

    def slowly(line: str, answer: bytes) -> bytes:
        if line != "knock":
            return answer
        rig.wire.reply(1.05 if rig.console.count("knock") == 1 else 0.055, answer)  # when it was greeted again
        return b""

    rig.console.spoil = slowly
    rig.link.wait_heartbeat()
    assert rig.link.read_battery().volts == 11.5
    assert rig.console.count("volts") == 1


def test_what_came_unasked_is_no_answer() -> None:
    rig = Rig()
    rig.link.wait_heartbeat()
    rig.wire.reply(0.5, b"99.9 V\r\n$ ")
    rig.clock.sleep_s(1.0)
    assert rig.link.read_battery().volts == 11.5


def test_a_console_that_never_stops_is_given_up_once() -> None:
    rig = Rig()
    rig.link.wait_heartbeat()
    for number in range(7000):
        rig.wire.reply(number * 0.02, b"chatter\r\n")
    with pytest.raises(AnswerEndlessError) as caught:
        rig.link.read_settings()
    assert rig.clock.now_s() < LONGEST_ANSWER.value + 10
    assert has_four_answers(caught.value)


def test_readings_whose_names_never_agree_are_an_error() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: answer.replace(b"gain", b"gain%d" % rig.console.count("list")))
    with pytest.raises(ListingUnsureError) as caught:
        rig.link.read_settings()
    assert caught.value.facts["names"] == "gain5, gain6"


def test_values_that_the_catalogue_calls_volatile_need_not_agree() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: b"hours = %d\r\n" % rig.console.count("list") + answer)
    assert rig.texts() == ALL | {"hours": "2"}


def test_values_that_move_by_themselves_are_given_as_last_read() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: b"clock = %d\r\n" % rig.console.count("list") + answer)
    assert rig.texts() == ALL | {"clock": str(READINGS.count)}


def test_a_line_that_has_no_place_in_the_dialect_is_shown_and_nothing_is_believed() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: b"surprise!\r\n" + answer)
    with pytest.raises(ListingNotUnderstoodError) as caught:
        rig.link.read_settings()
    assert "surprise!" in caught.value.what
    assert rig.console.count("list") == 2


def test_a_listing_without_any_setting_is_not_believed() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda _: b"# all\r\n$ ")
    with pytest.raises(ListingNotUnderstoodError):
        rig.link.read_settings()


def test_a_name_listed_twice_and_a_text_of_another_type_are_errors() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda answer: b"rate = 1\r\n" + answer)
    with pytest.raises(ListedTwiceError):
        rig.link.read_settings()
    rig = Rig()
    rig.console.settings["rate"] = "65536"
    with pytest.raises(ListedValueError):
        rig.link.read_settings()


def test_a_console_that_refuses_to_list_says_why() -> None:
    rig = Rig()
    rig.console.spoil = only("list", lambda _: b"no: not while flying\r\n$ ")
    with pytest.raises(ConsoleRefusedError) as caught:
        rig.link.read_settings()
    assert "not while flying" in caught.value.why


def test_where_no_prompt_is_known_silence_at_the_end_of_a_line_ends_an_answer() -> None:
    rig = Rig(prompt="")
    rig.console.prompt = ""
    rig.console.spoil = only("knock", lambda _: b"hello\r\n")
    assert rig.texts() == ALL
    rig.console.spoil = only("list", lambda answer: answer[:-3])
    with pytest.raises(AnswerCutError):
        rig.link.read_settings()


def test_a_console_without_a_prompt_that_pauses_longer_than_its_dialect_says_is_never_half_believed() -> None:
    rig = Rig(prompt="")
    rig.console.prompt = ""
    free_s = 0.0

    def in_pieces(line: str, answer: bytes) -> bytes:
        """Print line after line, one answer after the other, with a pause in the middle of each listing."""
        nonlocal free_s
        free_s = max(free_s, rig.clock.now_s())
        if line != "list":
            return answer or b"hello\r\n"
        half = answer.index(b"gain")
        rig.wire.reply(free_s - rig.clock.now_s(), answer[:half])
        free_s += 0.5
        rig.wire.reply(free_s - rig.clock.now_s(), answer[half:])
        return b""

    rig.console.spoil = in_pieces
    assert rig.texts() == ALL


def test_progress_never_goes_back_and_ends_with_all() -> None:
    rig, seen = Rig(), list[tuple[int, int]]()
    rig.link.read_settings(lambda done, total: seen.append((done, total)))
    assert seen[-1] == (4, 4)
    assert all(done <= total for done, total in seen)


# Who it is, what it measures


def test_the_console_says_who_it_is() -> None:
    identity = Rig().link.read_identity()
    assert (identity.unique_id, identity.family, identity.release) == (UNIQUE_ID, "Invented", "1.0.0")
    assert (identity.board, identity.build) == ("Plank", "")


def test_a_damaged_digit_in_the_unique_id_never_makes_another_aircraft() -> None:
    rig = Rig()
    rig.console.spoil = only("name", lambda answer: answer.replace(b"0011", b"0010"), times=1)
    assert rig.link.read_identity().unique_id == UNIQUE_ID


def test_answers_that_never_agree_who_it_is_are_an_error() -> None:
    rig = Rig()
    rig.console.spoil = only("name", lambda answer: answer.replace(b"0011", b"%04d" % rig.console.count("name")))
    with pytest.raises(ConsoleIdentityError):
        rig.link.read_identity()


@pytest.mark.parametrize("unique_id", ["0" * 24, "f" * 24])
def test_an_aircraft_without_a_unique_id_is_refused(unique_id: str) -> None:
    rig = Rig()
    rig.console.spoil = only("name", lambda answer: answer.replace(UNIQUE_ID.encode(), unique_id.encode()))
    with pytest.raises(ConsoleIdentityError):
        rig.link.read_identity()


@pytest.mark.parametrize("said", [b"Invented 1.0.0 / Plank / 0011\r\n$ ", b"Invented\r\n$ ", b"$ "])
def test_an_answer_of_another_form_is_an_error_after_some_tries(said: bytes) -> None:
    rig = Rig()
    rig.console.spoil = only("name", lambda _: said)
    with pytest.raises(AnswerNotUnderstoodError) as caught:
        rig.link.read_identity()
    assert rig.console.count("name") == TRIES.count
    assert "who_answers" in caught.value.todo


def test_two_lines_that_contradict_each_other_tell_nothing() -> None:
    rig = Rig()
    rig.console.spoil = only("volts", lambda _: b"11.5 V\r\n12.5 V\r\n$ ")
    with pytest.raises(AnswerNotUnderstoodError):
        rig.link.read_battery()


def test_battery_and_attitude_are_read() -> None:
    link = Rig().link
    assert link.read_battery().volts == 11.5
    attitude = link.read_attitude()
    assert (attitude.roll_rad, attitude.pitch_rad) == (-math.pi / 2, math.pi / 4)


def test_attitudes_come_at_the_rate_asked_for() -> None:
    rig = Rig()
    rig.link.wait_heartbeat()
    stream, start = rig.link.watch_attitude(rate_hz=10.0), rig.clock.now_s()
    for _ in range(11):
        next(stream)
    assert rig.clock.now_s() - start == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("said", [b"nan V\r\n$ ", b"1e999 V\r\n$ ", b"twelve V\r\n$ ", b"\xd9\xa1 V\r\n$ "])
def test_a_voltage_that_is_no_plain_decimal_is_not_understood(said: bytes) -> None:
    rig = Rig()
    rig.console.spoil = only("volts", lambda _: said)
    with pytest.raises(AnswerNotUnderstoodError):
        rig.link.read_battery()


def test_a_console_that_falls_silent_is_an_error_that_says_so() -> None:
    rig = Rig()
    rig.console.spoil = only("volts", lambda _: b"")
    with pytest.raises(NoAnswerError) as caught:
        rig.link.read_battery()
    assert has_four_answers(caught.value)


# Writing


def test_a_setting_is_written_and_what_the_console_says_back_is_returned() -> None:
    rig = Rig()
    assert rig.link.write_setting("rate", words(250)) == words(250)
    assert rig.console.settings["rate"] == "250"
    assert rig.console.settings["Rate"] == "7"


@pytest.mark.parametrize(("wanted", "kept"), [(300, 255), (101, 100)])
def test_a_value_that_the_console_limits_or_rounds_is_seen(wanted: int, kept: int) -> None:
    rig = Rig()
    rig.console.on_put = lambda _name, _text: str(kept)
    assert rig.link.write_setting("rate", words(wanted)) == words(kept)


def test_a_refusal_in_words_is_an_error_with_both_values() -> None:
    rig = Rig()
    rig.console.on_put = lambda _name, _text: "no: too high"
    with pytest.raises(ConsoleSettingRefusedError) as caught:
        rig.link.write_setting("rate", words(300))
    assert (caught.value.facts["sent"], caught.value.facts["kept"]) == ("300", "100")
    assert "too high" in caught.value.why
    assert rig.console.count("put") == 2


def test_one_refusal_may_be_the_answer_to_a_damaged_line() -> None:
    rig = Rig()
    answers = iter(["no: such word"])
    rig.console.on_put = lambda _name, text: next(answers, text)
    assert rig.link.write_setting("rate", words(300)) == words(300)


def test_a_written_line_that_was_lost_is_sent_again() -> None:
    rig = Rig()
    kept = iter(["100"])
    rig.console.on_put = lambda _name, text: next(kept, text)
    assert rig.link.write_setting("rate", words(300)) == words(300)


def test_without_a_line_that_asks_for_one_the_whole_listing_is_read_back() -> None:
    rig = Rig(ask_one="")
    assert rig.link.write_setting("gain", Value.of(SettingType.FLOAT, 0.5)) == Value.of(SettingType.FLOAT, 0.5)
    assert rig.console.count("look") == 0


def test_the_section_of_a_setting_is_opened_before_it_is_set_and_closed_after() -> None:
    rig = Rig()
    assert rig.link.write_setting("left / size", Value.of_text("2")) == Value.of_text("2")
    at = rig.console.lines.index("put size 2")
    assert rig.console.lines[at - 1 : at + 2] == ["[left]", "put size 2", "[]"]
    assert rig.console.bays["left"]["size"] == "2"


@pytest.mark.parametrize("text", ["a\nb", "a\rb", " a", "a\t"])
def test_a_text_that_would_not_come_back_as_it_is_is_refused_with_nothing_sent(text: str) -> None:
    rig = Rig()
    rig.console.settings["note"] = "x"
    rig.link.read_settings()
    before = list(rig.console.lines)
    with pytest.raises(ValueNotPrintableError):
        rig.link.write_setting("note", Value.of_text(text))
    assert rig.console.lines == before


@pytest.mark.parametrize("text", ["", "a  b", "ä€\U0001f681", "= = =", "$ ", "\x85\u2028\x0b"])
def test_any_other_text_survives(text: str) -> None:
    rig = Rig()
    rig.console.settings["note"] = "x"
    if text != text.strip(" \t"):
        with pytest.raises(ValueNotPrintableError):
            rig.link.write_setting("note", Value.of_text(text))
    else:
        assert rig.link.write_setting("note", Value.of_text(text)) == Value.of_text(text)


def test_a_name_that_is_not_listed_is_missing() -> None:
    with pytest.raises(ConsoleSettingMissingError):
        Rig().link.write_setting("RATE", words(1))


# Orders


def test_orders_are_sent_in_the_words_of_the_dialect() -> None:
    rig = Rig()
    rig.link.save_settings()
    rig.link.reset_settings()
    assert rig.console.lines == ["knock", "store", "blank"]


def test_an_order_that_is_refused_twice_is_an_error() -> None:
    rig = Rig()
    rig.console.spoil = only("store", lambda _: b"no: armed\r\n$ ")
    with pytest.raises(ConsoleRefusedError) as caught:
        rig.link.save_settings()
    assert "armed" in caught.value.why
    assert rig.console.count("store") == 2


def test_a_console_that_restarts_over_a_save_is_waited_for() -> None:
    rig = Rig()
    rig.console.spoil = only("store", lambda _: b"restarting\r\n")
    rig.link.save_settings()
    assert rig.console.lines == ["knock", "store", "knock", "store", "knock"]


@pytest.mark.parametrize("order", ["again", "loader"])
def test_after_the_order_to_restart_nothing_more_is_sent(order: str) -> None:
    rig = Rig()
    rig.console.spoil = only(order, lambda _: b"bye\r\n")
    rig.link.reboot() if order == "again" else rig.link.reboot_to_bootloader()
    assert rig.console.lines == ["knock", order]
    rig.link.save_settings()
    assert rig.console.lines == ["knock", order, "knock", "store"]


def test_a_port_that_goes_with_the_restart_is_no_error_but_a_refusal_is() -> None:
    rig = Rig()
    rig.link.wait_heartbeat()
    rig.wire.vanishes_after_sends = len(rig.wire.sent) + 1
    rig.link.reboot()
    rig = Rig()
    rig.console.spoil = only("again", lambda _: b"no: armed\r\n$ ")
    with pytest.raises(ConsoleRefusedError):
        rig.link.reboot()


# What is not there


def test_what_the_dialect_does_not_say_is_an_error_that_names_the_key() -> None:
    rig = Rig(
        save="", reset="", restart="", bootloader="", ask_all="", set_one="", ask_who="", who_answers="",
        ask_battery="", battery_answers="", ask_attitude="", attitude_answers="",
        ask_character="", character_answers="", set_character="",
    )  # fmt: skip
    link = rig.link
    asked: dict[str, Callable[[], object]] = {
        "save": link.save_settings,
        "reset": link.reset_settings,
        "restart": link.reboot,
        "bootloader": link.reboot_to_bootloader,
        "ask_all": link.read_settings,
        "ask_who": link.read_identity,
        "ask_battery": link.read_battery,
        "ask_attitude": lambda: next(link.watch_attitude(rate_hz=5.0)),
        "ask_character": lambda: link.read_file("/display/characters.bin"),
        "set_character": lambda: link.write_file("/display/characters.bin", bytes(16384)),
    }
    for key, ask in asked.items():
        with pytest.raises(NotInDialectError) as caught:
            ask()
        assert key in caught.value.why
        assert has_four_answers(caught.value)
    assert set(rig.console.lines) <= {"knock"}


def test_a_setting_that_no_line_can_set_is_an_error() -> None:
    with pytest.raises(NotInDialectError):
        Rig(set_one="").link.write_setting("rate", words(1))


def test_there_is_no_catalogue_and_no_other_file() -> None:
    link = Rig().link
    with pytest.raises(NoCatalogueError):
        link.read_catalogue()
    with pytest.raises(ConsoleFileMissingError):
        link.read_file("/etc/motd")
