"""The application on the virtual hardware: a line of real speed, restarts, power cuts in its memories."""

from __future__ import annotations

import math
import struct
from typing import TYPE_CHECKING, Any

import pytest
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import RELEASE_DATA, RawParamSet, codec, ftp_frame, raw_value, setting

from rotorwright.firmware.mcu import microcontroller
from rotorwright.links.wire import LineSettings
from rotorwright.settings.catalogue import Catalogue
from rotorwright.settings.values import SettingType
from rotorwright.twin.aircraft import Hardware, Mode
from rotorwright.twin.application import DISPLAY_PATH, Application, ReleaseData
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.boot import boot_from_flash
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.ftp_service import FtpMessage, Opcode
from rotorwright.twin.state import Papers
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.wire import DirectPort

if TYPE_CHECKING:
    from collections.abc import Callable

PART = microcontroller("STM32F405xG")
IMAGE = build_image("5.2", "C405", size_bytes=4096)
PAPERS = Papers("3b002f000e51373034383230", "C405", PART.name)
COUNT = 460
SETTINGS = [setting(f"SETTING_{number:03}", SettingType.FLOAT, number + 1) for number in range(COUNT)]
DATA = ReleaseData(Catalogue({each.name: each for each in SETTINGS}), RELEASE_DATA.metadata)
SAVE, REBOOT = common.MAV_CMD_PREFLIGHT_STORAGE, common.MAV_CMD_PREFLIGHT_REBOOT_SHUTDOWN


def boot(flash: bytes, hardware: Hardware) -> Application | None:
    build = boot_from_flash(flash, mcu=hardware.mcu)
    if build is None:
        return None
    return Application(
        build=build,
        release_data=DATA,
        unique_id=hardware.unique_id,
        settings_memory=hardware.settings,
        display_memory=hardware.display,
        world=hardware.world,
        seed=hardware.seed,
    )


class Bench:
    """An aircraft on a line, and pymavlink at the other end."""

    def __init__(self, memories: MemoryBytes | None = None, *, faults: str = "", baud: int = 115_200) -> None:
        self.clock = VirtualClock()
        self.memories = memories or fresh()
        how = Circumstances(faults=FaultPlan.parse(faults))
        self.aircraft = build_aircraft(PAPERS, self.memories, boot, circumstances=how)
        self.wire = DirectPort(self.aircraft, self.clock).open(LineSettings(baud))
        self.codec = codec()
        self.bytes_in = 0
        self.hear(0.3)

    def send(self, message: Any) -> None:
        self.wire.send(message.pack(self.codec))
        self.codec.seq = (self.codec.seq + 1) % 256

    def hear(self, seconds: float, until: Callable[[Any], bool] = lambda _: False) -> list[Any]:
        """Return what comes in that time, or up to the first message that `until` is true of."""
        found: list[Any] = []
        end = self.clock.now_s() + seconds
        while (left := end - self.clock.now_s()) > 0 and (data := self.wire.receive(4096, left)):
            self.bytes_in += len(data)
            for message in self.codec.parse_buffer(data) or []:
                found.append(message)
                if until(message):
                    return found
        return found

    def command(self, number: int, *parameters: float) -> list[Any]:
        filled = (*parameters, *[0.0] * (7 - len(parameters)))
        self.send(common.MAVLink_command_long_message(1, 1, number, 0, *filled))
        return self.hear(0.3, lambda message: message.get_type() == "COMMAND_ACK")

    def value(self, name: str) -> bytes:
        self.send(common.MAVLink_param_request_read_message(1, 1, name.encode(), -1))
        (*_, answer) = self.hear(1.0, lambda message: message.get_type() == "PARAM_VALUE")
        return raw_value(answer)

    def change(self, name: str, value: float) -> None:
        self.send(RawParamSet(name, struct.pack("<f", value), 9))
        self.hear(0.1)

    def file(self, message: FtpMessage) -> list[Any]:
        self.send(ftp_frame(message))
        return self.hear(0.5, lambda answer: answer.get_type() == "FILE_TRANSFER_PROTOCOL")


def fresh() -> MemoryBytes:
    memories = MemoryBytes.fresh(PART)
    memories.flash[: IMAGE.size_bytes] = IMAGE.read(IMAGE.start, IMAGE.size_bytes)
    return memories


