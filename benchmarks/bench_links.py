"""How close the links come to what the line allows, over a real pseudo-terminal against the virtual aircraft.

The virtual aircraft keeps to the baud rate and takes the typical erase and program times of the real part, so the limit
can be computed:

- all settings: frames x 37 bytes x 10 bits / baud. 37 bytes are a PARAM_VALUE of MAVLink 2 (10 header, 25 payload, 2
  checksum); 10 bits are start, 8 data and stop.
- an image: bytes x 11 bits / baud + erase of its sectors + programming of its words. 11 bits with even parity.

Next to our client, the independent client writes the same image to the same twin in the same run: stm32flash if it is
installed (a Debian package), else stm32loader (a Python package). Both are test tools and no part of this product.

    python benchmarks/bench_links.py              about two minutes
    python benchmarks/bench_links.py --size 64    a smaller image, in KiB
    python benchmarks/bench_links.py --json       for programs

Ends with exit code 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Microcontroller, microcontroller, sectors_for
from rotorwright.links.clock import RealClock
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.links.serial_port import SerialPort
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.process import TwinProcess, spawn_twin

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.links.rom_uart.codec import WriteMessages

BAUDS = (115_200, 921_600)
LOSSES = (0.0, 0.2)
FRAME_BYTES = 37  # PARAM_VALUE in MAVLink 2
BITS_PER_BYTE = 10
BITS_PER_BYTE_WITH_PARITY = 11
FLASH_START = 0x0800_0000
PART = "STM32F405xG"
SEED = 7
READ_RUNS = 3
WRITE_RUNS = 2

AIM_WRITE = 1.15
AIM_AGAINST_THEIRS = 1.02  # never slower; two runs of one client differ by up to 2 % on a busy computer
AIM_READ = {0.0: 1.15, 0.2: 1.7}  # with a fifth lost each way, 1.25 is needed for the answers alone


@dataclass(frozen=True, slots=True)
class Row:
    """One measurement: seconds, the line's own limit, and the ratio that is aimed at (None for no aim)."""

    what: str
    baud: int
    seconds: float
    limit_s: float
    aim: float | None
    note: str = ""

    @property
    def ratio(self) -> float:
        """How many times the limit it took."""
        return self.seconds / self.limit_s

    @property
    def is_missed(self) -> bool:
        """Whether the ratio is over what is aimed at."""
        return self.aim is not None and self.ratio > self.aim


class TimedLoader(RomUartLoader):
    """Our client, with the time that erasing and writing take apart from the reading back."""

    write_s = 0.0

    def erase(self, sectors: Sequence[int], *, timeout_s: float | None = None) -> None:
        """Erase, timed."""
        started = time.monotonic()
        super().erase(sectors, timeout_s=timeout_s)
        self.write_s += time.monotonic() - started

    def write_prepared(self, block: WriteMessages) -> None:
        """Write, timed."""
        started = time.monotonic()
        super().write_prepared(block)
        self.write_s += time.monotonic() - started


@contextmanager
def twin(*, baud: int, faults: str = "") -> Iterator[TwinProcess]:
    """Keep a virtual aircraft alive for as long as the block runs."""
    with (
        tempfile.TemporaryDirectory(prefix="rotorwright-bench-") as folder,
        spawn_twin(Path(folder), baud=baud, faults=faults) as process,
    ):
        yield process


def bench_settings(baud: int, loss: float) -> Row:
    """Read all settings a few times and take the middle."""
    faults = f"lose={loss},seed={SEED}" if loss else ""
    with twin(baud=baud, faults=faults) as aircraft:
        wire = SerialPort(str(aircraft.port)).open(LineSettings(baud))
        link = MavlinkLink(wire, RealClock())
        link.read_identity()
        times, count = [], 0
        for _ in range(READ_RUNS):
            started = time.monotonic()
            count = len(link.read_settings())
            times.append(time.monotonic() - started)
        wire.close()
    assert link.last_read is not None
    note = f"{count} settings, {link.last_read.asked_again} asked again, {link.last_read.frames_lost} frames lost"
    limit_s = count * FRAME_BYTES * BITS_PER_BYTE / baud
    what = f"read settings, {loss:.0%} lost"
    return Row(what, baud, statistics.median(times), limit_s, AIM_READ[loss], note)


def bench_writes(baud: int, size: int) -> list[Row]:
    """Write images with our client and with the independent one, to the same twin.

    Their image is another one of the same size: ours would leave alone what stands there already.
    """
    image, other = (Image.of([(FLASH_START, random.Random(seed).randbytes(size))]) for seed in (SEED, SEED + 1))
    part = microcontroller(PART)
    limit_s = write_limit_s(image, part, baud)
    ours_s, theirs_s, name = math.inf, math.inf, ""
    with twin(baud=baud) as aircraft:
        for _ in range(WRITE_RUNS):  # taking turns, so that a busy moment of the computer hits both
            enter_bootloader(aircraft)
            ours_s = min(ours_s, write_with_ours(aircraft, image, part, baud))
            enter_bootloader(aircraft)
            name, seconds = write_with_theirs(aircraft, other, baud)
            theirs_s = min(theirs_s, seconds)
    note = f"{size // 1024} KiB, reading back not counted, best of {WRITE_RUNS}"
    return [
        Row("write image, Rotorwright", baud, ours_s, limit_s, AIM_WRITE, note),
        Row(f"write image, {name}", baud, theirs_s, limit_s, None, note),
        Row("ours over theirs", baud, ours_s, theirs_s, AIM_AGAINST_THEIRS, "never slower; 2 % is noise"),
    ]


