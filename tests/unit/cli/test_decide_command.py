"""`decide` on a sheet file: one by one, from a file, by hand, asked; all answers are taken, or none is."""

from __future__ import annotations

import io
import sys

import pytest
from tests.unit.cli.desk import Desk

from rotorwright.settings.sheet import CarryOverSheet, parse_sheet

WAYS = {
    "LIGHT_BRIGHT": "nearest-below",
    "LOSS_HOLD": "keep-mine",
    "SIEVE_DAMP_PITCH": "value-of-SIEVE_DAMP_ROLL",
    "SLOT3_TASK": "take-new-default",
}


@pytest.fixture
def sheet(desk: Desk) -> str:
    assert desk.run("plan", "found.json", "--book", "book", "--to", "6.0", "--as", "json", "-o", "sheet.json")[0] == 0
    return "sheet.json"


def read(desk: Desk, name: str = "new.json") -> CarryOverSheet:
    return parse_sheet((desk.folder / name).read_bytes(), source=name)


def chosen(desk: Desk, name: str = "new.json") -> dict[str, str | None]:
    return {each.found[0]: each.chosen for each in read(desk, name).held}


def keyboard(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    """Let a person sit at the keyboard who types these lines."""
    typed = io.StringIO("".join(f"{line}\n" for line in lines))
    monkeypatch.setattr(typed, "isatty", lambda: True)
    monkeypatch.setattr(sys, "stdin", typed)


def test_the_list_shows_what_is_held_with_every_way_to_decide_it(desk: Desk, sheet: str) -> None:
    code, out, _ = desk.run("decide", sheet, "--list")
    assert code == 0
    assert "SIEVE_DAMP_PITCH and SIEVE_DAMP_ROLL: not decided" in out
    assert "4 held, 4 of them not decided." in out
    facts = desk.json("decide", sheet, "--list")
    assert {each["names"][0] for each in facts} == set(WAYS)
    loss = next(each for each in facts if each["names"] == ["LOSS_HOLD"])
    assert loss["found"] == {"LOSS_HOLD": "600"}
    assert loss["new_default"] == {"LOSS_WAIT": "300"}
    assert {each["key"]: each["writes"] for each in loss["options"]}["keep-mine"] == {"LOSS_WAIT": "600"}
    assert loss["chosen"] is None


def test_answers_are_taken_into_a_new_sheet_and_the_old_one_stays(desk: Desk, sheet: str) -> None:
    before = (desk.folder / sheet).read_bytes()
    code, out, _ = desk.run("decide", sheet, "--set", "LOSS_HOLD=keep-mine", "--output", "new.json")
    assert code == 0
    assert "LOSS_HOLD: keep-mine: Keep yours: 600 ms" in out
    assert "not decided yet: LIGHT_BRIGHT, SIEVE_DAMP_PITCH and SIEVE_DAMP_ROLL, SLOT3_TASK" in out
    assert chosen(desk)["LOSS_HOLD"] == "keep-mine"
    assert (desk.folder / sheet).read_bytes() == before


def test_a_name_that_is_taken_is_refused_before_anybody_is_asked(
    desk: Desk, sheet: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    keyboard(monkeypatch)  # a question would find nobody
    assert "storage.output-name" in desk.refused(8, "decide", sheet, "-o", "found.json")


def test_what_was_decided_is_told_to_programs_too(desk: Desk, sheet: str) -> None:
    facts = desk.json("decide", sheet, "--set", "LOSS_HOLD=keep-mine", "-o", "new.json")
    assert facts["decided"] == {"LOSS_HOLD": "keep-mine"}
    assert ["SIEVE_DAMP_PITCH", "SIEVE_DAMP_ROLL"] in facts["undecided"]
    assert facts["sheet_sha256"] == read(desk).sha256


def test_a_value_of_the_persons_own_is_written_as_it_is_given(desk: Desk, sheet: str) -> None:
    code, _, err = desk.run(
        "decide", sheet, "--value", "SIEVE_DAMP_CUT=120", "--for", "SIEVE_DAMP_ROLL", "-o", "new.json"
    )
    assert code == 0, err
    held = next(each for each in read(desk).held if "SIEVE_DAMP_ROLL" in each.found)
    assert [(write.name, write.value.text) for write in held.writes_in_force] == [("SIEVE_DAMP_CUT", "120")]


def test_an_own_value_is_judged_by_a_catalogue_where_one_is_given(desk: Desk, sheet: str) -> None:
    catalogue = next((desk.folder / "book" / "catalogues" / "6.0").glob("*c405*"))
    own = ("--value", "LIGHT_BRIGHT=99", "--for", "LIGHT_BRIGHT", "-o", "new.json")
    said = desk.refused(7, "decide", sheet, *own, "--catalogue", str(catalogue))
    assert "LIGHT_BRIGHT cannot be 99" in said
    assert not (desk.folder / "new.json").exists()


@pytest.mark.parametrize("name", ["answers.toml", "answers.csv", "sheet.csv"])
def test_a_file_answers_all_lines_at_once(name: str, desk: Desk, sheet: str) -> None:
    if name == "answers.toml":
        text = "accept_plan = true\n[held]\n" + "".join(f'{key} = "{way}"\n' for key, way in WAYS.items())
    elif name == "answers.csv":
        text = "name,option\r\n" + "".join(f"{key},{way}\r\n" for key, way in WAYS.items())
    else:
        text = desk.run("plan", "found.json", "--book", "book", "--to", "6.0", "--as", "csv")[1]
        for key, way in WAYS.items():
            row = next(line for line in text.splitlines(keepends=True) if f",held,{key}," in line)
            text = text.replace(row, row.replace(",no,,", f",no,{way},", 1))
    desk.write(name, text)
    code, out, err = desk.run("decide", sheet, "--from", name, "-o", "new.json")
    assert code == 0, err
    assert "4 decided now; nothing is left to decide." in out
    assert chosen(desk) == WAYS


def test_a_file_that_answers_something_not_held_is_refused_and_nothing_is_taken(desk: Desk, sheet: str) -> None:
    desk.write("answers.toml", '[held]\nLOSS_HOLD = "keep-mine"\nLOSS_HOLT = "keep-mine"\nACC_GAIN_X = "keep-mine"\n')
    said = desk.refused(7, "decide", sheet, "--from", "answers.toml", "-o", "new.json")
    for words in ("2 answers do not fit", "LOSS_HOLT", "LOSS_HOLD is held", "ACC_GAIN_X", "none was taken"):
        assert words in said
    assert not (desk.folder / "new.json").exists()


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("LOSS_HOLD=kep-mine", "'keep-mine' is likely meant"),
        ("LOSS_HOLT=keep-mine", "LOSS_HOLD is held"),
        ("LOSS_WAIT=keep-mine", "No held decision is about LOSS_WAIT"),
    ],
)
def test_a_mistyped_answer_names_the_likely_one(answer: str, words: str, desk: Desk, sheet: str) -> None:
    assert words in desk.refused(7, "decide", sheet, "--set", answer, "-o", "new.json")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "--changeover"),
        (("sheet.json", "--changeover", "c0001"), "either"),
        (("sheet.json", "--set", "A=b"), "--output"),
        (("sheet.json", "-o", "new.json"), "no keyboard"),
        (("sheet.json", "-o", "new.json", "--set", "LOSS_HOLD"), "NAME=option-key"),
        (("sheet.json", "-o", "new.json", "--value", "A=1"), "--for"),
        (("sheet.json", "-o", "new.json", "--for", "A"), "--value"),
        (("sheet.json", "-o", "new.json", "--value", "A", "--for", "B"), "NEWNAME=VALUE"),
        (("sheet.json", "-o", "new.json", "--value", "A=1", "--value", "A=2", "--for", "B"), "two values"),
        (("sheet.json", "-o", "new.json", "--set", "A=x", "--set", "A=y"), "answered twice"),
        (("sheet.json", "-o", "new.json", "--set", "A=x", "--value", "B=1", "--for", "A"), "answered twice"),
        (("sheet.json", "--list", "--set", "A=x"), "--list"),
        (("--changeover", "c0001", "-o", "new.json", "--set", "A=x"), "--output"),
    ],
)
def test_options_that_do_not_go_together_are_a_mistake_of_usage(
    options: tuple[str, ...], words: str, desk: Desk, sheet: str
) -> None:
    assert words in desk.refused(2, "decide", *options)


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("a.toml", "[held", "not TOML"),
        ("a.toml", 'heldd = "x"\n', "'held' was meant"),
        ("a.toml", "held = 3\n", "no table"),
        ("a.toml", "[held]\nLOSS_HOLD = 3\n", "in quotes"),
        ("a.toml", "[held]\nLOSS_HOLD = {LOSS_WAIT = 0.3}\n", "in quotes"),
        ("a.toml", "[held]\nLOSS_HOLD = {}\n", "LOSS_HOLD"),
        ("a.csv", "setting;way\r\nLOSS_HOLD;keep-mine\r\n", "name and option"),
        ("a.csv", "name,option\r\nLOSS_HOLD\r\n", "row 2"),
        ("a.csv", "name,option\r\nLOSS_HOLD,keep-mine\r\nLOSS_HOLD,take-new-default\r\n", "row 3"),
        ("a.csv", 'name,option\r\n"LOSS_HOLD,keep-mine\r\n', "not CSV"),
        ("a.csv", "", "name and option"),
        ("a.csv", "name,option,new_name,value\r\nA,x,B,1\r\n", "row 2"),
        ("a.csv", "line,setting,chosen\r\n1,A,x\r\n1,B,y\r\n", "row 3"),
    ],
)
def test_a_file_of_answers_that_cannot_be_used_is_refused_with_its_place(
    name: str, text: str, words: str, desk: Desk, sheet: str
) -> None:
    desk.write(name, text)
    assert words in desk.refused(6, "decide", sheet, "--from", name, "-o", "new.json")


