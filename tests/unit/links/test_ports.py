"""Ports that are there, what they are, and that they come and go."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from rotorwright.links.ports import (
    PORTS_FOLDERS_VARIABLE,
    PortChange,
    PortEvent,
    PortInfo,
    PortKind,
    UsbIds,
    changes_between,
    default_port_folders,
    list_attached,
    list_ports,
    watch_ports,
)
from rotorwright.links.uf2_drive.finding import find_drives
from rotorwright.links.usb_devices import UsbDevice
from rotorwright.links.usb_facts import DFU_LOADER, DFU_RUNNING, DeviceRole, UsbFact
from rotorwright.twin.clock import VirtualClock


@pytest.fixture(autouse=True)
def no_real_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    monkeypatch.setattr("rotorwright.links.ports.list_usb_devices", tuple)
    monkeypatch.setattr("rotorwright.links.ports.find_drives", tuple)


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


def test_a_port_says_what_it_is_by_its_numbers_and_why(monkeypatch: pytest.MonkeyPatch) -> None:
    running = _comport("/dev/ttyACM0", 0x0483, pid=0x5740)
    adapter = _comport("/dev/ttyUSB0", 0x1A86, pid=0x7523)
    unknown = _comport("/dev/ttyACM1", 0x1234, pid=0x0001)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [running, adapter, unknown, _comport("/dev/ttyS0")])
    roles = {port.name: port.role for port in list_attached([])}
    assert roles == {
        "/dev/ttyACM0": DeviceRole.APPLICATION,
        "/dev/ttyUSB0": DeviceRole.UNKNOWN_SERIAL,
        "/dev/ttyACM1": DeviceRole.UNKNOWN_SERIAL,
        "/dev/ttyS0": DeviceRole.UNKNOWN_SERIAL,
    }
    whys = {port.name: port.why for port in list_attached([])}
    assert "usb.ids" in whys["/dev/ttyACM0"]
    assert whys["/dev/ttyACM1"] == "1234:0001 stands in no table here"


def test_a_port_whose_device_can_be_sent_to_its_bootloader_is_a_running_application(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    port = _comport("/dev/ttyACM0", 0x1234, pid=0x0001, serial_number="A1")
    device = UsbDevice("1-1", 0x1234, 0x0001, frozenset({DFU_RUNNING}), serial_number="A1")
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [port])
    monkeypatch.setattr("rotorwright.links.ports.list_usb_devices", lambda: (device,))
    (found,) = list_attached([])
    assert found.role is DeviceRole.APPLICATION
    assert "USB DFU 1.1" in found.why


def test_a_bootloader_without_a_port_is_listed_as_the_device_that_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    loader = UsbDevice("1-1.2", 0x1234, 2, frozenset({DFU_LOADER}), serial_number="B2", file="/dev/bus/usb/001/005")
    stick = UsbDevice("1-3", 0x1234, 3, frozenset({(8, 6, 80)}))
    monkeypatch.setattr("rotorwright.links.ports.list_usb_devices", lambda: (loader, stick))
    (found,) = list_attached([])
    assert (found.name, found.kind, found.role) == ("usb 1-1.2", PortKind.DEVICE, DeviceRole.BOOTLOADER)
    assert found.opened_file == "/dev/bus/usb/001/005"
    assert found.as_json()["usb"] == "1234:0002"
    assert found.as_json()["serial_number"] == "B2"


def test_a_release_book_may_know_more_of_its_boards(monkeypatch: pytest.MonkeyPatch) -> None:
    fact = UsbFact(DeviceRole.APPLICATION, "Corvane C405", "release book", 0x1234, 1)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [_comport("/dev/ttyACM0", 0x1234, pid=1)])
    (found,) = list_attached([], more_facts=[fact])
    assert (found.role, found.why) == (DeviceRole.APPLICATION, "Corvane C405; release book")


def test_a_drive_is_listed_with_what_its_info_file_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "INFO_UF2.TXT").write_text("UF2 Bootloader v1.2\r\nModel: Corvane H7\r\nBoard-ID: H743-H7-v1\r\n")
    monkeypatch.setattr("rotorwright.links.ports.find_drives", lambda: find_drives([tmp_path]))
    (found,) = list_attached([])
    assert (found.name, found.role, found.kind) == (str(tmp_path), DeviceRole.UF2_DRIVE, PortKind.DRIVE)
    assert found.description == "Corvane H7, H743-H7-v1, UF2 Bootloader v1.2"


def test_another_device_under_the_same_name_went_and_came() -> None:
    one, other = (PortInfo("/dev/ttyACM0", PortKind.USB, usb=UsbIds(1, 2, serial)) for serial in ("A", "B"))
    assert changes_between([one], [other]) == (PortEvent(PortChange.WENT, one), PortEvent(PortChange.CAME, other))


def test_what_changed_since_the_listing_shown_is_told_at_the_first_look() -> None:
    one = PortInfo("one", PortKind.USB)
    (event,) = watch_ports(VirtualClock(), look=lambda: (one,), before=(), timeout_s=0.2)
    assert event == PortEvent(PortChange.CAME, one)
