"""Arming and modes: what the switches do by the settings, and what the aircraft itself answers as they are moved.

The settings are judged by interval arithmetic over closed ranges, so nothing between two positions is missed. That the
aircraft follows them is shown only by its own answers. Propellers are off for all of it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from rotorwright.bench.arming_answers import REACTION_S, compare_answers
from rotorwright.bench.arming_logic import START_OUTPUT_LIMIT_PERCENT, logic_findings
from rotorwright.bench.arming_picture import truth_picture_svg, truth_table
from rotorwright.bench.switches import ArmingSetup, Switching, SwitchPosition, switch_moves_seen
from rotorwright.bench.verdicts import CheckResult, Measured, judged

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rotorwright.bench.records import AnswerRecord, ChannelRecord

__all__ = [
    "ArmingSetup",
    "SwitchPosition",
    "Switching",
    "judge_arming",
    "switch_moves_seen",
    "truth_picture_svg",
    "truth_table",
]

CHECK: Final = "arming"
_NO_BITS: Final[Mapping[str, int]] = {}


def judge_arming(
    setup: ArmingSetup,
    *,
    channels: ChannelRecord | None = None,
    answers: AnswerRecord | None = None,
    mode_bit_of: Mapping[str, int] = _NO_BITS,
    reaction_s: float = REACTION_S,
) -> CheckResult:
    """Return whether arming and the functions on switches are safe by the settings and shown by the aircraft.

    Args:
        setup: what the settings say.
        channels: the receiver's channels while the switches were moved; None if they were not.
        answers: the aircraft's own answers meanwhile, times on the same clock.
        mode_bit_of: number of the bit (0 is the lowest) by which the aircraft tells each function.
        reaction_s: time that the aircraft may take to answer a move of a switch.

    Passed only if nothing dangerous is in the settings, all that they should tell is known, the aircraft armed and
    disarmed as its switch was moved, and each function was seen on and off. What the sticks arm is not compared.
    """
    compared = compare_answers(setup, channels, answers, mode_bit_of=mode_bit_of, reaction_s=reaction_s)
    return judged(
        CHECK,
        sentence=_passed_words(setup),
        measured=(*_setting_numbers(setup), *compared.measured),
        findings=(*logic_findings(setup), *compared.findings),
        figures=compared.figures,
        grids=(truth_table(setup), *compared.grids),
    )


def _passed_words(setup: ArmingSetup) -> str:
    arming = setup.arming
    functions = len({one.function for one in setup.functions if one.is_used})
    tail = f", and {functions} functions follow their switches" if functions else ""
    return (
        f"It arms only from {arming.lowest_us:g} to {arming.highest_us:g} µs on channel {arming.channel} "
        f"and disarms elsewhere, seen from its own answers{tail}."
    )


def _setting_numbers(setup: ArmingSetup) -> Iterator[Measured]:
    if setup.arming.is_used and setup.arming.is_readable:
        yield Measured("arming range, lowest", setup.arming.lowest_us, "µs")
        yield Measured("arming range, highest", setup.arming.highest_us, "µs")
    rest_us = setup.rest_us.get(setup.arming.channel)
    if setup.arming.is_used and rest_us is not None and math.isfinite(rest_us):
        is_met = not setup.arming.is_on(rest_us)
        yield Measured("rest of the arming switch", rest_us, "µs", "outside the arming range", is_met)
    if setup.start_output_percent is not None and math.isfinite(setup.start_output_percent):
        limit = START_OUTPUT_LIMIT_PERCENT
        is_met = 0 <= setup.start_output_percent <= limit
        yield Measured("motor output when armed", setup.start_output_percent, "%", f"at most {limit:g} %", is_met)
