"""List the microcontrollers that Rotorwright knows, from its own table, so that the page cannot lag behind it.

usage: python tools/list_microcontrollers.py [--write]     print the page, or write docs/reference/microcontrollers.md
"""

from __future__ import annotations

import sys
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.firmware.mcu import microcontrollers

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.firmware.mcu import Microcontroller, Sector

PAGE = Path(__file__).resolve().parent.parent / "docs" / "reference" / "microcontrollers.md"

HEAD = """\
# Microcontrollers

These are the parts that Rotorwright knows. `x` in a name stands for any package. A release book names one of them as
`mcu` of a board. Whether an image belongs on a part is explained in [Does this image fit?](../explanation/fit.md)

The table behind this page is `src/rotorwright/firmware/microcontrollers.toml`, where each value has its source. It is
compared with the tables in `tests/outside/data`, which were made from device headers and independent packages. A value
that is marked *from memory, unconfirmed* may make a check milder, never stricter: no image is refused because of it,
and no wait is shorter because of it.

This page is made from the table: `python tools/list_microcontrollers.py --write` writes it anew.
"""

TIMES_HEAD = """
## Times of the flash memory

For one sector, in seconds, and for one 32-bit word, in microseconds. *Longest* is what is waited for (twice as long
before giving up): where the longest time is from memory only, the longest known time of any part stands for it if that
is longer.

| parts | what | typical | longest | source of the times |
|---|---|---|---|---|
"""

LAYOUTS_HEAD = """
## Other layouts of the same flash

Option bytes of some parts divide the flash in another way. Rotorwright takes the layout that the part has when it
leaves the factory; the layouts below are known and not used.

| part | option bytes | bank: sectors | source |
|---|---|---|---|
"""


def page() -> str:
    """Return the whole page."""
    parts = microcontrollers()
    return (
        HEAD
        + _parts(parts)
        + _ram(parts)
        + _loaders(parts)
        + LAYOUTS_HEAD
        + _layouts(parts)
        + TIMES_HEAD
        + _times(parts)
    )


def _parts(parts: Iterable[Microcontroller]) -> str:
    head = "\n## Flash and ids\n\n"
    head += "| part | core | bootloader id | flash from | bank: sectors | unique id at | flash size at"
    rows = [
        f"| {mcu.name} | {mcu.core} | {_hex(mcu.loader.boot_id, 3)} | {_hex(mcu.flash_start)} | {_runs(mcu.sectors)}"
        f"{' in the chip beside it, as far as it can reach' if mcu.has_external_flash else ''} | {_ids(mcu)}"
        f" | {'; '.join(_sources(mcu, 'boot_id_source', 'sectors_source', 'address_source'))} |"
        for mcu in parts
    ]
    return head + " | source |\n|---|---|---|---|---|---|---|---|\n" + "\n".join(rows) + "\n"


def _ids(mcu: Microcontroller) -> str:
    if mcu.loader.boot_id is None:
        return "- | -"
    return f"{_hex(mcu.unique_id_address)} | {_hex(mcu.flash_size_address)}"


def _ram(parts: Iterable[Microcontroller]) -> str:
    head = "\n## RAM where a stack may live\n\n| part | region | from | KiB | source |\n|---|---|---|---|---|\n"
    rows = [
        f"| {mcu.name} | {one.name} | {_hex(one.address)} | {one.size_bytes // 1024} | {one.source} |"
        for mcu in parts
        for one in mcu.ram
    ]
    return head + "\n".join(rows) + "\n"


def _loaders(parts: Iterable[Microcontroller]) -> str:
    head = "\n## Bootloaders of the makers\n\n| part | wires | USB id | lives at | vector table at | UF2 families"
    rows = []
    for mcu in parts:
        rom = f"{_hex(mcu.loader.rom.address)}, {mcu.loader.rom.size_bytes} bytes" if mcu.loader.rom else "-"
        usb = "{:04X}:{:04X}".format(*mcu.loader.usb) if mcu.loader.usb else "-"
        families = ", ".join(f"{one.name} {_hex(one.id)}" for one in mcu.uf2_families)
        sources = "; ".join(_sources(mcu, "loader_wires_source", "vectors_source"))
        rows.append(
            f"| {mcu.name} | {', '.join(mcu.loader.wires)} | {usb} | {rom} | {_hex(mcu.vectors_address)}"
            f" | {families} | {sources} |"
        )
    return head + " | source |\n|---|---|---|---|---|---|---|\n" + "\n".join(rows) + "\n"


def _layouts(parts: Iterable[Microcontroller]) -> str:
    rows = [
        f"| {mcu.name} | {one.name} | {_runs(one.sectors)} | {one.source} |"
        for mcu in parts
        for one in mcu.other_layouts
    ]
    return "\n".join(rows) + "\n"


def _times(parts: Iterable[Microcontroller]) -> str:
    rows: dict[str, list[str]] = {}
    for mcu in parts:
        for size, source in sorted(mcu.times.erase_source.items()):
            what = (
                f"erase {size // 1024} KiB | {mcu.erase_typical_s[size]:g} s | {mcu.erase_max_s[size]:g} s | {source}"
            )
            rows.setdefault(what, []).append(mcu.name)
        typical, longest = (value * 1e6 for value in (mcu.program_word_typical_s, mcu.program_word_max_s))
        what = f"program a word | {typical:g} µs | {longest:g} µs | {mcu.times.program_source}"
        rows.setdefault(what, []).append(mcu.name)
    return "\n".join(f"| {', '.join(names)} | {what} |" for what, names in rows.items()) + "\n"


def _runs(sectors: Iterable[Sector]) -> str:
    """Return `1: 0 to 3 of 16 KiB, 4 of 64 KiB` for each bank."""
    banks = groupby(sectors, key=lambda sector: sector.bank)
    return "; ".join(f"{bank}: {', '.join(_bank(list(run)))}" for bank, run in banks)


def _bank(sectors: list[Sector]) -> Iterable[str]:
    for size, run in groupby(sectors, key=lambda sector: sector.size_bytes):
        numbers = [sector.number for sector in run]
        many = f"{numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else f"{numbers[0]}"
        yield f"{many} of {size // 1024} KiB"


def _sources(mcu: Microcontroller, *keys: str) -> list[str]:
    found = [text for key in keys for text in mcu.sources.get(key, "").split("; ") if text]
    return list(dict.fromkeys(found))


def _hex(number: int | None, digits: int = 8) -> str:
    return "-" if number is None else f"`0x{number:0{digits}X}`"


def main() -> None:
    """Print the page, or write it."""
    if "--write" in sys.argv[1:]:
        PAGE.write_text(page(), encoding="utf-8")
    else:
        sys.stdout.write(page())


if __name__ == "__main__":
    main()
