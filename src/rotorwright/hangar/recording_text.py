"""Recordings as text: the form of the table is found out from its head, then the numbers are read in pieces.

Comma, semicolon or tab between the values; comment lines (`#`, `%`, `//`); lines of other things before the names. The
numbers have decimal points. Everything that does not fit is refused with its line and its column.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from rotorwright.signals.recording_errors import (
    ColumnNamesTwiceError,
    DecimalCommaError,
    RecordingEmptyError,
    RecordingFormError,
    RecordingTextError,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from rotorwright.signals.flight import FloatArray

Progress: TypeAlias = "Callable[[str, int, int], None]"

HEAD_BYTES = 256 * 1024
HEAD_LINES = 300
LINES_AT_ONCE = 50_000
DELIMITERS = (",", ";", "\t")
COMMENTS = ("#", "%", "//")
# Cells that stand for "no value here". Common practice, no source.
MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-nan"})
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\Z|[+-]?inf(inity)?\Z", re.IGNORECASE | re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?\Z", re.ASCII)
_NO_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class TextForm:
    """How a table is written.

    Args:
        encoding: of the text.
        delimiter: between two values.
        names: of the columns, in order.
        lines_before: lines of the file up to the names, with them.
        text_columns: names of the columns that hold words.
        line_bytes: mean length of a row.
        encloses: whether some values stand in quotes.
    """

    encoding: str
    delimiter: str
    names: tuple[str, ...]
    lines_before: int
    text_columns: tuple[str, ...]
    line_bytes: float
    encloses: bool

    @property
    def numeric(self) -> tuple[str, ...]:
        """The columns that hold numbers."""
        return tuple(name for name in self.names if name not in self.text_columns)


@dataclass(slots=True)
class _Head:
    """The first lines of the file, each with its values."""

    lines: list[str]
    delimiter: str
    rows: list[list[str]] = field(init=False)

    def __post_init__(self) -> None:
        self.rows = [[] if is_comment(line) else split_line(line, self.delimiter) for line in self.lines]

    @property
    def data(self) -> list[int]:
        """The lines with values."""
        return [index for index, row in enumerate(self.rows) if _is_data(row)]


def is_comment(line: str) -> bool:
    """Answer whether a line is a comment, or blank."""
    text = line.strip()
    return not text or text.startswith(COMMENTS)


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the values of one line, without blanks around them."""
    if '"' not in line:
        return [cell.strip() for cell in line.rstrip("\r\n").split(delimiter)]
    return [
        cell.strip() for cell in next(csv.reader([line.rstrip("\r\n")], delimiter=delimiter, skipinitialspace=True))
    ]


def is_number(cell: str) -> bool:
    """Answer whether a cell is a number with a decimal point."""
    return _NUMBER.match(cell) is not None


def _is_value(cell: str) -> bool:
    return is_number(cell) or cell.lower() in MISSING or _DECIMAL_COMMA.match(cell) is not None


def _is_data(row: Sequence[str]) -> bool:
    """Answer whether a line holds values: at least two, most of them numbers or missing, one of them a number."""
    values = sum(_is_value(cell) for cell in row)
    return len(row) >= 2 and 2 * values > len(row) and any(_is_value(cell) and cell for cell in row)


def find_form(head: bytes, *, name: str, is_whole: bool) -> TextForm:
    """Return how a table is written, from the first bytes of its file.

    Args:
        head: the first bytes.
        name: of the file, for error texts.
        is_whole: whether these are all of its bytes.

    Raises:
        RecordingEmptyError, RecordingFormError, ColumnNamesTwiceError, DecimalCommaError: it is no table to read.
    """
    text, encoding = _decode(head, name=name)
    lines = text.splitlines(keepends=True)
    if not is_whole and len(lines) > 1:
        lines.pop()  # cut short by the end of the head, not by the recorder
    lines = lines[:HEAD_LINES]
    if all(not line.strip() for line in lines):
        raise empty_error(name, "There is nothing in it but blanks.")
    head_rows = max((_Head(lines, delimiter) for delimiter in DELIMITERS), key=_fitness)
    return _form_of(head_rows, encoding, name)


def _fitness(head: _Head) -> tuple[int, int]:
    """Return how well a delimiter fits: values found in lines of values; else the most parts in any line."""
    return sum(len(head.rows[index]) for index in head.data), max(len(row) for row in head.rows)


