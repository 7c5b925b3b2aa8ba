"""The person of the demo: takes the usual decisions, says them aloud, and has hands on the virtual aircraft."""

from __future__ import annotations

from collections import defaultdict
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.changeover.errors import BenchCheckFailedError
from rotorwright.changeover.gates import TEXTS, Gate
from rotorwright.changeover.person import (
    BatteryRequest,
    BoardQuestion,
    BootButtonRequest,
    Direction,
    HandsRequest,
    PlanSummary,
    PoseRequest,
    PowerRequest,
    SeenQuestion,
    StickRequest,
    SwitchRequest,
    TiltRequest,
    TransmitterRequest,
    WatchedRequest,
    words_of,
    words_of_watched,
)
from rotorwright.cli.console import out
from rotorwright.cli.person import show_plan

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.cli.demo_owner import KnowingOwner
    from rotorwright.errors import RotorwrightError
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.carry_over import Decision
    from rotorwright.twin.hands import HandsClient

# What a careful owner usually says to a held setting, the first that is offered.
USUAL_CHOICES = ("keep-mine", "keep-effect", "nearest", "take-new-default", "leave-out")
PATIENCE = 6

_GATE_WORDS = defaultdict(lambda: "it is so") | {
    Gate.PROPELLERS_OFF: "the virtual aircraft has none",
    Gate.SAME_BOARD_SEEN: "no other board is here",
    Gate.NO_OLD_IMAGE: "it is in the folder of the demo",
    Gate.MOTORS_MAY_TURN: "nobody is near a virtual motor",
    Gate.IMAGE_VOUCHED: "the demo's own image, made for this board",
}

TILT_WORDS = {
    Direction.NOSE_DOWN: "forward",
    Direction.NOSE_UP: "back",
    Direction.LEFT_DOWN: "left",
    Direction.RIGHT_DOWN: "right",
    Direction.LEVEL: "level",
}


def usual_choice(held: Decision) -> str:
    """Return the key of the option that a careful owner usually takes."""
    keys = [option.key for option in held.options]
    return next((key for wish in USUAL_CHOICES for key in keys if key.startswith(wish)), keys[0])


class DemoPerson:
    """Answers as a careful owner would, and acts on the twin."""

    name = "demo"

    def __init__(self, hands: HandsClient, owner: KnowingOwner | None = None, *, meter_volts: float = 0.0) -> None:
        self._hands = hands
        self._meter = f"{meter_volts:.2f}" if meter_volts else None
        self._owner = owner
        self._patience = PATIENCE

    def confirm(self, gate: Gate) -> bool:
        """Confirm: a virtual aircraft has no propellers. The danger is shown all the same."""
        out.print(f"  gate {gate}: {TEXTS[gate].danger}\n  -> yes ({_GATE_WORDS[gate]})", soft_wrap=True)
        return True

    def accept_plan(self, summary: PlanSummary) -> bool:
        """Show the plan and accept it."""
        show_plan(summary)
        out.print("  -> accepted")
        return True

    def name_board(self, _question: BoardQuestion) -> str | None:
        """Say nothing: the book of the demo knows its boards."""
        return None

    def decide(self, held: Decision) -> Answer | None:
        """Take the usual choice, or what the owner knows, and say so."""
        answer = self._owner.answer(held) if self._owner else usual_choice(held)
        if isinstance(answer, str):
            words = next(option.words for option in held.options if option.key == answer)
        else:
            words = "By hand: " + ", ".join(f"{name} {text}" for name, text in answer.items())
        out.print(
            f"  held {escape(', '.join(held.found))}: {escape(held.reason)}\n  -> {escape(words)}", soft_wrap=True
        )
        return answer

    def act(self, request: HandsRequest) -> bool:
        """Do with the twin what the hands are asked to do."""
        out.print(f"  hands: {escape(words_of(request))}", soft_wrap=True)
        match request:
            case BootButtonRequest():
                self._hands.power_off()
                self._hands.plug_cable()
                self._hands.power_on(button=True)
            case BatteryRequest():
                self._hands.plug_battery()
            case PowerRequest():
                self._hands.power_off()
                self._hands.plug_cable()
                self._hands.power_on()
            case TiltRequest(direction):
                self._hands.tilt(TILT_WORDS[direction])
        return True

    def watched(self, request: WatchedRequest) -> bool:
        """Do with the twin what the hands are asked to do."""
        out.print(f"  hands: {escape(words_of_watched(request))}", soft_wrap=True)
        match request:
            case PoseRequest(pose):
                self._hands.pose(str(pose))
            case StickRequest(stick):
                self._hands.move_stick(str(stick))
            case SwitchRequest(_, channel):
                self._hands.move_switch(channel)
            case TransmitterRequest(is_on, armed):
                self._hands.switch_transmitter(is_on=is_on, arms=armed)
        return True

    def answer(self, question: SeenQuestion) -> str | None:
        """Say yes to a repair, and what a meter would show; the demo sees no motor."""
        said = {"repair": "yes", "meter-volts": self._meter}.get(question.about)
        out.print(f"  {escape(question.words)}\n  -> {said or 'cannot say'}", soft_wrap=True)
        return said

    @contextmanager
    def holding(self) -> Iterator[bool]:
        """Hold on."""
        yield True

    def is_holding(self) -> bool:
        """Hold on."""
        return True

    def go_on_after(self, error: RotorwrightError) -> bool:
        """Go on, a few times; a bench check that failed does not pass by being looked at again."""
        if isinstance(error, BenchCheckFailedError):
            return False
        out.print(f"  interrupted: {escape(error.what)}\n  -> once more", soft_wrap=True)
        self._patience -= 1
        return self._patience >= 0

    def sign(self) -> str | None:
        """Sign as the demo."""
        return "demo"

    def tell(self, words: str) -> None:
        """Print a line."""
        out.print(f"  {escape(words)}", soft_wrap=True)
