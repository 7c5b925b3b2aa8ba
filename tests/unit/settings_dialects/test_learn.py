from __future__ import annotations

import random
import time
from collections.abc import Callable

import pytest
from tests.unit.settings_dialects.console_texts import TEXTS, values

from rotorwright.settings.dialects.dialect_file import parse_dialect, print_dialect
from rotorwright.settings.dialects.learn import Learnt, learn
from rotorwright.settings.dialects.learnt_text import print_learnt, shown
from rotorwright.settings.dialects.listing import LineKind, print_listing
from rotorwright.settings.dialects.round_trip import check_round_trip
from rotorwright.settings.dialects.shipped import thornbill_sample

ALL_TEXTS = sorted(path.name for path in TEXTS.glob("*.txt"))

# Chosen settings of each text, with the names and values that a person reads in it.
EXPECTED: dict[str, dict[str, tuple[str, ...]]] = {
    "01-equal-signs.txt": {"spin_floor": ("55",), "bench_name": ("north bench",), "lamp_on": ("yes",)},
    "02-leading-word.txt": {"yaw_damp": ("35",), "bench_name": ('"north bench"',)},
    "03-numbered-rows.txt": {"outlet 2": ("1100", "1900", "1500", "left"), "inlet 0": ("3", "900", "2100")},
    "04-flags-by-sign.txt": {"can lamps": ("on",), "can buzzer": ("off",), "wait_ms": ("20",)},
    "05-flags-by-word.txt": {"lamps": ("on",), "thermometer": ("off",), "lean_max": ("55",)},
    "06-bracket-sections.txt": {
        "left side / reach": ("12.5",),
        "right side / reach": ("12.0",),
        "common / unit": ("mm",),
    },
    "07-repeated-keys.txt": {"table 1 / push": ("45",), "table 3 / damp": ("0",)},
    "08-braces.txt": {"frame / mass": ("612",), "frame / arm back / length": ("108",)},
    "09-pairs.txt": {"uart 1 speed": ("115200",), "lamp 2 bright": ("60",)},
    "10-prompt-and-headings.txt": {"turn.roll.top": ("600 deg/s",), "supply.low": ("3.4 V",)},
    "11-comma-table.txt": {"third": ("1000", "1480", "2000")},
    "12-long-keys.txt": {"motor 2 place": ("2",), "servo 1 limit": ("80",)},
    "13-indented.txt": {"left / speed": ("400",), "right / speed": ("380",)},
    "14-bar-and-quotes.txt": {"title": ('"a # b"',), "places": ("3",), "remark": ('""',)},
    "15-mere-words.txt": {"lamps": ("on",), "buzzer": ("off",), "pace": ("20",)},
    "16-dollar-numbers.txt": {"$100": ("250.000",), "$1": ("25",)},
    "command-words.txt": {"M92 X": ("80.00",), "M301 D": ("114.00",)},
    "database.txt": {"max_connections": ("100",)},
    "kernel-settings.txt": {"kernel.printk": ("4\t4\t1\t7",)},
    "network-service.txt": {
        "Port": ("22",),
        "AcceptEnv": ("LANG", "LC_*"),
        "HostKey /etc/service/host_key_two": (),
        "Match User visitor / PermitTTY": ("no",),
        "Match Address 192.0.2.0/24 / PermitRootLogin": ("no",),
    },
}


def learnt_from(name: str) -> tuple[Learnt, bytes]:
    data = (TEXTS / name).read_bytes()
    return learn([data], name=name), data


def test_there_are_more_than_twelve_texts_of_different_shape() -> None:
    assert len(ALL_TEXTS) == 20
    assert set(ALL_TEXTS) == set(EXPECTED)


@pytest.mark.parametrize("name", ALL_TEXTS)
def test_every_line_of_each_text_finds_its_place(name: str) -> None:
    learnt, data = learnt_from(name)
    assert learnt.unplaced_count == 0
    trip = check_round_trip(learnt.dialect, data)
    assert trip.holds
    assert trip.all_placed


@pytest.mark.parametrize("name", ALL_TEXTS)
def test_the_settings_are_those_that_a_person_reads(name: str) -> None:
    found = values(learnt_from(name)[0].listings[0])
    assert {key: found.get(key) for key in EXPECTED[name]} == EXPECTED[name]


@pytest.mark.parametrize("name", ALL_TEXTS)
def test_a_learnt_dialect_can_be_printed_confirmed_and_read_again(name: str) -> None:
    learnt, _ = learnt_from(name)
    assert parse_dialect(print_dialect(learnt.dialect), source=name) == learnt.dialect
    assert parse_dialect(print_learnt(learnt, [name]), source=name) == learnt.dialect


@pytest.mark.parametrize("name", ALL_TEXTS)
def test_comments_are_told_from_settings(name: str) -> None:
    learnt, data = learnt_from(name)
    starts = ("#", ";", "//", "-- ", "! ", "% ")
    expected = sum(line.strip().startswith(starts) for line in data.decode().splitlines())
    assert learnt.listings[0].counts.get(LineKind.COMMENT, 0) == expected


def test_the_shortest_run_of_words_that_tells_lines_apart_is_the_key() -> None:
    forms = [family.form for family in learnt_from("12-long-keys.txt")[0].families]
    assert forms == ["put {key} {key} {key} {value}"]


