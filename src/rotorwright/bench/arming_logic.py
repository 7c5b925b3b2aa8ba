"""What the settings alone say about arming: faults that need no measurement to be seen.

Each fault has its own kind, words and advice. What would have to be known and is not ends in a finding that says so.
"""

from __future__ import annotations

import math
from itertools import chain, combinations
from typing import TYPE_CHECKING, Final

from rotorwright.bench.switches import (
    ENDS_HIGH_US,
    ENDS_LOW_US,
    REACH_HIGH_US,
    REACH_LOW_US,
    SURE_HIGH_US,
    SURE_LOW_US,
    stretches,
)
from rotorwright.bench.verdicts import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.bench.switches import ArmingSetup, Switching

# Limits. All of them are common practice, no source.
REST_MARGIN_US: Final = 50.0  # between the rest of the switch and its range: jitter, drift and another end point
NARROWEST_US: Final = 25.0  # a switch does not reliably meet a range that is narrower
START_OUTPUT_LIMIT_PERCENT: Final = 10.0  # rotors turn at 4 to 7 % when armed; above 10 % a craft slides or hops
THRUST_REST_MARGIN_US: Final = 50.0  # a thrust stick at its stop may read that much above what counts as low

CHANNEL, LOWEST, HIGHEST = "arming.switch.channel", "arming.switch.lowest", "arming.switch.highest"


def logic_findings(setup: ArmingSetup) -> tuple[Finding, ...]:
    """Return what is wrong, or not known, by the settings alone."""
    return tuple(chain.from_iterable(rule(setup) for rule in _RULES))


def can_arm_by_switch(setup: ArmingSetup) -> bool:
    """Say whether there is a position of the arming switch that a transmitter reaches and that arms."""
    arming = setup.arming
    return arming.is_used and arming.is_readable and _exists(setup, arming) and arming.meets(ENDS_LOW_US, ENDS_HIGH_US)


def _exists(setup: ArmingSetup, one: Switching) -> bool:
    return 1 <= one.channel <= setup.channels


def _range_words(one: Switching) -> str:
    return f"{one.lowest_us:g} to {one.highest_us:g} µs on channel {one.channel}"


def _way_to_arm(setup: ArmingSetup) -> Iterator[Finding]:
    if setup.arming.is_used or setup.arms_by_stick:
        return
    yield Finding(
        "no-arming",
        "No switch arms this aircraft, and no stick does: it can never be armed.",
        f"Set {CHANNEL} to the channel of a switch, and {LOWEST} and {HIGHEST} to its far position.",
    )


def _ranges_readable(setup: ArmingSetup) -> Iterator[Finding]:
    for one in setup.every:
        if not one.is_readable:
            yield Finding(
                "range-unreadable",
                f"The range of {one.function} on channel {one.channel} is no number: it cannot be judged.",
                "Read the settings again.",
                is_missing=True,
            )


def _channels_exist(setup: ArmingSetup) -> Iterator[Finding]:
    for one in setup.every:
        if _exists(setup, one):
            continue
        is_arming = one is setup.arming
        yield Finding(
            "no-such-channel",
            f"{_start(one.function)} stands on channel {one.channel}, but the receiver has {setup.channels}: "
            "what the aircraft hears there is not known.",
            f"Set {CHANNEL if is_arming else f'the channel of {one.function}'} to one of 1 to {setup.channels}.",
            is_dangerous=is_arming,
        )


def _not_on_sticks(setup: ArmingSetup) -> Iterator[Finding]:
    sticks = {*setup.stick_channels, setup.thrust_channel}
    for one in setup.every:
        if one.channel in sticks:
            name = "thrust stick" if one.channel == setup.thrust_channel else "channel of a stick"
            yield Finding(
                "function-on-stick",
                f"{_start(one.function)} stands on channel {one.channel}, the {name}: moving the stick switches it.",
                f"Put {one.function} on the channel of a switch.",
                is_dangerous=True,
            )


def _arming_range(setup: ArmingSetup) -> Iterator[Finding]:
    arming = setup.arming
    if not arming.is_used or not arming.is_readable:
        return
    if arming.lowest_us > arming.highest_us:
        yield _never_arms("arm-range-empty", f"The arming range is empty ({_range_words(arming)})")
    elif not arming.meets(ENDS_LOW_US, ENDS_HIGH_US):
        words = f"The arming range ({_range_words(arming)}) lies beyond what a switch reaches"
        yield _never_arms("arm-range-beyond", f"{words} ({ENDS_LOW_US:g} to {ENDS_HIGH_US:g} µs)")
    elif _reached_width(arming) < NARROWEST_US:
        words = f"The arming range ({_range_words(arming)}) is too narrow to be met by a switch"
        yield _never_arms("arm-range-narrow", f"{words} (under {NARROWEST_US:g} µs)")


def _reached_width(one: Switching) -> float:
    return min(one.highest_us, ENDS_HIGH_US) - max(one.lowest_us, ENDS_LOW_US)


