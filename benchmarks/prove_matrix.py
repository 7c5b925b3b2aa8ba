"""Every planted fault against every bench check, many seeded aircraft each: how often found, how often a false alarm.

Each run is another aircraft: noise, bias, mounting, channel order, wiring and hands vary with the seed, and the
settings fit it but for the fault. Run with `make prove-matrix`; exit code 1 when an aim is missed:

- a dangerous fault never passes the check that should find it;
- a sound aircraft, and one with a fault of another check, fails a check in less than 1 % of the runs.

Intervals are 95 % by Wilson (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927). The faults of flight are held against the
comparison of two recordings, the faults of the display against the characters that the chip keeps.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import sys
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.arming import judge_arming
from rotorwright.bench.failsafe import judge_failsafe
from rotorwright.bench.motors import MotorSetup, Place, Pulse, judge_motors
from rotorwright.bench.orientation import Pose, judge_orientation
from rotorwright.bench.power import judge_power
from rotorwright.bench.receiver import ReceiverSetup, Stick, StickWindow, judge_receiver
from rotorwright.bench.switches import ArmingSetup, Switching
from rotorwright.bench.verdicts import Finding, judged
from rotorwright.changeover.proving.flights import result_of
from rotorwright.display.characters import BYTES_USED, differing_characters, parse_characters, print_characters
from rotorwright.signals.comparison import compare_flights
from rotorwright.twin.display_chip import DisplayChip
from rotorwright.twin.physics import sessions
from rotorwright.twin.physics.craft import BenchCraft
from rotorwright.twin.physics.faults import FACTS, RESPONSE, BenchFault
from rotorwright.twin.physics.flight import record_flight
from rotorwright.twin.physics.receiver import StickName

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from rotorwright.bench.verdicts import CheckResult
    from rotorwright.twin.physics.settings_held import HeldSettings, SwitchRange

RUNS = 200
FLIGHT_S, FLIGHT_HZ = 40.0, 1000.0
MOST_FALSE_ALARMS = 0.01
SOUND = "sound aircraft"


def _orientation(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    seen, held = sessions.pose_session(craft, chance), craft.settings
    return judge_orientation(
        seen.motion,
        [Pose(pose) for pose in seen.poses],
        chip=np.array(held.chip),
        board_deg=held.board_deg,
        level_trim_deg=held.level_trim_deg,
    )


def _receiver(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    seen = sessions.stick_session(craft, chance)
    windows = [StickWindow(Stick(stick), start, end) for stick, start, end in seen.windows]
    return judge_receiver(seen.channels, windows, _receiver_setup(craft.settings))


def _failsafe(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    seen = sessions.transmitter_off_session(craft, chance)
    return judge_failsafe(
        seen.channels,
        seen.answers,
        off_at_s=seen.off_at_s,
        on_again_s=seen.on_again_s,
        setup=_receiver_setup(craft.settings),
        was_armed=seen.was_armed,
    )


def _arming(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    seen, held = sessions.switch_session(craft, chance), craft.settings
    setup = ArmingSetup(
        arming=_switching(held.arming),
        functions=tuple(_switching(one) for one in held.functions),
        channels=held.channels,
        rest_us=held.rest_us,
        failsafe_action=held.failsafe_action,
        failsafe_stops_motors=held.failsafe_stops_motors,
        thrust_channel=held.channel_of[StickName.THRUST],
        thrust_low_us=held.thrust_low_us,
        asks_thrust_low=True,
        start_output_percent=held.start_output_percent,
        exclusive=held.exclusive,
        stick_channels=tuple(held.channel_of.values()),
    )
    return judge_arming(setup, channels=seen.channels, answers=seen.answers, mode_bit_of=held.mode_bit_of)


def _motors(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    seen, held = sessions.motor_session(craft, chance), craft.settings
    setup = MotorSetup(
        {Place(place): output for place, output in held.output_of.items()},
        {Place(place): way for place, way in held.direction_of.items()},
        held.magnets,
        {Place(place): arm for place, arm in held.arm_m.items()},
        held.mass_kg,
    )
    said = {output: Place(place) for output, place in seen.said.items()}
    return judge_motors(seen.motion, [Pulse(*one) for one in seen.pulses], setup, rotors=seen.rotors, said=said)


def _power(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    seen, held = sessions.power_session(craft, chance), craft.settings
    return judge_power(
        volts=seen.volts,
        amperes=seen.amperes,
        cells_set=held.cells,
        full_v=held.cell_full_v,
        warn_v=held.cell_warn_v,
        land_v=held.cell_land_v,
        meter_v=seen.meter_v,
        scale=held.voltage_scale,
        cells_said=seen.cells_said,
    )


def _response(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    """Compare two flights of the same aircraft, before and now, flown otherwise each time."""
    one, other = (int(seed) for seed in chance.integers(0, 2**31, 2))
    before = record_flight(craft.flight_before, one, duration_s=FLIGHT_S, rate_hz=FLIGHT_HZ)
    after = record_flight(craft.flight_after, other, duration_s=FLIGHT_S, rate_hz=FLIGHT_HZ)
    return result_of(compare_flights(before, after))


class _Characters:
    """The memory behind the display chip."""

    def __init__(self, data: bytes) -> None:
        self.data = bytearray(data)

    def read(self) -> bytes:
        return bytes(self.data)

    def write(self, offset: int, data: bytes) -> None:
        self.data[offset : offset + len(data)] = data


def _display(craft: BenchCraft, chance: np.random.Generator) -> CheckResult:
    """Write a release's characters through the chip, or not, and compare what is read back, as the job does."""
    old, new = (print_characters({int(one): chance.bytes(BYTES_USED) for one in range(60)}) for _ in range(2))
    goal = parse_characters(new)
    memory = _Characters(old)
    if craft.display_forgets or not craft.display_is_old:
        DisplayChip(memory, lambda: not craft.display_forgets).write(0, new)
    wrong = differing_characters(parse_characters(memory.read()), goal)
    words = f"{len(wrong)} characters read back are not those of the release."
    found = [Finding("display-differs", words, "Battery in, propellers off; write them once more.")] if wrong else []
    return judged("display", sentence="All characters are those of the release.", findings=found)


