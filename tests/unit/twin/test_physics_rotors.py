"""Rotors and body of the virtual aircraft, against the laws of mechanics and an independent integration."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rotorwright.twin.physics.arithmetic import stacked
from rotorwright.twin.physics.body import Body, BodySpec
from rotorwright.twin.physics.hand_motion import HandMotion
from rotorwright.twin.physics.rotors import SIDES, RotorPlace, Rotors, RotorSpec
from rotorwright.twin.physics.support import FREE, Support

YAW_INERTIA = 0.006
MASS = 0.7
FOAM = Support(turn_hz=4.0, shift_hz=9.0, damping=0.3)
WIRING = {
    RotorPlace.FRONT_RIGHT: 3,
    RotorPlace.REAR_RIGHT: 1,
    RotorPlace.REAR_LEFT: 4,
    RotorPlace.FRONT_LEFT: 2,
}
USUAL = RotorSpec(
    place=RotorPlace.FRONT_RIGHT,
    forward_m=0.08,
    right_m=0.08,
    direction=1,
    inertia_kg_m2=2.5e-6,
    spin_up_s=0.06,
    spin_down_s=0.12,
    start_hz=30.0,
    full_hz=700.0,
    imbalance_kg_m=4e-7,
    imbalance_at_rad=0.4,
)
SPECS = tuple(
    replace(USUAL, place=place, forward_m=0.08 * ahead, right_m=0.07 * aside, direction=1 - 2 * (number % 2))
    for number, (place, (ahead, aside)) in enumerate(SIDES.items())
)
NUMBER_OF = {place: number for number, place in enumerate(SIDES)}


def rotors_on(support: Support, specs: tuple[RotorSpec, ...] = SPECS) -> Rotors:
    return Rotors(specs, WIRING, yaw_inertia_kg_m2=YAW_INERTIA, support=support)


def body_on(support: Support, rotors: Rotors) -> Body:
    return Body(BodySpec(MASS, (0.003, 0.0035, YAW_INERTIA)), support, HandMotion(1, bench_slope_deg=0.0), rotors)


def pulsed(support: Support, place: RotorPlace, specs: tuple[RotorSpec, ...] = SPECS) -> Rotors:
    rotors = rotors_on(support, specs)
    rotors.command(WIRING[place], 0.08, 1.0, 2.2)
    return rotors


@pytest.mark.parametrize("place", list(RotorPlace))
def test_the_body_is_pushed_against_a_rotor_that_runs_up_and_with_one_that_runs_down(place: RotorPlace) -> None:
    rotors = pulsed(FREE, place)
    direction = SPECS[NUMBER_OF[place]].direction
    assert direction * rotors.reaction_n_m(1.02) < 0
    assert direction * rotors.reaction_n_m(2.25) > 0
    assert rotors.reaction_n_m(0.9) == 0.0
    body = body_on(FREE, rotors)
    assert direction * body.moment(1.5).rate_rad_s[2] < -0.1


def test_a_free_body_keeps_its_angular_momentum() -> None:
    rotors = pulsed(FREE, RotorPlace.REAR_RIGHT)
    rotors.command(WIRING[RotorPlace.REAR_LEFT], 0.2, 1.3, 3.0)
    at_s = np.linspace(0.0, 6.0, 2000)
    moments = [rotors.moment(number, at_s) for number in range(4)]
    of_rotors = sum(
        spec.direction * spec.inertia_kg_m2 * moment.speed_rad_s for spec, moment in zip(SPECS, moments, strict=True)
    )
    of_body = YAW_INERTIA * sum(moment.swing_rate_rad_s for moment in moments)
    assert np.max(np.abs(of_rotors)) > 1e-3
    assert np.max(np.abs(of_rotors + of_body)) < 1e-12


def test_the_swing_on_foam_agrees_with_an_integrated_differential_equation() -> None:
    # Source: scipy.integrate.solve_ivp (Runge-Kutta of order 8), the equation written out here.
    rotors = pulsed(FOAM, RotorPlace.FRONT_LEFT)
    rotors.command(WIRING[RotorPlace.FRONT_RIGHT], 0.1, 1.15, 1.9)
    natural = 2 * math.pi * 4.0

    def slope(at_s: float, state: tuple[float, float]) -> list[float]:
        angle, rate = state
        push = rotors.reaction_n_m(at_s) / YAW_INERTIA
        return [rate, push - 2 * 0.3 * natural * rate - natural**2 * angle]

    at_s = np.array([1.05, 1.3, 1.95, 2.3, 2.8])
    solved = solve_ivp(
        slope, (0.0, 3.0), [0.0, 0.0], t_eval=at_s, method="DOP853", max_step=0.004, rtol=1e-9, atol=1e-12
    )
    ours = [rotors.moment(number, at_s) for number in range(4)]
    assert sum(each.swing_rad for each in ours) == pytest.approx(solved.y[0], abs=1e-7)
    assert sum(each.swing_rate_rad_s for each in ours) == pytest.approx(solved.y[1], abs=1e-6)


def test_foam_only_ever_takes_energy_once_the_rotor_stands() -> None:
    rotors = pulsed(FOAM, RotorPlace.REAR_LEFT)
    at_s = np.linspace(2.2 + 15 * USUAL.spin_down_s, 6.0, 500)
    moment = rotors.moment(NUMBER_OF[RotorPlace.REAR_LEFT], at_s)
    energy = moment.swing_rate_rad_s**2 + (FOAM.turn_rad_s * moment.swing_rad) ** 2
    assert energy[0] > 0
    assert np.all(np.diff(energy) < 1e-15)


def test_yaw_rate_on_the_bench_adds_up_to_the_heading() -> None:
    body = body_on(FOAM, pulsed(FOAM, RotorPlace.FRONT_RIGHT))
    at_s = np.arange(0.0, 3.0, 2e-4)
    rate = stacked(body.moment(at_s).rate_rad_s)[:, 2]
    heading = [body.hand.moment(0.0).angles_rad[2]]
    for at in (1.2, 2.4):
        turned = body.moment(at).turned
        heading.append(2 * math.atan2(turned[3], turned[0]))
    for number, at in ((1, 1.2), (2, 2.4)):
        assert np.sum(rate[at_s < at]) * 2e-4 == pytest.approx(heading[number] - heading[0], abs=2e-5)


def test_speed_reaches_63_percent_of_its_change_after_one_time_constant() -> None:
    rotors = pulsed(FREE, RotorPlace.REAR_RIGHT)
    wanted = 30.0 + 670.0 * 0.08
    output = WIRING[RotorPlace.REAR_RIGHT]
    assert rotors.speed_hz(output, 1.0 + 0.06) == pytest.approx(wanted * (1 - math.exp(-1)), rel=1e-9)
    assert rotors.speed_hz(output, 2.2 + 0.12) == pytest.approx(wanted * math.exp(-1), rel=1e-6)


def test_the_angle_is_the_sum_of_the_speed() -> None:
    rotors = pulsed(FREE, RotorPlace.REAR_RIGHT)
    at_s = np.arange(0.0, 4.0, 1e-4)
    moment = rotors.moment(NUMBER_OF[RotorPlace.REAR_RIGHT], at_s)
    assert np.cumsum(moment.speed_rad_s)[-1] * 1e-4 == pytest.approx(moment.angle_rad[-1], rel=1e-4)
    slope = np.gradient(moment.speed_rad_s, at_s)
    away = (np.abs(at_s - 1.0) > 1e-3) & (np.abs(at_s - 2.2) > 1e-3)
    assert slope[away] == pytest.approx(moment.gain_rad_s2[away], abs=5.0)


def test_only_what_is_wired_to_the_output_turns() -> None:
    rotors = rotors_on(FREE)
    rotors.command(1, 0.08, 1.0, 2.0)
    turning = [rotors.moment(number, 1.5).speed_rad_s > 1 for number in range(4)]
    assert turning == [place is RotorPlace.REAR_RIGHT for place in SIDES]
    rotors.command(7, 0.5, 1.0, 2.0)  # nothing is wired to it


def test_a_command_that_is_renewed_goes_on_and_silence_ends_it() -> None:
    renewed, whole = rotors_on(FREE), rotors_on(FREE)
    whole.command(1, 0.08, 1.0, 2.0)
    for start in np.arange(1.0, 1.75, 0.05):
        renewed.command(1, 0.08, float(start), float(start) + 0.3)
    renewed.command(1, 0.08, 1.7, 2.0)
    at_s = np.linspace(0.9, 3.0, 100)
    assert renewed.speed_hz(1, at_s) == pytest.approx(whole.speed_hz(1, at_s), abs=1e-9)
    assert renewed.is_turning(1.5)
    assert not renewed.is_turning(4.0)


def test_a_stop_stops_all_but_a_motor_that_does_not_listen_until_its_power_is_cut() -> None:
    rotors = rotors_on(FREE, (replace(SPECS[0], keeps_turning=True), *SPECS[1:]))
    for output in range(1, 5):
        rotors.command(output, 0.08, 1.0)
    rotors.stop(2.0)
    speeds = [rotors.speed_hz(output, 4.0) for output in range(1, 5)]
    assert [speed > 50 for speed in speeds] == [output == WIRING[SPECS[0].place] for output in range(1, 5)]
    rotors.cut_power(5.0)
    assert rotors.speed_hz(WIRING[SPECS[0].place], 8.0) < 1e-6


def test_a_dead_motor_never_turns() -> None:
    rotors = pulsed(FREE, RotorPlace.FRONT_RIGHT, (replace(SPECS[0], is_dead=True), *SPECS[1:]))
    assert rotors.speed_hz(WIRING[RotorPlace.FRONT_RIGHT], 1.8) == 0.0


def test_imbalance_shakes_at_the_frequency_of_the_rotor_with_the_force_of_its_mass() -> None:
    # Law: F = m e w^2 turns with the rotor; a free body of mass M is accelerated by F / M along each axis in turn.
    rotors = rotors_on(FREE)
    rotors.command(WIRING[RotorPlace.REAR_LEFT], 0.08, 0.0)
    hertz = 30.0 + 670.0 * 0.08
    at_s = 3.0 + np.arange(4096) / 4096 * (160 / hertz)  # whole turns
    forward, right, down = stacked(body_on(FREE, rotors).moment(at_s).force_m_s2).T
    size = 4e-7 * (2 * math.pi * hertz) ** 2 / MASS
    spectrum = np.abs(np.fft.rfft(forward)) / len(at_s) * 2
    assert int(np.argmax(spectrum[1:])) + 1 == 160
    assert spectrum[160] == pytest.approx(size, rel=1e-6)
    # Parseval: what is in the line is all there is.
    assert np.mean(forward**2) == pytest.approx(size**2 / 2, rel=1e-6)
    assert np.mean(right**2) == pytest.approx(size**2 / 2, rel=1e-6)
    assert np.ptp(down) < 1e-9


@pytest.mark.parametrize("place", list(RotorPlace))
@pytest.mark.parametrize("direction", [1, -1])
def test_the_ripple_in_yaw_tells_where_the_rotor_is(place: RotorPlace, direction: int) -> None:
    # Law: a force (Fx, Fy) at (x, y) turns the body by (x Fy - y Fx) / Iz, whichever way the rotor turns.
    specs = tuple(replace(spec, direction=direction) for spec in SPECS)
    rotors = rotors_on(FREE, specs)
    rotors.command(WIRING[place], 0.08, 0.0)
    at_s = 3.0 + np.arange(4000) * 2e-5
    moment = body_on(FREE, rotors).moment(at_s)
    turning = np.gradient(stacked(moment.rate_rad_s)[:, 2], at_s)[1:-1]
    forward, right, _ = stacked(moment.force_m_s2).T
    spec = SPECS[NUMBER_OF[place]]
    expected = (spec.forward_m * right - spec.right_m * forward)[1:-1] * MASS / YAW_INERTIA
    assert turning == pytest.approx(expected, abs=0.01 * np.max(np.abs(expected)))


def test_the_force_turns_the_way_of_the_rotor() -> None:
    for direction in (1, -1):
        rotors = rotors_on(FREE, tuple(replace(spec, direction=direction) for spec in SPECS))
        rotors.command(1, 0.08, 0.0)
        forward, right, _ = stacked(body_on(FREE, rotors).moment(np.array([3.0, 3.001])).force_m_s2).T
        turned = forward[0] * right[1] - right[0] * forward[1]
        assert direction * turned > 0


def test_harmonics_and_roughness_belong_to_a_bad_bearing() -> None:
    bad = replace(SPECS[0], harmonics=(0.5, 0.0), roughness_m_s2=1.0)
    rotors = pulsed(FREE, RotorPlace.FRONT_RIGHT, (bad, *SPECS[1:]))
    hertz = 30.0 + 670.0 * 0.08
    at_s = 1.8 + np.arange(2048) / 2048 * (20 / hertz)
    moment = body_on(FREE, rotors).moment(at_s)
    spectrum = np.abs(np.fft.rfft(stacked(moment.force_m_s2)[:, 0]))
    assert spectrum[40] / spectrum[20] == pytest.approx(0.5, rel=0.01)
    assert moment.roughness_m_s2 == pytest.approx(hertz / 100.0, rel=1e-3)
    assert body_on(FREE, pulsed(FREE, RotorPlace.REAR_LEFT)).moment(1.8).roughness_m_s2 == 0.0


def test_foam_lets_quick_shaking_through_and_holds_slow() -> None:
    real, late = FOAM.follow(2 * math.pi * 120.0, FOAM.shift_rad_s)
    assert math.hypot(real, late) == pytest.approx(1.0, abs=0.01)
    real, late = FOAM.follow(2 * math.pi * 1.0, FOAM.shift_rad_s)
    assert math.hypot(real, late) < 0.02
    # at its own frequency, critical damping z: 1 / (2 z), a quarter turn late
    real, late = FOAM.follow(FOAM.shift_rad_s, FOAM.shift_rad_s)
    assert (real, late) == pytest.approx((0.0, 1 / 0.6), abs=1e-9)


def test_a_low_pass_takes_from_the_ripple_what_a_first_order_lag_takes() -> None:
    rotors = rotors_on(FREE)
    rotors.command(1, 0.08, 0.0)
    body = body_on(FREE, rotors)
    hertz = 30.0 + 670.0 * 0.08
    at_s = 3.0 + np.arange(1000) / 1000 * (10 / hertz)
    whole, passed = (np.std(stacked(body.moment(at_s, cutoff_hz=each).force_m_s2)[:, 0]) for each in (math.inf, hertz))
    assert passed / whole == pytest.approx(1 / math.sqrt(2), rel=1e-6)


def test_one_moment_and_many_give_the_same_body() -> None:
    rotors = pulsed(FOAM, RotorPlace.FRONT_RIGHT)
    rotors.command(2, 0.1, 1.4, 2.6)
    hand = HandMotion(9)
    hand.tip("nose-down", 1.1)
    body = Body(BodySpec(MASS, (0.003, 0.0035, YAW_INERTIA), (0.004, -0.003)), FOAM, hand, rotors)
    at_s = np.random.default_rng(3).uniform(0.0, 4.0, 300)
    many = body.moment(at_s, cutoff_hz=200.0)
    for number, moment in enumerate(at_s.tolist()):
        one = body.moment(moment, cutoff_hz=200.0)
        assert one.rate_rad_s == pytest.approx(tuple(stacked(many.rate_rad_s)[number]), abs=1e-12)
        assert one.force_m_s2 == pytest.approx(tuple(stacked(many.force_m_s2)[number]), abs=1e-11)


def test_one_question_to_the_body_takes_less_than_60_microseconds() -> None:
    body = body_on(FOAM, pulsed(FOAM, RotorPlace.FRONT_RIGHT))
    best = math.inf
    for _ in range(7):
        begin = time.perf_counter()
        for number in range(200):
            body.moment(1.0 + 0.005 * number, cutoff_hz=200.0)
        best = min(best, time.perf_counter() - begin)
    assert best / 200 < 60e-6
