"""A virtual aircraft as a process, for the tests that need a real port."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.unit.twin.bench import IMAGE_MARK, PAPERS, PART, START

from rotorwright.firmware.image import Image
from rotorwright.twin.hands import HandsClient
from rotorwright.twin.state import StateFolder


@dataclass
class EchoTwin:
    folder: StateFolder
    ports: Path
    process: subprocess.Popen[str]

    @property
    def hands(self) -> HandsClient:
        return HandsClient(self.folder.path)

    @property
    def port(self) -> str:
        return str(self.folder.port_link)


def start_echo_twin(folder: Path, *, speed: float, with_image: bool) -> EchoTwin:
    """Start it and wait until its port is there."""
    state = StateFolder(folder)
    if not state.is_made:
        state.make(PAPERS)
    if with_image:
        state.write_image(Image.of([(START, IMAGE_MARK)]), PART)
    ports = folder.parent / "ports"
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.unit.twin.serve_echo", str(folder), str(speed), str(ports)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[3],
    )
    assert process.stdout is not None
    assert process.stdout.readline().startswith(str(state.port_link))
    return EchoTwin(state, ports, process)


@pytest.fixture
def start_twin(tmp_path: Path) -> Iterator[Callable[..., EchoTwin]]:
    """Start virtual aircraft, in `tmp_path / name`; all end with the test."""
    started: list[EchoTwin] = []

    def start(name: str = "aircraft", *, speed: float = 1000.0, with_image: bool = False) -> EchoTwin:
        started.append(start_echo_twin(tmp_path / name, speed=speed, with_image=with_image))
        return started[-1]

    yield start
    for twin in started:
        twin.process.terminate()
        twin.process.wait(5)
        for pipe in (twin.process.stdin, twin.process.stdout):
            if pipe is not None:
                pipe.close()


@pytest.fixture
def echo_twin(start_twin: Callable[..., EchoTwin]) -> EchoTwin:
    """One virtual aircraft with the button held: its bootloader answers."""
    twin = start_twin()
    twin.hands.restart(button=True)
    return twin
