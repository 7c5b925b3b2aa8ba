"""Settings that can start, stop or move a motor: their successors are never put first by themselves.

The words are those of the trade at large. The check prefers a needless flag to a missed one, and it reads role and
description too, because a name alone may say nothing.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.settings.successors.words import squashed, words_of

if TYPE_CHECKING:
    from rotorwright.settings.successors.description import SettingDescription

# Anywhere in a name, even glued to other words.
_WITHIN = ("motor", "throttle", "failsafe", "disarm", "propeller", "thrust", "rotor")
# As a word of its own: inside other words ("alarm") they mean nothing.
_ALONE = frozenset(
    {
        "arm", "arming", "armed", "armable", "unarmed", "prearm", "esc", "safety", "kill", "idle", "spin", "spool",
        "mixer", "lost", "loss", "emergency", "land", "landing", "stop", "brake", "reversed", "reverse",
        "prop",
    }
)  # fmt: skip
_SHORTEST = 3  # letters of a shortened word of danger


@lru_cache(maxsize=4096)
def touches_danger(setting: SettingDescription) -> bool:
    """Answer whether name, group, role or description touches arming, motors or failsafe."""
    return _is_dangerous(setting.name, setting.group, setting.role, setting.about)


def _is_dangerous(*texts: str) -> bool:
    return any(_has_part(text) or _has_word(text) for text in texts)


def _has_part(text: str) -> bool:
    letters = squashed(text)
    return any(part in letters for part in _WITHIN)


def _has_word(text: str) -> bool:
    return any(word in _ALONE or _starts_one(word) for word in words_of(text))


def _starts_one(word: str) -> bool:
    return len(word) >= _SHORTEST and any(part.startswith(word) for part in _WITHIN)
