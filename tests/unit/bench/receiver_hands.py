"""Records of channels as hands, a transmitter, a receiver and a stream make them; every number seeded.

Hands: they start late, move in 0.4 to 1.5 s, hold for 0.6 to 2 s, go up to 10 degrees off the asked way (so the other
axis of the same gimbal moves along), press not quite to the stop, and let the stick come back with some hysteresis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from rotorwright.bench.receiver import STICK_ORDER, ReceiverSetup, Stick, StickWindow
from rotorwright.bench.records import ChannelRecord
from rotorwright.bench.serial_scaling import ELEVEN_BITS

Floats = NDArray[np.float64]

FINE_HZ = 1000
GIMBAL_MATE = {Stick.ROLL: Stick.PITCH, Stick.PITCH: Stick.ROLL, Stick.THRUST: Stick.YAW, Stick.YAW: Stick.THRUST}
USUAL_MAP = {Stick.ROLL: 1, Stick.PITCH: 2, Stick.THRUST: 3, Stick.YAW: 4}
STRAIGHT = dict.fromkeys(Stick, False)
SETUP = ReceiverSetup(
    channel_of=USUAL_MAP,
    is_reversed=STRAIGHT,
    low_us=1040.0,
    middle_us=1500.0,
    high_us=1960.0,
    dead_us=3.0,
    wait_s=0.3,
    action="Motors off",
    arming_channel=5,
    arming_lowest_us=1700.0,
    arming_highest_us=2100.0,
)


@dataclass(frozen=True)
class Radio:
    """What the transmitter, the receiver and the stream are like."""

    channel_of: Mapping[Stick, int] = field(default_factory=lambda: dict(USUAL_MAP))
    is_reversed: Mapping[Stick, bool] = field(default_factory=lambda: dict(STRAIGHT))
    half_travel_us: float = 511.0
    centre_off_us: Mapping[Stick, float] = field(default_factory=dict)
    noise_us: float = 0.4
    channels: int = 16
    frame_hz: float = 50.0
    stream_hz: float = 100.0
    stream_jitter: float = 0.1
    loss: float = 0.005
    frozen_s: tuple[tuple[float, float], ...] = ()
    mix: tuple[tuple[Stick, Stick, float], ...] = ()
    gives_ticks: bool = True


def moved(start: float, end: float, seconds: float) -> Floats:
    """Return a move as hands make it: smooth start, smooth end (minimum jerk, Flash and Hogan 1985)."""
    part = np.linspace(0, 1, max(2, int(seconds * FINE_HZ)))
    return np.asarray(start + (end - start) * (10 * part**3 - 15 * part**4 + 6 * part**5), dtype=np.float64)


def held(place: float, seconds: float) -> Floats:
    return np.full(int(seconds * FINE_HZ), place)


def one_stick(rng: np.random.Generator, stick: Stick, *, ends: tuple[int, ...] = (1, -1)) -> Floats:
    """Return the places (-1 to 1) of one stick while it is asked for, from rest to rest."""
    rest = -1.0 if stick is Stick.THRUST else 0.0
    place, parts = rest, [held(rest, rng.uniform(0.3, 1.0))]
    for end in ends:
        goal = rest if end == rest else end * rng.uniform(0.98, 1.0)
        parts += [moved(place, goal, rng.uniform(0.4, 1.5)), held(goal, rng.uniform(0.6, 2.0))]
        place = goal
    if place != rest:
        parts.append(moved(place, rest, rng.uniform(0.4, 1.5)))
    return np.concatenate([*parts, held(rest, rng.uniform(0.4, 0.8))])


def all_sticks(
    rng: np.random.Generator,
    *,
    order: tuple[Stick, ...] = STICK_ORDER,
    moves: Mapping[Stick, Stick | None] | None = None,
    ends: tuple[int, ...] = (1, -1),
    sloppy_deg: float = 10.0,
) -> tuple[dict[Stick, Floats], list[StickWindow]]:
    """Return the places of all sticks on a fine grid, and the windows; `moves`: which stick is moved instead."""
    places: dict[Stick, list[Floats]] = {stick: [held(-1.0 if stick is Stick.THRUST else 0.0, 0.6)] for stick in Stick}
    windows, at_s = [], 0.6
    for asked in order:
        really = (moves or {}).get(asked, asked)
        path = one_stick(rng, really or asked, ends=ends)
        aslant = np.tan(np.radians(rng.uniform(-sloppy_deg, sloppy_deg)))
        for stick in Stick:
            rest = -1.0 if stick is Stick.THRUST else 0.0
            here = np.full(len(path), rest)
            if stick is really:
                here = path
            elif really is not None and stick is GIMBAL_MATE[really]:
                swing = path - (-1.0 if really is Stick.THRUST else 0.0)
                here = np.clip(rest + aslant * swing * (0.5 if really is Stick.THRUST else 1.0), -1, 1)
            if stick is not Stick.THRUST:
                here = here + rng.uniform(-0.006, 0.006)  # hysteresis of the spring
            places[stick].append(here)
        windows.append(StickWindow(asked, at_s, at_s + len(path) / FINE_HZ))
        at_s += len(path) / FINE_HZ
    return {stick: np.concatenate([*parts, parts[-1][-300:]]) for stick, parts in places.items()}, windows


def heard(rng: np.random.Generator, places: Mapping[Stick, Floats], radio: Radio) -> ChannelRecord:
    """Return what a stream shows of the channels."""
    seconds = len(places[Stick.ROLL]) / FINE_HZ
    frame_s = np.arange(rng.uniform(0, 1 / radio.frame_hz), seconds, 1 / radio.frame_hz)
    pulses = _sent(rng, places, radio, frame_s)
    is_got = rng.random(len(frame_s)) >= radio.loss
    for start, end in radio.frozen_s:
        is_got &= (frame_s < start) | (frame_s >= end)
    is_got[0] = True
    at_s = np.arange(frame_s[0] + 1 / radio.stream_hz, seconds, 1 / radio.stream_hz)
    at_s = at_s + rng.uniform(-0.5, 0.5, len(at_s)) * radio.stream_jitter / radio.stream_hz
    got = frame_s[is_got]
    return ChannelRecord(at_s, pulses[is_got][np.searchsorted(got, at_s, side="right") - 1])


def _sent(rng: np.random.Generator, places: Mapping[Stick, Floats], radio: Radio, frame_s: Floats) -> Floats:
    pulses = np.full((len(frame_s), radio.channels), 1500.0)
    pulses[:, 4:] = rng.choice([1000.0, 1500.0, 2000.0], radio.channels - 4)
    pulses[:, 4] = 1000.0
    index = np.minimum((frame_s * FINE_HZ).astype(np.int64), len(places[Stick.ROLL]) - 1)
    steered = {stick: places[stick][index] for stick in Stick}
    for source, target, share in radio.mix:
        swing = places[source][index] + (1.0 if source is Stick.THRUST else 0.0)
        steered[target] = np.clip(steered[target] + share * swing, -1, 1)
    for stick in Stick:
        sign = -1.0 if radio.is_reversed[stick] else 1.0
        exact = 1500 + sign * radio.half_travel_us * steered[stick] + radio.centre_off_us.get(stick, 0.0)
        exact = exact + rng.normal(0, radio.noise_us, len(frame_s))
        pulses[:, radio.channel_of[stick] - 1] = np.clip(exact, 885, 2115)
    return ELEVEN_BITS.pulse_us(ELEVEN_BITS.tick_of(pulses)) if radio.gives_ticks else np.round(pulses)


def session(seed: int, radio: Radio | None = None, **hands: object) -> tuple[ChannelRecord, list[StickWindow]]:
    """Return one whole session: every stick asked for in turn."""
    rng = np.random.default_rng(seed)
    places, windows = all_sticks(rng, **hands)  # type: ignore[arg-type]
    return heard(rng, places, radio or Radio()), windows


def varied(seed: int) -> Radio:
    """Return a sound radio, another one for each seed."""
    rng = np.random.default_rng([seed, 7])
    return Radio(
        half_travel_us=float(rng.choice([500.0, 511.0])),
        noise_us=float(rng.uniform(0, 2.0)),
        channels=int(rng.choice([8, 12, 16])),
        frame_hz=float(rng.choice([50, 100, 111, 150, 250, 333, 500])),
        stream_hz=float(rng.choice([50, 66, 100])),
        stream_jitter=float(rng.uniform(0, 0.6)),
        loss=float(rng.uniform(0, 0.02)),
        gives_ticks=bool(rng.random() < 0.5),
    )


def with_setup(**changes: object) -> ReceiverSetup:
    return replace(SETUP, **changes)  # type: ignore[arg-type]
