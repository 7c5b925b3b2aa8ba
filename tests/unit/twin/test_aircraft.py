"""The aircraft on the bench: power, button, cable, start, times on the line, and what goes wrong."""

from __future__ import annotations

import pytest
from tests.unit.twin.bench import EVEN, PART, PLAIN, START, UNIQUE_ID, Bench, LoaderHost, frame, read

from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.aircraft import START_UP_S, Mode
from rotorwright.twin.errors import TwinLineGoneError
from rotorwright.twin.faults import FaultPlan

BYTE_S = 10 / 115_200
LOADER_BYTE_S = 11 / 115_200
ACK, NACK = b"\x79", b"\x1f"


# Start


def test_a_known_image_starts_and_answers() -> None:
    bench = Bench()
    wire = bench.application_wire()
    wire.send(b"hello")
    assert wire.receive(100, 1.0) == b"hello"
    assert bench.firmware.started_s == pytest.approx(START_UP_S)
    assert bench.firmware.hardware.unique_id == UNIQUE_ID


def test_without_a_known_image_the_board_stays_silent() -> None:
    bench = Bench(with_image=False)
    wire = bench.application_wire()
    wire.send(b"hello\x7f")
    assert wire.receive(100, 5.0) == b""
    assert bench.clock.now_s() == pytest.approx(5.2)
    assert bench.mode() is Mode.SILENT


def test_the_button_leads_into_the_bootloader_whatever_is_in_the_flash() -> None:
    for with_image in (True, False):
        bench = Bench(with_image=with_image)
        assert bench.loader_host().ask(b"\x02\xfd") == bytes.fromhex("7901041379")


def test_power_on_with_the_button_changes_nothing_when_it_has_power_already() -> None:
    bench = Bench()
    bench.wait(1)
    bench.aircraft.power_on(bench.clock.now_s(), button=True)
    bench.wait(1)
    assert bench.mode() is Mode.APPLICATION


def test_while_it_starts_it_hears_nothing() -> None:
    bench = Bench()
    wire = bench.port.open(PLAIN)
    wire.send(b"too early")
    assert wire.receive(100, 0.9) == b""


def test_the_application_may_ask_for_a_restart_once_its_last_word_is_out() -> None:
    bench = Bench()
    wire = bench.application_wire()
    wire.send(b"reboot")
    assert wire.receive(100, 1.0) == b"reboot"
    bench.wait(1)
    assert len(bench.started) == 2


def test_the_application_may_ask_for_the_bootloader() -> None:
    bench = Bench()
    wire = bench.application_wire()
    wire.send(b"bootloader")
    assert wire.receive(100, 1.0) == b"bootloader"
    wire.close()
    bench.wait(0.2)
    assert LoaderHost(bench).ask(b"\x7f") == ACK


def test_go_starts_the_application_as_a_reset_would() -> None:
    bench = Bench()
    assert bench.loader_host().at(0x21, START) == ACK
    bench.wait(0.2)
    assert bench.mode() is Mode.APPLICATION


def test_go_elsewhere_starts_something_that_nobody_knows() -> None:
    bench = Bench()
    assert bench.loader_host().at(0x21, 0x2000_4000) == ACK
    bench.wait(0.2)
    assert bench.mode() is Mode.SILENT


def test_a_new_image_written_by_the_bootloader_starts() -> None:
    bench = Bench(with_image=False)
    host = bench.loader_host()
    assert host.erase(0) == ACK
    assert host.write(START, b"\x01\x02\x03\x04") == ACK
    assert host.at(0x21, START) == ACK
    bench.wait(0.2)
    assert bench.mode() is Mode.APPLICATION


# Times


@pytest.mark.parametrize("speed", [1.0, 20.0])
def test_bytes_to_and_from_the_application_take_ten_bits_each(speed: float) -> None:
    bench = Bench(speed=speed)
    wire = bench.application_wire()
    sent_s = bench.clock.now_s()
    wire.send(bytes(100))
    assert read(wire, 100) == bytes(100)
    assert bench.firmware.heard[0][0] - sent_s == pytest.approx(100 * BYTE_S / speed)
    assert bench.clock.now_s() - sent_s == pytest.approx(200 * BYTE_S / speed)


