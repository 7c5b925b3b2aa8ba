"""Transmitter, receiver and battery of the virtual aircraft."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from rotorwright.twin.physics import constants
from rotorwright.twin.physics.arithmetic import FloatArray
from rotorwright.twin.physics.battery import Battery, BatterySpec
from rotorwright.twin.physics.receiver import ChannelSpec, Radio, RadioSpec, SignalLoss, StickName

ORDER = {StickName.ROLL: 2, StickName.PITCH: 4, StickName.THRUST: 1, StickName.YAW: 3}
TICK = constants.SERIAL_TICK_US


def radio_of(**changes: object) -> Radio:
    channels = tuple(ChannelSpec(is_reversed=number == ORDER[StickName.PITCH]) for number in range(1, 9))
    return Radio(replace(RadioSpec(ORDER, channels, seed=3), **changes))  # type: ignore[arg-type]


def heard(radio: Radio, at_s: float) -> FloatArray:
    return radio.pulses(at_s)[0]


def test_sticks_rest_in_the_middle_thrust_and_switches_low() -> None:
    pulses, is_signal = radio_of().pulses(1.0)
    assert is_signal
    assert pulses.tolist() == [1000.0, 1500.0, 1500.0, 1500.0, 1000.0, 1000.0, 1000.0, 1000.0]


@pytest.mark.parametrize(
    ("stick", "pulse"),
    [(StickName.ROLL, 2000.0), (StickName.THRUST, 2000.0), (StickName.YAW, 2000.0), (StickName.PITCH, 1000.0)],
)
def test_a_stick_moves_its_own_channel_and_a_reversed_one_the_other_way(stick: StickName, pulse: float) -> None:
    radio = radio_of()
    before = heard(radio, 0.9)
    radio.move(stick, 1.0, 1.0, over_s=0.3)
    after = heard(radio, 1.5)
    assert after[ORDER[stick] - 1] == pytest.approx(pulse, abs=TICK)
    others = [number for number in range(8) if number != ORDER[stick] - 1]
    assert np.array_equal(before[others], after[others])


def test_a_hand_takes_its_time_and_never_passes_the_end() -> None:
    radio = radio_of()
    radio.move(StickName.ROLL, 1.0, 1.0, over_s=0.4)
    pulses = radio.many(np.linspace(0.9, 1.6, 200))[0][:, 1]
    assert np.all(np.diff(pulses) >= 0)
    assert pulses.max() <= 2000.0 + TICK
    assert 1700 < heard(radio, 1.22)[1] < 1850


def test_pulses_come_in_ticks_of_five_eighths_of_a_microsecond() -> None:
    # Common serial receivers: 11 bits, us = 1500 + (tick - 992) 5/8; from memory, arithmetic checked.
    radio = radio_of(jitter_us=5.0)
    ticks = (radio.many(np.linspace(0.0, 3.0, 100))[0] - 1500.0) / TICK
    assert np.array_equal(ticks, np.rint(ticks))
    assert len(np.unique(ticks)) > 20


def test_what_is_heard_is_what_the_last_frame_said() -> None:
    radio = radio_of(frame_hz=50.0, jitter_us=4.0)
    at_s = np.arange(0.0, 4.0, 0.001)
    pulses = radio.many(at_s)[0][:, 1]
    changes = np.flatnonzero(np.diff(pulses))
    assert 150 < len(changes) <= 200
    assert np.median(np.diff(at_s[changes])) == pytest.approx(0.02, abs=0.002)


def test_lost_frames_leave_the_value_of_the_frame_before() -> None:
    sound, lossy = radio_of(jitter_us=4.0), radio_of(jitter_us=4.0, lost_part=0.3)
    at_s = np.arange(4000.0) / 100.0 + 0.009
    ours, theirs = sound.many(at_s)[0], lossy.many(at_s)[0]
    missing = np.any(ours != theirs, axis=1)
    assert np.mean(missing) == pytest.approx(0.3, abs=0.03)
    after_loss = np.flatnonzero(missing[1:] & ~missing[:-1]) + 1
    assert np.array_equal(theirs[after_loss], ours[after_loss - 1])


@pytest.mark.parametrize("loss", list(SignalLoss))
def test_a_silent_transmitter_is_noticed_after_the_wait(loss: SignalLoss) -> None:
    channels = tuple(ChannelSpec(preset_us=1234.375) for _ in range(8))
    radio = Radio(RadioSpec(ORDER, channels, loss=loss, wait_s=0.5))
    radio.move(StickName.ROLL, 0.5, 1.0)
    radio.switch_off(3.0, 6.0)
    last = heard(radio, 2.9)
    assert np.array_equal(heard(radio, 3.4), last)
    assert radio.pulses(3.4)[1]
    gone, is_signal = radio.pulses(3.6)
    assert not is_signal
    expected = {
        SignalLoss.HOLDS: last,
        SignalLoss.NO_PULSES: np.full(8, np.nan),
        SignalLoss.PRESET: np.full(8, 1234.375),
    }
    assert np.array_equal(gone, expected[loss], equal_nan=True)
    again, is_signal = radio.pulses(6.1)
    assert is_signal
    assert np.array_equal(again, last)


def test_a_receiver_that_hides_the_loss_says_that_all_is_well() -> None:
    radio = radio_of(loss=SignalLoss.HOLDS, says_loss=False)
    radio.switch_off(3.0)
    assert radio.pulses(60.0)[1]
    assert radio.many(np.array([60.0]))[1].tolist() == [1.0]
    assert np.array_equal(heard(radio, 60.0), heard(radio, 2.9))


def test_a_stick_moved_while_the_transmitter_is_off_is_heard_only_when_it_is_on_again() -> None:
    radio = radio_of(loss=SignalLoss.HOLDS)
    radio.switch_off(3.0)
    radio.move(StickName.ROLL, 1.0, 4.0)
    assert heard(radio, 5.0)[1] == 1500.0
    radio.switch_on(6.0)
    assert heard(radio, 6.2)[1] == 2000.0


@pytest.mark.parametrize("lost", [0.0, 0.2])
def test_one_moment_and_many_give_the_same_pulses(lost: float) -> None:
    radio = radio_of(jitter_us=3.0, lost_part=lost)
    radio.move(StickName.YAW, -1.0, 1.0)
    radio.move_channel(5, 1.0, 1.2)
    radio.switch_off(2.0, 4.0)
    at_s = np.random.default_rng(1).uniform(0.0, 6.0, 300)
    pulses, signal = radio.many(at_s)
    for number, moment in enumerate(at_s.tolist()):
        one, is_signal = radio.pulses(moment)
        assert np.array_equal(one, pulses[number], equal_nan=True)
        assert is_signal == bool(signal[number])


def test_the_position_for_a_pulse_makes_that_pulse() -> None:
    radio = radio_of()
    for channel, pulse in ((2, 1750.0), (4, 1200.0), (6, 1600.0)):
        radio.move_channel(channel, radio.position_of(channel, pulse), 1.0)
        assert heard(radio, 2.0)[channel - 1] == pytest.approx(pulse, abs=TICK)


def test_one_question_to_the_radio_takes_less_than_60_microseconds() -> None:
    radio = radio_of(jitter_us=1.0, lost_part=0.01)
    radio.move(StickName.YAW, -1.0, 1.0)
    best = math.inf
    for _ in range(7):
        begin = time.perf_counter()
        for number in range(200):
            radio.pulses(0.5 + 0.01 * number)
        best = min(best, time.perf_counter() - begin)
    assert best / 200 < 60e-6


def test_a_battery_sags_with_the_current_by_its_inner_resistance() -> None:
    battery = Battery(BatterySpec(cells=4, cell_v=4.0, resistance_ohm=0.005, rest_a=0.5))
    assert battery.volts(0.0) == pytest.approx(16.0)
    assert battery.volts(0.0) - battery.volts(10.0) == pytest.approx(4 * 0.005 * 10.0)
    assert battery.amperes(1.0) - battery.amperes(0.0) == pytest.approx(constants.AMPERES_PER_ROTOR)


def test_what_is_measured_of_a_battery_is_scaled_and_noisy_and_the_same_each_time() -> None:
    battery = Battery(BatterySpec(cells=4, cell_v=4.0, resistance_ohm=0.005, rest_a=0.5, divider_scale=1.05, seed=2))
    at_s = np.arange(3000) / 100.0
    volts, amperes = battery.measured(at_s)
    assert np.mean(volts) == pytest.approx(1.05 * battery.volts(0.5), abs=0.002)
    assert np.std(volts) == pytest.approx(constants.VOLTS_NOISE_V, rel=0.1)
    assert np.mean(amperes) == pytest.approx(0.5, abs=0.01)
    assert battery.measured(float(at_s[77])) == (pytest.approx(volts[77]), pytest.approx(amperes[77]))
