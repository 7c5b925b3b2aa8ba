"""Commands that look and change nothing on an aircraft: ports, save, show, compare, inspect, plan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import read_input_file
from rotorwright.errors import SettingsError, StorageError
from rotorwright.settings.snapshot import Snapshot, compare_snapshots, parse_snapshot

if TYPE_CHECKING:
    from rotorwright.firmware.fit import Fit
    from rotorwright.firmware.image import Image
    from rotorwright.hangar.books import ReleaseBook
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.sheet import CarryOverSheet


class OutputNameError(StorageError):
    """Nothing can be saved under the name that was given."""

    id = "storage.output-name"


class ReleaseNotInBookError(SettingsError):
    """The release book does not know a release or its settings."""

    id = "settings.release-not-in-book"


def show_ports(*, watch: bool, as_json: bool) -> int:
    """List ports, or go on and show what comes and goes."""
    from rotorwright.cli.ports import print_ports, watch_and_print

    return watch_and_print(as_json=as_json) if watch else print_ports(as_json=as_json)


def save_snapshot(port: str, *, out: Path | None, baud: int, as_json: bool) -> int:
    """Save the settings of the aircraft on `port` into a file."""
    from rotorwright.changeover.reading import read_aircraft
    from rotorwright.cli.jobs import shown_progress, utc_now
    from rotorwright.hangar.files import write_kept_file
    from rotorwright.links.clock import RealClock
    from rotorwright.links.serial_port import SerialPort
    from rotorwright.links.wire import LineSettings
    from rotorwright.settings.snapshot import print_snapshot

    if out is not None:
        require_free_name(out)
    with shown_progress() as bar:
        snapshot = read_aircraft(SerialPort(port), RealClock(), LineSettings(baud), now=utc_now, progress=bar.show)
    path = out or Path(f"{snapshot.identity.unique_id}-{snapshot.taken_at.replace(':', '')}.json")
    kept = write_kept_file(path, print_snapshot(snapshot))
    if as_json:
        print_json({"file": str(path), "sha256": kept.sha256, **_snapshot_facts(snapshot)})
    else:
        _say(
            f"{len(snapshot.settings)} settings of {snapshot.identity.board} "
            f"({snapshot.identity.family} {snapshot.identity.release}), read twice and equal, are in {path}."
        )
    return 0


def require_free_name(path: Path) -> None:
    """Refuse a name that cannot be used, before the aircraft is read for nothing.

    Raises:
        OutputNameError: the folder is missing, the name is taken, or it has signs that not every system takes.
    """
    from rotorwright.hangar.errors import KeptNameError
    from rotorwright.hangar.files import check_kept_name

    if path.exists():
        raise _bad_output(path, "it is there already, and nothing is ever overwritten")
    if not path.parent.is_dir():
        raise _bad_output(path, f"there is no folder {path.parent}")
    try:
        check_kept_name(path.name)
    except KeptNameError as error:
        raise _bad_output(path, "the name has signs that not every system takes") from error


def _bad_output(path: Path, why: str) -> OutputNameError:
    return OutputNameError(
        f"Nothing can be saved as {path}: {why}.",
        why="A saved file is made of letters, digits, dots, dashes and underscores, and is kept for good.",
        todo="Say it again with another name after --out, or leave it out.",
        path=str(path),
    )


def show_snapshot(path: Path, *, name: str, book: Path | None, as_json: bool) -> int:
    """Show a snapshot."""
    snapshot = parse_snapshot(read_input_file(path), source=str(path))
    chosen = {key: value for key, value in snapshot.settings.items() if name.lower() in key.lower()}
    if as_json:
        settings = [{"name": key, "type": str(value.type), "value": value.text} for key, value in chosen.items()]
        print_json({**_snapshot_facts(snapshot), "settings": settings})
        return 0
    catalogue = _catalogue_of(snapshot, book) if book else None
    identity = snapshot.identity
    _say(f"{identity.board}, {identity.family} {identity.release}, id {identity.unique_id}, taken {snapshot.taken_at}")
    table = Table(box=None, pad_edge=False, show_edge=False)
    for column in ("name", "type", "value", "meaning"):
        table.add_column(column, overflow="fold")
    for key, value in chosen.items():
        known = catalogue[key] if catalogue is not None and key in catalogue else None
        meaning = f"{known.show(value)}; {known.short}" if known else ""
        table.add_row(escape(key), str(value.type), escape(value.text), escape(meaning))
    out.print(table)
    _say(f"{len(chosen)} of {len(snapshot.settings)} settings; SHA-256 {snapshot.sha256}")
    return 0


def compare_files(before: Path, after: Path, *, as_json: bool) -> int:
    """Compare two snapshots."""
    one = parse_snapshot(read_input_file(before), source=str(before))
    two = parse_snapshot(read_input_file(after), source=str(after))
    differences = compare_snapshots(one, two)
    if as_json:
        rows = [
            {
                "name": row.name,
                "before": row.before.text if row.before else None,
                "after": row.after.text if row.after else None,
            }
            for row in differences
        ]
        print_json(
            {
                "same_aircraft": one.identity.unique_id == two.identity.unique_id,
                "before": _snapshot_facts(one),
                "after": _snapshot_facts(two),
                "differences": rows,
            }
        )
        return int(bool(differences))
    if one.identity.unique_id != two.identity.unique_id:
        _say(f"Two aircraft: {one.identity.unique_id} and {two.identity.unique_id}.")
    if one.identity.release != two.identity.release:
        _say(f"Two releases: {one.identity.release} and {two.identity.release}.")
    table = Table(box=None, pad_edge=False, show_edge=False)
    for column in ("name", "before", "after"):
        table.add_column(column, overflow="fold")
    for row in differences:
        table.add_row(escape(row.name), row.before.text if row.before else "-", row.after.text if row.after else "-")
    if differences:
        out.print(table)
    _say(f"{len(differences)} differences." if differences else "No difference.")
    return int(bool(differences))


def inspect_image(path: Path, *, book: Path | None, board: str | None, as_json: bool) -> int:
    """Show what an image is and whether it fits; the exit code says it too (5: does not fit)."""
    from rotorwright.cli.image_view import image_facts, print_image
    from rotorwright.firmware.intel_hex import read_intel_hex

    image = read_intel_hex(read_input_file(path), name=path.name)
    fit = _fit(image, book, board) if book and board else None
    if as_json:
        print_json(image_facts(image, path.name, fit))
    else:
        print_image(image, path.name, fit)
    return 0 if fit is None or str(fit.verdict) == "fits" else 5


def show_plan_of(path: Path, *, book: Path, to: str, every: bool, why: str | None, as_json: bool) -> int:
    """Show the carry-over sheet for a saved snapshot."""
    from rotorwright.cli.sheet_view import print_sheet_table
    from rotorwright.hangar.books import read_book
    from rotorwright.settings.identity import release_line
    from rotorwright.settings.sheet import print_sheet

    opened = read_book(book)
    snapshot = parse_snapshot(read_input_file(path), source=str(path))
    sheet, old, new = planned(snapshot, opened, to)
    if why is not None:
        from rotorwright.cli.why_view import print_why, story_of

        story = story_of(
            sheet, why, old=old, new=new, notes=opened.notes(release_line(sheet.from_release), release_line(to))
        )
        if as_json:
            print_json(story)
        else:
            print_why(story)
    elif as_json:
        import sys

        sys.stdout.write(print_sheet(sheet).decode("utf-8") + "\n")
    else:
        print_sheet_table(sheet, old=old, new=new, every=every)
    return 0


def planned(snapshot: Snapshot, book: ReleaseBook, to: str) -> tuple[CarryOverSheet, Catalogue, Catalogue]:
    """Return the sheet and both catalogues for a snapshot and the release `to`.

    Raises:
        ReleaseNotInBookError: the book lacks one of the two.
    """
    from rotorwright.changeover.plan import board_of
    from rotorwright.settings.carry_over import CarryOverInputs, carry_over
    from rotorwright.settings.identity import release_line

    board = board_of(snapshot.identity, book)
    line_before, line_after = release_line(snapshot.identity.release), release_line(to)
    old, new = book.catalogue(line_before, board.name), book.catalogue(line_after, board.name)
    if old is None or new is None:
        missing = line_before if old is None else line_after
        raise ReleaseNotInBookError(
            f"The release book does not describe the settings of {missing} for {board.name}.",
            why="A plan needs the catalogue of both releases.",
            todo="Take a release book that has it, or check the number after --to.",
            release=missing,
        )
    inputs = CarryOverInputs(
        ours=snapshot,
        old_defaults=old.defaults,
        new_defaults=new.defaults,
        old_catalogue=old,
        new_catalogue=new,
        notes=book.notes(line_before, line_after),
        classes=book.classes,
        same_aircraft=True,
        to_release=to,
    )
    return carry_over(inputs), old, new


def _fit(image: Image, book: Path, board_name: str) -> Fit:
    from rotorwright.changeover.plan import board_of
    from rotorwright.firmware.fit import judge_fit
    from rotorwright.firmware.mcu import microcontroller
    from rotorwright.hangar.books import read_book
    from rotorwright.settings.identity import Identity

    opened = read_book(book)
    board = board_of(Identity(unique_id="0" * 24, family=opened.family, release="", board=board_name), opened)
    return judge_fit(
        image,
        board=board,
        mcu=microcontroller(board.mcu),
        chip_id=None,
        reported_board=board_name,
        release=None,
        family=opened.family,
    )


def _catalogue_of(snapshot: Snapshot, book: Path) -> Catalogue | None:
    from rotorwright.changeover.plan import board_of
    from rotorwright.hangar.books import read_book
    from rotorwright.settings.identity import release_line

    opened = read_book(book)
    board = board_of(snapshot.identity, opened)
    return opened.catalogue(release_line(snapshot.identity.release), board.name)


def _snapshot_facts(snapshot: Snapshot) -> dict[str, object]:
    identity = snapshot.identity
    return {
        "unique_id": identity.unique_id,
        "family": identity.family,
        "release": identity.release,
        "board": identity.board,
        "build": identity.build,
        "taken_at": snapshot.taken_at,
        "count": len(snapshot.settings),
        "snapshot_sha256": snapshot.sha256,
    }


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
