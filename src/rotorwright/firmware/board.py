"""Boards: what a release book says about one, and finding the one that an aircraft reports.

Common practice, no source: a board's name is nearly always the same in the next release; now and then it was renamed.
So names are compared exactly, aliases included, and a name that only looks alike is never taken.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from rotorwright.errors import ImageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


def _nothing() -> Mapping[str, str]:
    return MappingProxyType({})


class BoardNameAmbiguousError(ImageError):
    """Two boards of a release book claim the same name."""

    id = "image.board-ambiguous"


@dataclass(frozen=True, slots=True)
class Board:
    """A flight-controller board.

    `aliases` has the name that a release line ("5.2") used where it differs from `name`; `reserved_sectors` are flash
    sectors of the maker that no image may touch; `image_sha256` has, by release, the `Image.sha256` that is published
    for this board alone, `generic_sha256` that of the build for many boards, which becomes this one by its definition.
    `usb_ids` are the vendor and product by which its firmware shows itself; `flash_size_bytes` is the size of a flash
    chip beside the part, None where it is not said.
    `is_named_by_person` says that the aircraft calls its board by a name that is not here, and a person says that it is
    this one.
    `is_only_reported` says that no release book describes it: its name is what the aircraft calls it, `mcu` what the
    image or a person says, and whatever else there is to know is unknown.
    """

    name: str
    mcu: str
    aliases: Mapping[str, str] = field(default_factory=_nothing, hash=False)
    reserved_sectors: tuple[int, ...] = ()
    image_sha256: Mapping[str, str] = field(default_factory=_nothing, hash=False)
    is_only_reported: bool = False
    is_named_by_person: bool = False
    generic_sha256: Mapping[str, str] = field(default_factory=_nothing, hash=False)
    usb_ids: tuple[tuple[int, int], ...] = ()
    flash_size_bytes: int | None = None

    @property
    def names(self) -> frozenset[str]:
        """Every name that this board has or had."""
        return frozenset({self.name, *self.aliases.values()})

    def name_in(self, release_line: str) -> str:
        """Return what the release line calls this board."""
        return self.aliases.get(release_line, self.name)


def resolve_board(boards: Iterable[Board], reported_name: str) -> Board | None:
    """Return the board that has or had exactly `reported_name`; None if there is none, never the nearest-looking one.

    Raises:
        BoardNameAmbiguousError: two boards have or had it.
    """
    found = [board for board in boards if reported_name in board.names]
    if len(found) > 1:
        raise _ambiguous(reported_name, found)
    return found[0] if found else None


def _ambiguous(reported_name: str, boards: list[Board]) -> BoardNameAmbiguousError:
    names = " and ".join(sorted(board.name for board in boards))
    return BoardNameAmbiguousError(
        f"The board name {reported_name!r} belongs to more than one board: {names}.",
        why="The release book gives the name to each of them, so the name does not say which board this is.",
        todo="Read the name printed on the board, and have the release book corrected.",
        name=reported_name,
        boards=names,
    )


class BoardCandidate(NamedTuple):
    """A board that a reported name may mean, with what speaks for it and what against it, in words."""

    board: Board
    reasons_for: tuple[str, ...]
    reasons_against: tuple[str, ...]


_WORD = re.compile(r"[0-9]+|[a-z]+")
_SPELLED_ALIKE = 0.8  # a slip or two of the keys in a short name; common practice, no source
_SHORTEST_SHARED_WORD = 3


def board_candidates(boards: Iterable[Board], reported: str, *, part: str | None = None) -> tuple[BoardCandidate, ...]:
    """Return the boards that `reported` may mean, the likeliest first: for a person to judge, none is ever taken.

    Args:
        boards: the boards of the release book.
        reported: the name that the aircraft gives, which no board has exactly.
        part: the microcontroller, as far as it is known.
    """
    found = [_candidate(board, reported, part) for board in boards]
    likely = [(likeness, candidate) for likeness, candidate in found if candidate.reasons_for]
    likely.sort(key=lambda one: (-one[0], len(one[1].reasons_against), one[1].board.name))
    return tuple(candidate for _, candidate in likely)


def _candidate(board: Board, reported: str, part: str | None) -> tuple[float, BoardCandidate]:
    name = max(sorted(board.names), key=lambda known: _likeness(reported, known))
    likeness = _likeness(reported, name)
    reasons_for, reasons_against = _compare_names(reported, name, likeness)
    if part == board.mcu:
        reasons_for.append(f"it has the same microcontroller, {part}")
    elif part is not None:
        reasons_against.append(f"it has an {board.mcu}, and this one has an {part}")
    return likeness, BoardCandidate(board, tuple(reasons_for), tuple(reasons_against))


def _compare_names(reported: str, name: str, likeness: float) -> tuple[list[str], list[str]]:
    ours, theirs = _words(reported), _words(name)
    if "".join(ours) == "".join(theirs):
        return [f"{name!r} is the same but for spaces, capitals or marks"], []
    shared = [word for word in theirs if word in ours and (len(word) >= _SHORTEST_SHARED_WORD or word.isdigit())]
    reasons_for = [f"{name!r} has {' and '.join(map(repr, shared))} too"] if shared else []
    if likeness >= _SPELLED_ALIKE:
        reasons_for.append(f"{name!r} is spelled nearly like it")
    different = sorted(set(ours) ^ set(theirs))
    if numbers := [word for word in different if word.isdigit()]:
        words = f"{_standing(numbers)} in one of the names only, and another number is mostly another board"
        return reasons_for, [words]
    return reasons_for, [f"{_standing(list(map(repr, different)))} in one of the names only"] if different else []


def _standing(words: list[str]) -> str:
    return f"{words[0]} is" if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]} are each"


def _likeness(one: str, other: str) -> float:
    return SequenceMatcher(None, " ".join(_words(one)), " ".join(_words(other)), autojunk=False).ratio()


def _words(name: str) -> list[str]:
    return _WORD.findall(name.lower())
