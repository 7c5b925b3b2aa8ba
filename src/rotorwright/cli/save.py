"""`save`: everything an aircraft holds, or what a printed listing says, as a snapshot on disk."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.compare_view import reading_facts
from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import require_free_name
from rotorwright.cli.readings import (
    NOBODY,
    Reading,
    read_listing,
    read_port,
    require_all_placed,
    snapshot_of,
    warn_of_unplaced,
)

if TYPE_CHECKING:
    from rotorwright.cli.readings import Told
    from rotorwright.settings.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class SaveRequest:
    """What is saved: the aircraft on `port`, or the printed `listing`; and under which name."""

    told: Told
    port: str | None = None
    listing: Path | None = None
    output: Path | None = None
    leave_out_unplaced: bool = False


def save(request: SaveRequest, *, as_json: bool) -> int:
    """Save a snapshot. Nothing is overwritten."""
    from rotorwright.hangar.files import write_kept_file
    from rotorwright.settings.snapshot import print_snapshot

    if request.output is not None:
        require_free_name(request.output)
    snapshot = _read(request)
    path = request.output or Path(_usual_name(snapshot))
    kept = write_kept_file(path, print_snapshot(snapshot))
    if as_json:
        facts = reading_facts(Reading(source=str(request.port or request.listing), settings={}, snapshot=snapshot))
        print_json({"file": str(path), "sha256": kept.sha256, **facts, "count": len(snapshot.settings)})
    else:
        out.print(escape(_words(request, snapshot, path)), soft_wrap=True)
    return 0


def _read(request: SaveRequest) -> Snapshot:
    from rotorwright.cli.files import read_input_file

    if request.listing is None:
        assert request.port is not None
        return read_port(request.port, request.told)
    reading = read_listing(read_input_file(request.listing), str(request.listing), request.told)
    if not request.leave_out_unplaced:
        require_all_placed(reading)
    warn_of_unplaced(reading)
    return snapshot_of(reading, request.told)


def _usual_name(snapshot: Snapshot) -> str:
    whose = "listing" if snapshot.identity.unique_id == NOBODY else snapshot.identity.unique_id
    return f"{whose}-{snapshot.taken_at.replace(':', '')}.json"


def _words(request: SaveRequest, snapshot: Snapshot, path: Path) -> str:
    identity = snapshot.identity
    what = f"{identity.board} ({identity.family} {identity.release})"
    if request.listing is None:
        return f"{len(snapshot.settings)} settings of {what}, read twice and equal, are in {path}."
    whose = (
        "" if identity.unique_id != NOBODY else " Nobody said which aircraft it is of: its unique id stands as zeros."
    )
    return f"{len(snapshot.settings)} settings of {request.listing} are in {path}.{whose}"
