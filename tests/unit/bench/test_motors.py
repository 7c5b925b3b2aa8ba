"""Motors: order, direction, silence, running on, imbalance, bearings, and what cannot be judged.

Records are made by tests/spinning_craft.py, whose physics shares nothing with the check. Each fault has its healthy
twin: the same draw without the fault.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from itertools import permutations

import numpy as np
import pytest
from tests.spinning_craft import OUTPUTS, SETUP, TURNS, Craft, drawn_craft, recorded

from rotorwright.bench.motors import PLACES, MotorSetup, Place, Pulse, judge_motors, role_of
from rotorwright.bench.records import MotionRecord, RotorRecord
from rotorwright.bench.verdicts import CheckResult, Verdict

Record = tuple[MotionRecord, list[Pulse], RotorRecord]
ORDERS = [order for order in permutations(PLACES) if order != PLACES]
STRONG = dict.fromkeys(PLACES, 8e-7)
WEAK = dict.fromkeys(PLACES, 1e-8)
# The very draw that most tests stand on: nothing special about it, but a clear signal.
CLEAR: Mapping[str, object] = {"imbalance": STRONG, "pulse_s": 1.0, "pause_s": 1.0, "foam_yaw_hz": 1.5}


def _record(seed: int, **changes: object) -> Record:
    rng = np.random.default_rng(seed)
    return recorded(drawn_craft(rng, **changes), rng)


@cache
def _clear_record(seed: int = 5) -> Record:
    return _record(seed, **CLEAR)


def _kinds(result: CheckResult) -> set[str]:
    return {finding.kind for finding in result.findings}


def _wired(order: tuple[Place, ...]) -> dict[int, tuple[Place, ...]]:
    return {output: (place,) for output, place in enumerate(order, start=1)}


def _judged(record: Record, setup: MotorSetup = SETUP, *, told: bool = True, **words: object) -> CheckResult:
    motion, pulses, rotors = record
    return judge_motors(motion, pulses, setup, rotors=rotors if told else None, **words)  # type: ignore[arg-type]


# Healthy


@pytest.mark.parametrize("first", range(0, 220, 55))
def test_healthy_craft_are_never_failed(first: int) -> None:
    shown = 0
    for seed in range(first, first + 55):
        result = _judged(_record(seed), told=seed % 2 == 0)
        assert result.verdict is not Verdict.FAILED, (seed, result.sentence)
        shown += result.verdict is Verdict.PASSED
    assert shown > 0.6 * 55


def test_a_healthy_craft_passes_and_says_so_in_one_sentence() -> None:
    result = _judged(_clear_record())
    assert result.verdict is Verdict.PASSED
    assert result.sentence == (
        "Every output turns the motor it should, the right way round, and every motor stops again."
    )
    assert {one.name for one in result.measured} >= {"output 1: imbalance", "output 4: bearing from the nose"}
    assert [row[2] for row in result.grids[0].rows[1:]] == ["front right", "rear right", "rear left", "front left"]
    assert all(len(curve.points) <= 300 for figure in result.figures for curve in figure.curves)


def test_felt_speed_imbalance_and_push_are_those_of_the_craft() -> None:
    rng = np.random.default_rng(5)
    craft = drawn_craft(rng, **CLEAR)
    motion, pulses, _ = recorded(craft, rng)
    result = judge_motors(motion, pulses, replace(SETUP, mass_kg=craft.mass_kg))
    numbers = {one.name: one.value for one in result.measured}
    assert numbers["output 1: turns per second, felt"] == pytest.approx(craft.speed_hz[Place.FRONT_RIGHT], rel=0.01)
    # The accelerometer's low-pass takes a part away.
    assert numbers["output 1: imbalance"] == pytest.approx(0.8, rel=0.4)
    push = (
        TURNS[Place.FRONT_RIGHT]
        * craft.rotor_inertia
        / craft.inertia[2]
        * 2
        * np.pi
        * craft.speed_hz[Place.FRONT_RIGHT]
    )
    assert numbers["output 1: push on the body, clockwise rotor positive"] == pytest.approx(push, rel=0.1)


def test_pulses_in_any_order_are_judged_by_their_output() -> None:
    rng = np.random.default_rng(5)
    motion, pulses, _ = recorded(drawn_craft(rng, **CLEAR), rng, order=(3, 1, 4, 2))
    assert judge_motors(motion, pulses[::-1], SETUP).verdict is Verdict.PASSED


def test_four_pulses_are_judged_within_thirty_milliseconds() -> None:
    record = _clear_record()
    _judged(record)
    best = min(_timed(lambda: _judged(record)) for _ in range(12))
    assert best < 0.030


def _timed(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


# Order


@pytest.mark.parametrize("order", ORDERS, ids=lambda order: " ".join(place.value for place in order))
def test_every_wrong_order_is_found_and_the_right_one_advised(order: tuple[Place, ...]) -> None:
    result = _judged(_record(ORDERS.index(order), **CLEAR, wired=_wired(order)), told=False)
    assert result.verdict is Verdict.FAILED
    assert result.is_dangerous
    (finding,) = [one for one in result.findings if one.kind == "order-wrong"]
    found = {place: output for output, place in enumerate(order, start=1)}
    assert finding.settings == {
        role_of(place): str(output) for place, output in found.items() if output != OUTPUTS[place]
    }
    # Each rotor turns as its place asks for, so nothing but the order is wrong.
    assert "direction-wrong" not in _kinds(result)


@pytest.mark.parametrize("order", ORDERS[::4], ids=lambda order: " ".join(place.value for place in order))
def test_a_wrong_order_with_the_least_imbalance_never_passes(order: tuple[Place, ...]) -> None:
    for seed, imbalance in ((1, 1e-8), (2, 2e-7), (3, 3e-7)):
        changes = {"imbalance": dict.fromkeys(PLACES, imbalance), "wired": _wired(order)}
        assert _judged(_record(seed, **changes)).verdict is not Verdict.PASSED


def test_a_mirrored_craft_whose_directions_fit_its_outputs_is_still_found() -> None:
    """Left and right exchanged, and each motor turned round as well: only the place can tell it."""
    order = (Place.FRONT_LEFT, Place.REAR_LEFT, Place.REAR_RIGHT, Place.FRONT_RIGHT)
    turned = {place: -turns for place, turns in TURNS.items()}
    for seed in range(6):
        result = _judged(_record(seed, **{**CLEAR, "turns": turned, "wired": _wired(order)}), told=False)
        assert result.verdict is Verdict.FAILED
        assert "order-wrong" in _kinds(result)


def test_the_persons_word_stands_in_where_the_shaking_is_too_weak() -> None:
    record = _record(5, **{**CLEAR, "imbalance": WEAK})
    silent = _judged(record)
    assert silent.verdict is Verdict.NOT_SHOWN
    assert "place-not-shown" in _kinds(silent)
    said = {output: place for place, output in OUTPUTS.items()}
    spoken = _judged(record, said=said)
    assert "place-not-shown" not in _kinds(spoken)
    swapped = said | {1: Place.REAR_LEFT, 3: Place.FRONT_RIGHT}
    wrong = _judged(record, said=swapped)
    assert wrong.verdict is Verdict.FAILED
    assert wrong.findings[0].settings == {"motor.output.front.right": "3", "motor.output.rear.left": "1"}


def test_a_word_against_what_was_felt_fails() -> None:
    result = _judged(_clear_record(), said={1: Place.REAR_LEFT})
    assert result.verdict is Verdict.FAILED
    assert "place-contradicted" in _kinds(result)
    assert _judged(_clear_record(), said={1: Place.FRONT_RIGHT}).verdict is Verdict.PASSED


def test_the_same_motor_on_two_outputs_fails() -> None:
    wired = {1: (Place.FRONT_RIGHT,), 2: (Place.REAR_RIGHT,), 3: (Place.REAR_LEFT,), 4: (Place.REAR_LEFT,)}
    result = _judged(_record(5, **CLEAR, wired=wired), told=False)
    assert result.verdict is Verdict.FAILED
    assert "one-motor-twice" in _kinds(result)


# Direction


@pytest.mark.parametrize("place", PLACES)
def test_one_motor_the_wrong_way_round_is_found(place: Place) -> None:
    turns = TURNS | {place: -TURNS[place]}
    result = _judged(_record(5, **CLEAR, turns=turns), told=False)
    assert result.verdict is Verdict.FAILED
    assert _kinds(result) == {"direction-wrong"}
    (finding,) = result.findings
    assert f"the {place.value.replace('-', ' ')} motor (output {OUTPUTS[place]})" in finding.words
    assert "two of the three wires" in finding.advice
    assert finding.is_dangerous


def test_all_motors_the_wrong_way_round_are_found_and_the_layout_is_asked_about() -> None:
    turns = {place: -one for place, one in TURNS.items()}
    result = _judged(_record(5, **CLEAR, turns=turns), told=False)
    assert result.verdict is Verdict.FAILED
    assert "layout's directions" in result.findings[0].advice


@pytest.mark.parametrize("first", [0, 20])
def test_no_direction_fault_ever_passes_whatever_the_craft(first: int) -> None:
    found = 0
    for seed in range(first, first + 20):
        place = PLACES[seed % 4]
        result = _judged(_record(seed, turns=TURNS | {place: -TURNS[place]}))
        assert result.verdict is not Verdict.PASSED
        found += result.verdict is Verdict.FAILED
    assert found >= 18


def test_a_hand_on_the_craft_leaves_directions_not_shown() -> None:
    for seed in range(4):
        result = _judged(_record(seed, touch_rad_s=0.3))
        assert result.verdict is Verdict.NOT_SHOWN


def test_a_mirrored_axis_is_not_taken_for_directions() -> None:
    motion, pulses, rotors = _clear_record()
    mirrored = replace(motion, rate_rad_s=motion.rate_rad_s * (1.0, 1.0, -1.0))
    result = judge_motors(mirrored, pulses, SETUP, rotors=rotors)
    assert result.verdict is Verdict.NOT_SHOWN
    assert "direction-contradicted" in _kinds(result)


# Answers


def test_a_dead_motor_is_found_with_and_without_told_speeds() -> None:
    record = _record(5, **CLEAR, wired={1: (Place.FRONT_RIGHT,), 2: (), 3: (Place.REAR_LEFT,), 4: (Place.FRONT_LEFT,)})
    for told in (True, False):
        result = _judged(record, told=told)
        assert result.verdict is Verdict.FAILED
        assert result.sentence == "No motor answered output 2."
        assert result.is_dangerous


def test_a_dead_motor_that_somebody_saw_turning_is_not_shown() -> None:
    record = _record(5, **CLEAR, wired={1: (Place.FRONT_RIGHT,), 2: (), 3: (Place.REAR_LEFT,), 4: (Place.FRONT_LEFT,)})
    result = _judged(record, told=False, said={2: Place.REAR_RIGHT})
    assert result.verdict is Verdict.NOT_SHOWN
    assert "not-felt" in _kinds(result)


def test_silence_on_all_outputs_asks_for_the_battery_first() -> None:
    result = _judged(_record(5, **CLEAR, wired={}))
    assert result.verdict is Verdict.NOT_SHOWN
    assert result.sentence == "No motor answered any output."
    assert "battery" in result.findings[0].advice


def test_two_motors_on_one_output_are_found_by_their_told_speeds() -> None:
    wired = _wired(PLACES) | {1: (Place.FRONT_RIGHT, Place.REAR_RIGHT)}
    result = _judged(_record(5, **CLEAR, wired=wired, tells_by_controller=True))
    assert result.verdict is Verdict.FAILED
    assert "two-answered" in _kinds(result)


def test_two_motors_on_one_output_never_pass_without_told_speeds() -> None:
    others = (Place.REAR_RIGHT, Place.REAR_LEFT, Place.FRONT_LEFT)
    # The last four are draws of which the places alone say nothing wrong: the push on the body gives them away.
    for seed in (0, 1, 2, 7, 40, 44, 81):
        other = others[seed % 3]
        wired = _wired(PLACES) | {1: (Place.FRONT_RIGHT, other)}
        assert _judged(_record(seed, wired=wired), told=False).verdict is not Verdict.PASSED


def test_an_answer_on_another_output_is_found_by_the_told_speeds() -> None:
    order = (Place.REAR_RIGHT, Place.FRONT_RIGHT, Place.REAR_LEFT, Place.FRONT_LEFT)
    result = _judged(_record(5, **CLEAR, wired=_wired(order), tells_by_controller=True))
    assert result.verdict is Verdict.FAILED
    assert result.sentence == "Output 1 was commanded, but output 2 turned."


@pytest.mark.parametrize("place", [Place.FRONT_RIGHT, Place.FRONT_LEFT])
def test_a_motor_that_does_not_stop_is_dangerous(place: Place) -> None:
    record = _record(5, **CLEAR, runs_on=frozenset({place}))
    for told in (True, False):
        result = _judged(record, told=told)
        assert result.verdict is Verdict.FAILED
        assert result.findings[0].kind == "does-not-stop"
        assert "battery off now" in result.findings[0].advice


def test_a_record_that_ends_with_the_pulse_does_not_show_that_the_motor_stops() -> None:
    motion, pulses, _ = _clear_record()
    upto = motion.at_s < pulses[-1].end_s + 0.35
    short = MotionRecord(motion.at_s[upto], motion.force_m_s2[upto], motion.rate_rad_s[upto])
    result = judge_motors(short, pulses, SETUP)
    assert result.verdict is Verdict.NOT_SHOWN
    assert "stop-not-seen" in _kinds(result)


# Evenness and speed


def test_an_unbalanced_motor_is_found() -> None:
    heavy = STRONG | {Place.REAR_LEFT: 1e-5}
    result = _judged(_record(5, **{**CLEAR, "imbalance": heavy}))
    assert result.verdict is Verdict.FAILED
    assert _kinds(result) == {"out-of-balance"}
    assert "output 3" in result.sentence
    assert not result.is_dangerous


@pytest.mark.parametrize("roughness", [0.6, 2.0])
def test_a_worn_bearing_is_found_also_where_it_drowns_the_line(roughness: float) -> None:
    result = _judged(_record(5, **CLEAR, rough={Place.REAR_RIGHT: roughness}))
    assert result.verdict is Verdict.FAILED
    assert "bearing-rough" in _kinds(result)
    assert "output 2" in result.sentence


@pytest.mark.parametrize(("right", "is_set"), [(14, 12), (12, 14), (14, 28), (24, 14)])
def test_a_wrong_number_of_magnets_is_found_and_the_right_one_advised(right: int, is_set: int) -> None:
    record = _record(5, **CLEAR, told_magnets=(is_set, right))
    result = _judged(record, replace(SETUP, magnets=is_set))
    assert result.verdict is Verdict.FAILED
    assert result.findings[0].settings == {"motor.magnets": str(right)}


def test_speeds_that_no_number_of_magnets_explains_are_not_shown() -> None:
    motion, pulses, rotors = _clear_record()
    result = judge_motors(motion, pulses, SETUP, rotors=replace(rotors, speed_hz=rotors.speed_hz * 1.75 * 0.93))
    assert result.verdict is Verdict.NOT_SHOWN
    assert "speeds-disagree" in _kinds(result)


# Settings that cannot be


def test_two_motors_on_one_output_in_the_settings_fail() -> None:
    result = _judged(_clear_record(), replace(SETUP, output_of=OUTPUTS | {Place.FRONT_LEFT: 1}))
    assert result.verdict is Verdict.FAILED
    assert "outputs-shared" in _kinds(result)


def test_a_layout_whose_neighbours_turn_alike_fails() -> None:
    result = _judged(_clear_record(), replace(SETUP, direction_of=dict.fromkeys(PLACES, 1)))
    assert result.verdict is Verdict.FAILED
    assert "layout-impossible" in _kinds(result)


@pytest.mark.parametrize(
    "setup",
    [
        replace(SETUP, output_of={Place.FRONT_RIGHT: 1}),
        replace(SETUP, direction_of={}),
        replace(SETUP, direction_of=dict.fromkeys(PLACES, 0)),
        replace(SETUP, arm_m={Place.FRONT_RIGHT: (0.1, 0.1)}),
        replace(SETUP, arm_m=dict.fromkeys(PLACES, (float("nan"), 0.1))),
    ],
)
def test_a_setup_that_leaves_something_out_is_not_shown(setup: MotorSetup) -> None:
    assert _judged(_clear_record(), setup).verdict is Verdict.NOT_SHOWN


def test_an_output_that_was_not_pulsed_is_named() -> None:
    motion, pulses, rotors = _clear_record()
    upto = motion.at_s < pulses[3].start_s - 0.05
    short = MotionRecord(motion.at_s[upto], motion.force_m_s2[upto], motion.rate_rad_s[upto])
    result = judge_motors(short, pulses[:3], SETUP, rotors=rotors)
    assert result.verdict is Verdict.NOT_SHOWN
    assert result.sentence == "Output 4 (front left) was not judged: no usable pulse on it."
    assert judge_motors(motion, [], SETUP).verdict is Verdict.NOT_SHOWN


def test_a_motor_that_turns_without_a_pulse_of_its_own_is_dangerous() -> None:
    motion, pulses, _ = _clear_record()
    result = judge_motors(motion, pulses[:3], SETUP)
    assert result.verdict is Verdict.FAILED
    assert result.findings[0].kind == "does-not-stop"


def test_the_table_tells_what_the_outputs_were_before() -> None:
    before = replace(
        SETUP, output_of={Place.FRONT_RIGHT: 3, Place.REAR_RIGHT: 2, Place.REAR_LEFT: 1, Place.FRONT_LEFT: 4}
    )
    grid = _judged(_clear_record(), as_found=before).grids[0]
    assert [row[-1] for row in grid.rows] == ["as found", "rear left", "rear right", "front right", "front left"]


# Bad input


def _with_gap(motion: MotionRecord) -> MotionRecord:
    keep = (motion.at_s < 1.2) | (motion.at_s > 1.4)
    return MotionRecord(motion.at_s[keep], motion.force_m_s2[keep], motion.rate_rad_s[keep])


def _with_nan(motion: MotionRecord) -> MotionRecord:
    rate = motion.rate_rad_s.copy()
    rate[(motion.at_s > 1.3) & (motion.at_s < 1.35)] = np.nan
    return replace(motion, rate_rad_s=rate)


def _saturated(motion: MotionRecord) -> MotionRecord:
    return replace(motion, rate_rad_s=np.clip(motion.rate_rad_s, -0.05, 0.05))


def _jumped(motion: MotionRecord) -> MotionRecord:
    return replace(motion, at_s=np.where(motion.at_s > 3.0, motion.at_s - 0.5, motion.at_s))


def _first(motion: MotionRecord, count: int) -> MotionRecord:
    return MotionRecord(motion.at_s[:count], motion.force_m_s2[:count], motion.rate_rad_s[:count])


def _stuck(motion: MotionRecord) -> MotionRecord:
    rate = motion.rate_rad_s.copy()
    rate[:, 2] = 0.001
    return replace(motion, rate_rad_s=rate)


def _slow(motion: MotionRecord) -> MotionRecord:
    return MotionRecord(motion.at_s[::9], motion.force_m_s2[::9], motion.rate_rad_s[::9])


BAD: dict[str, tuple[Callable[[MotionRecord], MotionRecord], str]] = {
    "gap": (_with_gap, "samples are missing"),
    "not a number": (_with_nan, "no numbers"),
    "all not a number": (lambda one: replace(one, rate_rad_s=one.rate_rad_s * np.nan), "told no numbers"),
    "saturated": (_saturated, "end stop"),
    "clock jumps back": (_jumped, "jumps back"),
    "clock is no number": (lambda one: replace(one, at_s=one.at_s * np.nan), "no numbers"),
    "two rows": (lambda one: _first(one, 2), "only 2 samples"),
    "empty": (lambda one: _first(one, 0), "only 0 samples"),
    "constant column": (_stuck, "never changes"),
    "too slow": (_slow, "times per second"),
    "milliseconds": (lambda one: replace(one, at_s=one.at_s * 1000.0), "milliseconds"),
    "degrees per second": (lambda one: replace(one, rate_rad_s=np.degrees(one.rate_rad_s)), "rad/s"),
    "g": (lambda one: replace(one, force_m_s2=one.force_m_s2 / 9.80665), "looks like g"),
    "thousandths of g": (lambda one: replace(one, force_m_s2=one.force_m_s2 / 0.00980665), "thousandths of g"),
    "upside down": (lambda one: replace(one, force_m_s2=-one.force_m_s2), "off level"),
    "uneven columns": (lambda one: replace(one, force_m_s2=one.force_m_s2[:-1]), "different lengths"),
    "no rest before": (lambda one: MotionRecord(one.at_s[450:], one.force_m_s2[450:], one.rate_rad_s[450:]), "rest"),
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("is_faulty", [False, True])
def test_bad_input_is_not_shown_with_a_clear_sentence(name: str, is_faulty: bool) -> None:
    motion, pulses, _ = _clear_record()
    spoil, words = BAD[name]
    setup = replace(SETUP, output_of=dict(zip(PLACES, (2, 1, 3, 4), strict=True))) if is_faulty else SETUP
    result = judge_motors(spoil(motion), pulses, setup)
    if is_faulty:
        assert result.verdict is not Verdict.PASSED
    else:
        assert result.verdict is Verdict.NOT_SHOWN
        assert any(words in finding.words for finding in result.findings), result.findings


@pytest.mark.parametrize(
    "spoil",
    [
        lambda one: replace(one, speed_hz=one.speed_hz * 60.0),
        lambda one: replace(one, speed_hz=one.speed_hz * np.nan),
        lambda one: replace(one, at_s=one.at_s[::-1]),
        lambda one: RotorRecord(one.at_s[:0], one.speed_hz[:0]),
        lambda one: replace(one, speed_hz=np.full_like(one.speed_hz, 80.0)),
    ],
    ids=["turns per minute", "not a number", "backwards", "empty", "constant"],
)
def test_useless_told_speeds_are_said_and_not_used(spoil: Callable[[RotorRecord], RotorRecord]) -> None:
    motion, pulses, rotors = _clear_record()
    result = judge_motors(motion, pulses, SETUP, rotors=spoil(rotors))
    assert result.verdict is Verdict.NOT_SHOWN
    assert "speeds-unusable" in _kinds(result)


def test_a_controller_that_tells_nothing_is_judged_by_what_is_felt() -> None:
    assert _judged(_record(5, **CLEAR, silent_speeds=frozenset({2}))).verdict is Verdict.PASSED


@pytest.mark.parametrize("length_s", [0.1, 5.0, float("nan")])
def test_a_pulse_of_a_wrong_length_is_not_shown(length_s: float) -> None:
    motion, pulses, _ = _clear_record()
    spoilt = [replace(pulses[0], end_s=pulses[0].start_s + length_s), *pulses[1:]]
    assert judge_motors(motion, spoilt, SETUP).verdict is Verdict.NOT_SHOWN


def test_a_craft_is_drawn_the_same_for_the_same_seed() -> None:
    assert drawn_craft(np.random.default_rng(1)) == drawn_craft(np.random.default_rng(1))
    assert isinstance(drawn_craft(np.random.default_rng(1)), Craft)
