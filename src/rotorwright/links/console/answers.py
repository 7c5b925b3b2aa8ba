"""What answers of a console tell: who it is, what it measures, one display character. Pure: lines in, facts out."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.display.characters import BYTES_USED
from rotorwright.settings.dialects.form import SlotKind
from rotorwright.settings.identity import Identity, UniqueIdError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.dialects.form import Form

_DECIMAL = re.compile(r"[-+]?[0-9]{1,9}(\.[0-9]{1,12})?\Z", re.ASCII)
_HEX = re.compile(r"[0-9A-Fa-f]*\Z")


@dataclass(frozen=True, slots=True)
class ConsoleBattery:
    """The main battery as the console tells it, in volts for the whole battery."""

    volts: float


@dataclass(frozen=True, slots=True)
class ConsoleAttitude:
    """How the aircraft is held, in radians: roll positive with the right side down, pitch with the nose up."""

    roll_rad: float
    pitch_rad: float


def slots_told(forms: tuple[Form, ...], lines: tuple[str, ...]) -> Mapping[SlotKind, str] | None:
    """Return what the lines tell by slot; nothing at all if two of them contradict each other."""
    told: dict[SlotKind, str] = {}
    for line in lines:
        for kind, text in _told_by(forms, line):
            if told.setdefault(kind, text) != text:
                return None
    return told


def identity_told(forms: tuple[Form, ...], lines: tuple[str, ...]) -> Identity | None:
    """Return who the lines say it is; nothing if a part is missing or no such thing."""
    told = slots_told(forms, lines)
    needed = (SlotKind.ID, SlotKind.FAMILY, SlotKind.RELEASE, SlotKind.BOARD)
    if told is None or not all(told.get(kind) for kind in needed):
        return None
    unique_id, family, release, board = (told[kind] for kind in needed)
    try:
        return Identity(
            unique_id.lower(), family=family, release=release, board=board, build=told.get(SlotKind.BUILD, "")
        )
    except UniqueIdError:
        return None


def battery_told(forms: tuple[Form, ...], lines: tuple[str, ...]) -> ConsoleBattery | None:
    """Return the battery that the lines tell."""
    volts = _number(slots_told(forms, lines), SlotKind.VOLTS)
    return None if volts is None else ConsoleBattery(volts)


def attitude_told(forms: tuple[Form, ...], lines: tuple[str, ...]) -> ConsoleAttitude | None:
    """Return the attitude that the lines tell in degrees."""
    told = slots_told(forms, lines)
    roll, pitch = _number(told, SlotKind.ROLL), _number(told, SlotKind.PITCH)
    if roll is None or pitch is None:
        return None
    return ConsoleAttitude(math.radians(roll), math.radians(pitch))


def character_told(forms: tuple[Form, ...], lines: tuple[str, ...], number: int) -> bytes | None:
    """Return the 54 bytes of the display character `number` that the lines tell."""
    told = slots_told(forms, lines)
    if told is None or told.get(SlotKind.NUMBER) != str(number):
        return None
    digits = told.get(SlotKind.BYTES, "")
    is_whole = len(digits) == 2 * BYTES_USED and _HEX.match(digits)
    return bytes.fromhex(digits) if is_whole else None


def _told_by(forms: tuple[Form, ...], line: str) -> list[tuple[SlotKind, str]]:
    for form in forms:
        parts = form.match(line, 0, len(line))
        if parts is not None:
            return [(part.kind, line[part.start : part.end]) for part in parts if part.kind is not SlotKind.ANY]
    return []


def _number(told: Mapping[SlotKind, str] | None, kind: SlotKind) -> float | None:
    text = "" if told is None else told.get(kind, "")
    return float(text) if _DECIMAL.match(text) else None
