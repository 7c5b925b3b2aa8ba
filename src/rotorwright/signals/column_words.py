"""What the name of a column says: which quantity, which axis or number, which unit.

Only words of the trade at large: no list of columns of any recorder stands here. What a name does not say, the values
must; see column_recognition.py.
"""

from __future__ import annotations

import re
from typing import NamedTuple

# Words for a quantity in a column's name. Common usage of the trade, no source.
TIME_WORDS = frozenset({"time", "timestamp", "clock"})
RATE_WORDS = frozenset({"rate", "rates", "gyro", "gyroscope", "omega"})
WANTED_WORDS = frozenset({"setpoint", "wanted", "desired", "target", "demand", "demanded", "reference"})
RAW_WORDS = frozenset({"raw", "unfiltered"})
FILTERED_WORDS = frozenset({"filtered", "smoothed"})
FORCE_WORDS = frozenset({"accel", "acc", "acceleration", "accelerometer", "force"})
THROTTLE_WORDS = frozenset({"throttle", "thrust"})
MOTOR_WORDS = frozenset({"motor", "motors"})
ROTOR_WORDS = frozenset({"rpm", "erpm", "rotor"})
# Words that make a column something else than the quantities here, whatever else its name says.
OTHER_WORDS = frozenset(
    {"angle", "angles", "attitude", "velocity", "position", "altitude", "magnetometer", "mag", "temperature", "temp"}
    | {"voltage", "current", "error", "integral", "sum", "term", "bias", "noise", "index", "row", "count", "counter"}
    | {"iteration", "loop", "number", "status", "mode", "state"}
)
# Axis by word, or by the letters of ISO 1151-1 (p, q, r the body rates about x, y, z).
AXIS_WORDS = (("roll", "x", "forward", "p"), ("pitch", "y", "right", "q"), ("yaw", "z", "down", "r"))
AXIS_OF_WORD = {word: axis for axis, words in enumerate(AXIS_WORDS) for word in words}
UNIT_SPELLINGS = {
    "s": ("s", "sec", "seconds"),
    "ms": ("ms",),
    "us": ("us", "µs", "μs"),
    "rad/s": ("rad s",),
    "deg/s": ("deg s", "° s", "dps"),
    "%": ("%", "percent"),
    "Hz": ("hz",),
    "rpm": ("rpm",),
    "erpm": ("erpm",),
    "m/s2": ("m s 2", "m s ²"),
    "g": ("g",),
}
UNIT_OF_WORDS = {tuple(text.split()): unit for unit, texts in UNIT_SPELLINGS.items() for text in texts}
_WORD = re.compile(r"[A-Z]?[a-zµμ]+|[A-Z]+(?![a-z])|\d+|[%°²]")
_BRACKET = re.compile(r"[\[(]([^\])]*[^\])\d][^\])]*)[\])]\s*\Z")
_LONGEST_UNIT_WORDS = 3


class Label(NamedTuple):
    """What a name says.

    Args:
        group: a key of `GROUPS`; empty where the name says none.
        axis: 0, 1, 2 where the name has a word for it.
        number: the last number in the name.
        unit: the unit in the name; empty where there is none.
        stem: the name without its numbers, to see what belongs together.
        is_filtered: whether it says so.
        is_other: whether it names something that is none of the quantities.
    """

    group: str
    axis: int | None
    number: int | None
    unit: str
    stem: tuple[str, ...]
    is_filtered: bool
    is_other: bool


def label_of(name: str) -> Label:
    """Return what the name of a column says."""
    words, unit = _without_unit(name)
    found = set(words)
    numbers = [int(word) for word in words if word.isdecimal()]
    axes = {AXIS_OF_WORD[word] for word in words if word in AXIS_OF_WORD}
    return Label(
        group="" if found & OTHER_WORDS else _group(words, unit),
        axis=axes.pop() if len(axes) == 1 else None,
        number=numbers[-1] if numbers else None,
        unit=unit,
        stem=tuple(word for word in words if not word.isdecimal()),
        is_filtered=bool(found & FILTERED_WORDS),
        is_other=bool(found & OTHER_WORDS),
    )


def _without_unit(name: str) -> tuple[list[str], str]:
    """Return the words of a name and the unit at its end, which is then no longer among them."""
    bracket = _BRACKET.search(name)
    if bracket:
        return _words(name[: bracket.start()]), UNIT_OF_WORDS.get(tuple(_words(bracket[1])), "")
    words = _words(name)
    for length in range(_LONGEST_UNIT_WORDS, 0, -1):
        unit = UNIT_OF_WORDS.get(tuple(words[-length:]))
        if unit and len(words) > length:
            return words[:-length], unit
    # these two words are quantity and unit at once, wherever they stand
    return words, next((word for word in ("erpm", "rpm") if word in words), "")


def _words(name: str) -> list[str]:
    """Return the words of a name in small letters; `gyroX`, `gyro_x`, `GYRO X` and `gyrox` are the same."""
    found: list[str] = []
    for word in (each.lower() for each in _WORD.findall(name)):
        if word[-1] in "xyz" and word[:-1] in RATE_WORDS | FORCE_WORDS:
            found += [word[:-1], word[-1]]
        else:
            found.append(word)
    return found


def _group(words: list[str], unit: str) -> str:
    found = set(words)
    if words == ["t"] or found & TIME_WORDS:
        return "time"
    if unit in {"Hz", "rpm", "erpm"} or found & ROTOR_WORDS:
        return "rotor" if found & (ROTOR_WORDS | MOTOR_WORDS) else ""
    if found & MOTOR_WORDS:
        return "motor"
    if found & THROTTLE_WORDS:
        return "throttle"
    if found & FORCE_WORDS:
        return "force"
    return _rate_group(words)


def _rate_group(words: list[str]) -> str:
    found = set(words)
    if found & WANTED_WORDS and (found & RATE_WORDS or found & set(AXIS_OF_WORD)):
        return "wanted"
    if found & RATE_WORDS or words in (["p"], ["q"], ["r"]):
        return "raw" if found & RAW_WORDS else "rate"
    return ""
