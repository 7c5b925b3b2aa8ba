"""What the report takes from the journal: nothing is called survived, decided or done that is not."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

from rotorwright.changeover.events import EventKind
from rotorwright.hangar.files import KeptFile
from rotorwright.hangar.journal import Event, JsonValue, next_event
from rotorwright.report import Outcome, StageState
from rotorwright.report.data import Verdict
from rotorwright.report.from_changeover import _faults, report_of, sheet_line
from rotorwright.settings.decisions import Decision, DecisionKind, Option, Write
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

KEPT: dict[str, JsonValue] = {"name": "as-found.json", "sha256": "0" * 64, "bytes": 3}
IDENTITY: dict[str, JsonValue] = {
    "unique_id": "3a0027001351383438343933",
    "family": "Thornbill",
    "release": "5.2.0",
    "board": "Corvane One",
    "build": "",
}
RECEIVED: list[tuple[EventKind, dict[str, JsonValue]]] = [
    (EventKind.STARTED, {"port": "p", "book": KEPT, "image": KEPT, "airframe": "Sandmartin 5"}),
    (EventKind.AIRCRAFT_RECEIVED, IDENTITY),
    (EventKind.SNAPSHOT_SAVED, {"file": KEPT, "settings": 425, "catalogue": None, "display": None}),
]
CUT: tuple[EventKind, dict[str, JsonValue]] = (
    EventKind.INTERRUPTED,
    {"step": "save", "error": "link.port-vanished", "what": "The port went away."},
)
RESUMED: tuple[EventKind, dict[str, JsonValue]] = (
    EventKind.RESUMED,
    {"standing": "Nothing was changed on the aircraft."},
)


@dataclass
class MemoryJournal:
    """A journal without a disk."""

    changeover_id: str = "c0001"
    written: list[Event] = field(default_factory=list)

    def events(self) -> Sequence[Event]:
        return self.written

    def append(self, kind: str, facts: Mapping[str, JsonValue]) -> Event:
        event = next_event(
            self.written[-1] if self.written else None, kind=kind, facts=facts, at="2026-03-14T09:26:53Z"
        )
        self.written.append(event)
        return event

    def keep(self, name: str, data: bytes) -> KeptFile:
        raise NotImplementedError

    def fetch(self, kept: KeptFile) -> bytes:
        raise NotImplementedError

    def path_of(self, kept: KeptFile) -> Path:
        raise NotImplementedError


def journal_of(*events: tuple[EventKind, dict[str, JsonValue]]) -> MemoryJournal:
    journal = MemoryJournal()
    for kind, facts in events:
        journal.append(kind, facts)
    return journal


def test_an_unfinished_job_shows_where_it_stands_and_the_next_action() -> None:
    data = report_of(journal_of(*RECEIVED))
    assert data.outcome is Outcome.NOT_FINISHED
    assert data.aircraft.airframe == "Sandmartin 5"
    assert [stage.state for stage in data.stages][:2] == [StageState.DONE, StageState.NOT_REACHED]
    assert "rotorwright resume c0001" in data.todo


def test_a_fault_is_survived_only_once_the_job_went_on() -> None:
    assert report_of(journal_of(*RECEIVED[:2], CUT)).faults == ()
    assert report_of(journal_of(*RECEIVED[:2], CUT, RESUMED)).faults == ()
    (survived,) = report_of(journal_of(*RECEIVED[:2], CUT, RESUMED, RECEIVED[2])).faults
    assert survived.name == "The port went away."
    assert "link.port-vanished" in survived.words


def test_a_run_that_ended_without_a_word_is_a_fault_too() -> None:
    (survived,) = report_of(journal_of(*RECEIVED[:2], RESUMED, RECEIVED[2])).faults
    assert "killed" in survived.name
    assert survived.words == "Nothing was changed on the aircraft."


@pytest.mark.parametrize(
    ("step", "error"),
    [("sign", "changeover.not-signed"), ("decide", "changeover.decision-missing"), ("save", "workflow.not-confirmed")],
)
def test_what_a_person_answered_is_no_fault(step: str, error: str) -> None:
    answer: tuple[EventKind, dict[str, JsonValue]] = (
        EventKind.INTERRUPTED,
        {"step": step, "error": error, "what": "No."},
    )
    assert report_of(journal_of(*RECEIVED[:2], answer, RESUMED, RECEIVED[2])).faults == ()


def test_answers_given_between_two_runs_make_no_fault_of_the_question() -> None:
    asked: tuple[EventKind, dict[str, JsonValue]] = (
        EventKind.INTERRUPTED,
        {"step": "decide", "error": "changeover.decision-missing", "what": "Nobody answered."},
    )
    answered: tuple[EventKind, dict[str, JsonValue]] = (EventKind.HELD_DECIDED, {"file": KEPT, "undecided": 0})
    events = (*RECEIVED[:2], asked, answered, answered, RESUMED, RECEIVED[2])
    assert _faults(journal_of(*events).events()) == ()
    killed = (*RECEIVED[:2], RESUMED, answered, RESUMED, RECEIVED[2])
    assert len(_faults(journal_of(*killed).events())) == 2


def test_a_check_that_had_nothing_to_compare_is_not_called_passed() -> None:
    passed: tuple[EventKind, dict[str, JsonValue]] = (
        EventKind.CHECK_PROVED,
        {"check": "settings", "verdict": "passed", "evidence": "520 settings equal to the plan"},
    )
    not_shown: tuple[EventKind, dict[str, JsonValue]] = (
        EventKind.CHECK_PROVED,
        {"check": "display", "verdict": "not shown", "evidence": "nothing was compared"},
    )
    report = report_of(journal_of(*RECEIVED, passed, not_shown))
    assert [each.verdict for each in report.proofs] == [Verdict.PASSED, Verdict.UNSURE]
    (prove,) = [stage for stage in report.stages if stage.name == "prove"]
    assert [entry.value for entry in prove.entries] == [1]


def test_after_the_way_back_the_card_shows_what_was_found_and_what_was_put_back() -> None:
    back: list[tuple[EventKind, dict[str, JsonValue]]] = [
        (EventKind.APPLICATION_ANSWERED, IDENTITY | {"release": "6.0.0", "board": "Corvane C405"}),
        (EventKind.SETTINGS_VERIFIED, {"file": KEPT, "written": 70, "verified": 520}),
        (EventKind.ROLL_BACK_WANTED, {}),
        (EventKind.OLD_SETTINGS_VERIFIED, {"file": KEPT, "verified": 474}),
        (EventKind.ROLLED_BACK, {"by": "bench 2"}),
    ]
    data = report_of(journal_of(*RECEIVED, *back))
    assert data.outcome is Outcome.ROLLED_BACK
    assert (data.aircraft.release_after, data.aircraft.board_after) == ("5.2.0", "Corvane One")
    told = {stage.name: {entry.label: entry.value for entry in stage.entries} for stage in data.stages}
    assert told["restore"]["settings read back equal"] == 520
    assert told["roll back"]["as-found settings read back equal"] == 474
    assert data.todo == ""


def test_every_event_and_every_kept_file_is_in_the_report() -> None:
    journal = journal_of(*RECEIVED)
    data = report_of(journal)
    assert [event.sequence for event in data.events] == [1, 2, 3]
    assert [(file.name, file.size_bytes) for file in data.files] == [("as-found.json", 3)]


def value(number: int) -> Value:
    return Value.of(SettingType.UINT16, number)


def split(*, writes: tuple[Write, ...]) -> Decision:
    return Decision(
        found=("SPLIT_ME",),
        kind=DecisionKind.SPLIT,
        rule="note.split",
        reason="One became two.",
        ours=(value(5),),
        base=(value(1),),
        new_names=("PART_A", "PART_B"),
        theirs=(value(1), value(2)),
        writes=writes,
    )


def test_a_part_that_needs_no_write_shows_the_default_that_stands() -> None:
    line = sheet_line(split(writes=(Write("PART_B", value(7)),)), None, None, {})
    assert (line.before, line.after) == ("5", "1, 7")
    assert line.new_names == "PART_A, PART_B"


def held(chosen: str | None) -> Decision:
    return Decision(
        found=("A",),
        kind=DecisionKind.HELD,
        rule="default-changed",
        reason="Both changed it.",
        ours=(value(5),),
        base=(value(1),),
        new_names=("A",),
        theirs=(value(9),),
        options=(
            Option(key="keep-mine", words="keep 5", writes=(Write("A", value(5)),)),
            Option(key="take-new-default", words="take 9", writes=()),
        ),
        chosen=chosen,
    )


def test_a_held_line_shows_what_was_decided_and_by_whom() -> None:
    kept = sheet_line(held("keep-mine"), None, None, {"A": "bench 2"})
    taken = sheet_line(held("take-new-default"), None, None, {"A": "bench 2"})
    assert (kept.after, kept.decision) == ("5", "keep 5 (bench 2)")
    assert (taken.after, taken.decision) == ("9", "take 9 (bench 2)")


def test_an_undecided_line_has_no_value_after() -> None:
    line = sheet_line(held(None), None, None, {})
    assert (line.after, line.decision) == ("", "")


def test_tilts_are_plotted_in_the_order_in_which_they_were_asked_for() -> None:
    samples: JsonValue = {name: [[0, 1, 2], [1, 2, 3]] for name in ("left-down", "nose-down", "nose-up", "right-down")}
    proved: tuple[EventKind, dict[str, JsonValue]] = (
        EventKind.CHECK_PROVED,
        {"check": "attitude", "evidence": "seen", "samples": samples},
    )
    (proof,) = report_of(journal_of(*RECEIVED, proved)).proofs
    assert [plot.title for plot in proof.plots] == ["nose down", "nose up", "left down", "right down"]
    assert [trace.points for trace in proof.plots[0].traces] == [((0, 1), (1, 2)), ((0, 2), (1, 3))]


def test_what_was_found_wrong_on_the_bench_and_set_because_of_it_stays_on_the_card() -> None:
    changed: dict[str, JsonValue] = {"MOUNT_YAW": {"type": "Float", "text": "90"}}
    bench: list[tuple[EventKind, dict[str, JsonValue]]] = [
        (EventKind.CHECK_FAILED, {"check": "orientation", "verdict": "failed", "evidence": "It sits turned."}),
        (EventKind.SETTINGS_REPAIRED, {"because": "orientation", "changed": changed, "file": KEPT}),
    ]
    remarks = " ".join(report_of(journal_of(*RECEIVED, *bench)).remarks)
    assert "The bench check 'orientation' failed: It sits turned." in remarks
    assert "set MOUNT_YAW to 90" in remarks
