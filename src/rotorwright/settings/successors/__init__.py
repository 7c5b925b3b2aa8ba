"""The likeliest successors of settings that vanished: suggestions for a person, never a decision.

`likeliest_successors` pairs the names that a release no longer knows with the names that it is the first to know, says
how sure it is of each pair and why, and may say that there is no successor. Nothing here changes a setting.
"""

from __future__ import annotations

from rotorwright.settings.successors.caution import touches_danger
from rotorwright.settings.successors.description import Kind, SettingDescription, describe, describe_value
from rotorwright.settings.successors.suggest import Suggestion, likeliest_successors

__all__ = [
    "Kind",
    "SettingDescription",
    "Suggestion",
    "describe",
    "describe_value",
    "likeliest_successors",
    "touches_danger",
]
