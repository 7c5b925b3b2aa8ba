"""Each transfer to the bootloader on USB refused with each status, or the cable pulled at it, also in a recovery.

Transfers that are lost, late or doubled stand in test_links_usb_dfu_on_twin.py. Statuses: DFU 1.1, 6.1.2.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, cast

import pytest
from tests.unit.links.usb_bench import PART, START, UsbBench

from rotorwright.errors import RotorwrightError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import sectors_for
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.usb_port import Outcome, Transfer, TransferEnd, TransferFault

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.twin.usb_dfu import DfuStatus

EDGE = PART.sectors[1].address
STATUSES = range(1, 16)
DOWNLOAD = 1


def _image(seed: int) -> Image:
    """Return an image over the edge of two sectors."""
    noise = random.Random(seed)
    return Image.of([(START, noise.randbytes(300)), (EDGE - 300, noise.randbytes(700))])


OLD, NEW = _image(1), _image(2)
END = sectors_for(NEW, PART)[-1].end - START


def _bench(faults: FaultPlan | None = None) -> UsbBench:
    bench = UsbBench(old=None, faults=faults)
    for segment in OLD.segments:
        at = segment.address - START
        bench.memories.flash[at : at + len(segment.data)] = segment.data
    bench.memories.flash[END:] = b"\x5a" * (len(bench.memories.flash) - END)
    return bench


def _is_untouched_elsewhere(bench: UsbBench) -> bool:
    return not bytes(bench.memories.flash[END:]).strip(b"\x5a")


def _counted() -> int:
    bench = _bench()
    bench.write(NEW)
    assert bench.holds(NEW)
    return bench.port.requests


REQUESTS = _counted()


def _at_transfer(bench: UsbBench, number: int, act: Callable[[Transfer, float], TransferEnd]) -> list[int]:
    """Let `act` answer the DFU request with this number, once; return what tells that it happened."""
    usual, happened = bench.port.transfer, list[int]()

    def transfer(asked: Transfer, now_s: float) -> TransferEnd:
        if asked.is_dfu and bench.port.requests + 1 == number and not happened:
            happened.append(number)
            return act(asked, now_s)
        return usual(asked, now_s)

    bench.port.transfer = transfer  # type: ignore[assignment]
    return happened


def _refused(bench: UsbBench, status: int) -> Callable[[Transfer, float], TransferEnd]:
    """Stall as a device does that goes into its error state with this status."""

    def act(_asked: Transfer, now_s: float) -> TransferEnd:
        device = bench.aircraft.usb_bootloader(now_s)
        assert device is not None
        bench.port.requests += 1
        bench.aircraft.usb_stall(now_s)
        device._status = cast("DfuStatus", status)  # any number of the standard
        return TransferEnd(Outcome.STALLED)

    return act


def _pulled(bench: UsbBench, *, after: bool) -> Callable[[Transfer, float], TransferEnd]:
    def act(asked: Transfer, now_s: float) -> TransferEnd:
        if after:
            type(bench.port).transfer(bench.port, asked, now_s)
        bench.aircraft.power_off(now_s)
        return TransferEnd(Outcome.GONE)

    return act


def _write_and_go_on(bench: UsbBench, *, restarts: bool) -> bool:
    """Write, look at what is left, go on; return whether the first write got over it by itself."""
    stopped: RotorwrightError | None = None
    try:
        bench.write(NEW)
    except RotorwrightError as error:
        stopped = error
    assert _is_untouched_elsewhere(bench)
    if stopped is None:
        assert bench.holds(NEW)
        return True
    assert all((stopped.what, stopped.why, stopped.state, stopped.todo))
    if restarts:
        bench.restart()
    bench.write(NEW)
    assert bench.holds(NEW)
    assert _is_untouched_elsewhere(bench)
    return False


def _refuse_once(number: int, status: int) -> bool:
    bench = _bench()
    happened = _at_transfer(bench, number, _refused(bench, status))
    alone = _write_and_go_on(bench, restarts=False)
    assert happened
    return alone


def _pull_at(number: int, *, after: bool) -> None:
    bench = _bench()
    happened = _at_transfer(bench, number, _pulled(bench, after=after))
    assert not _write_and_go_on(bench, restarts=True)
    assert happened


def _spoil_recovery(number: int, fault: TransferFault, operation: int) -> bool:
    """Spoil a transfer of the write that follows a power cut; return whether the recovery had so many."""
    bench = _bench(FaultPlan(power_cut=PowerCut(operation, CutMoment.TORN)))
    with pytest.raises(RotorwrightError):
        bench.write(NEW)
    bench.restart()
    at = bench.port.requests + number
    bench.port.faults = {at: fault}
    _write_and_go_on(bench, restarts=False)
    return bench.port.requests >= at


def test_a_sample_of_refusals_with_each_status_is_got_over() -> None:
    chance = random.Random(20260101)
    assert REQUESTS > 50
    assert all(_refuse_once(chance.randint(1, REQUESTS), status) for status in STATUSES for _ in range(3))


@pytest.mark.parametrize("after", [False, True])
def test_a_cable_pulled_at_a_sample_of_transfers_is_an_error_and_a_second_write_finishes(after: bool) -> None:
    for number in (1, 2, *random.Random(20260102).sample(range(3, REQUESTS), 12), REQUESTS):
        _pull_at(number, after=after)


def test_a_device_that_refuses_every_download_ends_in_words() -> None:
    for status in STATUSES:
        bench = _bench()
        usual = bench.port.transfer

        def transfer(asked: Transfer, now_s: float, bench: UsbBench = bench, status: int = status) -> TransferEnd:
            if asked.is_dfu and asked.request == DOWNLOAD:
                return _refused(bench, status)(asked, now_s)
            return usual(asked, now_s)  # noqa: B023 - used within this turn only

        bench.port.transfer = transfer  # type: ignore[assignment]
        with pytest.raises(RotorwrightError) as caught:
            bench.write(NEW)
        assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))
        assert _is_untouched_elsewhere(bench)


def test_a_recovery_whose_transfers_are_spoilt_as_well_still_ends_with_the_image() -> None:
    chance = random.Random(20260103)
    for _ in range(20):
        _spoil_recovery(chance.randint(1, 60), chance.choice(list(TransferFault)), chance.randint(1, 5))


@pytest.mark.full_walk
def test_full_walk_over_every_transfer_refused_with_every_status() -> None:
    points = [(number, status) for number in range(1, REQUESTS + 1) for status in STATUSES]
    alone = sum(_refuse_once(*point) for point in points)
    print(f"\nUSB, a transfer refused: {len(points)} points, {alone} got over without a second write")  # noqa: T201


@pytest.mark.full_walk
def test_full_walk_over_a_cable_pulled_at_every_transfer() -> None:
    for number in range(1, REQUESTS + 1):
        _pull_at(number, after=False)
        _pull_at(number, after=True)
    print(f"\nUSB, the cable pulled: {2 * REQUESTS} points")  # noqa: T201


@pytest.mark.full_walk
@pytest.mark.parametrize("operation", range(1, 6))
def test_full_walk_over_every_transfer_of_a_recovery(operation: int) -> None:
    points = [(number, fault) for number in range(1, REQUESTS + 1) for fault in TransferFault]
    came = sum(_spoil_recovery(number, fault, operation) for number, fault in points)
    assert came > len(points) // 2
    print(f"\nUSB, recovery after a torn operation {operation}: {came} points")  # noqa: T201
