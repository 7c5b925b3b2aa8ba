"""The carry-over sheets of a whole fleet, worked out by several processes at a time.

All aircraft of one call share everything but what was found on them: release, board, catalogues, defaults, notes. A
fleet of several releases or boards is one call for each of them. A snapshot that cannot be used is told and stops
nothing.
"""

from __future__ import annotations

import gc
import pickle
import signal
from collections import deque
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from itertools import islice
from multiprocessing import get_context
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.errors import RotorwrightError, WorkflowError
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.remembering import DecisionMemory
from rotorwright.settings.sheet import print_sheet
from rotorwright.settings.snapshot import parse_snapshot

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Iterator

AT_A_TIME = (
    32  # aircraft that go to a process at once: less than a second of work, so that progress and cancel are prompt
)
AHEAD = 2  # lots that wait for each process, so that none is idle; what is read ahead of the results stays small


class FleetWorkerLostError(WorkflowError):
    """A process that worked out carry-over sheets ended before its work was done."""

    id = "fleet.worker-lost"
    retry_helps = True


@dataclass(frozen=True, slots=True)
class FleetAircraft:
    """One aircraft of a fleet.

    Args:
        name: by which its result is known again.
        snapshot: its as-found snapshot, as the bytes of the file.
    """

    name: str
    snapshot: bytes


@dataclass(frozen=True, slots=True)
class FleetSheet:
    """What came out for one aircraft.

    Args:
        name: of the aircraft.
        sheet: its carry-over sheet as the bytes of a file; empty if there is none.
        undecided: how many held settings wait for a person.
        refusal: why there is no sheet, as plain data (`RotorwrightError.as_json`); nothing if there is one.
    """

    name: str
    sheet: bytes = b""
    undecided: int = 0
    refusal: dict[str, object] | None = None


Lot: TypeAlias = "list[FleetAircraft]"


def carry_over_many(
    fleet: Iterable[FleetAircraft],
    shared: Callable[..., CarryOverInputs],
    *,
    workers: int,
    progress: Callable[[int], None] | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> Iterator[FleetSheet]:
    """Yield what comes out for each aircraft, in the order of the fleet, as soon as it is known.

    `shared` makes the inputs from `ours=`, best `functools.partial(CarryOverInputs, old_defaults=..., ...)`: it is sent
    to each process once. The sheets are those that `carry_over` gives for each aircraft by itself. `progress` takes how
    many are done. Once `is_cancelled` says so, or the iterator is closed, nothing more is begun; what was yielded
    stands. With one worker no process is started.

    Raises:
        FleetWorkerLostError: a process was ended from outside, as for want of memory.
    """
    lots = _lots(fleet)
    results = _by_one(lots, shared) if workers <= 1 else _by_several(lots, shared, workers)
    done = 0
    try:
        for lot in results:
            for each in lot:
                yield each
                done += 1
                if progress is not None:
                    progress(done)
            if is_cancelled is not None and is_cancelled():
                return
    finally:
        results.close()


def _lots(fleet: Iterable[FleetAircraft]) -> Iterator[Lot]:
    aircraft = iter(fleet)
    while lot := list(islice(aircraft, AT_A_TIME)):
        yield lot


class _Desk:
    """Where one process works: what the fleet shares, and what it remembers."""

    def __init__(self, shared: Callable[..., CarryOverInputs]) -> None:
        self._shared = shared
        self._memory = DecisionMemory()

    def sheets(self, lot: Lot) -> list[FleetSheet]:
        """Return what comes out for each aircraft of the lot."""
        return [self._sheet(each) for each in lot]

    def _sheet(self, aircraft: FleetAircraft) -> FleetSheet:
        try:
            ours = parse_snapshot(aircraft.snapshot, source=aircraft.name)
            sheet = carry_over(self._shared(ours=ours), memory=self._memory)
        except RotorwrightError as error:
            return FleetSheet(aircraft.name, refusal=error.as_json())
        return FleetSheet(aircraft.name, print_sheet(sheet), len(sheet.undecided))


def _by_one(lots: Iterator[Lot], shared: Callable[..., CarryOverInputs]) -> Generator[list[FleetSheet], None, None]:
    desk = _Desk(shared)
    for lot in lots:
        yield desk.sheets(lot)


def _by_several(
    lots: Iterator[Lot], shared: Callable[..., CarryOverInputs], workers: int
) -> Generator[list[FleetSheet], None, None]:
    context = get_context("spawn")  # the same on every system, and no open port or file is taken along
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_ctrl_c_to_the_first)
    packed = pickle.dumps(shared)  # with each lot: a process that ends before it reads its start would block us
    under_way: deque[Future[list[FleetSheet]]] = deque()
    try:
        for lot in lots:
            under_way.append(pool.submit(_at_desk, packed, lot))
            if len(under_way) > AHEAD * workers:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()
    except BrokenProcessPool as error:
        raise _worker_lost(workers) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


_desk: _Desk | None = None  # of this process; the pool gives no other place to keep it


def _leave_ctrl_c_to_the_first() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all of them; the first process ends the others


def _at_desk(packed: bytes, lot: Lot) -> list[FleetSheet]:
    global _desk  # noqa: PLW0603 - set once, at the first lot; a pool serves one fleet only
    if _desk is None:
        _desk = _Desk(pickle.loads(packed))  # noqa: S301 - from the process that started this one
        gc.freeze()  # catalogues and notes stay to the end; looking through them again and again takes time
    return _desk.sheets(lot)


def _worker_lost(workers: int) -> FleetWorkerLostError:
    return FleetWorkerLostError(
        f"One of {workers} processes that worked out the carry-over sheets ended before its work was done.",
        why="It was ended from outside; most often there was not enough memory for so many processes.",
        todo="Try again with fewer workers. Sheets that had come out before are good.",
        workers=workers,
    )
