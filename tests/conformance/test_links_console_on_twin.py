"""The link to a text console against the virtual aircraft that speaks by one, in memory, over good and bad lines.

What the aircraft holds is read from its own memories, not over the link.
"""

from __future__ import annotations

import math
import random
from functools import cache

import pytest

from rotorwright.display.characters import differing_characters, parse_characters
from rotorwright.errors import LinkError, ProtocolError, SettingsError
from rotorwright.links.application import ApplicationLink
from rotorwright.links.console.errors import (
    ConsoleRefusedError,
    ConsoleSettingMissingError,
    ConsoleSettingRefusedError,
    ConsoleSilentError,
    NoCatalogueError,
)
from rotorwright.links.console.link import ConsoleLink
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.wire import LineSettings, Parity, Wire
from rotorwright.settings.catalogue import Catalogue
from rotorwright.settings.dialects.shipped import thornbill_console
from rotorwright.settings.identity import Identity, release_line
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.assembly import Circumstances, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.delivery import DEMO_UNIQUE_ID, PAPERS, delivered_memories
from rotorwright.twin.faults import CutMoment, FaultPlan, MemoryKind, PowerCut
from rotorwright.twin.settings_memory import MemoryInRam, load_settings
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import catalogue, characters, customised_settings
from rotorwright.twin.wire import DirectPort

CATALOGUE = catalogue("5.2", "C405")
AS_DELIVERED = dict(sorted((dict(CATALOGUE.defaults) | customised_settings()).items()))
DISPLAY = "/display/characters.bin"

# A text console has no checksum and no numbered answers, so lines as bad as those for messages are beyond it.
BAD_LINES = [
    FaultPlan(loss_rate=0.001, seed=1),
    FaultPlan(damage_rate=0.001, seed=2),
    FaultPlan(late_s=0.05),
    FaultPlan(loss_rate=0.0005, damage_rate=0.0005, seed=3),
]


def catalogue_for(identity: Identity) -> Catalogue:
    return catalogue(release_line(identity.release), "C405")


class Bench:
    """The demo aircraft as delivered, its firmware on a text console, and a link to it."""

    def __init__(self, faults: FaultPlan | None = None, *, baud: int = 115_200, release: str = "5.2") -> None:
        self.memories = delivered_memories(build_image(release, "C405"))
        self.clock = VirtualClock()
        self.aircraft = build_aircraft(
            PAPERS,
            self.memories,
            start_from_flash,
            circumstances=Circumstances(faults=faults or FaultPlan()),
            console=True,
        )
        self.port = DirectPort(self.aircraft, self.clock)
        self._baud = baud
        self._wire: Wire | None = None

    def link(self) -> ConsoleLink:
        wire = self.wire(LineSettings(self._baud))
        return ConsoleLink(wire, self.clock, thornbill_console(), catalogue_for=catalogue_for)

    def wire(self, line: LineSettings) -> Wire:
        if self._wire is not None:
            self._wire.close()
        self._wire = self.port.open(line)
        return self._wire

    def stored(self) -> dict[str, Value]:
        stored = load_settings(MemoryInRam(bytes(self.memories.settings)))
        assert stored is not None
        return dict(stored.settings)


@pytest.fixture(params=[FaultPlan(), *BAD_LINES], ids=lambda faults: faults.words() or "good line")
def bench(request: pytest.FixtureRequest) -> Bench:
    return Bench(request.param)


def test_the_aircraft_says_who_it_is(bench: Bench) -> None:
    identity = bench.link().read_identity()
    assert identity.unique_id == DEMO_UNIQUE_ID
    assert (identity.family, identity.release, identity.board) == ("Thornbill", "5.2.0", "Corvane One")


def test_every_setting_is_read_exactly(bench: Bench) -> None:
    assert bench.link().read_settings() == AS_DELIVERED


def test_over_a_bad_line_settings_are_read_exactly_or_not_at_all() -> None:
    whole, refused, asked = 0, 0, 0
    for seed in range(20):
        bench = Bench(FaultPlan(loss_rate=0.0005, damage_rate=0.0005, seed=seed), baud=921_600)
        wire = CountingWire(bench.wire(LineSettings(921_600)))
        link = ConsoleLink(wire, bench.clock, thornbill_console(), catalogue_for=catalogue_for)
        try:
            found = link.read_settings()
        except (LinkError, ProtocolError, SettingsError):
            refused += 1
        else:
            assert found == AS_DELIVERED
            whole += 1
        asked += wire.sent.count(b"tell all\r\n")
    assert asked > 2 * 20, "the faults were real"
    assert whole > refused


class CountingWire:
    """A wire that remembers what was sent over it."""

    def __init__(self, wire: Wire) -> None:
        self._wire = wire
        self.name = wire.name
        self.receive, self.discard_input, self.close = wire.receive, wire.discard_input, wire.close
        self.sent: list[bytes] = []

    def send(self, data: bytes) -> None:
        self.sent.append(data)
        self._wire.send(data)