CHECKS: Mapping[str, Callable[[BenchCraft, np.random.Generator], CheckResult]] = {
    "orientation": _orientation,
    "receiver": _receiver,
    "failsafe": _failsafe,
    "arming": _arming,
    "motors": _motors,
    "power": _power,
    "display": _display,
}


def _switching(held: SwitchRange) -> Switching:
    return Switching(held.function, held.channel, held.lowest_us, held.highest_us)


def _receiver_setup(held: HeldSettings) -> ReceiverSetup:
    return ReceiverSetup(
        {Stick(stick): channel for stick, channel in held.channel_of.items()},
        {Stick(stick): way for stick, way in held.is_reversed.items()},
        held.low_us,
        held.middle_us,
        held.high_us,
        held.dead_us,
        wait_s=held.failsafe_wait_s,
        action=held.failsafe_action,
        action_stops_motors=held.failsafe_stops_motors,
        arming_channel=held.arming.channel,
        arming_lowest_us=held.arming.lowest_us,
        arming_highest_us=held.arming.highest_us,
    )


FLOWN = frozenset(str(fault) for fault in BenchFault if fault.check == RESPONSE)
Cell = tuple[str, str]
"""Fault and check."""


def run_seed(task: tuple[str, int]) -> dict[str, str]:
    """Return the verdict of each check on one aircraft with one fault; a fault of flight is flown, no other is."""
    fault, seed = task
    craft = BenchCraft.make(seed, () if fault == SOUND else (BenchFault(fault),))
    checks = {RESPONSE: _response} if fault in FLOWN else dict(CHECKS)
    if fault == SOUND:
        checks[RESPONSE] = _response
    return {
        check: str(judge(craft, np.random.default_rng([seed, number])).verdict)
        for number, (check, judge) in enumerate(checks.items())
    }


def interval(hits: int, runs: int) -> tuple[float, float]:
    """Return the 95 % interval of a share by Wilson."""
    z, share = 1.959964, hits / runs
    middle = (share + z * z / (2 * runs)) / (1 + z * z / runs)
    half = z / (1 + z * z / runs) * math.sqrt(share * (1 - share) / runs + z * z / (4 * runs * runs))
    return max(0.0, middle - half), min(1.0, middle + half)


