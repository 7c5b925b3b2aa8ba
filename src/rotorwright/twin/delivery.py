"""The demo aircraft as its owner brings it in: a Sandmartin 5 on a Corvane One, flying Thornbill 5.2 for a while."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.assembly import MemoryBytes
from rotorwright.twin.settings_memory import StoredSettings, settings_memory_with
from rotorwright.twin.state import Papers, write_whole
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import catalogue, characters, customised_settings

if TYPE_CHECKING:
    from rotorwright.firmware.image import Image
    from rotorwright.settings.values import Value
    from rotorwright.twin.state import StateFolder

AIRFRAME = "Sandmartin 5"
DEMO_UNIQUE_ID = "3a0027001351383438343933"
MAKERS_PAGE_SECTOR = 11

PAPERS = Papers(unique_id=DEMO_UNIQUE_ID, board="C405", microcontroller="STM32F405xG")


def delivered_memories(image: Image | None = None) -> MemoryBytes:
    """Return the memories of the demo aircraft: its image (Thornbill 5.2 if not given), settings, characters."""
    mcu = microcontroller(PAPERS.microcontroller)
    memories = MemoryBytes.fresh(mcu)
    for segment in (image or build_image("5.2", "C405")).segments:
        offset = segment.address - mcu.flash_start
        memories.flash[offset : offset + len(segment.data)] = segment.data
    page = mcu.sectors[MAKERS_PAGE_SECTOR]
    # The maker's own data, so that a write outside the plan would show.
    offset = page.address - mcu.flash_start
    memories.flash[offset : offset + page.size_bytes] = random.Random("maker").randbytes(page.size_bytes)
    memories.settings[:] = settings_memory_with(StoredSettings("5.2.0", "Corvane One", delivered_settings()))
    memories.display[:] = characters("5.2")
    return memories


def delivered_settings() -> dict[str, Value]:
    """Return every setting of the demo aircraft as it is delivered."""
    return dict(catalogue("5.2", "C405").defaults) | customised_settings()


def deliver(folder: StateFolder) -> None:
    """Lay the demo aircraft out in a state folder.

    Raises:
        TwinStateError: the folder cannot be written.
    """
    memories = delivered_memories()
    folder.make(PAPERS)
    write_whole(folder.flash_file, bytes(memories.flash))
    write_whole(folder.settings_file, bytes(memories.settings))
    write_whole(folder.display_file, bytes(memories.display))
