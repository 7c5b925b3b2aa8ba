"""What a bench craft's settings say, in plain values: what a check is told, true or not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.twin.physics.arithmetic import FLOATS, FloatArray, Rows, from_angles, matrix_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.twin.physics.receiver import StickName
    from rotorwright.twin.physics.rotors import RotorPlace


@dataclass(frozen=True, slots=True)
class SwitchRange:
    """One function on a switch: on from the lowest to the highest pulse of its channel."""

    function: str
    channel: int
    lowest_us: float
    highest_us: float

    def is_on(self, pulses_us: FloatArray) -> FloatArray:
        """Return (n,) truth for (n, channels) pulses; never on for a channel that is not there."""
        if not 1 <= self.channel <= pulses_us.shape[1]:
            return np.zeros(len(pulses_us), dtype=float)
        pulse = pulses_us[:, self.channel - 1]
        on: FloatArray = ((pulse >= self.lowest_us) & (pulse <= self.highest_us)).astype(float)
        return on


@dataclass(frozen=True, slots=True)
class HeldSettings:
    """The settings by what they are for. Angles in degrees, pulses in microseconds.

    Args:
        chip: rotation from sensor to board axes, as the board's maker says.
        board_deg: roll, pitch, yaw of the board in the aircraft.
        level_trim_deg: roll and pitch of the last small turn, which makes the level aircraft read level.
        channel_of, is_reversed: of each stick.
        low_us, middle_us, high_us, dead_us: travel and dead zone of the sticks.
        failsafe_wait_s: time without a signal before the failsafe acts.
        failsafe_action: what it does then, in words.
        failsafe_stops_motors: whether that stops them.
        channels: how many channels the receiver has.
        rest_us: pulse of each channel at power-up.
        arming: the arming switch.
        functions: the other functions on switches.
        mode_bit_of: bit by which the aircraft tells each function.
        exclusive: pairs of functions that cannot both be meant.
        thrust_low_us: pulse up to which thrust counts as low.
        start_output_percent: motor output at the lowest thrust while armed.
        output_of, direction_of: output and direction (+1 clockwise seen from above) of each place.
        magnets: of each rotor.
        arm_m: where each motor is, forward and right of the centre of mass.
        mass_kg: of the craft.
        cells: in series; 0 lets the aircraft count.
        cell_full_v, cell_warn_v, cell_land_v: thresholds for each cell.
        voltage_scale: proportional to the voltage that the aircraft shows.
    """

    chip: Rows
    board_deg: tuple[float, float, float]
    level_trim_deg: tuple[float, float]
    channel_of: Mapping[StickName, int]
    is_reversed: Mapping[StickName, bool]
    low_us: float
    middle_us: float
    high_us: float
    dead_us: float
    failsafe_wait_s: float
    failsafe_action: str
    failsafe_stops_motors: bool
    channels: int
    rest_us: Mapping[int, float]
    arming: SwitchRange
    functions: tuple[SwitchRange, ...]
    mode_bit_of: Mapping[str, int]
    exclusive: tuple[tuple[str, str], ...]
    thrust_low_us: float
    start_output_percent: float
    output_of: Mapping[RotorPlace, int]
    direction_of: Mapping[RotorPlace, int]
    magnets: int
    arm_m: Mapping[RotorPlace, tuple[float, float]]
    mass_kg: float
    cells: int
    cell_full_v: float
    cell_warn_v: float
    cell_land_v: float
    voltage_scale: float

    @property
    def sensor_to_body(self) -> FloatArray:
        """The (3, 3) rotation that the settings make: level trim, board, chip."""
        trim = rotation_of_degrees(*self.level_trim_deg, 0.0)
        whole: FloatArray = trim @ rotation_of_degrees(*self.board_deg) @ np.array(self.chip)
        return whole


def rotation_of_degrees(roll: float, pitch: float, yaw: float) -> FloatArray:
    """Return Rz(yaw) Ry(pitch) Rx(roll), angles in degrees."""
    return matrix_of(from_angles(math.radians(roll), math.radians(pitch), math.radians(yaw), FLOATS))


@lru_cache(maxsize=1)
def right_angles() -> tuple[FloatArray, ...]:
    """Return the 24 rotations of a cube, made from quarter turns."""
    found: dict[tuple[int, ...], FloatArray] = {}
    for roll in range(4):
        for pitch in range(4):
            for yaw in range(4):
                turned = np.rint(rotation_of_degrees(90.0 * roll, 90.0 * pitch, 90.0 * yaw))
                found.setdefault(tuple(turned.astype(int).ravel().tolist()), turned + 0.0)
    return tuple(found.values())