def test_a_fixed_rate_wins_over_that_of_the_host() -> None:
    bench = Bench(baud=9_600)
    wire = bench.application_wire()
    sent_s = bench.clock.now_s()
    wire.send(bytes(96))
    assert read(wire, 96) == bytes(96)
    assert bench.clock.now_s() - sent_s == pytest.approx(0.2)


def test_a_line_without_limit_takes_no_time() -> None:
    bench = Bench(baud=0)
    wire = bench.application_wire()
    sent_s = bench.clock.now_s()
    wire.send(bytes(10_000))
    assert wire.receive(20_000, 1.0) == bytes(10_000)
    assert bench.clock.now_s() == sent_s


def test_a_write_command_takes_the_time_of_its_bytes_at_eleven_bits_and_of_the_flash() -> None:
    bench = Bench()
    host = bench.loader_host()
    began_s = bench.clock.now_s()
    host.wire.send(b"\x31\xce")
    host.wire.receive(1, 1.0)
    host.wire.send(bytes.fromhex("0800400048"))
    host.wire.receive(1, 1.0)
    host.wire.send(b"\xff" + bytes(256) + b"\xff")
    assert host.wire.receive(1, 1.0) == ACK
    expected = (2 + 5 + 258 + 3) * LOADER_BYTE_S + 64 * PART.program_word_typical_s
    assert bench.clock.now_s() - began_s == pytest.approx(expected)


def test_an_erase_takes_the_typical_time_of_each_sector() -> None:
    bench = Bench(baud=0)
    host = bench.loader_host()
    host.ask(b"\x44\xbb")
    began_s = bench.clock.now_s()
    host.wire.send(bytes.fromhex("000100000004") + b"\x05")
    assert host.wire.receive(1, 10.0) == ACK
    expected = PART.erase_typical_s[16_384] + PART.erase_typical_s[65_536]
    assert bench.clock.now_s() - began_s == pytest.approx(expected)


# What a bootloader without a queue loses


def test_bytes_sent_before_the_answer_is_back_are_lost_but_for_one() -> None:
    bench = Bench()
    host = bench.loader_host()
    host.wire.send(b"\x31\xce")
    host.wire.send(bytes.fromhex("0800400048"))  # did not wait for the answer
    assert host.wire.receive(10, 1.0) == ACK
    assert host.wire.receive(10, 1.0) == b""
    assert host.ask(bytes.fromhex("00400048")) == ACK  # only the 08 was kept


def test_bytes_sent_while_the_flash_is_busy_are_lost_but_for_one() -> None:
    bench = Bench(baud=0)
    host = bench.loader_host()
    host.ask(b"\x44\xbb")
    host.wire.send(bytes.fromhex("0000000000"))
    assert host.wire.receive(10, 0.1) == b""
    host.wire.send(b"\x01\xfe\x02\xfd")
    assert host.wire.receive(10, 1.0) == ACK
    assert host.ask(b"\xfe") == bytes.fromhex("7931000079")


def test_a_line_without_even_parity_is_noise_to_the_bootloader() -> None:
    bench = Bench()
    now = bench.clock.now_s()
    bench.aircraft.power_off(now)
    bench.aircraft.power_on(now, button=True)
    wire = bench.port.open(PLAIN)
    bench.wait(0.2)
    wire.send(b"\x7f")
    assert wire.receive(10, 1.0) == b""
    wire.close()
    assert LoaderHost(bench).ask(b"\x7f") == ACK


def test_a_line_with_even_parity_is_noise_to_the_application() -> None:
    bench = Bench()
    wire = bench.port.open(EVEN)
    bench.wait(0.2)
    wire.send(b"hello")
    assert wire.receive(10, 0.5) == b""


