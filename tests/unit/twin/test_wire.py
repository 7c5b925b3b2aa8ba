"""What is special about the in-memory line: its time."""

from __future__ import annotations

import pytest
from tests.unit.twin.bench import PLAIN, Bench

from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.errors import TwinLineBusyError


def test_waiting_for_nothing_takes_exactly_the_timeout() -> None:
    bench = Bench(with_image=False)
    wire = bench.port.open(PLAIN)
    assert wire.receive(1, 1.25) == b""
    assert bench.clock.now_s() == 1.25


def test_what_came_while_the_port_was_closed_is_gone() -> None:
    bench = Bench()
    wire = bench.application_wire()
    wire.send(b"hello")
    wire.close()
    bench.clock.sleep_s(0.5)
    wire = bench.port.open(PLAIN)
    assert wire.receive(100, 0.1) == b""


def test_a_port_serves_one_wire_at_a_time() -> None:
    bench = Bench()
    wire = bench.port.open(PLAIN)
    with pytest.raises(TwinLineBusyError):
        bench.port.open(PLAIN)
    wire.close()
    bench.port.open(PLAIN)


def test_bytes_that_were_back_before_the_cable_was_pulled_can_still_be_read() -> None:
    bench = Bench(baud=0)
    wire = bench.application_wire()
    wire.send(b"hello")
    assert wire.receive(2, 0.1) == b"he"
    bench.aircraft.pull_cable(bench.clock.now_s())
    assert wire.receive(10, 0.1) == b"llo"


def test_a_virtual_clock_never_goes_back() -> None:
    clock = VirtualClock(5.0)
    clock.sleep_s(-1)
    clock.sleep_until_s(3)
    assert clock.now_s() == 5.0
