"""The stick refit of our own invented firmware from 6.0 to 6.1, from the notes of its book to the writes."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from tests.unit.settings.builders import IDENTITY, NOON, about, ways, written

from rotorwright.changeover.refitting import curves_of, refit_sheet
from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, carry_over
from rotorwright.settings.identity import Identity
from rotorwright.settings.notes import ChangeNotes, parse_notes
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import Value
from rotorwright.twin.thornbill.book import book_files
from rotorwright.twin.thornbill.release import catalogue

OLD, NEW = catalogue("6.0", "C405"), catalogue("6.1", "C405")


@cache
def notes() -> ChangeNotes:
    texts = [data.decode() for path, data in book_files().items() if path.endswith(".toml")]
    text = next(each for each in texts if 'from = "6.0"' in each and "rotorwright-change-notes" in each)
    return parse_notes(text, source="notes")


def sheet(**mine: int) -> CarryOverSheet:
    found = {**OLD.defaults, **{name: Value.of(OLD[name].type, number) for name, number in mine.items()}}
    identity = Identity(IDENTITY.unique_id, "Thornbill", "6.0.0", "Corvane C405")
    made = carry_over(
        CarryOverInputs(
            ours=Snapshot(identity, found, NOON),
            old_defaults=OLD.defaults,
            new_defaults=NEW.defaults,
            old_catalogue=OLD,
            new_catalogue=NEW,
            notes=notes(),
            to_release="6.1.0",
        )
    )
    return refit_sheet(made, notes=notes(), old_catalogue=OLD, new_catalogue=NEW)


def rates(mid: float, top: float, bow: float, stick: np.ndarray) -> np.ndarray:
    """Return the law of 6.0 in deg/s, from the words of its catalogue."""
    return np.asarray(mid * stick + (top - mid) * ((1 - bow / 100) * stick**3 + bow / 100 * stick**5))


def test_a_curve_whose_share_is_whole_is_the_very_same_one() -> None:
    # By hand: the slope in the middle is MID = TOP * (1 - SAG/100), so 150 of 500 deg/s is a sag of 70 %.
    decision = about(sheet(STICK1_ROLL_MID=150, STICK1_ROLL_TOP=500, STICK1_ROLL_BOW=40), "STICK1_ROLL_MID")
    assert (decision.kind, decision.rule) == (DecisionKind.REFIT, "note.refit")
    values = {**dict(zip(decision.new_names, map(str, decision.theirs), strict=True)), **written(decision)}
    assert values == {"STICK1_ROLL_TOP": "500", "STICK1_ROLL_SAG": "70", "STICK1_ROLL_BOW": "40"}
    assert "that is the same curve" in decision.reason
    assert "one setting makes a whole curve faster" in decision.reason


def test_a_curve_between_the_steps_is_told_with_its_deviation_over_the_whole_stick() -> None:
    made = sheet(STICK1_PITCH_MID=170, STICK1_PITCH_TOP=720)
    decision = about(made, "STICK1_PITCH_TOP")
    assert decision.kind is DecisionKind.REFIT
    told = float(decision.reason.split("at most ")[1].split(" deg/s")[0])
    curves = curves_of(made, decision, notes=notes(), old_catalogue=OLD, new_catalogue=NEW)
    assert curves is not None
    stick = np.array([place / 100 for place, _ in curves.old])
    before = rates(170, 720, float(OLD["STICK1_PITCH_BOW"].default.number), stick)  # type: ignore[union-attr]
    assert np.array([rate for _, rate in curves.old]) == pytest.approx(before)
    after = np.array([rate for _, rate in curves.refit])
    assert float(np.abs(after - before).max()) == pytest.approx(told, rel=0.05)
    assert told <= 7.2


def test_a_slope_that_the_new_law_cannot_have_is_left_to_the_person_with_the_closest() -> None:
    # In 6.1 the middle of the stick is never steeper than the whole, so 900 of 300 deg/s has no equal.
    decision = about(sheet(STICK1_YAW_MID=900, STICK1_YAW_TOP=300), "STICK1_YAW_TOP")
    assert decision.kind is DecisionKind.HELD
    assert list(ways(decision)) == ["refit", "take-new-default"]
    assert "too far from equal" in decision.reason


def test_curves_that_nobody_set_take_the_new_defaults() -> None:
    decision = about(sheet(), "STICK1_ROLL_TOP")
    assert (decision.kind, decision.writes) == (DecisionKind.ADOPT, ())
