"""`plan`: what will become of each setting, as table, JSON, CSV or HTML. Nothing is sent to any aircraft."""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.cli.files import require_free_name
from rotorwright.cli.readings import Reading, Told, read_source, snapshot_of, warn_of_unplaced
from rotorwright.errors import SettingsError
from rotorwright.settings.comparing import read_in_types_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.hangar.books import ReleaseBook
    from rotorwright.settings.carry_over import CarryOverInputs
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.note_entries import ChangeNotes
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.snapshot import Snapshot
    from rotorwright.settings.values import Value


class ReleaseNotInBookError(SettingsError):
    """The release book does not know a release or its settings."""

    id = "settings.release-not-in-book"


class NewReleaseUnknownError(SettingsError):
    """Nobody says what the new release is: neither a book with a release, nor its defaults."""

    id = "settings.new-release-unknown"


class SheetForm(StrEnum):
    """In which form a carry-over sheet is given out."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"
    HTML = "html"


def sheet_form(word: str) -> SheetForm:
    """Return the form that a person names.

    Raises:
        typer.BadParameter: there is no such form.
    """
    import typer

    try:
        return SheetForm(word)
    except ValueError as error:
        raise typer.BadParameter(f"{word!r} is no form of a sheet; there are {', '.join(SheetForm)}") from error


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What a person asks of `plan`.

    Args:
        to: the new release; with a book it is needed.
        old_defaults: a source of settings (see `readings`) of the old release, fresh on this board.
        new_defaults: the same of the new release.
        told: how sources are to be read, and the book.
        form: in which form.
        output: file to write; nothing for the screen.
        every: in the table, show the adopted lines too.
        why: the whole story of this one setting instead of the sheet.
        policy: how doubtful settings are decided, in the text form of a policy.
    """

    to: str = ""
    old_defaults: str | None = None
    new_defaults: str | None = None
    told: Told = field(default_factory=Told)
    form: SheetForm = SheetForm.TABLE
    output: Path | None = None
    every: bool = False
    why: str | None = None
    policy: str = "careful"


@dataclass(frozen=True, slots=True)
class Plan:
    """A carry-over sheet with what was known when it was made."""

    sheet: CarryOverSheet
    old: Catalogue | None
    new: Catalogue | None
    notes: ChangeNotes | None


def show_plan(source: str, request: PlanRequest) -> int:
    """Show, or write, the carry-over sheet for the settings in `source`."""
    if request.output is not None:
        require_free_name(request.output)
    plan = make_plan(source, request)
    if request.why is not None:
        return _show_why(plan, request.why, as_json=request.form is SheetForm.JSON)
    data = sheet_as(plan, request.form, every=request.every)
    if request.output is not None:
        return _write(request.output, data, plan)
    if request.form is SheetForm.TABLE:
        from rotorwright.cli.sheet_view import print_sheet_table

        print_sheet_table(plan.sheet, old=plan.old, new=plan.new, every=request.every)
    else:
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    return 0


def make_plan(source: str, request: PlanRequest) -> Plan:
    """Return the plan for the settings in `source`.

    Raises:
        NewReleaseUnknownError: neither a book and a release nor the new defaults are given.
        ReleaseNotInBookError: the book lacks the catalogue of one of the two releases, and its defaults are not given.
        RotorwrightError: a source cannot be read.
    """
    from rotorwright.changeover.refitting import refit_sheet
    from rotorwright.settings.carry_over import carry_over

    if request.new_defaults is None and not (request.told.book and request.to):
        raise _new_release_unknown()
    inputs = _inputs(source, request)
    old, new, notes = inputs.old_catalogue, inputs.new_catalogue, inputs.notes
    sheet = refit_sheet(carry_over(inputs), notes=notes, old_catalogue=old, new_catalogue=new)
    return Plan(sheet, old, new, notes)


def sheet_as(plan: Plan, form: SheetForm, *, every: bool = False) -> bytes:
    """Return the sheet in one of its forms, as the bytes of a file."""
    if form is SheetForm.JSON:
        from rotorwright.settings.sheet import print_sheet

        return print_sheet(plan.sheet)
    if form is SheetForm.CSV:
        from rotorwright.settings.sheet_csv import print_sheet_csv

        return print_sheet_csv(plan.sheet)
    if form is SheetForm.HTML:
        from rotorwright.report.refit_figure import refit_drawings
        from rotorwright.report.sheet_html import render_sheet

        known = {"old_catalogue": plan.old, "new_catalogue": plan.new}
        drawings = refit_drawings(plan.sheet, notes=plan.notes, **known)
        return render_sheet(plan.sheet, old=plan.old, new=plan.new, drawings=drawings).encode()
    return _table(plan, every=every)


