"""Whether the bytes in flash start: the board runs what is whole and known, and stays silent otherwise.

A real board has no such check; it would run any bytes and hang on bad ones. Silence is what the outside sees of both.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.firmware.descriptor import descriptor_crc_ok, find_descriptor
from rotorwright.firmware.image import Image
from rotorwright.firmware.vector_table import read_vector_table

if TYPE_CHECKING:
    from rotorwright.firmware.descriptor import Descriptor
    from rotorwright.firmware.mcu import Microcontroller

FAMILY = "Thornbill"
_KNOWN_RELEASE = re.compile(r"(5\.2|6\.0|6\.1)\.[0-9]{1,2}")


@dataclass(frozen=True, slots=True)
class ApplicationBuild:
    """The firmware that runs, in its own words. `mcu` is a name of our table, `build` a git hash or empty."""

    family: str
    release: str
    board: str
    mcu: str
    build: str = ""


def boot_from_flash(flash: bytes, *, mcu: Microcontroller) -> ApplicationBuild | None:
    """Return the application in `flash` (its first byte at `mcu.flash_start`) if it starts on `mcu`, else nothing.

    It starts if the vector table is sound, one descriptor is found whose CRC is right, the reset vector points into the
    range that the CRC covers, and family, release and microcontroller are those that this twin knows.
    """
    if not flash:
        return None
    image = Image.of([(mcu.flash_start, flash)])
    found = find_descriptor(image)
    if found is None or not descriptor_crc_ok(image, found) or not _can_run(image, found, mcu):
        return None
    return ApplicationBuild(found.family, found.release, found.board, found.mcu, found.build)


def _can_run(image: Image, found: Descriptor, mcu: Microcontroller) -> bool:
    table = read_vector_table(image, mcu)
    if found.family != FAMILY or not _KNOWN_RELEASE.fullmatch(found.release) or found.mcu != mcu.name:
        return False
    if not table.is_sound or table.reset is None:
        return False
    return found.start <= table.reset - 1 < found.start + found.length