def test_the_bootloader_keeps_the_rate_it_measured() -> None:
    bench = Bench()
    bench.loader_host().wire.close()
    wire = bench.port.open(LineSettings(57_600, Parity.EVEN))
    wire.send(b"\x02\xfd")
    assert wire.receive(10, 1.0) == b""


# Power and cable


def test_without_power_nothing_answers_and_the_port_stays() -> None:
    bench = Bench()
    wire = bench.application_wire()
    bench.aircraft.power_off(bench.clock.now_s())
    wire.send(b"hello")
    assert wire.receive(10, 3.0) == b""
    assert bench.mode() is Mode.DARK
    bench.aircraft.power_on(bench.clock.now_s())
    bench.wait(0.2)
    wire.send(b"hello")
    assert wire.receive(10, 0.5) == b"hello"


def test_a_pulled_cable_takes_port_and_power() -> None:
    bench = Bench()
    wire = bench.application_wire()
    bench.aircraft.pull_cable(bench.clock.now_s())
    assert not bench.port.is_present()
    assert bench.mode() is Mode.DARK
    with pytest.raises(TwinLineGoneError):
        wire.receive(10, 1.0)
    with pytest.raises(TwinLineGoneError):
        bench.port.open(PLAIN)
    bench.aircraft.plug_cable(bench.clock.now_s())
    bench.application_wire().send(b"hello")
    assert len(bench.started) == 2


def test_with_the_battery_in_a_pulled_cable_leaves_the_board_running() -> None:
    bench = Bench()
    bench.wait(0.5)
    bench.aircraft.plug_battery(bench.clock.now_s())
    bench.aircraft.pull_cable(bench.clock.now_s())
    bench.wait(0.5)
    bench.aircraft.plug_cable(bench.clock.now_s())
    bench.wait(0.5)
    assert len(bench.started) == 1
    assert bench.mode() is Mode.APPLICATION


def test_the_cable_can_be_plugged_with_the_button_held() -> None:
    bench = Bench()
    bench.aircraft.pull_cable(0.0)
    bench.aircraft.plug_cable(0.0, button=True)
    bench.wait(0.2)
    assert LoaderHost(bench).ask(b"\x7f") == ACK


def test_the_application_sees_the_battery_come_and_go() -> None:
    bench = Bench()
    bench.wait(0.5)
    world = bench.firmware.hardware.world
    seen = [world.battery_plugged]
    for plugged in (True, False):
        bench.aircraft.plug_battery(0.5, plugged=plugged)
        seen.append(world.battery_plugged)
    assert seen == [False, True, False]


def test_an_absent_battery_gives_nothing_even_when_plugged() -> None:
    bench = Bench(faults="battery-absent")
    bench.aircraft.plug_battery(0.0)
    assert not bench.aircraft.world.battery_plugged
    bench.aircraft.arm(FaultPlan())
    assert bench.aircraft.world.battery_plugged


def test_hands_tilt_the_aircraft() -> None:
    bench = Bench()
    bench.aircraft.tilt("forward", 0.0)
    assert bench.aircraft.world.motion(10.0).pitch_rad < -0.1
    with pytest.raises(ValueError, match="sideways"):
        bench.aircraft.tilt("sideways", 0.0)


def test_power_that_goes_in_the_middle_of_an_erase_leaves_it_torn() -> None:
    bench = Bench(baud=0)
    bench.memories.flash[:16_384] = bytes(16_384)
    host = bench.loader_host()
    host.ask(b"\x44\xbb")
    host.wire.send(bytes.fromhex("0000000000"))
    bench.wait(0.1)
    bench.aircraft.power_off(bench.clock.now_s())
    content = bytes(bench.memories.flash[:16_384])
    assert content[:8192] == b"\xff" * 8192
    assert content != b"\xff" * 16_384


# Faults


