"""Ports that are there, that come and go, and what to try when none comes."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from rotorwright.links.ports import (
    NOTHING_CAME,
    PORTS_FOLDERS_VARIABLE,
    PortChange,
    PortEvent,
    PortInfo,
    PortKind,
    default_port_folders,
    list_ports,
    watch_ports,
)
from rotorwright.twin.clock import VirtualClock


@pytest.fixture(autouse=True)
def no_real_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)


def _comport(name: str, vid: int | None = None, **more: object) -> SimpleNamespace:
    facts = {"pid": None, "description": "n/a", "serial_number": None, "manufacturer": None, "product": None} | more
    return SimpleNamespace(device=name, vid=vid, **facts)


def test_serial_ports_are_listed_with_what_is_known_usb_first(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    usb = _comport("/dev/ttyUSB0", 0x0483, pid=0x5740, description="Corvane One", serial_number="3A00", product="CDC")
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [_comport("/dev/ttyS0"), usb])
    first, second = list_ports([tmp_path])
    assert (first.name, first.kind, first.description) == ("/dev/ttyUSB0", PortKind.USB, "Corvane One")
    assert str(first.usb) == "0483:5740"
    assert first.as_json()["serial_number"] == "3A00"
    assert (second.name, second.kind, second.description, second.usb) == ("/dev/ttyS0", PortKind.BUILT_IN, "", None)
    assert second.as_json()["usb"] is None


@pytest.mark.pty
def test_links_to_ports_are_listed_while_they_lead_somewhere(tmp_path: Path) -> None:
    master, slave = os.openpty()
    link = tmp_path / "twin"
    link.symlink_to(os.ttyname(slave))
    (tmp_path / "nowhere").symlink_to(tmp_path / "gone")
    (tmp_path / "notes.txt").write_text("no port")
    (port,) = list_ports([tmp_path, tmp_path / "no such folder"])
    assert port == PortInfo(
        str(link), PortKind.LINK, description="a virtual aircraft or a named port", leads_to=os.ttyname(slave)
    )
    os.close(slave)
    os.close(master)
    assert list_ports([tmp_path]) == ()


def test_folders_come_from_the_environment_or_the_user(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PORTS_FOLDERS_VARIABLE, os.pathsep.join(["/one", "/two", ""]))
    assert default_port_folders() == (Path("/one"), Path("/two"))
    monkeypatch.delenv(PORTS_FOLDERS_VARIABLE)
    (folder,) = default_port_folders()
    assert folder.parts[-2:] == ("rotorwright", "ports")


def test_the_default_folders_are_looked_into(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(PORTS_FOLDERS_VARIABLE, str(tmp_path))
    assert list_ports() == ()


def test_ports_that_go_and_come_are_told_and_quiet_looks_too() -> None:
    one, two, moved = (
        PortInfo("one", PortKind.USB),
        PortInfo("two", PortKind.LINK, leads_to="/dev/pts/4"),
        PortInfo("two", PortKind.LINK, leads_to="/dev/pts/5"),
    )
    looks = iter([(one, two), (two,), (two,), (two, one), (moved, one)])
    clock = VirtualClock()
    events = list(watch_ports(clock, look=lambda: next(looks), timeout_s=1.0))
    assert events == [
        PortEvent(PortChange.WENT, one),
        None,
        PortEvent(PortChange.CAME, one),
        PortEvent(PortChange.WENT, two),
        PortEvent(PortChange.CAME, moved),
    ]
    assert clock.now_s() == pytest.approx(1.0)


def test_what_to_try_when_nothing_came_is_in_the_order_of_the_trade() -> None:
    assert [cause.what for cause in NOTHING_CAME] == ["the driver", "the cable", "the board"]
    assert all(cause.sign and cause.todo for cause in NOTHING_CAME)
