"""The boot probe: start an image in an emulator, and see for which group of microcontrollers it was built.

The very first thing that start-up code does is to switch clocks on, and the reset-and-clock controllers of different
groups live in different 4 KiB pages. Which such page an image touches *first* names its group; measured on 302 public
images by two authors, all of them fell into the right one. What it cannot say: groups that share a page cannot be told
apart, a part of a group cannot be told from another, and a damaged image mostly starts as well as a whole one. So the
most it ever says is "built for this group".

The emulator is an optional extra (`rotorwright[probe]`) and under another licence (GPLv2) than this project, so it is
imported here only, and only when asked for; without it the probe says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from importlib import import_module
from importlib.util import find_spec
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.firmware.image import Image

CLOCK_GROUPS: Mapping[int, str] = MappingProxyType(
    {
        0x4002_1000: "F0, F1, F3, L4, G0 or G4",
        0x4002_3000: "F2, F4 or F7",
        0x5802_4000: "H7",
    }
)
"""Families by the page of their reset-and-clock controller (addresses: mcu_ids.csv of the outside data)."""

PAGE_BYTES = 0x1000
MOST_BLOCKS = 1_000_000
"""Most runs of instructions without a branch before giving up: clearing all RAM byte by byte stays below it."""

BLOCKS_AFTER_CLOCK = 2_000
"""How much longer an image is watched for a fault after it touched a clock controller."""

MOST_TIME_S = 5.0
MOST_FLASH_BYTES = 0x20_0000
"""The largest flash of the parts that we know."""

_FLASH_START = 0x0800_0000
# Erased flash: zeros would be a slide of no-operations that makes a wrong base address look good.
_ERASED = b"\xff"
# Where any part of the groups has RAM: start and how much is given.
_RAM = (
    (0x1000_0000, 0x10_0000),
    (0x2000_0000, 0x10_0000),
    (0x2400_0000, 0x10_0000),
    (0x3000_0000, 0x10_0000),
    (0x3800_0000, 0x10_0000),
    (0x3880_0000, 0x1_0000),
)
_EXTERNAL_RAM = (0xC000_0000, 0xE000_0000)
_EXTERNAL_PIECE_BYTES = 0x1_0000
_MOST_EXTERNAL_PIECES = 64
_PERIPHERALS = ((0x4000_0000, 0x2000_0000), (0xA000_0000, 0x10_0000), (0xE000_0000, 0x10_0000))
_CACHE_MAINTENANCE = range(0xE000_EF50, 0xE000_EF90)  # Armv7-M with cache; only the F7 of its group has one
_F7_CLOCK_REGISTER = 0x4002_3890
_WORD = 0xFFFF_FFFF
# Exceptions of the emulator that are no fault: a supervisor call (a scheduler starts), a breakpoint.
_NO_FAULT = frozenset({2, 7})


class BootOutcome(StrEnum):
    """How the emulated start went."""

    CLOCK_SEEN = "clock-seen"
    NOTHING_SEEN = "nothing-seen"
    FAULT = "fault"
    NOT_STARTED = "not-started"
    NOT_INSTALLED = "not-installed"


@dataclass(frozen=True, slots=True)
class BootProbe:
    """What an emulated start showed.

    `clock_page` is the page of the clock controller that was touched first; it says something only where the outcome is
    `CLOCK_SEEN`. `speaks_for_f7` tells that a register was touched that in the group "F2, F4 or F7" only the F7 has.
    """

    outcome: BootOutcome
    words: str
    clock_page: int | None = None
    speaks_for_f7: bool = False

    @property
    def group(self) -> str | None:
        """The families that the image was built for; None if the start does not say."""
        seen = self.outcome is BootOutcome.CLOCK_SEEN and self.clock_page is not None
        return CLOCK_GROUPS[self.clock_page] if seen and self.clock_page is not None else None


NOT_INSTALLED = BootProbe(
    BootOutcome.NOT_INSTALLED,
    "The emulator is not installed, so the image was not started in it (`pip install rotorwright[probe]` brings it).",
)


def is_installed() -> bool:
    """Answer whether the emulator is there."""
    return find_spec("unicorn") is not None


def probe_boot(image: Image) -> BootProbe:
    """Start `image` from the vector table at its first byte, and say which clock controller it touches first.

    The same image always gives the same answer, within limits of instructions, memory and time (`MOST_BLOCKS`,
    `MOST_TIME_S`).
    """
    return _started(image) if is_installed() else NOT_INSTALLED


@lru_cache(maxsize=16)
def _started(image: Image) -> BootProbe:
    if not _FLASH_START <= image.start < image.end <= _FLASH_START + MOST_FLASH_BYTES or not image.covers(
        image.start, 8
    ):
        return _not_started("It does not lie in the flash that the emulator has")
    stack, reset = (int.from_bytes(image.read(image.start + at, 4), "little") for at in (0, 4))
    if not any(start < stack <= start + size for start, size in _RAM):
        return _not_started(f"Its stack would start at {stack:#010x}, where no part has RAM")
    if not reset & 1 or not image.covers(reset - 1, 2):
        return _not_started(f"Its reset vector {reset:#010x} does not point to code in it")
    return _Machine(image).run(stack=stack, reset=reset)


def _not_started(why: str) -> BootProbe:
    return BootProbe(BootOutcome.NOT_STARTED, f"{why}, so it could not be started in the emulator.")


class _Registers:
    """Registers of peripherals that nobody has: they answer so that loops which wait for a bit come to an end.

    Each gives what was last written for two readings, then goes round all ones, all zeros, that value mixed with
    alternating bits, and with its low fields echoed where status fields often are. A write starts over.
    """

    def __init__(self) -> None:
        self._written: dict[int, int] = {}
        self._readings: dict[int, int] = {}

    def read(self, address: int, size: int) -> int:
        word, shift = address & ~3, 8 * (address & 3)
        count = self._readings.get(word, 0)
        self._readings[word] = count + 1
        return self._answer(self._written.get(word, 0), count) >> shift & (1 << 8 * size) - 1

    def write(self, address: int, size: int, value: int) -> None:
        word, shift = address & ~3, 8 * (address & 3)
        mask = ((1 << 8 * size) - 1) << shift
        self._written[word] = (self._written.get(word, 0) & ~mask | value << shift & mask) & _WORD
        self._readings[word] = 0

    @staticmethod
    def _answer(last: int, count: int) -> int:
        if count < 2:
            return last
        echo = last | (last & 3) << 2 | (last & 7) << 3
        return (_WORD, 0, last ^ 0x5555_5555, last ^ 0xAAAA_AAAA, echo & _WORD)[(count - 2) % 5]


class _Machine:
    """One emulated start of one image."""

    def __init__(self, image: Image) -> None:
        unicorn = import_module("unicorn")
        self._lib: Any = unicorn
        self._registers = _Registers()
        self._blocks = 0
        self._blocks_after_clock = 0
        self._external_pieces = 0
        self._exception: int | None = None
        self._clock_page: int | None = None
        self._speaks_for_f7 = False
        self._uc: Any = unicorn.Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
        self._uc.ctl_set_cpu_model(unicorn.arm_const.UC_CPU_ARM_CORTEX_M7)
        self._map_memories(image)
        self._watch()

    def _map_memories(self, image: Image) -> None:
        uc, lib = self._uc, self._lib
        # Also at address 0, where the processor looks for it; there it may be written, since some parts have RAM there.
        for base, rights in ((_FLASH_START, lib.UC_PROT_READ | lib.UC_PROT_EXEC), (0, lib.UC_PROT_ALL)):
            uc.mem_map(base, MOST_FLASH_BYTES, rights)
            uc.mem_write(base, _ERASED * MOST_FLASH_BYTES)
            for segment in image.segments:
                uc.mem_write(base + segment.address - _FLASH_START, segment.data)
        for start, size in _RAM:
            uc.mem_map(start, size)
        for start, size in _PERIPHERALS:
            uc.mmio_map(start, size, self._read, start, self._write, start)

    def _watch(self) -> None:
        lib = self._lib
        self._uc.hook_add(lib.UC_HOOK_BLOCK, self._block)
        self._uc.hook_add(lib.UC_HOOK_INTR, self._interrupted)
        self._uc.hook_add(lib.UC_HOOK_MEM_READ_UNMAPPED | lib.UC_HOOK_MEM_WRITE_UNMAPPED, self._unmapped)

    def run(self, *, stack: int, reset: int) -> BootProbe:
        self._uc.reg_write(self._lib.arm_const.UC_ARM_REG_SP, stack)
        try:
            self._uc.emu_start(reset, 0xFFFF_FFFE, timeout=int(MOST_TIME_S * 1_000_000))
        except self._lib.UcError as error:
            return self._fault(str(error).partition(" (")[0])
        if self._exception is not None and self._exception not in _NO_FAULT:
            return self._fault(f"exception {self._exception}")
        return self._seen() if self._clock_page is not None else self._nothing()

    def _seen(self) -> BootProbe:
        page = self._clock_page
        assert page is not None
        words = f"Started in an emulator, it touches the clock controller at {page:#010x} before any other"
        return BootProbe(BootOutcome.CLOCK_SEEN, f"{words}.", page, self._speaks_for_f7)

    def _nothing(self) -> BootProbe:
        words = (
            "Started in an emulator, it touches no clock controller that is known here within the limits of the probe."
        )
        return BootProbe(BootOutcome.NOTHING_SEEN, words)

    def _fault(self, what: str) -> BootProbe:
        at = self._uc.reg_read(self._lib.arm_const.UC_ARM_REG_PC)
        words = f"Started in an emulator, it stops with a fault at {at:#010x} ({what}), which may be the emulator's."
        return BootProbe(BootOutcome.FAULT, words, self._clock_page, self._speaks_for_f7)

    def _read(self, _uc: Any, offset: int, size: int, base: int) -> int:
        self._touched(base + offset)
        return self._registers.read(base + offset, size)

    def _write(self, _uc: Any, offset: int, size: int, value: int, base: int) -> None:
        self._touched(base + offset)
        self._registers.write(base + offset, size, value)

    def _touched(self, address: int) -> None:
        page = address & -PAGE_BYTES
        if self._clock_page is None and page in CLOCK_GROUPS:
            self._clock_page = page
        if address in _CACHE_MAINTENANCE or address == _F7_CLOCK_REGISTER:
            self._speaks_for_f7 = True

    def _block(self, uc: Any, _address: int, _size: int, _data: Any) -> None:
        self._blocks += 1
        self._blocks_after_clock += self._clock_page is not None
        if self._blocks >= MOST_BLOCKS or self._blocks_after_clock >= BLOCKS_AFTER_CLOCK:
            uc.emu_stop()

    def _interrupted(self, uc: Any, number: int, _data: Any) -> None:
        self._exception = number
        uc.emu_stop()

    def _unmapped(self, uc: Any, _access: int, address: int, _size: int, _value: int, _data: Any) -> bool:
        """Give memory outside the part piece by piece, up to a limit; anything else that is nowhere is a fault."""
        start, end = _EXTERNAL_RAM
        if not start <= address < end or self._external_pieces >= _MOST_EXTERNAL_PIECES:
            return False
        self._external_pieces += 1
        uc.mem_map(address & -_EXTERNAL_PIECE_BYTES, _EXTERNAL_PIECE_BYTES)
        return True
