"""What each policy decides otherwise than `careful`; docs/reference/policies.md is the same list in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pytest
from tests.unit.settings.builders import (
    FLOAT,
    UINT8,
    UINT16,
    Pair,
    about,
    catalogue,
    notes,
    only,
    setting,
    ways,
    written,
)

from rotorwright.settings.carry_over import CarryOverInputs, Decision, carry_over
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.policies import Policy, PolicySettingError
from rotorwright.settings.sheet import parse_sheet, print_sheet

if TYPE_CHECKING:
    from rotorwright.settings.sheet import CarryOverSheet

CLASSES = SettingClasses(board=("PIN_*",), calibration=("CAL_*",), feel=("STICK_*",))


@dataclass(frozen=True)
class Bench:
    """A pair of releases, decided under a policy."""

    pair: Pair

    def inputs(self, policy: str, **mine: float) -> CarryOverInputs:
        return replace(self.pair.inputs(**mine), classes=CLASSES, policy=Policy.parse(policy))

    def sheet(self, policy: str, **mine: float) -> CarryOverSheet:
        return carry_over(self.inputs(policy, **mine))

    def one(self, policy: str, **mine: float) -> Decision:
        return only(self.sheet(policy, **mine))


def moved(name: str) -> Bench:
    """Return a setting whose default went from 10 to 20."""
    old, new = setting(name, UINT16, 10), setting(name, UINT16, 20)
    return Bench(Pair(catalogue(old), catalogue(new)))


def same(name: str) -> Bench:
    old = setting(name, UINT16, 10)
    return Bench(Pair(catalogue(old), catalogue(old)))


# only-what-i-changed


def test_a_customised_value_is_kept_over_a_new_default() -> None:
    assert moved("LAMP").one("careful", LAMP=15).rule == "default-changed"
    kept = moved("LAMP").one("only-what-i-changed", LAMP=15)
    assert (kept.kind, kept.rule, written(kept)) == ("keep", "policy.kept", {"LAMP": "15"})
    assert "15 (default 10)" in kept.reason
    assert "another one, 20" in kept.reason


@pytest.mark.parametrize("name", ["MOTOR_REST", "ARM_DELAY", "FAILSAFE_WAIT", "LAND_SINK"])
def test_but_not_where_it_touches_arming_motors_or_failsafe(name: str) -> None:
    assert moved(name).one("only-what-i-changed", **{name: 15}).rule == "default-changed"


def test_a_role_or_a_description_tells_of_danger_too() -> None:
    bench = moved("X7")
    classes = SettingClasses(roles={"failsafe.wait": "X7"})
    inputs = replace(bench.inputs("only-what-i-changed", X7=15), classes=classes)
    assert only(carry_over(inputs)).rule == "default-changed"


def test_a_customised_value_that_is_not_exact_is_still_held() -> None:
    text = '[[convert]]\nold = "LAMP"\nnew = "LAMP"\nlaw = { kind = "linear", factor = "1/10" }\n'
    old, new = setting("LAMP", UINT16, 10), setting("LAMP", UINT16, 20)
    bench = Bench(Pair(catalogue(old), catalogue(new), notes(text)))
    assert bench.one("only-what-i-changed", LAMP=15).rule == "not-exact"


def test_another_doubt_in_another_part_of_it_holds_the_whole() -> None:
    text = """[[split]]