@pytest.mark.parametrize("baud", [57_600, 115_200, 921_600])
def test_the_list_keeps_the_line_full(baud: int) -> None:
    bench = Bench(baud=baud)
    bench.bytes_in = 0
    start = bench.clock.now_s()
    bench.send(common.MAVLink_param_request_list_message(1, 1))
    bench.hear(10.0, lambda message: message.get_type() == "PARAM_VALUE" and message.param_index == COUNT - 1)
    spent = bench.clock.now_s() - start
    assert spent <= 1.02 * (bench.bytes_in + 14) * 10 / baud


def test_an_answer_does_not_wait_long_behind_the_list() -> None:
    bench = Bench()
    bench.send(common.MAVLink_param_request_list_message(1, 1))
    bench.hear(0.3)
    start = bench.clock.now_s()
    bench.command(0)
    assert bench.clock.now_s() - start < 0.03


def test_an_unknown_image_leaves_the_aircraft_silent() -> None:
    memories = fresh()
    memories.flash[3000] ^= 1
    bench = Bench(memories)
    assert bench.hear(5.0) == []
    assert bench.aircraft.mode is Mode.SILENT


def test_it_restarts_and_goes_to_the_bootloader_after_its_answer_has_left() -> None:
    bench = Bench()
    (*_, answer) = bench.command(REBOOT, 1)
    assert answer.result == common.MAV_RESULT_ACCEPTED
    texts = [each.text for each in bench.hear(1.0) if each.get_type() == "STATUSTEXT"]
    assert texts[0] == "Thornbill 5.2.0 on Corvane One"
    (*_, answer) = bench.command(REBOOT, 3)
    assert answer.result == common.MAV_RESULT_ACCEPTED
    bench.hear(1.0)
    assert bench.aircraft.mode is Mode.BOOTLOADER


def saved(memories: MemoryBytes, value: float, *, faults: str = "") -> Bench:
    bench = Bench(memories, faults=faults)
    bench.change("SETTING_000", value)
    bench.command(SAVE, 1)
    return bench


@pytest.mark.parametrize("word", ["power-cut", "torn", "after"])
def test_a_power_cut_at_any_write_of_a_save_leaves_the_old_or_the_new_settings(word: str) -> None:
    before = fresh()
    saved(before, 100.0)
    clean = saved(copied(before), 200.0)
    writes = clean.aircraft.settings.operations
    assert writes > 10
    for number in range(1, writes + 1):
        memories = copied(before)
        cut = saved(memories, 200.0, faults=f"{word}@{number}/settings")
        assert cut.aircraft.condition.cut_happened
        assert cut.aircraft.mode is Mode.DARK
        is_new = word == "after" and number == writes
        after = Bench(memories)
        assert after.value("SETTING_000") == struct.pack("<f", 200.0 if is_new else 100.0)
        assert saved(memories, 300.0).value("SETTING_000") == struct.pack("<f", 300.0)


def copied(memories: MemoryBytes) -> MemoryBytes:
    return MemoryBytes(bytearray(memories.flash), bytearray(memories.settings), bytearray(memories.display))


@pytest.mark.parametrize("battery", [True, False])
def test_the_display_write_counts_only_with_the_battery_in(battery: bool) -> None:
    bench = Bench()
    bench.aircraft.plug_battery(bench.clock.now_s(), plugged=battery)
    (*_, opened) = bench.file(FtpMessage(1, Opcode.OPEN_FILE_WO, size=len(DISPLAY_PATH), data=DISPLAY_PATH.encode()))
    session = FtpMessage.from_bytes(bytes(opened.payload)).session
    (*_, answer) = bench.file(FtpMessage(2, Opcode.WRITE_FILE, session, size=128, data=b"\xaa" * 128))
    assert FtpMessage.from_bytes(bytes(answer.payload)).opcode == Opcode.ACK
    assert bench.memories.display[:129] == (b"\xaa" * 128 if battery else b"\x55" * 128) + b"\x55"
    assert bench.aircraft.display.operations == (2 if battery else 0)


def test_a_tilt_by_hand_is_seen_in_the_attitude() -> None:
    bench = Bench()
    bench.command(common.MAV_CMD_SET_MESSAGE_INTERVAL, common.MAVLINK_MSG_ID_ATTITUDE, 50_000)
    bench.aircraft.tilt("left", bench.clock.now_s())
    told = [each for each in bench.hear(4.0) if each.get_type() == "ATTITUDE"]
    leans = [math.hypot(each.roll, each.pitch) for each in told]  # this release has no setting for the mounting
    assert leans[0] < 0.2
    assert 0.3 < leans[-1] < 0.95  # hands are no protractor
