"""What the aircraft tells by itself: heartbeat and measured values, each at its own interval.

Source: message definitions common.xml; "unknown" is said in the way that each field's definition names.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from pymavlink.dialects.v20 import common

from rotorwright.twin.mavlink_codec import packet

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.twin.flight_software import FlightSoftware
    from rotorwright.twin.mavlink_codec import Packet
    from rotorwright.twin.physical_world import Told
    from rotorwright.twin.world import World

HEARTBEAT_INTERVAL_S = 1.0  # MAVLink guide, page "heartbeat protocol": generally 1 Hz
SHORTEST_INTERVAL_S = 0.002
_DEFAULT_INTERVALS_S = {common.MAVLINK_MSG_ID_HEARTBEAT: HEARTBEAT_INTERVAL_S, common.MAVLINK_MSG_ID_SYS_STATUS: 1.0}

# Spread of the noise of the sensors, one standard deviation; made up, of the size that small sensors have.
ANGLE_NOISE_RAD = 0.0005
_RATE_NOISE_RAD_S = 0.002
_FORCE_NOISE_M_S2 = 0.02
BATTERY_NOISE_V = 0.005
_FULL_CELL_V = 4.2  # common practice, no source
_EMPTY_CELL_V = 3.3
_CELL_FIELDS = 10
_CHANNEL_FIELDS = 18
ROTORS = 4
_UNKNOWN_U16 = 0xFFFF
_UNKNOWN_U8 = 0xFF
_SENSORS = (
    common.MAV_SYS_STATUS_SENSOR_3D_GYRO
    | common.MAV_SYS_STATUS_SENSOR_3D_ACCEL
    | common.MAV_SYS_STATUS_SENSOR_RC_RECEIVER
    | common.MAV_SYS_STATUS_SENSOR_BATTERY
)
_GYRO_AND_ACCELEROMETER = 0x3F  # HIGHRES_IMU_UPDATED_XACC to _ZGYRO


class Telemetry:
    """Makes the messages and knows when each is due.

    Args:
        world: what is measured.
        seed: of the sensors' noise.
        software: what the firmware makes of its sensors; without it the world is told as it is, with some noise.
    """

    def __init__(self, world: World, *, seed: int, software: FlightSoftware | None = None) -> None:
        self._world = world
        self._software = software
        self._rotor = 0
        self._started_s = 0.0
        self._noise = random.Random(seed)
        self._makers: dict[int, Callable[[float], Packet]] = {
            common.MAVLINK_MSG_ID_HEARTBEAT: self._heartbeat,
            common.MAVLINK_MSG_ID_SYS_STATUS: self._sys_status,
            common.MAVLINK_MSG_ID_ATTITUDE: self._attitude,
            common.MAVLINK_MSG_ID_RC_CHANNELS: self._rc_channels,
            common.MAVLINK_MSG_ID_BATTERY_STATUS: self._battery_status,
            common.MAVLINK_MSG_ID_HIGHRES_IMU: self._highres_imu,
            common.MAVLINK_MSG_ID_RAW_RPM: self._raw_rpm,
        }
        self._intervals_s = dict(_DEFAULT_INTERVALS_S)
        self._due_s: dict[int, float] = {}

    def start(self, now_s: float) -> None:
        """Count time from `now_s`, and send what is sent unasked from then on."""
        self._started_s = now_s
        self._due_s = dict.fromkeys(self._intervals_s, now_s)

    def time_boot_ms(self, now_s: float) -> int:
        """Return milliseconds since the start, as 32 bits."""
        return int((now_s - self._started_s) * 1000) & 0xFFFF_FFFF

    def knows(self, message_id: int) -> bool:
        """Answer whether this message can be sent at intervals."""
        return message_id in self._makers

    def message(self, message_id: int, now_s: float) -> Packet | None:
        """Return the message as of `now_s`, or nothing if it is none of these."""
        make = self._makers.get(message_id)
        return make(now_s) if make else None

    def interval_s(self, message_id: int) -> float | None:
        """Return the interval of a message, or nothing if it is not sent."""
        return self._intervals_s.get(message_id)

    def set_interval(self, message_id: int, interval_s: float | None, now_s: float) -> None:
        """Send a known message every `interval_s` from now on; not at all with None."""
        self._intervals_s.pop(message_id, None)
        self._due_s.pop(message_id, None)
        if interval_s is not None:
            self._intervals_s[message_id] = interval_s
            self._due_s[message_id] = now_s

    def set_default_interval(self, message_id: int, now_s: float) -> None:
        """Send a known message as often as after a start, which may be not at all."""
        self.set_interval(message_id, _DEFAULT_INTERVALS_S.get(message_id), now_s)

    @property
    def next_event_s(self) -> float | None:
        """When the next message is due."""
        return min(self._due_s.values(), default=None)

    def due(self, now_s: float) -> list[Packet]:
        """Return the messages that are due, each once however late it is: values of the past are of no use."""
        if self._software is not None:
            self._software.step(now_s)
        found = [number for number, due_s in self._due_s.items() if due_s <= now_s]
        for number in found:
            late = (now_s - self._due_s[number]) // self._intervals_s[number]
            self._due_s[number] += (late + 1) * self._intervals_s[number]
        return [self._makers[number](now_s) for number in found]

    def _noisy(self, value: float, spread: float) -> float:
        return self._noise.gauss(value, spread)

    def _heartbeat(self, now_s: float) -> Packet:
        is_armed = self._software is not None and self._software.is_armed
        mode = common.MAV_MODE_FLAG_MANUAL_INPUT_ENABLED | (common.MAV_MODE_FLAG_SAFETY_ARMED if is_armed else 0)
        return packet(
            common.MAVLink_heartbeat_message(
                type=common.MAV_TYPE_QUADROTOR,
                autopilot=common.MAV_AUTOPILOT_GENERIC,
                base_mode=mode,
                custom_mode=self._software.mode_bits(now_s) if self._software is not None else 0,
                system_status=common.MAV_STATE_ACTIVE if is_armed else common.MAV_STATE_STANDBY,
                mavlink_version=3,
            )
        )

    def _attitude(self, now_s: float) -> Packet:
        told = self._told(now_s)
        if told is not None:
            return packet(common.MAVLink_attitude_message(self.time_boot_ms(now_s), *told.angles_rad, *told.rate_rad_s))
        motion = self._world.motion(now_s)
        angles = [self._noisy(each, ANGLE_NOISE_RAD) for each in (motion.roll_rad, motion.pitch_rad, motion.yaw_rad)]
        return packet(common.MAVLink_attitude_message(self.time_boot_ms(now_s), *angles, *self._gyro(now_s)))

    def _gyro(self, now_s: float) -> list[float]:
        motion = self._world.motion(now_s)
        rates = (motion.roll_rate_rad_s, motion.pitch_rate_rad_s, motion.yaw_rate_rad_s)
        return [self._noisy(each, _RATE_NOISE_RAD_S) for each in rates]

    def _told(self, now_s: float) -> Told | None:
        return None if self._software is None else self._software.motion(now_s)

    def _highres_imu(self, now_s: float) -> Packet:
        told = self._told(now_s)
        true = self._world.motion(now_s).specific_force_m_s2 if told is None else ()
        force = [self._noisy(each, _FORCE_NOISE_M_S2) for each in true] if told is None else told.force_m_s2
        return packet(
            common.MAVLink_highres_imu_message(
                int((now_s - self._started_s) * 1e6),
                *force,
                *(self._gyro(now_s) if told is None else told.rate_rad_s),
                *(0.0, 0.0, 0.0),  # no magnetometer
                abs_pressure=0.0,
                diff_pressure=0.0,
                pressure_alt=0.0,
                temperature=0.0,
                fields_updated=_GYRO_AND_ACCELEROMETER,
            )
        )

    def _raw_rpm(self, now_s: float) -> Packet:
        """Return the speed of one rotor, of each in turn; a controller that tells nothing is told as standing still."""
        output = self._rotor % ROTORS + 1
        self._rotor += 1
        told = None if self._software is None else self._software.told_rpm(output, now_s)
        return packet(common.MAVLink_raw_rpm_message(index=output - 1, frequency=told or 0.0))

    def _heard_channels(self, now_s: float) -> Packet | None:
        """Return what the receiver of a world with bodies hears; no channel counts while there is no signal."""
        physics = None if self._software is None else self._software.physics
        if physics is None:
            return None
        pulses, has_signal = physics.channels(now_s)
        raw = [round(pulses[number]) if number in pulses else _UNKNOWN_U16 for number in range(1, _CHANNEL_FIELDS + 1)]
        count = len(physics.truth.radio.channels) if has_signal else 0
        return packet(common.MAVLink_rc_channels_message(self.time_boot_ms(now_s), count, *raw, rssi=_UNKNOWN_U8))

    def _rc_channels(self, now_s: float) -> Packet:
        heard = self._heard_channels(now_s)
        if heard is not None:
            return heard
        channels = self._world.channels_us
        unused = [_UNKNOWN_U16] * (_CHANNEL_FIELDS - len(channels))
        return packet(
            common.MAVLink_rc_channels_message(
                self.time_boot_ms(now_s), len(channels), *channels, *unused, rssi=_UNKNOWN_U8
            )
        )

    def _supply(self, now_s: float) -> tuple[float, int]:
        """Return volts with the noise of the divider, and whole centiamperes."""
        volts, amperes = self._world.supply(now_s)
        return max(0.0, self._noisy(volts, BATTERY_NOISE_V)), round(100 * amperes)

    def _remaining_percent(self, volts: float) -> int:
        if not self._world.battery_plugged:
            return 0
        part = (volts / self._world.cells - _EMPTY_CELL_V) / (_FULL_CELL_V - _EMPTY_CELL_V)
        return round(100 * min(1.0, max(0.0, part)))

    def _sys_status(self, now_s: float) -> Packet:
        volts, current_ca = self._supply(now_s)
        return packet(
            common.MAVLink_sys_status_message(
                onboard_control_sensors_present=_SENSORS,
                onboard_control_sensors_enabled=_SENSORS,
                onboard_control_sensors_health=_SENSORS,
                load=230,
                voltage_battery=round(volts * 1000),
                current_battery=current_ca,
                battery_remaining=self._remaining_percent(volts),
                drop_rate_comm=0,
                errors_comm=0,
                errors_count1=0,
                errors_count2=0,
                errors_count3=0,
                errors_count4=0,
            )
        )

    def _battery_status(self, now_s: float) -> Packet:
        volts, current_ca = self._supply(now_s)
        cells = self._world.cells if self._world.battery_plugged else 1  # with no battery, the connector alone
        millivolts = [round(volts * 1000 / cells)] * cells + [_UNKNOWN_U16] * (_CELL_FIELDS - cells)
        return packet(
            common.MAVLink_battery_status_message(
                id=0,
                battery_function=common.MAV_BATTERY_FUNCTION_ALL,
                type=common.MAV_BATTERY_TYPE_LIPO,
                temperature=0x7FFF,  # unknown
                voltages=millivolts,
                current_battery=current_ca,
                current_consumed=-1,
                energy_consumed=-1,
                battery_remaining=self._remaining_percent(volts),
            )
        )