def _form_of(head: _Head, encoding: str, name: str) -> TextForm:
    data = head.data
    if not data:
        raise _no_values(head, name)
    first = data[0]
    width = Counter(len(head.rows[index]) for index in data).most_common(1)[0][0]
    names, names_line = _names(head, first, width, name)
    _refuse_decimal_comma(head, data, names, name)
    if len(names) != width:
        raise _ragged(name, first + 1, found=width, expected=len(names))
    _refuse_twice(names, name)
    sample = [head.rows[index] for index in range(names_line + 1, len(head.rows)) if len(head.rows[index]) == width]
    text_columns = [each for column, each in enumerate(names) if _is_text([row[column] for row in sample])]
    lengths = [len(head.lines[index].encode(encoding, "replace")) for index in data]
    return TextForm(
        encoding,
        head.delimiter,
        tuple(names),
        names_line + 1,
        tuple(text_columns),
        sum(lengths) / len(lengths),
        encloses=any('"' in head.lines[index] for index in data),
    )


def _names(head: _Head, first: int, width: int, name: str) -> tuple[list[str], int]:
    """Return the names of the columns and the line where they stand: right before the values, maybe as a comment."""
    for index in range(first - 1, -1, -1):
        line = head.lines[index].strip()
        if not line:
            continue
        row = split_line(line.lstrip("".join(COMMENTS)), head.delimiter) if is_comment(line) else head.rows[index]
        if len(row) > 1 and not any(is_number(cell) for cell in row):
            return [cell or f"column {number}" for number, cell in enumerate(row, start=1)], index
        if not is_comment(line):
            break
    raise RecordingFormError(
        f"{name} has values from line {first + 1} on, but no line with the names of its {width} columns before them.",
        why="Without names nobody knows which column is what.",
        todo="Add a line with the names as the first one, then say it again.",
        file=name,
    )


def _is_text(cells: Iterable[str]) -> bool:
    filled = [cell for cell in cells if cell.lower() not in MISSING]
    return bool(filled) and not any(is_number(cell) for cell in filled)


def _refuse_decimal_comma(head: _Head, data: Sequence[int], names: Sequence[str], name: str) -> None:
    for index in data:
        row = head.rows[index]
        for column, cell in enumerate(row):
            if _DECIMAL_COMMA.match(cell):
                raise decimal_comma_error(name, index + 1, names[min(column, len(names) - 1)], cell)
        if head.delimiter == "," and len(row) == 2 * len(names):
            raise decimal_comma_error(name, index + 1, names[0], ",".join(row[:2]))


def _refuse_twice(names: Sequence[str], name: str) -> None:
    twice = [each for each, count in Counter(names).items() if count > 1]
    if twice:
        raise names_twice_error(name, twice)


def _decode(head: bytes, *, name: str) -> tuple[str, str]:
    if not head:
        raise empty_error(name, "The file has no bytes: the recorder made it and wrote nothing.")
    for encoding in ("utf-8-sig", "cp1252"):
        text = _decoded(head, encoding)
        if text is not None and not _NO_TEXT.search(text):
            return text, encoding
    raise RecordingFormError(
        f"{name} is no table: there are bytes in it that no text has.",
        why="It is a file of another kind, or it is damaged. Recordings are read from CSV text and from Parquet.",
        todo="Export the recording as CSV or Parquet with the program that made it, then say it again.",
        file=name,
    )


def _decoded(head: bytes, encoding: str) -> str | None:
    try:
        return codecs.getincrementaldecoder(encoding)().decode(head)  # a sign cut in two at the end is no fault
    except UnicodeDecodeError:
        return None


def read_numbers(
    path: Path, form: TextForm, columns: Sequence[str], *, progress: Progress
) -> tuple[dict[str, FloatArray], tuple[str, ...]]:
    """Return the columns (n,) of a table, and what a person should know.

    Raises:
        RecordingTextError, DecimalCommaError, RecordingFormError: with the line and the column.
        OSError: the file cannot be read.
    """
    reader = _Reader(path.name, form, [form.names.index(each) for each in columns])
    size, done = max(1, path.stat().st_size), 0
    pieces: list[FloatArray] = []
    with path.open(encoding=form.encoding, errors="replace", newline="") as file:
        line_number = sum(1 for _ in islice(file, form.lines_before))
        while lines := list(islice(file, LINES_AT_ONCE)):
            pieces.append(reader.read(lines, line_number + 1))
            line_number += len(lines)
            done = min(size, done + sum(map(len, lines)))
            progress(f"reading {path.name}", done, size)
    progress(f"reading {path.name}", size, size)
    return _joined(pieces, columns), tuple(reader.said)


def _joined(pieces: list[FloatArray], columns: Sequence[str]) -> dict[str, FloatArray]:
    return {
        each: np.concatenate([piece[index] for piece in pieces]) if pieces else np.empty(0)
        for index, each in enumerate(columns)
    }


