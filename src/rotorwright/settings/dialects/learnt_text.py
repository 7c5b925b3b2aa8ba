"""What was learnt, as a dialect file with remarks for the person who confirms it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.dialects.dialect_file import print_dialect

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.settings.dialects.learn import Learnt

_MOST_SHOWN = 40
_LONGEST_SHOWN = 100


def print_learnt(learnt: Learnt, sources: Sequence[str]) -> str:
    """Return a dialect file whose comments give examples, and say which lines of `sources` found no place.

    It can be used as it is once a person has looked it over; the part about the session is theirs to fill in.
    """
    remarks = {
        family.id: [f"{family.count} lines; for example:", *(_example(*each) for each in family.examples)]
        for family in learnt.families
    }
    head = [
        "# Worked out from printed text alone: look it over before you rely on it.",
        "# How to enter, set, save and restart cannot be seen in a listing: fill in [session].",
        *(f"# {words}" for words in _summary(learnt, sources)),
        "",
    ]
    return "\n".join(head) + "\n" + print_dialect(learnt.dialect, remarks=remarks)


def shown(text: str) -> str:
    """Return `text` so that it can be shown anywhere: broken bytes and control signs as escapes, the end of it cut."""
    whole = text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    plain = "".join(sign if sign.isprintable() else f"\\x{ord(sign):02x}" for sign in whole[: _LONGEST_SHOWN + 1])
    return plain if len(whole) <= _LONGEST_SHOWN else plain[:_LONGEST_SHOWN] + "..."


def _summary(learnt: Learnt, sources: Sequence[str]) -> Iterator[str]:
    for source, listing in zip(sources, learnt.listings, strict=True):
        counts = ", ".join(f"{count} {kind}" for kind, count in listing.counts.items())
        yield f"{shown(source)}: {len(listing.lines)} lines ({counts or 'none'}), {len(listing.settings)} settings"
        for number, line in listing.unplaced[:_MOST_SHOWN]:
            yield f"  line {number} found no place: {shown(line.text)}"
        if len(listing.unplaced) > _MOST_SHOWN:
            yield f"  and {len(listing.unplaced) - _MOST_SHOWN} more"
        for name in listing.repeated[:_MOST_SHOWN]:
            yield f"  more than one setting is called {shown(name)}"
    yield f"{learnt.unplaced_count} lines found no place."


def _example(text: str, said: str) -> str:
    return f"  {shown(text)}" + (f"   ->   {shown(said)}" if said else "")
