"""Run every benchmark: `python -m benchmarks`, or `make bench`."""

from __future__ import annotations

import sys

from benchmarks import bench_carry_over, bench_firmware, bench_flights, bench_links, bench_successors, bench_ways


def main(arguments: list[str]) -> int:
    """Run all; the exit code is 0 only if every aim was met. With --json, one JSON value for each benchmark."""
    json_only = ["--json"] if "--json" in arguments else []
    missed = [
        bench_firmware.main(json_only),
        bench_links.main(arguments),
        bench_ways.main(json_only),
        bench_successors.main(json_only),
        bench_carry_over.main(json_only),
        bench_flights.main(json_only),
    ]
    return 1 if any(missed) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
