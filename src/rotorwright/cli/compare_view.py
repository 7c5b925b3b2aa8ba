"""`compare`: two sets of settings, from snapshots, listings and ports in any combination."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from rotorwright.cli.console import out, print_json
from rotorwright.cli.readings import NOBODY, read_source
from rotorwright.settings.comparing import Comparison, Likeness, compare_settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.cli.readings import Reading, Told
    from rotorwright.settings.values import Value


def compare_sources(before: str, after: str, told: Told, *, as_json: bool) -> int:
    """Compare two sets of settings and say what differs; 0: the same, 1: they differ or cannot all be compared."""
    one, two = read_source(before, told), read_source(after, told)
    found = compare_settings(one.settings, two.settings)
    if as_json:
        print_json(_facts(one, two, found))
    else:
        _print(one, two, found)
    is_same = all(each.likeness is Likeness.EQUAL for each in found) and not (one.unplaced or two.unplaced)
    return int(not is_same)


def reading_facts(reading: Reading) -> dict[str, object]:
    """Return what is known of a reading besides its settings, as plain data."""
    facts: dict[str, object] = {"source": reading.source, "count": len(reading.settings)}
    if reading.snapshot is None:
        unplaced = [{"line": number, "text": text} for number, text in reading.unplaced]
        return {**facts, "kind": "listing", "unplaced_lines": unplaced}
    identity = reading.snapshot.identity
    return {
        **facts,
        "kind": "snapshot",
        "unique_id": identity.unique_id,
        "family": identity.family,
        "release": identity.release,
        "board": identity.board,
        "build": identity.build,
        "taken_at": reading.snapshot.taken_at,
        "snapshot_sha256": reading.snapshot.sha256,
    }


def _facts(one: Reading, two: Reading, found: Sequence[Comparison]) -> dict[str, object]:
    unequal = [each for each in found if each.likeness not in {Likeness.EQUAL, Likeness.NOT_COMPARABLE}]
    doubtful = [each for each in found if each.likeness is Likeness.NOT_COMPARABLE]
    return {
        "same_aircraft": _is_same_aircraft(one, two),
        "before": reading_facts(one),
        "after": reading_facts(two),
        "equal": len(found) - len(unequal) - len(doubtful),
        "differences": [_row(each) for each in unequal],
        "not_comparable": [{**_row(each), "why": each.words} for each in doubtful],
    }


def _row(each: Comparison) -> dict[str, object]:
    return {
        "name": each.name,
        "before": each.before.text if each.before else None,
        "after": each.after.text if each.after else None,
    }


def _is_same_aircraft(one: Reading, two: Reading) -> bool | None:
    """Answer whether both are of one aircraft; nothing where a listing does not say whose it is."""
    ids = [reading.snapshot.identity.unique_id for reading in (one, two) if reading.snapshot is not None]
    return ids[0] == ids[1] if len(ids) == len((one, two)) and NOBODY not in ids else None


def _print(one: Reading, two: Reading, found: Sequence[Comparison]) -> None:
    _print_whose(one, two)
    unequal = [each for each in found if each.likeness is not Likeness.EQUAL]
    if unequal:
        out.print(_table(unequal))
    for each in unequal:
        if each.likeness is Likeness.NOT_COMPARABLE:
            _say(f"{each.name} cannot be compared: {each.words}.")
    for reading in (one, two):
        for number, text in reading.unplaced:
            _say(f"{reading.source}, line {number} cannot be compared, the dialect has no place for it: {text}")
    _say(_total(found))


def _total(found: Sequence[Comparison]) -> str:
    doubtful = sum(each.likeness is Likeness.NOT_COMPARABLE for each in found)
    equal = sum(each.likeness is Likeness.EQUAL for each in found)
    different = len(found) - equal - doubtful
    words = (
        f"{_counted(different, 'difference')} in {_counted(len(found), 'setting')}" if different else "No difference"
    )
    return f"{words}; {doubtful} cannot be compared." if doubtful else f"{words}."


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _print_whose(one: Reading, two: Reading) -> None:
    if one.snapshot is None or two.snapshot is None:
        return
    before, after = one.snapshot.identity, two.snapshot.identity
    if _is_same_aircraft(one, two) is False:
        _say(f"Two aircraft: {before.unique_id} and {after.unique_id}.")
    if before.release != after.release:
        _say(f"Two releases: {before.release or 'not named'} and {after.release or 'not named'}.")


def _table(rows: Sequence[Comparison]) -> Table:
    table = Table(box=None, pad_edge=False, show_edge=False)
    for column in ("name", "before", "after"):
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(escape(row.name), _shown(row.before, row.after), _shown(row.after, row.before))
    return table


def _shown(value: Value | None, other: Value | None) -> str:
    """Return a value for the table, with its type where the two look alike and differ in that."""
    if value is None:
        return "- (not there)"
    alike = other is not None and value.text == other.text and value.type is not other.type
    return escape(f"{value.text} ({value.type})" if alike else value.text or "(empty)")


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
