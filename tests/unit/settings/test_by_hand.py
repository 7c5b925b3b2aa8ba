"""Held lines decided by a person's own values, and two lines that would become one setting."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import INT16, UINT8, UINT16, Pair, about, catalogue, setting, ways

from rotorwright.settings.by_hand import ByHandRefusedError, ClaimedTwiceError
from rotorwright.settings.decisions import Decision, DecisionKind, Option, Write
from rotorwright.settings.sheet import CarryOverSheet, NotHeldError, parse_sheet, print_sheet
from rotorwright.settings.values import Value

PAIR = Pair(
    catalogue(setting("CHANGED", INT16, 5), setting("GONE", INT16, 5), setting("KEPT", UINT8, 0)),
    catalogue(
        setting("ADDED", UINT8, 1, low=0, high=9),
        setting("CHANGED", INT16, 9, low=0, high=100, unit="ms"),
        setting("KEPT", UINT8, 0),
        setting("LOOK", UINT8, 0, choices={0: "plain", 1: "bold"}),
    ),
)


def sheet() -> CarryOverSheet:
    return PAIR.sheet(CHANGED=7, GONE=7, KEPT=3)


def write(name: str, number: int) -> Write:
    return Write(name, Value.of(PAIR.new[name].type, number))


def by_hand(name: str, *writes: Write) -> CarryOverSheet:
    return sheet().decide_by_hand(name, writes, new_catalogue=PAIR.new)


def test_a_persons_own_value_becomes_an_option_and_is_chosen() -> None:
    made = by_hand("CHANGED", write("CHANGED", 8))
    decision = about(made, "CHANGED")
    assert (decision.kind, decision.chosen) == (DecisionKind.HELD, "by-hand")
    assert decision.options[-1].words == "By hand: CHANGED 8 ms"
    assert list(ways(decision)) == ["keep-mine", "take-new-default", "by-hand"]
    assert [(each.name, each.value.text) for each in made.decide("GONE", "leave-out").writes] == [
        ("CHANGED", "8"),
        ("KEPT", "3"),
    ]


def test_a_vanished_setting_may_become_several_new_ones_by_hand() -> None:
    made = by_hand("GONE", write("LOOK", 1), write("ADDED", 4)).decide("CHANGED", "keep-mine")
    assert ways(about(made, "GONE"))["by-hand"] == {"ADDED": "4", "LOOK": "1"}
    assert about(made, "GONE").options[-1].words == "By hand: LOOK 1 = bold, ADDED 4"
    assert [each.name for each in made.writes] == ["ADDED", "CHANGED", "KEPT", "LOOK"]


def test_by_hand_can_be_done_anew_and_another_way_taken_afterwards() -> None:
    made = by_hand("CHANGED", write("CHANGED", 8))
    again = made.decide_by_hand("CHANGED", [write("CHANGED", 10)], new_catalogue=PAIR.new)
    assert ways(about(again, "CHANGED"))["by-hand"] == {"CHANGED": "10"}
    assert [each.key for each in about(again, "CHANGED").options].count("by-hand") == 1
    assert about(again.decide("CHANGED", "keep-mine"), "CHANGED").chosen == "keep-mine"


def test_a_sheet_decided_by_hand_goes_through_its_file_and_back() -> None:
    made = by_hand("CHANGED", write("CHANGED", 8))
    assert parse_sheet(print_sheet(made), source="sheet.json") == made


@pytest.mark.parametrize(
    ("name", "writes", "words"),
    [
        ("CHANGED", (write("CHANGED", 101),), "101 ms is above the highest allowed"),
        ("CHANGED", (Write("CHANGED", Value.of(UINT16, 8)),), "holds a Int16, and 8 is a Uint16"),
        ("GONE", (write("LOOK", 2),), "none of the choices"),
        ("GONE", (Write("LOK", Value.of(UINT8, 1)),), "LOK is no setting of the new release"),
        ("GONE", (write("LOOK", 1), write("LOOK", 0)), "LOOK was given two values"),
        ("GONE", (), "No value was given"),
        ("GONE", (write("KEPT", 1),), "KEPT is decided on in the line of KEPT"),
        ("GONE", (write("CHANGED", 8),), "CHANGED is decided on in the line of CHANGED"),
    ],
)
def test_what_cannot_stand_is_refused_with_four_answers(name: str, writes: tuple[Write, ...], words: str) -> None:
    with pytest.raises(ByHandRefusedError) as caught:
        by_hand(name, *writes)
    assert words in caught.value.what
    assert all((caught.value.why, caught.value.state, caught.value.todo))


def test_without_a_catalogue_names_and_types_are_judged_by_the_sheet() -> None:
    assert sheet().decide_by_hand("GONE", [write("LOOK", 2)]).undecided == sheet().undecided[:1]
    for bad in (Write("LOOK", Value.of(UINT16, 1)), Write("NOWHERE", Value.of(UINT8, 1))):
        with pytest.raises(ByHandRefusedError):
            sheet().decide_by_hand("GONE", [bad])
    with pytest.raises(ByHandRefusedError, match="Give LOOK, if that was meant"):
        sheet().decide_by_hand("GONE", [Write("LOK", Value.of(UINT8, 1))])


def test_a_line_that_is_not_held_cannot_be_decided_by_hand() -> None:
    with pytest.raises(NotHeldError):
        by_hand("KEPT", write("KEPT", 1))


def two_for_one(*, value: int = 6) -> CarryOverSheet:
    """Return a sheet with two vanished settings that may both become ADDED."""
    ways_out = (Option("to-ADDED", "x", () if value == 1 else (write("ADDED", value),)), Option("leave-out", "x"))
    gone = about(sheet(), "GONE")
    held = [replace(gone, found=(name,), options=ways_out) for name in ("GONE", "LOST")]
    return replace(sheet(), decisions=(*_but_held(sheet()), *held))


def _but_held(made: CarryOverSheet) -> tuple[Decision, ...]:
    return tuple(each for each in made.decisions if each.kind is not DecisionKind.HELD)


@pytest.mark.parametrize("value", [6, 1], ids=["both write", "it is the new default, so neither writes"])
def test_two_lines_that_became_one_setting_are_refused_and_both_named(value: int) -> None:
    made = two_for_one(value=value).decide("GONE", "to-ADDED")
    both = made.decide("LOST", "to-ADDED")
    for asked in (lambda: both.writes, lambda: both.expected_settings({})):
        with pytest.raises(ClaimedTwiceError) as caught:
            asked()
        assert "GONE and LOST are both decided to become ADDED" in caught.value.what
    assert [each.name for each in made.decide("LOST", "leave-out").writes].count("ADDED") == (value == 6)


def test_a_value_by_hand_and_a_successor_cannot_share_a_name_either() -> None:
    made = two_for_one().decide("GONE", "to-ADDED").decide_by_hand("LOST", [write("ADDED", 2)])
    with pytest.raises(ClaimedTwiceError):
        _ = made.writes
