from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.unit.settings.builders import FLOAT, UINT8, UINT16, catalogue, setting

from rotorwright.errors import SettingsError
from rotorwright.settings.constraints import (
    Constraints,
    ConstraintsError,
    ConstraintsFormatError,
    ConstraintsVersionError,
    broken_constraints,
    parse_constraints,
    unknown_names,
)
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Mapping

HEAD = 'format = "rotorwright-constraints"\nversion = 1\nfamily = "Thornbill"\nrelease = "6.0"\n'

ORDER = '[[order]]\nlower = "LOW"\nupper = "HIGH"\nwhy = "So."\n'
NEEDS = '[[needs]]\nif = { setting = "A", is = 1 }\nthen = { setting = "B", is = [2, 3] }\nwhy = "So."\n'


def constraints(text: str) -> Constraints:
    return parse_constraints(HEAD + text, source="6.0.toml")


def u8(number: int) -> Value:
    return Value.of(UINT8, number)


def flt(text: str) -> Value:
    return Value.parse(FLOAT, text)


def words_of(text: str, settings: Mapping[str, Value]) -> list[str]:
    return [each.words for each in broken_constraints(constraints(text), settings)]


def is_broken(text: str, **settings: Value) -> bool:
    return bool(broken_constraints(constraints(text), settings))


def test_an_order_is_broken_by_equal_numbers_unless_it_allows_them() -> None:
    assert not is_broken(ORDER, LOW=u8(1), HIGH=u8(2))
    assert is_broken(ORDER, LOW=u8(2), HIGH=u8(2))
    assert not is_broken(ORDER + "equal = true\n", LOW=u8(2), HIGH=u8(2))
    assert is_broken(ORDER + "equal = true\n", LOW=u8(3), HIGH=u8(2))


def test_the_words_name_the_rule_the_values_and_why() -> None:
    assert words_of(ORDER, {"LOW": u8(3), "HIGH": u8(2)}) == ["LOW has to be below HIGH, but LOW is 3, HIGH is 2. So."]


def test_floats_are_compared_as_a_person_sees_them() -> None:
    same = '[[sum]]\nof = ["A", "B"]\nat_most = 0.3\nwhy = "So."\n'
    assert not is_broken(same, A=flt("0.1"), B=flt("0.2")), "0.1 + 0.2 is 0.3 here"
    assert is_broken(same, A=flt("0.1"), B=flt("0.20000002"))


def test_what_is_no_number_has_no_order_and_no_sum() -> None:
    nan = Value(FLOAT, 0x7FC00000)
    assert is_broken(ORDER, LOW=nan, HIGH=flt("2"))
    assert is_broken(ORDER, LOW=Value.of_text("1"), HIGH=Value.of_text("2"))
    assert is_broken('[[sum]]\nof = ["A", "B"]\nat_most = 3\nwhy = "So."\n', A=nan, B=flt("1"))
    infinite = Value.parse(FLOAT, "inf")
    assert not is_broken(ORDER, LOW=flt("2"), HIGH=infinite)
    assert is_broken('[[sum]]\nof = ["A", "B"]\nat_most = 3\nwhy = "So."\n', A=infinite, B=flt("1"))


def test_a_sum_is_limited_by_a_number_or_by_a_setting() -> None:
    by_number = '[[sum]]\nof = ["A", "B"]\nat_most = 10\nwhy = "So."\n'
    assert not is_broken(by_number, A=u8(4), B=u8(6))
    assert is_broken(by_number, A=u8(5), B=u8(6))
    by_setting = '[[sum]]\nof = ["A", "B"]\nat_most = "C"\nwhy = "So."\n'
    assert not is_broken(by_setting, A=u8(4), B=u8(6), C=Value.of(UINT16, 10))
    assert words_of(by_setting, {"A": u8(5), "B": u8(6), "C": u8(10)}) == [
        "A + B must not be above C, but A is 5, B is 6, C is 10. So."
    ]


def test_needs_speaks_only_where_its_condition_is_true() -> None:
    assert not is_broken(NEEDS, A=u8(0), B=u8(0))
    assert not is_broken(NEEDS, A=u8(1), B=u8(3))
    assert words_of(NEEDS, {"A": u8(1), "B": u8(0)}) == ["B has to be 2 or 3 when A is 1, but A is 1, B is 0. So."]


@pytest.mark.parametrize(
    ("saying", "true_of", "false_of", "wish"),
    [
        ("is = 2", u8(2), u8(3), "has to be 2"),
        ("is = [2, 3]", u8(3), u8(4), "has to be 2 or 3"),
        ("is = 0.12", flt("0.12"), flt("0.13"), "has to be 0.12"),
        ('is = "on"', Value.of_text("on"), Value.of_text("off"), "has to be on"),
        ("is_not = 0", u8(1), u8(0), "must not be 0"),
        ("is_not = 0", Value(FLOAT, 0x7FC00000), flt("0"), "must not be 0"),
        ("at_least = 2", u8(2), u8(1), "has to be at least 2"),
        ("at_least = 2", Value.parse(FLOAT, "inf"), Value(FLOAT, 0x7FC00000), "has to be at least 2"),
        ("at_most = 0", u8(0), u8(1), "has to be at most 0"),
        ("bit = 2", u8(0b100), u8(0b011), "has to have bit 2 set"),
        ("bit = 1", Value.of(SettingType.INT8, -1), flt("2"), "has to have bit 1 set"),
    ],
)
def test_each_saying_is_true_of_some_values_and_false_of_others(
    saying: str, true_of: Value, false_of: Value, wish: str
) -> None:
    text = f'[[needs]]\nif = {{ setting = "A", is = 1 }}\nthen = {{ setting = "B", {saying} }}\nwhy = "So."\n'
    assert not is_broken(text, A=u8(1), B=true_of)
    (words,) = words_of(text, {"A": u8(1), "B": false_of})
    assert words.startswith(f"B {wish} when A is 1, but ")


