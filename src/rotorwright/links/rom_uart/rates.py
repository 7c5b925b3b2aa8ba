"""Baud rates of the ROM bootloader: as high as the port and the line hold, and down from there.

The bootloader measures the rate in the first byte after a reset and keeps it, so another rate needs another reset: who
steps down enters the bootloader anew.
"""

from __future__ import annotations

RATES = (921_600, 460_800, 230_400, 115_200, 57_600, 38_400, 19_200, 9_600)
"""Usual rates, the highest first. AN3155 promises the measuring up to 115,200; most boards hold more (common practice,
no source)."""


def next_lower_rate(rate: int) -> int | None:
    """Return the next usual rate below `rate`; None where there is none."""
    return next((lower for lower in RATES if lower < rate), None)
