"""The line to a virtual aircraft without a port: in memory, in virtual time, for walks over thousands of runs.

It has the shape of `rotorwright.links.wire` (which this room may not import). Waiting turns the clock to the next thing
that happens, so an erase of a second costs microseconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from rotorwright.twin.errors import TwinLineBusyError, TwinLineGoneError

if TYPE_CHECKING:
    from rotorwright.twin.aircraft import VirtualAircraft
    from rotorwright.twin.clock import VirtualClock


class LineLike(Protocol):
    """How the host sets the line: the shape of `rotorwright.links.wire.LineSettings`."""

    @property
    def baud(self) -> int:
        """Bits per second."""
        ...

    @property
    def parity(self) -> str:
        """`none` or `even`."""
        ...


class DirectPort:
    """The port of a virtual aircraft in this process: there while its cable is plugged in.

    Args:
        aircraft: what is at the other end.
        clock: the time of both ends.
        name: what messages call the port.
    """

    def __init__(self, aircraft: VirtualAircraft, clock: VirtualClock, *, name: str = "twin") -> None:
        self._aircraft = aircraft
        self._clock = clock
        self._name = name
        self._wire: DirectWire | None = None

    @property
    def name(self) -> str:
        """Name of the port."""
        return self._name

    def is_present(self) -> bool:
        """Answer whether the cable is plugged in."""
        return self._aircraft.is_connected

    def open(self, line: LineLike) -> DirectWire:
        """Open the port; what came before that is gone, as on a real one.

        Raises:
            TwinLineGoneError: the cable is not plugged in.
            TwinLineBusyError: the port is open already.
        """
        if not self.is_present():
            raise line_gone(self._name)
        if self._wire is not None and self._wire.is_open:
            raise TwinLineBusyError(
                f"The port {self._name} is open already.",
                why="A serial port serves one program at a time, and the first wire was not closed.",
                todo="Close the other wire first.",
                port=self._name,
            )
        self._aircraft.line_settings(line.baud, line.parity)
        self._aircraft.transmit(self._clock.now_s())
        self._wire = DirectWire(self._aircraft, self._clock, self._name)
        return self._wire


class DirectWire:
    """An open line to a virtual aircraft in this process. Made by `DirectPort.open`."""

    def __init__(self, aircraft: VirtualAircraft, clock: VirtualClock, name: str) -> None:
        self._aircraft = aircraft
        self._clock = clock
        self._name = name
        self._arrived = b""
        self.is_open = True

    @property
    def name(self) -> str:
        """Name of the port."""
        return self._name

    def send(self, data: bytes) -> None:
        """Send all of `data`; returns at once, as from a port with a large buffer.

        Raises:
            TwinLineGoneError: the cable was pulled, or the wire was closed.
        """
        self._check()
        self._aircraft.receive(data, self._clock.now_s())

    def receive(self, limit: int, timeout_s: float) -> bytes:
        """Return what has arrived, 1 to `limit` bytes, as soon as there is any; nothing at all after `timeout_s`.

        Raises:
            TwinLineGoneError: the cable was pulled and everything before that was returned, or the wire was closed.
        """
        if not self._arrived and not self._wait(self._clock.now_s() + timeout_s):
            return b""
        data = self._arrived
        if len(data) <= limit:
            self._arrived = b""
            return data
        self._arrived = data[limit:]
        return data[:limit]

    def discard_input(self) -> None:
        """Throw away what has arrived and was not read."""
        self._arrived = b""
        self._aircraft.transmit(self._clock.now_s())

    def close(self) -> None:
        """Give the port back."""
        self.is_open = False

    def _wait(self, deadline_s: float) -> bool:
        """Let time pass until something has arrived, and return True; False when the deadline came first."""
        aircraft, clock = self._aircraft, self._clock
        while True:
            self._check()
            now = clock.now_s()
            self._arrived = aircraft.transmit(now)
            if self._arrived:
                return True
            due = aircraft.next_event_s()
            if due is None or due > deadline_s:
                clock.sleep_until_s(deadline_s)
                return False
            clock.sleep_until_s(due)

    def _check(self) -> None:
        if not (self.is_open and self._aircraft.is_connected):
            self.is_open = False
            raise line_gone(self._name)


def line_gone(name: str) -> TwinLineGoneError:
    """Return the error that says that the line is not there."""
    return TwinLineGoneError(
        f"The port {name} is not there.",
        why="The cable of the virtual aircraft is pulled, or this wire was closed.",
        state="Not known from here: look at the aircraft itself, once it answers again.",
        todo="Plug the cable in and open the port again.",
        port=name,
    )