def measure(runs: int, processes: int) -> dict[Cell, Counter[str]]:
    """Return how often each verdict came, by fault and check."""
    faults = [SOUND, *(str(one) for one in BenchFault)]
    tasks = [(fault, seed) for fault in faults for seed in range(runs)]
    found: dict[Cell, Counter[str]] = {(fault, check): Counter() for fault in faults for check in (*CHECKS, RESPONSE)}
    with multiprocessing.Pool(processes) as pool:
        for done, ((fault, _), verdicts) in enumerate(zip(tasks, pool.imap(run_seed, tasks, 20), strict=True), start=1):
            for check, verdict in verdicts.items():
                found[fault, check][verdict] += 1
            if sys.stderr.isatty() and done % 50 == 0:
                print(f"\r{done} of {len(tasks)} aircraft", end="", file=sys.stderr)
    return found


def show(found: Mapping[Cell, Counter[str]], runs: int) -> int:
    """Print the rates and return how many aims are missed."""
    missed = 0
    print(f"{runs} aircraft a row. Found: the check failed. Passed: it did not see the fault. 95 % intervals.\n")
    print(f"{'fault':32} {'check':12} {'found':>22} {'not shown':>10} {'passed':>22}")
    for fault in dict.fromkeys(fault for fault, _ in found):
        if fault == SOUND:
            continue
        facts = FACTS[BenchFault(fault)]
        counts = found[fault, facts.check]
        is_missed = facts.is_dangerous and counts["passed"] > 0
        missed += is_missed
        mark = ("  MISSED" if is_missed else "  dangerous") if facts.is_dangerous else ""
        print(
            f"{fault:32} {facts.check:12} {_rate(counts['failed'], runs):>22} {counts['not shown'] / runs:>10.1%} "
            f"{_rate(counts['passed'], runs):>22}{mark}"
        )
    return missed + _show_alarms(found, runs)


def _show_alarms(found: Mapping[Cell, Counter[str]], runs: int) -> int:
    missed = 0
    print(f"\n{'check':12} {'sound aircraft':>24} {'not shown':>10} {'faults of other checks':>24}")
    for check in CHECKS:
        sound = found[SOUND, check]
        others = [
            found[fault, check]
            for fault in dict.fromkeys(fault for fault, _ in found)
            if fault != SOUND
            and fault not in FLOWN
            and FACTS[BenchFault(fault)].check != check
            and fault not in TOUCHES.get(check, ())
        ]
        alarms, of = sum(one["failed"] for one in others), runs * len(others)
        is_missed = sound["failed"] / runs >= MOST_FALSE_ALARMS or alarms / of >= MOST_FALSE_ALARMS
        missed += is_missed
        print(
            f"{check:12} {_rate(sound['failed'], runs):>24} {sound['not shown'] / runs:>10.1%} "
            f"{_rate(alarms, of):>24}{'  MISSED' if is_missed else ''}"
        )
    flown = found[SOUND, RESPONSE]
    missed += flown["failed"] / runs >= MOST_FALSE_ALARMS
    print(f"{RESPONSE:12} {_rate(flown['failed'], runs):>24} {flown['not shown'] / runs:>10.1%}")
    return missed


TOUCHES: Mapping[str, Sequence[str]] = {
    # A fault that another check sees too, and rightly: what it is about is the business of both.
    "failsafe": (
        "arming-answer-stuck",
        "armed-at-power-up",
        "arm-range-touches-rest",
        "arm-channel-missing",
        "arm-range-whole-travel",
        "channels-swapped",
        "channel-reversed",
        "frames-lost",
    ),
    "arming": ("failsafe-nothing", "channels-swapped", "channel-reversed", "frames-lost", "channel-jitters"),
    "receiver": ("failsafe-holds",),
    "motors": (
        "sensor-mounted-otherwise",
        *(f"{sensor}-{axis}-mirrored" for sensor in ("accelerometer", "gyro") for axis in "xyz"),
        "gyro-noise-large",
        "gyro-bias-large",
        "accelerometer-offset",
    ),
}


def _rate(hits: int, runs: int) -> str:
    low, high = interval(hits, runs)
    return f"{hits / runs:.1%} ({low:.1%} to {high:.1%})"


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print, and return 1 where an aim is missed."""
    parser = argparse.ArgumentParser(description="Faults against bench checks.")
    parser.add_argument("--runs", type=int, default=RUNS, help="aircraft for each fault")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    wishes = parser.parse_args(arguments)
    missed = show(measure(wishes.runs, wishes.processes), wishes.runs)
    print("\nEvery aim is met." if not missed else f"\nAims missed: {missed}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
