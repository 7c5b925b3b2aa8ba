"""Records of a craft on foam whose motors are pulsed one after another, propellers off, with every fault as a switch.

The physics is integrated at 2.5 kHz by itself: a rigid body on springs and dampers, rotors with inertia and imbalance,
sensors off the centre of gravity with filters, bias and noise. Nothing of it is shared with what is tested.
Ranges are those of small craft: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import bilinear, lfilter

from rotorwright.bench.motors import PLACES, MotorSetup, Place, Pulse
from rotorwright.bench.records import FloatArray, MotionRecord, RotorRecord

STEP_S = 1.0 / 2500.0
SIGN = {Place.FRONT_RIGHT: (1, 1), Place.REAR_RIGHT: (-1, 1), Place.REAR_LEFT: (-1, -1), Place.FRONT_LEFT: (1, -1)}
TURNS = {Place.FRONT_RIGHT: -1, Place.REAR_RIGHT: 1, Place.REAR_LEFT: -1, Place.FRONT_LEFT: 1}
OUTPUTS = {Place.FRONT_RIGHT: 1, Place.REAR_RIGHT: 2, Place.REAR_LEFT: 3, Place.FRONT_LEFT: 4}
SETUP = MotorSetup(OUTPUTS, TURNS, 14)


@dataclass(frozen=True)
class Craft:
    """One craft, drawn by `drawn_craft`, with its faults."""

    mass_kg: float
    inertia: tuple[float, float, float]
    arm_m: tuple[float, float]
    centre_off_m: tuple[float, float]
    sensor_off_m: tuple[float, float, float]
    rotor_height_m: float
    rotor_inertia: float
    imbalance: Mapping[Place, float]
    spin_up_s: float
    spin_down_s: float
    speed_hz: Mapping[Place, float]
    foam_yaw_hz: float
    foam_side_hz: float
    foam_damping: float
    gyro_hz: float
    accelerometer_hz: float
    sample_hz: float
    delay_s: float
    pulse_s: float
    pause_s: float
    turns: Mapping[Place, int] = field(default_factory=lambda: dict(TURNS))
    wired: Mapping[int, tuple[Place, ...]] = field(
        default_factory=lambda: {output: (place,) for place, output in OUTPUTS.items()}
    )
    runs_on: frozenset[Place] = frozenset()
    rough: Mapping[Place, float] = field(default_factory=dict)
    told_magnets: tuple[int, int] = (14, 14)
    silent_speeds: frozenset[int] = frozenset()
    tells_by_controller: bool = False
    touch_rad_s: float = 0.0


def drawn_craft(rng: np.random.Generator, **changes: object) -> Craft:
    """Draw a healthy craft."""
    speed = rng.uniform(60.0, 140.0)
    yaw = rng.uniform(0.004, 0.012)
    spin = rng.uniform(0.04, 0.12)
    craft = Craft(
        mass_kg=rng.uniform(0.35, 0.8),
        inertia=(yaw * rng.uniform(0.45, 0.65), yaw * rng.uniform(0.5, 0.75), yaw),
        arm_m=tuple(rng.uniform(0.08, 0.13) * rng.uniform(0.93, 1.07, 2)),
        centre_off_m=tuple(rng.normal(0.0, 0.004, 2)),
        sensor_off_m=tuple(rng.normal(0.0, 0.006, 3)),
        rotor_height_m=rng.uniform(-0.02, 0.03),
        rotor_inertia=rng.uniform(2e-6, 8e-6),
        imbalance={place: float(10 ** rng.uniform(np.log10(2e-7), np.log10(1.5e-6))) for place in PLACES},
        spin_up_s=spin,
        spin_down_s=min(0.13, spin * rng.uniform(0.8, 1.6)),
        speed_hz={place: speed * rng.uniform(0.95, 1.05) for place in PLACES},
        foam_yaw_hz=rng.uniform(0.5, 5.0),
        foam_side_hz=rng.uniform(5.0, 12.0),
        foam_damping=rng.uniform(0.1, 0.5),
        gyro_hz=rng.uniform(90.0, 250.0),
        accelerometer_hz=rng.uniform(110.0, 300.0),
        sample_hz=rng.uniform(400.0, 500.0),
        delay_s=rng.uniform(0.0, 0.08),
        pulse_s=rng.uniform(0.8, 1.5),
        pause_s=rng.uniform(0.9, 1.4),
    )
    return replace(craft, **changes)  # type: ignore[arg-type]


def recorded(
    craft: Craft, rng: np.random.Generator, order: tuple[int, ...] = (1, 2, 3, 4)
) -> tuple[MotionRecord, list[Pulse], RotorRecord]:
    """Pulse the outputs one after another and record."""
    pulses = [
        Pulse(output, start := 1.0 + place * (craft.pulse_s + craft.pause_s), start + craft.pulse_s)
        for place, output in enumerate(order)
    ]
    fine_s = np.arange(0.0, pulses[-1].end_s + craft.pause_s, STEP_S)
    speed = {place: _speed(craft, place, fine_s, pulses) for place in PLACES}
    force, moment = _pushes(craft, speed, fine_s, rng)
    motion = _sensed(craft, force, moment, fine_s, rng)
    return motion, pulses, _told(craft, speed, fine_s, rng)


def _speed(craft: Craft, place: Place, fine_s: FloatArray, pulses: list[Pulse]) -> FloatArray:
    """Turn rate in rad/s: first order up and down."""
    top = 2.0 * np.pi * craft.speed_hz[place]
    edges: list[tuple[float, float]] = [(-1.0, 0.0)]
    for pulse in pulses:
        if place in craft.wired.get(pulse.output, ()):
            edges.append((pulse.start_s + craft.delay_s, top))
            if place not in craft.runs_on:
                edges.append((pulse.end_s + craft.delay_s, 0.0))
    speed = np.zeros(len(fine_s))
    now = 0.0
    for place_of_edge, (at_s, target) in enumerate(edges):
        until = edges[place_of_edge + 1][0] if place_of_edge + 1 < len(edges) else np.inf
        inside = (fine_s >= at_s) & (fine_s < until)
        spin_s = craft.spin_up_s if target > now else craft.spin_down_s
        speed[inside] = target + (now - target) * np.exp(-(fine_s[inside] - at_s) / spin_s)
        now = float(speed[inside][-1]) if inside.any() else now
    return speed


def _pushes(
    craft: Craft, speed: Mapping[Place, FloatArray], fine_s: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    force, moment = np.zeros((3, len(fine_s))), np.zeros((3, len(fine_s)))
    for place in PLACES:
        turn = speed[place] * (1.0 + 0.002 * np.sin(2 * np.pi * rng.uniform(1, 4) * fine_s + rng.uniform(0, 6)))
        angle = craft.turns[place] * np.cumsum(turn) * STEP_S + rng.uniform(0.0, 2.0 * np.pi)
        pull = craft.imbalance[place] * turn**2
        wobble = rng.uniform(0.02, 0.08)
        shift = rng.uniform(0.0, 2.0 * np.pi, 3)
        own = np.stack(
            (
                pull * (np.cos(angle) + wobble * np.cos(2 * angle + shift[0])),
                pull * (np.sin(angle) + wobble * np.cos(2 * angle + shift[1])),
                pull * rng.uniform(0.0, 0.1) * np.cos(angle + shift[2]),
            )
        )
        own += (
            craft.rough.get(place, 0.0)
            * craft.mass_kg
            * (turn / turn.max() if turn.max() > 0 else turn)
            * (rng.normal(0.0, 1.0, own.shape) * np.sqrt(1.0 / STEP_S / craft.sample_hz))
        )
        x, y = (part * arm - off for part, arm, off in zip(SIGN[place], craft.arm_m, craft.centre_off_m, strict=True))
        h = craft.rotor_height_m
        force += own
        moment += np.stack((y * own[2] + h * own[1], -h * own[0] - x * own[2], x * own[1] - y * own[0]))
        moment[2] -= craft.turns[place] * craft.rotor_inertia * np.gradient(turn, STEP_S)
    if craft.touch_rad_s:
        moment[2] += _touch(craft, fine_s, rng)
    return force, moment


def _touch(craft: Craft, fine_s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """A hand that rests on the craft: slow pushes all the time."""
    white = rng.normal(0.0, 1.0, len(fine_s))
    slow = lfilter(*_low_pass(3.0), white)
    return np.asarray(slow / slow.std() * craft.touch_rad_s * craft.inertia[2] * 2 * np.pi * 3.0)


def _low_pass(hz: float) -> tuple[FloatArray, FloatArray]:
    a = np.exp(-2.0 * np.pi * hz * STEP_S)
    return np.array([1.0 - a]), np.array([1.0, -a])


def _on_spring(push: FloatArray, hz: float, damping: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return position, velocity, acceleration of a unit mass on a spring."""
    w = 2.0 * np.pi * hz
    over, below = bilinear([1.0], [1.0, 2.0 * damping * w, w * w], 1.0 / STEP_S)
    rate_over, _ = bilinear([1.0, 0.0], [1.0, 2.0 * damping * w, w * w], 1.0 / STEP_S)
    place, speed = lfilter(over, below, push), lfilter(rate_over, below, push)
    return place, speed, push - w * w * place - 2 * damping * w * speed


