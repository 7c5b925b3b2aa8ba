"""The demo aircraft in the background, as the command line, the demo and other tests start it."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
import serial
from pymavlink.dialects.v20 import common

from rotorwright.twin.errors import FaultPlanError, TwinNotRunningError
from rotorwright.twin.process import spawn_twin
from rotorwright.twin.state import StateFolder

pytestmark = pytest.mark.pty


def first_message(port: serial.Serial, kind: str) -> object:
    """Return the first message of a kind that pymavlink (an independent reader) finds."""
    reader = common.MAVLink(None)
    reader.robust_parsing = True
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        for message in reader.parse_buffer(port.read(max(1, port.in_waiting))) or []:
            if message.get_type() == kind:
                return message
    return None


def test_a_spawned_aircraft_flies_its_firmware_and_ends_when_told(tmp_path: Path) -> None:
    with spawn_twin(
        tmp_path / "twin", speed=50.0, baud=921_600, ports_folder=tmp_path / "ports", name="sandmartin"
    ) as twin:
        assert (tmp_path / "ports" / "sandmartin").exists()
        with serial.Serial(str(twin.port), 921_600, timeout=0.2) as port:
            assert first_message(port, "HEARTBEAT") is not None
        assert twin.hands.restart(button=True).mode == "starting"
    assert twin.process.returncode == 0
    assert not twin.port.is_symlink()
    assert StateFolder(tmp_path / "twin").flash_file.exists()
    twin.stop()  # harmless


def test_a_second_one_in_the_same_folder_says_why_it_does_not_start(tmp_path: Path) -> None:
    with spawn_twin(tmp_path / "twin"):
        with pytest.raises(TwinNotRunningError) as caught:
            spawn_twin(tmp_path / "twin")
        assert "alive already" in caught.value.why


def test_a_damaged_folder_says_why_it_does_not_start(tmp_path: Path) -> None:
    (tmp_path / "aircraft.json").write_text("{}")
    with pytest.raises(TwinNotRunningError) as caught:
        spawn_twin(tmp_path)
    assert "aircraft.json" in caught.value.why


def test_a_fault_that_cannot_be_read_starts_nothing(tmp_path: Path) -> None:
    with pytest.raises(FaultPlanError):
        spawn_twin(tmp_path / "twin", faults="torn@never")
    assert not (tmp_path / "twin").exists()
