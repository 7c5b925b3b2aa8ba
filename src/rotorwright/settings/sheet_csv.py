"""The carry-over sheet as a table for spreadsheets: CSV (RFC 4180), UTF-8, every value exact and as text.

One row for each found setting. Where a decision gives more new settings than it has found ones, each further one has a
row of its own with an empty `setting`. A cell that a spreadsheet could take for a formula gets an apostrophe in front;
so does a cell that begins with an apostrophe, so that `plain_text` gives back what was there, sign for sign.
"""

from __future__ import annotations

import csv
import io
import re
from itertools import zip_longest
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value

COLUMNS = (
    "line",
    "decision",
    "setting",
    "found_type",
    "found",
    "old_default_type",
    "old_default",
    "new_setting",
    "new_default_type",
    "new_default",
    "becomes_type",
    "becomes",
    "is_written",
    "chosen",
    "options",
    "rule",
    "reason",
)

# What makes a spreadsheet take a cell for a formula. Source: OWASP, "CSV Injection" (from memory), with the full-width
# forms of the same signs; the apostrophe is ours, so that there is a way back.
_TAKEN_FOR_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_GUARD = "'"
_NUMBER = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?\Z")


def print_sheet_csv(sheet: CarryOverSheet) -> bytes:
    """Return the decisions of the sheet as CSV, the header first, lines ending in CR LF. Equal sheets, equal bytes."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for number, decision in enumerate(sheet.decisions, start=1):
        writer.writerows([guarded(cell) for cell in row] for row in _rows(number, decision))
    return text.getvalue().encode()


def guarded(cell: str) -> str:
    """Return the cell so that no spreadsheet takes it for a formula. Numbers stay as they are."""
    risky = cell.startswith(_TAKEN_FOR_FORMULA) and not _NUMBER.match(cell)
    return _GUARD + cell if risky or cell.startswith(_GUARD) else cell


def plain_text(cell: str) -> str:
    """Return what stood in a cell before it was guarded."""
    return cell.removeprefix(_GUARD)


def _rows(number: int, decision: Decision) -> Iterator[tuple[str, ...]]:
    found = zip(decision.found, decision.ours, decision.base, strict=True)
    about = _about(decision)
    for old, new in zip_longest(found, _after(decision)):
        name, ours, base = old or ("", None, None)
        yield (
            str(number),
            str(decision.kind),
            name,
            *_cells(ours),
            *_cells(base),
            *_new_cells(new),
            *about,
        )


def _about(decision: Decision) -> tuple[str, str, str, str]:
    options = "\n".join(f"{option.key}: {option.words}" for option in decision.options)
    return decision.chosen or "", options, decision.rule, decision.reason


def _new_cells(new: tuple[str, Value | None, Value | None, bool] | None) -> tuple[str, ...]:
    if new is None:
        return ("",) * 6
    name, default, becomes, is_written = new
    return name, *_cells(default), *_cells(becomes), ("yes" if is_written else "no")


def _after(decision: Decision) -> list[tuple[str, Value | None, Value | None, bool]]:
    """Return each new name with its default, what it will hold, and whether that is written."""
    defaults = dict(zip(decision.new_names, decision.theirs, strict=True))
    writes = {each.name: each.value for each in decision.writes_in_force}
    names = dict.fromkeys((*decision.new_names, *writes))
    return [
        (
            name,
            defaults.get(name),
            None if decision.is_undecided else writes.get(name, defaults.get(name)),
            name in writes,
        )
        for name in names
    ]


def _cells(value: Value | None) -> tuple[str, str]:
    return ("", "") if value is None else (str(value.type), value.text)
