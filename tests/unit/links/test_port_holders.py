"""Who holds a port, from a made-up list of processes and from the real one."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from rotorwright.links.port_access import may_open
from rotorwright.links.port_holders import Holder, Holders, holders_of


def _process(folder: Path, number: int, command: str, *files: str) -> Path:
    process = folder / str(number)
    (process / "fd").mkdir(parents=True)
    (process / "comm").write_text(command + "\n")
    for index, file in enumerate(files):
        (process / "fd" / str(index)).symlink_to(file)
    return process


def test_the_programs_that_have_the_device_open_are_named(tmp_path: Path) -> None:
    _process(tmp_path, 12, "modem-daemon", "/dev/null", "/dev/made-up-port")
    _process(tmp_path, 7, "shell", "/dev/null")
    (tmp_path / "version").write_text("no process")
    found = holders_of("/dev/made-up-port", processes=tmp_path, system="linux")
    assert found.holders == (Holder(12, "modem-daemon"),)
    assert found.words == "held by modem-daemon (process 12)"
    assert found.as_json() == [{"process": 12, "command": "modem-daemon"}]


def test_a_link_is_followed_to_the_device_that_is_open(tmp_path: Path) -> None:
    device = tmp_path / "device"
    device.write_text("")
    (tmp_path / "name").symlink_to(device)
    _process(tmp_path / "list", 3, "other", str(device))
    assert holders_of(str(tmp_path / "name"), processes=tmp_path / "list", system="linux").holders


def test_nobody_is_said_only_if_everybody_was_looked_into(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hidden = _process(tmp_path, 1, "init")
    assert holders_of("/dev/x", processes=tmp_path, system="linux").words == "nobody holds it"

    def refuse(folder: Path) -> object:
        if folder == hidden / "fd":
            raise PermissionError
        return iterdir(folder)

    iterdir = Path.iterdir
    monkeypatch.setattr(Path, "iterdir", refuse)
    found = holders_of("/dev/x", processes=tmp_path, system="linux")
    assert found.words == "no program of yours holds it; 1 of other users cannot be looked into"
    assert found.as_json() is None


def test_a_process_that_ends_meanwhile_holds_nothing(tmp_path: Path) -> None:
    (tmp_path / "9").mkdir()
    assert holders_of("/dev/x", processes=tmp_path, system="linux") == Holders(is_known=True)


@pytest.mark.parametrize("system", ["win32", "darwin"])
def test_on_other_systems_it_is_said_that_it_is_not_known(system: str) -> None:
    found = holders_of("COM3", system=system)
    assert found.words == "who holds it is not known on this system"
    assert found.as_json() is None


@pytest.mark.pty
@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells who has a file open")
def test_our_own_process_is_found_by_the_real_list() -> None:
    master, slave = os.openpty()
    name = os.ttyname(slave)
    assert os.getpid() in {holder.process_id for holder in holders_of(name).holders}
    os.close(slave)
    assert os.getpid() not in {holder.process_id for holder in holders_of(name).holders}
    os.close(master)


def test_whether_it_may_be_opened_is_asked_of_the_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    port = tmp_path / "port"
    port.write_text("")
    assert may_open(str(port)) is True
    assert may_open(str(tmp_path / "gone")) is None
    assert may_open("") is None
    monkeypatch.setattr(os, "access", lambda _name, mode: mode != os.R_OK | os.W_OK)
    assert may_open(str(port)) is False
