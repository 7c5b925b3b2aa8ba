"""Commands that look and change nothing on an aircraft: show, inspect."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from rotorwright.cli.compare_view import reading_facts
from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import read_input_file, require_free_name
from rotorwright.cli.readings import Reading, Told, listing_catalogue, read_source, warn_of_unplaced

if TYPE_CHECKING:
    from rotorwright.firmware.fit import Fit
    from rotorwright.firmware.read_image import ReadImage
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.snapshot import Snapshot


def show_settings(source: str, told: Told, *, name: str, as_json: bool) -> int:
    """Show the settings of a snapshot, a listing, or the aircraft on a port."""
    reading = read_source(source, told)
    chosen = {key: value for key, value in reading.settings.items() if name.lower() in key.lower()}
    if as_json:
        settings = [{"name": key, "type": str(value.type), "value": value.text} for key, value in chosen.items()]
        print_json({**reading_facts(reading), "settings": settings})
        return 0
    warn_of_unplaced(reading)
    catalogue = _catalogue_of(reading.snapshot, told.book) if reading.snapshot and told.book else None
    catalogue = catalogue or (listing_catalogue(told) if reading.snapshot is None else None)
    _say(_whose(reading))
    table = Table(box=None, pad_edge=False, show_edge=False)
    for column in ("name", "type", "value", "meaning"):
        table.add_column(column, overflow="fold")
    for key, value in chosen.items():
        known = catalogue[key] if catalogue is not None and key in catalogue else None
        meaning = f"{known.show(value)}; {known.short}" if known else ""
        table.add_row(escape(key), str(value.type), escape(value.text), escape(meaning))
    out.print(table)
    digest = f"; SHA-256 {reading.snapshot.sha256}" if reading.snapshot else ""
    _say(f"{len(chosen)} of {len(reading.settings)} settings{digest}")
    return 0


def _whose(reading: Reading) -> str:
    if reading.snapshot is None:
        return f"{reading.source}, a printed listing"
    identity = reading.snapshot.identity
    taken = f"id {identity.unique_id}, taken {reading.snapshot.taken_at}"
    return f"{identity.board}, {identity.family} {identity.release}, {taken}"


@dataclass(frozen=True, slots=True)
class InspectRequest:
    """What a person wants to see of an image: `board` in `book` to judge it against, `part` for its sectors."""

    path: Path
    book: Path | None = None
    board: str | None = None
    part: str = ""
    base: int | None = None
    map_file: Path | None = None


def inspect_image(request: InspectRequest, *, as_json: bool) -> int:
    """Show what an image is and whether it fits; the exit code says it too (5: does not fit)."""
    from rotorwright.cli.image_view import (
        image_facts,
        image_reading_facts,
        part_of,
        print_image,
        print_reading,
        write_map,
    )
    from rotorwright.firmware.files import read_image_file

    path = request.path
    if request.map_file is not None:
        require_free_name(request.map_file)
    found = read_image_file(read_input_file(path), name=path.name, base=request.base)
    image, part = found.image, part_of(found.image, request.part)
    fit = _fit(found, request.book, request.board) if request.book and request.board else None
    if as_json:
        print_json({**image_facts(image, path.name, fit, part), **image_reading_facts(found)})
    else:
        print_image(image, path.name, fit, part)
        print_reading(found)
    if request.map_file is not None:
        write_map(image, path.name, part, request.map_file)
    return 0 if fit is None or str(fit.verdict) == "fits" else 5


def compare_image_files(first: Path, second: Path, *, part: str, base: int | None, as_json: bool) -> int:
    """Show how two images differ, sector by sector; the exit code says it too (1: they differ)."""
    from rotorwright.cli.image_comparison import Compared, comparison_facts, is_same, print_comparison
    from rotorwright.cli.image_view import part_of
    from rotorwright.firmware.files import read_image_file

    one, other = (
        Compared(path.name, read_image_file(read_input_file(path), name=path.name, base=base).image)
        for path in (first, second)
    )
    parts = {found for found in (part_of(one.image, part), part_of(other.image, part)) if found is not None}
    named = parts.pop() if len(parts) == 1 else None  # two parts that disagree: the pages favour neither side
    if as_json:
        print_json(comparison_facts(one, other, named))
    else:
        print_comparison(one, other, named)
    return 0 if is_same(one, other) else 1


def _fit(found: ReadImage, book: Path, board_name: str) -> Fit:
    from rotorwright.changeover.choosing import known_board
    from rotorwright.firmware.boot_probe import probe_boot
    from rotorwright.firmware.fit import judge_fit
    from rotorwright.firmware.mcu import microcontroller
    from rotorwright.hangar.books import read_book

    opened = read_book(book)
    board = known_board(opened, board_name, otherwise=f"The release book knows no board that is called '{board_name}'.")
    return judge_fit(
        found.image,
        board=board,
        mcu=microcontroller(board.mcu),
        chip_id=None,
        reported_board=None,
        release=None,
        family=opened.family,
        boot=probe_boot(found.image),
        uf2_families=found.uf2_families,
    )


def _catalogue_of(snapshot: Snapshot, book: Path) -> Catalogue | None:
    from rotorwright.changeover.choosing import board_of
    from rotorwright.hangar.books import read_book
    from rotorwright.settings.identity import release_line

    opened = read_book(book)
    board = board_of(snapshot.identity, opened)
    return opened.catalogue(release_line(snapshot.identity.release), board.name)


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
