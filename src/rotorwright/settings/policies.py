"""Policies: how doubtful settings are decided, and where a person wants it otherwise (docs/reference/policies.md).

A policy has one exact text form, for the command line, the journal and the carry-over sheet:

    same-feel; class.board=hold; set.LOOP_RATE=take-new-default
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NoReturn, TypeVar

from rotorwright.errors import SettingsError
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Iterable


class PolicyError(SettingsError):
    """The text is no policy."""

    id = "policy.bad-text"


class PolicySettingError(SettingsError):
    """A policy speaks of a setting that neither the aircraft nor the new release has."""

    id = "policy.unknown-setting"


class Base(StrEnum):
    """The policies themselves."""

    CAREFUL = "careful"
    ONLY_WHAT_I_CHANGED = "only-what-i-changed"
    SAME_FEEL = "same-feel"


class SettingClass(StrEnum):
    """The classes that a policy may speak of."""

    BOARD = "board"
    CALIBRATION = "calibration"
    FEEL = "feel"


class ClassChoice(StrEnum):
    """What becomes of customised settings of a class."""

    HOLD = "hold"
    KEEP = "keep"
    TAKE_NEW_DEFAULT = "take-new-default"


class SettingChoice(StrEnum):
    """What becomes of one setting."""

    KEEP_MINE = "keep-mine"
    TAKE_NEW_DEFAULT = "take-new-default"
    LEAVE_OUT = "leave-out"


_Word = TypeVar("_Word", bound=StrEnum)

_PLAIN_NAME = re.compile(r"[A-Za-z0-9_.:/+-]+\Z")
_QUOTED = r'"(?:[^"\\]|\\.)*"'
_PART = re.compile(rf'((?:{_QUOTED}|[^;"])*)(;|\Z)')
_OVERRIDE = re.compile(rf"(class|set)\.({_QUOTED}|[^=\"]+?)\s*=\s*(\S+)\Z")
_SHAPES = "class.NAME=CHOICE and set.NAME=CHOICE"


@dataclass(frozen=True, slots=True)
class Policy:
    """How doubtful settings are decided.

    Args:
        base: the policy itself.
        classes: what becomes of customised settings of a class, in the order of `SettingClass`.
        settings: what becomes of single settings, by old or new name, sorted by name.
    """

    base: Base = Base.CAREFUL
    classes: tuple[tuple[SettingClass, ClassChoice], ...] = ()
    settings: tuple[tuple[str, SettingChoice], ...] = ()

    def __post_init__(self) -> None:
        order = list(SettingClass)
        object.__setattr__(self, "classes", tuple(sorted(self.classes, key=lambda each: order.index(each[0]))))
        object.__setattr__(self, "settings", tuple(sorted(self.settings)))

    @classmethod
    def parse(cls, text: str) -> Policy:
        """Return the policy that `text` spells; nothing at all is `careful`.

        Raises:
            PolicyError: an unknown word, or a class or setting of which it speaks twice; the words say what was likely
                meant.
        """
        return _parse(text)

    @property
    def text(self) -> str:
        """The one text form; `Policy.parse` gives this very policy back."""
        classes = [f"class.{each}={choice}" for each, choice in self.classes]
        settings = [f"set.{_quoted(name)}={choice}" for name, choice in self.settings]
        return "; ".join([str(self.base), *classes, *settings])

    def of_class(self, name: SettingClass) -> ClassChoice | None:
        """Return what becomes of customised settings of a class; nothing if the policy does not say."""
        return next((choice for each, choice in self.classes if each is name), None)

    def of_setting(self, names: Iterable[str]) -> SettingChoice | None:
        """Return what becomes of a setting that has any of these names; nothing if the policy does not say."""
        if not self.settings:
            return None
        wanted = dict(self.settings)
        return next((wanted[name] for name in names if name in wanted), None)

    def require_known(self, known: Iterable[str]) -> None:
        """Refuse names of settings that are not among `known`.

        Raises:
            PolicySettingError: one is not.
        """
        if not self.settings:
            return
        names = set(known)
        for name, _ in self.settings:
            if name not in names:
                raise _unknown_setting(name, names)


CAREFUL = Policy()
"""The policy where nobody says anything: whatever is not certain is held."""


def _parse(text: str) -> Policy:
    parts = _parts(text)
    words = [part for part in parts if not part.startswith(("class.", "set."))]
    if len(words) > 1 or (words and parts[0] != words[0]):
        _refuse(text, f"{words[-1]!r} stands where an override is expected", "")
    base = _word(Base, words[0], text, "policy") if words else Base.CAREFUL
    classes: dict[SettingClass, ClassChoice] = {}
    settings: dict[str, SettingChoice] = {}
    for part in parts[len(words) :]:
        kind, name, choice = _override(part, text)
        if kind == "class":
            which = _word(SettingClass, name, text, "class of settings")
            _once(text, name, is_new=which not in classes)
            classes[which] = _word(ClassChoice, choice, text, f"choice for the class {name}")
        else:
            _once(text, name, is_new=name not in settings)
            settings[name] = _word(SettingChoice, choice, text, f"choice for {name}")
    return Policy(base, tuple(classes.items()), tuple(settings.items()))


def _parts(text: str) -> list[str]:
    parts: list[str] = []
    at = 0
    while at < len(text):
        found = _PART.match(text, at)
        if found is None:
            _refuse(text, "a name in quotes has no end", "")
        parts.append(found[1].strip())
        at = found.end()
    return [part for part in parts if part]


def _override(part: str, text: str) -> tuple[str, str, str]:
    found = _OVERRIDE.match(part)
    if found is None:
        _refuse(text, f"{part!r} is no override; they look like {_SHAPES}", "")
    return found[1], _unquoted(found[2], text), found[3]


def _quoted(name: str) -> str:
    return name if _PLAIN_NAME.match(name) else json.dumps(name)


def _unquoted(written: str, text: str) -> str:
    if not written.startswith('"'):
        return written.strip()
    try:
        return str(json.loads(written))
    except ValueError:
        _refuse(text, f"{written} cannot be read as a name in quotes", "")


def _word(words: type[_Word], written: str, text: str, what: str) -> _Word:
    try:
        return words(written)
    except ValueError:
        known = [str(each) for each in words]
        _refuse(text, f"{written!r} is no {what}; there are {', '.join(known)}", likely(written, known))


def _once(text: str, name: str, *, is_new: bool) -> None:
    if not is_new:
        _refuse(text, f"it speaks of {name} twice", "")


def _refuse(text: str, why: str, meant: str) -> NoReturn:
    raise PolicyError(
        f"{text!r} is no policy.",
        why=f"{why[:1].upper()}{why[1:]}.",
        todo=f"Write {meant!r} instead, if that was meant."
        if meant
        else "See docs/reference/policies.md for its form.",
        policy=text,
    )


def _unknown_setting(name: str, known: set[str]) -> PolicySettingError:
    meant = likely(name, known)
    return PolicySettingError(
        f"The policy speaks of {name}, which neither the aircraft nor the new release has.",
        why="The name is mistyped, or it belongs to another firmware.",
        todo=f"Write {meant} instead, if that was meant." if meant else "Leave it out of the policy.",
        name=name,
    )
