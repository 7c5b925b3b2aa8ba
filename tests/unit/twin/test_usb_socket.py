"""The bootloader on USB of an aircraft in another process, through the loopback socket."""

from __future__ import annotations

import json
import os
import random
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import pytest
from tests.unit.twin.bench import PART, START
from tests.unit.twin.conftest import EchoTwin

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import sectors_for
from rotorwright.links.clock import RealClock
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.errors import DfuDeviceMissingError, DfuGoneError
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.twin.usb_socket import SocketUsbBackend

pytestmark = pytest.mark.pty

IMAGE = Image.of([(START, random.Random(5).randbytes(20_000))])


@pytest.fixture
def in_bootloader(start_twin: Callable[[], EchoTwin]) -> EchoTwin:
    twin = start_twin()
    twin.hands.restart(button=True)
    deadline = time.monotonic() + 5
    while twin.hands.look().mode != "bootloader":
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.005)
    return twin


@pytest.fixture
def backend(in_bootloader: EchoTwin) -> Iterator[SocketUsbBackend]:
    backend = SocketUsbBackend([in_bootloader.folder.path])
    yield backend
    backend.close()


def test_an_image_is_written_through_the_socket_and_read_back(
    in_bootloader: EchoTwin, backend: SocketUsbBackend
) -> None:
    loader = UsbDfuLoader.open(UsbBus(backend), RealClock())
    report = write_sectors(loader, IMAGE, sectors_for(IMAGE, PART), mcu=PART)
    assert report.bytes_verified == IMAGE.size_bytes
    assert in_bootloader.folder.flash_file.read_bytes()[: IMAGE.size_bytes] == IMAGE.segments[0].data


def test_another_process_finds_it(in_bootloader: EchoTwin) -> None:
    program = (
        "import sys, pathlib\n"
        "from rotorwright.links.usb_dfu.usb_port import UsbBus\n"
        "from rotorwright.twin.usb_socket import SocketUsbBackend\n"
        "print(UsbBus(SocketUsbBackend([pathlib.Path(sys.argv[1])])).find().name)\n"
    )
    command = [sys.executable, "-W", "ignore", "-c", program, str(in_bootloader.folder.path)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    assert said.startswith("0483:df11 at 1-1")


def test_a_pulled_cable_is_a_device_that_went_away(in_bootloader: EchoTwin, backend: SocketUsbBackend) -> None:
    loader = UsbDfuLoader.open(UsbBus(backend), RealClock())
    in_bootloader.hands.pull_cable()
    with pytest.raises(DfuGoneError):
        loader.read(START, 16)
    with pytest.raises(DfuDeviceMissingError):
        UsbBus(backend).find()


def test_an_aircraft_that_is_not_alive_is_not_plugged_in(in_bootloader: EchoTwin, backend: SocketUsbBackend) -> None:
    assert UsbBus(backend).devices()
    in_bootloader.hands.stop()
    in_bootloader.process.wait(5)
    assert UsbBus(backend).devices() == ()
    assert not (in_bootloader.folder.path / "usb.json").exists()


@pytest.mark.parametrize(
    "line", ['{"token": "no", "ask": "face"}', "[]", "{", '{"ask": "face"}', "x" * 40_000, '"text"', "null"]
)
def test_who_does_not_have_the_token_gets_no_answer_and_harms_nothing(in_bootloader: EchoTwin, line: str) -> None:
    address = json.loads((in_bootloader.folder.path / "usb.json").read_text())
    assert address["host"] == "127.0.0.1"
    with socket.create_connection((address["host"], address["port"]), timeout=5) as caller:
        try:
            caller.sendall(line.encode() + b"\n")
            assert caller.recv(100) == b""
        except ConnectionError:
            pass
    assert in_bootloader.hands.look().mode == "bootloader"


@pytest.mark.skipif(os.name == "nt", reason="file permissions of another kind")
def test_address_and_token_are_for_the_owner_only(in_bootloader: EchoTwin) -> None:
    assert stat.S_IMODE((in_bootloader.folder.path / "usb.json").stat().st_mode) & 0o077 == 0
