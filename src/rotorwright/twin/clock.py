"""Time for the twin: a clock that a test turns by hand, and the real one for the process of its own."""

from __future__ import annotations

import time


class VirtualClock:
    """A clock that stands still until somebody sleeps: waiting costs nothing.

    Args:
        start_s: what the clock shows at first, in seconds.
    """

    __slots__ = ("_now_s",)

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s

    def now_s(self) -> float:
        """Return the seconds that were slept so far, plus the start."""
        return self._now_s

    def sleep_s(self, seconds: float) -> None:
        """Turn the clock on by `seconds`; never back."""
        if seconds > 0:
            self._now_s += seconds

    def sleep_until_s(self, moment_s: float) -> None:
        """Turn the clock to exactly `moment_s` (a sum of sleeps would miss it by rounding); never back."""
        self._now_s = max(self._now_s, moment_s)


class MonotonicClock:
    """The computer's own monotonic clock."""

    __slots__ = ()

    def now_s(self) -> float:
        """Return seconds since some fixed moment."""
        return time.monotonic()

    def sleep_s(self, seconds: float) -> None:
        """Let `seconds` really pass."""
        if seconds > 0:
            time.sleep(seconds)