def test_what_excludes_each_other_may_be_there_one_at_a_time() -> None:
    text = '[[excludes]]\none = { setting = "A", is = 1 }\nother = { setting = "B", at_least = 2 }\nwhy = "So."\n'
    assert not is_broken(text, A=u8(1), B=u8(1))
    assert not is_broken(text, A=u8(0), B=u8(2))
    assert words_of(text, {"A": u8(1), "B": u8(2)}) == ["A is 1 excludes that B is at least 2, but A is 1, B is 2. So."]


def test_when_lets_a_constraint_sleep() -> None:
    text = ORDER + 'when = { setting = "ON", is_not = 0 }\n'
    assert not is_broken(text, LOW=u8(3), HIGH=u8(2), ON=u8(0))
    assert words_of(text, {"LOW": u8(3), "HIGH": u8(2), "ON": u8(1)}) == [
        "LOW has to be below HIGH when ON is not 0, but LOW is 3, HIGH is 2, ON is 1. So."
    ]


def test_where_a_setting_is_not_there_the_constraint_is_silent() -> None:
    assert not is_broken(ORDER, LOW=u8(3))
    assert not is_broken(ORDER + 'when = { setting = "ON", is = 1 }\n', LOW=u8(3), HIGH=u8(2))


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ('[[order]]\nlower = "A"\nupper = "A"\nwhy = "x"', "order entry 1, key 'upper'"),
        ('[[order]]\nlower = "A"\nuper = "B"\nwhy = "x"', "perhaps 'upper' was meant"),
        ('[[order]]\nlower = "A"\nupper = "B"', "order entry 1, key 'why': it is missing"),
        ('[[order]]\nlower = "A"\nupper = "B"\nwhy = " "', "order entry 1, key 'why': it is empty"),
        ('[[order]]\nlower = ""\nupper = "B"\nwhy = "x"', "order entry 1, key 'lower': it is empty"),
        ('[[sum]]\nof = ["A"]\nat_most = 1\nwhy = "x"', "sum entry 1, key 'of'"),
        ('[[sum]]\nof = ["A", "A"]\nat_most = 1\nwhy = "x"', "sum entry 1, key 'of'"),
        ('[[sum]]\nof = ["A", "B"]\nwhy = "x"', "sum entry 1, key 'at_most': it is missing"),
        ('[[sum]]\nof = ["A", "B"]\nat_most = true\nwhy = "x"', "key 'at_most': a number is expected"),
        ('[[sum]]\nof = ["A", "B"]\nat_most = nan\nwhy = "x"', "nan is no number that can be compared"),
        ('[[sum]]\nof = ["A", "B"]\nat_most = "A"\nwhy = "x"', "A is in the sum itself"),
        (
            '[[needs]]\nif = { setting = "A", is = 1 }\nthen = { setting = "A", is = 2 }\nwhy = "x"',
            "cannot need itself",
        ),
        ('[[needs]]\nif = { setting = "A" }\nthen = { setting = "B", is = 2 }\nwhy = "x"', "exactly one of is, is_not"),
        (
            '[[needs]]\nif = { setting = "A", is = 1, bit = 2 }\nthen = { setting = "B", is = 2 }\nwhy = "x"',
            "key 'bit'",
        ),
        (
            '[[needs]]\nif = { setting = "A", is = [] }\nthen = { setting = "B", is = 2 }\nwhy = "x"',
            "the list is empty",
        ),
        ('[[needs]]\nif = { setting = "A", bit = 64 }\nthen = { setting = "B", is = 2 }\nwhy = "x"', "from 0 to 63"),
        (
            '[[needs]]\nif = { settin = "A", is = 1 }\nthen = { setting = "B", is = 2 }\nwhy = "x"',
            "perhaps 'setting' was meant",
        ),
        (
            '[[excludes]]\none = { setting = "A", is = 1 }\nother = { setting = "A", is = 2 }\nwhy = "x"',
            "exclude itself",
        ),
        ('[[ordr]]\nlower = "A"', "perhaps 'order' was meant"),
    ],
)
def test_a_bad_entry_is_named_with_its_key(entry: str, words: str) -> None:
    with pytest.raises(ConstraintsError) as caught:
        constraints(entry)
    assert words in caught.value.what
    assert "6.0.toml" in caught.value.what


def test_a_file_of_another_kind_or_of_later_is_refused() -> None:
    with pytest.raises(ConstraintsFormatError):
        parse_constraints('format = "x"', source="x")
    with pytest.raises(ConstraintsFormatError):
        parse_constraints("=", source="x")
    with pytest.raises(ConstraintsVersionError):
        parse_constraints(HEAD.replace("version = 1", "version = 2"), source="x")
    with pytest.raises(ConstraintsError, match="no version 0"):
        parse_constraints(HEAD.replace("version = 1", "version = 0"), source="x")
    assert issubclass(ConstraintsError, SettingsError)


def test_names_that_the_release_does_not_know_are_told_with_what_was_likely_meant() -> None:
    known = catalogue(setting("LOW_CUT", UINT8), setting("HIGH", UINT8))
    text = '[[order]]\nlower = "LOW_CUTT"\nupper = "HIGH"\nwhy = "x"\nwhen = { setting = "ZZZ", is = 1 }\n'
    assert tuple(f"{each.place}: {each.words}." for each in unknown_names(constraints(text), known)) == (
        "order entry 1: 6.0 knows no setting LOW_CUTT; perhaps LOW_CUT was meant.",
        "order entry 1: 6.0 knows no setting ZZZ.",
    )