def _sensed(
    craft: Craft, force: FloatArray, moment: FloatArray, fine_s: FloatArray, rng: np.random.Generator
) -> MotionRecord:
    side, damping = craft.foam_side_hz, craft.foam_damping
    linear = np.stack([_on_spring(one / craft.mass_kg, side, damping)[2] for one in force])
    turning = [
        _on_spring(moment[axis] / craft.inertia[axis], hz, damping)
        for axis, hz in enumerate((side * 0.9, side, craft.foam_yaw_hz))
    ]
    tilt = np.stack([one[0] for one in turning])
    rate, spin = np.stack([one[1] for one in turning]), np.stack([one[2] for one in turning])
    lean = rng.normal(0.0, np.radians(2.5), 2)
    off = np.array(craft.sensor_off_m)[:, None]
    gravity = 9.80665 * np.stack((tilt[1] + lean[1], -(tilt[0] + lean[0]), -np.ones(len(fine_s))))
    felt = linear + np.cross(spin, off, axis=0) + gravity
    at_s = np.arange(0.0, fine_s[-1] - 0.002, 1.0 / craft.sample_hz)
    at_s = at_s[rng.uniform(size=len(at_s)) > 0.003]
    exact_s = at_s + rng.uniform(-2e-5, 2e-5, len(at_s))
    columns = [
        np.interp(exact_s, fine_s, lfilter(*_low_pass(hz), one - one[0]) + one[0])
        for group, hz in ((felt, craft.accelerometer_hz), (rate, craft.gyro_hz))
        for one in group
    ]
    even = np.stack(columns, axis=1)
    return MotionRecord(
        at_s,
        even[:, :3] + rng.normal(0.0, 0.15, 3) + rng.normal(0.0, 0.05, (len(at_s), 3)),
        even[:, 3:] + rng.normal(0.0, 0.01, 3) + rng.normal(0.0, 0.003, (len(at_s), 3)),
    )


def _told(craft: Craft, speed: Mapping[Place, FloatArray], fine_s: FloatArray, rng: np.random.Generator) -> RotorRecord:
    at_s = np.arange(0.02, fine_s[-1], 1.0 / rng.uniform(10.0, 50.0))
    ratio = craft.told_magnets[1] / craft.told_magnets[0]
    columns: list[NDArray[np.float64]] = []
    for output in (1, 2, 3, 4):
        wired = craft.wired.get(output, ())[:1]
        if craft.tells_by_controller:
            wired = tuple(place for place in PLACES if OUTPUTS[place] == output)
        own = sum((speed[place] for place in wired), np.zeros(len(fine_s))) / (2.0 * np.pi)
        told = np.interp(at_s - 0.02, fine_s, own) * ratio
        told = np.where(told > 5.0, np.round(told + rng.normal(0.0, 0.4, len(at_s)), 1), 0.0)
        columns.append(np.full(len(at_s), np.nan) if output in craft.silent_speeds else told)
    return RotorRecord(at_s, np.stack(columns, axis=1))
