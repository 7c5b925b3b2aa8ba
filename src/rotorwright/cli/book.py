"""Commands about release books. No aircraft is touched."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from rotorwright.cli.console import print_json

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rotorwright.hangar.book_checks import BookProblem


def check(path: Path, *, as_json: bool) -> int:
    """Check a release book; 0 if nothing is wrong with it, 1 if there are errors or warnings."""
    from rotorwright.hangar.book_checks import check_book
    from rotorwright.hangar.books import read_book

    book = read_book(path)
    found = check_book(book)
    if as_json:
        print_json(_facts(book.family, found))
    else:
        sys.stdout.write("\n".join(_words(found)) + "\n")
    return int(any(each.severity != "information" for each in found))


def _facts(family: str, found: Sequence[BookProblem]) -> dict[str, object]:
    return {
        "family": family,
        "counts": _counts(found),
        "problems": [
            {
                "severity": str(each.severity),
                "id": each.id,
                "part": each.part,
                "place": each.place,
                "name": each.name,
                "words": each.words,
            }
            for each in found
        ],
    }


def _words(found: Sequence[BookProblem]) -> list[str]:
    words: list[str] = []
    for severity in _counts(found):
        for each in found:
            if each.severity == severity:
                place = f", {each.place}" if each.place else ""
                name = f", {each.name}" if each.name else ""
                words.append(f"{severity}: {each.part}{place}{name}: {each.words}. [{each.id}]")
    counts = _counts(found)
    total = ", ".join(
        f"{count} {severity}{'s' * (count != 1)}" for severity, count in counts.items() if severity != _SAID
    )
    return [*words, f"{total}, {counts[_SAID]} remarks."]


_SAID = "information"


def _counts(found: Sequence[BookProblem]) -> dict[str, int]:
    return {severity: sum(each.severity == severity for each in found) for severity in ("error", "warning", _SAID)}