def test_both_links_say_the_same_of_the_same_aircraft() -> None:
    memories, clock = delivered_memories(), VirtualClock()

    def said(link: ApplicationLink) -> tuple[Identity, dict[str, Value], bytes]:
        return link.read_identity(), link.read_settings(), link.read_file(DISPLAY)

    by_messages = build_aircraft(PAPERS, memories, start_from_flash)
    one = said(MavlinkLink(DirectPort(by_messages, clock).open(LineSettings(921_600)), clock))
    by_console = build_aircraft(PAPERS, memories, start_from_flash, console=True, start_s=clock.now_s())
    wire = DirectPort(by_console, clock).open(LineSettings(921_600))
    other = said(ConsoleLink(wire, clock, thornbill_console(), catalogue_for=catalogue_for))
    assert one[:2] == other[:2]
    assert differing_characters(parse_characters(one[2]), parse_characters(other[2])) == ()


def test_the_display_characters_are_read_whole(bench: Bench) -> None:
    found = parse_characters(bench.link().read_file(DISPLAY))
    assert differing_characters(found, parse_characters(characters("5.2"))) == ()


def test_without_a_catalogue_the_texts_are_those_of_the_values() -> None:
    bench = Bench()
    link = ConsoleLink(bench.wire(LineSettings(115_200)), bench.clock, thornbill_console())
    found = link.read_settings()
    assert found.keys() == AS_DELIVERED.keys()
    assert {value.type for value in found.values()} == {SettingType.TEXT}
    on_off = {"on": "1", "off": "0"}
    assert {name: on_off.get(value.text, value.text) for name, value in found.items()} == {
        name: value.text for name, value in AS_DELIVERED.items()
    }
    for name, value in (
        ("TURN_VOLT_COMP", Value.of_text("off")),
        ("TURN_VOLT_COMP", Value.of_text("on")),
        ("CRAFT_MASS", Value.of_text("612")),
    ):
        assert link.write_setting(name, value) == value


def test_settings_are_written_saved_and_there_after_a_restart(bench: Bench) -> None:
    link = bench.link()
    wanted = {}
    for type_ in {setting.type for setting in CATALOGUE.settings.values()}:
        name = next(name for name, one in CATALOGUE.settings.items() if one.type is type_ and one.minimum)
        low, high = CATALOGUE[name].minimum, CATALOGUE[name].maximum
        assert low is not None
        assert high is not None
        wanted[name] = high if AS_DELIVERED[name] == low else low
    for name, value in wanted.items():
        assert link.write_setting(name, value) == value
    assert bench.stored() == AS_DELIVERED, "not kept before it is told to"
    link.save_settings()
    link.reboot()
    assert bench.link().read_settings() == AS_DELIVERED | wanted
    assert bench.stored() == AS_DELIVERED | wanted


def test_a_value_out_of_range_is_refused_in_words_and_a_missing_setting_told(bench: Bench) -> None:
    link = bench.link()
    name = next(name for name, one in CATALOGUE.settings.items() if one.type is SettingType.UINT8 and not one.choices)
    top = CATALOGUE[name].maximum
    assert top is not None
    with pytest.raises(ConsoleSettingRefusedError) as caught:
        link.write_setting(name, Value.of(SettingType.UINT8, top.number + 1))
    assert caught.value.facts["kept"] == AS_DELIVERED[name].text
    assert "highest allowed" in caught.value.why
    with pytest.raises(ConsoleSettingMissingError):
        link.write_setting("NOT_A_SETTING", Value.of(SettingType.UINT8, 1))


def test_settings_are_reset_to_defaults_and_the_saved_ones_come_back_with_the_power(bench: Bench) -> None:
    link = bench.link()
    link.reset_settings()
    assert link.read_settings() == dict(sorted(CATALOGUE.defaults.items()))
    link.reboot()
    assert bench.link().read_settings() == AS_DELIVERED


def test_display_characters_are_kept_with_a_battery_and_forgotten_without() -> None:
    bench = Bench(baud=921_600)
    turned = characters("5.2")[::-1]
    bench.link().write_file(DISPLAY, turned)
    assert bytes(bench.memories.display) == characters("5.2"), "taken, and forgotten"
    bench.aircraft.plug_battery(bench.clock.now_s())
    assert bench.link().read_battery().volts > 10
    bench.link().write_file(DISPLAY, turned)
    bench.link().reboot()
    wanted = parse_characters(turned)
    assert differing_characters(parse_characters(bench.link().read_file(DISPLAY)), wanted) == ()
    assert differing_characters(parse_characters(bytes(bench.memories.display)), wanted) == ()


def test_each_tilt_is_seen_in_the_stream_of_attitudes() -> None:
    bench = Bench()
    for side, axis, sign in (
        ("right", "roll", 1),
        ("left", "roll", -1),
        ("back", "pitch", 1),
        ("forward", "pitch", -1),
    ):
        bench.aircraft.tilt(side, bench.clock.now_s())
        start = bench.clock.now_s()
        last = next(each for each in bench.link().watch_attitude(rate_hz=25.0) if bench.clock.now_s() > start + 3)
        angle, other = (last.roll_rad, last.pitch_rad)[:: 1 if axis == "roll" else -1]
        assert 18 < math.degrees(angle) * sign < 52  # hands are no protractor
        assert abs(math.degrees(other)) < 10


