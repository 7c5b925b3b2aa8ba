"""The flight battery, and what the aircraft measures of it: the voltage sags with the current."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.noise import SampleNoise

if TYPE_CHECKING:
    from rotorwright.twin.physics.arithmetic import Number

_LEAK_V = 0.02  # what a divider shows with no battery in; made up
_NOISE_HZ = 100.0


@dataclass(frozen=True, slots=True)
class BatterySpec:
    """The pack and the aircraft's divider.

    Args:
        cells: in series.
        cell_v: voltage of each cell with no current.
        resistance_ohm: of each cell.
        rest_a: current of the electronics.
        divider_scale: what the aircraft shows over what is there, with the scale that its settings hold.
        seed: of the noise.
    """

    cells: int
    cell_v: float
    resistance_ohm: float
    rest_a: float
    divider_scale: float = 1.0
    seed: int = 0


class Battery:
    """A battery that is plugged in."""

    def __init__(self, spec: BatterySpec) -> None:
        self.spec = spec
        self._noise = SampleNoise(spec.seed, 2, rate_hz=_NOISE_HZ)

    def volts(self, amperes: Number) -> Number:
        """Return the true voltage at the connector under a load."""
        return self.spec.cells * (self.spec.cell_v - self.spec.resistance_ohm * amperes)

    def amperes(self, turning: Number) -> Number:
        """Return the current with so many rotors turning at the bench's low command."""
        return self.spec.rest_a + constants.AMPERES_PER_ROTOR * turning

    def measured(self, at_s: Number, *, turning: Number = 0.0) -> tuple[Number, Number]:
        """Return volts and amperes as the aircraft shows them, for a float or (n,) times."""
        amperes = self.amperes(turning)
        noise = self._noise.many(at_s).T if isinstance(at_s, np.ndarray) else self._noise.at(at_s)
        volts = self.volts(amperes) * self.spec.divider_scale + constants.VOLTS_NOISE_V * noise[0]
        return volts, amperes + constants.AMPERES_NOISE_A * noise[1]


def unplugged_volts() -> float:
    """Return what the divider shows with no battery in."""
    return _LEAK_V
