"""Units as settings spell them: what they measure and how many of the base unit one is."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import pi

_MULTIPLE = re.compile(r"([0-9]+)([A-Za-z].*)\Z")
_PART = re.compile(r"(tenths|hundredths|thousandths)(?: of (.+))?\Z", re.IGNORECASE)
_PARTS = {"tenths": 10, "hundredths": 100, "thousandths": 1000}


@dataclass(frozen=True, slots=True)
class _Unit:
    """What it measures, and how many base units it is: `size`, times pi for degrees, the base being the radian."""

    measures: str
    size: Fraction
    of_pi: bool = False


# By unit in lower case. SI prefixes, SI brochure 9th edition, tables 4, 7 and 8; kB as 1024 bytes, as memory sizes are
# written.
_UNITS: dict[str, _Unit] = {
    "us": _Unit("time", Fraction(1, 1_000_000)),
    "ms": _Unit("time", Fraction(1, 1000)),
    "s": _Unit("time", Fraction(1)),
    "sec": _Unit("time", Fraction(1)),
    "min": _Unit("time", Fraction(60)),
    "h": _Unit("time", Fraction(3600)),
    "d": _Unit("time", Fraction(86400)),
    "hz": _Unit("frequency", Fraction(1)),
    "khz": _Unit("frequency", Fraction(1000)),
    "rpm": _Unit("frequency", Fraction(1, 60)),  # turns per minute, as the frequency that they make: 1/min
    "b": _Unit("size", Fraction(1)),
    "kb": _Unit("size", Fraction(1024)),
    "mb": _Unit("size", Fraction(1024**2)),
    "gb": _Unit("size", Fraction(1024**3)),
    "mm": _Unit("length", Fraction(1, 1000)),
    "cm": _Unit("length", Fraction(1, 100)),
    "m": _Unit("length", Fraction(1)),
    "rad": _Unit("angle", Fraction(1)),
    "deg": _Unit("angle", Fraction(1, 180), of_pi=True),
    "cdeg": _Unit("angle", Fraction(1, 18000), of_pi=True),
    "rad/s": _Unit("turning", Fraction(1)),
    "deg/s": _Unit("turning", Fraction(1, 180), of_pi=True),
    "mm/s": _Unit("speed", Fraction(1, 1000)),
    "cm/s": _Unit("speed", Fraction(1, 100)),
    "m/s": _Unit("speed", Fraction(1)),
    "mv": _Unit("voltage", Fraction(1, 1000)),
    "cv": _Unit("voltage", Fraction(1, 100)),
    "v": _Unit("voltage", Fraction(1)),
    "ma": _Unit("current", Fraction(1, 1000)),
    "a": _Unit("current", Fraction(1)),
    "mah": _Unit("charge", Fraction(1)),
    "ah": _Unit("charge", Fraction(1000)),
    "%": _Unit("share", Fraction(1, 100)),
    "norm": _Unit("share", Fraction(1)),
}


@lru_cache(maxsize=4096)
def factor(old: str, new: str) -> float | None:
    """Return how many of the `new` unit one `old` is, or nothing if they do not measure the same, or are unknown."""
    if old == new:
        return 1.0
    mine, theirs = _base(old), _base(new)
    if mine is None or theirs is None or mine.measures != theirs.measures:
        return None
    return float(mine.size / theirs.size) * pi ** (mine.of_pi - theirs.of_pi)


def exact_factor(old: str, new: str) -> Fraction | None:
    """Return the same as an exact fraction; nothing between degrees and radians, where there is none."""
    if old == new:
        return Fraction(1)
    mine, theirs = _base(old), _base(new)
    if mine is None or theirs is None or (mine.measures, mine.of_pi) != (theirs.measures, theirs.of_pi):
        return None
    return mine.size / theirs.size


def exact_reciprocal(old: str, new: str) -> Fraction | None:
    """Return n where n divided by the `old` number is the `new` one: between a time and a frequency; else nothing."""
    mine, theirs = _base(old), _base(new)
    if mine is None or theirs is None or {mine.measures, theirs.measures} != {"time", "frequency"}:
        return None
    return 1 / (mine.size * theirs.size)


def _base(unit: str) -> _Unit | None:
    found = _UNITS.get(unit.lower())
    if found is None and (match := _MULTIPLE.match(unit)):
        base = _UNITS.get(match[2].lower())
        count = int(match[1])
        found = None if base is None or count == 0 else replace(base, size=count * base.size)
    if found is None and (match := _PART.match(unit)):
        whole = _base(match[2]) if match[2] else _Unit("number", Fraction(1))
        found = None if whole is None else replace(whole, size=whole.size / _PARTS[match[1].lower()])
    return found