class _Reader:
    """Reads pieces of lines: quickly while nothing is odd, else line by line."""

    def __init__(self, name: str, form: TextForm, wanted: list[int]) -> None:
        self._name = name
        self._form = form
        self._wanted = wanted
        self.said: list[str] = []

    def read(self, lines: list[str], first_line: int) -> FloatArray:
        """Return (columns, rows) of values; `first_line` counts from 1."""
        quick = self._read_quickly(lines)
        return self._read_carefully(lines, first_line) if quick is None else quick

    def _read_quickly(self, lines: list[str]) -> FloatArray | None:
        filled = [line for line in lines if not is_comment(line)]
        delimiters = sum(line.count(self._form.delimiter) for line in filled)
        if self._form.encloses or not filled or delimiters != len(filled) * (len(self._form.names) - 1):
            return None
        try:
            found = np.loadtxt(
                filled, delimiter=self._form.delimiter, comments=None, usecols=self._wanted, ndmin=2, unpack=True
            )
        except ValueError:
            return None
        return np.ascontiguousarray(found, dtype=np.float64)

    def _read_carefully(self, lines: list[str], first_line: int) -> FloatArray:
        rows = []
        for number, line in enumerate(lines, start=first_line):
            if is_comment(line):
                continue
            row = split_line(line, self._form.delimiter)
            if len(row) == len(self._form.names):
                rows.append([self._value(row[column], number, column) for column in self._wanted])
            elif len(row) < len(self._form.names) and not line.endswith(("\n", "\r")):
                self.said.append(f"The last line ({number}) is cut short; it is left out.")
            else:
                raise self._wrong_width(row, number)
        return np.array(rows, dtype=np.float64).reshape(-1, len(self._wanted)).T

    def _value(self, cell: str, line: int, column: int) -> float:
        if is_number(cell):
            return float(cell)
        if cell.lower() in MISSING:
            return float("nan")
        name = self._form.names[column]
        if _DECIMAL_COMMA.match(cell):
            raise decimal_comma_error(self._name, line, name, cell)
        raise text_error(self._name, line, name, cell)

    def _wrong_width(self, row: Sequence[str], number: int) -> RecordingFormError:
        return _ragged(self._name, number, found=len(row), expected=len(self._form.names))


def text_error(name: str, line: int, column: str, cell: str) -> RecordingTextError:
    """Return the error of a word where a number should be."""
    return RecordingTextError(
        f"{name}, line {line}, column {column}: {cell[:40]!r} is no number.",
        why="The column holds numbers elsewhere, or the column map takes it for numbers.",
        todo="Correct or empty this cell (an empty one counts as missing), or name another column in a column map.",
        file=name,
        line=line,
        column=column,
    )


def decimal_comma_error(name: str, line: int, column: str, cell: str) -> DecimalCommaError:
    """Return the error of a number with a decimal comma."""
    return DecimalCommaError(
        f"{name}, line {line}, column {column}: {cell[:40]!r} is written with a decimal comma.",
        why="A comma stands between values in other files, so a number such as 1,5 can mean two things.",
        todo="Export the recording with decimal points (1.5), then say it again.",
        file=name,
        line=line,
        column=column,
    )


def names_twice_error(name: str, twice: Sequence[str]) -> ColumnNamesTwiceError:
    """Return the error of columns with one name."""
    return ColumnNamesTwiceError(
        f"{name} has more than one column called {', '.join(twice)}.",
        why="Nobody can tell which of them is meant.",
        todo="Give each column a name of its own, then say it again.",
        file=name,
        names=", ".join(twice),
    )


def _ragged(name: str, line: int, *, found: int, expected: int) -> RecordingFormError:
    return RecordingFormError(
        f"{name}, line {line}: there are {found} values, but {expected} columns have names.",
        why="The line was cut or joined, a value has the sign in it that stands between values, or a decimal comma.",
        todo="Correct or remove this line, or export the recording once more.",
        file=name,
        line=line,
    )


def _no_values(head: _Head, name: str) -> RecordingEmptyError | RecordingFormError:
    filled = [row for row in head.rows if row]
    if len(filled) == 1 and len(filled[0]) > 1:
        return empty_error(name, f"It has the names of {len(filled[0])} columns and no row of values.")
    return RecordingFormError(
        f"{name} is no table of numbers: none of its first {len(head.lines)} lines holds values.",
        why="Values are expected one row a line, with commas, semicolons or tabs between them.",
        todo="Choose the file of a recording: CSV text with a line of names, or Parquet.",
        file=name,
    )


def empty_error(name: str, why: str) -> RecordingEmptyError:
    """Return the error of a recording without rows."""
    return RecordingEmptyError(
        f"{name} holds no recording.",
        why=why,
        todo="Choose another file, or record the flight once more.",
        file=name,
    )
