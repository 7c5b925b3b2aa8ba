"""Where the current of an aircraft on the bench comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Power:
    """Where the current comes from.

    The cable feeds the board. The main battery feeds the board too, and alone feeds the display chip. `supply` is the
    way from both to the board: a power cut breaks it, and hands close it again.

    Args:
        cable: the cable is plugged in.
        battery: the main battery is plugged in.
        supply: nothing is broken between them and the board.
        battery_flat: a plugged battery gives nothing.
    """

    cable: bool = True
    battery: bool = False
    supply: bool = True
    battery_flat: bool = False

    @property
    def battery_live(self) -> bool:
        """Whether the main battery feeds what hangs on it."""
        return self.supply and self.battery and not self.battery_flat

    @property
    def board_live(self) -> bool:
        """Whether the microcontroller has power."""
        return self.supply and (self.cable or self.battery_live)
