"""The virtual bootloader on USB driven by a client that others wrote.

Source: the host pydfuutil 0.11.3 (its files say GPL 3 or later, so it is a tool of the tests only and runs in a process
of its own). It talks to the aircraft through the backend of pyusb that our command line uses, in real time.

pydfuutil lists each alternate setting once for each alternate setting, and then refuses to choose among them; so it is
shown only the one that is flash.
"""

from __future__ import annotations

import importlib.util
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from rotorwright.links.clock import RealClock
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.twin.process import TwinProcess, spawn_twin
from rotorwright.twin.usb_socket import SocketUsbBackend

pytestmark = [
    pytest.mark.pty,
    pytest.mark.skipif(importlib.util.find_spec("pydfuutil") is None, reason="pydfuutil is not installed"),
]

START = 0x0800_0000
DRIVER = """
import pathlib, sys
import pydfuutil
from rotorwright.twin.usb_dfu import FUNCTIONAL_DESCRIPTOR
from rotorwright.twin.usb_socket import SocketUsbBackend

class OnlyFlash(SocketUsbBackend):
    def get_interface_descriptor(self, dev, intf, alt, config):
        if alt:
            raise IndexError
        found = super().get_interface_descriptor(dev, intf, alt, config)
        found.extra_descriptors = list(FUNCTIONAL_DESCRIPTOR)
        return found

pydfuutil.DEFAULT_BACKEND = OnlyFlash([pathlib.Path(sys.argv[1])])
from pydfuutil.__main__ import main
sys.argv = ["host", *sys.argv[2:]]
sys.exit(main())
"""


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TwinProcess]:
    with spawn_twin(tmp_path_factory.mktemp("usb"), baud=0, speed=50) as twin:
        _enter_bootloader(twin)
        yield twin


@pytest.fixture
def backend(twin: TwinProcess) -> Iterator[SocketUsbBackend]:
    backend = SocketUsbBackend([twin.folder])
    yield backend
    backend.close()


def _enter_bootloader(twin: TwinProcess) -> None:
    twin.hands.restart(button=True)
    _wait_for_mode(twin, "bootloader")


def _wait_for_mode(twin: TwinProcess, mode: str) -> None:
    deadline = time.monotonic() + 10
    while twin.hands.look().mode != mode:
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.005)


def _other_client(twin: TwinProcess, *arguments: str) -> str:
    command = [sys.executable, "-W", "ignore", "-c", DRIVER, str(twin.folder), *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def _file(folder: Path, seed: int, size: int = 30_000) -> tuple[Path, bytes]:
    # Whole words: the virtual device takes no others; what the ROM does with a broken word AN3156 does not say.
    data = random.Random(seed).randbytes(size)
    (folder / "image.bin").write_bytes(data)
    return folder / "image.bin", data


def test_the_other_client_sees_what_ours_sees(twin: TwinProcess, backend: SocketUsbBackend) -> None:
    said = _other_client(twin, "-l")
    device = UsbBus(backend).find()
    assert f"[{device.vendor:04x}:{device.product:04x}]" in said
    assert f'serial="{device.serial_number}"' in said
    assert 'name="@Internal Flash  /0x08000000/04*016Kg,01*064Kg,07*128Kg"' in said


def test_what_the_other_client_writes_is_what_ours_reads(
    twin: TwinProcess, backend: SocketUsbBackend, tmp_path: Path
) -> None:
    file, data = _file(tmp_path, 1)
    _other_client(twin, "-a", "0", "-s", f"{START:#010x}", "-D", str(file))
    assert UsbDfuLoader.open(UsbBus(backend), RealClock()).read(START, len(data)) == data


def test_what_our_client_writes_is_what_the_other_reads(
    twin: TwinProcess, backend: SocketUsbBackend, tmp_path: Path
) -> None:
    _, data = _file(tmp_path, 2)
    loader = UsbDfuLoader.open(UsbBus(backend), RealClock())
    loader.erase([0, 1])
    loader.write(START, data)
    loader.close()
    read = tmp_path / "read.bin"
    _other_client(twin, "-a", "0", "-s", f"{START:#010x}:{len(data)}", "-U", str(read))
    assert read.read_bytes() == data


def test_a_device_left_in_an_error_is_taken_over_by_the_other_client(
    twin: TwinProcess, backend: SocketUsbBackend, tmp_path: Path
) -> None:
    device = UsbBus(backend).find().handle
    with pytest.raises(OSError, match="Pipe error"):
        device.ctrl_transfer(0x21, 4, 0, 0, b"")  # a needless "clear status" is a mistake in idle (DFU 1.1, A.2.3)
    file, data = _file(tmp_path, 3)
    said = _other_client(twin, "-a", "0", "-s", f"{START:#010x}", "-D", str(file))
    assert "dfuERROR" in said
    assert (twin.folder / "flash.bin").read_bytes()[: len(data)] == data


def test_the_other_client_makes_it_leave(twin: TwinProcess, tmp_path: Path) -> None:
    file, _ = _file(tmp_path, 4)
    _other_client(twin, "-a", "0", "-s", f"{START:#010x}:leave", "-D", str(file))
    _wait_for_mode(twin, "silent")  # it runs, and what was written is no firmware that anybody knows
    _enter_bootloader(twin)
