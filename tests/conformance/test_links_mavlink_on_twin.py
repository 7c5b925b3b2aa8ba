"""The MAVLink link against the virtual aircraft, in memory, over good and bad lines.

What the aircraft holds is read from its own memories, not over the link. That the aircraft speaks MAVLink is checked by
pymavlink elsewhere.
"""

from __future__ import annotations

import pytest

from rotorwright.errors import LinkError
from rotorwright.links.mavlink.errors import SettingMissingError, SettingRefusedError
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.wire import LineSettings, Parity, Wire
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.assembly import Circumstances, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.delivery import DEMO_UNIQUE_ID, PAPERS, delivered_memories
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.thornbill.release import catalogue, characters, customised_settings
from rotorwright.twin.wire import DirectPort

CATALOGUE = catalogue("5.2", "C405")
AS_DELIVERED = dict(sorted((dict(CATALOGUE.defaults) | customised_settings()).items()))
DISPLAY = "/display/characters.bin"

BAD_LINES = [
    FaultPlan(loss_rate=0.2, seed=1),
    FaultPlan(loss_rate=0.2, seed=2),
    FaultPlan(damage_rate=0.1, seed=3),
    FaultPlan(double_rate=0.3, seed=4),
    FaultPlan(late_s=0.05),
    FaultPlan(loss_rate=0.2, damage_rate=0.05, double_rate=0.1, seed=5),
]


class Bench:
    """The demo aircraft as delivered, and a link to it."""

    def __init__(self, faults: FaultPlan | None = None, *, baud: int = 115_200) -> None:
        self.memories = delivered_memories()
        self.clock = VirtualClock()
        self.aircraft = build_aircraft(
            PAPERS, self.memories, start_from_flash, circumstances=Circumstances(faults=faults or FaultPlan())
        )
        self.port = DirectPort(self.aircraft, self.clock)
        self._baud = baud
        self._wire: Wire | None = None

    def link(self) -> MavlinkLink:
        return MavlinkLink(self.wire(LineSettings(self._baud)), self.clock)

    def wire(self, line: LineSettings) -> Wire:
        if self._wire is not None:
            self._wire.close()
        self._wire = self.port.open(line)
        return self._wire


@pytest.fixture(params=[FaultPlan(), *BAD_LINES], ids=lambda faults: faults.words() or "good line")
def bench(request: pytest.FixtureRequest) -> Bench:
    return Bench(request.param)


def test_the_aircraft_says_who_it_is(bench: Bench) -> None:
    identity = bench.link().read_identity()
    assert identity.unique_id == DEMO_UNIQUE_ID
    assert (identity.family, identity.release, identity.board) == ("Thornbill", "5.2.0", "Corvane One")


def test_every_setting_is_read_exactly(bench: Bench) -> None:
    link = bench.link()
    assert link.read_settings() == AS_DELIVERED
    assert link.last_read is not None
    assert link.last_read.settings >= 420


@pytest.mark.parametrize("baud", [115_200, 921_600])
def test_a_fifth_of_all_frames_lost_costs_less_than_as_much_again(baud: int) -> None:
    for seed in range(10):
        link = Bench(FaultPlan(loss_rate=0.2, seed=seed), baud=baud).link()
        link.read_identity()
        assert link.read_settings() == AS_DELIVERED
        read = link.last_read
        assert read is not None
        assert read.frames_lost > 50, "the faults were real"
        # One list request in five is lost, and each costs a wait.
        assert read.duration_s < 2 * len(AS_DELIVERED) * 37 * 10 / baud + 1.2


def test_the_catalogue_and_the_display_characters_are_read_whole(bench: Bench) -> None:
    link = bench.link()
    assert link.read_catalogue() == CATALOGUE
    assert link.read_file(DISPLAY) == characters("5.2")


