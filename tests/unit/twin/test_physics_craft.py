"""Whole bench craft: sound ones fit their settings, and each fault changes what it says and nothing else."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import stacked
from rotorwright.twin.physics.craft import BenchCraft
from rotorwright.twin.physics.faults import FACTS, BenchFault
from rotorwright.twin.physics.receiver import SignalLoss, StickName
from rotorwright.twin.physics.rotors import RotorPlace
from rotorwright.twin.physics.settings_held import rotation_of_degrees

SEEDS = range(30)
# Which facts of a craft each fault may touch, written down once more and by hand.
TOUCHED = {
    BenchFault.MOUNTED_OTHERWISE: {"sensor.mounting"},
    BenchFault.FORCE_X_MIRRORED: {"sensor.force_sign"},
    BenchFault.FORCE_Y_MIRRORED: {"sensor.force_sign"},
    BenchFault.FORCE_Z_MIRRORED: {"sensor.force_sign"},
    BenchFault.RATE_X_MIRRORED: {"sensor.rate_sign"},
    BenchFault.RATE_Y_MIRRORED: {"sensor.rate_sign"},
    BenchFault.RATE_Z_MIRRORED: {"sensor.rate_sign"},
    BenchFault.RATE_BIAS_LARGE: {"sensor.rate_bias_rad_s"},
    BenchFault.RATE_NOISE_LARGE: {"sensor.rate_noise_rad_s"},
    BenchFault.FORCE_OFFSET_LARGE: {"sensor.force_bias_m_s2"},
    BenchFault.LEVEL_TRIM_OFF: {"settings.level_trim_deg"},
    BenchFault.CHANNELS_SWAPPED: {"settings.channel_of"},
    BenchFault.CHANNEL_REVERSED: {"settings.is_reversed"},
    BenchFault.END_POINT_SHORT: {"radio.channels"},
    BenchFault.CENTRE_OFF: {"radio.channels"},
    BenchFault.CHANNEL_JITTERS: {"radio.jitter_us"},
    BenchFault.FRAMES_LOST: {"radio.lost_part"},
    BenchFault.FAILSAFE_HOLDS: {"radio.loss", "radio.says_loss"},
    BenchFault.FAILSAFE_NOTHING: {
        "radio.loss",
        "failsafe_acts",
        "settings.failsafe_action",
        "settings.failsafe_stops_motors",
    },
    BenchFault.FAILSAFE_LATE: {"radio.wait_s"},
    BenchFault.FAILSAFE_WITH_THRUST: {"radio.channels", "radio.loss", "radio.says_loss"},
    BenchFault.ARMED_AT_POWER_UP: {"settings.arming"},
    BenchFault.ARM_RANGE_TOUCHES_REST: {"settings.arming"},
    BenchFault.ARM_CHANNEL_MISSING: {"settings.arming"},
    BenchFault.ARM_RANGE_WHOLE_TRAVEL: {"settings.arming"},
    BenchFault.MODES_OVERLAP: {"settings.functions"},
    BenchFault.ARMING_ANSWER_STUCK: {"answer_stuck"},
    BenchFault.MOTORS_SWAPPED: {"output_of"},
    BenchFault.MOTOR_REVERSED: {"rotors.direction"},
    BenchFault.MOTOR_DEAD: {"rotors.is_dead"},
    BenchFault.MOTOR_KEEPS_TURNING: {"rotors.keeps_turning"},
    BenchFault.BEARING_ROUGH: {"rotors.harmonics", "rotors.roughness_m_s2"},
    BenchFault.ROTOR_OUT_OF_BALANCE: {"rotors.imbalance_kg_m"},
    BenchFault.MAGNETS_WRONG: {"settings.magnets"},
    BenchFault.CELLS_WRONG: {"settings.cells"},
    BenchFault.VOLTAGE_SCALE_OFF: {"battery.divider_scale", "settings.voltage_scale"},
    BenchFault.REST_CURRENT_HIGH: {"battery.rest_a"},
    BenchFault.WARNING_LOW: {"settings.cell_warn_v"},
    BenchFault.PACK_OVER_FULL: {"battery.cell_v"},
    BenchFault.PACK_UNDER_FULL: {"battery.cell_v"},
    BenchFault.DISPLAY_FORGETS: {"display_forgets", "display_is_old"},
    BenchFault.CHARACTERS_OLD: {"display_is_old"},
    BenchFault.FILTER_SLOWER: {"flight_after.gyro_cutoffs_hz"},
    BenchFault.GAIN_LOWER: {"flight_after.gain_p", "flight_after.gain_i", "flight_after.gain_d"},
    BenchFault.VIBRATION_HIGHER: {"flight_after.vibration_rad_s"},
}


def facts_of(craft: BenchCraft) -> dict[str, object]:
    """Return the facts of a craft by name, one level deep."""
    found: dict[str, object] = {}
    for field in fields(craft):
        value = getattr(craft, field.name)
        if field.name == "rotors":
            for name in (each.name for each in fields(value[0])):
                found[f"rotors.{name}"] = [getattr(rotor, name) for rotor in value]
        elif hasattr(value, "__dataclass_fields__"):
            found |= {f"{field.name}.{each.name}": getattr(value, each.name) for each in fields(value)}
        elif field.name != "faults":
            found[field.name] = value
    return found


@pytest.mark.parametrize("fault", list(BenchFault))
def test_a_fault_changes_what_it_says_and_nothing_else(fault: BenchFault) -> None:
    touched = set()
    for seed in range(12):
        sound, faulty = facts_of(BenchCraft.make(seed)), facts_of(BenchCraft.make(seed, [fault]))
        touched |= {name for name in sound if sound[name] != faulty[name]}
        assert touched, "a fault always changes something"
    assert touched == TOUCHED[fault]


@pytest.mark.parametrize("fault", list(BenchFault))
def test_a_fault_of_the_settings_leaves_the_parts_and_a_fault_of_a_part_leaves_the_settings(fault: BenchFault) -> None:
    in_settings = {name.startswith("settings.") for name in TOUCHED[fault]}
    if fault.is_physical:
        assert in_settings == {False}
    elif fault.check not in {"display", "response"}:  # there the setting acts on what is measured
        assert True in in_settings


def test_every_fault_is_described_and_what_can_hurt_is_called_dangerous() -> None:
    assert set(FACTS) == set(BenchFault)
    for fault in BenchFault:
        if fault.check == "failsafe" or "mirrored" in fault or (fault.check == "orientation" and "mounted" in fault):
            assert fault.is_dangerous
    assert BenchFault.CHANNELS_SWAPPED.is_dangerous
    assert BenchFault.MOTORS_SWAPPED.is_dangerous
    assert BenchFault.MOTOR_REVERSED.is_dangerous
    assert not BenchFault.CENTRE_OFF.is_dangerous


def test_the_same_seed_makes_the_same_craft_and_another_makes_another() -> None:
    assert facts_of(BenchCraft.make(3)) == facts_of(BenchCraft.make(3))
    sound, other = facts_of(BenchCraft.make(3)), facts_of(BenchCraft.make(4))
    assert sum(sound[name] != other[name] for name in sound) > 30


def test_a_sound_craft_reads_level_on_the_bench_whatever_its_mounting() -> None:
    mountings = set()
    for seed in range(150):
        craft = BenchCraft.make(seed)
        right_angle = np.rint(rotation_of_degrees(*craft.settings.board_deg) @ np.array(craft.settings.chip))
        mountings.add(tuple(right_angle.ravel().tolist()))
        at_s = np.linspace(0.0, 1.0, 50)
        said = craft.new_sensor().report(at_s, craft.new_body())
        force = stacked(said.force_m_s2).mean(axis=0)
        lean = np.degrees(np.arccos(-force[2] / np.linalg.norm(force)))
        assert lean < 2.5
        assert np.linalg.norm(force) == pytest.approx(constants.GRAVITY_M_S2, abs=0.3)
        assert np.max(np.abs(stacked(said.rate_rad_s).mean(axis=0))) < 0.02
    assert len(mountings) == 24


def test_a_sound_craft_has_settings_that_fit_its_radio_and_its_wiring() -> None:
    orders = set()
    for seed in SEEDS:
        craft = BenchCraft.make(seed)
        held = craft.settings
        assert held.channel_of == craft.radio.channel_of
        assert held.output_of == craft.output_of
        assert held.direction_of == {each.place: each.direction for each in craft.rotors}
        radio = craft.new_radio()
        for number, pulse in enumerate(radio.pulses(1.0)[0], start=1):
            assert held.rest_us[number] == pytest.approx(pulse, abs=6 * craft.radio.jitter_us + 1)
        for stick in StickName:
            radio.move(stick, 1.0, 1.0)
            pulse = radio.pulses(2.0)[0][held.channel_of[stick] - 1]
            assert (pulse < held.middle_us) == held.is_reversed[stick]
        assert not held.arming.is_on(np.array([[held.rest_us[number] for number in sorted(held.rest_us)]]))[0]
        orders.add(tuple(held.channel_of.values()))
        assert craft.radio.loss is not SignalLoss.HOLDS
    assert len(orders) > 8


def test_rotors_across_from_each_other_turn_the_same_way() -> None:
    for seed in SEEDS:
        way = {each.place: each.direction for each in BenchCraft.make(seed).rotors}
        assert way[RotorPlace.FRONT_RIGHT] == way[RotorPlace.REAR_LEFT] == -way[RotorPlace.REAR_RIGHT]
        assert way[RotorPlace.REAR_RIGHT] == way[RotorPlace.FRONT_LEFT]


def test_faults_add_up() -> None:
    craft = BenchCraft.make(7, [BenchFault.MOTOR_DEAD, BenchFault.CELLS_WRONG])
    assert craft.faults == (BenchFault.MOTOR_DEAD, BenchFault.CELLS_WRONG)
    assert any(each.is_dead for each in craft.rotors)
    assert craft.settings.cells != craft.battery.cells


def test_a_wrong_mounting_is_never_the_right_one() -> None:
    for seed in range(60):
        sound, faulty = BenchCraft.make(seed), BenchCraft.make(seed, [BenchFault.MOUNTED_OTHERWISE])
        turned = np.array(sound.sensor.mounting) @ np.array(faulty.sensor.mounting).T
        assert np.degrees(np.arccos((np.trace(turned) - 1) / 2)) > 80
