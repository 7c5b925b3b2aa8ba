from __future__ import annotations

import json
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from tests.unit.settings_dialects.console_texts import EVERY_KIND, every_kind

from rotorwright.settings.dialects import dialect_file
from rotorwright.settings.dialects.dialect_file import (
    DialectError,
    DialectFormatError,
    DialectVersionError,
    parse_dialect,
    print_dialect,
)

HEAD = 'format = "rotorwright-console-dialect"\nversion = 1\nname = "x"\n'


def refusal(text: str) -> DialectError:
    with pytest.raises(DialectError) as caught:
        parse_dialect(HEAD + text, source="d.toml")
    return caught.value


def test_a_printed_dialect_reads_back_as_the_same_one() -> None:
    dialect = every_kind()
    assert parse_dialect(print_dialect(dialect), source="again") == dialect


def test_remarks_are_comments_and_change_nothing() -> None:
    dialect = every_kind()
    text = print_dialect(dialect, remarks={"rows": ["3 lines"], "part": ["2 lines"]})
    assert "# 3 lines\n[[line]]" in text
    assert parse_dialect(text, source="again") == dialect


def test_the_session_says_how_the_console_is_driven() -> None:
    session = every_kind().session
    assert (session.enter, session.ask_all, session.quiet_ms, session.line_end) == ("good day", "tell all", 250, "\r\n")
    assert (session.save, session.restart, session.bootloader) == ("keep it", "wake anew", "wait for image")


@pytest.mark.parametrize("text", ["", "= 3", 'format = "rotorwright-change-notes"\n', "[text]\n", "a = " + "9" * 5000])
def test_another_kind_of_file_is_refused_as_such(text: str) -> None:
    with pytest.raises(DialectFormatError) as caught:
        parse_dialect(text, source="d.toml")
    assert caught.value.id == "dialect.wrong-format"
    assert "d.toml" in caught.value.what


def test_a_newer_version_is_refused() -> None:
    with pytest.raises(DialectVersionError):
        parse_dialect(HEAD.replace("version = 1", "version = 2"), source="d.toml")


@pytest.mark.parametrize(
    ("text", "meant", "place"),
    [
        ("[sesion]\n", "session", "top"),
        ('[session]\nprompts = ">"\n', "prompt", "session"),
        ('[text]\ncomment = ["#"]\n', "comments", "text"),
        ('[[line]]\nid = "a"\nform = "{key} {value}"\nbetwen = ","\n', "between", "line entry 1"),
        ('[[line]]\nid = "a"\nform = "{key} {vlaue}"\n', "value", "line entry 1, key 'form'"),
        ('[[section]]\nid = "a"\nfrom = "x {section}"\n', "form", "section entry 1"),
    ],
)
def test_a_typo_names_its_place_and_the_likely_key(text: str, meant: str, place: str) -> None:
    error = refusal(text)
    assert error.facts["meant"] == meant
    assert place in str(error.facts["place"])
    assert meant in error.todo


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ('form = ""', "it is empty"),
        ('form = "{value}"', "nothing names the setting"),
        ('form = "{key}{value}"', "nothing tells where {key} ends"),
        ('form = "{key}{~}{value}"', "nothing tells where {key} ends"),
        ('form = "{key} {value} {values}"', "more than one of"),
        ('form = "{key} {values} {any}"', "has to be the last slot"),
        ('form = "{key} {value} {value}"', "only once"),
        ('form = "{key} {section}"', "belongs into a [[section]]"),
        ('form = "{state} {key}"', "belong together"),
        ('form = "{state} {key}"\non = "x"\noff = "x"', "belong together"),
        ('form = "{key} {value}"\non = "x"', "belong together"),
        ('form = "{key"', "without its }"),
        ('form = "key} {value}"', "without its {"),
        ('form = " {key}"', "starts or ends with a blank"),
        ('form = "{key} {~}= {value}"', "next to each other"),
        ('form = "{key}\\n{value}"', "one line"),
        ('form = "{key} {value}"\nset_one = "let {row}"', "no meaning here"),
        ('form = "{key} {values}"\nbetween = " , "', "allowed anyway"),
    ],
)
def test_a_line_that_could_not_be_read_or_written_is_refused(entry: str, words: str) -> None:
    assert words in refusal(f'[[line]]\nid = "a"\n{entry}\n').what


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[session]\nquiet_ms = 0\n", "between 1 and"),
        ('[session]\nsave = "keep\\nit"\n', "no line end"),
        ('[text]\nquotes = ["<<"]\n', "not one sign"),
        ('[text]\ncomments = [" "]\n', "no sign"),
        ('[text]\nheadings = ["{key}"]\n', "no meaning here"),
        ('[[section]]\nid = "a"\nform = "{key}"\n', "no meaning here"),
        ('[[section]]\nid = "a"\nform = "a {section}"\nlevel = 0\n', "between 1"),
        ('[[line]]\nid = ""\nform = "{key} {value}"\n', "it is empty"),
        ('[[line]]\nid = "a"\nform = "{key} {value}"\n' * 2, "there twice"),
    ],
)
def test_other_entries_that_make_no_sense_are_refused(text: str, words: str) -> None:
    assert words in refusal(text).what


