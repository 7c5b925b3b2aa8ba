"""Constraints between the settings of a release, as a file of a release book (docs/reference/constraints.md).

TOML data, no code: `[[order]]`, `[[sum]]`, `[[needs]]` and `[[excludes]]`, each with its `why`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.constraint_rules import (
    Broken,
    Constraint,
    Excludes,
    Needs,
    Order,
    Sum,
    Term,
    all_names,
    broken_constraints,
)
from rotorwright.settings.documents import DocumentKind, read_document
from rotorwright.settings.structured import DataFaultError, Table, likely

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.settings.catalogue import Catalogue

__all__ = [
    "Broken",
    "Constraint",
    "Constraints",
    "ConstraintsError",
    "ConstraintsFormatError",
    "ConstraintsVersionError",
    "broken_constraints",
    "parse_constraints",
    "unknown_names",
]

CONSTRAINTS_FORMAT = "rotorwright-constraints"
CONSTRAINTS_VERSION = 1

_HIGHEST_BIT = 63  # no whole number of ours is wider than 64 bits
_SAYINGS = ("is", "is_not", "at_least", "at_most", "bit")


class ConstraintsError(SettingsError):
    """Constraints cannot be used; the words name the entry and the key."""

    id = "constraints.bad-entry"


class ConstraintsFormatError(ConstraintsError):
    """The file is no constraints."""

    id = "constraints.wrong-format"


class ConstraintsVersionError(ConstraintsError):
    """The constraints were written for a newer version of this tool."""

    id = "constraints.newer-version"


@dataclass(frozen=True, slots=True)
class Constraints:
    """What has to hold between the settings of one release.

    Args:
        family: firmware family.
        release: release line, e.g. `6.0`.
        entries: the constraints in the order of the file, form by form.
    """

    family: str
    release: str
    entries: tuple[Constraint, ...]

    def __iter__(self) -> Iterator[Constraint]:
        return iter(self.entries)


def parse_constraints(text: str, *, source: str) -> Constraints:
    """Return the constraints in a TOML text; `source` names the file in error texts.

    Raises:
        ConstraintsFormatError: not TOML, or no constraints.
        ConstraintsVersionError: for a newer version of this tool.
        ConstraintsError: an entry that cannot be used; the words name it, and what was likely meant.
    """
    return read_document(text, _KIND, source=source)


@dataclass(frozen=True, slots=True)
class UnknownName:
    """A name in a constraint that the release does not know: where, which, and in words what was likely meant."""

    place: str
    name: str
    words: str


def unknown_names(constraints: Constraints, catalogue: Catalogue) -> tuple[UnknownName, ...]:
    """Return each name that the release does not know, with the name that was likely meant."""
    found: list[UnknownName] = []
    for constraint in constraints:
        for name in all_names(constraint):
            if name in catalogue:
                continue
            meant = likely(name, catalogue.names)
            hint = f"; perhaps {meant} was meant" if meant else ""
            words = f"{constraints.release} knows no setting {name}{hint}"
            found.append(UnknownName(constraint.place, name, words))
    return tuple(found)


def _constraints(document: Table) -> Constraints:
    document.only("format", "version", "family", "release", *_READERS)
    entries = tuple(read(entry) for form, read in _READERS.items() for entry in document.tables(form))
    return Constraints(_name(document, "family"), _name(document, "release"), entries)


def _order(entry: Table) -> Order:
    entry.only("lower", "upper", "equal", "when", "why")
    lower, upper = _name(entry, "lower"), _name(entry, "upper")
    if lower == upper:
        entry.fault("upper", f"{upper} stands on both sides")
    equal = entry.flag("equal", default=False)
    return Order(lower, upper, or_equal=equal, when=_when(entry), why=_why(entry), place=entry.where)


def _sum(entry: Table) -> Sum:
    entry.only("of", "at_most", "when", "why")
    of = entry.texts("of")
    if len(of) < 2 or len(set(of)) != len(of) or "" in of:
        entry.fault("of", "a sum has a list of two or more different names")
    limit = entry.data.get("at_most")
    at_most = _name(entry, "at_most") if isinstance(limit, str) else _number(entry, "at_most", limit)
    if at_most in of:
        entry.fault("at_most", f"{at_most} is in the sum itself")
    return Sum(of, at_most, when=_when(entry), why=_why(entry), place=entry.where)


def _needs(entry: Table) -> Needs:
    entry.only("if", "then", "why")
    if_, then = _term(entry.table("if")), _term(entry.table("then"))
    if if_.name == then.name:
        entry.fault("then", f"{then.name} cannot need itself")
    return Needs(if_, then, why=_why(entry), place=entry.where)


def _excludes(entry: Table) -> Excludes:
    entry.only("one", "other", "why")
    one, other = _term(entry.table("one")), _term(entry.table("other"))
    if one.name == other.name:
        entry.fault("other", f"{other.name} cannot exclude itself; its range belongs into the catalogue")
    return Excludes(one, other, why=_why(entry), place=entry.where)


_READERS: dict[str, Callable[[Table], Constraint]] = {
    "order": _order,
    "sum": _sum,
    "needs": _needs,
    "excludes": _excludes,
}


def _when(entry: Table) -> Term | None:
    return _term(entry.table("when")) if "when" in entry else None


def _term(table: Table) -> Term:
    table.only("setting", *_SAYINGS)
    given = [key for key in _SAYINGS if key in table]
    if len(given) != 1:
        table.fault(given[1] if given else "is", f"exactly one of {', '.join(_SAYINGS)} is said")
    name, key = _name(table, "setting"), given[0]
    match key:
        case "is":
            return Term(name, among=_entries(table, key))
        case "is_not":
            return Term(name, not_among=_entries(table, key))
        case "at_least":
            return Term(name, at_least=_number(table, key, table.data[key]))
        case "at_most":
            return Term(name, at_most=_number(table, key, table.data[key]))
        case _:
            return Term(name, bit=_bit(table))


def _entries(table: Table, key: str) -> tuple[Fraction | str, ...]:
    said = table.data[key]
    entries = said if isinstance(said, list) else [said]
    if not entries:
        table.fault(key, "the list is empty")
    return tuple(each if isinstance(each, str) else _number(table, key, each) for each in entries)


def _number(table: Table, key: str, said: object) -> Fraction:
    if isinstance(said, bool) or not isinstance(said, int | float):
        table.fault(key, "it is missing" if said is None else "a number is expected")
    try:
        return Fraction(repr(said))  # the decimal as it was written, not the binary fraction nearest to it
    except ValueError:
        return table.fault(key, f"{said} is no number that can be compared")


def _bit(table: Table) -> int:
    bit = table.whole("bit")
    if not 0 <= bit <= _HIGHEST_BIT:
        table.fault("bit", f"bits are counted from 0 to {_HIGHEST_BIT}")
    return bit


def _name(table: Table, key: str) -> str:
    text = table.text(key)
    if not text.strip():
        table.fault(key, "it is empty")
    return text


def _why(entry: Table) -> str:
    why = entry.text("why")
    if not why.strip():
        entry.fault("why", "it is empty; a person who is stopped by it wants to know why")
    return why


def _wrong_format(source: str, words: str) -> ConstraintsFormatError:
    return ConstraintsFormatError(
        f"{source} has no constraints: {words}.",
        why="It is another kind of file, or it was damaged.",
        todo="Take the file from the publisher of the release book; its form is in docs/reference/constraints.md.",
        source=source,
    )


def _newer_version(source: str, version: int) -> ConstraintsVersionError:
    return ConstraintsVersionError(
        f"{source} has constraints of version {version}; this tool knows up to version {CONSTRAINTS_VERSION}.",
        why="They were written for a newer version of this tool. Read half, they would let settings pass that clash.",
        todo="Use the newer version of this tool. The file was not touched.",
        source=source,
        version=version,
    )


def _bad_entry(source: str, fault: DataFaultError) -> ConstraintsError:
    return ConstraintsError(
        f"The constraints {source} cannot be used: {fault}.",
        why="The file is damaged or mistyped.",
        todo="Correct that place" + (f" (likely {fault.meant!r})" if fault.meant else "") + " and try again.",
        source=source,
        place=fault.where,
    )


_KIND = DocumentKind(CONSTRAINTS_FORMAT, CONSTRAINTS_VERSION, _constraints, _wrong_format, _newer_version, _bad_entry)
