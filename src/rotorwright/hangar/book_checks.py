"""Checking a whole release book for whoever writes it: notes against catalogues, classes and constraints."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations, pairwise, permutations
from typing import TYPE_CHECKING, TypeVar

from rotorwright.errors import RotorwrightError
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.constraints import unknown_names
from rotorwright.settings.note_checks import check_composing, check_notes, check_reversing
from rotorwright.settings.note_entries import NoteProblem, Severity
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from rotorwright.firmware.board import Board
    from rotorwright.hangar.books import ReleaseBook
    from rotorwright.settings.catalogue import Catalogue

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class BookProblem:
    """Something in a release book that does not fit.

    Args:
        part: of the book.
        place: in the part; empty where the part as a whole is meant.
        name: of the setting or pattern.
        words: what is wrong.
        id: stable word for the kind of problem.
        severity: how bad it is; information is no problem.
    """

    part: str
    place: str
    name: str
    words: str
    id: str
    severity: Severity


@dataclass(frozen=True, slots=True)
class _Knowledge:
    """The catalogues of a book, by release line and board."""

    catalogues: dict[tuple[str, str], Catalogue]

    def of(self, line: str) -> list[Catalogue]:
        """Return the catalogues of a release line."""
        return [each for (release, _), each in self.catalogues.items() if release == line]

    def pairs(self, old: str, new: str, boards: Iterable[Board]) -> list[tuple[Catalogue, Catalogue]]:
        """Return the catalogues of two release lines, for each board that has both."""
        named = [((old, board.name), (new, board.name)) for board in boards]
        return [
            (self.catalogues[one], self.catalogues[other])
            for one, other in named
            if one in self.catalogues and other in self.catalogues
        ]


def check_book(book: ReleaseBook) -> tuple[BookProblem, ...]:
    """Return everything in a book that does not fit, each once; a part that cannot be read is a problem, too."""
    found: list[BookProblem] = []
    knowledge = _read_catalogues(book, found)
    for line in [release.name for release in book.releases]:
        found += _check_defaults(line, knowledge.of(line))
        found += _check_constraints(book, line, knowledge, found)
    found += _check_all_notes(book, knowledge, found)
    classes = _tried(lambda: book.classes, "classes.toml", found)
    if classes is not None:
        found += _check_classes(book, classes, knowledge)
    return tuple(dict.fromkeys(found))


def _tried(read: Callable[[], _T | None], part: str, found: list[BookProblem]) -> _T | None:
    """Return a part of the book, or note why it cannot be read."""
    try:
        return read()
    except RotorwrightError as error:
        found.append(BookProblem(part, "", "", error.what, error.id, Severity.ERROR))
        return None


def _read_catalogues(book: ReleaseBook, found: list[BookProblem]) -> _Knowledge:
    catalogues: dict[tuple[str, str], Catalogue] = {}
    for release in book.releases:
        for board in book.boards:
            part = f"catalogues/{release.name}"
            one = _tried(lambda line=release.name, name=board.name: book.catalogue(line, name), part, found)  # type: ignore[misc]
            if one is not None:
                catalogues[release.name, board.name] = one
    return _Knowledge(catalogues)


def _check_defaults(line: str, catalogues: list[Catalogue]) -> Iterator[BookProblem]:
    for catalogue in catalogues:
        for name, setting in catalogue.settings.items():
            if setting.default is None:
                continue
            refusal = replace(setting, default=None).refusal(setting.default)
            if refusal is not None:
                words = f"the default is not allowed: {refusal}"
                yield BookProblem(f"catalogues/{line}", "", name, words, "default-not-allowed", Severity.ERROR)


def _check_constraints(
    book: ReleaseBook, line: str, knowledge: _Knowledge, found: list[BookProblem]
) -> Iterator[BookProblem]:
    part = f"constraints/{line}.toml"
    constraints = _tried(lambda: book.constraints(line), part, found)
    if constraints is None:
        return
    for catalogue in knowledge.of(line):
        for each in unknown_names(constraints, catalogue):
            yield BookProblem(part, each.place, each.name, each.words, "unknown-name", Severity.ERROR)


def _check_all_notes(book: ReleaseBook, knowledge: _Knowledge, found: list[BookProblem]) -> Iterator[BookProblem]:
    lines = [release.name for release in book.releases]
    steps = set(pairwise(lines))
    for old, new in permutations(lines, 2):
        part = f"notes/{old}-to-{new}.toml"
        notes = _tried(lambda old=old, new=new: book.own_notes(old, new), part, found)  # type: ignore[misc]
        if notes is not None:
            problems = [each for pair in knowledge.pairs(old, new, book.boards) for each in check_notes(notes, *pair)]
            yield from _in_part(part, (*problems, *check_reversing(notes)))
        elif (old, new) in steps and not any(each.part == part for each in found):
            words = f"there are no notes from {old} to {new}; settings are carried by their names only"
            yield BookProblem(part, "", "", words, "no-notes", Severity.WARNING)
    yield from _check_composed(book, lines)


def _check_composed(book: ReleaseBook, lines: list[str]) -> Iterator[BookProblem]:
    for old, new in combinations(lines, 2):
        try:
            notes = book.notes(old, new)
        except RotorwrightError:
            continue  # it was named where the part is read by itself
        if notes is not None:
            yield from _in_part(f"notes from {old} to {new}, composed", check_composing(notes))


def _in_part(part: str, problems: Iterable[NoteProblem]) -> Iterator[BookProblem]:
    for each in problems:
        yield BookProblem(part, each.place, each.name, each.words, each.id, each.severity)


def _check_classes(book: ReleaseBook, classes: SettingClasses, knowledge: _Knowledge) -> Iterator[BookProblem]:
    names = {name for catalogue in knowledge.catalogues.values() for name in catalogue.names}
    if not names:
        return
    for kind in ("board", "calibration", "feel"):
        for pattern in getattr(classes, kind):
            one = SettingClasses(board=(pattern,))
            if not any(one.is_board(name) for name in names):
                words = f"the {kind} pattern {pattern!r} matches no setting of any release"
                yield BookProblem("classes.toml", kind, pattern, words, "matches-nothing", Severity.WARNING)
    newest = {name for catalogue in knowledge.of(book.releases[-1].name) for name in catalogue.names}
    for role, name in classes.roles.items():
        if newest and name not in newest:
            words = f"the role {role} is {name}, which the newest release does not have{_hint(name, newest)}"
            yield BookProblem("classes.toml", "roles", name, words, "unknown-name", Severity.ERROR)


def _hint(name: str, known: Iterable[str]) -> str:
    meant = likely(name, known)
    return f"; perhaps {meant} was meant" if meant else ""
