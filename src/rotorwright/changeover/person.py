"""The person at the bench, as the workflow sees them.

Waiting for a person is a typed request, not an error and not a line in a log. The terminal, the demo and the tests
are three persons; none of them holds a rule of the job.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from rotorwright.bench.receiver_sticks import End, Stick, stick_words

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from rotorwright.bench.orientation_poses import Pose
    from rotorwright.changeover.gates import Gate
    from rotorwright.errors import RotorwrightError
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.carry_over import Decision


class Direction(StrEnum):
    """Ways to tip the aircraft by hand, seen from behind it."""

    NOSE_DOWN = "nose-down"
    NOSE_UP = "nose-up"
    LEFT_DOWN = "left-down"
    RIGHT_DOWN = "right-down"
    LEVEL = "level"


@dataclass(frozen=True, slots=True)
class BootButtonRequest:
    """Hold the bootloader button while power arrives, then say so."""

    reason: str


@dataclass(frozen=True, slots=True)
class BatteryRequest:
    """Plug the main battery in, propellers off."""

    measured_volts: float


@dataclass(frozen=True, slots=True)
class TiltRequest:
    """Tip the aircraft by about 30 degrees and hold it there."""

    direction: Direction


@dataclass(frozen=True, slots=True)
class PowerRequest:
    """The board is silent: see that its cable is in and its power is on."""

    reason: str


@dataclass(frozen=True, slots=True)
class PoseRequest:
    """Hold the aircraft in a pose, until the next one is asked for."""

    pose: Pose


@dataclass(frozen=True, slots=True)
class StickRequest:
    """Move one stick to both its ends and let it rest."""

    stick: Stick


@dataclass(frozen=True, slots=True)
class SwitchRequest:
    """Move a switch through all its positions, once there and back; `function` is what it is for."""

    function: str
    channel: int


@dataclass(frozen=True, slots=True)
class TransmitterRequest:
    """Switch the transmitter on or off; with `armed`, arm the motors first."""

    is_on: bool
    armed: bool = False


HandsRequest = BootButtonRequest | BatteryRequest | TiltRequest | PowerRequest
WatchedRequest = PoseRequest | StickRequest | SwitchRequest | TransmitterRequest
"""What the aircraft itself shows to be done: nobody is asked whether it was, the hands stay on the aircraft."""


@dataclass(frozen=True, slots=True)
class SeenQuestion:
    """What only a person can see: words, and the answers that there are (any text where there are none).

    Args:
        words: the question.
        answers: what may be answered; nobody answers for the person.
        about: short stable word for programs, e.g. `motor-place`.
        facts: what the question is about, for programs.
    """

    words: str
    answers: tuple[str, ...]
    about: str
    facts: tuple[tuple[str, str], ...] = ()

    def fact(self, name: str) -> str:
        """Return one of the facts."""
        return dict(self.facts)[name]


def words_of(request: HandsRequest) -> str:
    """Return what the hands must do, in words, with the cautions that belong to it."""
    match request:
        case BootButtonRequest(reason):
            return (
                f"{reason} Unplug the cable and the battery. Hold the button of the bootloader down, plug the cable "
                "in again, count to two, let go."
            )
        case BatteryRequest(volts):
            return (
                f"The aircraft measures {volts:.1f} V. Check once more that the propellers are off, keep clear of the "
                "motors, and plug the main battery in. Never use a lithium battery that is swollen, damaged or hot, "
                "and do not leave it alone."
            )
        case TiltRequest(Direction.LEVEL):
            return "Put the aircraft level on the bench."
        case TiltRequest(direction):
            way = direction.replace("-", " ")
            return f"Take the aircraft in your hands, tip it {way} by about 30 degrees and hold it there."
        case PowerRequest(reason):
            return (
                f"{reason} Unplug the cable and the battery, then plug the cable in again without touching the button; "
                "see that the board's light comes on."
            )


def words_of_watched(request: WatchedRequest) -> str:
    """Return what the hands must do while the aircraft is watched, in words."""
    from rotorwright.bench.orientation_poses import poses_words  # noqa: PLC0415 - it brings numpy along

    match request:
        case PoseRequest(pose):
            return poses_words(pose)
        case StickRequest(stick):
            ends = (End.POSITIVE, End.REST) if stick is Stick.THRUST else (End.POSITIVE, End.NEGATIVE, End.REST)
            ways = ", then ".join(stick_words(stick, end) for end in ends)
            return f"{ways[0].upper()}{ways[1:]}. Touch no other stick."
        case SwitchRequest(function, channel):
            return (
                f"Move the switch of {function} (channel {channel}) through all its positions and back to rest, two "
                "seconds in each. Thrust stays low."
            )
        case TransmitterRequest(is_on=True):
            return "Switch the transmitter on again, thrust low, all switches at rest."
        case TransmitterRequest(armed=True):
            return "Arm the motors by their switch, thrust low, and then switch the transmitter off."
        case TransmitterRequest():
            return "Switch the transmitter off."


@dataclass(frozen=True, slots=True)
class PlanSummary:
    """What a person accepts before it is done; `note` stands for the settings where they are decided later."""

    aircraft: str
    release_before: str
    release_after: str
    image_bytes: int
    sectors: tuple[int, ...]
    counts: dict[str, int]
    settings_to_write: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class BoardQuestion:
    """Which board is it, where the release book does not know the name that the aircraft reports?

    `candidates` has every board of the book with what speaks for and against it, in words, the likeliest first. None is
    ever taken because its name looks alike.
    """

    reported: str
    candidates: tuple[tuple[str, str], ...]


class Person(Protocol):
    """Who answers the typed requests of the workflow."""

    @property
    def name(self) -> str:
        """Name for the journal."""
        ...

    def confirm(self, gate: Gate) -> bool:
        """Answer whether what the gate asks for holds; a person looks before answering."""
        ...

    def accept_plan(self, summary: PlanSummary) -> bool:
        """Answer whether the plan shown may be carried out."""
        ...

    def name_board(self, question: BoardQuestion) -> str | None:
        """Return the board that it is, by the name printed on it, spelled as in the question; None if not known."""
        ...

    def decide(self, held: Decision) -> Answer | None:
        """Return the key of one of the options of `held`, own values by new name, or None to leave it undecided."""
        ...

    def act(self, request: HandsRequest) -> bool:
        """Do what the request asks with the hands; answer whether it was done."""
        ...

    def watched(self, request: WatchedRequest) -> bool:
        """Take note of what the hands are to do now; it goes on as soon as the aircraft shows it.

        Answer False, at once, where nobody will do it.
        """
        ...

    def answer(self, question: SeenQuestion) -> str | None:
        """Return what the person saw, one of the answers if there are any; None where they cannot say."""
        ...

    def holding(self) -> AbstractContextManager[bool]:
        """Let the person hold on to what lets a motor turn, for as long as the block runs; give whether they do."""
        ...

    def is_holding(self) -> bool:
        """Answer whether the person holds on right now; the motor stops when they let go."""
        ...

    def go_on_after(self, error: RotorwrightError) -> bool:
        """Answer whether the interrupted step is to be tried again now."""
        ...

    def sign(self) -> str | None:
        """Return the name to sign with, or None to leave the job unsigned."""
        ...

    def tell(self, words: str) -> None:
        """Take note of a line about what is happening."""
        ...
