"""The receiver check: sound radios pass, each fault is found with the right advice, bad records are never a pass."""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest
from tests.unit.bench.receiver_hands import (
    FINE_HZ,
    SETUP,
    STRAIGHT,
    USUAL_MAP,
    Radio,
    all_sticks,
    heard,
    session,
    varied,
    with_setup,
)

from rotorwright.bench.receiver import STICK_ORDER, Stick, StickWindow, judge_receiver, stick_done, stick_words
from rotorwright.bench.records import ChannelRecord
from rotorwright.bench.verdicts import CheckResult, Finding, Verdict


def found(result: CheckResult, kind: str) -> Finding:
    kinds = [one.kind for one in result.findings]
    assert kind in kinds, (result.verdict, kinds)
    return result.findings[kinds.index(kind)]


def value_of(result: CheckResult, name: str) -> float:
    return next(one.value for one in result.measured if one.name == name)


@pytest.mark.parametrize("block", range(6))
def test_sound_radios_and_ordinary_hands_pass(block: int) -> None:
    for seed in range(block * 50, block * 50 + 50):
        record, windows = session(seed, varied(seed))
        result = judge_receiver(record, windows, SETUP)
        assert result.verdict is Verdict.PASSED, (seed, result.sentence)


def test_a_passed_check_tells_its_numbers() -> None:
    result = judge_receiver(*session(3), SETUP, as_found=SETUP)
    assert [value_of(result, f"{stick}: channel") for stick in STICK_ORDER] == [3, 1, 2, 4]
    assert value_of(result, "roll: rest") == pytest.approx(1500, abs=6)
    assert value_of(result, "roll: high end") == pytest.approx(2006, abs=8)
    assert value_of(result, "receiver frames, at least") == pytest.approx(50, rel=0.05)
    assert "those that were found" in result.sentence
    assert result.grids[0].rows[1] == ("thrust", "3", "3", "3", "straight", "straight", "straight")
    assert len(result.figures) == 1
    assert all(len(curve.points) <= 300 for curve in result.figures[0].curves)
    assert result.as_json()["verdict"] == "passed"


def test_a_stream_too_slow_for_the_frames_only_tells_so() -> None:
    result = judge_receiver(*session(4, Radio(frame_hz=250, stream_hz=50)), SETUP)
    told = next(one for one in result.measured if one.name == "receiver frames, at least")
    assert result.verdict is Verdict.PASSED
    assert told.is_met is None
    assert told.limit.startswith("not shown")


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(Stick, 2)))
@pytest.mark.parametrize("seed", range(3))
def test_two_swapped_sticks_are_found_and_the_right_channels_advised(one: Stick, other: Stick, seed: int) -> None:
    true_map = {**USUAL_MAP, one: USUAL_MAP[other], other: USUAL_MAP[one]}
    record, windows = session(seed, replace(varied(seed), channel_of=true_map))
    result = judge_receiver(record, windows, SETUP)
    finding = found(result, "channel-map-differs")
    assert result.verdict is Verdict.FAILED
    assert finding.is_dangerous
    assert finding.settings == {
        f"receiver.channel.{one}": str(true_map[one]),
        f"receiver.channel.{other}": str(true_map[other]),
    }
    assert judge_receiver(record, windows, with_setup(channel_of=true_map)).verdict is Verdict.PASSED


@pytest.mark.parametrize("stick", list(Stick))
@pytest.mark.parametrize("seed", range(3))
def test_a_stick_the_wrong_way_round_is_found_and_the_right_bits_advised(stick: Stick, seed: int) -> None:
    turned = {**STRAIGHT, stick: True}
    record, windows = session(seed, replace(varied(seed), is_reversed=turned))
    result = judge_receiver(record, windows, SETUP)
    finding = found(result, "stick-reversed")
    bit = {Stick.ROLL: 1, Stick.PITCH: 2, Stick.THRUST: 4, Stick.YAW: 8}[stick]
    assert finding.is_dangerous
    assert finding.settings == {"receiver.reversed": str(bit)}
    assert str(stick) in finding.words
    assert judge_receiver(record, windows, with_setup(is_reversed=turned)).verdict is Verdict.PASSED


