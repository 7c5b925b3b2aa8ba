"""What the hands do, and what the sensors make of it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common
from tests.unit.twin_application.ground_station import Station

from rotorwright.twin.world import CELL_VOLTS, GRAVITY_M_S2, TILT_ANGLE_RAD, Tilt, World

SIGNS = {
    Tilt.LEVEL: (0, 0),
    Tilt.FORWARD: (0, -1),
    Tilt.BACK: (0, 1),
    Tilt.LEFT: (-1, 0),
    Tilt.RIGHT: (1, 0),
}


@pytest.mark.parametrize(("tilt", "signs"), SIGNS.items())
def test_a_tilt_reaches_its_angle_in_the_sense_of_the_ground_frame(tilt: Tilt, signs: tuple[int, int]) -> None:
    world = World()
    world.tilt(tilt, 1.0)
    motion = world.motion(6.0)
    assert motion.roll_rad == pytest.approx(signs[0] * TILT_ANGLE_RAD, abs=1e-6)
    assert motion.pitch_rad == pytest.approx(signs[1] * TILT_ANGLE_RAD, abs=1e-6)
    assert world.held is tilt


def test_a_turn_begins_where_the_last_one_has_come() -> None:
    world = World()
    world.tilt("forward", 0.0)
    half_way = world.motion(0.2)
    world.tilt("right", 0.2)
    assert world.motion(0.2).pitch_rad == half_way.pitch_rad
    assert world.motion(0.2).roll_rad == half_way.roll_rad


def test_an_unknown_direction_is_refused_and_changes_nothing() -> None:
    world = World()
    with pytest.raises(ValueError, match="sideways"):
        world.tilt("sideways", 0.0)
    assert world.held is Tilt.LEVEL


@given(
    tilts=st.lists(st.tuples(st.sampled_from(list(Tilt)), st.floats(0.01, 2.0)), max_size=5), later=st.floats(0.0, 3.0)
)
def test_rates_are_the_change_of_the_angles_and_the_force_is_one_gravity(
    tilts: list[tuple[Tilt, float]], later: float
) -> None:
    world = World()
    now = 0.0
    for tilt, pause in tilts:
        world.tilt(tilt, now)
        now += pause
    now += later
    step = 1e-5
    here, next_ = world.motion(now), world.motion(now + step)
    roll_speed = (next_.roll_rad - here.roll_rad) / step
    pitch_speed = (next_.pitch_rad - here.pitch_rad) / step
    # Yaw stands still: p = roll', q = pitch' cos(roll), r = -pitch' sin(roll) (kinematics of Euler angles).
    assert here.roll_rate_rad_s == pytest.approx(roll_speed, abs=1e-3)
    assert here.pitch_rate_rad_s == pytest.approx(pitch_speed * math.cos(here.roll_rad), abs=1e-3)
    assert here.yaw_rate_rad_s == pytest.approx(-pitch_speed * math.sin(here.roll_rad), abs=1e-3)
    assert math.hypot(*here.specific_force_m_s2) == pytest.approx(GRAVITY_M_S2)
    assert abs(here.roll_rad) <= TILT_ANGLE_RAD + 1e-9
    assert abs(here.pitch_rad) <= TILT_ANGLE_RAD + 1e-9


def test_attitude_and_accelerometer_tell_the_same_tilt() -> None:
    station = Station()
    station.world.tilt("forward", 0.0)
    station.now_s = 5.0
    attitude = station.requested(common.MAVLINK_MSG_ID_ATTITUDE)
    imu = station.requested(common.MAVLINK_MSG_ID_HIGHRES_IMU)
    assert attitude.pitch == pytest.approx(-TILT_ANGLE_RAD, abs=0.01)
    assert math.atan2(imu.xacc, -imu.zacc) == pytest.approx(attitude.pitch, abs=0.02)
    assert imu.zacc < 0
    assert attitude.time_boot_ms == 5000


def test_sensors_are_noisy_and_the_same_run_has_the_same_noise() -> None:
    def readings() -> list[float]:
        station = Station()
        return [station.requested(common.MAVLINK_MSG_ID_ATTITUDE).roll for _ in range(20)]

    assert readings() == readings()
    assert len(set(readings())) > 10
    assert max(map(abs, readings())) < 0.005


def test_a_plugged_battery_is_measured_cell_by_cell() -> None:
    station = Station(battery=True)
    battery = station.requested(common.MAVLINK_MSG_ID_BATTERY_STATUS)
    cells = [each for each in battery.voltages if each != 0xFFFF]
    assert len(cells) == station.world.cells
    assert sum(cells) / 1000 == pytest.approx(CELL_VOLTS * station.world.cells, abs=0.1)
    assert 0 < battery.battery_remaining <= 100
    status = station.requested(common.MAVLINK_MSG_ID_SYS_STATUS)
    assert status.voltage_battery / 1000 == pytest.approx(sum(cells) / 1000, abs=0.1)


def test_without_a_battery_next_to_nothing_is_measured() -> None:
    station = Station(battery=False)
    battery = station.requested(common.MAVLINK_MSG_ID_BATTERY_STATUS)
    assert sum(each for each in battery.voltages if each != 0xFFFF) < 500
    assert (battery.battery_remaining, battery.current_battery) == (0, 0)
    assert station.requested(common.MAVLINK_MSG_ID_SYS_STATUS).voltage_battery < 500


def test_a_battery_that_is_pulled_is_seen_at_once() -> None:
    station = Station(battery=True)
    station.world.battery_plugged = False
    assert station.requested(common.MAVLINK_MSG_ID_SYS_STATUS).voltage_battery < 500


def test_the_sticks_rest_in_the_middle_and_throttle_and_switches_low() -> None:
    station = Station()
    channels = station.requested(common.MAVLINK_MSG_ID_RC_CHANNELS)
    assert channels.chancount == 8
    assert [getattr(channels, f"chan{n}_raw") for n in range(1, 9)] == [1500, 1500, 1000, 1500, 1000, 1000, 1000, 1000]
    assert channels.chan9_raw == 0xFFFF


def test_a_moved_stick_moves_its_channel_alone() -> None:
    station = Station()
    station.world.move_stick(1, 2000)
    channels = station.requested(common.MAVLINK_MSG_ID_RC_CHANNELS)
    assert (channels.chan1_raw, channels.chan2_raw) == (2000, 1500)
