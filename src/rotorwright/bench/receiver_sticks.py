"""The four sticks, what the settings say about them, and what a person is asked to do with them."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class Stick(StrEnum):
    """What a pilot steers."""

    ROLL = "roll"
    PITCH = "pitch"
    THRUST = "thrust"
    YAW = "yaw"


STICK_ORDER = (Stick.THRUST, Stick.ROLL, Stick.PITCH, Stick.YAW)

_USUAL_BITS = {Stick.ROLL: 0, Stick.PITCH: 1, Stick.THRUST: 2, Stick.YAW: 3}


class End(StrEnum):
    """Where a stick can be asked to go; positive as MAVLink's MANUAL_CONTROL counts: right, forward, more, right."""

    POSITIVE = "positive"
    NEGATIVE = "negative"
    REST = "rest"


_WORDS = {
    (Stick.ROLL, End.POSITIVE): "roll stick fully to the right",
    (Stick.ROLL, End.NEGATIVE): "roll stick fully to the left",
    (Stick.ROLL, End.REST): "roll stick back to the middle",
    (Stick.PITCH, End.POSITIVE): "pitch stick fully forward, away from you",
    (Stick.PITCH, End.NEGATIVE): "pitch stick fully back, towards you",
    (Stick.PITCH, End.REST): "pitch stick back to the middle",
    (Stick.THRUST, End.POSITIVE): "thrust stick fully up",
    (Stick.THRUST, End.NEGATIVE): "thrust stick fully down",
    (Stick.THRUST, End.REST): "thrust stick left fully down",
    (Stick.YAW, End.POSITIVE): "yaw stick fully to the right",
    (Stick.YAW, End.NEGATIVE): "yaw stick fully to the left",
    (Stick.YAW, End.REST): "yaw stick back to the middle",
}


def stick_words(stick: Stick, end: str) -> str:
    """Return what a person does to bring a stick to an end: `positive`, `negative` or `rest`.

    Raises:
        ValueError: there is no such end.
    """
    return _WORDS[stick, End(end)]


def stick_names(sticks: Iterable[Stick]) -> str:
    """Return sticks for people: `roll, pitch and yaw`; at least one."""
    names = [str(one) for one in sticks]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


@dataclass(frozen=True, slots=True)
class StickWindow:
    """The time in which one stick was asked for: to its positive end, to its negative end, back to rest.

    Thrust rests low, the others in the middle. Times are those of the record, in seconds.
    """

    stick: Stick
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ReceiverSetup:
    """What the settings say about receiver and signal loss.

    Args:
        channel_of: receiver channel of each stick, first channel 1.
        is_reversed: whether the stick's pulse is the smaller one at its positive end.
        low_us: pulse that a stick at its low end has to reach.
        middle_us: pulse of a centred stick.
        high_us: pulse that a stick at its high end has to reach.
        dead_us: half width of the dead zone around the middle.
        wait_s: time without a signal before the failsafe acts; None if no setting says it.
        action: what it does then, in the words of the settings; None if no setting says it.
        action_stops_motors: whether that action stops the motors; None to take it from the words of `action`.
        arming_channel: channel of the arming switch, 0 if there is none or it is not known.
        arming_lowest_us: the switch is on from this pulse
        arming_highest_us: to this one.
        reversed_bit_of: which bit of the setting with the role `receiver.reversed` stands for which stick.
        landing_s: longest time that an action which does not stop the motors at once goes on before it does; None if no
            setting ends it.
    """

    channel_of: Mapping[Stick, int]
    is_reversed: Mapping[Stick, bool]
    low_us: float
    middle_us: float
    high_us: float
    dead_us: float
    wait_s: float | None = None
    action: str | None = None
    action_stops_motors: bool | None = None
    arming_channel: int = 0
    arming_lowest_us: float = 0.0
    arming_highest_us: float = 0.0
    reversed_bit_of: Mapping[Stick, int] = field(default_factory=lambda: dict(_USUAL_BITS))
    landing_s: float | None = None

    @property
    def stops_motors(self) -> bool | None:
        """Whether the failsafe stops the motors; None if that cannot be told."""
        if self.action_stops_motors is not None or self.action is None:
            return self.action_stops_motors
        words = self.action.lower()
        return ("motor" in words and ("off" in words or "stop" in words)) or "disarm" in words

    def reversed_bits(self, is_reversed: Mapping[Stick, bool]) -> int:
        """Return the value of the bit field that turns these sticks round."""
        return sum(1 << self.reversed_bit_of[stick] for stick, turned in is_reversed.items() if turned)