@pytest.mark.parametrize("turned_bits", range(16))
def test_all_orders_of_four_sticks_with_all_directions_are_solved_exactly(turned_bits: int) -> None:
    turned = {stick: bool(turned_bits >> n & 1) for n, stick in enumerate(Stick)}
    rng = np.random.default_rng([turned_bits, 3])
    places, windows = all_sticks(rng)
    for order in itertools.permutations((1, 2, 3, 4)):
        true_map = dict(zip(Stick, order, strict=True))
        record = heard(rng, places, Radio(channel_of=true_map, is_reversed=turned, channels=8))
        result = judge_receiver(record, windows, SETUP)
        wrong = {stick for stick in Stick if true_map[stick] != USUAL_MAP[stick]}
        advised = {key: value for one in result.findings for key, value in one.settings.items()}
        expected = {f"receiver.channel.{stick}": str(true_map[stick]) for stick in wrong}
        if turned_bits:
            expected["receiver.reversed"] = str(turned_bits)
        assert advised == expected, (order, turned)
        is_sound = not wrong and not turned_bits
        assert result.verdict is (Verdict.PASSED if is_sound else Verdict.FAILED)
        assert result.is_dangerous is not is_sound


FAULTS: Mapping[str, tuple[Radio, str, str]] = {
    "ends short": (Radio(half_travel_us=400), "end-short", "widen the travel of channel 1"),
    "centre off": (Radio(centre_off_us={Stick.ROLL: 40.0}), "centre-off", "middle of channel 1 to 1500 us"),
    "centre off down": (Radio(centre_off_us={Stick.YAW: -40.0}), "centre-off", "middle of channel 4 to 1500 us"),
    "jitter": (Radio(noise_us=15.0), "jitter", "loose plug"),
    "frames lost": (Radio(loss=0.2), "frames-lost", "aerials"),
    "frames lost, quick stream and frames": (Radio(loss=0.2, frame_hz=100), "frames-lost", "aerials"),
    "frames lost, slow stream": (Radio(loss=0.2, stream_hz=50), "frames-lost", "aerials"),
    "mixed": (Radio(mix=((Stick.ROLL, Stick.YAW, 0.5),)), "channels-mixed", "Take mixing out"),
    "mixed backwards": (Radio(mix=((Stick.THRUST, Stick.PITCH, -0.5),)), "channels-mixed", "Take mixing out"),
}


@pytest.mark.parametrize("name", list(FAULTS))
def test_each_fault_is_found_with_its_advice_and_its_twin_without_it_passes(name: str) -> None:
    radio, kind, advice = FAULTS[name]
    sound = replace(Radio(), frame_hz=radio.frame_hz, stream_hz=radio.stream_hz)
    for seed in range(12):
        result = judge_receiver(*session(seed, radio), SETUP)
        assert result.verdict is Verdict.FAILED, seed
        told = [one for one in result.findings if one.kind == kind]
        assert told, (seed, [one.kind for one in result.findings])
        assert any(advice in one.advice for one in told)
        twin = judge_receiver(*session(seed, sound), SETUP)
        assert twin.verdict is Verdict.PASSED, (seed, twin.sentence)


def test_thrust_that_does_not_come_down_is_dangerous() -> None:
    radio = Radio(centre_off_us={Stick.THRUST: 120.0}, half_travel_us=500)
    result = judge_receiver(*session(1, radio), SETUP)
    finding = found(result, "end-short")
    assert finding.is_dangerous
    assert "thrust" in finding.words


def test_a_wide_dead_zone_allows_a_middle_that_is_off() -> None:
    record, windows = session(2, Radio(centre_off_us={Stick.ROLL: 18.0}))
    assert judge_receiver(record, windows, SETUP).verdict is Verdict.FAILED
    assert judge_receiver(record, windows, with_setup(dead_us=25.0)).verdict is Verdict.PASSED