def _never_arms(kind: str, words: str) -> Finding:
    return Finding(
        kind,
        f"{words}: the switch can never arm the aircraft, or hardly ever.",
        f"Set {LOWEST} and {HIGHEST} so that the far position of the switch lies well between them.",
    )


def _way_to_disarm(setup: ArmingSetup) -> Iterator[Finding]:
    arming = setup.arming
    if not (arming.is_used and arming.is_readable) or arming.lowest_us > arming.highest_us:
        return
    if arming.lowest_us - REST_MARGIN_US <= SURE_LOW_US and arming.highest_us + REST_MARGIN_US >= SURE_HIGH_US:
        yield Finding(
            "no-way-to-disarm",
            f"The arming range ({_range_words(arming)}) covers the whole travel of the switch: "
            "nothing that the switch does stops the motors.",
            f"Set {LOWEST} and {HIGHEST} so that only the far position of the switch lies between them.",
            is_dangerous=True,
        )


def _arming_at_rest(setup: ArmingSetup) -> Iterator[Finding]:
    arming = setup.arming
    if not (arming.is_used and arming.is_readable) or arming.lowest_us > arming.highest_us:
        return
    rest_us = setup.rest_us.get(arming.channel, math.nan)
    if not REACH_LOW_US <= rest_us <= REACH_HIGH_US:
        if _exists(setup, arming):
            yield Finding(
                "rest-unknown",
                f"It is not known how the arming switch (channel {arming.channel}) rests at power-up.",
                "Switch the transmitter on, leave every switch as you plug the battery in, and measure again.",
                is_missing=True,
            )
        return
    if arming.is_on(rest_us):
        yield Finding(
            "armed-at-power-up",
            f"The arming switch rests at {rest_us:g} µs, inside its range ({_range_words(arming)}): "
            "the motors may start as soon as the battery is plugged in.",
            f"Put the switch to its other end before plugging in, or set {LOWEST} and {HIGHEST} to the other end.",
            is_dangerous=True,
        )
    elif arming.meets(rest_us - REST_MARGIN_US, rest_us + REST_MARGIN_US):
        gap = min(abs(rest_us - arming.lowest_us), abs(rest_us - arming.highest_us))
        yield Finding(
            "arm-range-near-rest",
            f"The arming switch rests at {rest_us:g} µs, only {gap:g} µs from its range ({_range_words(arming)}): "
            "jitter or a changed end point of the transmitter arms it.",
            f"Set {LOWEST} and {HIGHEST} at least {REST_MARGIN_US:g} µs away from the rest, better 200 µs.",
            is_dangerous=True,
        )


def _arming_given_once(setup: ArmingSetup) -> Iterator[Finding]:
    for one in setup.functions:
        if one.is_used and setup.arming.is_used and one.function == setup.arming.function:
            yield Finding(
                "arming-given-twice",
                f"Arming is given twice: {_range_words(setup.arming)} and {_range_words(one)}. "
                "Either arms, so neither switch alone stops the motors.",
                "Take one of them out.",
                is_dangerous=True,
            )


def _functions_given_once(setup: ArmingSetup) -> Iterator[Finding]:
    used = [one for one in setup.functions if one.is_used and one.function != setup.arming.function]
    for one, other in combinations(used, 2):
        if one.function == other.function and one.channel != other.channel:
            yield Finding(
                "function-given-twice",
                f"{_start(one.function)} is on two switches: {_range_words(one)} and {_range_words(other)}. "
                "Switched off at one, it stays on by the other.",
                f"Take one of the two out, or make sure that it is meant: {one.function}.",
            )


def _functions_reached(setup: ArmingSetup) -> Iterator[Finding]:
    for one in setup.functions:
        # Equal ends are how many people and releases leave an unused range: told in the table, not held against them.
        if not one.is_used or not one.is_readable or one.lowest_us == one.highest_us:
            continue
        if not one.meets(ENDS_LOW_US, ENDS_HIGH_US):
            yield Finding(
                "function-never-on",
                f"{_start(one.function)} ({_range_words(one)}) is on at no position that a switch reaches.",
                f"Set its range to a position of the switch, or take {one.function} off channel {one.channel}.",
            )


def _exclusive(setup: ArmingSetup) -> Iterator[Finding]:
    for one_name, other_name in setup.exclusive:
        ones = [one for one in setup.every if one.function == one_name and one.is_readable]
        others = [one for one in setup.every if one.function == other_name and one.is_readable]
        if not ones or not others or one_name == other_name:
            continue
        same = _both_on_one_switch(setup, one_name, other_name)
        yield from same
        if not same:
            yield from _both_at_rest(setup, ones, others)


