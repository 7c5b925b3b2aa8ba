"""Each block on its way to a drive lost, doubled, damaged, late, swapped or refused, or the drive gone: one at a time.

UF2 has no checksum. So a block whose payload is damaged is written as it came, and the write ends as one that proves
nothing: the report says so each time, and what the aircraft answers afterwards decides.
"""

from __future__ import annotations

import errno
import os
import random
from enum import StrEnum
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from tests.conformance.uf2_bench import PART, START, Uf2Bench, an_image, uf2
from tests.virtual_bench import DrivesFiles

from rotorwright.errors import RotorwrightError
from rotorwright.links.uf2_drive.files import OpenFile
from rotorwright.links.uf2_drive.writing import NOT_READ_BACK
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut

NEW = an_image(2, 20_000)
DATA = uf2(NEW)
BLOCK = 512
BLOCKS = len(DATA) // BLOCK
END = PART.sectors[2].address - START


class Spoilt(StrEnum):
    """What becomes of one block."""

    LOST = "lost"
    DOUBLED = "doubled"
    LATE = "late"
    SWAPPED = "swapped with the next"
    BAD_MARK = "damaged in its mark"
    BAD_ADDRESS = "damaged in its address"
    BAD_NUMBER = "damaged in its number"
    BAD_PAYLOAD = "damaged in its payload"
    NO_ROOM = "refused: no room"
    IO_ERROR = "refused: input/output error"
    READ_ONLY = "refused: read-only"
    GONE = "never asked for: the drive is gone"


_ERRNO = {Spoilt.NO_ROOM: errno.ENOSPC, Spoilt.IO_ERROR: errno.EIO, Spoilt.READ_ONLY: errno.EROFS}
_DAMAGED_AT = {Spoilt.BAD_MARK: 0, Spoilt.BAD_ADDRESS: 15, Spoilt.BAD_NUMBER: 20, Spoilt.BAD_PAYLOAD: 40}


class SpoilingFiles(DrivesFiles):
    """Files of a drive on which block `number`, counted from 0, is spoilt."""

    def __init__(self, bench: Uf2Bench, number: int, how: Spoilt) -> None:
        self.bench = bench
        self.number = number
        self.how = how
        self.happened = False

    def create(self, path: Path) -> OpenFile:
        return _SpoilingFile(super().create(path), self)


class _SpoilingFile:
    def __init__(self, inner: OpenFile, plan: SpoilingFiles) -> None:
        self._inner = inner
        self._plan = plan
        self._number = 0
        self._held = b""

    def write(self, data: bytes) -> None:
        out = bytearray()
        for at in range(0, len(data), BLOCK):
            block = data[at : at + BLOCK]
            out += self._spoilt(block, out) if self._number == self._plan.number else self._whole(block)
            self._number += 1
        if self._number >= BLOCKS:
            out += self._release()
        if out:
            self._inner.write(bytes(out))

    def close(self) -> None:
        self._inner.close()

    def _whole(self, block: bytes) -> bytes:
        return block + self._release() if self._plan.how is Spoilt.SWAPPED else block

    def _release(self) -> bytes:
        held, self._held = self._held, b""
        return held

    def _spoilt(self, block: bytes, before: bytearray) -> bytes:
        how, self._plan.happened = self._plan.how, True
        if how in _DAMAGED_AT:
            at = _DAMAGED_AT[how]
            return block[:at] + bytes([block[at] ^ 0x10]) + block[at + 1 :]
        if how in _ERRNO or how is Spoilt.GONE:
            self._stop(before, how)
        if how in {Spoilt.LATE, Spoilt.SWAPPED}:
            self._held = block
            return b""
        return block * 2 if how is Spoilt.DOUBLED else bytes(BLOCK)

    def _stop(self, before: bytearray, how: Spoilt) -> None:
        if before:
            self._inner.write(bytes(before))
        if how is Spoilt.GONE:
            self._plan.bench.board.poll()
            self._plan.bench.board.pull()
        number = _ERRNO.get(how, errno.EIO)
        raise OSError(number, os.strerror(number))


