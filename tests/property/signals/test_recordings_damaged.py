"""A damaged recording ends in words or in numbers, never in a traceback, and both readers of CSV agree on which."""

from __future__ import annotations

import tempfile
from pathlib import Path
from unittest import mock

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.unit.signals.flight_columns import made_flight, plain_columns

from rotorwright.errors import RotorwrightError
from rotorwright.hangar import recordings
from rotorwright.hangar.recordings import read_recording, write_recording_parquet
from rotorwright.signals.flight import FloatArray

ROWS = 60
COLUMNS = {name: values for name, values in plain_columns(ROWS).items() if not name.startswith(("accel", "motor"))}
LINES = [
    ",".join(COLUMNS),
    *(",".join(f"{value:.4f}" for value in row) for row in np.column_stack(list(COLUMNS.values())).tolist()),
]
WORDS = 'nan NA oops 1,5 " "1" 1e5 1e999 1e300 inf -Inf 0x1 1_0 # 1. .5 +3 --1 NULL True 1e -nan 1;2 infinity'
CELLS = st.sampled_from(["", " ", "1 2", "1\t2", " 7 ", "\u0663", "\ufeff1", *WORDS.split()])


def without_library(part: str = "") -> None:
    """Stand for a computer on which the optional library is not installed."""


def outcome(path: Path) -> tuple[str, object]:
    """Return what comes of a file: the id and the words of its error, or its numbers."""
    try:
        found = read_recording(path)
    except RotorwrightError as error:
        return error.id, error.what
    flight = found.flight
    return "read", (_bits(flight.at_s), _bits(flight.rate_rad_s), found.said)


def _bits(values: FloatArray) -> bytes:
    return np.where(np.isnan(values), np.nan, values).tobytes()  # NaN has many bit patterns


def both_outcomes(data: bytes) -> tuple[tuple[str, object], tuple[str, object]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(data)
        quick = outcome(path)
        with mock.patch.object(recordings, "_arrow", without_library):
            return quick, outcome(path)


@settings(deadline=None, max_examples=100)
@given(row=st.integers(1, ROWS), column=st.integers(0, len(COLUMNS) - 1), cell=CELLS)
def test_one_odd_cell_means_the_same_to_both_readers(row: int, column: int, cell: str) -> None:
    lines = list(LINES)
    cells = lines[row].split(",")
    cells[column] = cell
    lines[row] = ",".join(cells)
    quick, careful = both_outcomes("\n".join(lines).encode())
    assert quick == careful


@settings(deadline=None, max_examples=100)
@given(row=st.integers(0, ROWS), kind=st.sampled_from(["cut", "gone", "twice", "blank", "comment", "joined", "stray"]))
def test_one_odd_line_means_the_same_to_both_readers(row: int, kind: str) -> None:
    line = LINES[row]
    changed = {
        "cut": [line[: len(line) // 2]],
        "gone": [],
        "twice": [line, line],
        "blank": ["", line],
        "comment": ["# by hand, again", line],
        "joined": [line + line],
        "stray": ["end of page", line],
    }[kind]
    quick, careful = both_outcomes("\n".join([*LINES[:row], *changed, *LINES[row + 1 :]]).encode())
    assert quick == careful


@settings(deadline=None, max_examples=100)
@given(data=st.binary(max_size=200).filter(lambda data: data[:4] != b"PAR1") | st.text(max_size=200).map(str.encode))
def test_anything_at_all_ends_in_words(data: bytes) -> None:
    quick, careful = both_outcomes(data)
    assert quick == careful
    assert quick[0].startswith("storage.")


@settings(deadline=None, max_examples=60)
@given(place=st.floats(0, 1, exclude_max=True), value=st.integers(0, 255), kept=st.floats(0, 1))
def test_parquet_with_a_changed_byte_or_cut_short_ends_in_words_or_in_numbers(
    place: float, value: int, kept: float
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = write_recording_parquet(Path(folder) / "log.parquet", made_flight(ROWS))
        data = bytearray(path.read_bytes())
        data[int(place * len(data))] = value
        changed = Path(folder) / "changed.parquet"
        changed.write_bytes(data)
        assert outcome(changed)[0]
        changed.write_bytes(data[: int(kept * len(data))])
        assert outcome(changed)[0]
