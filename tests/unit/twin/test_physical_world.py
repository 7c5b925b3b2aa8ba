"""The world with bodies in it: what its battery shows, at rest and under load, and with a fault planted."""

from __future__ import annotations

import pytest

from rotorwright.twin.demo_craft import demo_truth, planted
from rotorwright.twin.physical_world import PhysicalWorld
from rotorwright.twin.physics.faults import BenchFault


def _world(*faults: str, battery: bool = True) -> PhysicalWorld:
    return PhysicalWorld(planted(demo_truth(), faults), battery_plugged=battery)


def test_without_a_battery_no_current_flows_and_no_motor_turns() -> None:
    world = _world(battery=False)
    assert world.supply(1.0)[1] == 0.0
    world.command_motor(1, 0.1, 1.0, 0.5)
    assert world.electrical_rpm(1, 1.4) == 0.0


def test_turning_motors_draw_current_and_the_voltage_sags_with_it() -> None:
    world = _world()
    rest_v, rest_a = world.supply(1.0)
    for output in (1, 2, 3, 4):
        world.command_motor(output, 0.1, 1.0, 0.8)
    volts, amperes = world.supply(1.5)
    assert amperes > rest_a + 1.0
    assert volts < rest_v
    assert world.supply(10.0) == pytest.approx((rest_v, rest_a))


def test_a_planted_current_at_rest_is_drawn() -> None:
    assert _world(BenchFault.REST_CURRENT_HIGH).supply(1.0)[1] == 4.0


def test_a_setting_cannot_be_planted_as_a_part() -> None:
    with pytest.raises(ValueError, match="setting"):
        planted(demo_truth(), [BenchFault.ARMED_AT_POWER_UP])