old = "LAMP"
[[split.into]]
new = "LAMP_A"
law = { kind = "linear", factor = "1" }
[[split.into]]
new = "LAMP_B"
law = { kind = "linear", factor = "1/10" }
"""
    new = catalogue(setting("LAMP_A", UINT16, 20), setting("LAMP_B", UINT16, 1))
    held = Bench(Pair(catalogue(setting("LAMP", UINT16, 10)), new, notes(text))).one("only-what-i-changed", LAMP=15)
    assert (held.kind, held.rule) == ("held", "default-changed")


def test_what_nobody_changed_takes_the_new_default() -> None:
    assert moved("LAMP").one("only-what-i-changed").rule == "never-customised"


# same-feel


def test_an_untouched_feel_setting_keeps_its_old_default() -> None:
    assert moved("STICK_TOP").one("careful").rule == "never-customised"
    pinned = moved("STICK_TOP").one("same-feel")
    assert (pinned.kind, pinned.rule, written(pinned)) == ("pin", "policy.pinned", {"STICK_TOP": "10"})
    assert "another one, 20" in pinned.reason


def test_where_the_default_stayed_there_is_nothing_to_pin() -> None:
    assert same("STICK_TOP").one("same-feel").rule == "never-customised"


def test_an_untouched_setting_of_another_class_is_not_pinned() -> None:
    assert moved("LAMP").one("same-feel").rule == "never-customised"


def test_a_customised_feel_setting_is_decided_as_under_careful() -> None:
    assert moved("STICK_TOP").one("same-feel", STICK_TOP=15) == moved("STICK_TOP").one("careful", STICK_TOP=15)


def test_a_pinned_default_goes_through_the_note() -> None:
    text = '[[convert]]\nold = "STICK_TOP"\nnew = "STICK_RATE"\nlaw = { kind = "linear", factor = "10" }\n'
    pair = Pair(catalogue(setting("STICK_TOP", UINT8, 50)), catalogue(setting("STICK_RATE", UINT16, 450)), notes(text))
    assert written(Bench(pair).one("same-feel")) == {"STICK_RATE": "500"}


def test_a_default_that_the_note_carries_to_the_very_new_default_needs_no_pin() -> None:
    text = '[[convert]]\nold = "STICK_TOP"\nnew = "STICK_RATE"\nlaw = { kind = "linear", factor = "10" }\n'
    pair = Pair(catalogue(setting("STICK_TOP", UINT8, 50)), catalogue(setting("STICK_RATE", UINT16, 500)), notes(text))
    assert Bench(pair).one("same-feel").rule == "never-customised"


def test_an_old_default_that_cannot_be_carried_exactly_is_held() -> None:
    text = '[[convert]]\nold = "STICK_TOP"\nnew = "STICK_TOP"\nlaw = { kind = "linear", factor = "1/3" }\n'
    pair = Pair(catalogue(setting("STICK_TOP", UINT8, 50)), catalogue(setting("STICK_TOP", UINT8, 20)), notes(text))
    held = Bench(pair).one("same-feel")
    assert (held.kind, held.rule) == ("held", "not-exact")
    assert ways(held)["nearest-below"] == {"STICK_TOP": "16"}


def test_an_old_default_whose_label_moved_is_held() -> None:
    old = setting("STICK_KIND", UINT8, 1, choices={0: "plain", 1: "soft", 2: "hard"})
    new = setting("STICK_KIND", UINT8, 0, choices={0: "plain", 1: "hard", 2: "soft"})
    held = Bench(Pair(catalogue(old), catalogue(new))).one("same-feel")
    assert (held.kind, held.rule) == ("held", "label-moved")
    assert ways(held)["follow-label"] == {"STICK_KIND": "2"}


def test_each_part_of_an_untouched_split_is_pinned() -> None:
    text = """[[split]]
