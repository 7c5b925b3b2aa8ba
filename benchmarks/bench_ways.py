"""How close each way to write comes to what flash and wire allow, and what a small change costs.

On the clock of the virtual aircraft, which takes the typical erase and program times of the real part, so the figures
are the same on every computer:

- a whole write over its limit: typical erase of its sectors + programming of its words + the bytes over the wire once
  (UART: 11 bits each at the baud rate; USB: one transfer for each block, as the virtual aircraft takes it). What is
  read back comes on top and is shown beside it.
- an image that differs in one sector, over a whole write, both with all that is read. Where sectors are large, erasing
  the changed one and the first (which holds the vector table and is always done again) is most of it; where the
  bootloader can only be read and the wire is slow, the reading is. Aims are set where neither is so.

A drive takes whole files as they come: the limit is the bytes of the file at USB full speed, and our own time, measured
on this computer in a folder, comes on top.

    python benchmarks/bench_ways.py              a few seconds
    python benchmarks/bench_ways.py --json       for programs

Ends with exit code 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Microcontroller, Sector, microcontroller, sectors_for
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.links.uf2_drive.finding import find_drives
from rotorwright.links.uf2_drive.writing import write_to_drive
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.flash import FlashMemory, erased_flash
from rotorwright.twin.state import Papers
from rotorwright.twin.uf2_folder import Uf2Folder
from rotorwright.twin.usb_backend import BYTE_S, TRANSFER_S, DirectCarrier, TwinUsbBackend
from rotorwright.twin.usb_port import UsbPort
from rotorwright.twin.wire import DirectPort

if TYPE_CHECKING:
    from collections.abc import Callable

SIZE_BYTES = 440 * 1024  # fits the smallest part measured, and is what a firmware takes
BAUD = 921_600
UART_BITS_PER_BYTE = 11
SEED = 7
AIM_WRITE = 1.15
AIM_SMALL = 0.10
SMALL_SECTOR_BYTES = 16 * 1024


@dataclass(frozen=True, slots=True)
class Row:
    """One figure: a share or a ratio of two times in seconds, and what is aimed at (None for no aim)."""

    what: str
    seconds: float
    over_s: float
    aim: float | None
    note: str = ""

    @property
    def ratio(self) -> float:
        """The one over the other."""
        return self.seconds / self.over_s

    @property
    def is_missed(self) -> bool:
        """Whether it is over the aim."""
        return self.aim is not None and self.ratio > self.aim


@dataclass(frozen=True, slots=True)
class Way:
    """A part, and how its bootloader is reached."""

    name: str
    part: Microcontroller
    usb: bool
    loader_version: int = 0x31

    def limit_s(self, image: Image, block_bytes: int) -> float:
        """Return the shortest time in which the image can be written."""
        flash_s = sum(self.part.erase_typical_s[one.size_bytes] for one in sectors_for(image, self.part))
        flash_s += image.size_bytes / 4 * self.part.program_word_typical_s
        if self.usb:
            return flash_s + -(-image.size_bytes // block_bytes) * TRANSFER_S + image.size_bytes * BYTE_S
        return flash_s + image.size_bytes * UART_BITS_PER_BYTE / BAUD


class Measured:
    """One write, with the time that erasing and writing take apart from the reading."""

    def __init__(self, way: Way, memories: MemoryBytes, image: Image) -> None:
        clock = VirtualClock()
        aircraft = build_aircraft(
            Papers("3a0027001351383438343933", "C405", way.part.name),
            memories,
            lambda _flash, _hardware: None,
            circumstances=Circumstances(loader_version=way.loader_version),
        )
        aircraft.power_off(0.0)
        aircraft.power_on(0.0, button=True)
        clock.sleep_s(1.0)
        self._clock = clock
        self.write_s = 0.0
        loader: RomUartLoader | UsbDfuLoader
        if way.usb:
            loader = UsbDfuLoader.open(UsbBus(TwinUsbBackend(DirectCarrier([UsbPort(aircraft)], clock))), clock)
        else:
            loader = RomUartLoader(DirectPort(aircraft, clock).open(LineSettings(BAUD, Parity.EVEN)), clock)
            loader.synchronise()
        self.block_bytes = loader.block_bytes
        for name in ("write_block", "erase_sectors"):
            setattr(loader, name, self._timed(getattr(loader, name)))
        begun_s, begun_cpu_s = clock.now_s(), time.process_time()
        write_sectors(loader, image, sectors_for(image, way.part), mcu=way.part)
        self.whole_s = clock.now_s() - begun_s
        self.cpu_s = time.process_time() - begun_cpu_s

    def _timed(self, act: Callable[..., None]) -> Callable[..., None]:
        def timed(*arguments: object, **named: object) -> None:
            begun_s = self._clock.now_s()
            act(*arguments, **named)
            self.write_s += self._clock.now_s() - begun_s

        return timed


F405, G474 = microcontroller("STM32F405xG"), microcontroller("STM32G474xE")
WAYS = (
    Way("UART 921,600, F405", F405, usb=False),
    Way("UART 921,600 with checksum, F405", F405, usb=False, loader_version=0x33),
    Way("UART 921,600 with checksum, G474", G474, usb=False, loader_version=0x33),
    Way("USB, F405", F405, usb=True),
    Way("USB, G474", G474, usb=True),
)


def bench_way(way: Way) -> list[Row]:
    """Write an image, then the same with one changed byte."""
    data = random.Random(SEED).randbytes(SIZE_BYTES)
    image = Image.of([(way.part.flash_start, data)])
    memories = MemoryBytes.fresh(way.part)
    whole = Measured(way, memories, image)
    whole_note = f"with all reading {whole.whole_s:.1f} s; {whole.cpu_s / (SIZE_BYTES / 2**20):.2f} s of CPU per MiB"
    rows = [
        Row(f"whole write, {way.name}", whole.write_s, way.limit_s(image, whole.block_bytes), AIM_WRITE, whole_note)
    ]
    sizes = {one.size_bytes: one for one in sectors_for(image, way.part)[1:-1]}  # one sector of each size
    return rows + [_small_change(way, memories, image, sector, whole.whole_s) for sector in sizes.values()]


def _small_change(way: Way, memories: MemoryBytes, image: Image, sector: Sector, whole_s: float) -> Row:
    """Change one byte in a sector, and write again."""
    copy = MemoryBytes(bytearray(memories.flash), bytearray(memories.settings), bytearray(memories.display))
    data, at = image.segments[0].data, sector.address - way.part.flash_start + 100
    changed = Image.of([(image.start, data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])])
    small = Measured(way, copy, changed)
    assert bytes(copy.flash[: image.size_bytes]) == changed.segments[0].data
    pieces = [way.part.sectors[0], sector]
    floor_s = sum(way.part.erase_typical_s[one.size_bytes] for one in pieces)
    floor_s += sum(one.size_bytes for one in pieces) / 4 * way.part.program_word_typical_s
    has_aim = sector.size_bytes <= SMALL_SECTOR_BYTES and (way.loader_version >= 0x33 or way.part is G474)
    return Row(
        f"one sector of {sector.size_bytes // 1024} KiB, {way.name}",
        small.whole_s,
        whole_s,
        AIM_SMALL if has_aim else None,
        f"the flash alone is {floor_s / whole_s:.3f}",
    )


def bench_drive() -> Row:
    """Write an image onto a drive: our own time on top of that of the bytes."""
    image = Image.of([(F405.flash_start, random.Random(SEED).randbytes(SIZE_BYTES))])
    data = write_uf2(image, family=F405.uf2_families[0].id).data
    with tempfile.TemporaryDirectory(prefix="rotorwright-bench-") as name:
        folder = Path(name) / "drive"
        flash = FlashMemory(F405, erased_flash(F405))
        board = Uf2Folder(folder, flash, family=F405.uf2_families[0].id)
        board.plug_in()
        (drive,) = find_drives([folder])
        took = [0.0]
        begun_s = time.monotonic()

        def progress(done: int, total: int) -> None:
            if done == total:
                took[0] = time.monotonic() - begun_s

        write_to_drive(drive, data, _LookingClock(board), look=lambda: find_drives([folder]), progress=progress)
    assert flash.read(image.start, SIZE_BYTES) == image.segments[0].data
    bytes_s = len(data) * BYTE_S
    return Row("whole write, drive", bytes_s + took[0], bytes_s, AIM_WRITE, f"of it {took[0] * 1000:.0f} ms are ours")


class _LookingClock(VirtualClock):
    __slots__ = ("_board",)

    def __init__(self, board: Uf2Folder) -> None:
        super().__init__()
        self._board = board

    def sleep_s(self, seconds: float) -> None:
        super().sleep_s(seconds)
        self._board.poll()


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and say by the exit code whether every aim was met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true", help="print one object for programs")
    as_json = parser.parse_args(arguments).json
    rows = [row for way in WAYS for row in bench_way(way)] + [bench_drive()]
    if as_json:
        print(json.dumps([asdict(row) | {"ratio": row.ratio, "missed": row.is_missed} for row in rows], indent=2))
    else:
        for row in rows:
            aim = "" if row.aim is None else f"aim {row.aim:.2f} {'missed' if row.is_missed else 'met'}"
            print(f"{row.what:<52} {row.seconds:>8.3f} s / {row.over_s:>7.3f} s {row.ratio:>7.3f} {aim:<15} {row.note}")
    return 1 if any(row.is_missed for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
