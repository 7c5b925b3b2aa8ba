"""Commands for the virtual aircraft: start it, and act on it as hands do."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out
from rotorwright.errors import WorkflowError
from rotorwright.links.ports import default_port_folders
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.assembly import Circumstances
from rotorwright.twin.delivery import AIRFRAME, deliver
from rotorwright.twin.demo_craft import PLANTS
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.hands import HandsClient
from rotorwright.twin.process import serve
from rotorwright.twin.state import StateFolder
from rotorwright.twin.thornbill.book import write_book
from rotorwright.twin.thornbill.images import DEMO_FILE_NAMES, write_demo_images

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path


class HandsActionError(WorkflowError):
    """The hands are asked for something that they cannot do."""

    id = "twin.hands-action"


class UnknownPlantError(WorkflowError):
    """No such fault can be planted in a virtual aircraft."""

    id = "twin.plant"
    exit_code = 2


def known_plants(faults: Sequence[str]) -> tuple[str, ...]:
    """Return the faults, as they were given.

    Raises:
        UnknownPlantError: one of them cannot be planted.
    """
    for fault in faults:
        if fault not in PLANTS:
            raise UnknownPlantError(
                f"The fault {fault!r} cannot be planted.",
                why=f"These can: {', '.join(PLANTS)}.",
                todo="Name one of those. Faults in settings are planted by writing that setting.",
                fault=fault,
            )
    return tuple(faults)


def _move_switch(hands: HandsClient, *, channel: int) -> object:
    return hands.move_switch(channel)


ACTIONS: dict[str, Callable[[HandsClient], object]] = {
    "power-off": lambda hands: hands.power_off(),
    "power-on": lambda hands: hands.power_on(),
    "button": lambda hands: hands.restart(button=True),
    "battery-in": lambda hands: hands.plug_battery(),
    "battery-out": lambda hands: hands.unplug_battery(),
    "nose-down": lambda hands: hands.tilt("forward"),
    "nose-up": lambda hands: hands.tilt("back"),
    "left-down": lambda hands: hands.tilt("left"),
    "right-down": lambda hands: hands.tilt("right"),
    "level": lambda hands: hands.tilt("level"),
    "nose-right": lambda hands: hands.pose("nose-right"),
    "stick-thrust": lambda hands: hands.move_stick("thrust"),
    "stick-roll": lambda hands: hands.move_stick("roll"),
    "stick-pitch": lambda hands: hands.move_stick("pitch"),
    "stick-yaw": lambda hands: hands.move_stick("yaw"),
    "transmitter-on": lambda hands: hands.switch_transmitter(is_on=True),
    "transmitter-off": lambda hands: hands.switch_transmitter(is_on=False),
    "arm-and-off": lambda hands: hands.switch_transmitter(is_on=False, arms=True),
    **{f"switch-{channel}": partial(_move_switch, channel=channel) for channel in range(5, 17)},
    "pull-cable": lambda hands: hands.pull_cable(),
    "plug-cable": lambda hands: hands.plug_cable(),
}


def serve_twin(
    path: Path,
    *,
    baud: int,
    speed: float,
    faults: list[str],
    console: bool = False,
    drive: bool = False,
    planted: Sequence[str] = (),
) -> int:
    """Keep the aircraft in `path` alive until stopped; deliver a new one if there is none.

    With `console` its firmware speaks by its text console from now on, with `drive` its bootloader shows itself as a
    drive; `planted` is what is wrong with the aircraft itself. The folder remembers all of it.
    """
    folder = StateFolder(path)
    if not folder.is_made:
        deliver(folder)
        out.print(f"A new {AIRFRAME} is in {escape(str(path))}.", soft_wrap=True)
    if console:
        folder.give_console()
    if drive:
        folder.give_drive()
    if planted:
        folder.plant(known_plants(planted))
    _lay_out_papers(path)
    serve(
        path,
        boot=start_from_flash,
        circumstances=Circumstances(baud=baud, speed=speed, faults=FaultPlan.parse(faults)),
        ports_folder=default_port_folders()[0],
        on_ready=_say_ready,
    )
    return 0


def _lay_out_papers(path: Path) -> None:
    """Put the release book and the images beside the aircraft, so that a person has all that the job takes."""
    book, images = path / "book", path / "images"
    if not book.exists():
        write_book(book)
        images.mkdir(exist_ok=True)
        write_demo_images(images)
    out.print(f"Its release book is {escape(str(book))}", soft_wrap=True)
    out.print(f"The image of 6.0 is {escape(str(images / DEMO_FILE_NAMES['6.0', 'C405']))}", soft_wrap=True)


def _say_ready(port: Path) -> None:
    out.print(f"Its port is {escape(str(port))}\nStop it with Ctrl-C.", soft_wrap=True)


def act_on_twin(path: Path, action: str) -> int:
    """Do one thing with the hands.

    Raises:
        HandsActionError: nobody can do that.
    """
    if action not in ACTIONS:
        raise HandsActionError(
            f"The hands cannot do '{action}'.",
            why=f"They can do: {', '.join(ACTIONS)}.",
            todo="Say one of these.",
            action=action,
        )
    ACTIONS[action](HandsClient(path))
    condition = HandsClient(path).look()
    battery = "in" if condition.battery else "out"
    out.print(f"Done: {action}. The board is {condition.mode}, held {condition.held}, battery {battery}.")
    return 0
