"""The sheets of a fleet: those of its aircraft one by one, in order, whatever happens to one of them."""

from __future__ import annotations

import os
from functools import partial
from itertools import count
from typing import TYPE_CHECKING, Any

import pytest
from tests.unit.settings.builders import IDENTITY, UINT8, Pair, catalogue, setting

from rotorwright.changeover.fleet_planning import AT_A_TIME, FleetAircraft, FleetWorkerLostError, carry_over_many
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.sheet import print_sheet
from rotorwright.settings.snapshot import Snapshot, print_snapshot
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from collections.abc import Iterator

PAIR = Pair(catalogue(setting("A", UINT8, 1), setting("B", UINT8)), catalogue(setting("A", UINT8, 1)))
OLD, NEW = PAIR.old.defaults, PAIR.new.defaults
SHARED = partial(CarryOverInputs, old_defaults=OLD, new_defaults=NEW, new_catalogue=PAIR.new, to_release="6.0.0")
WORKERS = pytest.mark.parametrize("workers", [1, 2])
MANY = 3 * AT_A_TIME + 1


def aircraft(number: int) -> FleetAircraft:
    found = {"A": Value.of(UINT8, number % 5), "B": Value.of(UINT8, number % 2)}
    return FleetAircraft(f"aircraft {number}", print_snapshot(Snapshot(IDENTITY, found, "2026-05-01T12:00:00Z")))


def one_by_one(number: int) -> bytes:
    found = {"A": Value.of(UINT8, number % 5), "B": Value.of(UINT8, number % 2)}
    return print_sheet(carry_over(SHARED(ours=Snapshot(IDENTITY, found, "2026-05-01T12:00:00Z"))))


@WORKERS
def test_the_sheets_are_those_of_the_aircraft_one_by_one_and_in_order(workers: int) -> None:
    steps: list[int] = []
    found = list(carry_over_many(map(aircraft, range(MANY)), SHARED, workers=workers, progress=steps.append))
    assert [each.name for each in found] == [f"aircraft {number}" for number in range(MANY)]
    assert [each.sheet for each in found] == [one_by_one(number) for number in range(MANY)]
    assert [each.undecided for each in found] == [number % 2 for number in range(MANY)]
    assert steps == list(range(1, MANY + 1))


@WORKERS
def test_a_damaged_snapshot_is_told_and_stops_nothing(workers: int) -> None:
    fleet = [aircraft(0), FleetAircraft("cut short", aircraft(1).snapshot[:-20]), aircraft(2)]
    first, damaged, last = carry_over_many(fleet, SHARED, workers=workers)
    assert (first.refusal, last.refusal) == (None, None)
    assert damaged.sheet == b""
    assert damaged.refusal is not None
    assert damaged.refusal["id"] == "snapshot.not-json"
    assert "cut short" in str(damaged.refusal["what"])


@WORKERS
def test_a_fleet_without_end_is_worked_out_as_it_comes_and_can_be_cancelled(workers: int) -> None:
    begun: list[int] = []
    done: list[int] = []

    def endless() -> Iterator[FleetAircraft]:
        for number in count():
            begun.append(number)
            yield aircraft(number)

    results = carry_over_many(
        endless(), SHARED, workers=workers, progress=done.append, is_cancelled=lambda: len(done) >= 2 * AT_A_TIME
    )
    assert len(list(results)) == 2 * AT_A_TIME
    assert len(begun) <= 12 * AT_A_TIME


@WORKERS
def test_who_stops_listening_stops_the_work(workers: int) -> None:
    results = carry_over_many(map(aircraft, count()), SHARED, workers=workers)
    assert next(iter(results)).name == "aircraft 0"
    close = getattr(results, "close", None)
    assert close is not None
    close()
    assert list(results) == []


def test_no_aircraft_gives_no_sheet() -> None:
    assert list(carry_over_many([], SHARED, workers=2)) == []


class EndsItsProcess:
    """Something that ends the process which unpickles it, as one that runs out of memory does."""

    def __call__(self, **_found: Any) -> CarryOverInputs:
        raise AssertionError

    def __reduce__(self) -> tuple[object, ...]:
        return (os._exit, (9,))


def test_a_process_that_was_ended_from_outside_is_an_error_in_words() -> None:
    with pytest.raises(FleetWorkerLostError) as caught:
        list(carry_over_many([aircraft(0)], EndsItsProcess(), workers=2))
    assert caught.value.retry_helps
    assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))
