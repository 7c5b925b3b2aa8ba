"""Run every benchmark: `python -m benchmarks`, or `make bench`."""

from __future__ import annotations

import sys

from benchmarks.bench_links import main

if __name__ == "__main__":
    sys.exit(main())
