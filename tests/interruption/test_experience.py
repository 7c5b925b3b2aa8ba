"""A hangar learns: the second aircraft of a kind need not be reset, and damage of what it knows stops no job."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from tests.virtual_bench import VirtualBench

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.experience import HangarExperience
from rotorwright.hangar.defaults_library import DEFAULTS_FOLDER
from rotorwright.hangar.store import Hangar
from rotorwright.settings.identity import Identity
from rotorwright.settings.values import Value
from rotorwright.twin.thornbill.release import catalogue, customised_settings

if TYPE_CHECKING:
    from pathlib import Path

SMALL_BYTES = 36 * 1024


def _bench(folder: Path) -> VirtualBench:
    bench = VirtualBench(folder, size_bytes=SMALL_BYTES)
    bench.book = None
    bench.has_experience = True
    bench.speak_by_console()
    return bench


def _next_aircraft(bench: VirtualBench, number: int) -> VirtualBench:
    """Return a bench with another aircraft of the same kind, and the same hangar."""
    other = _bench(bench.folder / f"aircraft-{number}")
    other.papers = replace(other.papers, unique_id=f"{number:024x}")
    other.folder = bench.folder
    return other


def _kinds(bench: VirtualBench) -> list[str]:
    return [event.kind for event in bench.events()]


def test_the_second_aircraft_of_a_kind_is_not_reset_to_learn_its_defaults(tmp_path: Path) -> None:
    first = _bench(tmp_path)
    assert first.run().error is None
    assert EventKind.OLD_DEFAULTS_WANTED in _kinds(first)
    (tmp_path / "aircraft-2").mkdir()
    second = _next_aircraft(first, 2)
    run = second.run()
    assert run.error is None, run.error
    kinds = _kinds(second)
    assert EventKind.OLD_DEFAULTS_WANTED not in kinds
    assert EventKind.NEW_DEFAULTS_EXPECTED in kinds
    # All is known before the write, so all is decided before it.
    assert kinds.index(EventKind.PLAN_ACCEPTED) < kinds.index(EventKind.ERASE_ALLOWED)


def test_a_damaged_library_does_not_stop_a_job_that_can_do_without(tmp_path: Path) -> None:
    first = _bench(tmp_path)
    assert first.run().error is None
    for path in (tmp_path / "hangar" / DEFAULTS_FOLDER).rglob("*.json"):
        path.write_bytes(b"{}")
    (tmp_path / "aircraft-2").mkdir()
    second = _next_aircraft(first, 2)
    run = second.run()
    assert run.error is None, run.error
    assert EventKind.OLD_DEFAULTS_WANTED in _kinds(second)
    assert any("cannot be used" in str(heard) for heard in run.person.heard)


def test_what_is_the_same_on_every_aircraft_with_a_board_belongs_to_it(tmp_path: Path) -> None:
    """Three aircraft whose board's own defaults differ from the family's: the fourth job knows them as the board's."""
    bench = _bench(tmp_path)
    for number in (2, 3, 4):
        (tmp_path / f"aircraft-{number}").mkdir()
    for one in (bench, _next_aircraft(bench, 2), _next_aircraft(bench, 3)):
        assert one.run().error is None
    elsewhere, here = catalogue("5.2", "H7").defaults, catalogue("5.2", "C405").defaults
    own = {name for name, value in here.items() if value != elsewhere[name] and name not in customised_settings()}
    with Hangar.open(tmp_path / "hangar") as hangar:
        experience = HangarExperience(hangar)
        captured = experience.find("Thornbill", "5.2.0", "Corvane One", read_by="console")
        assert captured is not None
        family = dict(captured.settings) | {name: Value.of_text(elsewhere[name].text) for name in own}
        identity = Identity("0" * 24, "Thornbill", "5.2.0", "Corvane One", "")
        found = experience.board_settings(identity, family, read_by="console")
    assert own
    assert {each.name for each in found} == own
    assert all(each.aircraft == 3 for each in found)