def test_a_word_that_stands_in_every_line_after_the_key_is_no_value() -> None:
    learnt = learn([thornbill_sample()], name="sample")
    assert {"let {key} be {value}", "{state} {key}"} == {family.form for family in learnt.families}
    assert learnt.unplaced_count == 0
    assert len(learnt.listings[0].settings) == 534


def test_keys_may_come_again_in_another_text() -> None:
    data = b"put a 1\nput b 2\nput c 3\n"
    learnt = learn([data, data.replace(b"1", b"9")], name="two")
    assert [family.form for family in learnt.families] == ["put {key} {value}"]
    assert [values(each)["a"] for each in learnt.listings] == [("1",), ("9",)]


def test_examples_show_lines_with_what_they_mean() -> None:
    family = learnt_from("04-flags-by-sign.txt")[0].families[0]
    assert family.count == 4
    assert ("can -buzzer", "can buzzer = off") in family.examples
    assert len(family.examples) == 3


def test_lines_without_a_place_are_counted_and_shown() -> None:
    data = b"a = 1\nb = 2\n\x00\x07 damage \xff\nc = 3\n"
    learnt = learn([data], name="damaged")
    assert learnt.unplaced_count == 1
    text = print_learnt(learnt, ["damaged.txt"])
    assert "line 3 found no place: \\x00\\x07 damage \\xff" in text
    assert "1 lines found no place." in text
    assert print_listing(learnt.listings[0]) == data


def test_a_greeting_is_not_taken_for_a_setting() -> None:
    learnt = learn([b"Welcome to this small machine.\nspeed 5\npace 6\n"], name="x")
    assert learnt.listings[0].lines[0].kind is LineKind.HEADING


@pytest.mark.parametrize(
    "data", [b"", b"\n\n", b"\r", b"x", b"\xff\xfe\x00", b"\xc2\x85", b"{", b"}{", b"[", b"=", b":"]
)
def test_next_to_nothing_can_be_learnt_from(data: bytes) -> None:
    learnt = learn([data], name="x")
    assert print_listing(learnt.listings[0]) == data
    assert parse_dialect(print_learnt(learnt, ["x"]), source="x") == learnt.dialect


def test_a_line_whose_name_is_odd_is_not_hidden_among_the_headings() -> None:
    learnt = learn([b'speed 5\npace 6\n"[1~": home\n'], name="x")
    assert learnt.dialect.headings == ()
    assert values(learnt.listings[0])['"[1~":'] == ("home",)


def test_no_text_at_all_gives_an_empty_dialect() -> None:
    assert learn([], name="x").families == ()


@pytest.mark.parametrize("name", ALL_TEXTS)
def test_mixed_line_ends_change_nothing_about_the_settings(name: str) -> None:
    learnt, data = learnt_from(name)
    mixed = data.replace(b"\n", b"\r\n", data.count(b"\n") // 2).rstrip()
    again = learn([mixed], name=name)
    assert values(again.listings[0]) == values(learnt.listings[0])
    assert check_round_trip(again.dialect, mixed).holds


@pytest.mark.parametrize("name", ALL_TEXTS)
def test_cut_off_and_damaged_texts_lose_no_line(name: str) -> None:
    data = (TEXTS / name).read_bytes()
    dice = random.Random(5)
    for _ in range(4):
        damaged = bytearray(data[: dice.randrange(len(data))])
        for _ in range(len(damaged) // 20):
            damaged[dice.randrange(len(damaged))] = dice.randrange(256)
        learnt = learn([bytes(damaged)], name=name)
        assert print_listing(learnt.listings[0]) == bytes(damaged)
        assert check_round_trip(learnt.dialect, bytes(damaged)).same_settings


LONG: dict[str, Callable[[int], list[str]]] = {
    "equal signs": lambda count: [f"name_{i} = {i}" for i in range(count)],
    "every word twice": lambda count: [f"w{i % (count // 2)} k{i} {i}" for i in range(count)],
    "profiles": lambda count: [f"{word} {i}" for i in range(count // 4) for word in ("part", "a", "b", "c")],
    "open braces": lambda count: ["a {"] * count,
    "indented": lambda count: [f"{'  ' * (i % 2)}h{i} x" for i in range(count)],
}


@pytest.mark.parametrize("shape", LONG)
def test_fifty_thousand_lines_take_seconds(shape: str) -> None:
    took = {count: seconds_for("\n".join(LONG[shape](count)).encode()) for count in (6_250, 50_000)}
    assert took[50_000] < 30  # far less on a quiet machine
    assert took[50_000] < 30 * max(took[6_250], 0.05)  # eight times the lines; quadratic time would be 64 times


def seconds_for(data: bytes) -> float:
    start = time.process_time()
    learnt = learn([data], name="long")
    assert len(learnt.listings[0].lines) == data.count(b"\n") + 1
    return time.process_time() - start


def test_one_endless_line_does_not_hold_anything_up() -> None:
    for data in (b"k " + b"x=1 " * 200_000, b'k = "' + b'x # y" ' * 100_000, b"a {" * 200_000):
        assert seconds_for(data) < 10


def test_what_is_shown_holds_no_control_signs() -> None:
    assert shown("a\x1b[31m\udcff") == "a\\x1b[31m\\xff"
    assert len(shown("x" * 500)) == 103
