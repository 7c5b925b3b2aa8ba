"""From 5.2 to 6.1 in one job: the notes of both steps composed, stick curves refitted, by messages and by console."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

from tests.virtual_bench import VirtualBench

from rotorwright.changeover.state import fold
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.hangar.store import Hangar
from rotorwright.settings.decisions import DecisionKind
from rotorwright.settings.sheet import parse_sheet
from rotorwright.twin.faults import MemoryKind
from rotorwright.twin.kept_memory import KeptMemory
from rotorwright.twin.settings_memory import load_settings
from rotorwright.twin.thornbill.images import build_image

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value


@cache
def _after_the_job(*, by_console: bool) -> VirtualBench:
    bench = VirtualBench(Path(mkdtemp(prefix="rotorwright-two-")))
    bench.new_image = build_image("6.1", "C405")
    bench.image_file = write_intel_hex(bench.new_image)
    if by_console:
        bench.speak_by_console()
    run = bench.run()
    assert run.error is None, run.error
    assert run.state is not None
    assert run.state.signed_by == "tester"
    return bench


def _sheet(bench: VirtualBench) -> CarryOverSheet:
    kept = fold(bench.events()).sheet
    assert kept is not None
    with Hangar.open(bench.folder / "hangar") as hangar:
        return parse_sheet(hangar.fetch(bench.changeover_id, kept), source=kept.name)


def _settings(bench: VirtualBench) -> Mapping[str, Value]:
    stored = load_settings(KeptMemory(MemoryKind.SETTINGS, bench.memories.settings))
    assert stored is not None
    return stored.settings


def test_nothing_of_the_notes_of_both_steps_is_lost_on_the_way() -> None:
    kinds = _sheet(_after_the_job(by_console=False)).counts
    assert kinds[DecisionKind.REFIT] == 2
    for kind in (
        DecisionKind.RENAME,
        DecisionKind.CONVERT,
        DecisionKind.RELABEL,
        DecisionKind.SPLIT,
        DecisionKind.JOIN,
    ):
        assert kinds[kind] >= 2


def test_by_console_and_by_messages_the_same_settings_stand_at_the_end() -> None:
    by_messages, by_console = _after_the_job(by_console=False), _after_the_job(by_console=True)
    assert _settings(by_messages) == _settings(by_console)


def test_the_refitted_curves_stand_on_the_aircraft_as_the_sheet_says() -> None:
    bench = _after_the_job(by_console=False)
    refits = [each for each in _sheet(bench).decisions if each.kind is DecisionKind.REFIT]
    stands = _settings(bench)
    assert all(stands[write.name] == write.value for each in refits for write in each.writes)
    assert all("deg/s from the old curve" in each.reason for each in refits)
