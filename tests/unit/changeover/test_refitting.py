"""Refits joined to the sheet: with notes of our own, old and new laws on both sides."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.unit.settings.builders import FLOAT, UINT8, UINT16, Pair, about, catalogue, notes, setting, ways, written

from rotorwright.changeover.refitting import RefitLimits, curves_of, refit_sheet
from rotorwright.settings.carry_over import DecisionKind, Rule
from rotorwright.settings.catalogue import Catalogue, Setting
from rotorwright.settings.decisions import Decision
from rotorwright.settings.sheet import CarryOverSheet, parse_sheet, print_sheet

STICK = """
[[refit]]
old = ["BEND", "TOP"]
new = ["EXPO", "FULL"]
kind = "stick-curve"
old_law = "TOP * ((1 - BEND / 100) * stick + BEND / 100 * stick ^ 3)"
new_law = "10 * FULL * ((1 - EXPO) * stick + EXPO * stick ^ 3)"
why = "It is counted otherwise."
"""
FIFTH = STICK.replace('EXPO * stick ^ 3)"\nwhy', 'EXPO * stick ^ 5)"\nwhy')
DELAY = """
[[refit]]
old = ["CUT"]
new = ["PASS"]
kind = "filter-delay"
at_hz = "20"
old_loop = "1000000 / LOOP_US"
new_loop = "LOOP_RATE"
[[refit.old_filters]]
kind = "lag-euler"
cutoff = "CUT"
[[refit.new_filters]]
kind = "butterworth"
order = 3
cutoff = "PASS"
[[convert]]
old = "LOOP_US"
new = "LOOP_RATE"
law = { kind = "reciprocal", numerator = "1000000" }
"""
BAND = DELAY.replace("filter-delay", "filter-attenuation").replace(
    "at_hz", 'band_hz = { low = "150", high = "300" }\nat_hz'
)


def stepped(name: str, type_: object, default: float, low: float, high: float, step: float | None) -> Setting:
    made = setting(name, type_, default, low=low, high=high, unit="x")  # type: ignore[arg-type]
    return replace(made, increment=step)


OLD = catalogue(
    setting("BEND", UINT8, 30, low=0, high=100, unit="%"),
    setting("TOP", UINT16, 600, low=0, high=2000, unit="deg/s"),
    setting("CUT", UINT16, 90, low=0, high=500, unit="Hz"),
    setting("LOOP_US", UINT16, 250, low=125, high=1000, unit="us"),
)
NEW = catalogue(
    stepped("EXPO", FLOAT, 0.25, 0, 1, 0.01),
    stepped("FULL", UINT8, 60, 1, 200, None),
    stepped("PASS", UINT16, 100, 0, 500, 5),
    setting("LOOP_RATE", UINT16, 4000, low=500, high=8000, unit="Hz"),
)


def refitted(text: str, *, new: Catalogue = NEW, **mine: float) -> CarryOverSheet:
    pair = Pair(OLD, new, notes(text))
    return refit(pair, pair.sheet(**mine))


def refit(pair: Pair, sheet: CarryOverSheet, limits: RefitLimits | None = None) -> CarryOverSheet:
    return refit_sheet(sheet, notes=pair.notes, old_catalogue=pair.old, new_catalogue=pair.new, limits=limits)


def stick_line(text: str, **mine: float) -> Decision:
    return about(refitted(text, new=NEW, **mine), "TOP")


def test_an_equal_curve_is_found_decided_and_said_to_be_the_same() -> None:
    decision = stick_line(STICK, TOP=720, BEND=42)
    assert (decision.kind, decision.rule, decision.options) == (DecisionKind.REFIT, "note.refit", ())
    assert written(decision) == {"EXPO": "0.42", "FULL": "72"}
    assert "You had set BEND 42 % (default 30 %) and TOP 720 deg/s (default 600 deg/s)." in decision.reason
    assert "With EXPO 0.42 x and FULL 72 x: that is the same curve" in decision.reason
    assert decision.reason.endswith(" It is counted otherwise.")


def test_only_what_differs_from_the_new_default_is_written() -> None:
    assert written(stick_line(STICK, BEND=42)) == {"EXPO": "0.42"}


def test_a_curve_that_the_steps_do_not_reach_is_decided_with_its_deviation_in_deg_per_s() -> None:
    decision = stick_line(STICK, TOP=724, BEND=42)
    assert decision.kind is DecisionKind.REFIT
    assert written(decision)["FULL"] == "72"
    deviation = reported_dps(decision)
    assert deviation == pytest.approx(largest_deviation(724, 0.42, decision, power=3), rel=0.05)
    assert 0 < deviation <= 7.24


def test_another_form_of_curve_is_held_with_the_closest_as_an_option() -> None:
    decision = stick_line(FIFTH, TOP=1200, BEND=60)
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.REFIT_WANTED)
    assert list(ways(decision)) == ["refit", "take-new-default"]
    assert "That is too far from equal to be taken without you. Please decide. It is counted otherwise." in (
        decision.reason
    )
    assert reported_dps(decision) == pytest.approx(largest_deviation(1200, 0.6, decision, power=5), rel=0.05)
    assert reported_dps(decision) > 12


def test_the_closest_is_taken_where_the_limits_are_wide_enough() -> None:
    pair = Pair(OLD, NEW, notes(FIFTH))
    sheet = pair.sheet(TOP=1200, BEND=60)
    assert about(refit(pair, sheet, RefitLimits(stick_dps=200)), "TOP").kind is DecisionKind.REFIT
    assert about(refit(pair, sheet, RefitLimits(stick_share=0.2)), "TOP").kind is DecisionKind.REFIT


def test_a_rate_beyond_the_new_range_is_held_with_the_best_that_can_be_set() -> None:
    new = catalogue(*(replace(each, maximum=each.default) if each.name == "FULL" else each for each in _all(NEW)))
    decision = about(refitted(STICK, new=new, TOP=900), "TOP")
    assert decision.kind is DecisionKind.HELD
    option = next(each for each in decision.options if each.key == "refit")
    assert all(new[each.name].refusal(each.value) is None for each in option.writes)
    assert "300 deg/s" in option.words


def test_an_untouched_curve_takes_the_new_defaults() -> None:
    decision = stick_line(STICK)
    assert (decision.kind, decision.writes) == (DecisionKind.ADOPT, ())


NO_RANGE = catalogue(setting("EXPO", FLOAT, 0.25), setting("FULL", UINT8, 60))


@pytest.mark.parametrize(
    ("new", "words"), [(NO_RANGE, "tells no range of EXPO"), (None, "no catalogue tells the range of EXPO")]
)
def test_without_ranges_it_stays_held_and_says_why(new: Catalogue | None, words: str) -> None:
    pair = Pair(OLD, new or NEW, notes(STICK))
    made = refit_sheet(pair.sheet(TOP=720), notes=pair.notes, old_catalogue=OLD, new_catalogue=new)
    decision = about(made, "TOP")
    assert (decision.kind, list(ways(decision))) == (DecisionKind.HELD, ["take-new-default"])
    assert words in decision.reason
    assert "Please decide." in decision.reason


def test_a_law_that_has_no_result_leaves_the_line_held() -> None:
    decision = stick_line(STICK.replace("10 * FULL", "FULL / 0"), TOP=720)
    assert (decision.kind, list(ways(decision))) == (DecisionKind.HELD, ["take-new-default"])
    assert "cannot be worked out: The formula has no finite result" in decision.reason


def test_an_equal_delay_is_found_and_what_was_not_kept_is_told() -> None:
    decision = about(refitted(DELAY, CUT=120), "CUT")
    assert (decision.kind, decision.rule) == (DecisionKind.REFIT, "note.refit")
    assert "group delay at 20 Hz: " in decision.reason
    assert " ms after (kept)" in decision.reason
    assert "dB after" in decision.reason
    assert "deg after" in decision.reason
    # The group delay at low frequencies is 1/(2 pi fc) of a lag and 2/(2 pi fc) of a third-order Butterworth
    # (arithmetic: the coefficient of s in (s + 1)(s^2 + s + 1)), so about twice the cutoff; the loop adds a little.
    assert float(written(decision)["PASS"]) == pytest.approx(240, rel=0.05)


def test_a_delay_beyond_the_new_range_is_held_with_the_nearest_cutoff() -> None:
    new = catalogue(*(replace(each, maximum=each.default) if each.name == "PASS" else each for each in _all(NEW)))
    decision = about(refitted(DELAY, new=new, CUT=120), "CUT")
    assert decision.kind is DecisionKind.HELD
    option = next(each for each in decision.options if each.key == "refit")
    assert "PASS 100 x" in option.words
    assert "group delay at 20 Hz" in option.words
    assert "(not kept)" in option.words


def test_an_equal_attenuation_is_measured_over_the_band() -> None:
    decision = about(refitted(BAND, CUT=120), "CUT")
    assert "gain in the band, largest change" in decision.reason


def test_a_filter_that_was_off_is_left_to_a_person() -> None:
    decision = about(refitted(DELAY, CUT=0), "CUT")
    assert decision.kind is DecisionKind.HELD
    assert "the filters of the old release were off" in decision.reason


def test_a_law_waits_for_a_setting_that_is_not_decided_and_is_worked_out_afterwards() -> None:
    new = catalogue(*(replace(each, default=each.maximum) if each.name == "LOOP_RATE" else each for each in _all(NEW)))
    pair = Pair(OLD, new, notes(DELAY))
    waiting = refit(pair, pair.sheet(CUT=120, LOOP_US=500))
    assert about(waiting, "LOOP_US").is_undecided
    assert "the value of LOOP_RATE is not known, or not decided yet" in about(waiting, "CUT").reason
    assert refit(pair, waiting) == waiting
    decided = refit(pair, waiting.decide("LOOP_US", "keep-mine"))
    assert about(decided, "CUT").kind is DecisionKind.REFIT


def test_doing_it_twice_changes_nothing_and_the_sheet_goes_through_its_file() -> None:
    pair = Pair(OLD, NEW, notes(FIFTH + DELAY))
    once = refit(pair, pair.sheet(TOP=1200, BEND=60, CUT=120))
    assert refit(pair, once) == once
    assert parse_sheet(print_sheet(once), source="sheet.json") == once


def test_what_a_person_decided_is_left_alone() -> None:
    pair = Pair(OLD, NEW, notes(STICK))
    decided = pair.sheet(TOP=720).decide("TOP", "take-new-default")
    assert refit(pair, decided) == decided


def test_of_two_entries_the_one_whose_condition_holds_is_taken() -> None:
    low = STICK + 'when = { setting = "CUT", at_most = "100" }\n'
    high = STICK.replace("10 * FULL", "20 * FULL") + 'when = { setting = "CUT", at_least = "101" }\n'
    assert written(stick_line(low + high, TOP=720, CUT=90)) == {"EXPO": "0.3", "FULL": "72"}
    assert written(stick_line(low + high, TOP=720, CUT=110)) == {"EXPO": "0.3", "FULL": "36"}


def test_the_curves_to_be_drawn_are_the_old_the_refitted_and_the_new_default_one() -> None:
    pair = Pair(OLD, NEW, notes(FIFTH))
    for limits in (RefitLimits(), RefitLimits(stick_dps=500)):
        sheet = refit(pair, pair.sheet(TOP=1200, BEND=60), limits)
        found = curves_of(sheet, about(sheet, "TOP"), notes=pair.notes, old_catalogue=pair.old, new_catalogue=pair.new)
        assert found is not None
        assert (found.old[0], found.old[-1]) == ((0.0, 0.0), (100.0, 1200.0))
        assert found.old[50][1] == pytest.approx(1200 * (0.4 * 0.5 + 0.6 * 0.125))
        assert found.default[-1][1] == pytest.approx(600)
        apart = max(abs(one[1] - other[1]) for one, other in zip(found.old, found.refit, strict=True))
        assert apart == pytest.approx(reported_dps(about(sheet, "TOP")), rel=0.1)


def test_a_line_about_no_stick_has_no_curves() -> None:
    pair = Pair(OLD, NEW, notes(STICK + DELAY))
    sheet = refit(pair, pair.sheet(CUT=120))
    for name in ("CUT", "TOP", "LOOP_US"):
        assert curves_of(sheet, about(sheet, name), notes=pair.notes, new_catalogue=pair.new) is None


def _all(known: Catalogue) -> list[Setting]:
    return [known[name] for name in known]


def reported_dps(decision: Decision) -> float:
    return float(decision.reason.split("at most ")[1].split(" deg/s")[0])


def largest_deviation(top: float, bend: float, decision: Decision, *, power: int) -> float:
    """Work out the deviation apart from the code under test, for the values that would be written."""
    values = {"EXPO": 0.25, "FULL": 60.0}
    option = next((each.writes for each in decision.options if each.key == "refit"), decision.writes)
    values |= {each.name: float(each.value.number) for each in option}
    stick = np.linspace(-1, 1, 2001)
    old = top * ((1 - bend) * stick + bend * stick**3)
    new = 10 * values["FULL"] * ((1 - values["EXPO"]) * stick + values["EXPO"] * stick**power)
    assert math.isfinite(old[0])
    return float(np.abs(old - new).max())
