"""Put an aircraft together: from memories in a state folder, or from plain memory for a test."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.aircraft import VirtualAircraft
from rotorwright.twin.demo_craft import demo_truth, planted
from rotorwright.twin.display_chip import DISPLAY_MEMORY_BYTES
from rotorwright.twin.faults import FaultPlan, MemoryKind
from rotorwright.twin.flash import FlashMemory, erased_flash
from rotorwright.twin.kept_memory import KeptMemory
from rotorwright.twin.physical_world import PhysicalWorld
from rotorwright.twin.rom_uart import OptionBytes
from rotorwright.twin.settings_memory import SETTINGS_MEMORY_BYTES
from rotorwright.twin.uf2_folder import Uf2Folder

if TYPE_CHECKING:
    import mmap
    from collections.abc import Iterator
    from pathlib import Path

    from rotorwright.firmware.mcu import Microcontroller
    from rotorwright.twin.aircraft import Boot
    from rotorwright.twin.state import Papers, StateFolder
    from rotorwright.twin.usb_dfu import DfuQuirks
    from rotorwright.twin.world import World

FRESH_SETTINGS = b"\xff" * SETTINGS_MEMORY_BYTES
FRESH_DISPLAY = b"\x55" * DISPLAY_MEMORY_BYTES  # every pixel transparent


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How the aircraft is to be run, besides what it is.

    Args:
        baud: rate of the line, whatever the host sets; 0 for a line without limit; None to follow the host.
        speed: how many times faster than a real one flash, line and start are.
        faults: what shall go wrong.
        loader_version: protocol version of the ROM bootloader.
        usb_quirks: where the bootloader on USB differs from the standard.
        pace: hands take this many times as long as people do; 0.5 is quick.
        drive_folder: where the drive appears, for an aircraft whose papers say that its bootloader is one.
    """

    baud: int | None = None
    speed: float = 1.0
    faults: FaultPlan = field(default_factory=FaultPlan)
    loader_version: int = 0x31
    usb_quirks: DfuQuirks | None = None
    pace: float = 1.0
    drive_folder: Path | None = None


@dataclass(slots=True)
class MemoryBytes:
    """The bytes of an aircraft that outlive its power; keep them, and any number of aircraft can be built on them."""

    flash: bytearray | mmap.mmap
    settings: bytearray | mmap.mmap
    display: bytearray | mmap.mmap

    @staticmethod
    def fresh(mcu: Microcontroller) -> MemoryBytes:
        """Return memories in plain memory, as they leave the factory."""
        return MemoryBytes(erased_flash(mcu), bytearray(FRESH_SETTINGS), bytearray(FRESH_DISPLAY))


def build_aircraft(
    papers: Papers,
    memories: MemoryBytes,
    boot: Boot,
    *,
    world: World | None = None,
    circumstances: Circumstances | None = None,
    options: OptionBytes | None = None,
    start_s: float = 0.0,
    console: bool = False,
) -> VirtualAircraft:
    """Return an aircraft on these memories, its cable plugged in at `start_s`.

    Its firmware speaks by its text console if its papers say so, or with `console`.
    """
    how = circumstances or Circumstances()
    flash = FlashMemory(microcontroller(papers.microcontroller), memories.flash)
    return VirtualAircraft(
        flash=flash,
        settings=KeptMemory(MemoryKind.SETTINGS, memories.settings),
        display=KeptMemory(MemoryKind.DISPLAY, memories.display),
        world=world or PhysicalWorld(planted(demo_truth(papers.board), papers.planted), pace=how.pace),
        unique_id=bytes.fromhex(papers.unique_id),
        boot=boot,
        options=options or option_bytes(papers),
        baud=how.baud,
        speed=how.speed,
        loader_version=how.loader_version,
        faults=how.faults,
        start_s=start_s,
        console=console or papers.console,
        usb_quirks=how.usb_quirks,
        drive=_drive(papers, flash, how.drive_folder),
    )


def _drive(papers: Papers, flash: FlashMemory, folder: Path | None) -> Uf2Folder | None:
    if not papers.drive or folder is None:
        return None
    return Uf2Folder(
        folder,
        flash,
        family=flash.mcu.uf2_families[0].id,
        board_id=f"{flash.mcu.name}-Corvane-{papers.board}-v1",
        model=f"Corvane {papers.board}",
    )


@contextlib.contextmanager
def aircraft_of_folder(
    folder: StateFolder, boot: Boot, *, circumstances: Circumstances | None = None, start_s: float = 0.0
) -> Iterator[VirtualAircraft]:
    """Give the aircraft of a state folder: what it writes is in the folder at once, whatever becomes of the process.

    Raises:
        TwinStateError: the folder cannot be used.
    """
    papers = folder.read_papers()
    how = replace(circumstances or Circumstances(), drive_folder=folder.drive_folder)
    mcu = microcontroller(papers.microcontroller)
    with (
        folder.open_flash(mcu) as flash,
        folder.open_memory(folder.settings_file, FRESH_SETTINGS) as settings,
        folder.open_memory(folder.display_file, FRESH_DISPLAY) as display,
    ):
        aircraft = build_aircraft(
            papers, MemoryBytes(flash, settings, display), boot, circumstances=how, start_s=start_s
        )
        aircraft.options_changed = lambda options: folder.write_papers(papers_with(papers, options))
        try:
            yield aircraft
        finally:
            aircraft.close()


def option_bytes(papers: Papers) -> OptionBytes:
    """Return the protection that `papers` remember."""
    return OptionBytes(papers.read_out_protected, frozenset(papers.write_protected_sectors))


def papers_with(papers: Papers, options: OptionBytes) -> Papers:
    """Return `papers` with this protection."""
    return replace(
        papers,
        read_out_protected=options.read_out_protected,
        write_protected_sectors=tuple(sorted(options.write_protected)),
    )
