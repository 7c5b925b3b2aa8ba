"""Commands about the library of captured defaults: list it, show one entry, add a snapshot. No aircraft is touched."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import read_input_file
from rotorwright.hangar.defaults_library import DefaultsLibrary, ReadBy
from rotorwright.hangar.places import hangar_folder
from rotorwright.hangar.store import Hangar
from rotorwright.settings.snapshot import Snapshot, parse_snapshot
from rotorwright.settings.values import SCHEMA_TYPES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.hangar.defaults_library import CapturedDefaults, DefaultsRow
    from rotorwright.settings.values import Value

_COLUMNS = ("number", "family", "release", "board", "read by", "settings", "captured at", "from aircraft")


def list_defaults(hangar_path: Path | None, *, as_json: bool) -> int:
    """List the captured defaults, the newest first."""
    with _opened(hangar_path) as hangar:
        rows = DefaultsLibrary(hangar).entries()
    if as_json:
        print_json([_facts(row) for row in rows])
        return 0
    if not rows:
        _say("No defaults captured yet. Changeovers capture them; `rotorwright defaults add` takes a saved snapshot.")
        return 0
    _print_table(_COLUMNS, [_cells(row) for row in rows])
    return 0


def show_defaults(number: int, hangar_path: Path | None, *, as_json: bool) -> int:
    """Show one entry as a listing of its settings."""
    with _opened(hangar_path) as hangar:
        row, snapshot = DefaultsLibrary(hangar).entry(number)
    if as_json:
        print_json({**_facts(row), "defaults": _listed(snapshot.settings)})
        return 0
    _say(f"Number {row.number}: {row.board}, {row.family} {row.release}, captured {row.captured_at} by {row.read_by}")
    _say(f"from {row.unique_id}, build {row.build or 'not said'}")
    lines = [(name, str(value.type), value.text) for name, value in snapshot.settings.items()]
    _print_table(("name", "type", "value"), lines)
    _say(f"{len(snapshot.settings)} settings; SHA-256 {snapshot.sha256}")
    return 0


def add_defaults(
    path: Path, hangar_path: Path | None, *, read_by: str | None, catalogue: Path | None, as_json: bool
) -> int:
    """Add a saved snapshot that a person says was taken fresh after a reset to defaults."""
    snapshot = parse_snapshot(read_input_file(path), source=str(path))
    document = None if catalogue is None else read_input_file(catalogue)
    how = read_by or likely_read_by(snapshot)
    who = snapshot.identity
    with _opened(hangar_path) as hangar:
        library = DefaultsLibrary(hangar)
        known = {row.number for row in library.entries()}
        row = library.add(snapshot, catalogue=document, read_by=how).row
        found = library.find(who.family, who.release, who.board, read_by=how)
    assert found is not None, "it was added above"
    if as_json:
        print_json({**_facts(row), "added": row.number not in known, "varying": list(found.varying)})
    else:
        _say_added(row, found, is_new=row.number not in known)
    return 0


def likely_read_by(snapshot: Snapshot) -> ReadBy:
    """Return how a snapshot was read, by its types: only a console gives texts and numbers of 64 bits."""
    is_typed = all(value.type in SCHEMA_TYPES for value in snapshot.settings.values())
    return ReadBy.MAVLINK if is_typed else ReadBy.CONSOLE


def _opened(folder: Path | None) -> Hangar:
    return Hangar.open(folder or hangar_folder())


def _say_added(row: DefaultsRow, found: CapturedDefaults, *, is_new: bool) -> None:
    what = f"the defaults of {row.family} {row.release} on {row.board}, read by {row.read_by}"
    if is_new:
        _say(f"Added as number {row.number}: {row.settings_count} settings as {what}.")
    else:
        _say(f"Already there as number {row.number}: {what}.")
    _say("They are taken at your word: what a person had changed in them would pass for a default from now on.")
    if found.varying:
        shown = ", ".join(found.varying[:5]) + (", ..." if len(found.varying) > 5 else "")
        _say(
            f"{len(found.varying)} of them differ from other captures, so their default counts as unknown: {shown}. "
            f"`rotorwright defaults` lists the captures, `rotorwright defaults show N` shows one."
        )


def _facts(row: DefaultsRow) -> dict[str, object]:
    return {
        "number": row.number,
        "family": row.family,
        "release": row.release,
        "board": row.board,
        "build": row.build,
        "read_by": str(row.read_by),
        "settings": row.settings_count,
        "captured_at": row.captured_at,
        "unique_id": row.unique_id,
        "snapshot_sha256": row.snapshot_sha256,
        "file": row.file.name,
        "catalogue_file": row.catalogue_file.name if row.catalogue_file else None,
    }


def _cells(row: DefaultsRow) -> tuple[str, ...]:
    return (
        str(row.number),
        row.family,
        row.release,
        row.board,
        str(row.read_by),
        str(row.settings_count),
        row.captured_at,
        row.unique_id,
    )


def _listed(settings: Mapping[str, Value]) -> list[dict[str, str]]:
    return [{"name": name, "type": str(value.type), "value": value.text} for name, value in settings.items()]


def _print_table(columns: Sequence[str], lines: Sequence[Sequence[str]]) -> None:
    table = Table(box=None, pad_edge=False, show_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    for line in lines:
        table.add_row(*(escape(cell) for cell in line))
    out.print(table)


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
