"""The six-axis motion sensor, and the aircraft's software that turns its numbers into body axes.

True motion goes into sensor axes (true mounting; a faulty part may have an axis mirrored), gets scale, bias, noise,
range and steps, and comes out in body axes as the settings say: the set offsets off, then the chip's turn, the board's
turn and the level trim. Where settings and true mounting agree, that is the truth plus the sensor's faults.

The low-pass of the sensor is a first-order lag: slow motion comes late by 1 / (2 pi cutoff), the ripple of rotors comes
smaller. Noise is told as it is behind the low-pass, and is white from sample to sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import (
    FloatArray,
    Maths,
    Number,
    Rows,
    Triple,
    maths_of,
    rows_of,
    times,
    to_body,
    to_ground,
)
from rotorwright.twin.physics.noise import SampleNoise

if TYPE_CHECKING:
    from rotorwright.twin.physics.body import Body, BodyMoment

_NOISE_COLUMNS = 9  # force, rates, attitude
_ROUGH_TURN_RAD_S = 0.005  # of rate for each m/s2 of a rough bearing, which shakes at hundreds of hertz; made up


@dataclass(frozen=True, slots=True)
class SensorSpec:
    """The true sensor and its true mounting. Triples are per axis of the sensor.

    Args:
        mounting: rotation from sensor to body axes.
        force_sign, rate_sign: -1 where a faulty part has the axis mirrored.
        force_bias_m_s2, rate_bias_rad_s: at rest.
        force_scale, rate_scale: 1 for a true scale.
        force_noise_m_s2, rate_noise_rad_s: spread of each sample.
        cutoff_hz: of the low-pass.
        seed: of the noise.
    """

    mounting: Rows
    force_sign: tuple[float, float, float] = (1.0, 1.0, 1.0)
    rate_sign: tuple[float, float, float] = (1.0, 1.0, 1.0)
    force_bias_m_s2: tuple[float, float, float] = (0.0, 0.0, 0.0)
    rate_bias_rad_s: tuple[float, float, float] = (0.0, 0.0, 0.0)
    force_scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    rate_scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    force_noise_m_s2: float = 0.0
    rate_noise_rad_s: float = 0.0
    cutoff_hz: float = 220.0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Reported:
    """What the aircraft reports at one moment, or at (n,) moments, in what it takes for body axes."""

    force_m_s2: Triple
    rate_rad_s: Triple
    angles_rad: Triple


class MotionSensor:
    """Sensor and software of one aircraft.

    Args:
        spec: the truth.
        configured: rotation from sensor to body axes that the settings make, level trim included.
        force_offset_m_s2: taken off in sensor axes, as the settings say.
        attitude_noise_rad: spread of the angles told.
    """

    def __init__(
        self,
        spec: SensorSpec,
        configured: FloatArray,
        *,
        force_offset_m_s2: tuple[float, float, float] = (0.0, 0.0, 0.0),
        attitude_noise_rad: float = constants.ATTITUDE_NOISE_RAD,
    ) -> None:
        self.spec = spec
        self.delay_s = 1.0 / (2.0 * math.pi * spec.cutoff_hz)
        self._configured = rows_of(configured)
        self._offset = force_offset_m_s2
        self._attitude_noise = attitude_noise_rad
        self._noise = SampleNoise(spec.seed, _NOISE_COLUMNS, rate_hz=constants.SENSOR_RATE_HZ)
        to_sensor = np.array(spec.mounting).T
        forces = np.array(spec.force_sign)[:, None] * to_sensor
        rates = np.array(spec.rate_sign)[:, None] * to_sensor
        self._force_of = rows_of(np.array(spec.force_scale)[:, None] * forces)
        self._rate_of = rows_of(np.array(spec.rate_scale)[:, None] * rates)
        # What the software's estimate of attitude follows: gravity as the accelerometer shows it, yaw as the gyro does.
        self._seen_gravity = rows_of(configured @ forces)
        self._nose = tuple(float(each) for each in (configured @ to_sensor)[0])
        self._yaw_way = math.copysign(1.0, float((configured @ rates @ (configured @ to_sensor).T)[2, 2]))
        self._yaw_drift = float((configured @ np.array(spec.rate_bias_rad_s))[2])

    def report(self, at_s: Number, body: Body) -> Reported:
        """Return what the aircraft says at `at_s`, a float or an (n,) array."""
        maths = maths_of(at_s)
        true = body.moment(at_s - self.delay_s, cutoff_hz=self.spec.cutoff_hz)
        noise = self._noise.many(at_s).T if isinstance(at_s, np.ndarray) else self._noise.at(at_s)
        x, y, z, p, q, r, roll, pitch, yaw = noise
        force = self._reading(
            times(self._force_of, true.force_m_s2),
            self.spec.force_bias_m_s2,
            (_spread(self.spec.force_noise_m_s2, true.roughness_m_s2, maths), (x, y, z)),
            constants.FORCE_LIMIT_M_S2,
            maths,
        )
        rate = self._reading(
            times(self._rate_of, true.rate_rad_s),
            self.spec.rate_bias_rad_s,
            (_spread(self.spec.rate_noise_rad_s, _ROUGH_TURN_RAD_S * true.roughness_m_s2, maths), (p, q, r)),
            constants.GYRO_LIMIT_RAD_S,
            maths,
        )
        a, b, c = self._offset
        return Reported(
            times(self._configured, (force[0] - a, force[1] - b, force[2] - c)),
            times(self._configured, rate),
            self._angles(at_s, true, (roll, pitch, yaw), maths),
        )

    @staticmethod
    def _reading(
        true: Triple,
        bias: tuple[float, float, float],
        noise: tuple[Number, Triple],
        limit: float,
        maths: Maths,
    ) -> Triple:
        """Return the sensor's numbers: biased, noisy, within its range, in whole steps."""
        step = limit / constants.SENSOR_STEPS
        spread, draws = noise
        read = [
            maths.whole(maths.within(part + off + spread * draw, -limit, limit - step) / step) * step
            for part, off, draw in zip(true, bias, draws, strict=True)
        ]
        return read[0], read[1], read[2]

    def _angles(self, at_s: Number, true: BodyMoment, noise: Triple, maths: Maths) -> Triple:
        """Return roll, pitch, yaw as the software estimates them: gravity from the accelerometer, yaw from the gyro."""
        up = to_body(true.turned, (0.0, 0.0, -1.0))
        x, y, z = times(self._seen_gravity, up)
        level = maths.sqrt(y * y + z * z)
        north, east, _ = to_ground(true.turned, (self._nose[0], self._nose[1], self._nose[2]))
        yaw = self._yaw_way * maths.atan2(east, north) + self._yaw_drift * at_s
        size = self._attitude_noise
        return (
            maths.atan2(-y, -z) + size * noise[0],
            maths.atan2(x, level) + size * noise[1],
            maths.atan2(maths.sin(yaw), maths.cos(yaw)) + size * noise[2],
        )


def _spread(own: float, shaking: Number, maths: Maths) -> Number:
    return maths.sqrt(own * own + shaking * shaking)
