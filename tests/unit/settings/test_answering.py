from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, INT16, UINT8, Pair, catalogue, notes, setting

from rotorwright.errors import RotorwrightError
from rotorwright.settings.answering import (
    Answer,
    AnswersDoNotFitError,
    TypeNotKnownError,
    answer_held,
    apply_answers,
)
from rotorwright.settings.by_hand import ByHandRefusedError, ClaimedTwiceError
from rotorwright.settings.decisions import Write
from rotorwright.settings.sheet import CarryOverSheet, NotHeldError, UnknownOptionError
from rotorwright.settings.values import Value, ValueNotInTypeError

PAIR = Pair(
    catalogue(
        setting("CHANGED", INT16, 5),
        setting("GONE", INT16, 5),
        setting("KEPT", UINT8, 1),
        setting("LEFT", UINT8, 1),
        setting("RIGHT", UINT8, 1),
    ),
    catalogue(
        setting("ADDED", FLOAT, 1, low=0, high=2),
        setting("BOTH", UINT8, 1),
        setting("CHANGED", INT16, 9),
        setting("KEPT", UINT8, 1),
    ),
    notes('[[join]]\nold = ["LEFT", "RIGHT"]\nnew = "BOTH"\nhow = "equal"\n'),
)


def sheet() -> CarryOverSheet:
    return PAIR.sheet(CHANGED=7, GONE=7, KEPT=3, LEFT=2, RIGHT=3)


def test_several_answers_decide_several_lines_whichever_name_of_a_line_is_given() -> None:
    decided = apply_answers(sheet(), {"CHANGED": "keep-mine", "RIGHT": "value-of-LEFT", "GONE": {"ADDED": "0.5"}})
    assert decided.undecided == ()
    assert set(decided.writes) == {
        Write("ADDED", Value.of(FLOAT, 0.5)),
        Write("BOTH", Value.of(UINT8, 2)),
        Write("CHANGED", Value.of(INT16, 7)),
        Write("KEPT", Value.of(UINT8, 3)),
    }


def test_a_decided_line_can_be_answered_anew() -> None:
    decided = apply_answers(apply_answers(sheet(), {"GONE": "leave-out"}), {"GONE": {"ADDED": "2"}})
    assert [each.chosen for each in decided.held if each.found == ("GONE",)] == ["by-hand"]


@pytest.mark.parametrize(
    ("name", "answer", "error", "hint"),
    [
        ("CHANGD", "keep-mine", NotHeldError, "CHANGED"),
        ("KEPT", "keep-mine", NotHeldError, ""),
        ("CHANGED", "kep-mine", UnknownOptionError, "keep-mine"),
        ("GONE", {"ADED": "1"}, ByHandRefusedError, "ADDED"),
        ("GONE", {"ADDED": "3"}, ByHandRefusedError, "ADDED"),
        ("GONE", {"ADDED": "much"}, ValueNotInTypeError, "much"),
        ("GONE", {"KEPT": "1"}, ByHandRefusedError, "KEPT"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused_with_the_likely_word(
    name: str, answer: Answer, error: type[RotorwrightError], hint: str
) -> None:
    with pytest.raises(error) as caught:
        apply_answers(sheet(), {name: answer}, new_catalogue=PAIR.new)
    assert hint in str(caught.value)


def test_of_several_answers_all_that_do_not_fit_are_listed_and_none_is_taken() -> None:
    with pytest.raises(AnswersDoNotFitError) as caught:
        apply_answers(sheet(), {"GONE": "leave-out", "CHANGD": "keep-mine", "CHANGED": "kep-mine"})
    for words in ("2 answers", "none was taken", "CHANGD", "CHANGED is held", "'keep-mine' is likely meant"):
        assert words in str(caught.value)


def test_two_answers_to_one_line_are_refused() -> None:
    with pytest.raises(AnswersDoNotFitError, match="LEFT and RIGHT are one line"):
        apply_answers(sheet(), {"LEFT": "value-of-LEFT", "RIGHT": "value-of-RIGHT"})


def test_two_lines_that_would_become_one_setting_are_refused() -> None:
    with pytest.raises(ClaimedTwiceError, match="ADDED"):
        apply_answers(sheet(), {"GONE": {"ADDED": "1"}, "CHANGED": {"ADDED": "2"}})


def test_a_value_of_a_setting_of_which_nobody_knows_the_type_is_refused() -> None:
    known = sheet()
    unknown = replace(known, arrivals=tuple(replace(each, default=None) for each in known.arrivals))
    with pytest.raises(TypeNotKnownError, match="ADDED"):
        answer_held(unknown, "GONE", {"ADDED": "1"})
    decided = answer_held(unknown, "GONE", {"ADDED": "1"}, new_catalogue=PAIR.new)
    assert decided.held[1].chosen == "by-hand"