old = "STICK_BITS"
[[split.into]]
new = "STICK_A"
bits = [0]
[[split.into]]
new = "STICK_B"
bits = [1]
"""
    new = catalogue(setting("STICK_A", UINT8, 0), setting("STICK_B", UINT8, 0))
    pair = Pair(catalogue(setting("STICK_BITS", UINT8, 1)), new, notes(text))
    assert written(Bench(pair).one("same-feel")) == {"STICK_A": "1"}


# Classes


def test_customised_board_settings_are_held_where_the_policy_says_so() -> None:
    assert moved("PIN_LED").one("careful", PIN_LED=15).kind == "board"
    held = moved("PIN_LED").one("careful; class.board=hold", PIN_LED=15)
    assert (held.kind, held.rule) == ("held", "policy.held")
    assert ways(held) == {"keep-mine": {"PIN_LED": "15"}, "take-new-default": {}}


def test_board_settings_that_nobody_changed_stay_with_the_board() -> None:
    assert moved("PIN_LED").one("careful; class.board=hold").kind == "board"


def test_customised_settings_of_a_class_are_kept_or_dropped_where_the_policy_says_so() -> None:
    for name in ("PIN_LED", "STICK_TOP"):
        kept = moved(name).one(f"careful; class.{'board' if name == 'PIN_LED' else 'feel'}=keep", **{name: 15})
        assert (kept.kind, kept.rule, written(kept)) == ("keep", "policy.class", {name: "15"})
        dropped = moved(name).one(
            f"careful; class.{'board' if name == 'PIN_LED' else 'feel'}=take-new-default", **{name: 15}
        )
        assert (dropped.kind, dropped.rule, dropped.writes) == ("adopt", "policy.class", ())


def test_calibrations_are_held_kept_or_dropped() -> None:
    bench = same("CAL_X")
    careful = bench.one("careful", CAL_X=15)
    assert bench.one("careful; class.calibration=keep", CAL_X=15) == careful
    assert bench.one("careful; class.calibration=hold", CAL_X=15).rule == "policy.held"
    assert bench.one("careful; class.calibration=take-new-default", CAL_X=15).rule == "policy.class"


def test_no_policy_brings_a_calibration_to_another_aircraft() -> None:
    for policy in ("careful; class.calibration=keep", "careful; set.CAL_X=keep-mine"):
        inputs = replace(same("CAL_X").inputs(policy, CAL_X=15), same_aircraft=False)
        assert only(carry_over(inputs)).rule == "class.calibration.again"
    assert "not possible" in only(carry_over(inputs)).reason


def test_what_is_kept_for_its_class_has_to_be_exact_all_the_same() -> None:
    text = '[[convert]]\nold = "STICK_TOP"\nnew = "STICK_TOP"\nlaw = { kind = "linear", factor = "1/10" }\n'
    pair = Pair(catalogue(setting("STICK_TOP", UINT8, 50)), catalogue(setting("STICK_TOP", UINT8, 5)), notes(text))
    assert Bench(pair).one("careful; class.feel=keep", STICK_TOP=55).rule == "not-exact"


def test_a_board_setting_that_cannot_be_kept_as_its_class_wants_is_held() -> None:
    old, new = setting("PIN_LED", UINT16, 10), setting("PIN_LED", UINT16, 20, low=0, high=30)
    for choice in ("keep", "hold"):
        held = Bench(Pair(catalogue(old), catalogue(new))).one(f"careful; class.board={choice}", PIN_LED=99)
        assert (held.kind, held.rule) == ("held", "not-allowed")


# Single settings


@pytest.mark.parametrize("name", ["LAMP", "PIN_LED", "CAL_X", "STICK_TOP", "MOTOR_REST"])
def test_a_named_setting_is_kept_whatever_its_class(name: str) -> None:
    kept = moved(name).one(f"careful; set.{name}=keep-mine", **{name: 15})
    assert (kept.rule, written(kept)) == ("policy.setting", {name: "15"})


def test_a_named_setting_that_nobody_changed_is_pinned() -> None:
    pinned = moved("LAMP").one("careful; set.LAMP=keep-mine")
    assert (pinned.kind, written(pinned)) == ("pin", {"LAMP": "10"})


@pytest.mark.parametrize("name", ["LAMP", "PIN_LED", "CAL_X"])
def test_a_named_setting_takes_the_new_default(name: str) -> None:
    dropped = moved(name).one(f"careful; set.{name}=take-new-default", **{name: 15})
    assert (dropped.kind, dropped.rule, dropped.writes) == ("adopt", "policy.setting", ())


def test_a_setting_may_be_named_by_its_new_name() -> None:
    text = '[[rename]]\nold = "LAMP"\nnew = "LIGHT"\n'
    pair = Pair(catalogue(setting("LAMP", UINT8, 1)), catalogue(setting("LIGHT", UINT8, 2)), notes(text))
    kept = Bench(pair).one("careful; set.LIGHT=keep-mine", LAMP=5)
    assert (kept.kind, written(kept)) == ("rename", {"LIGHT": "5"})


def test_a_vanished_setting_is_left_out() -> None:
    bench = Bench(Pair(catalogue(setting("GONE", UINT8, 1)), catalogue()))
    assert bench.one("careful", GONE=5).kind == "held"
    left = bench.one("careful; set.GONE=leave-out", GONE=5)
    assert (left.kind, left.rule, left.options) == ("retired", "policy.setting", ())


def test_what_cannot_be_kept_stays_as_the_rules_have_it_and_says_so() -> None:
    old, new = setting("LAMP", UINT16, 10), setting("LAMP", UINT16, 10, low=0, high=100)
    held = Bench(Pair(catalogue(old), catalogue(new))).one("careful; set.LAMP=keep-mine", LAMP=500)
    assert (held.kind, held.rule) == ("held", "not-allowed")
    assert "Your policy says to keep it, which is not possible." in held.reason


def test_a_volatile_setting_is_carried_by_no_policy() -> None:
    old = setting("COUNT", UINT16, 0, volatile=True)
    assert Bench(Pair(catalogue(old), catalogue(old))).one("careful; set.COUNT=keep-mine", COUNT=9).rule == "volatile"


def test_a_name_that_nobody_has_is_refused() -> None:
    with pytest.raises(PolicySettingError):
        same("LAMP").sheet("careful; set.LAMPP=keep-mine")


# The sheet


def test_the_policy_stands_in_the_sheet_and_comes_back_from_the_file() -> None:
    sheet = same("STICK_TOP").sheet("set.STICK_TOP=keep-mine;class.board=hold", STICK_TOP=15)
    assert sheet.policy == "careful; class.board=hold; set.STICK_TOP=keep-mine"
    again = parse_sheet(print_sheet(sheet), source="sheet.json")
    assert again == sheet
    assert Policy.parse(again.policy).text == sheet.policy


def test_float_values_are_pinned_bit_for_bit() -> None:
    pair = Pair(catalogue(setting("STICK_G", FLOAT, 0.1)), catalogue(setting("STICK_G", FLOAT, 0.2)))
    sheet = Bench(pair).sheet("same-feel")
    assert about(sheet, "STICK_G").writes[0].value == pair.old.defaults["STICK_G"]
