"""`unprotect`: take the read-out protection off a microcontroller, which erases all its flash, on exact typed words."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out
from rotorwright.errors import LinkError
from rotorwright.firmware.mcu import microcontrollers_by_boot_id
from rotorwright.links.clock import RealClock
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.consent import WipeConsent, consent_words
from rotorwright.links.rom_uart.errors import ReadoutProtectedError
from rotorwright.links.rom_uart.spec import BLOCK_BYTES, ERASED
from rotorwright.links.serial_port import SerialPort
from rotorwright.links.wire import LineSettings, Parity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.links.wire import Clock, Port

RESTART_S = 1.0  # own choice: a part restarts within milliseconds, an adapter may come anew
_LOOKED_AT = 4  # bytes: enough to see whether reading is refused


@dataclass(frozen=True, slots=True)
class UnprotectRequest:
    """Which board, and the words if they were given on the command line."""

    port: str
    baud: int
    consent: str | None = None
    sectors_only: bool = False


def unprotect(request: UnprotectRequest, *, port: Port | None = None, clock: Clock | None = None) -> int:
    """Take the protection off, and say what stands there now. Exit code 0: it is off.

    Raises:
        LoaderSilentError: no bootloader answers.
        WipeConsentError: the words typed are not those asked for. Nothing was sent.
    """
    bench = _Bench(port or SerialPort(request.port), clock or RealClock(), request.baud)
    is_protected = bench.is_protected()
    if request.sectors_only:
        return _unprotect_sectors(bench, is_protected=is_protected)
    if not is_protected:
        out.print("This microcontroller is not read-out protected. Nothing was done.")
        return 0
    _say_what_is_lost(bench.chip_id)
    typed = request.consent if request.consent is not None else _ask(consent_words(bench.chip_id))
    bench.remove(WipeConsent.typed(typed, chip_id=bench.chip_id))
    out.print(bench.what_stands_there(), soft_wrap=True)
    out.print(
        "It starts nothing until an image is written. Hold its boot button, plug it in, let go; then go on with "
        "`rotorwright resume`, or start with `rotorwright changeover`. Its saved settings, if any, are in the hangar "
        "as before.",
        soft_wrap=True,
    )
    return 0


def _unprotect_sectors(bench: _Bench, *, is_protected: bool) -> int:
    """Take the write protection off every sector; nothing is erased, so no words need to be typed.

    Raises:
        ReadoutProtectedError: the part is read-out protected, which comes first.
    """
    if is_protected:
        raise ReadoutProtectedError.at("take the write protection off")
    bench.unlock_sectors()
    out.print(
        "Every sector may be written again; nothing was erased. Some makers protect the sectors of a bootloader of "
        "their own: no image of yours should reach into those. Hold the boot button, plug the board in, let go; then "
        "go on with `rotorwright resume`.",
        soft_wrap=True,
    )
    return 0


def _say_what_is_lost(chip_id: int) -> None:
    parts = ", ".join(part.name for part in microcontrollers_by_boot_id(chip_id)) or "an unknown part"
    out.print(f"The microcontroller {chip_id:#05x} ({escape(parts)}) is read-out protected.", soft_wrap=True)
    out.print(
        "Taking this lock off erases everything in its flash for good: the firmware, the settings, and data that the "
        "maker of the board put there and that no download brings back. Ask the maker first. Have an image for this "
        "very board at hand. Propellers off, main battery out.",
        soft_wrap=True,
    )


def _ask(words: str) -> str:
    out.print(f"To erase it all, type: {words}")
    if not sys.stdin.isatty():
        return ""  # nobody is there to type; --consent is for programs
    return input("> ")


class _Bench:
    """The bootloader of the board, entered anew whenever it restarted."""

    def __init__(self, port: Port, clock: Clock, baud: int) -> None:
        self._port = port
        self._clock = clock
        self._baud = baud
        self.chip_id = 0

    @contextmanager
    def _loader(self) -> Iterator[RomUartLoader]:
        wire = self._port.open(LineSettings(self._baud, Parity.EVEN))
        try:
            yield RomUartLoader(wire, self._clock)
        finally:
            wire.close()

    def is_protected(self) -> bool:
        """Answer whether reading is refused; the chip id is known after that."""
        with self._loader() as loader:
            self.chip_id = loader.chip_id()
            return _refuses_reading(loader, self.chip_id)

    def remove(self, consent: WipeConsent) -> None:
        """Take it off; what the board does after that, only the next entry into its bootloader shows."""
        with self._loader() as loader:
            loader.remove_readout_protection(consent)

    def unlock_sectors(self) -> None:
        """Take the write protection off; the board restarts."""
        with self._loader() as loader:
            loader.remove_write_protection()

    def what_stands_there(self) -> str:
        """Return in words what a look after the restart shows, or that nobody could look.

        Raises:
            ReadoutProtectedError: the lock is on as before.
        """
        self._clock.sleep_s(RESTART_S)
        try:
            found = self._first_bytes()
        except LinkError:
            return (
                "The bootloader reported that the lock is off and the flash erased. The board has left its bootloader "
                "since, so that was not looked at: the same command again does, from the bootloader."
            )
        if not found:
            return "The bootloader reported that the lock is off. Where this part's flash begins is not known here."
        if found.strip(bytes((ERASED,))):
            return "The lock is off, and the flash is not empty: take what it holds for damaged."
        return f"The lock is off, and the first {len(found)} bytes of flash were read: they are erased."

    def _first_bytes(self) -> bytes:
        parts = microcontrollers_by_boot_id(self.chip_id)
        with self._loader() as loader:
            loader.synchronise()
            return loader.read(parts[0].flash_start, BLOCK_BYTES) if parts else b""


def _refuses_reading(loader: RomUartLoader, chip_id: int) -> bool:
    parts = microcontrollers_by_boot_id(chip_id)
    if not parts:
        return True  # nobody knows where its flash is; what it says to the command decides
    try:
        loader.read(parts[0].flash_start, _LOOKED_AT)
    except ReadoutProtectedError:
        return True
    return False
