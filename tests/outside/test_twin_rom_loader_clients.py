"""The virtual ROM bootloader served to two independent clients, so that not both ends are ours.

Sources: stm32loader 0.7.1 (Python package; GPL, tests only), here in memory and on a pseudo-terminal; stm32flash 0.7
(Debian package), on a pseudo-terminal, started with `-m 8n1` because a pseudo-terminal has no parity.
"""

from __future__ import annotations

import shutil
import subprocess
import time
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest
import serial
import stm32loader.bootloader
from stm32loader.bootloader import CommandError, Stm32Bootloader
from tests.unit.twin.bench import EVEN, IMAGE_MARK, PART, START, UNIQUE_ID, Bench, read
from tests.unit.twin.conftest import EchoTwin, start_echo_twin

from rotorwright.twin.aircraft import Mode

if TYPE_CHECKING:
    from collections.abc import Iterator

# Not all of the last sector and not a whole number of blocks, so that both ends of a write are seen.
IMAGE = IMAGE_MARK + bytes((7 * place + place // 256) % 256 for place in range(40_002 - len(IMAGE_MARK)))
STM32FLASH = shutil.which("stm32flash")


class WireConnection:
    """What stm32loader wants of a serial connection, over the in-memory wire; its control lines are our hands."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._wire = bench.port.open(EVEN)
        self._button = False
        self.timeout = 5.0

    def write(self, data: bytes) -> None:
        self._wire.send(bytes(data))

    def read(self, count: int = 1) -> bytes:
        return read(self._wire, count, self.timeout)

    def enable_boot0(self, enable: bool = True) -> None:
        self._button = enable

    def enable_reset(self, enable: bool = True) -> None:
        now_s = self._bench.clock.now_s()
        if enable:
            self._bench.aircraft.power_off(now_s)
        else:
            self._bench.aircraft.power_on(now_s, button=self._button)


class PortConnection:
    """The same over a serial port, where somebody else holds the button."""

    def __init__(self, port: serial.Serial) -> None:
        self._port = port

    @property
    def timeout(self) -> float:
        return float(self._port.timeout or 0)

    @timeout.setter
    def timeout(self, seconds: float) -> None:
        self._port.timeout = seconds

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def read(self, count: int = 1) -> bytes:
        return bytes(self._port.read(count))

    def enable_boot0(self, enable: bool = True) -> None:
        """Nothing to do."""

    def enable_reset(self, enable: bool = True) -> None:
        """Nothing to do."""


def client_of(connection: WireConnection | PortConnection) -> Stm32Bootloader:
    client = Stm32Bootloader(connection, device_family="F4", verbosity=0)
    client.reset_from_system_memory()
    return client


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """An aircraft without an image in memory; when the client sleeps, only the bench's own time goes on."""
    return bench_for(monkeypatch)


def bench_for(monkeypatch: pytest.MonkeyPatch, *, loader_version: int = 0x31) -> Bench:
    bench = Bench(with_image=False, loader_version=loader_version)
    monkeypatch.setattr(stm32loader.bootloader, "time", SimpleNamespace(sleep=bench.wait))
    return bench


def test_stm32loader_identifies_the_part_and_its_unique_id(bench: Bench) -> None:
    client = client_of(WireConnection(bench))
    assert (client.get(), client.get_version(), client.get_id()) == (0x31, 0x31, 0x413)
    assert client.extended_erase
    assert client.get_flash_size_and_uid() == (1024, bytearray(UNIQUE_ID))


def test_stm32loader_writes_verifies_and_starts_an_image(bench: Bench) -> None:
    client = client_of(WireConnection(bench))
    client.get()
    client.erase_memory([0, 1, 2])
    client.write_memory_data(START, IMAGE)
    assert client.read_memory_data(START, len(IMAGE)) == IMAGE
    client.go(START)
    bench.wait(0.2)
    assert bench.mode() is Mode.APPLICATION
    blocks = -(-len(IMAGE) // 256)
    assert bench.aircraft.flash.operations == 3 + blocks


def test_stm32loader_erases_everything(bench: Bench) -> None:
    bench.memories.flash[-4:] = b"mark"
    client = client_of(WireConnection(bench))
    client.get()
    client.erase_memory()
    assert bytes(bench.memories.flash[-4:]) == b"\xff" * 4


def test_stm32loader_is_refused_where_the_flash_is_not_erased(bench: Bench) -> None:
    client = client_of(WireConnection(bench))
    client.get()
    client.write_memory(START, b"once")
    with pytest.raises(CommandError):
        client.write_memory(START, b"more")


def test_stm32loader_sets_and_takes_off_read_out_protection(bench: Bench) -> None:
    connection = WireConnection(bench)
    client = client_of(connection)
    client.readout_protect()
    assert bench.aircraft.condition.mode == "starting"
    client.reset_from_system_memory()
    with pytest.raises(CommandError):
        client.read_memory(START, 4)
    connection.timeout = 30.0  # it erases the whole chip, longer than the 5 s that this client waits by default
    client.readout_unprotect()
    assert bytes(bench.memories.flash).count(0xFF) == PART.flash_size_bytes


def test_stm32loader_works_with_a_bootloader_before_version_3(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = bench_for(monkeypatch, loader_version=0x22)
    client = client_of(WireConnection(bench))
    assert client.get() == 0x22
    assert not client.extended_erase
    client.erase_memory([0, 3])
    assert bench.aircraft.flash.touched_sectors == {0, 3}


@pytest.fixture
def twin(tmp_path: Path) -> Iterator[EchoTwin]:
    """A virtual aircraft in its bootloader, behind a port, 1000 times as quick as a real one."""
    started = start_echo_twin(tmp_path / "aircraft", speed=1000.0, with_image=False)
    started.hands.restart(button=True)
    yield started
    started.process.terminate()
    started.process.wait(5)
    for pipe in (started.process.stdin, started.process.stdout):
        if pipe is not None:
            pipe.close()


def is_started(twin: EchoTwin) -> bool:
    deadline = time.monotonic() + 5
    while twin.hands.look().mode != "application" and time.monotonic() < deadline:
        time.sleep(0.005)
    return twin.hands.look().mode == "application"


@pytest.mark.pty
def test_stm32loader_writes_verifies_and_starts_an_image_on_a_port(twin: EchoTwin) -> None:
    with serial.Serial(twin.port, 115_200, timeout=5) as port:
        client = client_of(PortConnection(port))
        assert client.get_id() == 0x413 if client.get() else False
        client.erase_memory([0, 1, 2])
        client.write_memory_data(START, IMAGE)
        assert client.read_memory_data(START, len(IMAGE)) == IMAGE
        client.go(START)
        assert is_started(twin)


@pytest.mark.pty
@pytest.mark.skipif(STM32FLASH is None, reason="stm32flash is not installed (Debian package stm32flash)")
def test_stm32flash_writes_verifies_and_starts_an_image_on_a_port(twin: EchoTwin, tmp_path: Path) -> None:
    image = tmp_path / "image.bin"
    image.write_bytes(IMAGE)
    assert STM32FLASH is not None
    done = subprocess.run(
        [STM32FLASH, "-m", "8n1", "-b", "115200", "-w", str(image), "-v", "-g", "0x0", twin.port],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0x0413" in done.stdout
    assert twin.folder.flash_file.read_bytes()[: len(IMAGE)] == IMAGE
    assert is_started(twin)


@pytest.mark.pty
@pytest.mark.skipif(STM32FLASH is None, reason="stm32flash is not installed (Debian package stm32flash)")
def test_stm32flash_reads_back_what_is_in_the_flash(twin: EchoTwin, tmp_path: Path) -> None:
    assert STM32FLASH is not None
    twin.process.terminate()
    twin.process.wait(5)
    content = IMAGE[:1000] + b"\xff" * 24
    twin.folder.flash_file.write_bytes(content + b"\xff" * (PART.flash_size_bytes - len(content)))
    again = start_echo_twin(twin.folder.path, speed=1000.0, with_image=False)
    try:
        again.hands.restart(button=True)
        read = tmp_path / "read.bin"
        command = [STM32FLASH, "-m", "8n1", "-r", str(read), "-S", "0x08000000:1024", again.port]
        subprocess.run(command, capture_output=True, timeout=60, check=True)
        assert read.read_bytes() == content
    finally:
        again.process.terminate()
        again.process.communicate(timeout=5)
