from __future__ import annotations

from fractions import Fraction

import pytest
from tests.unit.settings.builders import FLOAT, UINT16, Pair, about, catalogue, notes, setting

from rotorwright.settings.carry_over import DecisionKind, Rule
from rotorwright.settings.notes import NotesError, Refit, RefitKind, new_names, old_names
from rotorwright.settings.refits import DelayMeasure

STICK = """
[[refit]]
old = ["BEND", "TOP"]
new = ["EXPO", "FULL"]
kind = "stick-curve"
old_law = "TOP * (stick + BEND * stick ^ 3)"
new_law = "FULL * ((1 - EXPO) * stick + EXPO * stick ^ 5)"
centre_weight = "2"
why = "Flatter in the middle."
"""
FILTER = """
[[refit]]
old = ["CUT"]
new = ["CUT"]
kind = "filter-delay"
at_hz = "80"
old_loop = "1000000 / LOOP_US"
new_loop = "LOOP_RATE"
[[refit.old_filters]]
kind = "lag-euler"
cutoff = "CUT"
copies = 2
[[refit.new_filters]]
kind = "butterworth"
order = 2
cutoff = "CUT"
"""
OLD = catalogue(setting("BEND", FLOAT), setting("TOP", UINT16, 600), setting("CUT", UINT16, 90))
NEW = catalogue(setting("EXPO", FLOAT, 0.25), setting("FULL", UINT16, 500), setting("CUT", UINT16, 100))


def the_refit(text: str) -> Refit:
    (entry,) = notes(text).entries
    assert isinstance(entry, Refit)
    return entry


def test_a_stick_curve_carries_both_laws_as_text() -> None:
    entry = the_refit(STICK)
    assert entry.kind is RefitKind.STICK_CURVE
    assert (old_names(entry), new_names(entry)) == (("BEND", "TOP"), ("EXPO", "FULL"))
    assert entry.old_law == "TOP * (stick + BEND * stick ^ 3)"
    assert entry.centre_weight == 2


def test_a_filter_carries_both_chains_and_loops() -> None:
    entry = the_refit(FILTER)
    assert (entry.kind, entry.at_hz, entry.delay) == (RefitKind.FILTER_DELAY, Fraction(80), DelayMeasure.GROUP)
    assert entry.old_loop == "1000000 / LOOP_US"
    assert (entry.old_filters[0].kind, entry.old_filters[0].copies) == ("lag-euler", 2)
    assert (entry.new_filters[0].kind, entry.new_filters[0].order) == ("butterworth", 2)


def test_an_attenuation_is_kept_in_a_band() -> None:
    text = FILTER.replace("filter-delay", "filter-attenuation").replace(
        "at_hz", 'band_hz = { low = "100", high = "200" }\nat_hz'
    )
    assert the_refit(text).band_hz == (Fraction(100), Fraction(200))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (STICK.replace("stick-curve", "stick-curves"), "perhaps 'stick-curve' was meant"),
        (STICK.replace("+ BEND * stick ^ 3", ""), "does not use BEND"),
        (STICK.replace("FULL *", "1 *"), "does not use FULL"),
        (STICK + 'at_hz = "80"\n', "no key 'at_hz'"),
        (STICK.replace('["BEND", "TOP"]', "[]"), "one or more different names"),
        (FILTER.replace('at_hz = "80"\n', ""), "it is missing"),
        (FILTER.replace('at_hz = "80"', 'at_hz = "0"'), "above zero"),
        (FILTER.replace("copies = 2", "copies = 9"), "from 1 to 8"),
        (FILTER.replace("lag-euler", "lag-eulr"), "is no filter"),
        (FILTER.replace("copies = 2", "order = 2"), "has no order"),
        (FILTER.replace('new = ["CUT"]', 'new = ["OTHER"]'), "exactly one filter"),
        (FILTER + '[[refit.new_filters]]\nkind = "notch"\ncutoff = "CUT"\n', "exactly one filter"),
        (FILTER.replace('at_hz = "80"', 'at_hz = "80"\ndelay = "sample"'), "is no delay"),
    ],
)
def test_a_refit_that_cannot_be_used_is_refused(text: str, words: str) -> None:
    with pytest.raises(NotesError) as caught:
        notes(text)
    assert words in caught.value.what


def test_a_customised_curve_waits_for_its_refit_and_nothing_is_written() -> None:
    decision = about(Pair(OLD, NEW, notes(STICK)).sheet(TOP=720), "TOP")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.REFIT_WANTED)
    assert decision.found == ("BEND", "TOP")
    assert decision.new_names == ("EXPO", "FULL")
    assert [option.key for option in decision.options] == ["take-new-default"]
    assert "Flatter in the middle." in decision.reason


def test_a_curve_at_its_defaults_takes_the_new_ones() -> None:
    decision = about(Pair(OLD, NEW, notes(STICK)).sheet(), "TOP")
    assert (decision.kind, decision.rule) == (DecisionKind.ADOPT, Rule.NEVER_CUSTOMISED)


def test_a_stick_curve_can_be_turned_round_and_a_filter_cannot() -> None:
    back = the_refit(STICK).reversed()
    assert isinstance(back, Refit)
    assert (back.old, back.old_law) == (("EXPO", "FULL"), the_refit(STICK).new_law)
    assert "which of them are to be found" in str(the_refit(FILTER).reversed())
