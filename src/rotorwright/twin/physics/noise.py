"""Noise that belongs to the moment, not to the question: sample k of a stream is the same however it is asked for."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from rotorwright.twin.physics.arithmetic import FloatArray

_BLOCK = 1024  # samples that are made together
_BLOCKS_KEPT = 64


@lru_cache(maxsize=_BLOCKS_KEPT)
def _block(seed: int, number: int, columns: int) -> FloatArray:
    made = np.random.Generator(np.random.Philox(key=[seed, number]))
    values: FloatArray = made.standard_normal((_BLOCK, columns))
    return values


class SampleNoise:
    """Normal noise of unit spread, one row for each sample of a device.

    Args:
        seed: another seed is another device.
        columns: numbers that each sample needs.
        rate_hz: samples per second of the device; a sample is in force until the next.
    """

    def __init__(self, seed: int, columns: int, *, rate_hz: float) -> None:
        self._seed = seed & 0xFFFF_FFFF_FFFF_FFFF
        self._columns = columns
        self._rate_hz = rate_hz

    def at(self, at_s: float) -> list[float]:
        """Return the row of the sample in force at `at_s`."""
        return self.sample(max(0, int(at_s * self._rate_hz + 1e-6)))

    def sample(self, number: int) -> list[float]:
        """Return the row of sample `number`."""
        row: list[float] = self._rows(number // _BLOCK)[number % _BLOCK].tolist()
        return row

    def many(self, at_s: FloatArray) -> FloatArray:
        """Return (n, columns) rows for (n,) times."""
        numbers = np.maximum(np.floor(at_s * self._rate_hz + 1e-6), 0.0).astype(np.int64)
        return self.samples(numbers)

    def samples(self, numbers: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> FloatArray:
        """Return (n, columns) rows of these samples."""
        blocks, offsets = np.divmod(numbers, _BLOCK)
        found = np.empty((len(numbers), self._columns))
        for block in np.unique(blocks):
            here = blocks == block
            found[here] = self._rows(int(block))[offsets[here]]
        return found

    def _rows(self, block: int) -> FloatArray:
        return _block(self._seed, block, self._columns)
