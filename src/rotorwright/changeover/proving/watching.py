"""Watching an aircraft until what is waited for is seen, or until nobody does anything any more."""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rotorwright.changeover.proving.recorder import Recorder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from rotorwright.links.application import ApplicationLink
    from rotorwright.links.readings import Reading, Stream
    from rotorwright.links.wire import Clock

LOOK_EVERY_S = 0.3
"""How often what came so far is looked at, by the clock of the aircraft."""

PATIENCE_S = 30.0
"""How long a person may take for one thing before it is not waited for any more. Common practice, no source."""


@dataclass(slots=True)
class Watch:
    """One stretch of watching: the streams run on while one thing after another is waited for.

    Args:
        readings: what the link gives.
        clock: the time that patience is measured in.
        recorder: where everything is kept.
    """

    readings: Iterator[Reading]
    clock: Clock
    recorder: Recorder = field(default_factory=Recorder)

    def until(self, is_seen: Callable[[Recorder], bool], *, patience_s: float = PATIENCE_S) -> bool:
        """Watch until `is_seen` holds of what was recorded; answer False when patience ran out before.

        Raises:
            ProtocolError: the aircraft does not tell what is watched.
            LinkError: it fell silent.
        """
        deadline, looked_s = self.clock.now_s() + patience_s, -math.inf
        for reading in self.readings:
            self.recorder.take(reading)
            if reading.at_s - looked_s >= LOOK_EVERY_S:
                looked_s = reading.at_s
                if is_seen(self.recorder):
                    return True
            if self.clock.now_s() > deadline:
                break
        return is_seen(self.recorder)

    def for_s(self, seconds: float, meanwhile: Callable[[], None] | None = None) -> None:
        """Watch for a while by the clock of the aircraft; `meanwhile` is called with each reading.

        Raises:
            ProtocolError: the aircraft does not tell what is watched.
            LinkError: it fell silent.
        """
        start_s: float | None = None
        for reading in self.readings:
            self.recorder.take(reading)
            start_s = reading.at_s if start_s is None else start_s
            if meanwhile is not None:
                meanwhile()
            if reading.at_s - start_s >= seconds:
                return


@contextmanager
def watching(link: ApplicationLink, clock: Clock, rates_hz: Mapping[Stream, float]) -> Iterator[Watch]:
    """Watch `link` for as long as the block runs; then the aircraft sends as before."""
    readings = link.watch(rates_hz)
    try:
        yield Watch(readings, clock)
    finally:
        readings.close()