def _table(plan: Plan, *, every: bool) -> bytes:
    from rich.console import Console

    from rotorwright.cli.sheet_view import print_sheet_table

    text = io.StringIO()
    paper = Console(file=text, width=140, highlight=False, color_system=None)
    print_sheet_table(plan.sheet, old=plan.old, new=plan.new, every=every, console=paper)
    return text.getvalue().encode()


def _inputs(source: str, request: PlanRequest) -> CarryOverInputs:
    from rotorwright.hangar.books import read_book
    from rotorwright.settings.carry_over import CarryOverInputs
    from rotorwright.settings.policies import Policy

    policy = Policy.parse(request.policy)
    ours = _read(source, request.told)
    snapshot = snapshot_of(ours, request.told)
    before = _read(request.old_defaults, request.told) if request.old_defaults else None
    after = _read(request.new_defaults, request.told) if request.new_defaults else None
    to = request.to or (after.snapshot.identity.release if after and after.snapshot else "")
    described = (
        _from_book(snapshot, read_book(request.told.book), to, needs_old=before is None, needs_new=after is None)
        if request.told.book
        else CarryOverInputs(ours=snapshot, old_defaults={}, new_defaults={}, to_release=to)
    )
    if before:
        described = replace(described, old_defaults=_in_types(before, snapshot.settings))
    if after:
        described = replace(described, new_defaults=_in_types(after, snapshot.settings))
    return replace(described, ours=_typed_like(ours, snapshot, described.old_defaults), policy=policy)


def _read(source: str, told: Told) -> Reading:
    reading = read_source(source, told)
    warn_of_unplaced(reading)
    return reading


def _in_types(reading: Reading, known: Mapping[str, Value]) -> dict[str, Value]:
    return read_in_types_of(reading.settings, known, flags=reading.flags)


def _typed_like(reading: Reading, snapshot: Snapshot, defaults: Mapping[str, Value]) -> Snapshot:
    """Return the snapshot of a listing with the types that the old defaults have, where its texts say just that."""
    if reading.snapshot is not None:
        return snapshot
    return replace(snapshot, settings=_in_types(reading, defaults))


def _from_book(snapshot: Snapshot, book: ReleaseBook, to: str, *, needs_old: bool, needs_new: bool) -> CarryOverInputs:
    from rotorwright.changeover.choosing import board_of
    from rotorwright.settings.carry_over import CarryOverInputs
    from rotorwright.settings.identity import release_line

    board = board_of(snapshot.identity, book)
    line_before, line_after = release_line(snapshot.identity.release), release_line(to)
    old, new = book.catalogue(line_before, board.name), book.catalogue(line_after, board.name)
    if (old is None and needs_old) or (new is None and needs_new):
        raise _not_in_book(line_before if old is None else line_after, board.name)
    return CarryOverInputs(
        ours=snapshot,
        old_defaults=old.defaults if old else {},
        new_defaults=new.defaults if new else {},
        old_catalogue=old,
        new_catalogue=new,
        notes=book.notes(line_before, line_after),
        classes=book.classes,
        same_aircraft=True,
        to_release=to,
        constraints=book.constraints(line_after),
    )


def _show_why(plan: Plan, name: str, *, as_json: bool) -> int:
    from rotorwright.cli.console import print_json
    from rotorwright.cli.why_view import print_why, story_of

    story = story_of(plan.sheet, name, old=plan.old, new=plan.new, notes=plan.notes)
    if as_json:
        print_json(story)
    else:
        print_why(story)
    return 0


def _write(path: Path, data: bytes, plan: Plan) -> int:
    from rich.markup import escape

    from rotorwright.cli.console import out
    from rotorwright.hangar.files import write_kept_file

    write_kept_file(path, data)
    held = len(plan.sheet.undecided)
    todo = " Decide them with `rotorwright decide`." if held else ""
    out.print(escape(f"The sheet is in {path}; held for a person: {held}.{todo}"), soft_wrap=True)
    return 0


def _not_in_book(release: str, board: str) -> ReleaseNotInBookError:
    return ReleaseNotInBookError(
        f"The release book does not describe the settings of {release} for {board}.",
        why="A plan needs the catalogue of both releases.",
        todo="Take a release book that has it, or check the number after --to.",
        release=release,
    )


def _new_release_unknown() -> NewReleaseUnknownError:
    return NewReleaseUnknownError(
        "Nobody says where the settings are to go.",
        why="A plan needs a release book and --to, or the defaults of the new release as they were read from a board.",
        todo="Add --book and --to; or --new-defaults FILE, and --old-defaults FILE where you have them.",
    )
