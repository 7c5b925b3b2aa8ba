"""The links over a real pseudo-terminal against a virtual aircraft in a process of its own, in real time.

Sped up where time is the part's or the line's, so that the whole file takes seconds.
"""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from rotorwright.display.characters import differing_characters, parse_characters
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.links.clock import RealClock
from rotorwright.links.console.link import ConsoleLink
from rotorwright.links.errors import PortMissingError, PortVanishedError
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.ports import PortChange, list_ports, watch_ports
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.links.serial_port import SerialPort
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.settings.dialects.shipped import thornbill_console
from rotorwright.settings.values import Value
from rotorwright.twin.delivery import DEMO_UNIQUE_ID
from rotorwright.twin.process import TwinProcess, spawn_twin
from rotorwright.twin.thornbill.release import catalogue, characters, customised_settings

pytestmark = pytest.mark.pty

PLAIN = LineSettings(921_600)
EVEN = LineSettings(921_600, Parity.EVEN)
PART = microcontroller("STM32F405xG")
CATALOGUE = catalogue("5.2", "C405")
AS_DELIVERED = dict(sorted((dict(CATALOGUE.defaults) | customised_settings()).items()))


@pytest.fixture
def twin(tmp_path: Path) -> Iterator[TwinProcess]:
    with spawn_twin(tmp_path / "state", speed=20.0, ports_folder=tmp_path / "ports", name="sandmartin") as process:
        yield process


def _link(twin: TwinProcess) -> MavlinkLink:
    return MavlinkLink(SerialPort(str(twin.port)).open(PLAIN), RealClock())


def test_the_aircraft_is_read_over_its_port(twin: TwinProcess) -> None:
    wire = SerialPort(str(twin.port)).open(PLAIN)
    link = MavlinkLink(wire, RealClock())
    assert link.read_identity().unique_id == DEMO_UNIQUE_ID
    assert link.read_settings() == AS_DELIVERED
    assert link.read_catalogue() == CATALOGUE
    assert link.read_file("/display/characters.bin") == characters("5.2")
    wire.close()


def test_a_fifth_of_all_frames_lost_over_a_real_port(tmp_path: Path) -> None:
    with spawn_twin(tmp_path / "state", faults="lose=0.2,seed=3") as lossy:
        link = _link(lossy)
        assert link.read_settings() == AS_DELIVERED
        assert link.last_read is not None
        assert link.last_read.frames_lost > 50


def test_an_image_is_written_over_the_port_into_flash(twin: TwinProcess) -> None:
    image = Image.of([(PART.flash_start, random.Random(1).randbytes(20_000))])
    twin.hands.restart(button=True)
    wire = SerialPort(str(twin.port)).open(EVEN)
    loader = RomUartLoader(wire, RealClock())
    assert loader.chip_id() == PART.boot_id
    report = write_sectors(loader, image, sectors_for(image, PART), mcu=PART)
    assert report.written == (0, 1)
    wire.close()
    flash = (twin.folder / "flash.bin").read_bytes()
    assert flash[:20_000] == image.segments[0].data


def test_a_port_that_vanishes_while_reading_is_an_error_and_comes_back(twin: TwinProcess) -> None:
    port = SerialPort(str(twin.port))
    pull = threading.Event()

    def pull_when_told() -> None:
        pull.wait(10.0)
        twin.hands.pull_cable()

    puller = threading.Thread(target=pull_when_told)
    puller.start()
    link = _link(twin)

    def read_for_ever() -> None:
        while True:
            link.read_settings(lambda done, _total: pull.set() if done > 100 else None)

    with pytest.raises(PortVanishedError) as caught:
        read_for_ever()
    puller.join()
    error = caught.value
    assert all((error.what, error.why, error.state, error.todo))
    assert not port.is_present()
    with pytest.raises(PortMissingError):
        port.open(PLAIN)
    twin.hands.plug_cable()
    assert port.is_present()
    assert _link(twin).read_settings() == AS_DELIVERED


def test_the_port_is_listed_and_seen_to_go_and_come(twin: TwinProcess, tmp_path: Path) -> None:
    folder = tmp_path / "ports"
    assert str(folder / "sandmartin") in {port.name for port in list_ports([folder])}
    events = watch_ports(RealClock(), extra_folders=[folder], timeout_s=20.0)
    next(events)
    twin.hands.pull_cable()
    went = next(event for event in events if event is not None)
    twin.hands.plug_cable()
    came = next(event for event in events if event is not None)
    assert (went.change, came.change) == (PortChange.WENT, PortChange.CAME)
    assert Path(came.port.name).name == "sandmartin"


def _console(twin: TwinProcess) -> ConsoleLink:
    wire = SerialPort(str(twin.port)).open(PLAIN)
    return ConsoleLink(wire, RealClock(), thornbill_console(), catalogue_for=lambda _identity: CATALOGUE)


def test_an_aircraft_with_a_text_console_is_read_and_written_over_its_port(tmp_path: Path) -> None:
    name = "CRAFT_MASS"
    wanted = Value.of(CATALOGUE[name].type, 612)
    with spawn_twin(tmp_path / "state", speed=20.0, console=True) as twin:
        link = _console(twin)
        assert link.read_identity().unique_id == DEMO_UNIQUE_ID
        assert link.read_settings() == AS_DELIVERED
        found = parse_characters(link.read_file("/display/characters.bin"))
        assert differing_characters(found, parse_characters(characters("5.2"))) == ()
        twin.hands.plug_battery()
        assert link.read_battery().volts > 10
        assert link.write_setting(name, wanted) == wanted
        link.save_settings()
        link.reboot()
        link.wait_heartbeat()
        assert link.read_settings() == AS_DELIVERED | {name: wanted}
    with spawn_twin(tmp_path / "state", speed=20.0) as twin:
        assert _console(twin).read_settings()[name] == wanted, "the folder remembers settings and console"


def test_the_bootloader_answers_after_the_text_console_went_into_it(tmp_path: Path) -> None:
    with spawn_twin(tmp_path / "state", speed=20.0, console=True) as twin:
        port = SerialPort(str(twin.port))
        wire = port.open(PLAIN)
        ConsoleLink(wire, RealClock(), thornbill_console()).reboot_to_bootloader()
        wire.close()
        loader = RomUartLoader(port.open(EVEN), RealClock())
        loader.synchronise()
        assert loader.chip_id() == PART.boot_id


def test_a_text_console_whose_port_vanishes_while_reading_is_an_error_and_comes_back(tmp_path: Path) -> None:
    with spawn_twin(tmp_path / "state", speed=20.0, console=True, faults="cable@6000") as twin:
        with pytest.raises(PortVanishedError):
            _console(twin).read_settings()
        twin.hands.plug_cable()
        assert _console(twin).read_settings() == AS_DELIVERED
