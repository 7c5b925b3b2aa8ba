"""Boards: what a release book says about one, and finding the one that an aircraft reports.

Common practice, no source: a board's name is nearly always the same in the next release; now and then it was renamed.
So names are compared exactly, aliases included, and a name that only looks alike is never taken.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

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
    sectors of the maker that no image may touch; `image_sha256` has, by release, the `Image.sha256` that is published.
    `is_only_reported` says that no release book describes it: its name is what the aircraft calls it, `mcu` what the
    image or a person says, and whatever else there is to know is unknown.
    """

    name: str
    mcu: str
    aliases: Mapping[str, str] = field(default_factory=_nothing, hash=False)
    reserved_sectors: tuple[int, ...] = ()
    image_sha256: Mapping[str, str] = field(default_factory=_nothing, hash=False)
    is_only_reported: bool = False

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
