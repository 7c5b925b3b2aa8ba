"""Units as settings spell them: what they measure and how many of the base unit one is."""

from __future__ import annotations

import re
from math import pi

_MULTIPLE = re.compile(r"([0-9]+)([A-Za-z].*)\Z")

# unit in lower case: (what it measures, how many base units). SI prefixes, SI brochure 9th edition, tables 4, 7 and 8;
# kB as 1024 bytes, as memory sizes are written.
_UNITS: dict[str, tuple[str, float]] = {
    "us": ("time", 1e-6),
    "ms": ("time", 1e-3),
    "s": ("time", 1.0),
    "sec": ("time", 1.0),
    "min": ("time", 60.0),
    "h": ("time", 3600.0),
    "d": ("time", 86400.0),
    "hz": ("frequency", 1.0),
    "khz": ("frequency", 1e3),
    "b": ("size", 1.0),
    "kb": ("size", 1024.0),
    "mb": ("size", 1024.0**2),
    "gb": ("size", 1024.0**3),
    "mm": ("length", 1e-3),
    "cm": ("length", 1e-2),
    "m": ("length", 1.0),
    "rad": ("angle", 1.0),
    "deg": ("angle", pi / 180),
    "cdeg": ("angle", pi / 18000),
    "rad/s": ("turning", 1.0),
    "deg/s": ("turning", pi / 180),
    "mm/s": ("speed", 1e-3),
    "cm/s": ("speed", 1e-2),
    "m/s": ("speed", 1.0),
    "mv": ("voltage", 1e-3),
    "cv": ("voltage", 1e-2),
    "v": ("voltage", 1.0),
    "ma": ("current", 1e-3),
    "a": ("current", 1.0),
    "mah": ("charge", 1.0),
    "%": ("share", 0.01),
    "norm": ("share", 1.0),
}


def factor(old: str, new: str) -> float | None:
    """Return how many of the `new` unit one `old` is, or nothing if they do not measure the same, or are unknown."""
    if old == new:
        return 1.0
    mine, theirs = _base(old), _base(new)
    if mine is None or theirs is None or mine[0] != theirs[0]:
        return None
    return mine[1] / theirs[1]


def _base(unit: str) -> tuple[str, float] | None:
    found = _UNITS.get(unit.lower())
    if found is None and (match := _MULTIPLE.match(unit)):
        base = _UNITS.get(match[2].lower())
        found = None if base is None else (base[0], int(match[1]) * base[1])
    return found
