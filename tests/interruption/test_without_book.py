"""The whole job with no release book at all: the aircraft teaches the tool, and comes back the same."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from tests.virtual_bench import VirtualBench

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError

SMALL_BYTES = 36 * 1024


@cache
def _fresh() -> VirtualBench:
    bench = VirtualBench(Path(mkdtemp(prefix="rotorwright-bookless-")), size_bytes=SMALL_BYTES)
    bench.book = None
    return bench


def _kinds(bench: VirtualBench) -> list[str]:
    return [event.kind for event in bench.events()]


def test_the_job_ends_signed_without_a_book(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run()
    assert run.error is None, run.error
    assert run.state is not None
    assert run.state.signed_by == "tester"
    kinds = _kinds(bench)
    assert kinds.index(EventKind.WRITE_ACCEPTED) < kinds.index(EventKind.ERASE_ALLOWED)
    assert (
        kinds.index(EventKind.DEFAULTS_READ) < kinds.index(EventKind.SHEET_MADE) < kinds.index(EventKind.PLAN_ACCEPTED)
    )
    assert EventKind.OLD_DEFAULTS_WANTED not in kinds  # its own catalogue tells them: no reset is needed


def test_nothing_is_written_unless_a_person_vouches_for_an_image_that_nobody_can_be_sure_of(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    run = bench.run(refuses=frozenset({str(Gate.IMAGE_VOUCHED)}))
    assert isinstance(run.error, NotConfirmedError)
    assert bytes(bench.memories.flash) == bytes(_fresh().memories.flash)
    assert EventKind.BOOTLOADER_WANTED not in _kinds(bench)
