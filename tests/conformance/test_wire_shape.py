"""One suite for everything that has the shape of `rotorwright.links.wire`: a link must not notice which one it is on.

Kinds: the twin's line in memory and virtual time, and a serial port (here a pseudo-terminal with the twin behind it).
At the other end is firmware that sends back what arrives.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.unit.twin.bench import Bench
from tests.unit.twin.conftest import start_echo_twin

from rotorwright.errors import LinkError
from rotorwright.links.serial_port import SerialPort
from rotorwright.links.wire import LineSettings, Parity, Port, Wire

PLAIN = LineSettings(115_200, Parity.NONE)
PATIENCE_S = 2.0


@dataclass
class Rig:
    """A port with an echo behind it, and a cable to pull."""

    port: Port
    pull: Callable[[], object]
    plug: Callable[[], object]

    def plugged_again(self) -> Wire:
        """Plug the cable and return an open wire once the echo is there."""
        self.plug()
        return self.port.open(PLAIN)


def in_memory() -> Iterator[Rig]:
    bench = Bench(baud=0)
    bench.wait(0.2)

    def plug() -> None:
        bench.aircraft.plug_cable(bench.clock.now_s())
        bench.wait(0.2)

    yield Rig(bench.port, lambda: bench.aircraft.pull_cable(bench.clock.now_s()), plug)


def on_a_port(folder: Path) -> Iterator[Rig]:
    twin = start_echo_twin(folder / "aircraft", speed=1000.0, with_image=True)

    def wait_until_it_runs() -> None:
        deadline = time.monotonic() + 5
        while twin.hands.look().mode != "application":
            assert time.monotonic() < deadline, "it did not start"
            time.sleep(0.002)

    def plug() -> None:
        twin.hands.plug_cable()
        wait_until_it_runs()

    wait_until_it_runs()
    yield Rig(SerialPort(twin.port), twin.hands.pull_cable, plug)
    twin.process.terminate()
    twin.process.communicate(timeout=5)


@pytest.fixture(params=["memory", pytest.param("port", marks=pytest.mark.pty)])
def rig(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Rig]:
    yield from in_memory() if request.param == "memory" else on_a_port(tmp_path)


def received(wire: Wire, count: int) -> bytes:
    data = b""
    while len(data) < count and (more := wire.receive(count - len(data), PATIENCE_S)):
        data += more
    return data


def test_what_is_sent_arrives_and_comes_back(rig: Rig) -> None:
    wire = rig.port.open(PLAIN)
    assert wire.name == rig.port.name
    for message in (b"a", bytes(range(256)), b"\x00\x11\x13\x7f\xff\r\n\x03\x04\x1a"):
        wire.send(message)
        assert received(wire, len(message)) == message
    wire.close()


def test_no_more_than_the_limit_is_returned_and_the_rest_stays(rig: Rig) -> None:
    wire = rig.port.open(PLAIN)
    wire.send(b"abcdef")
    pieces = [wire.receive(2, PATIENCE_S) for _ in range(3)]
    assert all(0 < len(piece) <= 2 for piece in pieces)
    assert b"".join(pieces) + received(wire, 6 - len(b"".join(pieces))) == b"abcdef"
    wire.close()


@pytest.mark.parametrize("timeout_s", [0.0, 0.02])
def test_silence_gives_nothing_after_the_timeout(rig: Rig, timeout_s: float) -> None:
    wire = rig.port.open(PLAIN)
    wire.discard_input()
    assert wire.receive(10, timeout_s) == b""
    wire.close()


def test_discarded_input_is_gone_and_later_input_comes(rig: Rig) -> None:
    wire = rig.port.open(PLAIN)
    wire.send(b"old")
    assert wire.receive(1, PATIENCE_S) == b"o"
    received(wire, 1)
    wire.discard_input()
    wire.send(b"new")
    assert received(wire, 3) == b"new"
    wire.close()


def test_a_wire_is_closed_twice_without_harm_and_the_port_opens_again(rig: Rig) -> None:
    wire = rig.port.open(PLAIN)
    wire.close()
    wire.close()
    with pytest.raises(LinkError):
        wire.receive(1, 0.0)
    again = rig.port.open(PLAIN)
    again.send(b"again")
    assert received(again, 5) == b"again"
    again.close()


def test_a_port_is_held_by_one_wire(rig: Rig) -> None:
    wire = rig.port.open(PLAIN)
    with pytest.raises(LinkError) as caught:
        rig.port.open(PLAIN)
    assert caught.value.todo
    wire.close()


def test_a_pulled_cable_is_told_in_words_and_the_port_comes_back(rig: Rig) -> None:
    wire = rig.port.open(PLAIN)
    assert rig.port.is_present()
    rig.pull()
    assert not rig.port.is_present()
    with pytest.raises(LinkError) as caught:
        received(wire, 100)
    assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))
    with pytest.raises(LinkError):
        wire.send(b"x")
    with pytest.raises(LinkError):
        rig.port.open(PLAIN)
    wire.close()
    again = rig.plugged_again()
    assert rig.port.is_present()
    again.send(b"back")
    assert received(again, 4) == b"back"
    again.close()
