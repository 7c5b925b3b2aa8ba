"""Which aircraft it is: the microcontroller's unique id, and what the firmware says of itself."""

from __future__ import annotations

import re
from dataclasses import dataclass

from rotorwright.errors import SettingsError

_UNIQUE_ID = re.compile(r"[0-9a-f]{24}\Z")
_LINE = re.compile(r"[0-9]+\.[0-9]+")


class UniqueIdError(SettingsError):
    """The text is no unique id of a microcontroller."""

    id = "settings.unique-id"


@dataclass(frozen=True, slots=True)
class Identity:
    """What an aircraft says of itself.

    Args:
        unique_id: the 96-bit id of the microcontroller, 24 lower-case hexadecimal digits, bytes in the order as read.
        family: firmware family, as the aircraft says, e.g. `Thornbill`.
        release: release in the form major.minor.patch, as the aircraft says.
        board: name of the board in the words of this release.
        build: git hash of the build, or nothing.

    Raises:
        UniqueIdError: the unique id is not of 24 lower-case hexadecimal digits.
    """

    unique_id: str
    family: str
    release: str
    board: str
    build: str = ""

    def __post_init__(self) -> None:
        if not _UNIQUE_ID.match(self.unique_id):
            raise UniqueIdError(
                f"{self.unique_id!r} is no unique id: it has 24 hexadecimal digits in lower case.",
                why="The id of the microcontroller is 96 bits wide; only the whole of it tells two aircraft apart.",
                todo="Read the aircraft again, or take the id from a snapshot that was read without errors.",
                unique_id=self.unique_id,
            )


def release_line(release: str) -> str:
    """Return the line of a release, `5.2` for `5.2.0`; a release of another form is its own line."""
    match = _LINE.match(release)
    return match[0] if match else release
