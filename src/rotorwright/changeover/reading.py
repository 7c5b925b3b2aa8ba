"""Reading an aircraft: everything twice, compared, so that a copy can be trusted."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from rotorwright.changeover.errors import SnapshotReadsDifferError
from rotorwright.errors import ProtocolError
from rotorwright.links.application import DISPLAY_FILE
from rotorwright.links.console.link import ConsoleLink, no_catalogue
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.settings.snapshot import Snapshot

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from rotorwright.changeover.workshop import Progress
    from rotorwright.links.application import ApplicationLink
    from rotorwright.links.wire import Clock, LineSettings, Port, Wire
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.dialects.dialect import Dialect
    from rotorwright.settings.identity import Identity
    from rotorwright.settings.values import Value

FIRST_HEARTBEAT_S = 4.0  # four missed heartbeats at the customary 1 Hz (MAVLink heartbeat page)


def application_link(
    wire: Wire,
    clock: Clock,
    dialect: Dialect | None = None,
    *,
    catalogue_for: Callable[[Identity], Catalogue | None] = no_catalogue,
) -> ApplicationLink:
    """Return the link to a running application: by its text console where a dialect is given, else by messages."""
    if dialect is None:
        return MavlinkLink(wire, clock)
    return ConsoleLink(wire, clock, dialect, catalogue_for=catalogue_for)


@contextmanager
def heard_aircraft(
    port: Port,
    clock: Clock,
    line: LineSettings,
    dialect: Dialect | None = None,
    *,
    catalogue_for: Callable[[Identity], Catalogue | None] = no_catalogue,
) -> Iterator[ApplicationLink]:
    """Open the port for as long as the block runs, once an aircraft is heard on it.

    Raises:
        LinkError: nobody is.
    """
    wire = port.open(line)
    try:
        link = application_link(wire, clock, dialect, catalogue_for=catalogue_for)
        link.wait_heartbeat(FIRST_HEARTBEAT_S)
        yield link
    finally:
        wire.close()


def read_aircraft(
    port: Port,
    clock: Clock,
    line: LineSettings,
    dialect: Dialect | None = None,
    *,
    now: Callable[[], str],
    progress: Progress,
    catalogue_for: Callable[[Identity], Catalogue | None] = no_catalogue,
) -> Snapshot:
    """Return a snapshot of the aircraft on `port`, read twice and equal.

    Raises:
        LinkError: nobody answers.
        SnapshotReadsDifferError: the two readings differ.
    """
    with heard_aircraft(port, clock, line, dialect, catalogue_for=catalogue_for) as link:
        identity = link.read_identity()
        settings = read_twice(link, read_catalogue_if_any(link), progress)
    return Snapshot(identity=identity, settings=settings, taken_at=now())


def read_catalogue_if_any(link: ApplicationLink) -> Catalogue | None:
    """Return the aircraft's own catalogue, or None when it offers none."""
    try:
        return link.read_catalogue()
    except ProtocolError:
        return None


def read_display_if_any(link: ApplicationLink) -> bytes | None:
    """Return the display memory, or None when the aircraft offers none."""
    try:
        return link.read_file(DISPLAY_FILE)
    except ProtocolError:
        return None


def read_twice(link: ApplicationLink, catalogue: Catalogue | None, progress: Progress) -> dict[str, Value]:
    """Return the settings, read twice and equal but for values that the aircraft measures itself.

    Raises:
        SnapshotReadsDifferError: they differ elsewhere.
    """
    first = link.read_settings(lambda done, total: progress("reading settings, first time", done, total))
    second = link.read_settings(lambda done, total: progress("reading settings, second time", done, total))
    differing = differing_names(first, second, catalogue)
    if differing:
        raise SnapshotReadsDifferError(
            f"Two readings of the settings differ in {len(differing)}: {', '.join(differing[:5])}.",
            why="The line damages bytes, or another program changes settings at this moment.",
            todo="Close other programs that talk to the aircraft, try another cable, and save again.",
            names=", ".join(differing),
        )
    return second


def differing_names(
    first: Mapping[str, Value], second: Mapping[str, Value], catalogue: Catalogue | None
) -> tuple[str, ...]:
    """Return the names whose values differ, measured ones left out."""
    return tuple(
        name
        for name in sorted({*first, *second})
        if first.get(name) != second.get(name) and not is_volatile(name, catalogue)
    )


def is_volatile(name: str, catalogue: Catalogue | None) -> bool:
    """Answer whether the aircraft changes this setting by itself."""
    return catalogue is not None and catalogue.is_volatile(name)
