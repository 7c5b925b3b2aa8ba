"""The switch between the two ways in which the demo firmware speaks, and that its folder remembers it."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rotorwright.cli import twin as twin_command
from rotorwright.links.wire import LineSettings
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.assembly import aircraft_of_folder, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.delivery import PAPERS, deliver, delivered_memories
from rotorwright.twin.errors import TwinStateError
from rotorwright.twin.state import StateFolder
from rotorwright.twin.wire import DirectPort

if TYPE_CHECKING:
    from pathlib import Path

    from rotorwright.twin.aircraft import VirtualAircraft

BY_CONSOLE = b"-- Thornbill 5.2.0 on Corvane One is awake\r\n"


def first_words(aircraft: VirtualAircraft, clock: VirtualClock) -> bytes:
    wire = DirectPort(aircraft, clock).open(LineSettings(115_200))
    said = b""
    while len(said) < len(BY_CONSOLE):
        said += wire.receive(len(BY_CONSOLE) - len(said), 2.0)
    return said


def test_the_firmware_speaks_by_messages_unless_it_is_told_otherwise() -> None:
    clock = VirtualClock()
    by_messages = build_aircraft(PAPERS, delivered_memories(), start_from_flash)
    assert first_words(by_messages, clock)[:1] == b"\xfd"


def test_the_switch_or_the_papers_give_it_a_console() -> None:
    for papers, console in ((PAPERS, True), (replace(PAPERS, console=True), False)):
        aircraft = build_aircraft(papers, delivered_memories(), start_from_flash, console=console)
        assert first_words(aircraft, VirtualClock()) == BY_CONSOLE


def test_a_folder_from_before_the_switch_is_read_and_remembers_it_from_then_on(tmp_path: Path) -> None:
    folder = StateFolder(tmp_path / "aircraft")
    deliver(folder)
    old = json.loads(folder.papers_file.read_text())
    del old["console"]
    folder.papers_file.write_text(json.dumps(old))
    assert folder.read_papers() == PAPERS
    folder.give_console()
    assert folder.read_papers() == replace(PAPERS, console=True)
    with aircraft_of_folder(folder, start_from_flash) as aircraft:
        assert first_words(aircraft, VirtualClock()) == BY_CONSOLE


def test_an_empty_folder_cannot_be_given_a_console(tmp_path: Path) -> None:
    with pytest.raises(TwinStateError):
        StateFolder(tmp_path).give_console()


@pytest.mark.parametrize("console", [False, True])
def test_the_command_gives_a_new_aircraft_its_console(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, console: bool
) -> None:
    monkeypatch.setattr(twin_command, "serve", lambda *_args, **_more: None)
    monkeypatch.setattr(twin_command, "_lay_out_papers", lambda _path: None)
    assert twin_command.serve_twin(tmp_path / "a", baud=0, speed=1.0, faults=[], console=console) == 0
    assert StateFolder(tmp_path / "a").read_papers().console is console
