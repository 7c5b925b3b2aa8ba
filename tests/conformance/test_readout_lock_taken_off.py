"""A read-protected part on the twin: refused, explained, and unlocked on exact words only, with all of its flash gone.

Source: ST AN3155, readout unprotect: the part erases its flash, takes the protection off and resets.
"""

from __future__ import annotations

import random

import pytest

from rotorwright.cli.unprotect import UnprotectRequest, unprotect
from rotorwright.firmware.mcu import microcontroller
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.consent import consent_words
from rotorwright.links.rom_uart.errors import ReadoutProtectedError, WipeConsentError, WipeUnfinishedError
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.rom_uart import OptionBytes
from rotorwright.twin.state import Papers
from rotorwright.twin.wire import DirectPort

PART = microcontroller("STM32F405xG")
CHIP = PART.boot_id
PAPERS = Papers(unique_id="3a0027001351383438343933", board="C405", microcontroller=PART.name)
LINE = LineSettings(115_200, Parity.EVEN)
HELD = random.Random(4).randbytes(PART.flash_size_bytes)
WORDS = consent_words(CHIP)
ERASES = len(PART.sectors)


class Bench:
    """A board with full flash and its lock on, in its bootloader."""

    def __init__(self, *, locked: bool = True, faults: FaultPlan | None = None) -> None:
        self.memories = MemoryBytes.fresh(PART)
        self.memories.flash[:] = HELD
        self.options = OptionBytes(read_out_protected=locked)
        self.clock = VirtualClock()
        self.aircraft = build_aircraft(
            PAPERS,
            self.memories,
            lambda _flash, _hardware: None,
            circumstances=Circumstances(faults=faults or FaultPlan()),
            options=self.options,
        )
        self.port = DirectPort(self.aircraft, self.clock)
        self.press_the_button()

    def press_the_button(self) -> None:
        now_s = self.clock.now_s()
        self.aircraft.power_off(now_s)
        if not self.aircraft.is_connected:
            self.aircraft.plug_cable(now_s)
        self.aircraft.power_on(now_s, button=True)
        self.clock.sleep_s(0.5)

    def loader(self) -> RomUartLoader:
        return RomUartLoader(self.port.open(LINE), self.clock)

    def unprotect(self, words: str | None) -> int:
        return unprotect(UnprotectRequest("twin", LINE.baud, words), port=self.port, clock=self.clock)

    @property
    def is_untouched(self) -> bool:
        return self.options.read_out_protected and bytes(self.memories.flash) == HELD

    @property
    def is_wiped(self) -> bool:
        return not self.options.read_out_protected and not bytes(self.memories.flash).strip(b"\xff")


def test_a_locked_board_is_refused_with_the_next_step_named() -> None:
    bench = Bench()
    with pytest.raises(ReadoutProtectedError) as caught:
        bench.loader().read(PART.flash_start, 16)
    assert "rotorwright unprotect --port" in caught.value.todo
    assert "maker" in caught.value.why
    assert bench.is_untouched


@pytest.mark.parametrize("words", ["", "yes", WORDS.upper(), WORDS + " now", consent_words(CHIP + 1)])
def test_any_other_words_leave_everything_as_it_is(words: str) -> None:
    bench = Bench()
    with pytest.raises(WipeConsentError):
        bench.unprotect(words)
    assert bench.is_untouched


def test_without_a_terminal_and_without_words_nothing_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    bench = Bench()
    with pytest.raises(WipeConsentError):
        bench.unprotect(None)
    assert bench.is_untouched


def test_the_exact_words_take_the_lock_off_and_everything_in_the_flash_with_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    bench = Bench()
    assert bench.unprotect(WORDS) == 0
    assert bench.is_wiped
    said = capsys.readouterr().out
    assert all(word in said for word in ("firmware", "settings", "maker", "image", "Propellers off"))
    assert "was not looked at" in said  # the button was let go: it restarted into nothing
    bench.press_the_button()
    assert not bench.loader().read(PART.flash_start, 256).strip(b"\xff")


class PressedAgain:
    """A clock on which the button is held while the board restarts."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def now_s(self) -> float:
        return self._bench.clock.now_s()

    def sleep_s(self, seconds: float) -> None:
        self._bench.clock.sleep_s(seconds)
        self._bench.press_the_button()


def test_a_board_that_is_in_its_bootloader_after_the_restart_is_looked_at(capsys: pytest.CaptureFixture[str]) -> None:
    bench = Bench()
    request = UnprotectRequest("twin", LINE.baud, WORDS)
    assert unprotect(request, port=bench.port, clock=PressedAgain(bench)) == 0
    assert "256 bytes of flash were read: they are erased" in capsys.readouterr().out


def test_a_board_without_a_lock_is_left_alone_even_with_the_words() -> None:
    bench = Bench(locked=False)
    assert bench.unprotect(WORDS) == 0
    assert bytes(bench.memories.flash) == HELD


@pytest.mark.parametrize("moment", list(CutMoment))
@pytest.mark.parametrize("operation", range(1, ERASES + 1))
def test_a_power_cut_leaves_the_part_locked_or_wiped_and_a_second_time_ends_it(
    operation: int, moment: CutMoment
) -> None:
    bench = Bench(faults=FaultPlan(power_cut=PowerCut(operation, moment)))
    with pytest.raises(WipeUnfinishedError) as caught:
        bench.unprotect(WORDS)
    assert caught.value.state.startswith("Not known")
    assert bench.aircraft.flash.cut_happened
    assert bench.options.read_out_protected or bench.is_wiped
    bench.press_the_button()
    if bench.options.read_out_protected:
        with pytest.raises(ReadoutProtectedError):
            bench.loader().read(PART.flash_start, 16)
        bench.press_the_button()
        _close(bench)
        assert bench.unprotect(WORDS) == 0
    assert bench.is_wiped


def _close(bench: Bench) -> None:
    """Give the port back that the look before left open."""
    wire = bench.port._wire
    if wire is not None:
        wire.close()


def test_the_locks_of_sectors_come_off_without_erasing_anything(capsys: pytest.CaptureFixture[str]) -> None:
    bench = Bench(locked=False)
    bench.options.write_protected = frozenset({1, 2})
    request = UnprotectRequest("twin", 115_200, sectors_only=True)
    assert unprotect(request, port=bench.port, clock=bench.clock) == 0
    assert "nothing was erased" in " ".join(capsys.readouterr().out.split())
    assert not bench.options.write_protected
    assert bytes(bench.memories.flash) == HELD


def test_the_locks_of_sectors_do_not_take_the_lock_of_the_whole_part_with_them() -> None:
    bench = Bench(locked=True)
    bench.options.write_protected = frozenset({1})
    with pytest.raises(ReadoutProtectedError):
        unprotect(UnprotectRequest("twin", 115_200, sectors_only=True), port=bench.port, clock=bench.clock)
    assert bench.options.read_out_protected
    assert bytes(bench.memories.flash) == HELD
