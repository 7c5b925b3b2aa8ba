"""How serial receiver links print a channel: a small whole number, the tick, that stands for a pulse width.

The pulse width is the unit in which the trade speaks of channels, since a servo was once steered by one. Serial links
send ticks of eleven bits instead. Everything here is arithmetic on one table, whose values are in use by the common
11-bit serial receiver links (from memory; the arithmetic is checked in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from rotorwright.bench.records import FloatArray

TickArray: TypeAlias = "NDArray[np.int64]"


@dataclass(frozen=True, slots=True)
class SerialScaling:
    """One way of printing a pulse width as a tick.

    Args:
        bits: bits of a tick on the wire.
        middle_tick: the tick of a centred stick.
        middle_us: its pulse width in microseconds.
        us_per_tick: microseconds of one tick.
        lowest_tick: the tick of a stick at its low end with the usual travel.
        highest_tick: the tick at its high end.
        source: where these values come from.
    """

    bits: int
    middle_tick: int
    middle_us: float
    us_per_tick: float
    lowest_tick: int
    highest_tick: int
    source: str

    @property
    def ticks(self) -> int:
        """How many different ticks there are."""
        return 1 << self.bits

    def pulse_us(self, ticks: ArrayLike) -> FloatArray:
        """Return the pulse widths in microseconds of ticks, of any shape; NaN stays NaN."""
        values = np.asarray(ticks, dtype=np.float64)
        return np.asarray(self.middle_us + (values - self.middle_tick) * self.us_per_tick, dtype=np.float64)

    def tick_of(self, pulses_us: ArrayLike) -> TickArray:
        """Return the nearest ticks of pulse widths in microseconds, of any shape.

        Raises:
            ValueError: a pulse is not a number, or has no tick: nothing is cut off in silence.
        """
        values = np.asarray(pulses_us, dtype=np.float64)
        exact = self.middle_tick + (values - self.middle_us) / self.us_per_tick
        nearest = np.floor(exact + 0.5)
        if not np.all((nearest >= 0) & (nearest < self.ticks)):
            raise ValueError(f"only pulses of {self.pulse_us(0):g} to {self.pulse_us(self.ticks - 1):g} us have a tick")
        return np.asarray(nearest, dtype=np.int64)


ELEVEN_BITS = SerialScaling(
    bits=11,
    middle_tick=992,
    middle_us=1500.0,
    us_per_tick=5 / 8,
    lowest_tick=172,
    highest_tick=1811,
    source="in use by the common 11-bit serial receiver links, from memory: 172, 992, 1811 are 988, 1500, 2012 us",
)
