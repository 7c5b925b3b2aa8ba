"""Texts in an image that tell of its making: dates, versions, names of boards and compilers.

Nothing rests on them: whoever built the image may have left any text in it. They are for a person to look at.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.firmware.image import Image

MOST_STRINGS = 24  # own choice: a page
LONGEST = 80  # own choice: a line
_SHORTEST = 5

_RUN = re.compile(rb"[\x20-\x7e]{%d,400}" % _SHORTEST)
_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
_TELLING = re.compile(
    rf"\b(19|20)\d\d-[01]\d-[0-3]\d\b"  # a date, ISO 8601
    rf"|\b({_MONTHS}) [ 0-3]\d (19|20)\d\d\b"  # a date as C compilers write it (C11, 6.10.8.1)
    rf"|\b\d\d:\d\d:\d\d\b"  # a time, likewise
    rf"|\bv?\d+\.\d+\.\d+\b"  # a version of three numbers
    rf"|\b(version|release|build|built|compiler|board|firmware)\b",
    re.IGNORECASE,
)


class BuildString(NamedTuple):
    """A telling text and where it stands."""

    address: int
    text: str


def build_strings(image: Image, *, most: int = MOST_STRINGS) -> tuple[BuildString, ...]:
    """Return the first `most` telling texts of the image by address, each text once and cut to one line."""
    found: dict[str, int] = {}
    for address, text in _texts(image):
        if _TELLING.search(text):
            found.setdefault(text[:LONGEST], address)
            if len(found) == most:
                break
    return tuple(BuildString(address, text) for text, address in found.items())


def _texts(image: Image) -> Iterator[tuple[int, str]]:
    for segment in image.segments:
        for run in _RUN.finditer(segment.data):
            yield segment.address + run.start(), run.group().decode("ascii").strip()
