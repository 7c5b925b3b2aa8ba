"""How quick firmware files are read, next to the quickest general library in the same run.

2 MiB of noise as an Intel HEX file: our reader against bincopy, hexrec and intelhex (test tools, no part of this
product). The aim is a fifth of the time of the quickest of them. The other formats are measured without an aim.

    python benchmarks/bench_firmware.py          about ten seconds
    python benchmarks/bench_firmware.py --json   for programs

Ends with exit code 1 if the aim is missed.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import random
import sys
import time
from functools import partial
from typing import TYPE_CHECKING

import bincopy
import hexrec  # type: ignore[import-untyped]
import intelhex

from rotorwright.firmware.dfu_file import write_dfuse
from rotorwright.firmware.files import read_image_file
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import read_intel_hex_by_lines, write_intel_hex
from rotorwright.firmware.uf2 import write_uf2

if TYPE_CHECKING:
    from collections.abc import Callable

SIZE_BYTES = 2 << 20
START = 0x0800_0000
SEED = 7
RUNS = 5
AIM = 5.0
BY_LINES = "Intel HEX by lines (when something is odd)"


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and compare with the aim."""
    parser = argparse.ArgumentParser(description="Measure how quick firmware files are read.")
    parser.add_argument("--json", action="store_true", help="print for programs")
    as_json = parser.parse_args(arguments).json
    image = Image.of([(START, random.Random(SEED).randbytes(SIZE_BYTES))])
    text = write_intel_hex(image)
    ours, theirs = time_ours(image, text), time_theirs(text.decode())
    quickest = min(theirs, key=lambda tool: theirs[tool])
    ratio = theirs[quickest] / ours["Intel HEX"]
    if as_json:
        print(json.dumps({"seconds": ours, "others_seconds": theirs, "quickest": quickest, "times": ratio, "aim": AIM}))
    else:
        print(f"Reading {SIZE_BYTES >> 20} MiB of image, best of several runs:")
        for what, seconds in (*ours.items(), *((f"Intel HEX, {tool}", seconds) for tool, seconds in theirs.items())):
            print(f"  {what:45} {seconds * 1000:8.1f} ms")
        print(f"  {ratio:.1f} times as quick as {quickest} (aim {AIM:.0f})")
    return 0 if ratio >= AIM else 1


def time_ours(image: Image, text: bytes) -> dict[str, float]:
    """Return the seconds of each format, after a check that it reads right."""
    files = {
        "Intel HEX": text,
        "UF2": write_uf2(image, family=None).data,
        "DfuSe": write_dfuse(image),
        "Intel HEX in gzip": gzip.compress(text, 6),
    }
    assert all(read_image_file(data, name="x").image == image for data in files.values())
    times = {what: best_s(partial(read_image_file, data, name="x")) for what, data in files.items()}
    return times | {BY_LINES: best_s(lambda: read_intel_hex_by_lines(text, name="x"))}


def time_theirs(text: str) -> dict[str, float]:
    """Return the seconds of the general libraries for the same HEX file."""
    return {
        "bincopy": best_s(lambda: bincopy.BinFile().add_ihex(text)),
        "hexrec": best_s(lambda: hexrec.IhexFile.parse(io.BytesIO(text.encode())).memory, runs=2),
        "intelhex": best_s(lambda: intelhex.IntelHex(io.StringIO(text)), runs=1),
    }


def best_s(act: Callable[[], object], *, runs: int = RUNS) -> float:
    """Return the processor time of the quickest of several runs, in seconds."""
    times = []
    for _ in range(runs):
        begun_s = time.process_time()
        act()
        times.append(time.process_time() - begun_s)
    return min(times)


if __name__ == "__main__":
    sys.exit(main())
