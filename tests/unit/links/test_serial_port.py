"""The border to the system: every way in which a port fails becomes one of our errors, with its four answers."""

from __future__ import annotations

import errno
import os
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import serial

from rotorwright.errors import LinkError
from rotorwright.links.clock import RealClock
from rotorwright.links.errors import (
    ParityNotKeptError,
    PortBusyError,
    PortForbiddenError,
    PortMissingError,
    PortUnusableError,
    PortVanishedError,
)
from rotorwright.links.serial_port import SerialPort, is_pseudo_terminal
from rotorwright.links.wire import LineSettings, Parity, Wire

PLAIN = LineSettings(115_200)
EVEN = LineSettings(115_200, Parity.EVEN)

pytestmark = pytest.mark.pty


class FarEnd:
    """The other end of a pseudo-terminal, and the name of the near one."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.name = os.ttyname(slave)
        os.close(slave)
        self._open = True

    def vanish(self) -> None:
        if self._open:
            os.close(self.master)
            self._open = False


@pytest.fixture
def far() -> Iterator[FarEnd]:
    end = FarEnd()
    yield end
    end.vanish()


def _four_answers(error: LinkError) -> None:
    assert all((error.what, error.why, error.state, error.todo))


def test_bytes_go_there_and_come_back_as_soon_as_there_are_any(far: FarEnd) -> None:
    wire = SerialPort(far.name).open(PLAIN)
    wire.send(b"ping")
    assert os.read(far.master, 10) == b"ping"
    os.write(far.master, b"\x00\x11\x13\r\n\xff")  # flow control and line ends are plain bytes here
    started = time.monotonic()
    got = wire.receive(100, timeout_s=5.0)
    while len(got) < 6:
        got += wire.receive(100, timeout_s=5.0)
    assert got == b"\x00\x11\x13\r\n\xff"
    assert time.monotonic() - started < 2.0
    wire.close()


def test_no_more_than_the_limit_is_taken_and_silence_gives_nothing(far: FarEnd) -> None:
    wire = SerialPort(far.name).open(PLAIN)
    assert wire.receive(10, timeout_s=0.0) == b""
    assert wire.receive(10, timeout_s=0.03) == b""
    os.write(far.master, b"abcdef")
    assert wire.receive(1, timeout_s=1.0) == b"a"
    assert wire.receive(4, timeout_s=0.0) == b"bcde"
    wire.discard_input()
    assert wire.receive(4, timeout_s=0.0) == b""
    wire.close()


def test_the_port_is_held_for_one_program_only(far: FarEnd) -> None:
    first = SerialPort(far.name).open(PLAIN)
    with pytest.raises(PortBusyError) as caught:
        SerialPort(far.name).open(PLAIN)
    _four_answers(caught.value)
    first.close()
    SerialPort(far.name).open(PLAIN).close()


def test_even_parity_is_let_go_on_a_pseudo_terminal_only(far: FarEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    assert is_pseudo_terminal(far.name)
    SerialPort(far.name).open(EVEN).close()
    monkeypatch.setattr("rotorwright.links.serial_port.is_pseudo_terminal", lambda _name: False)
    with pytest.raises(ParityNotKeptError) as caught:
        SerialPort(far.name).open(EVEN)
    _four_answers(caught.value)
    monkeypatch.undo()
    SerialPort(far.name).open(PLAIN).close()  # the refused port was given back


def test_parity_that_is_dropped_in_silence_is_noticed(far: FarEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    class DropsParity(serial.Serial):
        def __init__(self, name: str, *, baudrate: int, exclusive: bool, **_: object) -> None:
            super().__init__(name, baudrate=baudrate, exclusive=exclusive, parity=serial.PARITY_NONE)

    monkeypatch.setattr(serial, "Serial", DropsParity)
    SerialPort(far.name).open(EVEN).close()
    monkeypatch.setattr("rotorwright.links.serial_port.is_pseudo_terminal", lambda _name: False)
    with pytest.raises(ParityNotKeptError):
        SerialPort(far.name).open(EVEN)


def test_a_port_that_is_not_there_is_said_to_be_missing(tmp_path: Path) -> None:
    port = SerialPort(str(tmp_path / "nothing"))
    assert not port.is_present()
    with pytest.raises(PortMissingError) as caught:
        port.open(PLAIN)
    _four_answers(caught.value)
    assert caught.value.facts["port"] == port.name


def test_a_link_to_a_port_that_went_is_not_present(tmp_path: Path, far: FarEnd) -> None:
    link = tmp_path / "port"
    link.symlink_to(far.name)
    port = SerialPort(str(link))
    assert port.is_present()
    port.open(PLAIN).close()
    far.vanish()
    assert not port.is_present()
    with pytest.raises(PortMissingError):
        port.open(PLAIN)


@pytest.mark.parametrize(
    "act",
    [
        pytest.param(lambda wire: wire.receive(1, timeout_s=1.0), id="receive"),
        pytest.param(lambda wire: wire.send(b"x"), id="send"),
        pytest.param(lambda wire: wire.discard_input(), id="discard"),
    ],
)
def test_a_port_that_goes_away_in_use_is_said_to_have_vanished(far: FarEnd, act: Callable[[Wire], object]) -> None:
    wire = SerialPort(far.name).open(PLAIN)
    far.vanish()
    with pytest.raises(PortVanishedError) as caught:
        act(wire)
    _four_answers(caught.value)
    wire.close()
    wire.close()


def test_a_closed_wire_is_an_error_of_ours(far: FarEnd) -> None:
    wire = SerialPort(far.name).open(PLAIN)
    wire.close()
    with pytest.raises(PortVanishedError):
        wire.receive(1, timeout_s=0.0)
    with pytest.raises(PortVanishedError):
        wire.send(b"x")


def test_a_file_is_no_serial_port(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    assert not is_pseudo_terminal(str(tmp_path / "file"))
    with pytest.raises(PortUnusableError) as caught:
        SerialPort(str(tmp_path / "file")).open(PLAIN)
    _four_answers(caught.value)


@pytest.mark.parametrize(
    ("failure", "expected"),
    [
        (serial.SerialException(errno.EACCES, "Permission denied"), PortForbiddenError),
        (serial.SerialException(errno.EBUSY, "Device or resource busy"), PortBusyError),
        (serial.SerialException(errno.ENODEV, "No such device"), PortMissingError),
        # What the library's Windows half raises: the number is only in its text.
        (serial.SerialException("could not open port 'COM9': FileNotFoundError(2, 'x', None, 2)"), PortMissingError),
        (serial.SerialException("could not open port 'COM9': PermissionError(13, 'x', None, 5)"), PortBusyError),
        (ValueError("Not a valid baudrate: 0"), PortUnusableError),
    ],
)
def test_each_refusal_at_opening_has_its_error(
    far: FarEnd, monkeypatch: pytest.MonkeyPatch, failure: Exception, expected: type[LinkError]
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise failure

    monkeypatch.setattr(serial, "Serial", refuse)
    with pytest.raises(expected) as caught:
        SerialPort(far.name).open(PLAIN)
    _four_answers(caught.value)


def test_a_forbidden_port_names_the_group_to_join(far: FarEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(errno.EACCES, "Permission denied")

    monkeypatch.setattr(serial, "Serial", refuse)
    with pytest.raises(PortForbiddenError) as caught:
        SerialPort(far.name).open(PLAIN)
    group = caught.value.facts["group"]
    assert isinstance(group, str)
    assert group
    assert f"usermod -aG {group}" in caught.value.todo


def test_the_real_clock_only_goes_forward() -> None:
    clock = RealClock()
    before = clock.now_s()
    clock.sleep_s(0.0)
    clock.sleep_s(-1.0)
    assert clock.now_s() >= before
