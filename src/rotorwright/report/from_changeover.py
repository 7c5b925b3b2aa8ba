"""Fill a report from the journal of a changeover and the files kept beside it. It decides nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import rotorwright
from rotorwright.changeover.events import NOT_SHOWN, WORDS, EventKind
from rotorwright.changeover.gates import TEXTS, GateShutError, NotConfirmedError
from rotorwright.changeover.gates import Gate as GateName
from rotorwright.changeover.kept import kept_from
from rotorwright.changeover.person import Direction
from rotorwright.changeover.proving.checks import BENCH_CHECKS
from rotorwright.changeover.state import ChangeoverState, fold
from rotorwright.changeover.steps import BACK, Stage, Step, StepRule, forward, next_step
from rotorwright.report.bench_results import proof_of
from rotorwright.report.data import (
    AircraftFacts,
    Evidence,
    Fault,
    FileFact,
    Gate,
    ImageFacts,
    JournalLine,
    Outcome,
    Plot,
    Proof,
    ReportData,
    SettingsCount,
    SheetGroup,
    SheetLine,
    StageCard,
    StageState,
    Trace,
    Verdict,
)
from rotorwright.settings.carry_over import Decision, DecisionKind
from rotorwright.settings.catalogue import parse_catalogue
from rotorwright.settings.sheet import parse_sheet

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Journal
    from rotorwright.hangar.journal import Event, JsonValue
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value

GROUPS: dict[DecisionKind, tuple[str, str]] = {
    DecisionKind.HELD: ("Held", "A person decides."),
    DecisionKind.KEEP: ("Kept", "Customised, same name, same meaning, in range."),
    DecisionKind.RENAME: ("Renamed", "Another name, the same value."),
    DecisionKind.CONVERT: ("Converted", "Another unit or scale, the same effect."),
    DecisionKind.RELABEL: ("Relabelled", "The choice has another number."),
    DecisionKind.SPLIT: ("Split", "One setting became several."),
    DecisionKind.JOIN: ("Joined", "Several settings became one."),
    DecisionKind.REFIT: ("Refitted", "Another law; a value of nearly the same effect."),
    DecisionKind.PIN: ("Pinned", "The new default would change the feel; the old one is kept."),
    DecisionKind.BOARD: ("The board's own", "They belong to the board; its defaults stand."),
    DecisionKind.CALIBRATION: ("Calibration", "It belongs to the sensors of this very aircraft."),
    DecisionKind.RETIRED: ("Retired", "The new release has no such setting."),
    DecisionKind.ADOPT: ("Adopted", "Never customised; the new default stands."),
}

CHECK_NAMES = {
    "release": "Release after the restart",
    "settings": "Settings read back",
    "display": "Display characters read back",
    "attitude": "Attitude while tipped by hand",
    "power": "Battery and its measurement",
    "orientation": "Orientation of the sensors",
    "receiver": "Receiver and sticks",
    "arming": "Arming and functions on switches",
    "failsafe": "Failsafe without a transmitter",
    "motors": "Motors, one by one, propellers off",
    "flight": "First hover against a flight from before",
}


def report_of(journal: Journal, *, title: str | None = None) -> ReportData:
    """Return everything that the report of this changeover shows."""
    events = tuple(journal.events())
    state = fold(events)
    sheet = _sheet(journal, state)
    return ReportData(
        title=title or _title(journal, state),
        aircraft=_aircraft(events, state),
        outcome=_outcome(state),
        started_at=events[0].at if events else "",
        finished_at=events[-1].at if events else "",
        stages=_stages(state, sheet, events),
        settings=_counts(state, sheet),
        groups=_groups(journal, state, sheet, events),
        image=_image(state, events),
        gates=_gates(events),
        proofs=_proofs(journal, events, state),
        faults=_faults(events),
        files=_files(events),
        events=tuple(JournalLine(sequence=e.sequence, at=e.at, kind=e.kind, words=_event_words(e)) for e in events),
        remarks=_remarks(sheet, events, state.unproved),
        todo=_todo(journal, state),
        made_by=f"Rotorwright {rotorwright.__version__}",
    )


def _title(journal: Journal, state: ChangeoverState) -> str:
    if state.received is None or state.image is None:
        return f"Changeover {journal.changeover_id}"
    return f"{journal.changeover_id}: {state.received.family} {state.received.release} to {state.image.release}"


def _sheet(journal: Journal, state: ChangeoverState) -> CarryOverSheet | None:
    return parse_sheet(journal.fetch(state.sheet), source=state.sheet.name) if state.sheet else None


def _outcome(state: ChangeoverState) -> Outcome:
    if state.is_rolled_back:
        return Outcome.ROLLED_BACK
    return Outcome.SIGNED if state.signed_by is not None else Outcome.NOT_FINISHED


def _aircraft(events: Sequence[Event], state: ChangeoverState) -> AircraftFacts:
    before, image = state.received, state.image
    after = before if state.is_rolled_back else state.new_identity
    airframe = next((e.facts.get("airframe", "") for e in events if e.kind == EventKind.STARTED), "")
    return AircraftFacts(
        unique_id=before.unique_id if before else "",
        airframe=str(airframe),
        family=before.family if before else "",
        release_before=before.release if before else "",
        release_after=after.release if after else "",
        board_before=before.board if before else "",
        board_after=after.board if after else "",
        microcontroller=image.microcontroller if image else "",
    )


def _stages(state: ChangeoverState, sheet: CarryOverSheet | None, events: Sequence[Event]) -> tuple[StageCard, ...]:
    way = forward(state)
    rules = (*way, *BACK) if state.is_rolling_back else way
    order = list(dict.fromkeys(rule.stage for rule in rules))
    return tuple(
        StageCard(
            name=str(stage),
            state=_stage_state(state, [rule for rule in rules if rule.stage is stage]),
            entries=_ENTRIES[stage](_Told(state, sheet, events)) if stage in _ENTRIES else (),
        )
        for stage in order
    )


def _stage_state(state: ChangeoverState, rules: Sequence[StepRule]) -> StageState:
    done = [rule.is_done(state) for rule in rules]
    if all(done):
        return StageState.DONE
    if state.is_rolling_back and rules[0].stage is not Stage.ROLL_BACK:
        return StageState.STOPPED if any(done) else StageState.NOT_REACHED
    if any(done) or rules[0].stage is Stage.ROLL_BACK:
        return StageState.OPEN
    return StageState.NOT_REACHED


@dataclass(frozen=True, slots=True)
class _Told:
    """What a stage may take its evidence from."""

    state: ChangeoverState
    sheet: CarryOverSheet | None
    events: Sequence[Event]

    def count(self, kind: EventKind, key: str) -> int | None:
        """Return a number of the latest event of a kind, or None when there is none."""
        found = [event.facts.get(key) for event in _of(self.events, kind)]
        return value if found and isinstance(value := found[-1], int) else None


def _receive_entries(told: _Told) -> tuple[Evidence, ...]:
    if told.state.as_found is None:
        return ()
    return (
        Evidence(label="settings read twice, equal, on disk", value=told.state.as_found_count),
        Evidence(label="copy read back, SHA-256", value=told.state.as_found.sha256[:16], verdict=Verdict.PASSED),
    )


def _plan_entries(told: _Told) -> tuple[Evidence, ...]:
    if told.sheet is None:
        return ()
    return (
        Evidence(label="settings decided", value=sum(len(decision.found) for decision in told.sheet.decisions)),
        Evidence(label="held for a person", value=len(told.sheet.held)),
        Evidence(label="still undecided", value=len(told.sheet.undecided)),
    )


def _write_entries(told: _Told) -> tuple[Evidence, ...]:
    if not told.state.is_image_written:
        return ()
    state = told.state
    read_back = state.image_bytes_verified - state.image_bytes_by_checksum
    by_checksum = Evidence(
        label="right by the bootloader's checksum",
        value=state.image_bytes_by_checksum,
        unit="bytes",
        verdict=Verdict.PASSED,
    )
    return (
        Evidence(label="sectors written", value=state.sectors_written),
        Evidence(
            label="image read back",
            value=read_back,
            unit="bytes",
            verdict=Verdict.PASSED if state.is_image_verified else Verdict.UNSURE,
        ),
        *((by_checksum,) if state.image_bytes_by_checksum else ()),
    )


def _restore_entries(told: _Told) -> tuple[Evidence, ...]:
    return _counted(
        ("display characters changed", told.count(EventKind.DISPLAY_VERIFIED, "changed"), None),
        ("settings written", told.count(EventKind.SETTINGS_VERIFIED, "written"), None),
        ("settings read back equal", told.count(EventKind.SETTINGS_VERIFIED, "verified"), Verdict.PASSED),
    )


def _roll_back_entries(told: _Told) -> tuple[Evidence, ...]:
    return _counted(
        ("old image read back, bytes", told.count(EventKind.OLD_IMAGE_VERIFIED, "bytes"), Verdict.PASSED),
        ("as-found settings read back equal", told.count(EventKind.OLD_SETTINGS_VERIFIED, "verified"), Verdict.PASSED),
        ("display characters put back", told.count(EventKind.OLD_DISPLAY_VERIFIED, "changed"), None),
    )


def _counted(*rows: tuple[str, int | None, Verdict | None]) -> tuple[Evidence, ...]:
    """Return the rows whose number is known."""
    return tuple(
        Evidence(label=label, value=value, verdict=verdict) for label, value, verdict in rows if value is not None
    )


def _prove_entries(told: _Told) -> tuple[Evidence, ...]:
    """Count only: the evidence stands at the bench checks."""
    passed = len({one.check for one in told.state.proved if one.is_shown})
    return (Evidence(label="bench checks passed", value=passed, verdict=Verdict.PASSED),) if passed else ()


def _sign_entries(told: _Told) -> tuple[Evidence, ...]:
    return (Evidence(label="signed by", value=told.state.signed_by),) if told.state.signed_by else ()


_ENTRIES: dict[Stage, Callable[[_Told], tuple[Evidence, ...]]] = {
    Stage.RECEIVE: _receive_entries,
    Stage.PLAN: _plan_entries,
    Stage.WRITE: _write_entries,
    Stage.RESTORE: _restore_entries,
    Stage.PROVE: _prove_entries,
    Stage.SIGN: _sign_entries,
    Stage.ROLL_BACK: _roll_back_entries,
}


def _counts(state: ChangeoverState, sheet: CarryOverSheet | None) -> SettingsCount | None:
    if sheet is None:
        return None
    return SettingsCount(
        found=state.as_found_count,
        decided=sum(len(decision.found) for decision in sheet.decisions),
        held=len(sheet.held),
        written=state.settings_written,
        verified=state.settings_verified,
    )


def _groups(
    journal: Journal, state: ChangeoverState, sheet: CarryOverSheet | None, events: Sequence[Event]
) -> tuple[SheetGroup, ...]:
    if sheet is None:
        return ()
    old = parse_catalogue(journal.fetch(state.old_catalogue)) if state.old_catalogue else None
    new = parse_catalogue(journal.fetch(state.new_catalogue)) if state.new_catalogue else None
    who = _deciders(events)
    groups = []
    for kind, (title, explanation) in GROUPS.items():
        lines = tuple(sheet_line(one, old, new, who) for one in sheet.decisions if one.kind is kind)
        if lines:
            groups.append(SheetGroup(kind=str(kind), title=title, explanation=explanation, lines=lines))
    return tuple(groups)


def _deciders(events: Sequence[Event]) -> dict[str, str]:
    found: dict[str, str] = {}
    for event in events:
        if event.kind == EventKind.HELD_DECIDED:
            found.update(dict.fromkeys(_texts(event.facts.get("names")), str(event.facts.get("by", ""))))
    return found


def sheet_line(decision: Decision, old: Catalogue | None, new: Catalogue | None, who: Mapping[str, str]) -> SheetLine:
    """Return one line of the sheet in words; `who` names who decided a held setting, by its name."""
    shown = [_shown(name, value, new) for name, value in _values_after(decision).items()]
    chosen = next((option.words for option in decision.options if option.key == decision.chosen), "")
    return SheetLine(
        names=", ".join(decision.found),
        new_names=", ".join(decision.new_names) if decision.new_names != decision.found else "",
        before=", ".join(_shown(n, v, old) for n, v in zip(decision.found, decision.ours, strict=True)),
        after=", ".join(shown),
        reason=decision.reason,
        decision=f"{chosen} ({who.get(decision.found[0], '')})" if chosen else "",
    )


def _values_after(decision: Decision) -> dict[str, Value]:
    """Return what the new names hold: what is written, else the default that stands; nothing while undecided."""
    if decision.is_undecided:
        return {}
    defaults = zip(decision.new_names, decision.theirs, strict=False)
    return {name: value for name, value in defaults if value is not None} | {
        write.name: write.value for write in decision.writes_in_force
    }


def _shown(name: str, value: Value, catalogue: Catalogue | None) -> str:
    return catalogue[name].show(value) if catalogue is not None and name in catalogue else value.text


def _image(state: ChangeoverState, events: Sequence[Event]) -> ImageFacts | None:
    image = state.image
    if image is None:
        return None
    return ImageFacts(
        name=f"{image.release} for {image.board}",
        sha256=image.sha256,
        size_bytes=image.size_bytes,
        sectors_written=state.sectors_written or len({e.facts.get("sector") for e in _of(events, "erase-allowed")}),
        sectors_in_image=len(image.sectors),
        verified=state.is_image_verified,
    )


def _gates(events: Sequence[Event]) -> tuple[Gate, ...]:
    latest: dict[str, Event] = {str(e.facts["gate"]): e for e in _of(events, EventKind.GATE_PASSED)}
    return tuple(
        Gate(
            name=name.replace("-", " "),
            verdict=Verdict.PASSED,
            words=f"{TEXTS[GateName(name)].asks} Evidence: {event.facts.get('evidence', '')}",
            held_by=str(event.facts.get("by", "")),
        )
        for name, event in latest.items()
        if name in set(GateName)
    )


def _proofs(journal: Journal, events: Sequence[Event], state: ChangeoverState) -> tuple[Proof, ...]:
    """Return how each check ended last, failed ones too, and those that were left out."""
    kinds = {EventKind.CHECK_PROVED, EventKind.CHECK_FAILED}
    latest = {str(e.facts["check"]): e for e in events if e.kind in kinds}
    proofs = [_proof(journal, check, event) for check, event in latest.items()]
    is_whole = set(BENCH_CHECKS) & set(state.checks)
    left_out = [check for check in BENCH_CHECKS if is_whole and check not in state.checks and check not in latest]
    return (*proofs, *(_left_out(check) for check in left_out))


def _proof(journal: Journal, check: str, event: Event) -> Proof:
    name = CHECK_NAMES.get(check, check)
    if event.facts.get("file"):
        return proof_of(journal.fetch(kept_from(event.facts["file"])), name=name)
    return Proof(
        name=name,
        verdict=Verdict.UNSURE if event.facts.get("verdict") == NOT_SHOWN else Verdict.PASSED,
        words=str(event.facts.get("evidence", "")),
        plots=_tilt_plots(event.facts.get("samples")),
    )


def _left_out(check: str) -> Proof:
    words = "Left out at the person's word when the job card was opened; nothing was measured."
    return Proof(name=CHECK_NAMES.get(check, check), verdict=Verdict.UNSURE, words=words)


def _tilt_plots(samples: JsonValue) -> tuple[Plot, ...]:
    if not isinstance(samples, Mapping):
        return ()
    return tuple(
        Plot(
            title=direction.replace("-", " "),
            x_label="time",
            x_unit="s",
            y_label="angle",
            y_unit="deg",
            traces=(_trace("roll", rows, 1), _trace("pitch", rows, 2)),
        )
        for direction, rows in sorted(samples.items(), key=_as_asked)
    )


def _as_asked(one: tuple[str, JsonValue]) -> int:
    """Return the place of a direction in the order in which the tilts are asked for; JSON sorts by name."""
    order = [str(direction) for direction in Direction]
    return order.index(one[0]) if one[0] in order else len(order)


def _trace(label: str, rows: JsonValue, column: int) -> Trace:
    points = []
    for row in rows if isinstance(rows, Sequence) else ():
        if isinstance(row, Sequence) and not isinstance(row, str):
            x, y = row[0], row[column]
            if isinstance(x, int | float) and isinstance(y, int | float):
                points.append((float(x), float(y)))
    return Trace(label=label, points=tuple(points))


_ASKING_STEPS = {Step.DECIDE, Step.ACCEPT, Step.SIGN}
_SHUT_GATES = {GateShutError.id, NotConfirmedError.id}


def _faults(events: Sequence[Event]) -> tuple[Fault, ...]:
    """Return what went wrong and was followed by work; what a person answered is no fault."""
    worked_on = [e.sequence for e in events if e.kind not in {EventKind.INTERRUPTED, EventKind.RESUMED}]
    last = max(worked_on, default=0)
    # A person may answer between two runs, with no run going on.
    runs = [event for event in events if event.kind != EventKind.HELD_DECIDED]
    return tuple(
        fault for before, event in pairwise(runs) if event.sequence < last and (fault := _fault(before, event))
    )


def _fault(before: Event, event: Event) -> Fault | None:
    if event.kind == EventKind.INTERRUPTED and not _is_an_answer(event):
        step, error = str(event.facts.get("step", "")).replace("-", " "), event.facts.get("error", "")
        words = f"In the step '{step}'; the job went on from what the aircraft said then ({error})."
        return Fault(name=str(event.facts.get("what", "")), words=words, at=event.at)
    if event.kind == EventKind.RESUMED and before.kind != EventKind.INTERRUPTED:
        name = "The run before ended without a word: stopped, killed, or without power."
        return Fault(name=name, words=str(event.facts.get("standing", "")), at=event.at)
    return None


def _is_an_answer(event: Event) -> bool:
    return event.facts.get("step") in _ASKING_STEPS or event.facts.get("error") in _SHUT_GATES


_FILE_WORDS = {
    EventKind.STARTED: "given by the person",
    EventKind.SNAPSHOT_SAVED: "as found",
    EventKind.SHEET_MADE: "carry-over sheet",
    EventKind.HELD_DECIDED: "carry-over sheet, decided",
    EventKind.OLD_IMAGE_SAVED: "old image, for the way back",
    EventKind.OLD_IMAGE_GIVEN: "old image given by the person, for the way back",
    EventKind.DEFAULTS_READ: "the board's own defaults of the new release",
    EventKind.SETTINGS_VERIFIED: "as left",
    EventKind.OLD_SETTINGS_VERIFIED: "after the way back",
}


def _files(events: Sequence[Event]) -> tuple[FileFact, ...]:
    found: dict[str, FileFact] = {}
    for event in events:
        words = _FILE_WORDS.get(EventKind(event.kind), "") if event.kind in set(EventKind) else ""
        for value in event.facts.values():
            if isinstance(value, Mapping) and {"name", "sha256", "bytes"} <= set(value):
                kept = kept_from(value)
                found.setdefault(
                    kept.name, FileFact(name=kept.name, sha256=kept.sha256, size_bytes=kept.size_bytes, words=words)
                )
    return tuple(found.values())


def _event_words(event: Event) -> str:
    words = WORDS.get(EventKind(event.kind), "") if event.kind in set(EventKind) else ""
    more = [
        str(event.facts[key])
        for key in ("release", "gate", "sector", "check", "choice", "names", "what", "by")
        if event.facts.get(key) is not None
    ]
    return f"{words}: {', '.join(more)}" if more else words


_BENCH_TROUBLE = {EventKind.CHECK_FAILED, EventKind.SETTINGS_REPAIRED}


def _bench_remark(event: Event) -> str:
    """Return what was found wrong on the bench, or what was set because of it; the checks show only how it ended."""
    if event.kind == EventKind.CHECK_FAILED:
        return f"The bench check '{event.facts.get('check', '')}' failed: {event.facts.get('evidence', '')}"
    changed = event.facts.get("changed")
    values = changed.items() if isinstance(changed, Mapping) else ()
    listed = ", ".join(f"{name} to {value.get('text', '')}" for name, value in values if isinstance(value, Mapping))
    return f"After the bench check '{event.facts.get('because', '')}' a person let the tool set {listed}."


def _remarks(sheet: CarryOverSheet | None, events: Sequence[Event], unproved: Sequence[str]) -> tuple[str, ...]:
    remarks = [f"Not proved by the way of writing: {words}" for words in unproved]
    remarks += [_bench_remark(event) for event in events if event.kind in _BENCH_TROUBLE]
    if sheet is not None:
        words = f"{len(sheet.arrivals)} settings are new in {sheet.to_release} and have the board's own defaults."
        remarks.append(words)
    if events:
        # A chain cut off at its end still fits; whoever has this digest can tell.
        remarks.append(f"The journal ends with event {events[-1].sequence}, digest {events[-1].sha256}.")
    return tuple(remarks)


def _todo(journal: Journal, state: ChangeoverState) -> str:
    rule = next_step(state)
    return f"{rule.words}: rotorwright resume {journal.changeover_id}" if rule else ""


def _of(events: Sequence[Event], kind: str) -> tuple[Event, ...]:
    return tuple(event for event in events if event.kind == kind)


def _texts(value: JsonValue) -> list[str]:
    return [str(item) for item in value] if isinstance(value, Sequence) and not isinstance(value, str) else []
