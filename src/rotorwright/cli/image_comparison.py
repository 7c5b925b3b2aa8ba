"""How two images differ, sector by sector."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from rich.markup import escape

from rotorwright.cli.console import out
from rotorwright.firmware.build_strings import build_strings
from rotorwright.firmware.descriptor import find_descriptor
from rotorwright.firmware.image_map import compare_images
from rotorwright.firmware.vector_table import SYSTEM_VECTORS, read_vector_table

if TYPE_CHECKING:
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.image_map import BlockDifference
    from rotorwright.firmware.mcu import Microcontroller


class Compared(NamedTuple):
    """An image and the name of its file."""

    name: str
    image: Image


def is_same(one: Compared, other: Compared) -> bool:
    """Answer whether both say the same about every byte of flash; where the code starts is in these bytes too."""
    return one.image.segments == other.image.segments


def comparison_facts(one: Compared, other: Compared, part: Microcontroller | None) -> dict[str, object]:
    """Return how two images differ, as plain data."""
    blocks = compare_images(one.image, other.image, part)
    return {
        "first": {"file": one.name, "sha256": one.image.sha256, "bytes": one.image.size_bytes},
        "second": {"file": other.name, "sha256": other.image.sha256, "bytes": other.image.size_bytes},
        "microcontroller": part.name if part else None,
        "is_same": is_same(one, other),
        "blocks": [
            {
                "sector": block.block.number,
                "address": f"{block.block.address:#010x}",
                "size": block.block.size_bytes,
                "same": block.same,
                "differing": block.differing,
                "only_first": block.only_first,
                "only_second": block.only_second,
                "first_difference": None if block.first is None else f"{block.first:#010x}",
            }
            for block in blocks
        ],
        "told": [{"what": what, "first": ours, "second": theirs} for what, ours, theirs in _told(one, other, part)],
        "strings_only_first": sorted(_texts(one.image) - _texts(other.image)),
        "strings_only_second": sorted(_texts(other.image) - _texts(one.image)),
    }


def print_comparison(one: Compared, other: Compared, part: Microcontroller | None) -> None:
    """Print how two images differ, sector by sector."""
    for letter, side in (("A", one), ("B", other)):
        says = find_descriptor(side.image)
        words = f", says it is {says.family} {says.release} for {says.board}" if says else ""
        text = f"{letter}  {side.name}  {side.image.size_bytes:,} bytes, SHA-256 {side.image.sha256[:16]}…{words}"
        out.print(escape(text), soft_wrap=True)
    if is_same(one, other):
        out.print("They are the same image, byte for byte.")
        return
    out.print(f"Compared by {escape(f'the sectors of the {part.name}' if part else 'pages of 16 KiB')}:")
    for block in compare_images(one.image, other.image, part):
        out.print(f"  {escape(_block_words(block))}", soft_wrap=True)
    for what, ours, theirs in _told(one, other, part):
        out.print(f"  {escape(f'{what}: A {ours}, B {theirs}')}", soft_wrap=True)
    for letter, texts in (
        ("A", _texts(one.image) - _texts(other.image)),
        ("B", _texts(other.image) - _texts(one.image)),
    ):
        for text in sorted(texts):
            out.print(f"  text only in {letter}: {escape(text)}", soft_wrap=True)


def _told(one: Compared, other: Compared, part: Microcontroller | None) -> list[tuple[str, str, str]]:
    """Return what the two say of themselves that is not the same: what it is, A's word, B's word."""
    ours, theirs = _says(one.image, part), _says(other.image, part)
    return [(what, ours[what], theirs[what]) for what in ours if ours[what] != theirs[what]]


def _says(image: Image, part: Microcontroller | None) -> dict[str, str]:
    descriptor = find_descriptor(image)
    fields = ("family", "release", "board", "mcu", "build")
    says = {f"descriptor, {field}": str(getattr(descriptor, field)) if descriptor else "none" for field in fields}
    if part is None:
        return says
    table = read_vector_table(image, part)
    for what, address in (("stack top", table.stack_top), ("first instruction", table.reset)):
        says[what] = "none" if address is None else f"{address:#010x}"
    has_vectors = image.covers(table.address, SYSTEM_VECTORS * 4)
    says["system vectors"] = image.read(table.address, SYSTEM_VECTORS * 4).hex() if has_vectors else "none"
    return says


def _texts(image: Image) -> set[str]:
    return {one.text for one in build_strings(image)}


def _block_words(found: BlockDifference) -> str:
    name = "page" if found.block.number is None else f"sector {found.block.number}"
    where = f"{found.block.address:#010x} {name:<10}"
    if found.is_same:
        return f"{where}  same, {found.same:,} bytes"
    counts = (("differ", found.differing), ("only in A", found.only_first), ("only in B", found.only_second))
    words = ", ".join(f"{count:,} bytes {what}" for what, count in counts if count)
    return f"{where}  {words}, the first at {found.first:#010x}"
