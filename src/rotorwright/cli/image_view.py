"""What an image is, on one page."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out
from rotorwright.errors import ImageError
from rotorwright.firmware.build_strings import build_strings
from rotorwright.firmware.descriptor import descriptor_crc_ok, find_descriptor
from rotorwright.firmware.image_map import map_rows
from rotorwright.firmware.mcu import microcontroller, microcontrollers, sectors_for
from rotorwright.firmware.vector_table import read_vector_table
from rotorwright.hangar.files import write_kept_file
from rotorwright.report.image_map_svg import draw_image_map, map_lines

if TYPE_CHECKING:
    from pathlib import Path

    from rotorwright.firmware.descriptor import Descriptor
    from rotorwright.firmware.fit import Fit
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.image_map import MapRow
    from rotorwright.firmware.mcu import Microcontroller
    from rotorwright.firmware.read_image import ReadImage

MOST_RANGES = 12  # own choice: a page
TEXT_CELLS = 20  # so that a line of the map, with its words, keeps within 80 columns


SIGNS = {"passed": "[ok]", "failed": "[!!]", "unsure": "[??]"}


def part_of(image: Image, named: str = "") -> Microcontroller | None:
    """Return the microcontroller that a person names, else that of the image's descriptor, if it is known.

    Raises:
        MicrocontrollerUnknownError: the person names one that is not known.
    """
    if named:
        return microcontroller(named)
    descriptor = find_descriptor(image)
    known = {one.name: one for one in microcontrollers()}
    return known.get(descriptor.mcu) if descriptor else None


def image_facts(image: Image, name: str, fit: Fit | None, part: Microcontroller | None) -> dict[str, object]:
    """Return what an image is, as plain data."""
    descriptor = find_descriptor(image)
    return {
        "file": name,
        "bytes": image.size_bytes,
        "sha256": image.sha256,
        "entry": None if image.entry is None else f"{image.entry:#010x}",
        "ranges": [
            {"start": f"{one.address:#010x}", "end": f"{one.end:#010x}", "bytes": len(one.data)}
            for one in image.segments
        ],
        "gaps": [
            {"start": f"{before.end:#010x}", "end": f"{after.address:#010x}", "bytes": after.address - before.end}
            for before, after in pairwise(image.segments)
        ],
        "descriptor": _descriptor_facts(image, descriptor) if descriptor else None,
        "microcontroller": _part_facts(image, _part_name(part, descriptor)),
        "map": [_row_facts(row) for row in map_rows(image, part) if row.content_bytes or row.erased_bytes],
        "build_strings": [{"address": f"{one.address:#010x}", "text": one.text} for one in build_strings(image)],
        "fit": _fit_facts(fit) if fit else None,
    }


def _descriptor_facts(image: Image, descriptor: Descriptor) -> dict[str, object]:
    return {
        "family": descriptor.family,
        "release": descriptor.release,
        "board": descriptor.board,
        "microcontroller": descriptor.mcu,
        "build": descriptor.build,
        "crc_right": descriptor_crc_ok(image, descriptor),
    }


def _row_facts(row: MapRow) -> dict[str, object]:
    return {
        "sector": row.block.number,
        "address": f"{row.block.address:#010x}",
        "size": row.block.size_bytes,
        "content": row.content_bytes,
        "erased": row.erased_bytes,
        "erased_tail": row.erased_tail,
        "is_erased": row.erased_bytes == row.block.size_bytes,
    }


def _part_name(part: Microcontroller | None, descriptor: Descriptor | None) -> str:
    """Return which part it is about: the known one, else the one that the descriptor names and nobody here knows."""
    return part.name if part else descriptor.mcu if descriptor else ""


def _part_facts(image: Image, name: str) -> dict[str, object] | None:
    """Return how the image lies in a part; words instead where it cannot, None where no part is named."""
    if not name:
        return None
    try:
        part = microcontroller(name)
        table = read_vector_table(image, part)
        sectors = [sector.number for sector in sectors_for(image, part)]
    except ImageError as error:
        return {"name": name, "problems": [error.what]}
    return {
        "name": part.name,
        "stack_top": None if table.stack_top is None else f"{table.stack_top:#010x}",
        "reset": None if table.reset is None else f"{table.reset:#010x}",
        "problems": list(table.problems),
        "sectors": sectors,
    }


def _fit_facts(fit: Fit) -> dict[str, object]:
    evidence = [{"test": one.test, "verdict": str(one.verdict), "words": one.words} for one in fit.evidence]
    return {"verdict": str(fit.verdict), "evidence": evidence}


def image_reading_facts(found: ReadImage) -> dict[str, object]:
    """Return in what format an image was found, as plain data."""
    return {
        "format": str(found.format),
        "packing": list(found.packing),
        "is_protected": found.is_protected,
        "notes": list(found.notes),
    }


def print_reading(found: ReadImage) -> None:
    """Print in what format an image was found, and what was skipped or deduced."""
    packed = "".join(f", packed with {how}" for how in found.packing)
    out.print(f"  The file is {escape(found.format)}{packed}.")
    for note in found.notes:
        out.print(f"  {escape(note)}", soft_wrap=True)


def print_image(image: Image, name: str, fit: Fit | None, part: Microcontroller | None) -> None:
    """Print what an image is."""
    out.print(f"[bold]{escape(name)}[/]  {image.size_bytes:,} bytes, SHA-256")
    out.print(f"  {image.sha256}")
    for before, one in zip((None, *image.segments), image.segments[:MOST_RANGES], strict=False):
        gap = f", {one.address - before.end:,} bytes after the one before" if before else ""
        out.print(f"  {one.address:#010x} to {one.end - 1:#010x}  {len(one.data):,} bytes{gap}")
    if len(image.segments) > MOST_RANGES:
        out.print(f"  and {len(image.segments) - MOST_RANGES} more ranges; all of them with --json")
    if image.entry is not None:
        out.print(f"  the file names {image.entry:#010x} as its entry")
    _print_descriptor(image, part)
    _print_map(image, part)
    _print_strings(image)
    _print_fit(fit)


def _print_descriptor(image: Image, part: Microcontroller | None) -> None:
    descriptor = find_descriptor(image)
    if descriptor is None:
        out.print("  It has no image descriptor: it does not say which release and board it is for.")
    else:
        crc = "right" if descriptor_crc_ok(image, descriptor) else "WRONG: the image is damaged"
        out.print(
            f"  says it is {escape(descriptor.family)} {escape(descriptor.release)} for {escape(descriptor.board)}"
            f" ({escape(descriptor.mcu)}), its CRC is {crc}"
        )
    facts = _part_facts(image, _part_name(part, descriptor))
    if facts is not None:
        _print_part(facts)


def _print_map(image: Image, part: Microcontroller | None) -> None:
    of_what = f"the sectors of the {part.name}" if part else "pages of 16 KiB (--part: sectors)"
    out.print(f"  map, {escape(of_what)}: # content, . erased, blank nothing")
    for line in map_lines(map_rows(image, part, cells=TEXT_CELLS)):
        out.print(f"  {escape(line)}", soft_wrap=True)


def _print_strings(image: Image) -> None:
    found = build_strings(image)
    if found:
        out.print("  texts that tell of its making (nobody vouches for them)")
    for one in found:
        out.print(f"  {one.address:#010x}  {escape(one.text)}", soft_wrap=True)


def _print_fit(fit: Fit | None) -> None:
    if fit is None:
        out.print("  With --book and --board it is judged against a board.")
        return
    out.print(f"  [bold]{escape(str(fit.verdict).replace('_', ' '))}[/]")
    for evidence in fit.evidence:
        sign = SIGNS.get(str(evidence.verdict), "[??]")
        out.print(f"  {escape(sign)} {escape(evidence.test)}: {escape(evidence.words)}", soft_wrap=True)


def write_map(image: Image, name: str, part: Microcontroller | None, path: Path) -> None:
    """Write the map of an image as an SVG file; a file that is there is not overwritten.

    Raises:
        StorageError: it cannot be written.
    """
    drawn = draw_image_map(map_rows(image, part, cells=96), title=name, part=part.name if part else "")
    write_kept_file(path, drawn.encode())
    out.print(f"  the map is drawn in {escape(str(path))}", soft_wrap=True)


def _print_part(facts: dict[str, object]) -> None:
    if facts.get("sectors"):
        out.print(f"  stack top {facts['stack_top']}, first instruction {facts['reset']}, sectors {facts['sectors']}")
    problems = facts["problems"]
    for problem in problems if isinstance(problems, list) else []:
        out.print(f"  \\[!!] {escape(str(problem))}")