def schema() -> dict[str, Any]:
    folder = resources.files("rotorwright.settings.dialects")
    found: dict[str, Any] = json.loads(folder.joinpath("console-dialect.schema.json").read_text(encoding="utf-8"))
    return found


def test_the_schema_for_editors_has_the_keys_that_the_parser_knows() -> None:
    top = schema()["properties"]
    assert set(top) == set(dialect_file.TOP_KEYS)
    assert set(top["text"]["properties"]) == set(dialect_file.TEXT_KEYS)
    assert set(top["session"]["properties"]) == set(dialect_file.SESSION_KEYS)
    assert set(top["section"]["items"]["properties"]) == set(dialect_file.SECTION_KEYS)
    assert set(top["line"]["items"]["properties"]) == set(dialect_file.LINE_KEYS)


def test_the_schema_allows_no_other_keys() -> None:
    top = schema()["properties"]
    parts = [schema(), top["text"], top["session"], top["section"]["items"], top["line"]["items"]]
    assert all(part["additionalProperties"] is False for part in parts)


def test_every_key_is_explained_on_its_page() -> None:
    page = dialect_page().read_text(encoding="utf-8")
    keys = {*dialect_file.TEXT_KEYS, *dialect_file.SESSION_KEYS, *dialect_file.SECTION_KEYS, *dialect_file.LINE_KEYS}
    assert [key for key in sorted(keys) if f"`{key}`" not in page] == []


def dialect_page() -> Path:
    return Path(__file__).resolve().parents[3] / "docs" / "reference" / "console-dialect.md"


def test_the_example_of_the_tests_uses_every_key_of_a_line() -> None:
    assert all(f"{key} =" in EVERY_KIND for key in (*dialect_file.LINE_KEYS, *dialect_file.SECTION_KEYS))


QUESTIONS = """
[session]
ask_one = "tell {key}"
reset = "forget all"
ask_who = "who"
who_answers = ["{family} {release} on {board}", "number {id}"]
ask_battery = "how full"
battery_answers = ["{volts} V{any}"]
ask_attitude = "how held"
attitude_answers = ["{roll} / {pitch}"]
ask_character = "show {number}"
character_answers = ["{number}: {bytes}"]
set_character = "draw {number} as {bytes}"
"""


def test_questions_and_answers_go_out_and_come_back() -> None:
    dialect = parse_dialect(HEAD + QUESTIONS, source="d.toml")
    assert dialect.session.ask_who == "who"
    assert [form.text for form in dialect.session.who_answers] == ["{family} {release} on {board}", "number {id}"]
    assert dialect.session.set_character is not None
    assert dialect.session.set_character.fill("3", "ff") == "draw 3 as ff"
    assert parse_dialect(print_dialect(dialect), source="again") == dialect


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('ask_who = "who"', "who_answers"),
        ('who_answers = ["{family} {release} {board} {id}"]', "who_answers"),
        ('ask_who = "who"\nwho_answers = ["{family} {release} on {board}"]', "who_answers"),
        ('ask_battery = "how"\nbattery_answers = ["{any}"]', "battery_answers"),
        ('ask_attitude = "how"\nattitude_answers = ["{roll}"]', "attitude_answers"),
        ('ask_character = "show"', "ask_character"),
        ('set_character = "draw {number}"', "set_character"),
        ('ask_one = "tell {volts}"', "ask_one"),
        ('reset = "a\\nb"', "reset"),
    ],
)
def test_a_question_without_its_answer_or_an_answer_that_tells_nothing_is_refused(text: str, key: str) -> None:
    assert key in refusal("[session]\n" + text + "\n").what


def test_a_slot_of_answers_has_no_place_in_a_listing() -> None:
    assert "{volts}" in refusal('[[line]]\nid = "a"\nform = "{key} {volts}"\n').what