def test_settings_are_written_saved_and_there_after_a_restart(bench: Bench) -> None:
    link = bench.link()
    name = next(name for name, setting in CATALOGUE.settings.items() if setting.type is SettingType.FLOAT)
    wanted = CATALOGUE[name].maximum
    assert wanted is not None
    assert link.write_setting(name, wanted) == wanted
    link.save_settings()
    link.reboot()
    bench.clock.sleep_s(1.0)
    assert bench.link().read_setting(name) == wanted
    assert bench.link().read_settings() == AS_DELIVERED | {name: wanted}


def test_a_value_out_of_range_is_refused_and_a_missing_setting_told(bench: Bench) -> None:
    link = bench.link()
    name = next(name for name, one in CATALOGUE.settings.items() if one.type is SettingType.UINT8 and one.maximum)
    top = CATALOGUE[name].maximum
    assert top is not None
    with pytest.raises(SettingRefusedError) as caught:
        link.write_setting(name, Value.of(SettingType.UINT8, top.number + 1))
    assert caught.value.facts["kept"] == AS_DELIVERED[name].text
    with pytest.raises(SettingMissingError):
        link.write_setting("NOT_A_SETTING", Value.of(SettingType.UINT8, 1))


def test_settings_are_reset_to_defaults_and_loaded_again(bench: Bench) -> None:
    link = bench.link()
    link.reset_settings()
    defaults = link.read_settings()
    changed = [name for name, value in defaults.items() if value != AS_DELIVERED[name]]
    assert len(changed) >= 60
    link.load_settings()
    assert link.read_settings() == AS_DELIVERED


def test_display_characters_are_kept_with_a_battery_and_forgotten_without(bench: Bench) -> None:
    turned = characters("5.2")[::-1]
    bench.link().write_file(DISPLAY, turned)
    bench.link().reboot()
    bench.clock.sleep_s(1.0)
    assert bench.link().read_file(DISPLAY) == characters("5.2")
    bench.aircraft.plug_battery(bench.clock.now_s())
    assert bench.link().read_battery().volts > 10
    bench.link().write_file(DISPLAY, turned)
    bench.link().reboot()
    bench.clock.sleep_s(1.0)
    assert bytes(bench.memories.display) == bench.link().read_file(DISPLAY)


def test_a_tilt_is_seen_in_the_stream_of_attitudes(bench: Bench) -> None:
    stream = bench.link().watch_attitude(rate_hz=25.0)
    next(stream)
    bench.aircraft.tilt("right", bench.clock.now_s())
    deadline = bench.clock.now_s() + 10.0
    assert any(one.roll_rad > 0.3 for one in stream if bench.clock.now_s() < deadline or pytest.fail("no tilt seen"))


def test_the_receiver_is_heard(bench: Bench) -> None:
    channels = bench.link().read_channels().channels_us
    assert len(channels) >= 8
    assert all(one is None or 800 <= one <= 2200 for one in channels)


def test_the_aircraft_restarts_into_its_bootloader_and_the_bootloader_answers(bench: Bench) -> None:
    bench.link().reboot_to_bootloader()
    bench.aircraft.arm(FaultPlan())  # a line this bad is for the application; the bootloader has its own tests
    bench.clock.sleep_s(0.5)
    loader = RomUartLoader(bench.wire(LineSettings(115_200, Parity.EVEN)), bench.clock)
    loader.synchronise()
    assert loader.chip_id() == 0x413
    assert loader.read_unique_id(0x1FFF_7A10) == DEMO_UNIQUE_ID


@pytest.mark.parametrize("after_bytes", [1, 200, 3_000, 12_000, 17_000])
def test_a_cable_pulled_while_reading_is_an_error_and_the_next_reading_is_whole(after_bytes: int) -> None:
    bench = Bench(FaultPlan(cable_pull_after_bytes=after_bytes))
    link = bench.link()
    with pytest.raises(LinkError):
        link.read_settings()
    bench.aircraft.plug_cable(bench.clock.now_s())
    assert bench.link().read_settings() == AS_DELIVERED
