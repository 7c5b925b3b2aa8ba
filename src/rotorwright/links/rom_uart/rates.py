"""Baud rates of the ROM bootloader: as high as the port and the line hold, and down from there.

The bootloader measures the rate in the first byte after a reset and keeps it, so another rate needs another reset: who
steps down enters the bootloader anew.
"""

from __future__ import annotations

SAFE_RATES = (115_200, 57_600, 38_400, 19_200, 9_600)
"""Rates to step down to. AN3155 promises the measuring up to 115,200 (from memory, unconfirmed). Most boards hold more
(common practice, no source), so a higher one may be tried first; if it is not answered, those between are left out."""


def next_lower_rate(rate: int) -> int | None:
    """Return the next rate to step down to from `rate`; None where there is none."""
    return next((lower for lower in SAFE_RATES if lower < rate), None)
