"""The aircraft as a process: a port that any program opens, hands from outside, and a folder that remembers."""

from __future__ import annotations

import contextlib
import json
import signal
import socket
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import serial
from tests.unit.twin.bench import PAPERS, START, with_check
from tests.unit.twin.conftest import EchoTwin

from rotorwright.twin.errors import HandsRefusedError, TwinInUseError, TwinNotRunningError, TwinPlatformError
from rotorwright.twin.hands import HandsClient
from rotorwright.twin.process import serve, spawn_twin
from rotorwright.twin.state import StateFolder

pytestmark = pytest.mark.pty

GET_ID, ID = b"\x02\xfd", bytes.fromhex("7901041379")
ACK, NACK = b"\x79", b"\x1f"


def opened(twin: EchoTwin) -> serial.Serial:
    return serial.Serial(twin.port, 115_200, timeout=2, exclusive=True)


def ask(port: serial.Serial, message: bytes, length: int = 1) -> bytes:
    port.write(message)
    return bytes(port.read(length))


def wait_until(what: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 5
    while not what():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.005)


def test_the_bootloader_answers_on_the_port(echo_twin: EchoTwin) -> None:
    with opened(echo_twin) as port:
        assert ask(port, b"\x7f") == ACK
        assert ask(port, GET_ID, 5) == ID


def test_the_port_can_be_closed_and_opened_again_and_nothing_old_waits(echo_twin: EchoTwin) -> None:
    with opened(echo_twin) as port:
        assert ask(port, b"\x7f") == ACK
    for _ in range(5):
        with opened(echo_twin) as port:
            assert ask(port, GET_ID, 5) == ID
            port.write(GET_ID)  # closes without reading the answer
            time.sleep(0.01)


def test_what_is_written_is_there_after_a_kill_and_starts(start_twin: Callable[[], EchoTwin]) -> None:
    twin = start_twin()
    twin.hands.restart(button=True)
    with opened(twin) as port:
        ask(port, b"\x7f")
        assert ask(port, b"\x31\xce") == ACK
        assert ask(port, with_check(START.to_bytes(4, "big"))) == ACK
        assert ask(port, with_check(b"\x03\x01\x02\x03\x04")) == ACK
    twin.process.kill()
    twin.process.wait(5)
    assert twin.folder.flash_file.read_bytes()[:5] == b"\x01\x02\x03\x04\xff"
    again = start_twin()
    wait_until(lambda: again.hands.look().mode == "application")
    with opened(again) as port:
        assert ask(port, b"hello", 5) == b"hello"


def test_a_pulled_cable_takes_the_port_away_and_a_plugged_one_brings_it_back(echo_twin: EchoTwin) -> None:
    link = echo_twin.folder.port_link
    more = echo_twin.ports / "twin"
    assert link.exists()
    assert more.exists()
    with opened(echo_twin) as port:
        assert not echo_twin.hands.pull_cable().cable
        assert not link.is_symlink()
        assert not more.is_symlink()
        with pytest.raises(serial.SerialException):
            port.read(1)
    assert echo_twin.hands.plug_cable(button=True).cable
    assert link.exists()
    assert more.exists()
    with opened(echo_twin) as port:
        wait_until(lambda: echo_twin.hands.look().mode == "bootloader")
        assert ask(port, b"\x7f") == ACK


def test_a_cable_that_a_fault_pulls_takes_the_port_away_too(echo_twin: EchoTwin) -> None:
    echo_twin.hands.arm("cable@6")
    with opened(echo_twin) as port:
        assert ask(port, b"\x7f") == ACK
        port.write(GET_ID)
        wait_until(lambda: not echo_twin.folder.port_link.is_symlink())
    assert echo_twin.hands.look().pulled_by_plan


