"""What belongs to the board by the evidence of the aircraft: equal on all with it, not the family's nor everybody's."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, IDENTITY, NOON, UINT8, UINT16

from rotorwright.settings.board_inference import (
    LEAST_AIRCRAFT,
    InferredSetting,
    defaults_elsewhere,
    differs,
    infer_board_settings,
    with_inferred_board,
)
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import Value

C405, H7 = "Corvane C405", "Corvane H7"
FAMILY = {name: Value.of(UINT8, 0) for name in ("PIN_LED", "RATE", "UNTOUCHED")}


def numbers(**values: int) -> dict[str, Value]:
    return {name: Value.of(UINT8, number) for name, number in values.items()}


def aircraft(board: str, serial: int, *, at: str = NOON, **values: int) -> Snapshot:
    identity = replace(IDENTITY, unique_id=f"{serial:024x}", board=board)
    return Snapshot(identity, numbers(**({"PIN_LED": 0, "RATE": 0, "UNTOUCHED": 0} | values)), at)


def fleet(board: str, count: int, first: int = 0, **values: int) -> list[Snapshot]:
    return [aircraft(board, first + serial, at=NOON, **values) for serial in range(count)]


def names(found: tuple[InferredSetting, ...]) -> list[str]:
    return [each.name for each in found]


def test_what_all_aircraft_with_the_board_hold_and_others_do_not_is_the_boards() -> None:
    found = fleet(C405, 4, PIN_LED=3) + fleet(H7, 2, first=10)
    (inferred,) = infer_board_settings(C405, found, family_defaults=FAMILY)
    assert (inferred.name, inferred.value.number, inferred.aircraft, inferred.elsewhere) == ("PIN_LED", 3, 4, 0)
    assert not inferred.confirmed
    assert inferred.evidence == (
        "equal, 3, on all 4 aircraft with Corvane C405; 0 of 2 elsewhere; the family's default is 0; "
        "this board's own defaults are not known"
    )


def test_the_boards_own_captured_defaults_confirm_it_even_with_no_other_board_seen() -> None:
    (inferred,) = infer_board_settings(
        C405, fleet(C405, 3, PIN_LED=3), family_defaults=FAMILY, board_defaults=numbers(PIN_LED=3, RATE=0)
    )
    assert inferred.confirmed
    assert "none seen elsewhere" in inferred.evidence
    assert "own defaults hold it too" in inferred.evidence


def test_what_every_owner_changed_on_a_board_with_another_default_is_not_the_boards() -> None:
    found = fleet(C405, 4, RATE=9) + fleet(H7, 2, first=10)
    assert infer_board_settings(C405, found, family_defaults=FAMILY, board_defaults=numbers(RATE=0)) == ()


def test_with_no_other_board_seen_a_habit_of_the_owner_is_not_taken_for_the_boards() -> None:
    assert infer_board_settings(C405, fleet(C405, 9, RATE=9), family_defaults=FAMILY) == ()


def test_what_is_equal_on_every_board_is_not_the_boards() -> None:
    found = fleet(C405, 4, RATE=9) + fleet(H7, 4, first=10, RATE=9)
    assert infer_board_settings(C405, found, family_defaults=FAMILY) == ()
    assert infer_board_settings(C405, found, family_defaults=FAMILY, board_defaults=numbers(RATE=9)) == ()


def test_what_nobody_touched_is_not_the_boards() -> None:
    found = fleet(C405, 4) + fleet(H7, 4, first=10, UNTOUCHED=7)
    assert infer_board_settings(C405, found, family_defaults=FAMILY) == ()


def test_without_a_known_family_default_nothing_is_said() -> None:
    found = fleet(C405, 4, PIN_LED=3) + fleet(H7, 2, first=10)
    assert infer_board_settings(C405, found, family_defaults={}) == ()


@pytest.mark.parametrize(("count", "expected"), [(LEAST_AIRCRAFT - 1, []), (LEAST_AIRCRAFT, ["PIN_LED"])])
def test_it_takes_enough_aircraft(count: int, expected: list[str]) -> None:
    found = fleet(C405, count, PIN_LED=3) + fleet(H7, 2, first=10)
    assert names(infer_board_settings(C405, found, family_defaults=FAMILY)) == expected


def test_one_aircraft_saved_many_times_is_one_aircraft() -> None:
    same = [aircraft(C405, 1, at=f"2026-05-0{day}T12:00:00Z", PIN_LED=3) for day in range(1, 6)]
    assert infer_board_settings(C405, same + fleet(H7, 2, first=10), family_defaults=FAMILY) == ()


def test_of_one_aircraft_only_the_latest_counts() -> None:
    found = fleet(C405, 3, PIN_LED=3) + fleet(H7, 1, first=10)
    before = aircraft(C405, 1, at="2026-04-30T12:00:00Z", PIN_LED=8)
    after = aircraft(C405, 1, at="2026-05-01T12:00:00.5Z", PIN_LED=8)
    assert names(infer_board_settings(C405, [*found, before], family_defaults=FAMILY)) == ["PIN_LED"]
    assert names(infer_board_settings(C405, [*found, after], family_defaults=FAMILY)) == []


def test_a_setting_that_one_aircraft_lacks_is_not_equal_on_all() -> None:
    found = [*fleet(C405, 3, PIN_LED=3, EXTRA=5), aircraft(C405, 7, PIN_LED=3), *fleet(H7, 1, first=10, EXTRA=6)]
    family = {**FAMILY, **numbers(EXTRA=0)}
    assert names(infer_board_settings(C405, found, family_defaults=family)) == ["PIN_LED"]


def test_texts_of_a_console_are_compared_with_typed_defaults_by_what_they_say() -> None:
    texts = [
        Snapshot(
            each.identity, {name: Value.of_text(value.text) for name, value in each.settings.items()}, each.taken_at
        )
        for each in fleet(C405, 3, PIN_LED=3) + fleet(H7, 1, first=10)
    ]
    (inferred,) = infer_board_settings(C405, texts, family_defaults=FAMILY)
    assert (inferred.name, inferred.value.text) == ("PIN_LED", "3")


def test_a_word_that_cannot_be_held_against_a_default_is_not_named() -> None:
    words = [replace(each, settings={"PIN_LED": Value.of_text("fast")}) for each in fleet(C405, 3)]
    others = [replace(each, settings={"PIN_LED": Value.of_text("slow")}) for each in fleet(H7, 2, first=10)]
    assert infer_board_settings(C405, words + others, family_defaults=FAMILY) == ()


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        (Value.of(UINT8, 3), Value.of(UINT8, 3), False),
        (Value.of(UINT8, 3), Value.of(UINT16, 3), False),
        (Value.of(FLOAT, 0.1), Value.of_text("0.10"), False),
        (Value.of_text("0.2"), Value.of(FLOAT, 0.1), True),
        (Value.of_text("fast"), Value.of(UINT8, 3), None),
        (Value.of_text("fast"), Value.of_text("slow"), True),
        (Value.of(FLOAT, float("inf")), Value.of(UINT8, 3), None),
    ],
)
def test_two_values_differ_or_not_or_nobody_can_tell(one: Value, other: Value, expected: bool | None) -> None:
    assert differs(one, other) is expected


def test_defaults_captured_on_the_other_boards_stand_for_the_familys_where_those_agree() -> None:
    captured = {
        C405: numbers(PIN_LED=3, RATE=1),
        H7: numbers(PIN_LED=5, RATE=1, SPLIT=1),
        "Corvane H7 Mini": numbers(PIN_LED=5, RATE=1, SPLIT=2),
    }
    assert defaults_elsewhere(C405, captured) == numbers(PIN_LED=5, RATE=1)
    assert defaults_elsewhere(C405, {C405: captured[C405]}) == {}


def test_inferred_names_join_the_boards_and_signs_of_patterns_in_them_stand_for_themselves() -> None:
    classes = SettingClasses(board=("PIN_*",), calibration=("CAL_*",), roles={"arming.channel": "ARM"})
    joined = with_inferred_board(classes, ["ODD[1]", "STAR*", "WHAT?", "PIN_LED", "CAL_X"])
    for name in ("ODD[1]", "STAR*", "WHAT?", "PIN_LED"):
        assert joined.is_board(name)
    for name in ("ODD1", "STARLIGHT", "WHATS", "CAL_X"):
        assert not joined.is_board(name)
    assert joined.board == ("PIN_*", "ODD[[]1]", "STAR[*]", "WHAT[?]")
    assert (joined.calibration, joined.roles) == (classes.calibration, classes.roles)
    assert with_inferred_board(None, ["A"]).is_board("A")
