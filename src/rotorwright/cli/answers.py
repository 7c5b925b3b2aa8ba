"""Answers from a file, for runs without a keyboard and for `decide`: TOML or CSV, see docs/reference/answers.md."""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Never

from rotorwright.errors import SettingsError
from rotorwright.settings.sheet_csv import plain_text
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.answering import Answer

KEYS = ("confirm", "accept_plan", "board", "held", "hands", "sign", "retries", "seen")

_MOST_CELL_SIGNS = 1_000_000


class AnswersError(SettingsError):
    """The file with answers cannot be used."""

    id = "settings.answers"


@dataclass(frozen=True, slots=True)
class AnswersFile:
    """What a file answers; what it does not say counts as no.

    Args:
        held: by the name of a held setting, the key of an option or own values by new name.
        confirm: gates that a person confirmed.
        accept_plan: carry the plan out.
        hands: somebody or something does what the hands are asked to do.
        board: the board that it is, where the release book does not know the name that the aircraft reports.
        sign: the name to sign with; empty: not signed.
        retries: how often an interrupted step is tried again.
        seen: what a person saw, by what the question is about.
    """

    held: Mapping[str, Answer] = field(default_factory=dict)
    confirm: tuple[str, ...] = ()
    accept_plan: bool = False
    hands: bool = False
    sign: str = ""
    board: str = ""
    retries: int = 0
    seen: Mapping[str, str] = field(default_factory=dict)


def parse_answers(data: bytes, *, source: str) -> AnswersFile:
    """Return the answers in a file: CSV where its name ends in `.csv`, else TOML.

    Raises:
        AnswersError: it cannot be used; the words name the place.
    """
    try:
        text = data.decode("utf-8-sig")  # spreadsheets put a byte order mark first
    except UnicodeDecodeError as error:
        raise _bad(source, f"byte {error.start} is no UTF-8 text") from error
    return _csv(text, source) if source.lower().endswith(".csv") else _toml(text, source)


def _toml(text: str, source: str) -> AnswersFile:
    try:
        answers = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _bad(source, f"it is not TOML: {error}") from error
    for key in answers:
        if key not in KEYS:
            meant = likely(key, KEYS)
            _fault(source, f"it has the unknown key {key!r}" + (f"; perhaps {meant!r} was meant" if meant else ""))
    held = answers.get("held", {})
    if not isinstance(held, dict):
        _fault(source, "`held` is no table")
    seen = answers.get("seen", {})
    if not isinstance(seen, dict) or not all(isinstance(said, str) for said in seen.values()):
        _fault(source, "`seen` is no table of answers in quotes")
    retries = answers.get("retries", 0)
    confirm = answers.get("confirm", [])
    sign, board = answers.get("sign", ""), answers.get("board", "")
    return AnswersFile(
        held={name: _answer(name, answer, source) for name, answer in held.items()},
        confirm=tuple(str(gate) for gate in confirm) if isinstance(confirm, list) else (),
        accept_plan=answers.get("accept_plan") is True,
        hands=answers.get("hands") is True,
        sign=sign if isinstance(sign, str) else "",
        board=board if isinstance(board, str) else "",
        retries=retries if isinstance(retries, int) else 0,
        seen={str(about): str(said) for about, said in seen.items()},
    )


def _answer(name: str, answer: object, source: str) -> Answer:
    if isinstance(answer, str):
        return answer
    if not isinstance(answer, dict) or not answer:
        _fault(source, f"the answer to {name} is neither the key of an option in quotes nor a table of own values")
    for new, value in answer.items():
        if not isinstance(value, str):
            _fault(source, f'the value of {new} for {name} has to stand in quotes, as "{value}", so that it is exact')
    return {str(new): str(value) for new, value in answer.items()}


def _csv(text: str, source: str) -> AnswersFile:
    first = text.partition("\n")[0]
    separator = ";" if ";" in first and "," not in first else ","  # as spreadsheets of some countries write it
    csv.field_size_limit(_MOST_CELL_SIGNS)
    try:
        rows = list(csv.DictReader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
        columns = csv.DictReader(io.StringIO(text, newline=""), delimiter=separator).fieldnames or []
    except csv.Error as error:
        raise _bad(source, f"it is not CSV: {error}") from error
    if {"line", "setting", "chosen"} <= set(columns):
        return AnswersFile(held=_from_sheet(rows, source))
    if not {"name", "option"} <= set(columns):
        _fault(source, "its first line does not name the columns name and option")
    return AnswersFile(held=_from_table(rows, source))


def _from_table(rows: Iterable[Mapping[str, str | None]], source: str) -> dict[str, Answer]:
    """Return the answers of a table with name and option, and new_name and value for own values."""
    held: dict[str, Answer] = {}
    own: dict[str, dict[str, str]] = {}
    for number, row in enumerate(rows, start=2):
        name, option, new, value = (_cell(row, column) for column in ("name", "option", "new_name", "value"))
        if not (name or option or new):
            continue
        if not name or bool(option) is bool(new):
            _fault(source, f"row {number} needs a name and either an option, or a new_name with its value")
        values = own.setdefault(name, {})
        if name in held and (option or held[name] is not values):
            _fault(source, f"row {number} answers {name} a second time")
        if new in values:
            _fault(source, f"row {number} gives {new} a second value")
        if new:
            values[new] = value
        held[name] = option or values
    return held


def _from_sheet(rows: Iterable[Mapping[str, str | None]], source: str) -> dict[str, Answer]:
    """Return the answers that a person put into the column `chosen` of a sheet that `plan --as csv` gave."""
    held: dict[str, Answer] = {}
    first_of: dict[str, str] = {}
    for number, row in enumerate(rows, start=2):
        line, name, chosen = (_cell(row, column) for column in ("line", "setting", "chosen"))
        if not name or not chosen:
            continue
        first = first_of.setdefault(line, name)
        if held.setdefault(first, chosen) != chosen:
            _fault(source, f"row {number} answers line {line} in another way than the row of {first}")
    return held


def _cell(row: Mapping[str, str | None], column: str) -> str:
    return plain_text(row.get(column) or "")


def _fault(source: str, why: str) -> Never:
    raise _bad(source, why)


def _bad(source: str, why: str) -> AnswersError:
    return AnswersError(
        f"The answers in {source} cannot be used: {why}.",
        why="The file is TOML with the keys confirm, accept_plan, held, hands, sign and retries, or a CSV table whose "
        "name ends in .csv.",
        todo="Correct it; docs/reference/answers.md shows one.",
        source=source,
    )