def _bench(folder: Path) -> Uf2Bench:
    bench = Uf2Bench(folder)
    bench.memory[END:] = b"\x5a" * (len(bench.memory) - END)
    return bench


def _is_untouched_elsewhere(bench: Uf2Bench) -> bool:
    return not bytes(bench.memory[END:]).strip(b"\x5a")


def _spoil_and_go_on(how: Spoilt, number: int, cut: PowerCut | None = None) -> bool:
    """Spoil one block, look at what is left, go on; return whether the first write ended with the image."""
    with TemporaryDirectory(prefix="rotorwright-blocks-") as name:
        bench = _bench(Path(name))
        if cut is not None:
            bench.board.arm(FaultPlan(power_cut=cut))
            with pytest.raises(RotorwrightError):
                bench.write(DATA)
            bench.board.arm(FaultPlan())
            bench.board.plug_in()
        files = SpoilingFiles(bench, number, how)
        _require_words_or_doubt(bench, files, how)
        assert files.happened
        assert _is_untouched_elsewhere(bench)
        is_right = bench.holds(NEW)
        bench.board.plug_in()
        bench.write(DATA)
        assert bench.holds(NEW)
        assert _is_untouched_elsewhere(bench)
        return is_right


def _require_words_or_doubt(bench: Uf2Bench, files: SpoilingFiles, how: Spoilt) -> None:
    stopped: RotorwrightError | None = None
    unproved: tuple[str, ...] = ()
    try:
        unproved = bench.write(DATA, files=files).unproved
    except RotorwrightError as error:
        stopped = error
    if stopped is None:
        assert NOT_READ_BACK in unproved
        assert bench.holds(NEW) or how in {Spoilt.BAD_PAYLOAD, Spoilt.GONE}
        return
    assert all((stopped.what, stopped.why, stopped.state, stopped.todo))
    assert bench.flash.operations == 0 or "Nothing was sent" not in stopped.state


def _points(chosen: random.Random, count: int) -> list[tuple[Spoilt, int]]:
    every = [(how, number) for how in Spoilt for number in range(BLOCKS)]
    return chosen.sample(every, count)


def test_a_sample_of_spoilt_blocks_ends_in_words_or_in_doubt_and_a_second_write_finishes() -> None:
    for how in Spoilt:
        for number in (0, BLOCKS // 2, BLOCKS - 1):
            _spoil_and_go_on(how, number)
    for point in _points(random.Random(20260101), 20):
        _spoil_and_go_on(*point)


def test_blocks_that_are_doubled_late_or_out_of_order_change_nothing() -> None:
    for how in (Spoilt.DOUBLED, Spoilt.LATE, Spoilt.SWAPPED):
        assert all(_spoil_and_go_on(how, number) for number in range(0, BLOCKS, 7))


def test_a_recovery_whose_blocks_are_spoilt_as_well_still_ends_with_the_image() -> None:
    for point in _points(random.Random(20260102), 12):
        _spoil_and_go_on(*point, cut=PowerCut(2, CutMoment.TORN))


@pytest.mark.full_walk
@pytest.mark.parametrize("how", list(Spoilt), ids=lambda how: how.value)
def test_full_walk_over_every_block(how: Spoilt) -> None:
    alone = sum(_spoil_and_go_on(how, number) for number in range(BLOCKS))
    print(f"\nDrive, a block {how}: {BLOCKS} points, {alone} with the image at once")  # noqa: T201


@pytest.mark.full_walk
@pytest.mark.parametrize("operation", [1, 2, 40, 80])
def test_full_walk_over_every_block_of_a_recovery(operation: int) -> None:
    points = [(how, number) for how in Spoilt for number in range(BLOCKS)]
    for point in points:
        _spoil_and_go_on(*point, cut=PowerCut(operation, CutMoment.TORN))
    print(f"\nDrive, recovery after a torn operation {operation}: {len(points)} points")  # noqa: T201
