"""A wire in memory with a device at its far end and time that only waiting moves."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable
from typing import Protocol, TypeAlias

from rotorwright.links.errors import PortVanishedError
from rotorwright.twin.clock import VirtualClock

Bytes: TypeAlias = bytes | Callable[[], bytes]
"""Bytes, or a function that makes them at the moment when they arrive."""

Reply: TypeAlias = Callable[[float, Bytes], None]
"""Takes after how many seconds which bytes come back."""


class Device(Protocol):
    """Something at the far end of the wire."""

    def take(self, data: bytes, reply: Reply) -> None:
        """Take what the host sent, and reply by and by."""
        ...


class SimulatedWire:
    """Bytes to the device at once, bytes from it when they are due."""

    def __init__(self, device: Device, clock: VirtualClock) -> None:
        self.device = device
        self.clock = clock
        self.sent: list[bytes] = []
        self.vanishes_after_sends: int | None = None
        self.vanishes_at_s: float | None = None
        self._coming: list[tuple[float, int, Bytes]] = []
        self._order = itertools.count()
        self._arrived = bytearray()

    @property
    def name(self) -> str:
        return "simulated"

    def send(self, data: bytes) -> None:
        self._vanish_if_due()
        self.sent.append(data)
        self.device.take(data, self.reply)

    def reply(self, after_s: float, data: Bytes) -> None:
        heapq.heappush(self._coming, (self.clock.now_s() + after_s, next(self._order), data))

    def receive(self, limit: int, timeout_s: float) -> bytes:
        self._vanish_if_due()
        deadline = self.clock.now_s() + max(0.0, timeout_s)
        self._collect()
        if not self._arrived:
            self.clock.sleep_until_s(min(deadline, self._coming[0][0]) if self._coming else deadline)
            self._collect()
        taken = bytes(self._arrived[:limit])
        del self._arrived[:limit]
        return taken

    def discard_input(self) -> None:
        self._vanish_if_due()
        self._collect()
        self._arrived.clear()

    def close(self) -> None:
        pass

    def _collect(self) -> None:
        while self._coming and self._coming[0][0] <= self.clock.now_s():
            data = heapq.heappop(self._coming)[2]
            self._arrived += data if isinstance(data, bytes) else data()

    def _vanish_if_due(self) -> None:
        is_sent = self.vanishes_after_sends is not None and len(self.sent) >= self.vanishes_after_sends
        if is_sent or (self.vanishes_at_s is not None and self.clock.now_s() >= self.vanishes_at_s):
            raise PortVanishedError.named(self.name)
