"""What the owner of the demo aircraft customised, and what becomes of it from 5.2 to 6.0."""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest

from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.classes import parse_classes
from rotorwright.settings.decisions import Decision, DecisionKind
from rotorwright.settings.identity import Identity
from rotorwright.settings.notes import parse_notes
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.snapshot import Snapshot
from rotorwright.twin.thornbill.release import catalogue, change_notes_text, classes_text, customised_settings

OLD, NEW = catalogue("5.2", "C405"), catalogue("6.0", "C405")


@cache
def sheet() -> CarryOverSheet:
    return carry_over(
        CarryOverInputs(
            ours=Snapshot(
                identity=Identity(
                    unique_id="3a0027001351383438343933",
                    family="Thornbill",
                    release="5.2.0",
                    board="Corvane One",
                    build="",
                ),
                settings=OLD.defaults | customised_settings(),
                taken_at="2026-05-02T09:30:00Z",
            ),
            old_defaults=OLD.defaults,
            new_defaults=NEW.defaults,
            old_catalogue=OLD,
            new_catalogue=NEW,
            notes=parse_notes(change_notes_text(), source="notes"),
            classes=parse_classes(classes_text(), source="classes"),
            same_aircraft=True,
        )
    )


def decision_on(name: str) -> Decision:
    return next(decision for decision in sheet().decisions if name in decision.found)


def written(name: str) -> dict[str, str]:
    return {write.name: write.value.text for write in decision_on(name).writes}


def test_about_seventy_values_are_customised() -> None:
    assert 65 <= len(customised_settings()) <= 85


def test_every_customised_value_is_allowed_and_is_no_default() -> None:
    for name, value in customised_settings().items():
        assert OLD[name].refusal(value) is None
        assert value != OLD[name].default, name
        assert not OLD[name].volatile, name


def test_every_kind_of_decision_but_those_of_later_work_is_met() -> None:
    customised = customised_settings().keys()
    kinds = {decision.kind for decision in sheet().decisions if customised & set(decision.found)}
    assert kinds == {
        DecisionKind.ADOPT,
        DecisionKind.KEEP,
        DecisionKind.RENAME,
        DecisionKind.CONVERT,
        DecisionKind.RELABEL,
        DecisionKind.SPLIT,
        DecisionKind.JOIN,
        DecisionKind.RETIRED,
        DecisionKind.BOARD,
        DecisionKind.CALIBRATION,
        DecisionKind.HELD,
    }


def test_every_found_setting_is_in_exactly_one_decision() -> None:
    found = Counter(name for decision in sheet().decisions for name in decision.found)
    assert found == Counter(OLD.names)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("TURN_YAW_PUSH", "the default changed under it"),
        ("SIEVE_GYRO1_CUT", "the default changed under it"),
        ("LOSS_HOLD", "the default changed under it, and it was renamed"),
        ("SIEVE_TRACK_HIGH", "25000 turns per minute are no whole number of Hz"),
        ("SIEVE_DAMP_ROLL", "it differs from the setting that it is joined with"),
        ("SLOT3_TASK", "its label has no successor"),
        ("LIGHT_BRIGHT", "it is out of the new range"),
    ],
)
def test_what_a_person_must_decide_is_held(name: str, why: str) -> None:
    assert decision_on(name).kind is DecisionKind.HELD, why


def test_five_to_eight_decisions_are_held() -> None:
    assert 5 <= len(sheet().held) <= 8, [decision.found for decision in sheet().held]


@pytest.mark.parametrize(
    ("name", "writes"),
    [
        ("CRAFT_SPAN", {"CRAFT_DIAGONAL": "225"}),
        ("CRAFT_LOOP_US", {"LOOP_RATE": "2000"}),
        ("STICK1_ROLL_TOP", {"STICK1_ROLL_TOP": "720"}),
        ("AIM_TRIM_PITCH", {"POSE_TRIM_PITCH": "-0.6"}),
        ("SUPPLY_CELL_WARN", {"SUPPLY_CELL_WARN": "3.52"}),
        ("SIEVE_TRACK_LOW", {"SIEVE_TRACK_LOW": "110"}),
        ("SIEVE_TRACK_N", {"SIEVE_TRACK_SET": "3"}),
        ("SLOT2_TASK", {"SLOT2_TASK": "11"}),
        ("PORT2_SPEED", {"PORT2_SPEED": "460800"}),
        ("RADIO_DEAD_STICK", {"RADIO_DEAD_PITCH": "6", "RADIO_DEAD_ROLL": "6"}),
        ("READY_CHECKS", {"READY_SENSORS": "7"}),
        ("RADIO_FLIP_PITCH", {"RADIO_FLIP_BITS": "2"}),
        ("READY_DELAY", {"READY_SPIN_WAIT": "500"}),
        ("LIFT_HOVER", {"LIFT_HOVER": "31"}),
        ("ACC_OFF_Z", {"ACC_OFF_Z": "0.1152"}),
        ("TELL_ATT_HZ", {}),
        ("SUPPLY_AMP_GAIN", {"SUPPLY_AMP_GAIN": "37.8"}),
        ("PIN_CAMERA", {}),
        ("KNOB3_CHANNEL", {}),
    ],
)
def test_the_aircraft_gets_the_same_effect_in_the_new_words(name: str, writes: dict[str, str]) -> None:
    assert written(name) == writes


def test_what_is_written_is_allowed_in_the_new_release() -> None:
    for decision in sheet().decisions:
        for write in (*decision.writes, *(each for option in decision.options for each in option.writes)):
            assert NEW[write.name].refusal(write.value) is None, write
