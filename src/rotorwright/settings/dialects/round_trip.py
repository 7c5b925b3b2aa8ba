"""The proof that a dialect fits a text: parse, print, and parse again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.changing import ValueNotPrintableError, changed_line
from rotorwright.settings.dialects.listing import Line, Listing, parse_listing, print_listing

if TYPE_CHECKING:
    from rotorwright.settings.dialects.dialect import Dialect


_MOST_TRIED = 64  # of a damaged line with thousands of pairs, this many are written back, so that time stays linear


@dataclass(frozen=True, slots=True)
class RoundTrip:
    """What came of it.

    Args:
        listing: what was read.
        same_bytes: printing gives the very bytes that were read.
        same_settings: reading the printed bytes gives the same settings.
        stuck: numbers of the lines that change when each of their settings is written with the value it has already.
    """

    listing: Listing
    same_bytes: bool
    same_settings: bool
    stuck: tuple[int, ...]

    @property
    def holds(self) -> bool:
        """Whether the round trip holds for every line."""
        return self.same_bytes and self.same_settings and not self.stuck

    @property
    def all_placed(self) -> bool:
        """Whether every line has its place in the dialect."""
        return not self.listing.unplaced


def check_round_trip(dialect: Dialect, data: bytes) -> RoundTrip:
    """Return whether `data` goes through `dialect` and back without a change."""
    listing = parse_listing(dialect, data)
    printed = print_listing(listing)
    again = parse_listing(dialect, printed)
    stuck = tuple(n for n, line in enumerate(listing.lines, 1) if not _writes_itself(dialect, line))
    return RoundTrip(listing, printed == data, again.settings == listing.settings, stuck)


def _writes_itself(dialect: Dialect, line: Line) -> bool:
    try:
        settings = enumerate(line.settings[:_MOST_TRIED])
        return all(changed_line(dialect, line, n, each.values).text == line.text for n, each in settings)
    except ValueNotPrintableError:
        return False
