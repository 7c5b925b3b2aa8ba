"""Start of the application from flash: what the virtual aircraft calls when its microcontroller leaves reset."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from rotorwright.settings.identity import release_line
from rotorwright.twin.application import Application, ReleaseData
from rotorwright.twin.boot import boot_from_flash
from rotorwright.twin.console_application import ConsoleApplication
from rotorwright.twin.thornbill.release import catalogue

if TYPE_CHECKING:
    from rotorwright.twin.aircraft import Hardware

_BOARD_KEYS = {"Corvane One": "C405", "Corvane C405": "C405", "Corvane H7": "H7"}


def start_from_flash(flash: bytes, hardware: Hardware) -> Application | ConsoleApplication | None:
    """Return the application in `flash`, not yet started; nothing if the bytes do not start on this hardware."""
    build = boot_from_flash(flash, mcu=hardware.mcu)
    if build is None or build.board not in _BOARD_KEYS:
        return None
    line, board = release_line(build.release), _BOARD_KEYS[build.board]
    if hardware.console:
        return ConsoleApplication(
            build=build,
            catalogue=catalogue(line, board),
            unique_id=hardware.unique_id,
            settings_memory=hardware.settings,
            display_memory=hardware.display,
            world=hardware.world,
            seed=hardware.seed,
        )
    return Application(
        build=build,
        release_data=_release_data(line, board),
        unique_id=hardware.unique_id,
        settings_memory=hardware.settings,
        display_memory=hardware.display,
        world=hardware.world,
        seed=hardware.seed,
    )


@cache
def _release_data(line: str, board: str) -> ReleaseData:
    return ReleaseData.of(catalogue(line, board))
