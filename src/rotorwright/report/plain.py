"""Texts and numbers as every report writes them.

Texts come from aircraft, files and persons, so they may hold anything. Characters that would steer a terminal, turn the
reading direction or cannot be encoded are shown as what they are instead of taking effect.
"""

from __future__ import annotations

import math
import unicodedata

# Unicode general categories: control, format (among them the marks that turn the reading direction), surrogate, and
# line and paragraph separator. Source: Unicode Standard, section 4.5 "General Category".
_STEERING = {"Cc", "Cf", "Cs", "Zl", "Zp"}
_HARMLESS = {"\n", "\u00ad"}
_CONTROL_PICTURES = 0x2400  # Unicode block "Control Pictures": U+2400 + code for the codes 0 to 31


def visible(text: str) -> str:
    """Return `text` with every steering character replaced by a sign that shows it. Line feeds stay."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(_visible_character(character) for character in text)


def _visible_character(character: str) -> str:
    if character in _HARMLESS or unicodedata.category(character) not in _STEERING:
        return character
    code = ord(character)
    return chr(_CONTROL_PICTURES + code) if code < 32 else f"[U+{code:04X}]"


def number(value: str | float) -> str:
    """Return a value as a person reads it: whole numbers in full, other numbers with four figures, texts as is."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}"
    if not math.isfinite(value):
        return "not a number" if math.isnan(value) else "infinite" if value > 0 else "minus infinite"
    return f"{value:,.0f}" if abs(value) >= 10_000 else f"{value + 0.0:.4g}"


def moment(iso: str) -> str:
    """Return an ISO 8601 moment as date and time to the second, with its offset; any other text as it is."""
    if len(iso) < 19 or iso[10] != "T":
        return iso
    offset = iso[19:].lstrip(".0123456789")
    return f"{iso[:10]} {iso[11:19]} {'UTC' if offset in {'Z', '+00:00'} else offset}".rstrip()