def test_a_power_cut_leaves_silence_until_hands_give_power_again() -> None:
    bench = Bench(faults="after@2")
    host = bench.loader_host()
    assert host.erase(0) == ACK
    assert host.write(START, b"\x01\x02\x03\x04") == b""
    condition = bench.aircraft.condition
    assert (condition.mode, condition.supply, condition.cut_happened) == ("dark", False, True)
    bench.wait(100)
    assert bench.mode() is Mode.DARK
    bench.aircraft.power_on(bench.clock.now_s())
    bench.wait(0.2)
    assert bench.mode() is Mode.APPLICATION


@pytest.mark.parametrize("moment", ["power-cut", "torn", "after"])
def test_a_power_cut_in_a_save_of_settings_stops_the_application(moment: str) -> None:
    bench = Bench(faults=f"{moment}@2/settings")
    wire = bench.application_wire()
    wire.send(b"save one")
    assert wire.receive(100, 0.5) == b"save one"
    wire.send(b"save two")
    assert wire.receive(100, 5.0) == b""
    assert bench.mode() is Mode.DARK
    stored = bytes(bench.memories.settings[:8])
    assert (stored == b"save one", stored == b"save two") == (moment == "power-cut", moment == "after")


def test_the_cable_is_pulled_after_the_planned_bytes() -> None:
    bench = Bench(faults="cable@150")
    wire = bench.application_wire()
    wire.send(bytes(100))
    assert wire.receive(1000, 1.0) == bytes(50)
    with pytest.raises(TwinLineGoneError):
        wire.receive(1000, 1.0)
    assert bench.aircraft.condition.pulled_by_plan
    bench.aircraft.plug_cable(bench.clock.now_s())
    wire = bench.application_wire()
    wire.send(bytes(1000))
    assert read(wire, 1000) == bytes(1000)


def test_late_answers_come_late() -> None:
    bench = Bench(baud=0, faults="late=0.5")
    wire = bench.application_wire()
    wire.send(b"hello")
    assert wire.receive(100, 0.4) == b""
    assert wire.receive(100, 0.2) == b"hello"


def test_doubled_frames_come_twice_from_the_application_and_never_from_the_bootloader() -> None:
    bench = Bench(baud=0, faults="double=1")
    wire = bench.application_wire()
    wire.send(frame())
    assert len(bench.firmware.heard) == 2
    assert wire.receive(1000, 0.1) == frame() * 4
    wire.close()
    assert bench.loader_host().ask(b"\x02\xfd") == bytes.fromhex("7901041379")


def test_lost_frames_are_lost_one_by_one_in_both_directions() -> None:
    bench = Bench(baud=0, faults="lose=0.5")
    wire = bench.application_wire()
    wire.send(b"".join(frame(number=number) for number in range(200)))
    heard = len(bench.firmware.heard)
    back = len(wire.receive(100_000, 0.1)) // len(frame())
    assert 70 < heard < 130
    assert 20 < back < 80


def test_in_the_bootloader_a_whole_burst_is_lost() -> None:
    bench = Bench()
    host = bench.loader_host()
    bench.aircraft.arm(FaultPlan.parse("lose=1"))
    assert host.ask(b"\x02\xfd", timeout_s=1.0) == b""
    bench.aircraft.arm(FaultPlan())
    assert host.ask(b"\x02\xfd") == bytes.fromhex("7901041379")


def test_a_wrong_board_has_another_part_and_another_id() -> None:
    bench = Bench(faults="wrong-board")
    host = bench.loader_host()
    assert host.ask(b"\x02\xfd") == bytes.fromhex("7901045079")
    assert host.read(0x1FFF_7A10, 12) not in {ACK + UNIQUE_ID, NACK}


# Protection outlives the power


def test_protection_set_by_the_bootloader_restarts_the_board_and_stays() -> None:
    bench = Bench()
    kept = []
    bench.aircraft.options_changed = lambda options: kept.append(options.read_out_protected)
    host = bench.loader_host()
    assert host.ask(b"\x82\x7d") == ACK + ACK
    host.wire.close()
    bench.wait(0.3)
    assert kept == [True]
    assert bench.mode() is Mode.APPLICATION
    assert bench.loader_host().at(0x11, START) == NACK
