"""Commands about console dialects: learn one from printed texts, check one against a text. No aircraft is touched."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.cli.console import print_json
from rotorwright.cli.files import read_input_file

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.settings.dialects.learn import Learnt
    from rotorwright.settings.dialects.listing import Line, Listing
    from rotorwright.settings.dialects.round_trip import RoundTrip

_MOST_SHOWN = 20


def learn(files: Sequence[Path], as_json: bool) -> int:  # noqa: FBT001 - called with the two options by name
    """Work a dialect out from printed texts and print it as a dialect file, with examples to confirm."""
    from rotorwright.settings.dialects.learn import learn as learn_dialect
    from rotorwright.settings.dialects.learnt_text import print_learnt, shown

    texts = [read_input_file(path) for path in files]
    learnt = learn_dialect(texts, name="learnt from " + ", ".join(shown(path.name) for path in files))
    if as_json:
        print_json(_learnt_facts(learnt, files))
    else:
        sys.stdout.write(print_learnt(learnt, [str(path) for path in files]))
    return 0


def check(dialect: Path, file: Path, as_json: bool) -> int:  # noqa: FBT001 - called with its options by name
    """Check that `file` goes through `dialect` and back unchanged; 1 if it does not, or if a line finds no place."""
    from rotorwright.settings.dialects.dialect_file import dialect_from
    from rotorwright.settings.dialects.round_trip import check_round_trip

    trip = check_round_trip(dialect_from(read_input_file(dialect), source=str(dialect)), read_input_file(file))
    if as_json:
        print_json(_trip_facts(trip))
    else:
        sys.stdout.write("\n".join(_trip_words(trip)) + "\n")
    return int(not (trip.holds and trip.all_placed))


def _learnt_facts(learnt: Learnt, files: Sequence[Path]) -> dict[str, object]:
    from rotorwright.settings.dialects.dialect_file import print_dialect
    from rotorwright.settings.dialects.learnt_text import shown

    families = [
        {
            "id": family.id,
            "form": family.form,
            "lines": family.count,
            "examples": [{"line": shown(text), "means": shown(said)} for text, said in family.examples],
        }
        for family in learnt.families
    ]
    texts = [
        {"file": str(path), **_listing_facts(listing)} for path, listing in zip(files, learnt.listings, strict=True)
    ]
    return {
        "dialect": print_dialect(learnt.dialect),
        "families": families,
        "texts": texts,
        "unplaced": learnt.unplaced_count,
    }


def _trip_facts(trip: RoundTrip) -> dict[str, object]:
    return {
        "holds": trip.holds,
        "same_bytes": trip.same_bytes,
        "same_settings": trip.same_settings,
        "stuck_lines": list(trip.stuck),
        **_listing_facts(trip.listing),
    }


def _listing_facts(listing: Listing) -> dict[str, object]:
    from rotorwright.settings.dialects.learnt_text import shown

    return {
        "lines": len(listing.lines),
        "kinds": {str(kind): count for kind, count in listing.counts.items()},
        "settings": len(listing.settings),
        "repeated": [shown(name) for name in listing.repeated],
        "unplaced_lines": [{"line": number, "text": shown(line.text)} for number, line in listing.unplaced],
    }


def _trip_words(trip: RoundTrip) -> list[str]:
    listing = trip.listing
    counts = ", ".join(f"{count} {kind}" for kind, count in listing.counts.items()) or "none"
    words = [
        f"{len(listing.lines)} lines ({counts}), {len(listing.settings)} settings.",
        f"Printed again: {'the same bytes' if trip.same_bytes else 'OTHER BYTES'}.",
        f"Read again: {'the same settings' if trip.same_settings else 'OTHER SETTINGS'}.",
    ]
    if trip.stuck:
        words.append(f"Lines that cannot be written back as they are: {', '.join(map(str, trip.stuck[:_MOST_SHOWN]))}.")
    if listing.repeated:
        words.append(f"{len(listing.repeated)} names belong to more than one setting, such as {listing.repeated[0]!a}.")
    return words + _unplaced_words(listing.unplaced)


def _unplaced_words(unplaced: Sequence[tuple[int, Line]]) -> list[str]:
    from rotorwright.settings.dialects.learnt_text import shown

    if not unplaced:
        return ["Every line has its place."]
    words = [f"{len(unplaced)} lines found no place:"]
    words += [f"  line {number}: {shown(line.text)}" for number, line in unplaced[:_MOST_SHOWN]]
    return words + ([f"  and {len(unplaced) - _MOST_SHOWN} more"] if len(unplaced) > _MOST_SHOWN else [])