@pytest.mark.parametrize("seed", range(8))
def test_a_receiver_that_stands_still_in_the_middle_of_a_move_is_found(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places, windows = all_sticks(rng)
    way = places[Stick.ROLL]
    middle_s = float(np.flatnonzero(np.abs(way - 0.6) < 0.02)[0]) / FINE_HZ
    assert judge_receiver(heard(rng, places, Radio()), windows, SETUP).verdict is Verdict.PASSED
    frozen = heard(rng, places, Radio(frozen_s=((middle_s - 0.05, middle_s + 0.6),)))
    result = judge_receiver(frozen, windows, SETUP)
    assert found(result, "receiver-froze").is_dangerous
    assert result.verdict is Verdict.FAILED


@pytest.mark.parametrize("seed", range(8))
def test_a_receiver_that_stands_still_for_good_is_found(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places, windows = all_sticks(rng)
    record = heard(rng, places, Radio(noise_us=1.0, frozen_s=((windows[2].start_s - 0.1, 1e9),)))
    result = judge_receiver(record, windows, SETUP)
    assert found(result, "receiver-frozen").is_dangerous
    assert result.verdict is Verdict.FAILED


def test_a_receiver_frozen_from_the_start_is_not_shown() -> None:
    result = judge_receiver(*session(1, Radio(frozen_s=((0.0, 1e9),))), SETUP)
    assert result.verdict is Verdict.NOT_SHOWN
    assert result.findings[0].kind == "nothing-changes"
    later = judge_receiver(*session(1, Radio(frozen_s=((0.3, 1e9),))), SETUP)
    assert later.verdict is Verdict.NOT_SHOWN
    assert "froze" in later.findings[0].advice


# What people do


@pytest.mark.parametrize("stick", list(Stick))
def test_a_stick_not_moved_is_not_shown(stick: Stick) -> None:
    for seed in range(5):
        result = judge_receiver(*session(seed, varied(seed), moves={stick: None}), SETUP)
        finding = found(result, "stick-not-moved")
        assert result.verdict is Verdict.NOT_SHOWN
        assert finding.is_missing
        assert str(stick) in finding.words
        assert stick_words(stick, "positive") in finding.advice


@pytest.mark.parametrize(("asked", "moved"), list(itertools.permutations(Stick, 2)))
def test_the_wrong_stick_moved_is_said_and_not_shown(asked: Stick, moved: Stick) -> None:
    for seed in range(3):
        result = judge_receiver(*session(seed, varied(seed), moves={asked: moved}), SETUP)
        assert result.verdict is Verdict.NOT_SHOWN, [one.words for one in result.findings]
        assert found(result, "wrong-stick-moved").is_missing


def test_a_stick_moved_to_one_end_only_is_not_shown() -> None:
    for seed in range(10):
        result = judge_receiver(*session(seed, ends=(1,)), SETUP)
        assert not result.is_dangerous
        assert result.verdict is not Verdict.PASSED
        assert found(result, "direction-not-clear").is_missing


def test_two_sticks_moved_at_once_are_not_shown() -> None:
    rng = np.random.default_rng(5)
    places, windows = all_sticks(rng, sloppy_deg=0)
    first, end = (int(one * FINE_HZ) for one in (windows[1].start_s, windows[1].end_s))
    swing = np.sin(np.linspace(0, 9 * math.pi, end - first))
    places[Stick.PITCH][first:end] += 0.9 * swing
    result = judge_receiver(heard(rng, places, Radio()), windows, SETUP)
    assert found(result, "stick-not-clear").is_missing
    assert result.verdict is not Verdict.PASSED


def test_a_stick_not_asked_for_is_not_shown() -> None:
    record, windows = session(7)
    for left_out in Stick:
        result = judge_receiver(record, [one for one in windows if one.stick is not left_out], SETUP)
        assert result.verdict is Verdict.NOT_SHOWN
        assert found(result, "stick-not-asked").is_missing
    assert judge_receiver(record, [], SETUP).verdict is Verdict.NOT_SHOWN


def test_the_last_window_of_a_stick_counts() -> None:
    rng = np.random.default_rng(11)
    order = (Stick.ROLL, *STICK_ORDER)
    places, windows = all_sticks(rng, order=order)
    first, end = (int(one * FINE_HZ) for one in (windows[0].start_s, windows[0].end_s))
    places[Stick.ROLL][first:end] = 0.0
    result = judge_receiver(heard(rng, places, Radio()), windows, SETUP)
    assert result.verdict is Verdict.PASSED, result.sentence


def test_any_order_of_asking_does() -> None:
    for order in itertools.permutations(Stick):
        result = judge_receiver(*session(9, order=order), SETUP)
        assert result.verdict is Verdict.PASSED, order


# Settings and what was found


def test_what_was_found_before_is_told_with_a_wrong_map() -> None:
    true_map = {**USUAL_MAP, Stick.ROLL: 2, Stick.PITCH: 1}
    record, windows = session(3, Radio(channel_of=true_map))
    lost = judge_receiver(record, windows, SETUP, as_found=with_setup(channel_of=true_map))
    other = judge_receiver(record, windows, SETUP, as_found=SETUP)
    assert "found with" in found(lost, "channel-map-differs").advice
    assert "right model is chosen" in found(other, "channel-map-differs").advice


def test_a_map_changed_on_purpose_passes_and_is_told() -> None:
    result = judge_receiver(*session(3), SETUP, as_found=with_setup(channel_of={**USUAL_MAP, Stick.YAW: 6}))
    assert result.verdict is Verdict.PASSED
    assert "Another channel than when the aircraft was found: yaw" in result.sentence


def test_a_channel_that_does_not_exist_fails_whatever_is_moved() -> None:
    setup = with_setup(channel_of={**USUAL_MAP, Stick.YAW: 14})
    record, windows = session(3, Radio(channels=8))
    for asked in (windows, windows[:2]):
        result = judge_receiver(record, asked, setup)
        assert result.verdict is Verdict.FAILED
        assert found(result, "channel-absent").is_dangerous


def test_one_channel_for_two_sticks_fails_even_without_a_record() -> None:
    setup = with_setup(channel_of={**USUAL_MAP, Stick.YAW: 1})
    nothing = ChannelRecord(np.empty(0), np.empty((0, 8)))
    assert found(judge_receiver(nothing, [], setup), "channel-set-twice").is_dangerous
    assert found(judge_receiver(*session(3), setup), "channel-map-differs").settings == {"receiver.channel.yaw": "4"}


def test_no_settings_are_advised_that_would_give_one_channel_to_two_sticks() -> None:
    true_map = {**USUAL_MAP, Stick.ROLL: 2, Stick.PITCH: 1}
    record, windows = session(3, Radio(channel_of=true_map))
    result = judge_receiver(record, [one for one in windows if one.stick is not Stick.PITCH], SETUP)
    finding = found(result, "channel-map-differs")
    assert finding.settings == {}
    assert "not shown" in finding.advice


def test_a_map_that_the_settings_do_not_tell_is_not_shown() -> None:
    setup = with_setup(channel_of={Stick.ROLL: 1, Stick.PITCH: 2, Stick.YAW: 4})
    result = judge_receiver(*session(3), setup)
    assert result.verdict is Verdict.NOT_SHOWN
    assert found(result, "map-not-known").is_missing


def test_a_copy_of_a_stick_on_a_spare_channel_is_no_fault() -> None:
    record, windows = session(3)
    record.pulses_us[:, 8] = record.pulses_us[:, 0]
    assert judge_receiver(record, windows, SETUP).verdict is Verdict.PASSED
    elsewhere = with_setup(channel_of={**USUAL_MAP, Stick.ROLL: 9})
    assert judge_receiver(record, windows, elsewhere).verdict is Verdict.PASSED


def test_a_channel_that_always_wanders_is_taken_for_no_stick() -> None:
    record, windows = session(3)
    rng = np.random.default_rng(1)
    record.pulses_us[:, 9] = rng.uniform(1000, 2000, len(record.at_s))
    result = judge_receiver(record, windows, with_setup(channel_of={**USUAL_MAP, Stick.ROLL: 10}))
    assert result.verdict is not Verdict.PASSED


def test_a_signal_that_breaks_off_is_found_and_none_at_all_is_not_shown() -> None:
    record, windows = session(3)
    signal = np.ones(len(record.at_s))
    assert judge_receiver(replace(record, is_signal=signal), windows, SETUP).verdict is Verdict.PASSED
    first = int(np.searchsorted(record.at_s, windows[1].start_s))
    broken = signal.copy()
    broken[first + 50 : first + 80] = 0
    result = judge_receiver(replace(record, is_signal=broken), windows, SETUP)
    assert found(result, "signal-broke-off")
    assert result.verdict is Verdict.FAILED
    none = judge_receiver(replace(record, is_signal=np.zeros_like(signal)), windows, SETUP)
    assert none.verdict is Verdict.NOT_SHOWN


def test_a_spare_channel_that_always_wanders_disturbs_nothing() -> None:
    rng = np.random.default_rng(1)
    for seed in range(5):
        record, windows = session(seed)
        record.pulses_us[:, 9] = rng.uniform(900, 2100, len(record.at_s))
        assert judge_receiver(record, windows, SETUP).verdict is Verdict.PASSED


def test_samples_that_the_stream_lost_are_not_laid_to_the_receiver() -> None:
    rng = np.random.default_rng(2)
    for seed in range(20):
        record, windows = session(seed, Radio(loss=0.0))
        kept = rng.random(len(record.at_s)) > 0.15
        result = judge_receiver(ChannelRecord(record.at_s[kept], record.pulses_us[kept]), windows, SETUP)
        assert result.verdict is Verdict.PASSED, (seed, result.sentence)
        assert 42 < value_of(result, "receiver frames, at least") < 51


def test_single_missing_pulses_neither_hide_a_fault_nor_make_one() -> None:
    rng = np.random.default_rng(3)
    for radio, verdict in ((Radio(), Verdict.PASSED), (Radio(mix=((Stick.ROLL, Stick.YAW, 0.5),)), Verdict.FAILED)):
        for nothing in (0.0, np.nan, np.inf):
            record, windows = session(4, radio)
            record.pulses_us[:, :4][rng.random((len(record.at_s), 4)) < 0.01] = nothing
            assert judge_receiver(record, windows, SETUP).verdict is verdict, nothing


def test_a_thrust_stick_that_was_not_brought_back_tells_no_direction() -> None:
    for turned in (False, True):
        rng = np.random.default_rng(8)
        places, windows = all_sticks(rng)
        first, end = (int(one * FINE_HZ) for one in (windows[0].start_s, windows[0].end_s))
        way = places[Stick.THRUST][first:end]
        way[int(np.argmax(way > 0.95)) :] = 1.0  # the rest of the window at the top
        radio = Radio(is_reversed={**STRAIGHT, Stick.THRUST: turned})
        result = judge_receiver(heard(rng, places, radio), windows, SETUP)
        assert found(result, "direction-not-clear").is_missing
        assert not result.is_dangerous


def test_a_stick_moved_twice_in_a_short_record_is_not_said_to_rest_elsewhere() -> None:
    for seed in range(30):
        order = (Stick.ROLL, Stick.PITCH)
        record, windows = session(seed, order=order, moves={Stick.PITCH: Stick.ROLL})
        result = judge_receiver(record, windows, SETUP)
        assert result.verdict is Verdict.NOT_SHOWN, (seed, result.sentence)


def test_holes_in_a_stick_s_channel_are_no_missing_channel() -> None:
    record, windows = session(6)
    record.pulses_us[::4, 0] = np.nan
    result = judge_receiver(record, windows, SETUP)
    assert [one.kind for one in result.findings] == ["channel-with-holes"]


# Bad records


def damaged(change: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]) -> CheckResult:
    record, windows = session(6)
    return judge_receiver(ChannelRecord(*change(record.at_s.copy(), record.pulses_us.copy())), windows, SETUP)


def _jump_back(at_s: np.ndarray, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    at_s[len(at_s) // 2 :] -= 3.0
    return at_s, pulses


def _gap(at_s: np.ndarray, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    keep = np.ones(len(at_s), dtype=bool)
    keep[len(at_s) // 2 : len(at_s) // 2 + 120] = False
    return at_s[keep], pulses[keep]


def _nan_rows(at_s: np.ndarray, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    pulses[::4] = np.nan
    return at_s, pulses


def _nan_times(at_s: np.ndarray, pulses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    at_s[100] = np.nan
    return at_s, pulses


BAD: Mapping[str, Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]] = {
    "clock jumps back": _jump_back,
    "gap": _gap,
    "holes": _nan_rows,
    "NaN in times": _nan_times,
    "empty": lambda at_s, pulses: (at_s[:0], pulses[:0]),
    "one row": lambda at_s, pulses: (at_s[:1], pulses[:1]),
    "two rows": lambda at_s, pulses: (at_s[:2], pulses[:2]),
    "no columns": lambda at_s, pulses: (at_s, pulses[:, :0]),
    "all NaN": lambda at_s, pulses: (at_s, pulses * np.nan),
    "all zero": lambda at_s, pulses: (at_s, pulses * 0),
    "all infinite": lambda at_s, pulses: (at_s, pulses * np.inf),
    "constant": lambda at_s, pulses: (at_s, pulses * 0 + 1500),
    "constant at an end": lambda at_s, pulses: (at_s, pulses * 0 + 2012),
    "constant and impossible": lambda at_s, pulses: (at_s, pulses * 0 + 65535),
    "ticks": lambda at_s, pulses: (at_s, np.round(992 + (pulses - 1500) * 1.6)),
    "milliseconds": lambda at_s, pulses: (at_s, pulses / 1000),
    "shares": lambda at_s, pulses: (at_s, (pulses - 1500) / 500),
    "times in milliseconds": lambda at_s, pulses: (at_s * 1000, pulses),
    "times in microseconds": lambda at_s, pulses: (at_s * 1e6, pulses),
    "times too small": lambda at_s, pulses: (at_s / 1e6, pulses),
    "times that often stand": lambda at_s, pulses: (np.repeat(at_s[::2], 2)[: len(at_s)], pulses),
    "times that stand": lambda at_s, pulses: (np.floor(at_s), pulses),
    "lengths that differ": lambda at_s, pulses: (at_s[:-3], pulses),
    "one flat array": lambda at_s, pulses: (at_s, pulses[:, 0]),
    "too slow": lambda at_s, pulses: (at_s[::10], pulses[::10]),
}


@pytest.mark.parametrize("name", list(BAD))
def test_a_bad_record_is_never_a_pass_and_never_an_accusation(name: str) -> None:
    with np.errstate(invalid="ignore"):
        result = damaged(BAD[name])
    assert result.verdict is Verdict.NOT_SHOWN, [one.words for one in result.findings]
    assert result.sentence.endswith(".")
    assert all(one.advice for one in result.findings)


def test_times_that_come_in_pairs_are_said() -> None:
    record, windows = session(6)
    at_s = record.at_s.copy()
    at_s[1::3] = at_s[:-1:3][: len(at_s[1::3])]
    result = judge_receiver(ChannelRecord(at_s, record.pulses_us), windows, SETUP)
    assert [one.kind for one in result.findings] == ["clock-stands"]


def test_ticks_are_recognised() -> None:
    assert "ticks of a serial link" in damaged(BAD["ticks"]).sentence


def test_windows_outside_the_record_are_not_shown() -> None:
    record, windows = session(6)
    late = [StickWindow(one.stick, one.start_s + 1e4, one.end_s + 1e4) for one in windows]
    assert judge_receiver(record, late, SETUP).verdict is Verdict.NOT_SHOWN
    upside_down = [StickWindow(one.stick, one.end_s, one.start_s) for one in windows]
    assert judge_receiver(record, upside_down, SETUP).verdict is Verdict.NOT_SHOWN


def test_forty_seconds_of_sixteen_channels_are_judged_in_a_blink() -> None:
    record, windows = session(6)
    assert len(record.at_s) > 2000
    judge_receiver(record, windows, SETUP)
    started = time.perf_counter()
    judge_receiver(record, windows, SETUP)
    assert time.perf_counter() - started < 0.2  # a tenth of it is usual; the rest is for a busy computer


# While it goes on


def until(record: ChannelRecord, end_s: float) -> ChannelRecord:
    stop = int(np.searchsorted(record.at_s, end_s))
    return ChannelRecord(record.at_s[:stop], record.pulses_us[:stop])


def test_a_stick_is_done_when_it_is_back_at_rest_and_not_before() -> None:
    for seed in range(30):
        radio = replace(varied(seed), is_reversed={**STRAIGHT, Stick(list(Stick)[seed % 4]): True})
        record, windows = session(seed, radio)
        for window in windows:
            assert stick_done(until(record, window.end_s + 0.1), window.start_s), (seed, window)
            asked = np.arange(window.start_s, window.end_s, 0.3)
            done = [one for one in asked if stick_done(until(record, one), window.start_s)]
            moving = window.start_s + 1.5  # nobody has been at both ends by then
            assert all(one > moving for one in done)


def test_a_stick_that_was_only_at_one_end_is_not_done() -> None:
    record, windows = session(5, ends=(1,))
    done = {one.stick: stick_done(until(record, one.end_s), one.start_s) for one in windows}
    assert done == {Stick.THRUST: True, Stick.ROLL: False, Stick.PITCH: False, Stick.YAW: False}


def test_nothing_is_done_on_a_record_that_has_hardly_begun() -> None:
    record, windows = session(5)
    for end_s in (0.0, 0.05, 0.3, 0.7):
        assert not stick_done(until(record, end_s), windows[0].start_s)


@pytest.mark.parametrize("stick", list(Stick))
def test_the_words_for_people_name_the_stick_and_the_way(stick: Stick) -> None:
    words = [stick_words(stick, end) for end in ("positive", "negative", "rest")]
    assert len(set(words)) == 3
    assert all(str(stick) in one for one in words)
    with pytest.raises(ValueError, match="sideways"):
        stick_words(stick, "sideways")
