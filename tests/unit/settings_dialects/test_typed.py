"""Texts of a listing as typed values, and back."""

from __future__ import annotations

import pytest

from rotorwright.settings.catalogue import Catalogue, Setting
from rotorwright.settings.dialects.changing import ValueNotPrintableError
from rotorwright.settings.dialects.dialect import LineForm
from rotorwright.settings.dialects.dialect_file import parse_dialect
from rotorwright.settings.dialects.listing import parse_listing
from rotorwright.settings.dialects.typed import (
    ListedTwiceError,
    ListedValueError,
    listed_values,
    typed_settings,
)
from rotorwright.settings.values import SettingType, Value

DIALECT = parse_dialect(
    """
format = "rotorwright-console-dialect"
version = 1
name = "of this test"
[text]
inline_comments = ["--"]
quotes = ['"']
[[section]]
id = "part"
form = "part {section}"
[[line]]
id = "value"
form = "let {key} be {value}"
[[line]]
id = "flag"
form = "{state} {key}"
on = "with"
off = "without"
[[line]]
id = "row"
form = "row {row} {values}"
name = "table"
[[line]]
id = "list"
form = "list {key} : {values}"
between = ","
[[line]]
id = "there"
form = "use {key}"
""",
    source="test",
)
CATALOGUE = Catalogue(
    {
        name: Setting(name, type_)
        for name, type_ in (
            ("SMALL", SettingType.UINT8),
            ("LARGE", SettingType.INT64),
            ("PART", SettingType.FLOAT),
            ("LAMP", SettingType.UINT8),
            ("NOTE", SettingType.TEXT),
        )
    }
)


def read(text: str, catalogue: Catalogue | None = CATALOGUE) -> dict[str, Value]:
    return typed_settings(parse_listing(DIALECT, text.encode("utf-8", "surrogateescape")), catalogue)


def refusal(text: str) -> ListedValueError:
    with pytest.raises(ListedValueError) as caught:
        read(text)
    return caught.value


def family(id_: str) -> LineForm:
    return next(each for each in DIALECT.lines if each.id == id_)


def test_a_name_that_the_catalogue_knows_gets_its_type_and_others_stay_text() -> None:
    assert read("let SMALL be 7\nlet LARGE be -9223372036854775808\nlet PART be 0.15\nlet OTHER be 7\n") == {
        "SMALL": Value.of(SettingType.UINT8, 7),
        "LARGE": Value.of(SettingType.INT64, -(1 << 63)),
        "PART": Value.of(SettingType.FLOAT, 0.15),
        "OTHER": Value.of_text("7"),
    }


def test_without_a_catalogue_everything_is_text_as_it_was_printed() -> None:
    text = 'let SMALL be 07\nwith LAMP\nrow 3 a  b "c d"\nlist MANY : 1 , 2\nuse THING\nlet NONE be\nlet NOTE be ä  ö\n'
    assert {name: value.text for name, value in read(text, None).items()} == {
        "SMALL": "07",
        "LAMP": "on",
        "table 3": 'a  b "c d"',
        "MANY": "1 , 2",
        "THING": "",
        "NONE": "",
        "NOTE": "ä  ö",
    }


def test_on_and_off_are_one_and_zero_where_the_catalogue_says_a_number() -> None:
    assert read("with LAMP\n")["LAMP"] == Value.of(SettingType.UINT8, 1)
    assert read("without LAMP\n")["LAMP"] == Value.of(SettingType.UINT8, 0)
    assert read("without NOTE\n")["NOTE"] == Value.of_text("off")


def test_the_word_on_as_a_plain_value_is_no_number() -> None:
    assert refusal("let LAMP be on\n").facts["line"] == 1


@pytest.mark.parametrize(
    "text",
    ["0.15", "0.1500", ".15", "15e-2", "0.150000006", "0.1500000059604644775390625", "1.5E-1", "0.1500000000000"],
)
def test_any_decimal_that_says_no_more_than_the_float_is_that_float(text: str) -> None:
    assert read(f"let PART be {text}\n")["PART"] == Value.of(SettingType.FLOAT, 0.15)


@pytest.mark.parametrize("text", ["0.15000000001", "0.1234567890123", "1e-60", "1e-999999999", "16777217"])
def test_a_decimal_with_more_digits_than_a_float_keeps_is_refused_and_not_rounded(text: str) -> None:
    error = refusal(f"-- first\nlet SMALL be 1\nlet PART be {text}\n")
    assert (error.facts["line"], error.facts["text"]) == (3, text)
    assert "more digits" in error.what


@pytest.mark.parametrize(
    "text", ["nan(0x7fc00001)", "inf", "-inf", "-0", "1e-45", "0e999999999", "3.4028234663852886e38"]
)
def test_odd_floats_are_read_to_the_bit(text: str) -> None:
    found = read(f"let PART be {text}\n")["PART"]
    assert found == Value.parse(SettingType.FLOAT, text)


@pytest.mark.parametrize(
    ("name", "text"),
    [("SMALL", "256"), ("SMALL", "-1"), ("SMALL", "1.0"), ("SMALL", "0x1"), ("SMALL", ""), ("PART", "1e39")],
)
def test_a_text_that_is_no_value_of_the_type_is_refused_with_its_line(name: str, text: str) -> None:
    error = refusal(f"let NOTE be x\nlet {name} be {text}\n")
    assert error.facts["line"] == 2
    assert repr(text) in error.what
    assert all((error.why, error.state, error.todo))


def test_bytes_that_are_no_text_are_refused_in_value_and_name() -> None:
    assert refusal("let OTHER be \udcff\n").facts["line"] == 1
    assert "UTF-8" in refusal("let \udcff be 1\n").what


def test_a_name_that_is_there_twice_is_refused_and_names_that_differ_in_case_are_two() -> None:
    with pytest.raises(ListedTwiceError) as caught:
        read("let OTHER be 1\nlet other be 2\n\nlet OTHER be 1\n")
    assert (caught.value.facts["first"], caught.value.facts["second"]) == (1, 4)
    assert list(read("let OTHER be 1\nlet other be 2\n")) == ["OTHER", "other"]


def test_the_same_key_in_two_sections_is_two_settings() -> None:
    found = read("part left\nlet SMALL be 1\npart right\nlet SMALL be 2\n")
    assert {name: value.text for name, value in found.items()} == {"part left / SMALL": "1", "part right / SMALL": "2"}


def test_values_go_back_into_their_lines() -> None:
    flag, value, many, list_, there = (family(each) for each in ("flag", "value", "row", "list", "there"))
    assert listed_values(Value.of(SettingType.UINT8, 1), flag, DIALECT) == ("on",)
    assert listed_values(Value.of_text("off"), flag, DIALECT) == ("off",)
    assert listed_values(Value.of(SettingType.FLOAT, 0.15), value, DIALECT) == ("0.15",)
    assert listed_values(Value.of_text('a "b c"'), many, DIALECT) == ("a", '"b c"')
    assert listed_values(Value.of_text("1 , 2"), list_, DIALECT) == ("1", "2")
    assert listed_values(Value.of_text(""), there, DIALECT) == ()


@pytest.mark.parametrize(("id_", "value"), [("flag", Value.of(SettingType.UINT8, 2)), ("there", Value.of_text("x"))])
def test_a_value_that_a_line_cannot_say_is_refused(id_: str, value: Value) -> None:
    with pytest.raises(ValueNotPrintableError) as caught:
        listed_values(value, family(id_), DIALECT)
    assert value.text in caught.value.what
