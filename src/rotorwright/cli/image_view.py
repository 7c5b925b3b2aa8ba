"""What an image is, on one page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out
from rotorwright.errors import ImageError
from rotorwright.firmware.descriptor import descriptor_crc_ok, find_descriptor
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.firmware.vector_table import read_vector_table

if TYPE_CHECKING:
    from rotorwright.firmware.descriptor import Descriptor
    from rotorwright.firmware.fit import Fit
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.read_image import ReadImage

SIGNS = {"passed": "[ok]", "failed": "[!!]", "unsure": "[??]"}


def image_facts(image: Image, name: str, fit: Fit | None) -> dict[str, object]:
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
        "descriptor": _descriptor_facts(image, descriptor) if descriptor else None,
        "microcontroller": _part_facts(image, descriptor.mcu) if descriptor else None,
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


def _part_facts(image: Image, name: str) -> dict[str, object]:
    """Return how the image lies in the part it names; words instead where it cannot."""
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


def print_image(image: Image, name: str, fit: Fit | None) -> None:
    """Print what an image is."""
    out.print(f"[bold]{escape(name)}[/]  {image.size_bytes:,} bytes, SHA-256 {image.sha256[:16]}…")
    for one in image.segments:
        out.print(f"  {one.address:#010x} to {one.end - 1:#010x}  {len(one.data):,} bytes")
    descriptor = find_descriptor(image)
    if descriptor is None:
        out.print("  It has no image descriptor: it does not say which release and board it is for.")
    else:
        crc = "right" if descriptor_crc_ok(image, descriptor) else "WRONG: the image is damaged"
        out.print(
            f"  says it is {escape(descriptor.family)} {escape(descriptor.release)} for {escape(descriptor.board)}"
            f" ({escape(descriptor.mcu)}), its CRC is {crc}"
        )
        _print_part(_part_facts(image, descriptor.mcu))
    if fit is None:
        out.print("  With --book and --board it is judged against a board.")
        return
    out.print(f"  [bold]{escape(str(fit.verdict).replace('_', ' '))}[/]")
    for evidence in fit.evidence:
        sign = SIGNS.get(str(evidence.verdict), "[??]")
        out.print(f"  {escape(sign)} {escape(evidence.test)}: {escape(evidence.words)}", soft_wrap=True)


def _print_part(facts: dict[str, object]) -> None:
    if facts.get("sectors"):
        out.print(f"  stack top {facts['stack_top']}, first instruction {facts['reset']}, sectors {facts['sectors']}")
    problems = facts["problems"]
    for problem in problems if isinstance(problems, list) else []:
        out.print(f"  \\[!!] {escape(str(problem))}")