def _both_on_one_switch(setup: ArmingSetup, one: str, other: str) -> list[Finding]:
    found = []
    for channel in setup.on_channels:
        parts = stretches(setup.every, channel)
        # Ranges that share one end are neighbours. A switch that stands just there is found by its measured position.
        both = [part for part in parts if one in part.on and other in part.on and part.lowest_us < part.highest_us]
        if not both:
            continue
        where = ", ".join(part.words for part in both)
        found.append(
            Finding(
                "exclusive-overlap",
                f"{_start(one)} and {other} are both on at {where} µs of channel {channel}: both cannot be meant.",
                f"Move one of the two ranges, or put {other} on another switch.",
                is_dangerous=setup.arming.function in {one, other},
            )
        )
    return found


def _both_at_rest(setup: ArmingSetup, ones: list[Switching], others: list[Switching]) -> Iterator[Finding]:
    arming = setup.arming.function
    resting = [any(_is_on_at_rest(setup, one) for one in group) for group in (ones, others)]
    involved = {ones[0].function, others[0].function}
    if arming in involved:
        # As the arming switch is moved, the other one is already on.
        other = others[0] if ones[0].function == arming else ones[0]
        is_both = resting[1] if ones[0].function == arming else resting[0]
        words = f"{_start(other.function)} is on while its switch rests, so arming switches both on"
    else:
        other, is_both = others[0], all(resting)
        words = f"{_start(ones[0].function)} and {other.function} are both on while their switches rest"
    if is_both:
        yield Finding(
            "exclusive-at-rest",
            f"{words}: both cannot be meant.",
            f"Move the range of {other.function} away from the rest of its switch (channel {other.channel}).",
            is_dangerous=arming in involved,
        )


def _is_on_at_rest(setup: ArmingSetup, one: Switching) -> bool:
    return one.is_on(setup.rest_us.get(one.channel, math.nan))


def _failsafe(setup: ArmingSetup) -> Iterator[Finding]:
    action = f" ({setup.failsafe_action})" if setup.failsafe_action else ""
    if setup.failsafe_stops_motors is None:
        yield Finding(
            "failsafe-unknown",
            f"It is not known whether the failsafe{action} ends with the motors off.",
            "Look at failsafe.action, and see with the transmitter switched off what it does. Propellers off.",
            is_missing=True,
        )
    elif not setup.failsafe_stops_motors:
        yield Finding(
            "failsafe-keeps-motors",
            f"Without a signal the motors go on for ever{action}: nobody can stop them.",
            "Set failsafe.action to one that stops the motors, at once or after a landing.",
            is_dangerous=True,
        )


def _thrust_low(setup: ArmingSetup) -> Iterator[Finding]:
    if setup.asks_thrust_low is None:
        yield Finding(
            "thrust-low-unknown",
            "It is not known whether arming is refused while the thrust stick is not low.",
            "Look for the condition in the settings of arming; until then lower the thrust by habit before arming.",
            is_missing=True,
        )
        return
    if not setup.asks_thrust_low:
        yield Finding(
            "thrust-low-not-asked",
            "Arming is not refused while the thrust stick is up: the motors may start at once with full thrust.",
            "Switch on that the thrust stick must be low for arming.",
            is_dangerous=True,
        )
    rest_us = setup.rest_us.get(setup.thrust_channel, math.nan)
    if rest_us > setup.thrust_low_us + THRUST_REST_MARGIN_US:
        yield Finding(
            "thrust-rests-high",
            f"The thrust stick rests at {rest_us:g} µs; up to {setup.thrust_low_us:g} µs counts as low. "
            + ("Arming will be refused." if setup.asks_thrust_low else "The motors start with that thrust."),
            "Lower the thrust stick; if it was low, look at channel map, reversal and end points of the receiver.",
            is_dangerous=not setup.asks_thrust_low,
        )


def _start_output(setup: ArmingSetup) -> Iterator[Finding]:
    output = setup.start_output_percent
    if output is None or not 0 <= output <= 100:
        found = "is not known" if output is None or math.isnan(output) else f"cannot be {output:g} %"
        yield Finding(
            "start-output-unknown",
            f"The output of the motors at the moment of arming {found}.",
            "Look at the motor output at the lowest thrust in the settings.",
            is_missing=True,
        )
    elif output > START_OUTPUT_LIMIT_PERCENT:
        yield Finding(
            "start-output-high",
            f"Armed with the thrust low, the motors start with {output:g} % (usual are 4 to 7 %, "
            f"limit {START_OUTPUT_LIMIT_PERCENT:g} %): it may hop or tip over.",
            "Lower the motor output at the lowest thrust to about 5 %, the lowest at which all rotors turn smoothly.",
            is_dangerous=True,
        )


def _start(words: str) -> str:
    return words[:1].upper() + words[1:]


_RULES: Final[tuple[Callable[[ArmingSetup], Iterator[Finding]], ...]] = (
    _arming_at_rest,
    _way_to_disarm,
    _arming_given_once,
    _channels_exist,
    _not_on_sticks,
    _exclusive,
    _failsafe,
    _thrust_low,
    _start_output,
    _way_to_arm,
    _arming_range,
    _ranges_readable,
    _functions_given_once,
    _functions_reached,
)
