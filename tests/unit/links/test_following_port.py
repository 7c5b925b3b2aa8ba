"""A port that comes back under another name is followed; another device's port is not."""

from __future__ import annotations

from dataclasses import dataclass, field

from rotorwright.links.following_port import FollowingPort
from rotorwright.links.ports import PortInfo, PortKind, UsbIds
from rotorwright.links.wire import LineSettings, Wire

LINE = LineSettings(115_200)
OURS = UsbIds(0x1209, 0x0001, serial_number="A1")
ALIKE = UsbIds(0x1209, 0x0001, serial_number="B2")


@dataclass
class Computer:
    """Ports that come and go."""

    ports: dict[str, UsbIds | None] = field(default_factory=dict)
    opened: list[str] = field(default_factory=list)

    def look(self) -> tuple[PortInfo, ...]:
        return tuple(PortInfo(name, PortKind.USB, usb=usb) for name, usb in self.ports.items())

    def port(self, name: str, usb: UsbIds | None = None) -> FollowingPort:
        return FollowingPort(name, usb=usb, look=self.look, port_named=lambda named: _Port(self, named))


@dataclass
class _Port:
    computer: Computer
    name: str

    def is_present(self) -> bool:
        return self.name in self.computer.ports

    def open(self, _line: LineSettings) -> Wire:
        self.computer.opened.append(self.name)
        return None  # type: ignore[return-value]  # nobody speaks here


def test_the_same_device_under_another_name_is_the_same_port() -> None:
    computer = Computer({"one": OURS})
    port = computer.port("one")
    assert port.is_present()
    computer.ports = {}
    assert not port.is_present()
    computer.ports = {"two": OURS, "three": ALIKE}
    assert port.is_present()
    port.open(LINE)
    assert (port.name, computer.opened) == ("two", ["two"])


def test_a_device_that_only_looks_alike_is_not_taken() -> None:
    computer = Computer({"one": OURS})
    port = computer.port("one")
    assert port.is_present()
    computer.ports = {"two": ALIKE}
    assert not port.is_present()
    assert port.name == "one"


def test_among_two_that_cannot_be_told_apart_none_is_taken() -> None:
    nameless = UsbIds(0x1209, 0x0001)
    computer = Computer({"one": nameless})
    port = computer.port("one")
    assert port.is_present()
    computer.ports = {"two": nameless, "three": nameless}
    assert not port.is_present()


def test_a_port_without_usb_is_only_where_it_was() -> None:
    computer = Computer({"one": None})
    port = computer.port("one")
    assert port.usb is None
    computer.ports = {"two": OURS}
    assert not port.is_present()


def test_a_later_run_follows_by_what_the_first_one_wrote_down() -> None:
    computer = Computer({"seven": OURS})
    port = computer.port("one", usb=OURS)
    assert port.is_present()
    assert port.name == "seven"


def test_the_device_is_learnt_when_the_port_is_opened() -> None:
    computer = Computer({"one": OURS})
    port = computer.port("one")
    port.open(LINE)
    computer.ports = {"two": OURS}
    assert port.is_present()