def test_hands_act_and_see(start_twin: Callable[[], EchoTwin]) -> None:
    hands = start_twin().hands
    assert hands.power_off().mode == "dark"
    assert hands.power_on().supply
    assert hands.plug_battery().battery
    assert not hands.unplug_battery().battery
    assert hands.tilt("left").held == "left"
    assert hands.arm("torn@3,lose=0.5").faults == "torn@3,lose=0.5"


@pytest.mark.parametrize(("act", "detail"), [("tilt", "upside down"), ("arm", "torn")])
def test_what_hands_cannot_do_is_refused_in_words(start_twin: Callable[[], EchoTwin], act: str, detail: str) -> None:
    hands = start_twin().hands
    with pytest.raises(HandsRefusedError) as caught:
        getattr(hands, act)(detail)
    assert detail in caught.value.what


def test_a_stranger_without_the_token_is_not_answered(echo_twin: EchoTwin) -> None:
    address = json.loads(echo_twin.folder.hands_file.read_text())
    assert echo_twin.folder.hands_file.stat().st_mode & 0o777 == 0o600
    for line in (b'{"token": "", "act": "power-off"}', b"rubbish", b"[]", b"x" * 10_000):
        with socket.create_connection((address["host"], address["port"]), timeout=5) as stranger:
            stranger.sendall(line + b"\n")
            with contextlib.suppress(ConnectionResetError):  # it may hang up before it has read all of it
                assert stranger.recv(100) == b""
    assert echo_twin.hands.look().supply


@pytest.mark.parametrize("how", ["SIGTERM", "SIGINT", "hands", "companion"])
def test_it_ends_cleanly(start_twin: Callable[[], EchoTwin], how: str) -> None:
    twin = start_twin()
    match how:
        case "hands":
            twin.hands.stop()
        case "companion":
            assert twin.process.stdin is not None
            twin.process.stdin.close()
        case _:
            twin.process.send_signal(signal.Signals[how])
    assert twin.process.wait(5) == 0
    assert not twin.folder.port_link.is_symlink()
    assert not (twin.ports / "twin").is_symlink()
    assert not twin.folder.hands_file.exists()
    with pytest.raises(TwinNotRunningError):
        twin.hands.look()


def test_one_folder_is_one_living_aircraft(start_twin: Callable[[], EchoTwin]) -> None:
    twin = start_twin()
    with pytest.raises(TwinInUseError):
        serve(twin.folder.path, boot=lambda _flash, _hardware: None)
    assert twin.hands.look().cable


def test_two_aircraft_have_two_names_in_the_ports_folder(start_twin: Callable[[str], EchoTwin]) -> None:
    first, second = start_twin("one"), start_twin("two")
    assert sorted(link.name for link in first.ports.iterdir()) == ["twin", "twin-2"]
    assert Path(second.port).readlink() == (second.ports / "twin-2").readlink()


def test_a_client_that_does_not_read_holds_nobody_up(start_twin: Callable[..., EchoTwin]) -> None:
    twin = start_twin(with_image=True)
    wait_until(lambda: twin.hands.look().mode == "application")
    with opened(twin) as port:
        for _ in range(100):
            port.write(bytes(4096))
        assert twin.hands.look().mode == "application"
        port.timeout = 0.1
        while port.read(65_536):
            pass  # what was under way
        assert ask(port, b"hello", 5) == b"hello"


def test_an_empty_folder_is_no_aircraft(tmp_path: Path) -> None:
    with pytest.raises(TwinNotRunningError):
        HandsClient(tmp_path).look()


def test_a_system_without_pseudo_terminals_is_told_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    StateFolder(tmp_path).make(PAPERS)
    monkeypatch.setattr("sys.platform", "win32")
    for attempt in (lambda: serve(tmp_path, boot=lambda _flash, _hardware: None), lambda: spawn_twin(tmp_path)):
        with pytest.raises(TwinPlatformError) as caught:
            attempt()
        assert all((caught.value.what, caught.value.why, caught.value.state, caught.value.todo))
