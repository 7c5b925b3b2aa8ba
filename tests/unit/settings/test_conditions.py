from __future__ import annotations

import pytest
from tests.unit.settings.builders import FLOAT, UINT8, notes

from rotorwright.settings.conditions import (
    All,
    Any,
    Comparison,
    Condition,
    Not,
    Sign,
    both,
    can_hold,
    exclude_each_other,
    holds,
    settings_in,
    words_of,
)
from rotorwright.settings.notes import NotesError
from rotorwright.settings.values import Value

FOUND = {
    "THREE": Value.of(UINT8, 3),
    "TENTH": Value.parse(FLOAT, "0.1"),
    "NAN": Value(FLOAT, 0x7FC00000),
    "INF": Value.parse(FLOAT, "inf"),
    "WORD": Value.of_text("slow"),
}


def condition(text: str) -> Condition:
    (entry,) = notes(f'[[retire]]\nold = "A"\nloses = "x"\nwhen = {text}\n').entries
    assert entry.when is not None
    return entry.when


def told(text: str) -> bool | None:
    return holds(condition(text), FOUND.get)


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ('{ setting = "THREE", is = 3 }', True),
        ('{ setting = "THREE", is = "3.0" }', True),
        ('{ setting = "THREE", is_not = 3 }', False),
        ('{ setting = "THREE", at_least = 3 }', True),
        ('{ setting = "THREE", at_most = "2.9" }', False),
        ('{ setting = "THREE", one_of = [1, 3] }', True),
        ('{ setting = "TENTH", is = "0.1" }', True),
        ('{ setting = "TENTH", at_most = "1/10" }', True),
        ('{ setting = "NAN", is = "nan(0x7fc00000)" }', True),
        ('{ setting = "NAN", at_least = 0 }', None),
        ('{ setting = "INF", at_least = 1000 }', True),
        ('{ setting = "WORD", is = "slow" }', True),
        ('{ setting = "WORD", is = "Slow" }', False),
        ('{ setting = "WORD", at_least = 1 }', None),
        ('{ setting = "GONE", is = 3 }', None),
        ('{ not = { setting = "THREE", is = 3 } }', False),
        ('{ not = { setting = "GONE", is = 3 } }', None),
        ('{ all = [{ setting = "THREE", is = 3 }, { setting = "GONE", is = 3 }] }', None),
        ('{ all = [{ setting = "THREE", is = 4 }, { setting = "GONE", is = 3 }] }', False),
        ('{ any = [{ setting = "THREE", is = 3 }, { setting = "GONE", is = 3 }] }', True),
        ('{ any = [{ setting = "THREE", is = 4 }, { setting = "GONE", is = 3 }] }', None),
        ('{ any = [{ setting = "THREE", is = 4 }, { setting = "WORD", is = "x" }] }', False),
    ],
)
def test_a_condition_is_true_false_or_cannot_be_told(text: str, verdict: bool | None) -> None:
    assert told(text) is verdict


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{ setting = "A" }', "one comparison is expected"),
        ('{ setting = "A", is = 1, at_most = 2 }', "one comparison is expected"),
        ('{ setting = "A", is = 1.5 }', "in quotes"),
        ('{ setting = "A", is = true }', "in quotes"),
        ('{ setting = "A", at_least = "many" }', "no number to compare with"),
        ('{ setting = "A", one_of = [] }', "one or more values"),
        ('{ setting = "A", equals = 1 }', "no key 'equals'"),
        ('{ setting = "", is = 1 }', "it is empty"),
        ("{ all = [] }", "1 to 32 conditions"),
        ("{}", "is expected"),
        ('{ all = [{ setting = "A", is = 1 }], not = { setting = "A", is = 1 } }', "is expected"),
        ("{ not = " * 9 + '{ setting = "A", is = 1 }' + " }" * 9, "up to 8 deep"),
    ],
)
def test_what_is_no_condition_is_refused(text: str, words: str) -> None:
    with pytest.raises(NotesError) as caught:
        condition(text)
    assert words in caught.value.what


def test_a_condition_says_in_words_what_it_asks() -> None:
    either = '{ any = [{ setting = "B", is = 2 }, { not = { setting = "C", is_not = 3 } }] }'
    text = f'{{ all = [{{ setting = "A", at_least = 1 }}, {either}] }}'
    assert words_of(condition(text)) == "A is at least 1 and (B is 2 or not (C is not 3))"
    assert settings_in(condition(text)) == ("A", "B", "C")


def is_(setting: str, *values: str, sign: Sign = Sign.IS) -> Comparison:
    return Comparison(setting, sign, values)


@pytest.mark.parametrize(
    ("one", "other", "verdict"),
    [
        (None, None, False),
        (None, is_("A", "1"), False),
        (is_("A", "1"), is_("A", "2"), True),
        (is_("A", "1"), is_("A", "1.0"), False),
        (is_("A", "1"), is_("A", "1", sign=Sign.IS_NOT), True),
        (is_("A", "1", "2", sign=Sign.ONE_OF), is_("A", "3", "2", sign=Sign.ONE_OF), False),
        (is_("A", "1", "2", sign=Sign.ONE_OF), is_("A", "3", sign=Sign.AT_LEAST), True),
        (is_("A", "2", sign=Sign.AT_MOST), is_("A", "3", sign=Sign.AT_LEAST), True),
        (is_("A", "3", sign=Sign.AT_MOST), is_("A", "3", sign=Sign.AT_LEAST), False),
        (is_("A", "3", sign=Sign.AT_LEAST), is_("A", "4", sign=Sign.AT_LEAST), False),
        (is_("A", "slow"), is_("A", "fast"), True),
        (is_("A", "1"), is_("B", "2"), None),
        (is_("A", "1"), Not(is_("A", "1")), True),
        (is_("A", "1"), All((is_("A", "2"), is_("B", "2"))), True),
        (is_("A", "1"), Any((is_("A", "2"), is_("A", "3"))), True),
        (is_("A", "1"), Any((is_("A", "2"), is_("B", "3"))), None),
        (is_("A", "1"), Any((is_("A", "1"), is_("A", "3"))), False),
    ],
)
def test_whether_two_conditions_exclude_each_other(
    one: Condition | None, other: Condition | None, verdict: bool | None
) -> None:
    assert exclude_each_other(one, other) is verdict
    assert exclude_each_other(other, one) is verdict


def test_what_asks_for_two_values_at_once_can_never_hold() -> None:
    assert can_hold(All((is_("A", "1"), is_("A", "2")))) is False
    assert can_hold(All((is_("A", "1"), is_("B", "2")))) is None
    assert can_hold(is_("A", "1")) is True


def test_two_conditions_together_name_nothing_twice() -> None:
    one, other = is_("A", "1"), is_("B", "2")
    assert both(None, None) is None
    assert both(one, None) == one
    assert both(All((one, other)), one) == All((one, other))
