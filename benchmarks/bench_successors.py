"""How good and how quick the search for successors is.

- Good: precision, recall and calibration on the held-out part of outside histories, beside two baselines (what the
  columns mean: tests/outside/successor_measures.py; the histories: tests/outside/successor_histories.py).
- Quick: 2,000 vanished against 2,000 arrived names, made up from common words with a fixed seed: half of the vanished
  ones have a successor with one word put in.

    python benchmarks/bench_successors.py          about ten seconds
    python benchmarks/bench_successors.py --json   for programs

Ends with exit code 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sys
import time
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.outside.successor_histories import Part
from tests.outside.successor_measures import AIM_PRECISION, guesses, measure, ours, table

from rotorwright.settings.successors import Kind, SettingDescription, likeliest_successors

NAMES = 2000
AIM_S = 3.0
SEED = 7
WORDS = (
    "rate", "filter", "gain", "limit", "cutoff", "delay", "gyro", "accel", "battery", "voltage", "current",
    "sensor", "output", "input", "channel", "scale", "offset", "trim", "curve", "slope", "period", "timeout",
    "power", "level", "mode", "source", "target", "window", "margin", "warning", "recovery", "altitude", "speed",
    "heading", "climb", "descent", "hover", "gimbal", "camera", "light", "signal", "link", "telemetry", "display",
    "font", "row", "column", "unit", "zone",
)  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and compare with the aims."""
    parser = argparse.ArgumentParser(description="Measure the search for successors.")
    parser.add_argument("--json", action="store_true", help="print for programs")
    as_json = parser.parse_args(arguments).json
    took_s, found = time_search()

    held_out = measure(guesses(ours, Part.HELD_OUT))
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if as_json:
        print(json.dumps({"seconds": took_s, "peak_mib": peak_mib, "held_out": asdict(held_out)}))
    else:
        print(table())
        print(f"\n{NAMES} by {NAMES} names: {took_s:.2f} s (aim {AIM_S:.0f} s), {found} pairs, peak {peak_mib:.0f} MiB")
    return 0 if took_s < AIM_S and held_out.precision_at_recall >= AIM_PRECISION else 1


def time_search() -> tuple[float, int]:
    """Return the seconds that a large search took and how many pairs it found."""
    vanished, arrived = made_up_release(NAMES)
    begun_s = time.perf_counter()
    found = likeliest_successors(
        vanished,
        arrived,
        old_listing=[each.name for each in vanished],
        new_listing=[each.name for each in arrived],
    )
    return time.perf_counter() - begun_s, sum(each.new is not None for each in found)


def made_up_release(count: int) -> tuple[list[SettingDescription], list[SettingDescription]]:
    """Return `count` vanished and `count` arrived settings, all names different."""
    chance = random.Random(SEED)
    names = _names(chance, count + count // 2)
    vanished = names[:count]
    taken = set(names)
    renamed = [_renamed(chance, name, taken=taken) for name in vanished[: count - count // 2]]
    arrived = [*dict.fromkeys(renamed), *names[count:]]
    return [_setting(chance, name) for name in vanished], [_setting(chance, name) for name in arrived]


def _names(chance: random.Random, count: int) -> list[str]:
    found: dict[str, None] = {}
    while len(found) < count:
        words = chance.sample(WORDS, chance.randint(2, 4))
        found["_".join([*words, str(chance.randint(1, 4))])] = None
    return list(found)


def _renamed(chance: random.Random, name: str, *, taken: set[str]) -> str:
    """Return the name with one word put in."""
    while True:
        words = name.split("_")
        words.insert(chance.randrange(len(words)), chance.choice(WORDS))
        if (found := "_".join(words)) not in taken:
            return found


def _setting(chance: random.Random, name: str) -> SettingDescription:
    return SettingDescription(
        name=name,
        kind=chance.choice((Kind.WHOLE, Kind.REAL)),
        unit=chance.choice(("", "Hz", "ms", "%")),
        default=str(chance.choice((0, 1, 10, 50, 100, 250))),
        minimum=0.0,
        maximum=float(chance.choice((100, 255, 1000))),
    )


if __name__ == "__main__":
    sys.exit(main())
