"""Which settings belong to the board, worked out from the aircraft themselves where no release book says it.

What is equal on every aircraft with a board, differs from the family's default, and is not equal on the aircraft with
other boards too, is the board's. Two sorts of evidence, and they do not weigh the same:

- the board's own captured defaults hold that value too: then it is what the board brings, whoever flies it;
- only the aircraft as found hold it: then it may as well be the habit of whoever set them all up. It is named, marked
  as not confirmed, and only where aircraft with other boards show that it is not everybody's habit.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.values import Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.snapshot import Snapshot

LEAST_AIRCRAFT = 3
"""How many aircraft with a board it takes to say anything of that board. Our choice, no source."""

_PATTERN_SIGN = re.compile(r"([*?[])")


@dataclass(frozen=True, slots=True)
class InferredSetting:
    """A setting that belongs to the board by the evidence of the aircraft.

    Args:
        name: of the setting.
        value: what every aircraft with the board holds.
        family_default: what the family has elsewhere.
        board: name of the board.
        aircraft: how many aircraft with this board were seen; all hold the value.
        elsewhere: how many aircraft with other boards hold the value too.
        elsewhere_seen: how many aircraft with other boards were seen.
        confirmed: whether the board's own captured defaults hold the value too.
    """

    name: str
    value: Value
    family_default: Value
    board: str
    aircraft: int
    elsewhere: int
    elsewhere_seen: int
    confirmed: bool

    @property
    def evidence(self) -> str:
        """The evidence in words."""
        others = (
            f"{self.elsewhere} of {self.elsewhere_seen} elsewhere" if self.elsewhere_seen else "none seen elsewhere"
        )
        defaults = (
            "this board's own defaults hold it too" if self.confirmed else "this board's own defaults are not known"
        )
        return (
            f"equal, {self.value.text}, on all {self.aircraft} aircraft with {self.board}; {others}; "
            f"the family's default is {self.family_default.text}; {defaults}"
        )


def infer_board_settings(
    board: str,
    found: Iterable[Snapshot],
    *,
    family_defaults: Mapping[str, Value],
    board_defaults: Mapping[str, Value] | None = None,
) -> tuple[InferredSetting, ...]:
    """Return the settings that belong to `board`, sorted by name.

    The result does not depend on the order of `found`.

    Args:
        board: name of the board, in the words of the release.
        found: as-found snapshots of one family and one release, of any boards. Of one aircraft only the latest counts.
        family_defaults: the generic defaults of that release (a catalogue's), or those of other boards
            (`defaults_elsewhere`).
        board_defaults: captured defaults of that release fresh on this board, as far as known.
    """
    aircraft = _latest_of_each(found)
    with_board = [each for each in aircraft if each.identity.board == board]
    if len(with_board) < LEAST_AIRCRAFT:
        return ()
    others = [each for each in aircraft if each.identity.board != board]
    known = board_defaults or {}
    judged = (
        _judge(name, value, default, known.get(name), board=board, count=len(with_board), others=others)
        for name, value in _equal_on_all(with_board).items()
        if (default := family_defaults.get(name)) is not None
    )
    return tuple(each for each in judged if each is not None)


def defaults_elsewhere(board: str, captured: Mapping[str, Mapping[str, Value]]) -> dict[str, Value]:
    """Return what the captured defaults of all boards but this one agree on, to stand for the family's, by name.

    Where the others do not agree among themselves, or one of them lacks the setting, the family has no default.
    """
    others = [dict(defaults) for name, defaults in sorted(captured.items()) if name != board]
    if not others:
        return {}
    first, *rest = others
    agreed = {
        name: value
        for name, value in first.items()
        if all((other := each.get(name)) is not None and differs(value, other) is False for each in rest)
    }
    return dict(sorted(agreed.items()))


def with_inferred_board(classes: SettingClasses | None, names: Iterable[str]) -> SettingClasses:
    """Return the classes with these names added to the board's, signs of patterns in a name taken as they are.

    A calibration stays one: it belongs to the sensor, whatever board carries it.
    """
    known = classes or SettingClasses()
    added = sorted({name for name in names if not known.is_board(name) and not known.is_calibration(name)})
    return replace(known, board=(*known.board, *(_PATTERN_SIGN.sub(r"[\1]", name) for name in added)))


def differs(one: Value, other: Value) -> bool | None:
    """Answer whether two values mean different things; nothing where nobody can tell.

    A text of a console and a typed value are compared by what the text says as a value of that type.
    """
    if one.type is other.type:
        return one != other
    if one.type.is_text or other.type.is_text:
        text, typed = (one, other) if one.type.is_text else (other, one)
        try:
            return Value.parse(typed.type, text.text) != typed
        except ValueNotInTypeError:
            return None
    if one.decimal is None or other.decimal is None:
        return None
    return one.decimal != other.decimal


def _judge(
    name: str,
    value: Value,
    default: Value,
    own_default: Value | None,
    *,
    board: str,
    count: int,
    others: list[Snapshot],
) -> InferredSetting | None:
    if differs(value, default) is not True:
        return None  # nobody touched it, or nobody can tell
    if own_default is not None and differs(value, own_default) is not False:
        return None  # the board brings another value: all owners of it changed this one
    theirs = [each.settings.get(name) for each in others]
    same = sum(other is not None and differs(value, other) is False for other in theirs)
    told_apart = any(other is not None and differs(value, other) is True for other in theirs)
    if others and same == len(others):
        return None  # the same on everything: a habit of the owner, or no matter of the board
    confirmed = own_default is not None
    if not confirmed and not told_apart:
        return None  # with nothing else to look at, a board's value and a habit of the owner look alike
    return InferredSetting(name, value, default, board, count, same, len(others), confirmed)


def _latest_of_each(found: Iterable[Snapshot]) -> list[Snapshot]:
    """Return the latest snapshot of each aircraft; of two with the same time, the same one whatever their order."""
    latest: dict[str, Snapshot] = {}
    for each in sorted(found, key=lambda snapshot: (_moment(snapshot.taken_at), snapshot.sha256)):
        latest[each.identity.unique_id] = each
    return list(latest.values())


def _moment(taken_at: str) -> tuple[str, str]:
    """Return a key that sorts times in UTC, with and without parts of a second, `Z` or `+00:00` at the end."""
    whole, _, part = taken_at.removesuffix("Z").removesuffix("+00:00").partition(".")
    return whole, part


def _equal_on_all(snapshots: list[Snapshot]) -> dict[str, Value]:
    seen: defaultdict[str, set[Value]] = defaultdict(set)
    counts: defaultdict[str, int] = defaultdict(int)
    for each in snapshots:
        for name, value in each.settings.items():
            seen[name].add(value)
            counts[name] += 1
    equal = (name for name, values in seen.items() if len(values) == 1 and counts[name] == len(snapshots))
    return {name: next(iter(seen[name])) for name in sorted(equal)}
