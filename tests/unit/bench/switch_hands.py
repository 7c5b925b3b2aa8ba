"""Hands that move switches, and an aircraft that answers: seeded records with human irregularity."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rotorwright.bench.arming import ArmingSetup, Switching
from rotorwright.bench.records import AnswerRecord, ChannelRecord, FloatArray

CHANNELS = 12
BITS = {"level": 0, "height": 3, "right itself": 5}
ARMING = Switching("arming", 5, 1700, 2100)
FUNCTIONS = (
    Switching("level", 6, 900, 1300),
    Switching("height", 6, 1300, 1700),
    Switching("right itself", 7, 1700, 2100),
)
HEALTHY = ArmingSetup(
    ARMING,
    FUNCTIONS,
    channels=CHANNELS,
    rest_us={3: 990.0, 5: 1000.0, 6: 1000.0, 7: 1000.0},
    failsafe_action="land",
    failsafe_stops_motors=True,
    arms_by_stick=False,
    thrust_channel=3,
    thrust_low_us=1050.0,
    asks_thrust_low=True,
    start_output_percent=5.0,
    exclusive=(("arming", "right itself"),),
    stick_channels=(1, 2, 4),
)
EVERY_SWITCH = ((5, 2000), (5, 1000), (6, 1500), (6, 2000), (6, 1000), (7, 2000), (7, 1000), (5, 2000), (5, 1000))

Behaviour = Callable[[FloatArray, bool], bool]


@dataclass(frozen=True)
class Session:
    """What was recorded."""

    channels: ChannelRecord
    answers: AnswerRecord


def arms_by(*ranges: Switching) -> Behaviour:
    """Return an aircraft that is armed in any of these ranges."""
    return lambda pulses_us, _was: any(one.is_on(pulses_us[one.channel - 1]) for one in ranges)


def stays_armed_once(arming: Switching) -> Behaviour:
    return lambda pulses_us, was: was or arming.is_on(pulses_us[arming.channel - 1])


def never_arms(_pulses_us: FloatArray, _was: bool) -> bool:
    return False


def record_moves(
    seed: int,
    moves: Sequence[tuple[int, float]] = EVERY_SWITCH,
    *,
    armed: Behaviour | None = None,
    functions: Sequence[Switching] = FUNCTIONS,
    holds_s: tuple[float, float] = (1.2, 2.5),
    thrust_us: float = 990.0,
) -> Session:
    """Move switches one after another and let the aircraft answer.

    Args:
        moves: channel and where its switch is put.
        armed: whether the aircraft is armed, from the pulses that it hears and whether it was; by default as it should.
        functions: which functions it really switches.
        holds_s: how long each position is held.
    """
    rng = np.random.default_rng(seed)
    at_s, pulses_us = _heard(rng, moves, holds_s, thrust_us)
    true_at = at_s.copy()
    keep = rng.random(len(at_s)) > 0.01
    record = pulses_us + rng.normal(0, rng.uniform(0.2, 2.0), pulses_us.shape)
    record = np.round(record) if rng.random() < 0.5 else record
    record[rng.random(len(at_s)) < 0.004] = np.nan
    answers = _answers(rng, true_at, pulses_us, armed or arms_by(ARMING), functions)
    offset = rng.uniform(0, 5000)
    channels = ChannelRecord(at_s[keep] + offset, record[keep], np.ones(int(keep.sum())))
    return Session(channels, replace(answers, at_s=answers.at_s + offset))


def _heard(
    rng: np.random.Generator, moves: Sequence[tuple[int, float]], holds_s: tuple[float, float], thrust_us: float
) -> tuple[FloatArray, FloatArray]:
    place = np.full(CHANNELS, 1500.0)
    place[[2, 4, 5, 6]] = (thrust_us, 1000.0, 1000.0, 1000.0)
    place += rng.uniform(-8, 8, CHANNELS)  # end points and trims of this transmitter
    rows = [(rng.uniform(*holds_s), place.copy())]
    for channel, pulse in moves:
        if rng.random() < 0.1:  # back and forth before it is where it shall be
            rows.append((rng.uniform(0.05, 0.3), _moved(rows[-1][1], channel, pulse)))
            rows.append((rng.uniform(0.05, 0.3), rows[-2][1].copy()))
        half = _moved(rows[-1][1], channel, (rows[-1][1][channel - 1] + pulse) / 2)
        rows.append((rng.uniform(0.0, 0.04), half))
        rows.append((rng.uniform(*holds_s), _moved(rows[-1][1], channel, pulse + rng.uniform(-8, 8))))
    ends = np.cumsum([seconds for seconds, _ in rows])
    rate_hz = rng.uniform(10, 50)
    at_s = np.arange(0, ends[-1], 1 / rate_hz) + rng.uniform(0, 0.2 / rate_hz, len(np.arange(0, ends[-1], 1 / rate_hz)))
    index = np.minimum(np.searchsorted(ends, at_s), len(rows) - 1)
    return at_s, np.array([rows[one][1] for one in index])


def _moved(place: FloatArray, channel: int, pulse: float) -> FloatArray:
    moved = place.copy()
    moved[channel - 1] = pulse
    return moved


def _answers(
    rng: np.random.Generator,
    at_s: FloatArray,
    pulses_us: FloatArray,
    armed: Behaviour,
    functions: Sequence[Switching],
) -> AnswerRecord:
    states, was = [], False
    for row in pulses_us:
        was = armed(row, was)
        bits = 0
        for one in functions:
            bits |= int(one.is_on(row[one.channel - 1])) << BITS[one.function]
        states.append((was, bits))
    times = np.arange(rng.uniform(0, 0.2), at_s[-1], 1 / rng.uniform(4, 20))
    lag_s = rng.uniform(0.02, 0.25)
    index = np.clip(np.searchsorted(at_s, times - lag_s, side="right") - 1, 0, None)
    said = [states[one] for one in index]
    return AnswerRecord(
        times,
        np.array([float(one) for one, _ in said]),
        np.array([bits for _, bits in said], dtype=np.int64),
    )
