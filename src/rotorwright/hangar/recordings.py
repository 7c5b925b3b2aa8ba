"""Recorded flights in files: CSV text and Parquet, read into arrays and written from them.

Parquet needs the optional library pyarrow (extra `recordings`); with it long CSV files are read quickly too. Without it
CSV is read by numpy, with the same result.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import secrets
from codecs import BOM_UTF8
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from rotorwright.hangar.errors import NameTakenError
from rotorwright.hangar.files import disk_error, publish_part
from rotorwright.hangar.recording_text import (
    HEAD_BYTES,
    MISSING,
    TextForm,
    empty_error,
    find_form,
    names_twice_error,
    read_numbers,
    text_error,
)
from rotorwright.signals.column_map import column_map_error, read_column_map
from rotorwright.signals.columns import columns_of_flight, missing_column_error, take_flight
from rotorwright.signals.recording_errors import (
    RecordingFormError,
    RecordingsExtraMissingError,
    RecordingTooLargeError,
    RecordingUnreadableError,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import ModuleType

    from rotorwright.hangar.recording_text import Progress
    from rotorwright.signals.column_map import ColumnMap
    from rotorwright.signals.flight import Flight, FloatArray

PARQUET_MAGIC = b"PAR1"  # first and last four bytes: Apache Parquet file format
BYTES_PER_VALUE = 8
# Room for the flight beside its columns, and for the comparison. Measured with benchmarks/bench_flights.py.
ROOM_FACTOR = 1.5
BATCH_ROWS = 65_536
READ_AHEAD_BYTES = 1 << 18  # of each column; without it the library keeps the whole file beside the numbers
ROWS_AT_ONCE = 10_000
LONGEST_MAP_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class ReadRecording:
    """A recording that was read.

    Args:
        flight: its quantities.
        said: what was taken for what and why, and what is odd about it, in sentences.
        column_map: which column is what.
    """

    flight: Flight
    said: tuple[str, ...]
    column_map: ColumnMap


@dataclass(frozen=True, slots=True)
class _Table:
    """The columns of a file, the units it states itself, and what there is to say."""

    columns: dict[str, FloatArray]
    units: dict[str, str]
    said: tuple[str, ...]


def no_progress(words: str, done: int, total: int) -> None:
    """Show nothing."""


def read_recording(path: Path, *, column_map: Path | None = None, progress: Progress = no_progress) -> ReadRecording:
    """Return the flight that a CSV or Parquet file holds.

    Args:
        path: the file; its kind is told by its content.
        column_map: TOML file that says which column is what; recognised by names and values where it is not given.
        progress: called with words, bytes or rows done, and their total.

    Raises:
        RecordingError: one of the errors of rotorwright.signals.recording_errors.
    """
    wanted = None if column_map is None else _read_map(column_map)
    try:
        head = _read_head(path)
        read = _read_parquet if head.startswith(PARQUET_MAGIC) else _read_text
        table = read(path, wanted, progress)
        flight, said, found = take_flight(table.columns, column_map=wanted, units=table.units, source=path.name)
    except OSError as error:
        raise _unreadable(path, error.strerror or str(error)) from error
    except MemoryError as error:
        raise _too_large(path, needed=None, free=None) from error
    return ReadRecording(flight, (*table.said, *said), found)


def _read_head(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(HEAD_BYTES)


def _read_map(path: Path) -> ColumnMap:
    try:
        with path.open("rb") as file:
            text = file.read(LONGEST_MAP_BYTES).decode("utf-8-sig")
    except OSError as error:
        raise column_map_error(str(path), f"it cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise column_map_error(str(path), "it is no UTF-8 text") from error
    return read_column_map(text, source=str(path))


def _columns_to_read(numeric: Sequence[str], others: Sequence[str], wanted: ColumnMap | None) -> list[str]:
    """Return the columns to read: all numeric ones, or those of the map.

    Raises:
        ColumnMapError: the map names a column that is not there.
    """
    if wanted is None:
        return list(numeric)
    for place, entry in wanted.items():
        if entry.column not in {*numeric, *others}:
            raise missing_column_error(place, entry, numeric)
    return [entry.column for entry in wanted.values()]


# --- CSV


def _read_text(path: Path, wanted: ColumnMap | None, progress: Progress) -> _Table:
    size = path.stat().st_size
    head = _read_head(path)
    form = find_form(head, name=path.name, is_whole=len(head) == size)
    columns = _columns_to_read(form.numeric, form.text_columns, wanted)
    _require_room(path, rows=int(size / form.line_bytes), columns=2 * len(columns))  # pieces, then whole columns
    said = _left_out(form.text_columns, wanted)
    found = _read_text_by_arrow(path, form, columns, progress) if b"\n" in head else None
    if found is None:
        found, more = read_numbers(path, form, columns, progress=progress)
        said += more
    return _Table(found, {}, said)


def _left_out(text_columns: Sequence[str], wanted: ColumnMap | None) -> tuple[str, ...]:
    if wanted is not None or not text_columns:
        return ()
    return (f"Left out, since they hold no numbers: {', '.join(text_columns)}.",)


def _read_text_by_arrow(
    path: Path, form: TextForm, columns: Sequence[str], progress: Progress
) -> dict[str, FloatArray] | None:
    """Return the columns; nothing when the library is missing or meets anything odd, which the other reader names."""
    arrow, arrow_csv = _arrow(), _arrow("csv")
    if arrow is None or arrow_csv is None:
        return None
    size, rows = max(1, path.stat().st_size), 0
    pieces: dict[str, list[FloatArray]] = {each: [] for each in columns}
    try:
        with path.open("rb") as file:
            for _ in range(form.lines_before):
                file.readline()
            if file.peek(len(BOM_UTF8)).startswith(BOM_UTF8):  # inside a text it is no mark, but the library drops it
                return None
            for batch in _open_csv(arrow, arrow_csv, file, form, columns):
                for index, each in enumerate(columns):
                    pieces[each].append(_numbers(batch.column(index)))
                rows += len(batch)
                progress(f"reading {path.name}", min(int(rows * form.line_bytes), size - 1), size)
    except (arrow.ArrowException, ValueError):
        return None
    progress(f"reading {path.name}", size, size)
    return {each: np.concatenate(pieces.pop(each)) if pieces[each] else np.empty(0) for each in columns}


def _open_csv(arrow: ModuleType, arrow_csv: ModuleType, file: BinaryIO, form: TextForm, columns: Sequence[str]) -> Any:
    spellings = {each for word in MISSING for each in (word, word.upper(), word.title())}
    return arrow_csv.open_csv(
        file,
        read_options=arrow_csv.ReadOptions(
            column_names=list(form.names), encoding="utf8" if form.encoding == "utf-8-sig" else form.encoding
        ),
        parse_options=arrow_csv.ParseOptions(delimiter=form.delimiter),
        convert_options=arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(columns, arrow.float64()),
            include_columns=list(columns),
            null_values=sorted(spellings | {"NaN"}),
        ),
    )


# --- Parquet


def _read_parquet(path: Path, wanted: ColumnMap | None, progress: Progress) -> _Table:
    arrow, parquet = _require_arrow(path), _arrow("parquet")
    assert parquet is not None
    try:
        with parquet.ParquetFile(path, pre_buffer=False, buffer_size=READ_AHEAD_BYTES) as file:
            return _read_parquet_file(arrow, file, path, wanted, progress)
    except MemoryError:
        raise
    except (arrow.ArrowException, ValueError, LookupError, OverflowError) as error:  # all of them come of damage
        raise _damaged(path, error) from error
    except OSError as error:
        if error.errno is None:  # the library says so of damaged pages, too
            raise _damaged(path, error) from error
        raise


def _damaged(path: Path, error: Exception) -> RecordingFormError:
    return RecordingFormError(
        f"{path.name} begins as Parquet, but cannot be read as such: {_first_line(str(error))}",
        why="It is damaged or cut short: the writer was stopped before its end, or a copy is not whole.",
        todo="Copy or export it once more, then say it again.",
        file=path.name,
    )


def _first_line(text: str) -> str:
    return text.strip().split("\n")[0][:200]


def _read_parquet_file(
    arrow: ModuleType,
    file: Any,
    path: Path,
    wanted: ColumnMap | None,
    progress: Progress,
) -> _Table:
    schema, rows = file.schema_arrow, file.metadata.num_rows
    twice = sorted({each for each in schema.names if schema.names.count(each) > 1})
    if twice:
        raise names_twice_error(path.name, twice)
    if not rows:
        raise empty_error(path.name, f"It has the names of {len(schema.names)} columns and no row of values.")
    units = {each.name: _unit_of_type(arrow, each.type) for each in schema}
    numeric = [name for name, unit in units.items() if unit is not None]
    others = [name for name in schema.names if name not in numeric]
    columns = _columns_to_read(numeric, others, wanted)
    for each in columns:
        if each in others:
            raise text_error(path.name, 1, each, str(schema.field(each).type))
    _require_room(path, rows=rows, columns=len(columns))
    found = {each: np.empty(rows) for each in columns}
    done = 0
    clocks: dict[str, int] = {}
    for group in range(file.num_row_groups):
        for batch in file.iter_batches(batch_size=BATCH_ROWS, row_groups=[group], columns=columns):
            for index, each in enumerate(batch.schema.names):
                found[each][done : done + len(batch)] = _numbers_or_clock(arrow, batch.column(index), each, clocks)
            done += len(batch)
            progress(f"reading {path.name}", done, rows)
    if done != rows:
        raise _damaged(path, EOFError(f"{done} of {rows} rows are there."))
    return _Table(found, {name: unit for name, unit in units.items() if unit}, _left_out(others, wanted))


def _unit_of_type(arrow: ModuleType, kind: Any) -> str | None:
    """Return the unit that a type states, empty where it states none; nothing where it is no number."""
    types = arrow.types
    if types.is_timestamp(kind) or types.is_duration(kind):
        return "s"
    is_numeric = types.is_floating(kind) or types.is_integer(kind) or types.is_boolean(kind) or types.is_decimal(kind)
    return "" if is_numeric else None


SECONDS_OF_CLOCK = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


def _numbers_or_clock(arrow: ModuleType, values: Any, name: str, clocks: dict[str, int]) -> FloatArray:
    """Return values as numbers; times with a date as seconds from the first, so that no digit is lost."""
    if not (arrow.types.is_timestamp(values.type) or arrow.types.is_duration(values.type)):
        return _numbers(values)
    factor = SECONDS_OF_CLOCK[values.type.unit]
    ticks = values.cast(arrow.int64())
    filled = ticks.fill_null(0).to_numpy(zero_copy_only=False)
    if name not in clocks:
        clocks[name] = int(filled[0]) if len(filled) else 0
    seconds = (filled - clocks[name]) * factor
    return np.where(ticks.is_null().to_numpy(zero_copy_only=False), np.nan, seconds)


def _numbers(values: Any) -> FloatArray:
    return np.asarray(values.to_numpy(zero_copy_only=False), dtype=np.float64)


# --- the optional library


def _arrow(part: str = "") -> ModuleType | None:
    """Return the optional library, or a part of it; nothing where it is not installed."""
    try:
        return importlib.import_module(f"pyarrow.{part}" if part else "pyarrow")
    except ImportError:
        return None


def _require_arrow(path: Path) -> ModuleType:
    arrow = _arrow()
    if arrow is None:
        raise RecordingsExtraMissingError(
            f"{path.name} is a Parquet file, and the library that reads Parquet is not installed.",
            why="It is large, so it comes only with the extra `recordings`.",
            todo="Install it with `python -m pip install 'rotorwright[recordings]'`, or export the recording as CSV.",
            file=path.name,
        )
    return arrow


# --- memory


def free_memory_bytes() -> int | None:
    """Return how much memory is free for use; nothing where the system does not say."""
    with contextlib.suppress(OSError, ValueError):
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    with contextlib.suppress(OSError, ValueError, AttributeError):
        return os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    return None


def _require_room(path: Path, *, rows: int, columns: int) -> None:
    free, needed = free_memory_bytes(), int(rows * columns * BYTES_PER_VALUE * ROOM_FACTOR)
    if free is not None and needed > free:
        raise _too_large(path, needed=needed, free=free)


def _too_large(path: Path, *, needed: int | None, free: int | None) -> RecordingTooLargeError:
    amounts = "" if needed is None or free is None else f": it needs about {_mib(needed)}, and {_mib(free)} are free"
    return RecordingTooLargeError(
        f"{path.name} does not fit into memory{amounts}.",
        why="All columns with numbers are read when no column map says which ones are needed.",
        todo="Close other programs, cut the recording, or name the needed columns in a column map.",
        file=path.name,
        needed_bytes=needed,
        free_bytes=free,
    )


def _mib(size: int) -> str:
    return f"{size / (1 << 20):,.0f} MiB"


def _unreadable(path: Path, why: str) -> RecordingUnreadableError:
    return RecordingUnreadableError(
        f"The recording {path} cannot be read: {why}.",
        why="The system gave this reason.",
        todo="Check the name and your rights, then say it again.",
        file=str(path),
    )


# --- writing


def write_recording_csv(path: Path, flight: Flight) -> Path:
    """Write a flight as CSV text under a free name and return it; every number comes back as it was.

    Raises:
        NameTakenError: there is a file of this name already.
        DiskError: the disk does not take it.
    """
    return _publish(path, lambda part: _write_csv(part, flight))


def write_recording_parquet(path: Path, flight: Flight) -> Path:
    """Write a flight as Parquet under a free name and return it; every number comes back as it was.

    Raises:
        RecordingsExtraMissingError: the library that writes Parquet is not installed.
        NameTakenError: there is a file of this name already.
        DiskError: the disk does not take it.
    """
    arrow = _require_arrow(path)
    return _publish(path, lambda part: _write_parquet(arrow, part, flight))


def _publish(path: Path, write: Callable[[Path], None]) -> Path:
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    if path.exists():
        raise _name_taken(path)
    try:
        write(part)
        return publish_part(part, path)
    except FileExistsError as error:
        raise _name_taken(path) from error
    except OSError as error:
        raise disk_error(error, path, act="written") from error
    finally:
        with contextlib.suppress(OSError):  # a leftover part harms nothing; the write itself must not fail for it
            part.unlink(missing_ok=True)


def _name_taken(path: Path) -> NameTakenError:
    return NameTakenError(
        f"{path} is there already.",
        why="Nothing is ever overwritten.",
        todo="Say it again with another name.",
        path=str(path),
    )


def _write_csv(part: Path, flight: Flight) -> None:
    columns = columns_of_flight(flight)
    with part.open("x", encoding="utf-8", newline="\n") as file:
        file.write(",".join(columns) + "\n")
        for start in range(0, len(flight.at_s), ROWS_AT_ONCE):
            block = np.column_stack([values[start : start + ROWS_AT_ONCE] for values in columns.values()])
            file.writelines(",".join(map(repr, row)) + "\n" for row in block.tolist())


def _write_parquet(arrow: ModuleType, part: Path, flight: Flight) -> None:
    parquet = _arrow("parquet")
    assert parquet is not None
    columns = columns_of_flight(flight)
    schema = arrow.schema([(name, arrow.float64()) for name in columns])
    with parquet.ParquetWriter(part, schema, use_dictionary=False) as writer:  # measured values hardly repeat
        for start in range(0, max(1, len(flight.at_s)), BATCH_ROWS):
            piece = {name: values[start : start + BATCH_ROWS] for name, values in columns.items()}
            writer.write_table(arrow.table(piece, schema=schema))
