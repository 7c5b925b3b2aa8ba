"""Reading the laws of change notes (docs/reference/change-notes.md)."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.settings.laws import Law, Linear, LogOfTwo, PowerOfTwo, Reciprocal, Table, parse_rational
from rotorwright.settings.note_fields import literal, nonzero, rational
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.settings import structured

_MOST_PAIRS = 1000


def read_law(table: structured.Table) -> Law:
    """Return the law that a table describes.

    Raises:
        DataFaultError: no such law, or its numbers are none.
    """
    kind = table.text("kind")
    if kind not in _LAWS:
        meant = likely(kind, _LAWS)
        hint = f"; perhaps {meant!r} was meant" if meant else ""
        table.fault("kind", f"{kind!r} is no law; known are {', '.join(_LAWS)}{hint}", meant=meant)
    return _LAWS[kind](table)


def _linear(table: structured.Table) -> Law:
    table.only("kind", "factor", "offset")
    return Linear(nonzero(table, "factor"), rational(table, "offset") if "offset" in table else Fraction(0))


def _reciprocal(table: structured.Table) -> Law:
    table.only("kind", "numerator")
    return Reciprocal(nonzero(table, "numerator"))


def _power(table: structured.Table) -> Law:
    table.only("kind")
    return PowerOfTwo()


def _log(table: structured.Table) -> Law:
    table.only("kind")
    return LogOfTwo()


def _table(table: structured.Table) -> Law:
    table.only("kind", "pairs")
    pairs = table.table("pairs")
    if not 1 <= len(pairs.data) <= _MOST_PAIRS:
        table.fault("pairs", f"1 to {_MOST_PAIRS} pairs of an old and a new value are expected")
    found: dict[str, str] = {}
    numbers: set[Fraction] = set()
    for old, new in pairs.data.items():
        number = parse_rational(old)
        if number is not None and number in numbers:
            pairs.fault(old, f"the old value {old} is there twice")
        numbers |= set() if number is None else {number}
        found[old] = literal(pairs, old, new)
    return Table(found)


_LAWS: dict[str, Callable[[structured.Table], Law]] = {
    "linear": _linear,
    "reciprocal": _reciprocal,
    "power-of-two": _power,
    "log-of-two": _log,
    "table": _table,
}