def write_limit_s(image: Image, part: Microcontroller, baud: int) -> float:
    """Return the least time in which the line and the flash can take the image, in seconds."""
    line_s = image.size_bytes * BITS_PER_BYTE_WITH_PARITY / baud
    erase_s = sum(part.erase_typical_s[sector.size_bytes] for sector in sectors_for(image, part))
    return line_s + erase_s + image.size_bytes / 4 * part.program_word_typical_s


def enter_bootloader(aircraft: TwinProcess) -> None:
    """Restart the twin with its button held, and let it start."""
    aircraft.hands.restart(button=True)
    time.sleep(0.5)


def write_with_ours(aircraft: TwinProcess, image: Image, part: Microcontroller, baud: int) -> float:
    """Write the image as a changeover does; return the seconds for finding the bootloader, erasing and writing."""
    wire = SerialPort(str(aircraft.port)).open(LineSettings(baud, Parity.EVEN))
    loader = TimedLoader(wire, RealClock())
    started = time.monotonic()
    loader.synchronise()
    found_s = time.monotonic() - started
    report = write_sectors(loader, image, sectors_for(image, part), mcu=part, verify_whole=False)
    assert report.bytes_written == image.size_bytes
    wire.close()
    return found_s + loader.write_s


def write_with_theirs(aircraft: TwinProcess, image: Image, baud: int) -> tuple[str, float]:
    """Write the image with the independent client; return its name and its time in seconds."""
    found = shutil.which("stm32flash")
    if found is None:
        return "stm32loader", _write_with_stm32loader(str(aircraft.port), image, baud)
    with tempfile.NamedTemporaryFile(suffix=".bin") as file:
        file.write(image.segments[0].data)
        file.flush()
        place = f"{image.start:#x}:{image.size_bytes}"
        words = [found, "-m", "8n1", "-b", str(baud), "-w", file.name, "-S", place, str(aircraft.port.resolve())]
        started = time.monotonic()
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        seconds = time.monotonic() - started
    if done.returncode:
        raise SystemExit(f"stm32flash failed:\n{done.stdout}{done.stderr}")
    return "stm32flash", seconds


def _write_with_stm32loader(port: str, image: Image, baud: int) -> float:
    import serial  # noqa: PLC0415 - only where the other client is missing
    from stm32loader.bootloader import Stm32Bootloader  # noqa: PLC0415

    class Connection:
        def __init__(self) -> None:
            self._serial = serial.Serial(port, baud, timeout=5)
            self.timeout = 5.0

        def write(self, data: bytes) -> None:
            self._serial.write(data)

        def read(self, length: int = 1) -> bytes:
            self._serial.timeout = self.timeout
            return bytes(self._serial.read(length))

        def close(self) -> None:
            self._serial.close()

    part = microcontroller(PART)
    connection = Connection()
    loader = Stm32Bootloader(connection, device_family="F4")
    started = time.monotonic()
    loader.write(loader.Command.SYNCHRONIZE)
    connection.read()
    loader.get()
    loader.erase_memory([sector.number for sector in sectors_for(image, part)])
    data = image.segments[0].data
    for offset in range(0, len(data), 256):
        loader.write_memory(image.start + offset, bytearray(data[offset : offset + 256]))
    seconds = time.monotonic() - started
    connection.close()
    return seconds


def show(rows: list[Row]) -> None:
    """Print the table."""
    print(f"{'what':<34} {'baud':>7} {'time':>9} {'limit':>9} {'ratio':>6} {'aim':>6}        ")
    for row in rows:
        aim = "" if row.aim is None else f"{row.aim:.2f}"
        verdict = "missed" if row.is_missed else "" if row.aim is None else "met"
        print(
            f"{row.what:<34} {row.baud:>7} {row.seconds:>7.2f} s {row.limit_s:>7.2f} s {row.ratio:>6.3f} {aim:>6} "
            f"{verdict:<6} {row.note}"
        )


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and say by the exit code whether every aim was met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--size", type=int, default=128, metavar="KIB", help="size of the image (default 128)")
    parser.add_argument("--json", action="store_true", help="print one object for programs")
    wishes = parser.parse_args(arguments)
    rows = [bench_settings(baud, loss) for baud in BAUDS for loss in LOSSES]
    for baud in BAUDS:
        rows += bench_writes(baud, wishes.size * 1024)
    if wishes.json:
        print(json.dumps([asdict(row) | {"ratio": row.ratio, "missed": row.is_missed} for row in rows], indent=2))
    else:
        show(rows)
    return 1 if any(row.is_missed for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
