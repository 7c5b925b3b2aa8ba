from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, UINT8, UINT16, setting

from rotorwright.settings.outcomes import How, outcome
from rotorwright.settings.values import SettingType, Value

RANGED = setting("A", UINT16, 5, low=0, high=100)
STEPPED = replace(setting("A", FLOAT, 0), increment=0.05)


def value(type_: SettingType, number: float | None) -> Value | None:
    return None if number is None else Value.of(type_, number)


def how(
    sent: float, stands: float | None, before: float, *, type_: SettingType = UINT16, is_taken: bool = False
) -> How:
    return outcome(
        "A",
        sent=Value.of(type_, sent),
        stands=value(type_, stands),
        before=Value.of(type_, before),
        is_taken=is_taken,
        setting=STEPPED if type_ is FLOAT else RANGED,
    ).how


@pytest.mark.parametrize(
    ("sent", "stands", "before", "expected"),
    [
        (300, 5, 5, How.REFUSED),
        (300, 100, 5, How.LIMITED),
        (50, 51, 5, How.ROUNDED),
        (50, 20, 5, How.CHANGED),
        (50, None, 5, How.MISSING),
        (50, 100, 5, How.CHANGED),
    ],
)
def test_whole_numbers(sent: float, stands: float | None, before: float, expected: How) -> None:
    assert how(sent, stands, before) is expected


def test_floats_are_rounded_within_the_step_of_the_catalogue() -> None:
    assert how(0.123, 0.1, 0, type_=FLOAT) is How.ROUNDED
    assert how(0.123, 0.2, 0, type_=FLOAT) is How.CHANGED


def test_what_was_taken_and_is_gone_after_the_restart_was_not_kept() -> None:
    assert how(50, 5, 5, is_taken=True) is How.NOT_KEPT


def test_without_a_catalogue_a_hundredth_counts_as_rounding() -> None:
    sent, near, far = (Value.of(FLOAT, number) for number in (100, 100.5, 102))
    before = Value.of(FLOAT, 0)
    for stands, expected in ((near, How.ROUNDED), (far, How.CHANGED)):
        assert outcome("A", sent=sent, stands=stands, before=before, is_taken=False, setting=None).how is expected


def test_what_is_no_number_was_changed() -> None:
    sent, stands = Value.of_text("abc"), Value.of_text("ab")
    assert outcome("A", sent=sent, stands=stands, before=None, is_taken=False, setting=None).how is How.CHANGED


def test_the_words_have_both_values() -> None:
    found = outcome(
        "A", sent=Value.of(UINT8, 9), stands=Value.of(UINT8, 5), before=Value.of(UINT8, 5), is_taken=False, setting=None
    )
    assert found.words == "A: sent 9, stands 5 (refused)"
