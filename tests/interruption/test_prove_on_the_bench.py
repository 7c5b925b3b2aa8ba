"""The bench in the job: all of it measured on the body of the virtual aircraft, with faults, repairs and cuts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import BenchRun, VirtualBench

from rotorwright.changeover.errors import BenchCheckFailedError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.proving.checks import BENCH_CHECKS
from rotorwright.changeover.proving.settling import repair
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.demo_craft import demo_truth
from rotorwright.twin.physical_world import PhysicalWorld
from rotorwright.twin.physics.faults import BenchFault

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.hangar.journal import Event

SEEN = {"meter-volts": "16.19", "repair": "no"}
CHECK_OF = {
    BenchFault.MOUNTED_OTHERWISE: "orientation",
    BenchFault.FORCE_Y_MIRRORED: "orientation",
    BenchFault.RATE_Z_MIRRORED: "orientation",
    BenchFault.RATE_BIAS_LARGE: "orientation",
    BenchFault.RATE_NOISE_LARGE: "orientation",
    BenchFault.REST_CURRENT_HIGH: "power",
    BenchFault.CHANNELS_SWAPPED: "receiver",
    BenchFault.CHANNEL_REVERSED: "receiver",
    BenchFault.FAILSAFE_HOLDS: "failsafe",
    BenchFault.FAILSAFE_WITH_THRUST: "failsafe",
    BenchFault.MOTORS_SWAPPED: "motors",
    BenchFault.MOTOR_REVERSED: "motors",
    BenchFault.MOTOR_DEAD: "motors",
    BenchFault.MOTOR_KEEPS_TURNING: "motors",
    BenchFault.VOLTAGE_SCALE_OFF: "power",
    BenchFault.PACK_UNDER_FULL: "power",
}


@pytest.fixture(scope="module")
def before_the_bench(tmp_path_factory: pytest.TempPathFactory) -> VirtualBench:
    """A job whose settings are back, killed before its first check on the bench."""
    rehearsal = VirtualBench(tmp_path_factory.mktemp("rehearsal"), size_bytes=40 * 1024)
    assert rehearsal.run().error is None
    last = next(event for event in rehearsal.events() if event.facts.get("check") == "display")
    bench = VirtualBench(tmp_path_factory.mktemp("before"), size_bytes=40 * 1024)
    bench.checks, bench.seen = BENCH_CHECKS, SEEN
    assert bench.run(kill_at=last.sequence).was_killed
    return bench


def _planted(bench: VirtualBench, folder: Path, *faults: str, seen: Mapping[str, str] = SEEN) -> VirtualBench:
    copy = bench.copy(folder)
    copy.papers, copy.seen = replace(copy.papers, planted=faults), seen
    return copy


def _run(bench: VirtualBench, **how: object) -> BenchRun:
    return bench.run(prepare=lambda shop: shop.person.act_battery(), **how)  # type: ignore[attr-defined, arg-type]


def _ended(bench: VirtualBench, kind: EventKind) -> list[Event]:
    return [event for event in bench.events() if event.kind == kind and event.facts["check"] in BENCH_CHECKS]


def test_a_sound_aircraft_passes_every_check_and_is_signed(before_the_bench: VirtualBench, tmp_path: Path) -> None:
    bench = _planted(before_the_bench, tmp_path)
    run = _run(bench)
    assert run.error is None
    proved = _ended(bench, EventKind.CHECK_PROVED)
    told = {str(event.facts["check"]): (event.facts["verdict"], event.facts["evidence"]) for event in proved}
    assert set(told) == set(BENCH_CHECKS)
    assert [check for check, (verdict, _) in told.items() if verdict != "passed"] == [], told
    assert not _ended(bench, EventKind.CHECK_FAILED)
    assert run.state is not None
    assert run.state.signed_by == "tester"


@pytest.mark.parametrize(("fault", "check"), CHECK_OF.items())
def test_a_planted_fault_stops_the_job_at_its_check(
    before_the_bench: VirtualBench, tmp_path: Path, fault: BenchFault, check: str
) -> None:
    bench = _planted(before_the_bench, tmp_path, str(fault))
    run = _run(bench)
    assert isinstance(run.error, BenchCheckFailedError), [
        event.facts for event in _ended(bench, EventKind.CHECK_PROVED)
    ]
    assert run.error.result.check == check
    assert run.state is not None
    assert run.state.signed_by is None
    (failed,) = _ended(bench, EventKind.CHECK_FAILED)
    assert (failed.facts["check"], failed.facts["verdict"]) == (check, "failed")


def test_an_aircraft_that_never_arms_does_not_pass(before_the_bench: VirtualBench, tmp_path: Path) -> None:
    bench = _planted(before_the_bench, tmp_path, BenchFault.ARMING_ANSWER_STUCK)
    _run(bench)
    verdicts = {event.facts["check"]: event.facts["verdict"] for event in _ended(bench, EventKind.CHECK_PROVED)}
    assert verdicts["arming"] == "not shown"


def test_a_turned_board_is_repaired_by_its_settings_and_the_aircraft_is_signed(
    before_the_bench: VirtualBench, tmp_path: Path
) -> None:
    seen = {**SEEN, "repair": "yes"}
    bench = _planted(before_the_bench, tmp_path, BenchFault.MOUNTED_OTHERWISE, seen=seen)
    run = _run(bench)
    assert run.error is None
    assert run.state is not None
    assert {name: value.number for name, value in run.state.repaired.items()} == {"MOUNT_YAW": 90.0}
    kinds = [event.kind for event in bench.events()]
    repaired = kinds.index(EventKind.SETTINGS_REPAIRED)
    proved_anew = [event for event in bench.events()[repaired:] if event.facts.get("check") == "settings"]
    assert proved_anew, "that all settings stand as planned has to be shown again after a repair"
    assert run.state.signed_by == "tester"


def test_motors_do_not_turn_when_their_gate_is_not_confirmed(before_the_bench: VirtualBench, tmp_path: Path) -> None:
    bench = _planted(before_the_bench, tmp_path)
    run = _run(bench, refuses=frozenset({str(Gate.MOTORS_MAY_TURN)}))
    assert run.error is None
    assert not _has_turned(run)
    verdicts = {event.facts["check"]: event.facts["verdict"] for event in _ended(bench, EventKind.CHECK_PROVED)}
    assert {check for check, verdict in verdicts.items() if verdict == "not shown"} == {"arming", "failsafe", "motors"}


def test_what_the_settings_say_wrong_of_arming_is_found_though_no_motor_may_turn(
    before_the_bench: VirtualBench, tmp_path: Path
) -> None:
    bench = _planted(before_the_bench, tmp_path)

    def arms_at_rest(shop: Workshop) -> None:
        shop.person.act_battery()  # type: ignore[attr-defined]
        low = Value.parse(SettingType.UINT16, "900")
        repair(shop, {"READY_FROM": low}, because="the test")

    run = bench.run(prepare=arms_at_rest, refuses=frozenset({str(Gate.MOTORS_MAY_TURN)}))
    assert isinstance(run.error, BenchCheckFailedError)
    assert run.error.result.check == "arming"
    assert run.error.result.is_dangerous
    assert not _has_turned(run)


def test_nothing_is_measured_while_the_propellers_are_not_confirmed_off(
    before_the_bench: VirtualBench, tmp_path: Path
) -> None:
    bench = _planted(before_the_bench, tmp_path)
    run = _run(bench, refuses=frozenset({str(Gate.PROPELLERS_OFF)}))
    assert isinstance(run.error, NotConfirmedError)
    assert not _has_turned(run)


def test_a_person_who_lets_go_stops_the_motor_at_once_and_nothing_is_shown(
    before_the_bench: VirtualBench, tmp_path: Path
) -> None:
    bench = _planted(before_the_bench, tmp_path)

    def let_go(shop: object) -> None:
        shop.person.act_battery()  # type: ignore[attr-defined]
        shop.person.holds = 3  # type: ignore[attr-defined]

    run = bench.run(prepare=let_go)
    assert run.error is None
    verdicts = {event.facts["check"]: event.facts["verdict"] for event in _ended(bench, EventKind.CHECK_PROVED)}
    assert verdicts["motors"] == "not shown"


def test_a_link_that_falls_silent_leaves_no_motor_turning(before_the_bench: VirtualBench, tmp_path: Path) -> None:
    bench = _planted(before_the_bench, tmp_path)
    clock_run = _run(bench, refuses=frozenset({"sign"}))
    world = clock_run.aircraft.world
    assert isinstance(world, PhysicalWorld)
    now = clock_run.clock.now_s()
    world.command_motor(1, 0.08, now, 0.3)  # the last that is ever told
    assert world.electrical_rpm(1, now + 0.25) > 1000  # type: ignore[operator]
    assert world.electrical_rpm(1, now + 1.5) < 10  # type: ignore[operator]


@pytest.mark.parametrize("after", range(1, 9, 2))
def test_a_tool_killed_on_the_bench_goes_on_where_it_was(
    before_the_bench: VirtualBench, tmp_path: Path, after: int
) -> None:
    bench = _planted(before_the_bench, tmp_path)
    begun = len(bench.events())
    assert _run(bench, kill_at=begun + after).was_killed
    run = _run(bench)
    assert run.error is None
    assert {event.facts["check"] for event in _ended(bench, EventKind.CHECK_PROVED)} == set(BENCH_CHECKS)
    checks = [event.facts["check"] for event in _ended(bench, EventKind.CHECK_PROVED)]
    assert len(checks) == len(set(checks)), "what was proved is not measured again"


def test_hands_that_do_nothing_show_nothing_and_pass_nothing(before_the_bench: VirtualBench, tmp_path: Path) -> None:
    bench = _planted(before_the_bench, tmp_path, seen={})
    run = bench.run(refuses=frozenset({"hands"}))
    verdicts = {event.facts["check"]: event.facts["verdict"] for event in _ended(bench, EventKind.CHECK_PROVED)}
    if run.error is None:
        assert set(verdicts.values()) == {"not shown"}
    else:
        assert "passed" not in verdicts.values()


def _has_turned(run: BenchRun) -> bool:
    world = run.aircraft.world
    assert isinstance(world, PhysicalWorld)
    return any(world.has_turned(number) for number in range(len(demo_truth().rotors)))