def test_the_aircraft_restarts_into_its_bootloader_and_the_bootloader_answers() -> None:
    bench = Bench()
    bench.link().reboot_to_bootloader()
    bench.clock.sleep_s(0.5)
    loader = RomUartLoader(bench.wire(LineSettings(115_200, Parity.EVEN)), bench.clock)
    loader.synchronise()
    assert loader.read_unique_id(0x1FFF_7A10) == DEMO_UNIQUE_ID


def test_the_other_firmware_and_the_bootloader_are_no_console() -> None:
    bench = Bench()
    bench.link().reboot_to_bootloader()
    bench.clock.sleep_s(0.5)
    with pytest.raises(ConsoleSilentError):
        bench.link().wait_heartbeat(3.0)
    clock = VirtualClock()
    by_messages = build_aircraft(PAPERS, delivered_memories(), start_from_flash)
    with pytest.raises(ConsoleSilentError) as caught:
        ConsoleLink(
            DirectPort(by_messages, clock).open(LineSettings(115_200)), clock, thornbill_console()
        ).read_identity()
    assert "bytes" in caught.value.why


def test_there_is_no_catalogue() -> None:
    with pytest.raises(NoCatalogueError):
        Bench().link().read_catalogue()


def test_the_newer_release_answers_too() -> None:
    bench = Bench(release="6.0")
    identity = bench.link().read_identity()
    assert (identity.release, identity.board) == ("6.0.0", "Corvane C405")
    assert bench.link().read_settings() == dict(sorted(catalogue("6.0", "C405").defaults.items()))


@pytest.mark.parametrize("after_bytes", [1, 9, 200, 3_000, 12_000, 17_000])
def test_a_cable_pulled_while_reading_is_an_error_and_the_next_reading_is_whole(after_bytes: int) -> None:
    bench = Bench(FaultPlan(cable_pull_after_bytes=after_bytes))
    with pytest.raises(LinkError) as caught:
        bench.link().read_settings()
    assert not isinstance(caught.value, ConsoleSilentError)
    assert bench.aircraft.condition.pulled_by_plan
    bench.aircraft.plug_cable(bench.clock.now_s())
    assert bench.link().read_settings() == AS_DELIVERED


@pytest.mark.parametrize("moment", list(CutMoment))
@pytest.mark.parametrize("operation", [1, 2, 9, 30, -2, -1])
def test_the_power_cut_in_a_save_is_an_error_and_leaves_the_old_settings_or_the_new_ones(
    moment: CutMoment, operation: int
) -> None:
    name, wanted = "CRAFT_MASS", Value.of(CATALOGUE["CRAFT_MASS"].type, 612)
    number = operation if operation > 0 else _writes_of_a_save() + 1 + operation
    bench = Bench(FaultPlan(power_cut=PowerCut(number, moment, MemoryKind.SETTINGS)), baud=921_600)
    link = bench.link()
    link.write_setting(name, wanted)
    with pytest.raises(LinkError):
        link.save_settings()
    assert bench.aircraft.condition.cut_happened
    bench.aircraft.arm(FaultPlan())
    bench.aircraft.power_on(bench.clock.now_s())
    is_saved = operation == -1 and moment is CutMoment.AFTER
    assert bench.link().read_settings() == AS_DELIVERED | ({name: wanted} if is_saved else {})


@pytest.mark.parametrize("moment", list(CutMoment))
def test_the_power_cut_while_characters_are_written_is_an_error_and_the_rest_can_be_written_later(
    moment: CutMoment,
) -> None:
    bench = Bench(FaultPlan(power_cut=PowerCut(100, moment, MemoryKind.DISPLAY)), baud=921_600)
    bench.aircraft.plug_battery(bench.clock.now_s())
    wanted = random.Random("display").randbytes(256 * 64)
    with pytest.raises(LinkError):
        bench.link().write_file(DISPLAY, wanted)
    assert bench.aircraft.condition.cut_happened
    bench.aircraft.arm(FaultPlan())
    bench.aircraft.power_on(bench.clock.now_s())
    there = parse_characters(bench.link().read_file(DISPLAY))
    missing = differing_characters(there, parse_characters(wanted))
    assert missing == tuple(range(100 if moment is CutMoment.AFTER else 99, 256))
    bench.link().write_file(DISPLAY, wanted)
    there = parse_characters(bench.link().read_file(DISPLAY))
    assert differing_characters(there, parse_characters(wanted)) == ()


@cache
def _writes_of_a_save() -> int:
    bench = Bench(baud=921_600)
    bench.link().save_settings()
    return bench.aircraft.settings.operations


def test_a_memory_too_small_for_the_settings_is_refused_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench()
    link = bench.link()
    link.wait_heartbeat()
    monkeypatch.setattr("rotorwright.twin.settings_memory.SLOT_BYTES", 100)
    with pytest.raises(ConsoleRefusedError) as caught:
        link.save_settings()
    assert "do not fit" in caught.value.why
