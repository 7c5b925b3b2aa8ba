"""The first hover after a changeover: what to fly, for how long, what is recorded, and what ends it at once.

The numbers are common practice without a published source, unless said otherwise; they are one table, so that a school
or a workshop sees what it would change. Local rules, the maker's instructions and a licensed instructor come first.
"""

from __future__ import annotations

from dataclasses import dataclass

CAUTIONS = (
    "Local rules, the maker's instructions and the word of a licensed instructor come before anything on this page.",
    "Put the propellers on last, outside, battery out, each with its side up and turning the way its motor turns.",
    "Nobody within ten metres, no people or roads under the way it could drift, nobody near who does not know of it.",
    "A lithium battery that is swollen, damaged, hot or below its warning voltage is not flown; have sand at hand.",
    "Stand behind the aircraft, the arming switch under your finger, ready to disarm before anything else.",
)
"""Read before the first line of the table."""


@dataclass(frozen=True, slots=True)
class HoverStep:
    """One thing to fly.

    Args:
        name: short, for the list.
        fly: what the hands do.
        seconds: for how long.
        shows: what it shows, or what its recording is for.
        stops: what ends the flight at once.
    """

    name: str
    fly: str
    seconds: float
    shows: str
    stops: str


STEPS = (
    HoverStep(
        "arm and wait",
        "Arm on level ground, thrust at its lowest, touch nothing.",
        5.0,
        "All rotors run evenly and none speeds up by itself.",
        "A rotor that races, twitches or stands; any lean; any smell: disarm.",
    ),
    HoverStep(
        "light on its feet",
        "Raise thrust until it is about to lift, small stick movements one axis at a time, then lower thrust.",
        5.0,
        "It leans the way the stick goes, on each axis.",
        "It leans the other way, or goes on leaning when the stick is back: lower thrust and disarm.",
    ),
    HoverStep(
        "hover at knee height",
        "Lift to knee height and hold it there with as little stick as it needs.",
        20.0,
        "Vibration and noise at hover thrust; how much stick it needs to stay.",
        "Oscillation that grows, a motor that sounds hot or rough, drift that the stick does not stop: land.",
    ),
    HoverStep(
        "steps of the stick",
        "At head height: roll a third of the way left and right, quickly, six times; the same in pitch; then yaw.",
        40.0,
        "The response of each axis to a step, and how well it is followed.",
        "Overshoot that swings more than twice: land.",
    ),
    HoverStep(
        "up and down",
        "Climb to three metres and let it come down at half the thrust, three times.",
        20.0,
        "Vibration at more and at less thrust than hover.",
        "Shaking on the way down that was not there before: land.",
    ),
    HoverStep(
        "land and feel",
        "Land, disarm, pull the battery. Touch each motor with care: bells stay hot for minutes.",
        30.0,
        "No motor is much hotter than the others.",
        "One that cannot be touched for two seconds: find out why before the next flight.",
    ),
)
"""The order matters: each step risks a little more than the one before."""

RECORDED = (
    "time, body rates before and after the filters, wanted body rates, throttle, motor outputs and, where told, "
    "rotor speeds; 1,000 times a second or more, so that vibration shows; the same as was recorded before the update"
)

STOPS_ALWAYS = (
    "anybody comes near",
    "the battery's warning",
    "the picture or the sight of the aircraft is lost",
    "anything that you did not expect",
)
"""What ends the flight at once, whichever step it is in."""


def total_s() -> float:
    """Return how long the whole of it takes, in seconds."""
    return sum(step.seconds for step in STEPS)
