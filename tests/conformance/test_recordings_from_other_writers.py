"""Recordings written by others: the csv module of Python, numpy, and the Parquet writer of the Apache Arrow project."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from tests.unit.signals.flight_columns import made_flight, plain_columns

from rotorwright.hangar import recordings
from rotorwright.hangar.recordings import read_recording, write_recording_csv, write_recording_parquet
from rotorwright.signals.column_map import Place
from rotorwright.signals.recording_errors import ColumnNamesTwiceError, RecordingEmptyError, RecordingTextError

ROWS = 3000
MADE = made_flight(ROWS)


def is_as_made(path: Path) -> bool:
    flight = read_recording(path).flight
    assert flight.motors is not None
    assert MADE.motors is not None
    return np.allclose(flight.rate_rad_s, MADE.rate_rad_s, atol=1e-4) and np.allclose(
        flight.motors, MADE.motors, atol=1e-4
    )


@pytest.mark.parametrize("dialect", ["excel", "excel-tab", "unix"])
@pytest.mark.parametrize("with_library", [True, False])
def test_each_dialect_of_the_csv_module_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dialect: str, with_library: bool
) -> None:
    if not with_library:
        monkeypatch.setattr(recordings, "_arrow", lambda part="": None)
    columns = plain_columns(ROWS)
    path = tmp_path / "log.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, dialect)
        writer.writerow(columns)
        writer.writerows(np.column_stack(list(columns.values())).tolist())
    assert is_as_made(path)


def test_what_numpy_writes_with_its_names_in_a_comment_is_read(tmp_path: Path) -> None:
    columns = plain_columns(ROWS)
    path = tmp_path / "log.txt"
    np.savetxt(path, np.column_stack(list(columns.values())), delimiter=";", header=";".join(columns))
    assert is_as_made(path)


def test_the_csv_module_reads_what_we_write(tmp_path: Path) -> None:
    path = write_recording_csv(tmp_path / "log.csv", MADE)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["rate_pitch_rad_s"]) for row in rows] == MADE.rate_rad_s[:, 1].tolist()


@pytest.mark.parametrize("compression", ["none", "snappy", "gzip", "zstd"])
@pytest.mark.parametrize("version", ["1.0", "2.6"])
def test_parquet_of_each_version_and_compression_is_read(tmp_path: Path, compression: str, version: str) -> None:
    path = tmp_path / "log"
    pq.write_table(pa.table(plain_columns(ROWS)), path, compression=compression, version=version, row_group_size=700)
    assert is_as_made(path)


@pytest.mark.parametrize("kind", [pa.float32(), pa.int32(), pa.int16()])
def test_parquet_of_other_number_types_is_read(tmp_path: Path, kind: pa.DataType) -> None:
    columns = plain_columns(ROWS)
    data = {
        name: pa.array(np.round(values) if name != "time" and pa.types.is_integer(kind) else values)
        for name, values in columns.items()
        if name.startswith(("time", "gyro"))
    }
    data |= {name: values.cast(kind) for name, values in data.items() if name != "time"}
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table(data), path)
    tolerance = 0.5 if pa.types.is_integer(kind) else 1e-4
    assert np.allclose(
        np.degrees(read_recording(path).flight.rate_rad_s[:, 0]), columns["gyro_x"], atol=tolerance + 1e-9
    )


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_a_parquet_clock_with_a_date_states_its_unit(tmp_path: Path, unit: str) -> None:
    columns = {name: pa.array(values) for name, values in plain_columns(ROWS).items()}
    per_second = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[unit]
    step = max(1, per_second // 1000)
    ticks = 1_700_000_000 * per_second + step * np.arange(ROWS, dtype=np.int64)
    columns["time"] = pa.array(ticks).cast(pa.timestamp(unit))
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table(columns), path)
    found = read_recording(path)
    assert found.column_map[Place("time")].unit == "s"
    assert np.allclose(np.diff(found.flight.at_s), step / per_second, rtol=1e-9)


def test_missing_values_of_parquet_are_kept_and_said(tmp_path: Path) -> None:
    columns = {name: values.tolist() for name, values in plain_columns(ROWS).items()}
    columns["gyro_y"][17] = None
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table(columns), path)
    found = read_recording(path)
    assert np.isnan(found.flight.rate_rad_s[17, 1])
    assert "gyro_y has 1 of 3000 values that are missing or infinite; they stay as they are." in found.said


def test_parquet_columns_that_hold_no_numbers_are_left_out_and_said(tmp_path: Path) -> None:
    columns = {name: pa.array(values) for name, values in plain_columns(ROWS).items()}
    columns["stage"] = pa.array(["hover"] * ROWS)
    columns["parts"] = pa.array([[1.0, 2.0]] * ROWS)
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table(columns), path)
    assert read_recording(path).said[0] == "Left out, since they hold no numbers: stage, parts."
    column_map = tmp_path / "map.toml"
    column_map.write_text(
        'format = "rotorwright-column-map"\nversion = 1\ntime = { column = "time", unit = "us" }\n[rate]\n'
        'roll = { column = "gyro_x", unit = "deg/s" }\npitch = { column = "gyro_y", unit = "deg/s" }\n'
        'yaw = { column = "stage", unit = "deg/s" }\n'
    )
    with pytest.raises(RecordingTextError, match=r"column stage: 'string' is no number"):
        read_recording(path, column_map=column_map)


def test_parquet_without_rows_and_with_a_name_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "none.parquet"
    pq.write_table(pa.table({name: values[:0] for name, values in plain_columns(ROWS).items()}), path)
    with pytest.raises(RecordingEmptyError, match="holds no recording"):
        read_recording(path)
    twice = tmp_path / "twice.parquet"
    pq.write_table(pa.table([pa.array([1.0]), pa.array([2.0])], names=["a", "a"]), twice)
    with pytest.raises(ColumnNamesTwiceError, match="called a"):
        read_recording(twice)


def test_the_parquet_reader_of_the_arrow_project_reads_what_we_write(tmp_path: Path) -> None:
    path = write_recording_parquet(tmp_path / "log.parquet", MADE)
    table = pq.read_table(path)
    assert np.array_equal(table["rate_yaw_rad_s"].to_numpy(), MADE.rate_rad_s[:, 2])
