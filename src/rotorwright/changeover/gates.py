"""Gates: what must hold before a step, measured where it can be, else confirmed by the person."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rotorwright.errors import Blame, WorkflowError


class Gate(StrEnum):
    """The gates of a changeover."""

    SNAPSHOT_ON_DISK = "snapshot-on-disk"
    SAME_AIRCRAFT = "same-aircraft"
    IMAGE_FITS = "image-fits"
    NOTHING_HELD = "nothing-held"
    PROPELLERS_OFF = "propellers-off"
    BATTERY_PRESENT = "battery-present"
    IMAGE_VOUCHED = "image-vouched"
    SAME_BOARD_SEEN = "same-board-seen"
    NO_OLD_IMAGE = "no-old-image"
    MOTORS_MAY_TURN = "motors-may-turn"


@dataclass(frozen=True, slots=True)
class GateText:
    """What a gate asks for and the danger it stands before."""

    asks: str
    danger: str
    is_measured: bool


TEXTS: dict[Gate, GateText] = {
    Gate.SNAPSHOT_ON_DISK: GateText(
        "The as-found settings were read twice, agreed, and the file on disk still reads back with its digest.",
        "The write wipes the settings; without the copy they are gone.",
        is_measured=True,
    ),
    Gate.SAME_AIRCRAFT: GateText(
        "The board that answers now has the unique id of the aircraft that was received.",
        "Another board's settings, or its only copy, would be overwritten.",
        is_measured=True,
    ),
    Gate.IMAGE_FITS: GateText(
        "The image belongs on this board: chip, extents, vector table, descriptor and board name agree.",
        "Another board's image leaves the aircraft not working.",
        is_measured=True,
    ),
    Gate.NOTHING_HELD: GateText(
        "Every held setting of the carry-over sheet was decided.",
        "An undecided setting could make the aircraft fly, arm or fail differently.",
        is_measured=True,
    ),
    Gate.PROPELLERS_OFF: GateText(
        "All propellers are off the aircraft and it cannot fall or roll off the bench.",
        "Motors may start while a controller restarts; a propeller cuts to the bone. A lithium battery that is "
        "damaged, swollen or hot must not be plugged in at all.",
        is_measured=False,
    ),
    Gate.BATTERY_PRESENT: GateText(
        "The main battery is plugged in, as the aircraft itself measures it.",
        "Without it the display chip has no power: the write seems to work and changes nothing.",
        is_measured=True,
    ),
    Gate.IMAGE_VOUCHED: GateText(
        "You looked at the name printed on the board, and the publisher of the image names that very board.",
        "Another board's image leaves the aircraft not working, and may drive its pins in a way that harms it.",
        is_measured=False,
    ),
    Gate.SAME_BOARD_SEEN: GateText(
        "The board that is in its bootloader now is the aircraft of this job card; no other board is plugged in.",
        "This bootloader tells no unique id: nobody but you can see that another aircraft is not overwritten.",
        is_measured=False,
    ),
    Gate.MOTORS_MAY_TURN: GateText(
        "The propellers are off, the aircraft is held down, nobody's fingers, hair or sleeves are near a motor, and "
        "you can pull the battery at once.",
        "Motors will turn, for a second at a time. A bell without a propeller still catches hair, cloth and fingers. "
        "Follow the maker's instructions and local rules.",
        is_measured=False,
    ),
    Gate.NO_OLD_IMAGE: GateText(
        "You have the image of the old release, or can get it from its publisher.",
        "The old image cannot be kept from here, since the bootloader gives nothing out or the flash is empty: the way "
        "back needs that file.",
        is_measured=False,
    ),
}


class GateShutError(WorkflowError):
    """A gate does not hold, so the step behind it was not done."""

    id = "workflow.gate-shut"

    def __init__(self, gate: Gate, *, found: str, todo: str, volts: float | None = None) -> None:
        text = TEXTS[gate]
        super().__init__(
            f"The gate '{gate}' is shut: {found}",
            why=f"{text.asks} {text.danger}",
            todo=todo,
            gate=str(gate),
            volts=volts,
        )
        self.gate = gate


class NotConfirmedError(GateShutError):
    """The person did not confirm what only a person can see."""

    id = "workflow.not-confirmed"
    blame = Blame.PERSON