def test_own_values_stand_in_a_file_too(desk: Desk, sheet: str) -> None:
    desk.write("a.toml", '[held]\nSIEVE_DAMP_ROLL = {SIEVE_DAMP_CUT = "120"}\n')
    desk.write("b.csv", "\ufeffname;option;new_name;value\r\nSIEVE_DAMP_PITCH;;SIEVE_DAMP_CUT;120\r\n;;;\r\n")
    assert desk.run("decide", sheet, "--from", "a.toml", "-o", "one.json")[0] == 0
    assert desk.run("decide", sheet, "--from", "b.csv", "-o", "two.json")[0] == 0
    assert (desk.folder / "one.json").read_bytes() == (desk.folder / "two.json").read_bytes()


def test_a_person_at_the_keyboard_is_asked_about_each_line(
    desk: Desk, sheet: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # LIGHT_BRIGHT by number, LOSS_HOLD left open, the joined pair by an own value mistyped and then right, SLOT3_TASK.
    keyboard(monkeypatch, "1", "0", "v", "SIEVE_DAMP_CUTT", "120", "v", "SIEVE_DAMP_CUT", "120", "2")
    code, out, err = desk.run("decide", sheet, "-o", "new.json")
    assert code == 0, err
    assert "is no setting of the new release" in out
    found = chosen(desk)
    assert found["LIGHT_BRIGHT"] == "nearest-below"
    assert found["LOSS_HOLD"] is None
    assert found["SIEVE_DAMP_PITCH"] == "by-hand"
    assert found["SLOT3_TASK"] is not None


def test_a_file_that_is_no_sheet_or_is_damaged_is_refused(desk: Desk, sheet: str) -> None:
    assert "no carry-over sheet" in desk.refused(6, "decide", "found.json", "--list")
    data = (desk.folder / sheet).read_text(encoding="utf-8")
    desk.write("cut.json", data[: len(data) // 2])
    assert "cut.json" in desk.refused(6, "decide", "cut.json", "--list")


def test_a_job_card_that_is_not_there_is_named(desk: Desk) -> None:
    assert "c0009" in desk.refused(7, "decide", "--changeover", "c0009", "--set", "A=b")
