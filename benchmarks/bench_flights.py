"""How long it takes to compare two recorded flights, and how much memory.

Ten minutes of 4 kHz: the time and 14 channels (rates, wanted and unfiltered rates of three axes, throttle, four
motors), made with noise from a seed, written as Parquet, read and compared with another such flight. Each measurement
runs in a process of its own that does nothing else, so its peak of memory is that of the job. Aims: reading and
comparing in under 5 s, 1 GiB at the most, and in the mean at most 2.4 times the processor time for twice the length.
On a computer that has more to do than processors, the seconds of the processor are held against the 5 s, and that is
said.

    python benchmarks/bench_flights.py          about a minute
    python benchmarks/bench_flights.py --json   for programs

Ends with exit code 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.signals.flight import Flight

RATE_HZ = 4000.0
MINUTES = (2.5, 5.0, 10.0)
RUNS = 3
CHANNELS = 14
AIM_S = 5.0
AIM_MIB = 1024.0
AIM_GROWTH = 2.4  # for twice the length: linear, with what a busy computer adds
PEAK_LINE = "VmHWM:"  # the peak of this program alone; that of the resource module also holds its parent's


@dataclass(frozen=True, slots=True)
class Row:
    """One length: seconds to read both files, to compare the arrays, of the processor; and the peak of memory."""

    minutes: float
    rows: int
    read_s: float
    compare_s: float
    processor_s: float
    peak_mib: float
    change: str

    @property
    def total_s(self) -> float:
        """Reading and comparing."""
        return self.read_s + self.compare_s


def make_flight(minutes: float, seed: int) -> Flight:
    """Return a flight in which the rates follow moving sticks with a lag, with noise before a low-pass filter."""
    import numpy as np  # noqa: PLC0415 - the process that measures others stays small
    from scipy.signal import lfilter  # noqa: PLC0415

    from rotorwright.signals.flight import Flight  # noqa: PLC0415

    random = np.random.default_rng(seed)
    rows = round(minutes * 60 * RATE_HZ)

    def smoothed(values: object, lag_s: float) -> object:
        keep = float(np.exp(-1 / (RATE_HZ * lag_s)))
        return lfilter([1 - keep], [1, -keep], values, axis=0)

    at_s = np.arange(float(rows)) / RATE_HZ
    wanted = np.asarray(smoothed(40.0 * random.standard_normal((rows, 3)), 0.2))
    raw = np.asarray(smoothed(wanted, 0.02)) + 0.5 * random.standard_normal((rows, 3))
    throttle = 0.4 + 0.15 * np.sin(2 * np.pi * 0.1 * at_s + seed)
    motors = np.clip(throttle[:, None] + 0.03 * random.standard_normal((rows, 4)), 0.0, 1.0)
    return Flight(at_s, np.asarray(smoothed(raw, 0.001)), wanted, raw, throttle, motors, source="made")


def write_one(minutes: float, seed: int, path: Path) -> None:
    """Make a flight and write it."""
    from rotorwright.hangar.recordings import write_recording_parquet  # noqa: PLC0415

    write_recording_parquet(path, make_flight(minutes, seed))


def measure_one(minutes: float, before: Path, after: Path) -> Row:
    """Read and compare in this very process."""
    from rotorwright.hangar.recordings import read_recording  # noqa: PLC0415
    from rotorwright.signals.comparison import compare_flights  # noqa: PLC0415

    begun_s, begun_processor_s = time.perf_counter(), time.process_time()
    one, other = read_recording(before).flight, read_recording(after).flight
    read_s = time.perf_counter() - begun_s
    found = compare_flights(one, other)
    return Row(
        minutes,
        len(one.at_s),
        read_s,
        time.perf_counter() - begun_s - read_s,
        time.process_time() - begun_processor_s,
        peak_mib(),
        str(found.change),
    )


def peak_mib() -> float:
    """Return the most memory that this process ever had, in MiB."""
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(each for each in status.read_text(encoding="ascii").splitlines() if each.startswith(PEAK_LINE))
        return int(line.split()[1]) / 1024
    import resource  # noqa: PLC0415 - not there on every system

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1 << 20) if sys.platform == "darwin" else peak / 1024


def in_own_process(*words: str) -> str:
    """Run this file again with `words` and return what it prints."""
    return subprocess.run([sys.executable, __file__, *words], check=True, capture_output=True, text=True).stdout


def measure(folder: Path) -> list[Row]:
    """Return one row a length, the quickest of several runs."""
    found = []
    for minutes in MINUTES:
        paths = [folder / f"{minutes:g}-{seed}.parquet" for seed in (1, 2)]
        for seed, path in enumerate(paths, start=1):
            in_own_process("--make", f"{minutes}", f"{seed}", str(path))
        runs = [Row(**json.loads(in_own_process("--one", f"{minutes}", *map(str, paths)))) for _ in range(RUNS)]
        quickest = min(runs, key=lambda row: row.total_s)
        found.append(replace(quickest, processor_s=min(row.processor_s for row in runs)))
        for path in paths:
            path.unlink()
    return found


def growth(rows: list[Row]) -> list[float]:
    """Return how many times the processor time grew from each length to its double."""
    return [longer.processor_s / shorter.processor_s for shorter, longer in pairwise(rows)]


def is_busy() -> bool:
    """Answer whether more wants to run on this computer than it has processors."""
    return hasattr(os, "getloadavg") and os.getloadavg()[0] > (os.cpu_count() or 1)


def missed(rows: list[Row]) -> list[str]:
    """Return the aims that were missed, in words."""
    longest = rows[-1]
    judged_s = longest.processor_s if is_busy() else longest.total_s
    found = [] if judged_s < AIM_S else [f"{judged_s:.2f} s, aim under {AIM_S:g} s"]
    found += [] if longest.peak_mib < AIM_MIB else [f"{longest.peak_mib:.0f} MiB, aim under {AIM_MIB:g} MiB"]
    mean = statistics.geometric_mean(growth(rows))
    return found if mean <= AIM_GROWTH else [*found, f"growth {mean:.2f} in the mean, aim {AIM_GROWTH:g}"]


def show(rows: list[Row]) -> None:
    """Print the rows for a person."""
    print(f"Two flights of {RATE_HZ:g} Hz and {CHANNELS} channels compared, from Parquet, best of {RUNS} runs:")
    print("  length       rows   read   compare (from arrays)   both   processor      peak  verdict")
    for row in rows:
        print(
            f"  {row.minutes:4g} min {row.rows:9,d} {row.read_s:5.2f} s {row.compare_s:12.2f} s          "
            f"{row.total_s:5.2f} s {row.processor_s:8.2f} s {row.peak_mib:6.0f} MiB  {row.change}"
        )
    print(f"  growth of the processor time for twice the length: {', '.join(f'{ratio:.2f}' for ratio in growth(rows))}")
    if is_busy():
        print("  this computer is busy with other things: the seconds of the processor are judged")
    words = missed(rows)
    aims = f"under {AIM_S:g} s and {AIM_MIB:g} MiB, growth up to {AIM_GROWTH:g}"
    print(f"  aims ({aims}): {'MISSED: ' + '; '.join(words) if words else 'met'}")


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and compare with the aims."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true", help="print for programs")
    parser.add_argument("--make", nargs=3, metavar=("MINUTES", "SEED", "FILE"), help="only write one flight")
    parser.add_argument("--one", nargs=3, metavar=("MINUTES", "BEFORE", "AFTER"), help="only one measurement, as JSON")
    wishes = parser.parse_args(arguments)
    if wishes.make:
        write_one(float(wishes.make[0]), int(wishes.make[1]), Path(wishes.make[2]))
        return 0
    if wishes.one:
        print(json.dumps(asdict(measure_one(float(wishes.one[0]), Path(wishes.one[1]), Path(wishes.one[2])))))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        rows = measure(Path(folder))
    if wishes.json:
        data = [asdict(row) | {"total_s": row.total_s} for row in rows]
        print(json.dumps({"rows": data, "growth": growth(rows), "missed": missed(rows)}, indent=2))
    else:
        show(rows)
    return 1 if missed(rows) else 0


if __name__ == "__main__":
    sys.exit(main())
