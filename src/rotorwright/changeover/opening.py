"""How a job card is opened, found and described."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.changeover.errors import NoOpenChangeoverError, OpenChangeoverError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.reading import heard_aircraft
from rotorwright.changeover.state import ATTITUDE, ChangeoverState, fold
from rotorwright.changeover.steps import next_step, standing
from rotorwright.firmware.files import kept_suffix, read_image_file

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rotorwright.hangar.journal import JsonValue
    from rotorwright.hangar.store import ChangeoverRow, Hangar
    from rotorwright.links.ports import UsbIds
    from rotorwright.links.wire import Clock, LineSettings, Port
    from rotorwright.settings.dialects.dialect import Dialect
    from rotorwright.settings.identity import Identity


@dataclass(frozen=True, slots=True)
class JobCard:
    """One changeover of the hangar with where it stands."""

    row: ChangeoverRow
    state: ChangeoverState

    @property
    def next_words(self) -> str:
        """What comes next, in words."""
        rule = next_step(self.state)
        return rule.words if rule else "nothing; it is over"

    @property
    def standing(self) -> str:
        """What is on the aircraft and where its settings are."""
        return standing(self.state, changeover_id=self.row.id)


def read_identity(port: Port, clock: Clock, line: LineSettings, dialect: Dialect | None = None) -> Identity:
    """Return who is on the port.

    Raises:
        LinkError: nobody answers.
    """
    with heard_aircraft(port, clock, line, dialect) as link:
        return link.read_identity()


def open_card(
    hangar: Hangar,
    *,
    identity: Identity,
    port: str,
    book: bytes | None,
    image: bytes,
    airframe: str,
    now: Callable[[], str],
    dialect: bytes | None = None,
    part: str = "",
    policy: str = "careful",
    image_base: int | None = None,
    way: str = "auto",
    checks: Sequence[str] = (ATTITUDE,),
    port_usb: UsbIds | None = None,
) -> str:
    """Open a job card for the aircraft that answers, with everything that a later run needs kept beside it.

    Returns the id of the changeover. `book` is a zip, or None where there is none; `image` a firmware file of any
    known format, and `image_base` the address of its first byte where a person gave it; `dialect` a dialect file
    where the aircraft is spoken to by its text console; `part` the microcontroller where a person names it; `policy`
    is a policy in its text form; `way` a `WriteWay`; `checks` the bench checks that the job is to be proved by;
    `port_usb` the USB device that the port belongs to, so that a later run finds it under another name.

    Raises:
        OpenChangeoverError: another changeover of this aircraft has begun to write and is not over.
        ImageError: the image cannot be read.
    """
    require_nothing_begun(hangar, identity.unique_id)
    found = read_image_file(image, name="the image", base=image_base)
    hangar.remember_aircraft(
        unique_id=identity.unique_id,
        family=identity.family,
        release=identity.release,
        board=identity.board,
        at=now(),
        airframe=airframe,
    )
    changeover_id = hangar.new_changeover(identity.unique_id, now())
    kept_image = hangar.keep(changeover_id, f"image.{kept_suffix(found)}", image)
    facts: dict[str, JsonValue] = {
        "port": port,
        "port_usb": None if port_usb is None else [port_usb.vendor, port_usb.product, port_usb.serial_number],
        "book": _kept_or_none(hangar, changeover_id, "release-book.zip", book),
        "image": kept_facts(kept_image),
        "image_base": image_base,
        "airframe": airframe,
        "dialect": _kept_or_none(hangar, changeover_id, "dialect.toml", dialect),
        "part": part,
        "policy": policy,
        "way": way,
        "checks": list(checks),
    }
    hangar.append(
        changeover_id,
        EventKind.STARTED,
        facts,
        now(),
        expected_sequence=1,
    )
    return changeover_id


def _kept_or_none(hangar: Hangar, changeover_id: str, name: str, data: bytes | None) -> dict[str, JsonValue] | None:
    return None if data is None else kept_facts(hangar.keep(changeover_id, name, data))


def require_nothing_begun(hangar: Hangar, unique_id: str) -> None:
    """Refuse a second job on an aircraft that is half-way through one: its settings now are nobody's choice.

    Raises:
        OpenChangeoverError: it is.
    """
    for card in cards(hangar):
        if card.row.unique_id == unique_id and card.state.is_aircraft_changed and not card.state.is_over:
            raise OpenChangeoverError(
                f"The changeover {card.row.id} of this aircraft has begun and is not over.",
                why="A new one would save what is on the aircraft now as if its owner had set it so.",
                state=card.standing,
                todo=f"Go on: `rotorwright resume {card.row.id}`. Or go back: `rotorwright roll-back {card.row.id}`.",
                changeover=card.row.id,
            )


def cards(hangar: Hangar) -> tuple[JobCard, ...]:
    """Return every job card of the hangar, the oldest first. A card without any event was never opened."""
    found = ((row, hangar.events(row.id)) for row in hangar.changeovers())
    return tuple(JobCard(row, fold(events)) for row, events in found if events)


def find_card(hangar: Hangar, changeover_id: str | None) -> JobCard:
    """Return the named card, or without a name the latest one that is not over.

    Raises:
        NoOpenChangeoverError: there is none.
    """
    every = cards(hangar)
    if changeover_id is not None:
        every = tuple(card for card in every if card.row.id == changeover_id)
    else:
        every = tuple(card for card in every if not card.state.is_over)
    if not every:
        raise NoOpenChangeoverError(
            f"There is no changeover {changeover_id}." if changeover_id else "No changeover is waiting.",
            why="The hangar has no such job card." if changeover_id else "Every one is signed or rolled back.",
            todo="See `rotorwright cards` for those there are, or start one with `rotorwright changeover`.",
        )
    return every[-1]
