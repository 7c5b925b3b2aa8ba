"""Whether somebody keeps the space bar down: what lets a motor turn on the bench.

A terminal tells no key that is let go, only the repeats of one that is held. So holding means that a repeat came within
the last `LET_GO_S`; the first repeat comes after half a second or so on most systems.
"""

from __future__ import annotations

import sys
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

LET_GO_S = 0.8  # longer than the usual wait of a keyboard before a held key repeats; common practice, no source


class HeldKey:
    """Knows from the keys that come whether one is being held."""

    def __init__(self, read_keys: Callable[[], str], now_s: Callable[[], float] = time.monotonic) -> None:
        self._read_keys = read_keys
        self._now_s = now_s
        self._last_s = float("-inf")

    def is_held(self) -> bool:
        """Answer whether the space bar is held. Any other key lets go at once."""
        keys = self._read_keys()
        if keys:
            self._last_s = self._now_s() if not keys.strip(" ") else float("-inf")
        return self._now_s() - self._last_s <= LET_GO_S

    def wait(self, timeout_s: float) -> bool:
        """Wait until the space bar goes down; answer False if it does not in time."""
        deadline = self._now_s() + timeout_s
        while self._now_s() < deadline:
            if self.is_held():
                return True
            time.sleep(0.02)
        return False


@contextmanager
def held_key() -> Iterator[HeldKey | None]:
    """Give the keyboard key by key for as long as the block runs; None where there is no keyboard."""
    if not sys.stdin.isatty():
        yield None
    elif sys.platform == "win32":
        yield HeldKey(_windows_keys)
    else:
        with _key_by_key() as read:
            yield HeldKey(read)


def _windows_keys() -> str:
    import msvcrt

    keys = ""
    while msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
        keys += msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
    return keys


@contextmanager
def _key_by_key() -> Iterator[Callable[[], str]]:
    import os
    import select
    import termios
    import tty

    stream = sys.stdin.fileno()
    before = termios.tcgetattr(stream)

    def read() -> str:
        found = b""
        while select.select([stream], [], [], 0.0)[0]:
            piece = os.read(stream, 64)
            if not piece:
                break
            found += piece
        return found.decode("utf-8", "replace")

    tty.setcbreak(stream)
    try:
        yield read
    finally:
        termios.tcsetattr(stream, termios.TCSADRAIN, before)
