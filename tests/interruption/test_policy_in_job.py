"""Policies, constraints and the order of writing in a whole job on the virtual aircraft."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import VirtualBench

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.state import fold
from rotorwright.hangar.book_pack import pack_book
from rotorwright.hangar.store import Hangar
from rotorwright.settings.sheet import CarryOverSheet, parse_sheet
from rotorwright.settings.snapshot import Snapshot, parse_snapshot

if TYPE_CHECKING:
    from pathlib import Path

    from rotorwright.settings.carry_over import Decision

SMALL_BYTES = 4096  # an image of a few sectors is written in no time

CLASH = """
[[sum]]
of = ["LOSS_WAIT", "LOSS_NEAR"]
at_most = 400
why = "Made for the test: the aircraft's own answers break it."
"""


def _bench(folder: Path, *, constraints: str = "", policy: str = "careful") -> VirtualBench:
    bench = VirtualBench(folder, size_bytes=SMALL_BYTES)
    bench.policy = policy
    file = folder / "book" / "constraints" / "6.0.toml"
    file.write_text(file.read_text(encoding="utf-8") + constraints, encoding="utf-8")
    bench.book = pack_book(folder / "book")
    return bench


def _sheet(bench: VirtualBench) -> CarryOverSheet:
    kept = fold(bench.events()).sheet
    assert kept is not None
    with Hangar.open(bench.folder / "hangar") as hangar:
        return parse_sheet(hangar.fetch(bench.changeover_id, kept), source=kept.name)


def _as_left(bench: VirtualBench) -> Snapshot:
    kept = fold(bench.events()).as_left
    assert kept is not None
    with Hangar.open(bench.folder / "hangar") as hangar:
        return parse_snapshot(hangar.fetch(bench.changeover_id, kept), source=kept.name)


def test_the_policy_is_in_the_journal_the_sheet_and_the_aircraft(tmp_path: Path) -> None:
    bench = _bench(tmp_path, policy="same-feel; class.board=hold")
    assert bench.run().error is None
    started = bench.events()[0]
    assert (started.kind, started.facts["policy"]) == (EventKind.STARTED, "same-feel; class.board=hold")
    assert _sheet(bench).policy == "same-feel; class.board=hold"
    left = _as_left(bench).settings
    assert left["STICK1_YAW_TOP"].text == "500", "the old default, ten times the number that it was"
    assert left["PIN_CAMERA"].text == "255", "held, and the person of this bench keeps what was set"


def test_what_enables_is_in_force_before_what_needs_it_is_written(tmp_path: Path) -> None:
    bench = _bench(tmp_path)
    assert bench.run().error is None
    (wanted,) = [event for event in bench.events() if event.kind == EventKind.SETTINGS_WANTED]
    assert wanted.facts["restarts_between"] == 1
    assert wanted.facts["because"] == [
        "Then a restart: SIEVE_TRACK_ON needs MOTOR_TELLS_RPM, which counts only after a restart."
    ]
    left = _as_left(bench).settings
    assert (left["MOTOR_TELLS_RPM"].text, left["SIEVE_TRACK_ON"].text) == ("1", "1")


@pytest.mark.parametrize(("choice", "wait"), [("keep-mine", "600"), ("nearest-fitting", "385")])
def test_answers_that_do_not_go_together_are_asked_about_once_more(choice: str, wait: str, tmp_path: Path) -> None:
    bench = _bench(tmp_path, constraints=CLASH)
    again: list[Decision] = []

    def answer(held: Decision) -> str:
        if held.rule != "constraint-broken":
            return held.options[0].key
        again.append(held)
        return choice

    bench.answers = answer
    run = bench.run()
    assert run.error is None
    assert [each.found for each in again] == [("LOSS_HOLD",)], "asked once, and not again when the plan is made anew"
    assert "LOSS_WAIT + LOSS_NEAR must not be above 400" in again[0].reason
    assert _as_left(bench).settings["LOSS_WAIT"].text == wait
