"""Laws of the receiver check, the failsafe check and the scaling of serial links, on generated data."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from tests.unit.bench.receiver_hands import SETUP, Radio, session, with_setup

from rotorwright.bench.failsafe import judge_failsafe
from rotorwright.bench.receiver import ReceiverSetup, Stick, StickWindow, judge_receiver, stick_done
from rotorwright.bench.records import AnswerRecord, ChannelRecord
from rotorwright.bench.serial_scaling import ELEVEN_BITS
from rotorwright.bench.verdicts import CheckResult, Verdict

seeds = st.integers(0, 10_000)
maps = st.permutations(range(1, 9)).map(lambda order: dict(zip(Stick, order[:4], strict=True)))
turns = st.tuples(*[st.booleans()] * 4).map(lambda turned: dict(zip(Stick, turned, strict=True)))


def repaired(setup: ReceiverSetup, result: CheckResult) -> ReceiverSetup:
    """Return the settings after the advice of a result was followed."""
    values = {role: text for one in result.findings for role, text in one.settings.items()}
    channels = {stick: int(values.get(f"receiver.channel.{stick}", setup.channel_of[stick])) for stick in Stick}
    bits = int(values.get("receiver.reversed", setup.reversed_bits(setup.is_reversed)))
    turned = {stick: bool(bits >> setup.reversed_bit_of[stick] & 1) for stick in Stick}
    return replace(setup, channel_of=channels, is_reversed=turned)


@settings(max_examples=60, deadline=None)
@given(seeds, maps, turns, maps, turns)
def test_following_the_advice_makes_any_wrong_settings_right(
    seed: int,
    true_map: dict[Stick, int],
    true_turns: dict[Stick, bool],
    set_map: dict[Stick, int],
    set_turns: dict[Stick, bool],
) -> None:
    radio = Radio(channel_of=true_map, is_reversed=true_turns, channels=8)
    record, windows = session(seed, radio)
    setup = with_setup(channel_of=set_map, is_reversed=set_turns)
    result = judge_receiver(record, windows, setup)
    is_right = set_map == true_map and set_turns == true_turns
    assert result.verdict is (Verdict.PASSED if is_right else Verdict.FAILED)
    after = repaired(setup, result)
    assert (after.channel_of, after.is_reversed) == (true_map, true_turns)
    assert judge_receiver(record, windows, after).verdict is Verdict.PASSED


@settings(max_examples=25, deadline=None)
@given(seeds, st.permutations(range(4)), st.floats(-1e5, 1e5))
def test_neither_the_order_of_the_windows_nor_the_start_of_the_clock_matters(
    seed: int, order: list[int], later_s: float
) -> None:
    record, windows = session(seed)
    result = judge_receiver(record, windows, SETUP)
    moved = [StickWindow(w.stick, w.start_s + later_s, w.end_s + later_s) for w in (windows[n] for n in order)]
    again = judge_receiver(ChannelRecord(record.at_s + later_s, record.pulses_us), moved, SETUP)
    assert again.verdict is result.verdict
    assert again.grids == result.grids


@settings(max_examples=60, deadline=None)
@given(
    seeds,
    maps,
    turns,
    st.floats(0, 30),
    st.floats(0, 0.5),
    st.floats(0, 30),
    st.sampled_from([50.0, 66.0, 100.0]),
    st.dictionaries(st.sampled_from(list(Stick)), st.none(), max_size=2),
    st.floats(0, 30),
)
def test_wrong_settings_never_pass_however_poor_radio_and_hands_are(
    seed: int,
    true_map: dict[Stick, int],
    true_turns: dict[Stick, bool],
    sloppy_deg: float,
    loss: float,
    noise_us: float,
    stream_hz: float,
    not_moved: dict[Stick, None],
    gap_at_s: float,
) -> None:
    radio = Radio(true_map, true_turns, loss=loss, noise_us=noise_us, stream_hz=stream_hz, channels=8)
    record, windows = session(seed, radio, sloppy_deg=sloppy_deg, moves=not_moved)
    keep = (record.at_s < gap_at_s) | (record.at_s > gap_at_s + 0.7)
    result = judge_receiver(ChannelRecord(record.at_s[keep], record.pulses_us[keep]), windows, SETUP)
    if true_map != SETUP.channel_of or true_turns != SETUP.is_reversed:
        assert result.verdict is not Verdict.PASSED
    advised = {role: text for one in result.findings for role, text in one.settings.items()}
    for stick in set(Stick) - set(not_moved):
        assert advised.get(f"receiver.channel.{stick}", str(true_map[stick])) == str(true_map[stick])


rough_pulses = st.one_of(st.floats(900, 2100), st.sampled_from([0.0, 1500.0, 65535.0, np.nan, np.inf, -np.inf, 1e300]))
rough_times = st.one_of(st.floats(0, 20), st.sampled_from([np.nan, np.inf, 1e18]))


@st.composite
def rough_records(draw: st.DrawFn) -> ChannelRecord:
    """Return anything that may come for a record."""
    rows, columns = draw(st.integers(0, 60)), draw(st.integers(1, 6))
    at_s = draw(
        st.one_of(
            st.just(np.arange(rows) * 0.02),
            st.just(np.arange(rows) * 0.2),
            arrays.arrays(np.float64, rows, elements=rough_times),
        )
    )
    pulses = draw(arrays.arrays(np.float64, (rows, columns), elements=rough_pulses))
    signal = draw(st.one_of(st.none(), arrays.arrays(np.float64, rows, elements=st.sampled_from([0.0, 1.0, np.nan]))))
    return ChannelRecord(at_s, pulses, signal)


@settings(max_examples=200, deadline=None)
@given(rough_records(), st.floats(-1, 3), st.floats(-1, 3))
def test_whatever_comes_the_checks_answer_and_never_pass(record: ChannelRecord, start_s: float, wide_s: float) -> None:
    windows = [StickWindow(stick, start_s, start_s + wide_s) for stick in Stick]
    assert judge_receiver(record, windows, SETUP).verdict is not Verdict.PASSED
    assert stick_done(record, start_s) in {True, False}
    answers = AnswerRecord(record.at_s, np.ones(len(record.at_s)), np.zeros(len(record.at_s), dtype=np.int64))
    for said in (None, answers):
        for was_armed in (True, False):
            result = judge_failsafe(
                record, said, off_at_s=start_s, on_again_s=start_s + wide_s, setup=SETUP, was_armed=was_armed
            )
            assert result.verdict is not Verdict.PASSED


@given(st.integers(0, ELEVEN_BITS.ticks - 1))
def test_each_tick_goes_there_and_back(tick: int) -> None:
    assert ELEVEN_BITS.tick_of(ELEVEN_BITS.pulse_us(tick)) == tick


@given(st.floats(880, 2159))
def test_no_pulse_is_moved_by_more_than_half_a_tick(pulse_us: float) -> None:
    back = float(ELEVEN_BITS.pulse_us(ELEVEN_BITS.tick_of(pulse_us)))
    assert abs(back - pulse_us) <= ELEVEN_BITS.us_per_tick / 2 + 1e-9


@given(st.one_of(st.floats(-1e9, 879), st.floats(2160, 1e9), st.sampled_from([np.nan, np.inf, -np.inf])))
def test_a_pulse_without_a_tick_is_refused_and_not_cut_off(pulse_us: float) -> None:
    with pytest.raises(ValueError, match="only pulses of 880"):
        ELEVEN_BITS.tick_of([1500.0, pulse_us])
