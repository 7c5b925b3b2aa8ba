"""What every link stands on: a port that can be opened, an open wire, and a clock.

These are shapes only (structural types). A serial port, a pseudo-terminal and the twin's in-memory wire all have them,
so every link is driven the same way and time can be virtual in tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Parity(StrEnum):
    """Parity of a serial line."""

    NONE = "none"
    EVEN = "even"


@dataclass(frozen=True, slots=True)
class LineSettings:
    """How a serial line is set: always 8 data bits and 1 stop bit."""

    baud: int
    parity: Parity = Parity.NONE


class Clock(Protocol):
    """Monotonic time in seconds. Virtual in tests, so that waiting costs nothing."""

    def now_s(self) -> float:
        """Return seconds since some fixed moment."""
        ...

    def sleep_s(self, seconds: float) -> None:
        """Let `seconds` pass."""
        ...


class Wire(Protocol):
    """An open byte line."""

    @property
    def name(self) -> str:
        """Name of the port, for messages."""
        ...

    def send(self, data: bytes) -> None:
        """Send all of `data`.

        Raises:
            LinkError: the port has gone.
        """
        ...

    def receive(self, limit: int, timeout_s: float) -> bytes:
        """Return what has arrived, 1 to `limit` bytes, as soon as there is any; nothing at all after `timeout_s`.

        Raises:
            LinkError: the port has gone.
        """
        ...

    def discard_input(self) -> None:
        """Throw away what has arrived and was not read."""
        ...

    def close(self) -> None:
        """Give the port back; harmless when already closed or gone."""
        ...


class Port(Protocol):
    """A place where a wire can be opened, again and again."""

    @property
    def name(self) -> str:
        """Name of the port, as a person types it."""
        ...

    def is_present(self) -> bool:
        """Answer whether the port is there now."""
        ...

    def open(self, line: LineSettings) -> Wire:
        """Open the port.

        Raises:
            LinkError: the port is not there, is held by another program, or may not be opened by this user.
        """
        ...
