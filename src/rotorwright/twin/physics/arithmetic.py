"""Arithmetic that serves one moment and many alike: a number is a plain float or an (n,) array.

The live twin asks for one moment and wants it in some microseconds; the fault matrix asks for thousands at once. Both
go through the same formulas, with the functions of `math` or those of numpy, so an answer cannot depend on how it was
asked for.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

FloatArray: TypeAlias = NDArray[np.float64]
Number: TypeAlias = Any  # a float, or an array of (n,) floats
Triple: TypeAlias = tuple[Number, Number, Number]
Quaternion: TypeAlias = tuple[Number, Number, Number, Number]  # scalar part first; turns body axes into ground axes
Rows: TypeAlias = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Maths:
    """The functions for one kind of number."""

    sin: Callable[[Number], Number]
    cos: Callable[[Number], Number]
    exp: Callable[[Number], Number]
    sqrt: Callable[[Number], Number]
    asin: Callable[[Number], Number]
    atan2: Callable[[Number, Number], Number]
    whole: Callable[[Number], Number]
    within: Callable[[Number, float, float], Number]


FLOATS = Maths(
    math.sin,
    math.cos,
    math.exp,
    math.sqrt,
    math.asin,
    math.atan2,
    round,
    lambda value, lowest, highest: min(max(value, lowest), highest),
)
ARRAYS = Maths(np.sin, np.cos, np.exp, np.sqrt, np.arcsin, np.arctan2, np.rint, np.clip)


def maths_of(number: Number) -> Maths:
    """Return the functions that fit `number`."""
    return ARRAYS if isinstance(number, np.ndarray) else FLOATS


class Timeline:
    """Rows of plain numbers, each in force from its first number (a time, rising) until the next row's."""

    def __init__(self, first: Sequence[float]) -> None:
        self._rows = [tuple(float(each) for each in first)]
        self._starts = [self._rows[0][0]]
        self._table: FloatArray | None = None

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def last(self) -> tuple[float, ...]:
        """The row that is in force in the end."""
        return self._rows[-1]

    def put(self, row: Sequence[float]) -> None:
        """Let `row` be in force from its time on; what was planned for later is forgotten."""
        self.cut(row[0])
        self._rows.append(tuple(float(each) for each in row))
        self._starts.append(self._rows[-1][0])

    def cut(self, at_s: float) -> None:
        """Forget what was planned for later than `at_s`."""
        keep = max(1, bisect_right(self._starts, at_s))
        del self._rows[keep:], self._starts[keep:]
        self._table = None

    def at(self, at_s: Number) -> Sequence[Number]:
        """Return the columns of the row in force: numbers for one moment, arrays for many."""
        if not isinstance(at_s, np.ndarray):
            return self._rows[max(0, bisect_right(self._starts, at_s) - 1)]
        if self._table is None:
            self._table = np.array(self._rows)
        index = np.maximum(np.searchsorted(self._table[:, 0], at_s, side="right") - 1, 0)
        columns: FloatArray = self._table[index].T
        return tuple(columns)


def product(first: Quaternion, second: Quaternion) -> Quaternion:
    """Return the turn that is `second`, told in the axes that `first` leads to."""
    a, b, c, d = first
    e, f, g, h = second
    return (
        a * e - b * f - c * g - d * h,
        a * f + b * e + c * h - d * g,
        a * g - b * h + c * e + d * f,
        a * h + b * g - c * f + d * e,
    )


def turn(axis: Triple, angle_rad: Number, maths: Maths) -> Quaternion:
    """Return the turn by `angle_rad` about a unit axis."""
    half = 0.5 * angle_rad
    size = maths.sin(half)
    return maths.cos(half), axis[0] * size, axis[1] * size, axis[2] * size


def from_angles(roll: Number, pitch: Number, yaw: Number, maths: Maths) -> Quaternion:
    """Return the turn of roll, pitch, yaw in rad: yaw first, then pitch, then roll, as in MAVLink."""
    cos_r, sin_r = maths.cos(0.5 * roll), maths.sin(0.5 * roll)
    cos_p, sin_p = maths.cos(0.5 * pitch), maths.sin(0.5 * pitch)
    cos_y, sin_y = maths.cos(0.5 * yaw), maths.sin(0.5 * yaw)
    return (
        cos_r * cos_p * cos_y + sin_r * sin_p * sin_y,
        sin_r * cos_p * cos_y - cos_r * sin_p * sin_y,
        cos_r * sin_p * cos_y + sin_r * cos_p * sin_y,
        cos_r * cos_p * sin_y - sin_r * sin_p * cos_y,
    )


def to_ground(turned: Quaternion, arrow: Triple) -> Triple:
    """Return an arrow of body axes in ground axes."""
    w, x, y, z = turned
    a, b, c = arrow
    # arrow + 2 w (v x arrow) + 2 v x (v x arrow), v the vector part
    p, q, r = y * c - z * b, z * a - x * c, x * b - y * a
    return (
        a + 2.0 * (w * p + y * r - z * q),
        b + 2.0 * (w * q + z * p - x * r),
        c + 2.0 * (w * r + x * q - y * p),
    )


def to_body(turned: Quaternion, arrow: Triple) -> Triple:
    """Return an arrow of ground axes in body axes."""
    w, x, y, z = turned
    return to_ground((w, -x, -y, -z), arrow)


def angles_of(turned: Quaternion, maths: Maths) -> Triple:
    """Return roll, pitch, yaw in rad."""
    w, x, y, z = turned
    return (
        maths.atan2(2.0 * (w * x + y * z), 1.0 - 2.0 * (x * x + y * y)),
        maths.asin(maths.within(2.0 * (w * y - z * x), -1.0, 1.0)),
        maths.atan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z)),
    )


def matrix_of(turned: Quaternion) -> FloatArray:
    """Return the rotation matrix from body to ground axes, (3, 3) for one moment, (n, 3, 3) for many."""
    columns = [to_ground(turned, arrow) for arrow in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))]
    return np.stack([np.stack(np.broadcast_arrays(*column), axis=-1) for column in columns], axis=-1)


def times(rows: Rows, arrow: Triple) -> Triple:
    """Return the matrix `rows` times the arrow."""
    a, b, c = arrow
    first, second, third = rows
    return (
        first[0] * a + first[1] * b + first[2] * c,
        second[0] * a + second[1] * b + second[2] * c,
        third[0] * a + third[1] * b + third[2] * c,
    )


def rows_of(matrix: FloatArray) -> Rows:
    """Return a (3, 3) matrix as plain numbers."""
    first, second, third = (tuple(float(each) for each in row) for row in matrix)
    return first, second, third  # type: ignore[return-value]


def stacked(arrow: Triple) -> FloatArray:
    """Return the three parts side by side, (n, 3)."""
    return np.stack(np.broadcast_arrays(*arrow), axis=-1).astype(float)
