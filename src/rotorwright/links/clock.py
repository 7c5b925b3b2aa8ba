"""The clock of the real world, behind the shape that every link takes."""

from __future__ import annotations

import time


class RealClock:
    """Monotonic time of this computer; never set back, so a deadline stays a deadline."""

    def now_s(self) -> float:
        """Return seconds since some fixed moment."""
        return time.monotonic()

    def sleep_s(self, seconds: float) -> None:
        """Let `seconds` pass; zero and less return at once."""
        if seconds > 0:
            time.sleep(seconds)
